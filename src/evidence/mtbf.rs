//! A constant failure rate: bounds on the mean time between failures, and plans of fixed length.
//!
//! T is the accumulated time of all units (failed ones replaced, or counted only while they ran), in any one
//! unit. Valid only where the rate is constant: a part that wears out and was tested short shows nothing.
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods 8.4.5.1; IEC 60605-4.

use super::cannot::{Said, above_zero, check, countable, fraction, some};
use super::special::{Share, poisson_at_most, poisson_mean};

/// How a test or an observation ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// At a set time.
    Time,
    /// At the last failure.
    Failure,
}

/// Lower one-sided bound on the MTBF from `r` failures in accumulated time `t`.
///
/// 2t/χ²_{c; 2r+2} where the test ended at a time, 2t/χ²_{c; 2r} at the r-th failure. Exact for a time-ended
/// test with failed units replaced. `t > 0`, `0 < c < 1`.
///
/// # Errors
/// `out_of_range`, also for a test that ended at a failure without one.
pub fn mtbf_lower(t: f64, r: u64, c: f64, end: Ended) -> Said<f64> {
    above_zero("t", t)?;
    fraction("c", c)?;
    countable("r", r)?;
    let counted = match end {
        Ended::Time => r,
        Ended::Failure => {
            some("r", r)?;
            r - 1
        }
    };
    Ok(t / poisson_mean(counted, Share::all_but(c)))
}

/// Upper one-sided bound on the MTBF: 2t/χ²_{1−c; 2r}; infinite where nothing failed.
///
/// # Errors
/// `out_of_range`.
pub fn mtbf_upper(t: f64, r: u64, c: f64) -> Said<f64> {
    above_zero("t", t)?;
    fraction("c", c)?;
    countable("r", r)?;
    Ok(match r.checked_sub(1) {
        Some(fewer) => t / poisson_mean(fewer, Share::of(c)),
        None => f64::INFINITY,
    })
}

/// Accumulated test time that shows `mtbf` at confidence `c` with `r` failures allowed: mtbf·χ²_{c; 2r+2}/2.
///
/// # Errors
/// `out_of_range`.
pub fn mtbf_test_time(mtbf: f64, r: u64, c: f64) -> Said<f64> {
    above_zero("mtbf", mtbf)?;
    fraction("c", c)?;
    countable("r", r)?;
    Ok(mtbf * poisson_mean(r, Share::all_but(c)))
}

/// Good and bad level of a plan with the risks of deciding wrongly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MtbfPlan {
    /// MTBF of a good design, above `bad`.
    pub good: f64,
    /// MTBF of a bad design.
    pub bad: f64,
    /// Risk to reject a good design.
    pub alpha: f64,
    /// Risk to accept a bad design.
    pub beta: f64,
}

impl MtbfPlan {
    pub(super) fn check(&self) -> Said<()> {
        above_zero("bad", self.bad)?;
        above_zero("good", self.good)?;
        check(
            self.good > self.bad,
            "good",
            self.good,
            "it must be above bad",
        )?;
        risks(self.alpha, self.beta)
    }

    /// Failures allowed and time: the shortest with both risks kept.
    fn fixed(&self) -> Said<(u64, f64)> {
        const MOST_FAILURES: u64 = 100_000;
        self.check()?;
        let time = |r: u64| self.bad * poisson_mean(r, Share::of(self.beta));
        let kept = |r: u64| poisson_at_most(r, time(r) / self.good) >= 1.0 - self.alpha - 1e-12;
        let mut high = 1;
        while !kept(high - 1) {
            check(
                high < MOST_FAILURES,
                "good",
                self.good,
                "it is too close to bad",
            )?;
            high *= 2;
        }
        // Kept with high - 1, and not with half of it; the risk falls as more failures are allowed.
        let (mut low, mut high) = (high / 2, high - 1);
        while low < high {
            let middle = low + (high - low) / 2;
            if kept(middle) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        Ok((high, time(high)))
    }
}

/// Two risks, each between 0 and 1, together below 1.
pub(super) fn risks(alpha: f64, beta: f64) -> Said<()> {
    fraction("alpha", alpha)?;
    fraction("beta", beta)?;
    check(
        alpha + beta < 1.0,
        "beta",
        beta,
        "alpha and beta together must be below 1",
    )
}

/// Failures that the shortest fixed-length plan of these risks allows; one more rejects.
///
/// The smallest r for which T = bad·χ²_{1−β; 2r+2}/2 passes a good design with at least 1−α.
///
/// # Errors
/// `out_of_range`.
pub fn mtbf_fixed_plan_failures(plan: MtbfPlan) -> Said<u64> {
    plan.fixed().map(|(failures, _)| failures)
}

/// Accumulated time of the plan of [`mtbf_fixed_plan_failures`], in the unit of its levels.
///
/// # Errors
/// `out_of_range`.
pub fn mtbf_fixed_plan_time(plan: MtbfPlan) -> Said<f64> {
    plan.fixed().map(|(_, time)| time)
}
