//! Acceleration, duty in the field, sampling, and months compared.

use super::{Fault, Function, Inputs, Value};
use crate::evidence::acceleration::{self as faster, Climate, Cycling};
use crate::evidence::cannot::Said;
use crate::evidence::duty;
use crate::evidence::line::{self, History, Side};
use crate::evidence::mtbf::Ended;
use crate::evidence::sampling::{self, TwoPoints};

type Answer = Result<Value, Fault>;

fn peck(own: &Inputs) -> Answer {
    let climate = |t, rh| -> Result<Climate, Fault> {
        Ok(Climate {
            celsius: own.number(t)?,
            humidity: own.number(rh)?,
        })
    };
    let (n, ea) = (own.number("n")?, own.number("ea")?);
    Ok(faster::af_peck(
        n,
        ea,
        climate("t_use", "rh_use")?,
        climate("t_test", "rh_test")?,
    )?
    .into())
}

fn norris_landzberg(own: &Inputs) -> Answer {
    let cycling = |dt, f, tmax| -> Result<Cycling, Fault> {
        Ok(Cycling {
            range: own.number(dt)?,
            per_day: own.number(f)?,
            hottest: own.number(tmax)?,
        })
    };
    let (n, m, e_k) = (own.number("n")?, own.number("m")?, own.number("e_k")?);
    let in_use = cycling("dt_use", "f_use", "tmax_use")?;
    let test = cycling("dt_test", "f_test", "tmax_test")?;
    Ok(faster::af_norris_landzberg(n, m, e_k, in_use, test)?.into())
}

fn two_points(own: &Inputs) -> Result<(u64, u64), Fault> {
    Ok(sampling::two_point_plan(TwoPoints {
        p1: own.number("p1")?,
        alpha: own.number("alpha")?,
        p2: own.number("p2")?,
        beta: own.number("beta")?,
    })?)
}

fn history(own: &Inputs, run: fn(History) -> Said<f64>) -> Answer {
    let words = [("time", Ended::Time), ("failure", Ended::Failure)];
    let kind = own.word("kind", &words, "it must be time or failure")?;
    let (t, end) = (own.list("t")?, own.number("end")?);
    Ok(run(History { t: &t, end, kind })?.into())
}

fn fisher(own: &Inputs) -> Answer {
    let words = [
        ("second-worse", Side::SecondWorse),
        ("two-sided", Side::TwoSided),
    ];
    let side = own.word("side", &words, "it must be second-worse or two-sided")?;
    let (k1, n1) = (own.count("k1")?, own.count("n1")?);
    let (k2, n2) = (own.count("k2")?, own.count("n2")?);
    Ok(line::fisher_exact(k1, n1, k2, n2, side)?.into())
}

const TWO_POINTS: &[&str] = &["p1", "alpha", "p2", "beta"];
const CUSUM: &[&str] = &["x", "k", "h"];
const HISTORY: &[&str] = &["t", "end", "kind"];

pub(super) const TABLE: &[Function] = &[
    Function {
        name: "af_arrhenius",
        meaning: "acceleration factor, life in use over life in test; temperatures in °C, ea in eV",
        inputs: &["ea", "t_use", "t_test"],
        example: "ea=0.7 t_use=25 t_test=85",
        run: |own| {
            let (t_use, t_test) = (own.number("t_use")?, own.number("t_test")?);
            Ok(faster::af_arrhenius(own.number("ea")?, t_use, t_test)?.into())
        },
    },
    Function {
        name: "af_peck",
        meaning: "acceleration factor by heat and humidity (Peck); °C, % and eV",
        inputs: &["n", "ea", "t_use", "t_test", "rh_use", "rh_test"],
        example: "n=2.7 ea=0.79 t_use=40 t_test=85 rh_use=60 rh_test=85",
        run: peck,
    },
    Function {
        name: "af_coffin_manson",
        meaning: "acceleration factor in cycles by temperature range (Coffin and Manson); ranges in K",
        inputs: &["n", "dt_use", "dt_test"],
        example: "n=1.9 dt_use=50 dt_test=180",
        run: |own| {
            let (dt_use, dt_test) = (own.number("dt_use")?, own.number("dt_test")?);
            Ok(faster::af_coffin_manson(own.number("n")?, dt_use, dt_test)?.into())
        },
    },
    Function {
        name: "af_norris_landzberg",
        meaning: "acceleration factor in cycles by range, frequency and highest temperature; K, a day, °C, e_k in K",
        inputs: &[
            "n",
            "m",
            "e_k",
            "dt_use",
            "dt_test",
            "f_use",
            "f_test",
            "tmax_use",
            "tmax_test",
        ],
        example: "n=1.9 m=0.3333333333333333 e_k=1414 dt_use=50 dt_test=180 f_use=1 f_test=48 tmax_use=75 tmax_test=125",
        run: norris_landzberg,
    },
    Function {
        name: "af_power",
        meaning: "acceleration factor by the inverse power law of a stress",
        inputs: &["n", "s_use", "s_test"],
        example: "n=3 s_use=1000 s_test=2000",
        run: |own| {
            let (s_use, s_test) = (own.number("s_use")?, own.number("s_test")?);
            Ok(faster::af_power(own.number("n")?, s_use, s_test)?.into())
        },
    },
    Function {
        name: "field_years_hold",
        meaning: "years in the field that hours of test stand for",
        inputs: &["test_hours", "af", "use_hours_per_year"],
        example: "test_hours=1000 af=25 use_hours_per_year=8760",
        run: |own| {
            let (hours, af) = (own.number("test_hours")?, own.number("af")?);
            Ok(faster::field_years_hold(hours, af, own.number("use_hours_per_year")?)?.into())
        },
    },
    Function {
        name: "oc_binomial",
        meaning: "chance to accept: at most c failures among n, fraction bad p",
        inputs: &["n", "c", "p"],
        example: "n=80 c=2 p=0.01",
        run: |own| {
            Ok(sampling::oc_binomial(own.count("n")?, own.count("c")?, own.number("p")?)?.into())
        },
    },
    Function {
        name: "oc_hypergeometric",
        meaning: "chance to accept a single lot with d bad units: at most c failures among n",
        inputs: &["lot", "n", "c", "d"],
        example: "lot=100 n=20 c=1 d=5",
        run: |own| {
            let (lot, n) = (own.count("lot")?, own.count("n")?);
            Ok(sampling::oc_hypergeometric(lot, n, own.count("c")?, own.count("d")?)?.into())
        },
    },
    Function {
        name: "quality_at_pa",
        meaning: "fraction bad that a plan of n and c accepts with chance pa",
        inputs: &["n", "c", "pa"],
        example: "n=80 c=2 pa=0.1",
        run: |own| {
            Ok(
                sampling::quality_at_pa(own.count("n")?, own.count("c")?, own.number("pa")?)?
                    .into(),
            )
        },
    },
    Function {
        name: "two_point_plan_n",
        meaning: "smallest sample that accepts p1 with 1 - alpha at least and p2 with beta at most",
        inputs: TWO_POINTS,
        example: "p1=0.01 alpha=0.05 p2=0.1 beta=0.1",
        run: |own| Ok(two_points(own)?.0.into()),
    },
    Function {
        name: "two_point_plan_c",
        meaning: "acceptance number of that plan",
        inputs: TWO_POINTS,
        example: "p1=0.01 alpha=0.05 p2=0.1 beta=0.1",
        run: |own| Ok(two_points(own)?.1.into()),
    },
    Function {
        name: "iso2859_letter",
        meaning: "code letter of a lot size and inspection level (ISO 2859-1)",
        inputs: &["lot", "level"],
        example: "lot=500 level=II",
        run: |own| Ok(sampling::iso2859_letter(own.count("lot")?, own.text("level")?)?.into()),
    },
    Function {
        name: "iso2859_n",
        meaning: "sample size of a code letter (ISO 2859-1)",
        inputs: &["letter"],
        example: "letter=J",
        run: |own| Ok(sampling::iso2859_n(own.text("letter")?)?.into()),
    },
    Function {
        name: "iso2859_ac",
        meaning: "acceptance number of a code letter at a limit aql, normal inspection, single sample (ISO 2859-1)",
        inputs: &["letter", "aql"],
        example: "letter=J aql=1",
        run: |own| Ok(sampling::iso2859_ac(own.text("letter")?, own.number("aql")?)?.into()),
    },
    Function {
        name: "fisher_exact",
        meaning: "chance of so great a difference between two months that are alike (Fisher's exact test)",
        inputs: &["k1", "n1", "k2", "n2", "side"],
        example: "k1=0 n1=20 k2=4 n2=20 side=second-worse",
        run: fisher,
    },
    Function {
        name: "cusum_binomial_k",
        meaning: "reference value of a CUSUM for samples of n, in control at p0, to catch p1",
        inputs: &["n", "p0", "p1"],
        example: "n=20 p0=0.01 p1=0.05",
        run: |own| {
            Ok(
                line::cusum_binomial_k(own.count("n")?, own.number("p0")?, own.number("p1")?)?
                    .into(),
            )
        },
    },
    Function {
        name: "cusum_signal",
        meaning: "first sample, from 1, at which the CUSUM of x passes h; none where none does",
        inputs: CUSUM,
        example: "x=0|0|1|0|2|1|3|2 k=0.5 h=4",
        run: |own| {
            Ok(line::cusum_signal(&own.list("x")?, own.number("k")?, own.number("h")?)?.into())
        },
    },
    Function {
        name: "cusum_last",
        meaning: "last sum of the CUSUM of x, in failures",
        inputs: CUSUM,
        example: "x=0|0|1|0|2|1|3|2 k=0.5 h=4",
        run: |own| {
            Ok(line::cusum_last(&own.list("x")?, own.number("k")?, own.number("h")?)?.into())
        },
    },
    Function {
        name: "cusum_binomial_arl",
        meaning: "samples until the CUSUM signals on average, fraction bad p",
        inputs: &["n", "p", "k", "h"],
        example: "n=20 p=0.01 k=0.5 h=2",
        run: |own| {
            let (n, p) = (own.count("n")?, own.number("p")?);
            Ok(line::cusum_binomial_arl(n, p, own.number("k")?, own.number("h")?)?.into())
        },
    },
    Function {
        name: "crow_beta",
        meaning: "growth exponent of failures over time; below 1 they grow rarer",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::crow_beta),
    },
    Function {
        name: "crow_lambda",
        meaning: "scale of the power law, failures at time 1",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::crow_lambda),
    },
    Function {
        name: "crow_beta_unbiased",
        meaning: "growth exponent without bias",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::crow_beta_unbiased),
    },
    Function {
        name: "crow_mtbf_inst",
        meaning: "MTBF at the end of the history, in the unit of t",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::crow_mtbf_inst),
    },
    Function {
        name: "crow_growth_p",
        meaning: "chance of so much growth without a trend; small means growth",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::crow_growth_p),
    },
    Function {
        name: "laplace_u",
        meaning: "trend, about standard normal without one; negative means growth",
        inputs: HISTORY,
        example: "t=40|110|210|340|500 end=2000 kind=time",
        run: |own| history(own, line::laplace_u),
    },
    Function {
        name: "cycle_target",
        meaning: "cycles to reach: use per day over years, times an agreed factor",
        inputs: &["per_day", "days_per_year", "years", "factor"],
        example: "per_day=30 days_per_year=365 years=10 factor=1",
        run: |own| {
            let (per_day, days) = (own.number("per_day")?, own.number("days_per_year")?);
            Ok(
                duty::cycle_target(per_day, days, own.number("years")?, own.number("factor")?)?
                    .into(),
            )
        },
    },
    Function {
        name: "usage_percentile",
        meaning: "use at percentile q of a lognormal with that median and 95th percentile",
        inputs: &["median", "p95", "q"],
        example: "median=20 p95=60 q=0.99",
        run: |own| {
            Ok(
                duty::usage_percentile(
                    own.number("median")?,
                    own.number("p95")?,
                    own.number("q")?,
                )?
                .into(),
            )
        },
    },
    Function {
        name: "miner_damage",
        meaning: "damage of n cycles against lives; failure is expected at 1",
        inputs: &["n", "life"],
        example: "n=1000|500 life=10000|2000",
        run: |own| Ok(duty::miner_damage(&own.list("n")?, &own.list("life")?)?.into()),
    },
    Function {
        name: "miner_equivalent",
        meaning: "cycles at s_ref that do the damage of n cycles at loads s, with slope m",
        inputs: &["n", "s", "m", "s_ref"],
        example: "n=100000|5000 s=5|10 m=4 s_ref=10",
        run: |own| {
            let (n, s) = (own.list("n")?, own.list("s")?);
            Ok(duty::miner_equivalent(&n, &s, own.number("m")?, own.number("s_ref")?)?.into())
        },
    },
    Function {
        name: "field_years_cycles",
        meaning: "years in the field that cycles of test stand for",
        inputs: &["cycles", "af", "per_day", "days_per_year"],
        example: "cycles=300000 af=1 per_day=30 days_per_year=365",
        run: |own| {
            let (cycles, af) = (own.number("cycles")?, own.number("af")?);
            let (per_day, days) = (own.number("per_day")?, own.number("days_per_year")?);
            Ok(duty::field_years_cycles(cycles, af, per_day, days)?.into())
        },
    },
];
