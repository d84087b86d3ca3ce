//! Fits of failure times, and estimates without a distribution.

use super::{Fault, Function, Inputs, Value};
use crate::evidence::cannot::Said;
use crate::evidence::ranks::{self, Positions, RankLine, Regression};
use crate::evidence::survival;
use crate::evidence::turnbull::{self, Intervals};
use crate::evidence::weibull::{End, Fit, Sample};

type Answer = Result<Value, Fault>;

/// The fit of times with failures and survivors.
fn timed(own: &Inputs) -> Result<Fit, Fault> {
    let (t, d) = (own.list("t")?, own.flags("d")?);
    let n = own.counts("n", t.len())?;
    Ok(Sample::timed(&t, &d, &n)?.fit()?)
}

/// The fit of failures between checks.
fn checked(own: &Inputs) -> Result<Fit, Fault> {
    with_intervals(own, |data| Sample::between(data)?.fit())
}

fn with_intervals<T>(own: &Inputs, run: impl Fn(Intervals) -> Said<T>) -> Result<T, Fault> {
    let (lo, hi) = (own.list("lo")?, own.list("hi")?);
    let n = own.counts("n", lo.len())?;
    let data = Intervals {
        lo: &lo,
        hi: &hi,
        n: &n,
    };
    Ok(run(data)?)
}

fn of_fit(fit: Result<Fit, Fault>, what: impl Fn(&Fit) -> Said<f64>) -> Answer {
    Ok(what(&fit?)?.into())
}

fn km(own: &Inputs, run: fn(&[f64], &[bool], f64, f64) -> Said<f64>) -> Answer {
    let (t, d) = (own.list("t")?, own.flags("d")?);
    Ok(run(&t, &d, own.number("at")?, own.number("c")?)?.into())
}

fn line(own: &Inputs, positions: Positions, on: Regression) -> Result<RankLine, Fault> {
    let (t, d) = (own.list("t")?, own.flags("d")?);
    Ok(ranks::rank_regression(&t, &d, positions, on)?)
}

const T: &[&str] = &["t", "d", "n?"];
const T_P: &[&str] = &["t", "d", "n?", "p"];
const T_P_C: &[&str] = &["t", "d", "n?", "p", "c"];
const T_AT: &[&str] = &["t", "d", "n?", "at"];
const T_AT_C: &[&str] = &["t", "d", "n?", "at", "c"];
const T_C: &[&str] = &["t", "d", "n?", "c"];
const I: &[&str] = &["lo", "hi", "n?"];
const I_P: &[&str] = &["lo", "hi", "n?", "p"];
const I_P_C: &[&str] = &["lo", "hi", "n?", "p", "c"];
const I_AT: &[&str] = &["lo", "hi", "n?", "at"];
const I_AT_C: &[&str] = &["lo", "hi", "n?", "at", "c"];
const TD: &[&str] = &["t", "d"];
const KM: &[&str] = &["t", "d", "at", "c"];

pub(super) const TABLE: &[Function] = &[
    Function {
        name: "weibull_beta",
        meaning: "Weibull shape, best fit of units that failed (d=1) or were whole (d=0) at t",
        inputs: T,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10",
        run: |own| of_fit(timed(own), |fit| Ok(fit.beta())),
    },
    Function {
        name: "weibull_eta",
        meaning: "Weibull scale in the unit of the times (63.2 % failed by then), best fit of units that failed (d=1) or were whole (d=0) at t",
        inputs: T,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10",
        run: |own| of_fit(timed(own), |fit| Ok(fit.eta())),
    },
    Function {
        name: "weibull_loglik",
        meaning: "log-likelihood of the best Weibull fit",
        inputs: T,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10",
        run: |own| of_fit(timed(own), |fit| Ok(fit.loglik())),
    },
    Function {
        name: "weibull_mean",
        meaning: "mean time to failure by the best Weibull fit, in the unit of t",
        inputs: T,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10",
        run: |own| of_fit(timed(own), |fit| Ok(fit.mean())),
    },
    Function {
        name: "weibull_sd",
        meaning: "standard deviation of the time to failure by the best Weibull fit",
        inputs: T,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10",
        run: |own| of_fit(timed(own), |fit| Ok(fit.sd())),
    },
    Function {
        name: "weibull_b",
        meaning: "time by which the fraction p has failed, by the best Weibull fit",
        inputs: T_P,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 p=0.1",
        run: |own| {
            let p = own.number("p")?;
            of_fit(timed(own), |fit| fit.b(p))
        },
    },
    Function {
        name: "weibull_r",
        meaning: "fraction surviving at time at, by the best Weibull fit",
        inputs: T_AT,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 at=150",
        run: |own| {
            let at = own.number("at")?;
            of_fit(timed(own), |fit| fit.r(at))
        },
    },
    Function {
        name: "weibull_b_fm_lower",
        meaning: "lower Fisher bound on the time by which p has failed, one-sided confidence c",
        inputs: T_P_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.b_fm(p, c, End::Lower))
        },
    },
    Function {
        name: "weibull_b_fm_upper",
        meaning: "upper Fisher bound on the time by which p has failed, one-sided confidence c",
        inputs: T_P_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.b_fm(p, c, End::Upper))
        },
    },
    Function {
        name: "weibull_b_lr_lower",
        meaning: "lower likelihood-ratio bound on the time by which p has failed, one-sided confidence c",
        inputs: T_P_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.b_lr(p, c, End::Lower))
        },
    },
    Function {
        name: "weibull_b_lr_upper",
        meaning: "upper likelihood-ratio bound on the time by which p has failed, one-sided confidence c",
        inputs: T_P_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.b_lr(p, c, End::Upper))
        },
    },
    Function {
        name: "weibull_r_fm_lower",
        meaning: "lower Fisher bound on the fraction surviving at time at, one-sided confidence c",
        inputs: T_AT_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 at=150 c=0.9",
        run: |own| {
            let (at, c) = (own.number("at")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.r_fm(at, c, End::Lower))
        },
    },
    Function {
        name: "weibull_r_lr_lower",
        meaning: "lower likelihood-ratio bound on the fraction surviving at time at, one-sided confidence c",
        inputs: T_AT_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 at=150 c=0.9",
        run: |own| {
            let (at, c) = (own.number("at")?, own.number("c")?);
            of_fit(timed(own), |fit| fit.r_lr(at, c, End::Lower))
        },
    },
    Function {
        name: "weibull_beta_fm_lower",
        meaning: "lower Fisher bound on the Weibull shape, one-sided confidence c",
        inputs: T_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 c=0.9",
        run: |own| {
            let c = own.number("c")?;
            of_fit(timed(own), |fit| fit.beta_fm(c, End::Lower))
        },
    },
    Function {
        name: "weibull_beta_fm_upper",
        meaning: "upper Fisher bound on the Weibull shape, one-sided confidence c",
        inputs: T_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 c=0.9",
        run: |own| {
            let c = own.number("c")?;
            of_fit(timed(own), |fit| fit.beta_fm(c, End::Upper))
        },
    },
    Function {
        name: "weibull_beta_lr_lower",
        meaning: "lower likelihood-ratio bound on the Weibull shape, one-sided confidence c",
        inputs: T_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 c=0.9",
        run: |own| {
            let c = own.number("c")?;
            of_fit(timed(own), |fit| fit.beta_lr(c, End::Lower))
        },
    },
    Function {
        name: "weibull_beta_lr_upper",
        meaning: "upper likelihood-ratio bound on the Weibull shape, one-sided confidence c",
        inputs: T_C,
        example: "t=54|187|216|500 d=1|1|1|0 n=1|1|1|10 c=0.9",
        run: |own| {
            let c = own.number("c")?;
            of_fit(timed(own), |fit| fit.beta_lr(c, End::Upper))
        },
    },
    Function {
        name: "weibull_int_beta",
        meaning: "Weibull shape, best fit of units found failed in (lo, hi], hi=inf for whole ones",
        inputs: I,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5",
        run: |own| of_fit(checked(own), |fit| Ok(fit.beta())),
    },
    Function {
        name: "weibull_int_eta",
        meaning: "Weibull scale in the unit of the times (63.2 % failed by then), best fit of units found failed in (lo, hi], hi=inf for whole ones",
        inputs: I,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5",
        run: |own| of_fit(checked(own), |fit| Ok(fit.eta())),
    },
    Function {
        name: "weibull_int_loglik",
        meaning: "log-likelihood of the best Weibull fit",
        inputs: I,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5",
        run: |own| of_fit(checked(own), |fit| Ok(fit.loglik())),
    },
    Function {
        name: "weibull_int_b",
        meaning: "time by which the fraction p has failed, by the best Weibull fit",
        inputs: I_P,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 p=0.1",
        run: |own| {
            let p = own.number("p")?;
            of_fit(checked(own), |fit| fit.b(p))
        },
    },
    Function {
        name: "weibull_int_r",
        meaning: "fraction surviving at time at, by the best Weibull fit",
        inputs: I_AT,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 at=150",
        run: |own| {
            let at = own.number("at")?;
            of_fit(checked(own), |fit| fit.r(at))
        },
    },
    Function {
        name: "weibull_int_b_fm_lower",
        meaning: "lower Fisher bound on the time by which p has failed, one-sided confidence c",
        inputs: I_P_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.b_fm(p, c, End::Lower))
        },
    },
    Function {
        name: "weibull_int_b_fm_upper",
        meaning: "upper Fisher bound on the time by which p has failed, one-sided confidence c",
        inputs: I_P_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.b_fm(p, c, End::Upper))
        },
    },
    Function {
        name: "weibull_int_b_lr_lower",
        meaning: "lower likelihood-ratio bound on the time by which p has failed, one-sided confidence c",
        inputs: I_P_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.b_lr(p, c, End::Lower))
        },
    },
    Function {
        name: "weibull_int_b_lr_upper",
        meaning: "upper likelihood-ratio bound on the time by which p has failed, one-sided confidence c",
        inputs: I_P_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 p=0.1 c=0.9",
        run: |own| {
            let (p, c) = (own.number("p")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.b_lr(p, c, End::Upper))
        },
    },
    Function {
        name: "weibull_int_r_fm_lower",
        meaning: "lower Fisher bound on the fraction surviving at time at, one-sided confidence c",
        inputs: I_AT_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 at=150 c=0.9",
        run: |own| {
            let (at, c) = (own.number("at")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.r_fm(at, c, End::Lower))
        },
    },
    Function {
        name: "weibull_int_r_lr_lower",
        meaning: "lower likelihood-ratio bound on the fraction surviving at time at, one-sided confidence c",
        inputs: I_AT_C,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 at=150 c=0.9",
        run: |own| {
            let (at, c) = (own.number("at")?, own.number("c")?);
            of_fit(checked(own), |fit| fit.r_lr(at, c, End::Lower))
        },
    },
    Function {
        name: "km_sf",
        meaning: "fraction surviving at time at (Kaplan and Meier), failed d=1 or withdrawn d=0 at t",
        inputs: &["t", "d", "at"],
        example: "t=54|187|216|500|500 d=1|1|1|0|0 at=200",
        run: |own| {
            let (t, d) = (own.list("t")?, own.flags("d")?);
            Ok(survival::km_sf(&t, &d, own.number("at")?)?.into())
        },
    },
    Function {
        name: "km_loglog_lower",
        meaning: "lower bound on the fraction surviving at time at, log-log scale, one-sided confidence c",
        inputs: KM,
        example: "t=54|187|216|500|500 d=1|1|1|0|0 at=200 c=0.9",
        run: |own| km(own, survival::km_loglog_lower),
    },
    Function {
        name: "km_plain_lower",
        meaning: "lower bound on the fraction surviving at time at, untransformed, one-sided confidence c",
        inputs: KM,
        example: "t=54|187|216|500|500 d=1|1|1|0|0 at=200 c=0.9",
        run: |own| km(own, survival::km_plain_lower),
    },
    Function {
        name: "turnbull_sf",
        meaning: "fraction surviving at time at (Turnbull), failures found in (lo, hi]",
        inputs: I_AT,
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 at=200",
        run: |own| {
            let at = own.number("at")?;
            Ok(with_intervals(own, |data| turnbull::turnbull_sf(data, at))?.into())
        },
    },
    Function {
        name: "turnbull_mass",
        meaning: "probability to fail in the innermost intervals inside (from, to] (Turnbull)",
        inputs: &["lo", "hi", "n?", "from", "to"],
        example: "lo=0|100|200 hi=100|200|inf n=2|3|5 from=100 to=200",
        run: |own| {
            let (from, to) = (own.number("from")?, own.number("to")?);
            Ok(with_intervals(own, |data| turnbull::turnbull_mass(data, from, to))?.into())
        },
    },
    Function {
        name: "benard",
        meaning: "fraction failed to plot the i-th of n at, by Benard's approximation of the median rank",
        inputs: &["i", "n"],
        example: "i=1 n=10",
        run: |own| Ok(ranks::benard(own.number("i")?, own.count("n")?)?.into()),
    },
    Function {
        name: "rank",
        meaning: "fraction failed that the i-th of n stays below with confidence c; c=0.5 is the median rank",
        inputs: &["i", "n", "c"],
        example: "i=1 n=10 c=0.5",
        run: |own| {
            let (i, n) = (own.number("i")?, own.count("n")?);
            Ok(ranks::rank(i, n, own.number("c")?)?.into())
        },
    },
    Function {
        name: "johnson_rank",
        meaning: "rank of that failure in order of time, adjusted for suspensions",
        inputs: &["t", "d", "failure"],
        example: "t=10|30|45|49 d=0|1|0|1 failure=2",
        run: |own| {
            let (t, d) = (own.list("t")?, own.flags("d")?);
            Ok(ranks::johnson_rank(&t, &d, own.count("failure")?)?.into())
        },
    },
    Function {
        name: "mrr_rrx_beta",
        meaning: "Weibull shape by median-rank regression, times on ranks",
        inputs: TD,
        example: "t=54|187|216|500 d=1|1|1|0",
        run: |own| Ok(line(own, Positions::Benard, Regression::XOnY)?.beta.into()),
    },
    Function {
        name: "mrr_rrx_eta",
        meaning: "Weibull scale by median-rank regression, times on ranks",
        inputs: TD,
        example: "t=54|187|216|500 d=1|1|1|0",
        run: |own| Ok(line(own, Positions::Benard, Regression::XOnY)?.eta.into()),
    },
    Function {
        name: "mrr_rry_beta",
        meaning: "Weibull shape by median-rank regression, ranks on times",
        inputs: TD,
        example: "t=54|187|216|500 d=1|1|1|0",
        run: |own| Ok(line(own, Positions::Benard, Regression::YOnX)?.beta.into()),
    },
    Function {
        name: "mrr_rry_eta",
        meaning: "Weibull scale by median-rank regression, ranks on times",
        inputs: TD,
        example: "t=54|187|216|500 d=1|1|1|0",
        run: |own| Ok(line(own, Positions::Benard, Regression::YOnX)?.eta.into()),
    },
    Function {
        name: "mrr_rrx_exact_beta",
        meaning: "Weibull shape by regression of times on exact median ranks",
        inputs: TD,
        example: "t=54|187|216|500 d=1|1|1|0",
        run: |own| Ok(line(own, Positions::Exact, Regression::XOnY)?.beta.into()),
    },
];
