//! How many units, and what k failures in n show: pass or fail after exactly one mission.
//!
//! Each unit is independent and runs one mission; the plan is fixed before the test. Adding units after a
//! failure that was not planned for raises the true risk.

use super::cannot::{CannotSay, Said, check, countable, fraction, of_units, some};
use super::special::{Chances, Share, good_where_at_most, ln_at_most, more_than};

/// More units than anybody can mean.
const MOST_UNITS: f64 = 1e15;

/// Units to test so that at most `k` failures show reliability `r` at confidence `c`.
///
/// The smallest n ≥ k+1 with Σ_{i≤k} C(n,i)(1−r)^i r^(n−i) ≤ 1−c; for k = 0 that is ⌈ln(1−c)/ln r⌉.
/// Equality within 1e-12 counts, so that r = 0.9, c = 0.271 gives 3 and not 4. `0 < r < 1`, `0 < c < 1`,
/// one-sided. Source: binomial demonstration, e.g. table of Q. Digest print 27832 (22 for 0.9, 0.9).
///
/// # Errors
/// `out_of_range` where an argument is outside its range.
pub fn binomial_n(r: f64, c: f64, k: u64) -> Said<u64> {
    fraction("r", r)?;
    fraction("c", c)?;
    units_needed(r.ln(), c, k)
}

/// As [`binomial_n`], with the logarithm of the reliability, which is below zero.
pub(super) fn units_needed(ln_r: f64, c: f64, k: u64) -> Said<u64> {
    countable("k", k)?;
    // 1 − c of a double is off by up to 6e-17 whatever its size.
    let ln_risk = (-c).ln_1p() + 1e-12 + 1.2e-16 / (1.0 - c);
    let too_many = CannotSay::OutOfRange {
        what: "n",
        got: MOST_UNITS,
        allowed: "more than 10^15 units would be needed",
    };
    if k == 0 {
        let n = (ln_risk / ln_r).ceil().max(1.0);
        return if n < MOST_UNITS {
            Ok(whole(n))
        } else {
            Err(too_many)
        };
    }
    let unit = Chances::of_ln_good(ln_r);
    let enough = |n: f64| ln_at_most(k, n, unit) <= ln_risk;
    let (mut low, mut high) = (k as f64, k as f64 + 1.0);
    while !enough(high) {
        (low, high) = (high, high * 2.0);
        if high > MOST_UNITS {
            return Err(too_many);
        }
    }
    while high - low > 1.0 {
        let middle = f64::midpoint(low, high).floor();
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(whole(high))
}

/// A whole number that is 0 or more and far below 2^53.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "callers keep it within 0 and 10^15"
)]
pub(super) fn whole(x: f64) -> u64 {
    x as u64
}

/// Reliability shown by `n` units without a failure at confidence `c`: (1−c)^(1/n).
///
/// `n ≥ 1`, `0 < c < 1`, one-sided; the answer lies between 0 and 1.
///
/// # Errors
/// `out_of_range`.
pub fn success_run_r(n: u64, c: f64) -> Said<f64> {
    cp_lower(n, 0, c)
}

/// Confidence at which `k` failures in `n` show reliability `r`: 1 − Σ_{i≤k} C(n,i)(1−r)^i r^(n−i).
///
/// `n ≥ 1`, `0 ≤ k ≤ n`, `0 < r < 1`. `k = n` gives 0.
///
/// # Errors
/// `out_of_range`.
pub fn demonstrated_confidence(n: u64, k: u64, r: f64) -> Said<f64> {
    of_units(k, n)?;
    fraction("r", r)?;
    Ok(more_than(k, n, Chances::of_good(r)))
}

/// Lower one-sided bound on reliability from `k` failures in `n` (Clopper and Pearson).
///
/// The r with P(at most k fail) = 1−c, that is BetaInv(1−c; n−k, k+1). `k = 0` gives (1−c)^(1/n), `k = n`
/// gives 0. Conservative: the true coverage is c or more. `n ≥ 1`, `0 ≤ k ≤ n`, `0 < c < 1`. Source: Clopper
/// and Pearson, Biometrika 26 (1934) 404.
///
/// # Errors
/// `out_of_range`.
pub fn cp_lower(n: u64, k: u64, c: f64) -> Said<f64> {
    of_units(k, n)?;
    fraction("c", c)?;
    Ok(if k == n {
        0.0
    } else {
        good_where_at_most(k, n, Share::all_but(c))
    })
}

/// Upper one-sided bound on reliability from `k` failures in `n` (Clopper and Pearson).
///
/// BetaInv(c; n−k+1, k); `k = 0` gives 1. Ranges and source as for [`cp_lower`].
///
/// # Errors
/// `out_of_range`.
pub fn cp_upper(n: u64, k: u64, c: f64) -> Said<f64> {
    of_units(k, n)?;
    fraction("c", c)?;
    Ok(if k == 0 {
        1.0
    } else {
        good_where_at_most(k - 1, n, Share::of(c))
    })
}

/// Failures below the number of units: what a bound above zero needs.
pub(super) fn fewer_failures(k: u64, n: u64) -> Said<()> {
    some("n", n)?;
    countable("n", n)?;
    check(k < n, "k", k as f64, "it must be less than n")
}
