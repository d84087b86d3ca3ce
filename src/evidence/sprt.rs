//! Stop as soon as it is decided: Wald's sequential probability ratio test.
//!
//! α is the risk to fail a good design, β the risk to pass a bad one; A = (1−β)/α, B = β/(1−α). Untruncated,
//! α + β is kept in sum, not each; a test may run long, so stop at the fixed-length plan of the same risks and
//! say that the risks move. Source: Wald, Ann. Math. Stat. 16 (1945) 117; NIST/SEMATECH e-Handbook 6.2.6.

use super::cannot::{Said, check, fraction, not_negative, some};
use super::demonstration::whole;
use super::mtbf::{MtbfPlan, risks};
use super::special::{ceil_guarded, floor_guarded};

/// What a sequential test says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Good enough.
    Accept,
    /// Not good enough.
    Reject,
    /// Nothing yet.
    Continue,
}

impl Decision {
    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Accept => "accept",
            Self::Reject => "reject",
            Self::Continue => "continue",
        }
    }
}

/// ln A, ln B, ln(good/bad) and the slope 1/bad − 1/good.
fn mtbf_terms(plan: MtbfPlan) -> Said<(f64, f64, f64, f64)> {
    plan.check()?;
    let ln_a = ((1.0 - plan.beta) / plan.alpha).ln();
    let ln_b = (plan.beta / (1.0 - plan.alpha)).ln();
    let slope = 1.0 / plan.bad - 1.0 / plan.good;
    Ok((ln_a, ln_b, (plan.good / plan.bad).ln(), slope))
}

/// Accumulated time at which `r` failures accept: (r ln(good/bad) − ln B)/(1/bad − 1/good).
///
/// # Errors
/// `out_of_range`.
pub fn sprt_mtbf_accept_time(plan: MtbfPlan, r: u64) -> Said<f64> {
    let (_, ln_b, ratio, slope) = mtbf_terms(plan)?;
    Ok((r as f64 * ratio - ln_b) / slope)
}

/// Accumulated time up to which the r-th failure rejects: (r ln(good/bad) − ln A)/(1/bad − 1/good), 0 where
/// negative.
///
/// # Errors
/// `out_of_range`.
pub fn sprt_mtbf_reject_time(plan: MtbfPlan, r: u64) -> Said<f64> {
    let (ln_a, _, ratio, slope) = mtbf_terms(plan)?;
    Ok(((r as f64 * ratio - ln_a) / slope).max(0.0))
}

/// Decision after `r` failures in accumulated time `t`: reject where λ ≥ ln A, accept where λ ≤ ln B, with
/// λ = r ln(good/bad) − t(1/bad − 1/good).
///
/// # Errors
/// `out_of_range`.
pub fn sprt_mtbf_decide(plan: MtbfPlan, r: u64, t: f64) -> Said<Decision> {
    not_negative("t", t)?;
    let (ln_a, ln_b, ratio, slope) = mtbf_terms(plan)?;
    let lambda = r as f64 * ratio - t * slope;
    Ok(if lambda >= ln_a {
        Decision::Reject
    } else if lambda <= ln_b {
        Decision::Accept
    } else {
        Decision::Continue
    })
}

/// Good and bad fraction failing, and the risks of deciding wrongly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BinomialPlan {
    /// Fraction failing of a good design.
    pub p0: f64,
    /// Fraction failing of a bad design, above `p0`.
    pub p1: f64,
    /// Risk to reject a good design.
    pub alpha: f64,
    /// Risk to accept a bad design.
    pub beta: f64,
}

/// The two parallel lines of a pass/fail test: accept below sn − h1, reject from sn + h2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// ln((1−α)/β)/K.
    pub h1: f64,
    /// ln((1−β)/α)/K.
    pub h2: f64,
    /// ln[(1−p0)/(1−p1)]/K.
    pub slope: f64,
}

/// The lines of a plan, with K = ln[p1(1−p0)/(p0(1−p1))].
///
/// # Errors
/// `out_of_range`.
pub fn sprt_binomial_lines(plan: BinomialPlan) -> Said<Lines> {
    fraction("p0", plan.p0)?;
    fraction("p1", plan.p1)?;
    check(plan.p0 < plan.p1, "p1", plan.p1, "it must be above p0")?;
    risks(plan.alpha, plan.beta)?;
    let good = (-plan.p0).ln_1p() - (-plan.p1).ln_1p();
    let k = (plan.p1 / plan.p0).ln() + good;
    Ok(Lines {
        h1: ((1.0 - plan.alpha) / plan.beta).ln() / k,
        h2: ((1.0 - plan.beta) / plan.alpha).ln() / k,
        slope: good / k,
    })
}

/// Most failures among `n` units that accept: ⌊sn − h1⌋; none where that is below zero.
///
/// # Errors
/// `out_of_range`.
pub fn sprt_binomial_accept(plan: BinomialPlan, n: u64) -> Said<Option<u64>> {
    some("n", n)?;
    let lines = sprt_binomial_lines(plan)?;
    let most = floor_guarded(lines.slope * n as f64 - lines.h1);
    Ok((most >= 0.0).then(|| whole(most)))
}

/// Fewest failures among `n` units that reject: ⌈sn + h2⌉; none where that is more than `n`.
///
/// # Errors
/// `out_of_range`.
pub fn sprt_binomial_reject(plan: BinomialPlan, n: u64) -> Said<Option<u64>> {
    some("n", n)?;
    let lines = sprt_binomial_lines(plan)?;
    let fewest = ceil_guarded(lines.slope * n as f64 + lines.h2);
    Ok((fewest <= n as f64).then(|| whole(fewest)))
}

/// Decision after `k` failures among `n` units; nothing is decided before the first.
///
/// # Errors
/// `out_of_range`.
pub fn sprt_binomial_decide(plan: BinomialPlan, k: u64, n: u64) -> Said<Decision> {
    if n == 0 {
        return sprt_binomial_lines(plan).map(|_| Decision::Continue);
    }
    let accepts = sprt_binomial_accept(plan, n)?.is_some_and(|most| k <= most);
    let rejects = sprt_binomial_reject(plan, n)?.is_some_and(|fewest| k >= fewest);
    Ok(match (rejects, accepts) {
        (true, _) => Decision::Reject,
        (_, true) => Decision::Accept,
        _ => Decision::Continue,
    })
}
