//! Numbers of units, failures and times, and sequential decisions.

use super::{Fault, Function, Inputs, Value};
use crate::evidence::demonstration as demo;
use crate::evidence::mtbf::{self, Ended, MtbfPlan};
use crate::evidence::sprt::{self, BinomialPlan};
use crate::evidence::weibayes;

type Answer = Result<Value, Fault>;

fn mtbf_plan(own: &Inputs) -> Result<MtbfPlan, Fault> {
    Ok(MtbfPlan {
        good: own.number("good")?,
        bad: own.number("bad")?,
        alpha: own.number("alpha")?,
        beta: own.number("beta")?,
    })
}

fn binomial_plan(own: &Inputs) -> Result<BinomialPlan, Fault> {
    Ok(BinomialPlan {
        p0: own.number("p0")?,
        p1: own.number("p1")?,
        alpha: own.number("alpha")?,
        beta: own.number("beta")?,
    })
}

fn mtbf_lower(own: &Inputs) -> Answer {
    let words = [("time", Ended::Time), ("failure", Ended::Failure)];
    let end = own.word("end", &words, "it must be time or failure")?;
    Ok(mtbf::mtbf_lower(own.number("t")?, own.count("r")?, own.number("c")?, end)?.into())
}

const MTBF_PLAN: &[&str] = &["good", "bad", "alpha", "beta"];
const MTBF_PLAN_R: &[&str] = &["good", "bad", "alpha", "beta", "r"];
const LINE_PLAN: &[&str] = &["p0", "p1", "alpha", "beta"];
const LINE_PLAN_N: &[&str] = &["p0", "p1", "alpha", "beta", "n"];

pub(super) const TABLE: &[Function] = &[
    Function {
        name: "binomial_n",
        meaning: "units to test: at most k failures then show reliability r at one-sided confidence c",
        inputs: &["r", "c", "k"],
        example: "r=0.9 c=0.9 k=0",
        run: |own| {
            Ok(demo::binomial_n(own.number("r")?, own.number("c")?, own.count("k")?)?.into())
        },
    },
    Function {
        name: "success_run_r",
        meaning: "reliability shown by n units without a failure at one-sided confidence c",
        inputs: &["n", "c"],
        example: "n=22 c=0.9",
        run: |own| Ok(demo::success_run_r(own.count("n")?, own.number("c")?)?.into()),
    },
    Function {
        name: "demonstrated_confidence",
        meaning: "one-sided confidence at which k failures in n units show reliability r",
        inputs: &["n", "k", "r"],
        example: "n=30 k=1 r=0.85",
        run: |own| {
            let (n, k) = (own.count("n")?, own.count("k")?);
            Ok(demo::demonstrated_confidence(n, k, own.number("r")?)?.into())
        },
    },
    Function {
        name: "cp_lower",
        meaning: "lower bound on reliability from k failures in n units at one-sided confidence c",
        inputs: &["n", "k", "c"],
        example: "n=30 k=1 c=0.95",
        run: |own| Ok(demo::cp_lower(own.count("n")?, own.count("k")?, own.number("c")?)?.into()),
    },
    Function {
        name: "cp_upper",
        meaning: "upper bound on reliability from k failures in n units at one-sided confidence c",
        inputs: &["n", "k", "c"],
        example: "n=30 k=1 c=0.95",
        run: |own| Ok(demo::cp_upper(own.count("n")?, own.count("k")?, own.number("c")?)?.into()),
    },
    Function {
        name: "weibayes_n",
        meaning: "units that each run l missions to show r over one mission at c, with assumed shape beta",
        inputs: &["r", "c", "beta", "l", "k"],
        example: "r=0.95 c=0.9 beta=2 l=2 k=0",
        run: |own| {
            let (r, c, beta) = (own.number("r")?, own.number("c")?, own.number("beta")?);
            Ok(weibayes::weibayes_n(r, c, beta, own.number("l")?, own.count("k")?)?.into())
        },
    },
    Function {
        name: "weibayes_l",
        meaning: "missions that each of n units must run to show r over one mission at c, with assumed shape beta",
        inputs: &["r", "c", "beta", "n", "k"],
        example: "r=0.95 c=0.9 beta=2 n=6 k=0",
        run: |own| {
            let (r, c, beta) = (own.number("r")?, own.number("c")?, own.number("beta")?);
            Ok(weibayes::weibayes_l(r, c, beta, own.count("n")?, own.count("k")?)?.into())
        },
    },
    Function {
        name: "weibayes_r",
        meaning: "reliability over one mission shown by n units that ran l missions each, with assumed shape beta",
        inputs: &["n", "k", "c", "beta", "l"],
        example: "n=6 k=0 c=0.9 beta=1.5 l=3",
        run: |own| {
            let (n, k, c) = (own.count("n")?, own.count("k")?, own.number("c")?);
            Ok(weibayes::weibayes_r(n, k, c, own.number("beta")?, own.number("l")?)?.into())
        },
    },
    Function {
        name: "weibayes_eta",
        meaning: "Weibull scale in the unit of t, best estimate with assumed shape beta and f failures",
        inputs: &["t", "beta", "f"],
        example: "t=500|750|1000|1000 beta=1.5 f=1",
        run: |own| {
            let t = own.list("t")?;
            Ok(weibayes::weibayes_eta(&t, own.number("beta")?, own.count("f")?)?.into())
        },
    },
    Function {
        name: "weibayes_eta_lower",
        meaning: "lower bound on the Weibull scale in the unit of t, assumed shape beta, one-sided confidence c",
        inputs: &["t", "beta", "f", "c"],
        example: "t=500|750|1000|1000 beta=1.5 f=1 c=0.9",
        run: |own| {
            let (t, beta, f) = (own.list("t")?, own.number("beta")?, own.count("f")?);
            Ok(weibayes::weibayes_eta_lower(&t, beta, f, own.number("c")?)?.into())
        },
    },
    Function {
        name: "mtbf_lower",
        meaning: "lower bound on the MTBF in the unit of t, r failures in accumulated time t, ended at a time or a failure",
        inputs: &["t", "r", "c", "end"],
        example: "t=800 r=2 c=0.95 end=time",
        run: mtbf_lower,
    },
    Function {
        name: "mtbf_upper",
        meaning: "upper bound on the MTBF in the unit of t, r failures in accumulated time t",
        inputs: &["t", "r", "c"],
        example: "t=800 r=2 c=0.95",
        run: |own| {
            Ok(mtbf::mtbf_upper(own.number("t")?, own.count("r")?, own.number("c")?)?.into())
        },
    },
    Function {
        name: "mtbf_test_time",
        meaning: "accumulated test time that shows this MTBF at one-sided confidence c with r failures allowed",
        inputs: &["mtbf", "r", "c"],
        example: "mtbf=1000 r=1 c=0.9",
        run: |own| {
            let (mtbf, r) = (own.number("mtbf")?, own.count("r")?);
            Ok(mtbf::mtbf_test_time(mtbf, r, own.number("c")?)?.into())
        },
    },
    Function {
        name: "mtbf_fixed_plan_failures",
        meaning: "failures that the shortest fixed-length plan of these risks allows; one more rejects",
        inputs: MTBF_PLAN,
        example: "good=300 bad=100 alpha=0.1 beta=0.1",
        run: |own| Ok(mtbf::mtbf_fixed_plan_failures(mtbf_plan(own)?)?.into()),
    },
    Function {
        name: "mtbf_fixed_plan_time",
        meaning: "accumulated test time of that plan, in the unit of good and bad",
        inputs: MTBF_PLAN,
        example: "good=300 bad=100 alpha=0.1 beta=0.1",
        run: |own| Ok(mtbf::mtbf_fixed_plan_time(mtbf_plan(own)?)?.into()),
    },
    Function {
        name: "sprt_mtbf_accept_time",
        meaning: "accumulated time at which r failures accept the good MTBF",
        inputs: MTBF_PLAN_R,
        example: "good=200 bad=100 alpha=0.1 beta=0.1 r=0",
        run: |own| Ok(sprt::sprt_mtbf_accept_time(mtbf_plan(own)?, own.count("r")?)?.into()),
    },
    Function {
        name: "sprt_mtbf_reject_time",
        meaning: "accumulated time up to which the r-th failure rejects; 0 where it never does",
        inputs: MTBF_PLAN_R,
        example: "good=200 bad=100 alpha=0.1 beta=0.1 r=4",
        run: |own| Ok(sprt::sprt_mtbf_reject_time(mtbf_plan(own)?, own.count("r")?)?.into()),
    },
    Function {
        name: "sprt_mtbf_decide",
        meaning: "decision after r failures in accumulated time t: accept, reject or continue",
        inputs: &["good", "bad", "alpha", "beta", "r", "t"],
        example: "good=200 bad=100 alpha=0.1 beta=0.1 r=2 t=800",
        run: |own| {
            let (r, t) = (own.count("r")?, own.number("t")?);
            let said = sprt::sprt_mtbf_decide(mtbf_plan(own)?, r, t)?;
            Ok(Value::Word(said.word().to_owned()))
        },
    },
    Function {
        name: "sprt_binomial_accept",
        meaning: "most failures among n units that accept; none where n is too few",
        inputs: LINE_PLAN_N,
        example: "p0=0.01 p1=0.1 alpha=0.05 beta=0.1 n=24",
        run: |own| Ok(sprt::sprt_binomial_accept(binomial_plan(own)?, own.count("n")?)?.into()),
    },
    Function {
        name: "sprt_binomial_reject",
        meaning: "fewest failures among n units that reject; none where n is too few",
        inputs: LINE_PLAN_N,
        example: "p0=0.01 p1=0.1 alpha=0.05 beta=0.1 n=24",
        run: |own| Ok(sprt::sprt_binomial_reject(binomial_plan(own)?, own.count("n")?)?.into()),
    },
    Function {
        name: "sprt_binomial_h1",
        meaning: "intercept h1: after n units, at most slope n - h1 failures accept",
        inputs: LINE_PLAN,
        example: "p0=0.01 p1=0.1 alpha=0.05 beta=0.1",
        run: |own| Ok(sprt::sprt_binomial_lines(binomial_plan(own)?)?.h1.into()),
    },
    Function {
        name: "sprt_binomial_h2",
        meaning: "intercept h2: after n units, slope n + h2 failures or more reject",
        inputs: LINE_PLAN,
        example: "p0=0.01 p1=0.1 alpha=0.05 beta=0.1",
        run: |own| Ok(sprt::sprt_binomial_lines(binomial_plan(own)?)?.h2.into()),
    },
    Function {
        name: "sprt_binomial_slope",
        meaning: "slope of both decision lines, in failures a unit",
        inputs: LINE_PLAN,
        example: "p0=0.01 p1=0.1 alpha=0.05 beta=0.1",
        run: |own| Ok(sprt::sprt_binomial_lines(binomial_plan(own)?)?.slope.into()),
    },
];
