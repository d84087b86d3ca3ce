//! Longer on fewer units: an assumed Weibull shape turns time into units.
//!
//! Over L missions the reliability is R^(L^β). The assumed β is the whole argument: for L above 1 a β larger
//! than the truth is optimistic, for L below 1 a smaller one. It holds for one failure mode only. Source:
//! Weibull with known shape ("Weibayes"), e.g. Nelson, IEEE Trans. Reliability 34 (1985) 304.

use super::cannot::{CannotSay, Said, above_zero, check, fraction, of_units, same_length};
use super::demonstration::{cp_lower, fewer_failures, units_needed};
use super::special::{Share, poisson_mean};

/// Units that each run `l` missions so that at most `k` failures show `r` over one mission at confidence `c`.
///
/// `binomial_n` with r^(l^β); for k = 0 that is ⌈ln(1−c)/(l^β ln r)⌉. `β > 0`, `l > 0`.
///
/// # Errors
/// `out_of_range`.
pub fn weibayes_n(r: f64, c: f64, beta: f64, l: f64, k: u64) -> Said<u64> {
    fraction("r", r)?;
    fraction("c", c)?;
    above_zero("beta", beta)?;
    above_zero("l", l)?;
    units_needed(l.powf(beta) * r.ln(), c, k)
}

/// Missions that each of `n` units must run so that at most `k` failures show `r` over one mission at `c`.
///
/// (ln `cp_lower(n,k,c)` / ln r)^(1/β). `β > 0`, `k < n`.
///
/// # Errors
/// `out_of_range`.
pub fn weibayes_l(r: f64, c: f64, beta: f64, n: u64, k: u64) -> Said<f64> {
    fraction("r", r)?;
    above_zero("beta", beta)?;
    fewer_failures(k, n)?;
    Ok((cp_lower(n, k, c)?.ln() / r.ln()).powf(1.0 / beta))
}

/// Reliability over one mission shown by `n` units that each ran `l` missions with `k` failures.
///
/// `cp_lower(n,k,c)`^(1/l^β). `β > 0`, `l > 0`, `0 ≤ k ≤ n`; `k = n` gives 0.
///
/// # Errors
/// `out_of_range`.
pub fn weibayes_r(n: u64, k: u64, c: f64, beta: f64, l: f64) -> Said<f64> {
    above_zero("beta", beta)?;
    above_zero("l", l)?;
    Ok(cp_lower(n, k, c)?.powf(l.powf(-beta)))
}

/// Best estimate of the Weibull scale with assumed shape from running times `t` of failed and whole units.
///
/// (Σ tᵢ^β / f)^(1/β), in the unit of `t`. Times above 0, `1 ≤ f ≤` their number.
///
/// # Errors
/// `no_failures` where f is 0; `out_of_range`.
pub fn weibayes_eta(t: &[f64], beta: f64, f: u64) -> Said<f64> {
    let (scale, sum) = powers(t, beta, f)?;
    if f == 0 {
        return Err(CannotSay::NoFailures);
    }
    Ok(scale * (sum / f as f64).powf(1.0 / beta))
}

/// Lower one-sided bound on the Weibull scale with assumed shape.
///
/// (2 Σ tᵢ^β / χ²_{c; 2f+2})^(1/β): exact where f = 0, the usual approximation for time-censored f > 0.
/// Times above 0, `0 ≤ f ≤` their number, `0 < c < 1`.
///
/// # Errors
/// `out_of_range`.
pub fn weibayes_eta_lower(t: &[f64], beta: f64, f: u64, c: f64) -> Said<f64> {
    fraction("c", c)?;
    let (scale, sum) = powers(t, beta, f)?;
    Ok(scale * (sum / poisson_mean(f, Share::all_but(c))).powf(1.0 / beta))
}

/// The largest time, and Σ (tᵢ / largest)^β.
fn powers(t: &[f64], beta: f64, f: u64) -> Said<(f64, f64)> {
    same_length("t", t.len(), t.len())?;
    above_zero("beta", beta)?;
    for time in t {
        above_zero("t", *time)?;
    }
    of_units(f, t.len() as u64).map_err(|_| CannotSay::OutOfRange {
        what: "f",
        got: f as f64,
        allowed: "it must not be more than the number of times",
    })?;
    let largest = t.iter().fold(0.0, |most: f64, time| most.max(*time));
    let sum = t.iter().map(|time| (time / largest).powf(beta)).sum();
    check(
        f64::is_finite(sum),
        "beta",
        beta,
        "it is too large for these times",
    )?;
    Ok((largest, sum))
}
