//! Without a distribution, times known exactly: the product-limit estimate of Kaplan and Meier.

use super::cannot::{Said, check, fraction, not_negative, same_length};
use super::demonstration::cp_lower;
use super::special::normal_quantile;

/// The estimate at a time, with what its bounds need.
struct Step {
    /// S(t).
    survival: f64,
    /// Greenwood's Σ d/(r(r−d)); infinite where everybody failed.
    greenwood: f64,
    /// Units not failed and still seen at the time.
    left: u64,
}

fn step(t: &[f64], d: &[bool], at: f64) -> Said<Step> {
    same_length("d", d.len(), t.len())?;
    not_negative("at", at)?;
    for time in t {
        not_negative("t", *time)?;
    }
    let mut times: Vec<f64> = t
        .iter()
        .zip(d)
        .filter(|(own, failed)| **failed && **own <= at)
        .map(|(own, _)| *own)
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let mut own = Step {
        survival: 1.0,
        greenwood: 0.0,
        left: t.iter().filter(|own| **own >= at).count() as u64,
    };
    for time in times {
        let failed = t
            .iter()
            .zip(d)
            .filter(|(own, d)| **d && **own == time)
            .count() as f64;
        let risk = t.iter().filter(|own| **own >= time).count() as f64;
        own.survival *= 1.0 - failed / risk;
        own.greenwood += failed / (risk * (risk - failed));
    }
    Ok(own)
}

/// Fraction surviving at `at`: Π_{tⱼ≤at} (1 − dⱼ/rⱼ).
///
/// `t` are times of failed (`d`) and withdrawn units; a unit withdrawn at a time still counts as at risk
/// there. Source: Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457.
///
/// # Errors
/// `out_of_range`.
pub fn km_sf(t: &[f64], d: &[bool], at: f64) -> Said<f64> {
    step(t, d, at).map(|own| own.survival)
}

/// Lower one-sided bound on the fraction surviving, on the log-log scale: S^exp(−z√g/ln S).
///
/// Where nothing has failed by then it is the exact bound of the units still seen; at S = 0 it is 0.
///
/// # Errors
/// `out_of_range`.
pub fn km_loglog_lower(t: &[f64], d: &[bool], at: f64, c: f64) -> Said<f64> {
    bound(t, d, at, c, |own, z| {
        own.survival
            .powf((-z * own.greenwood.sqrt() / own.survival.ln()).exp())
    })
}

/// Lower one-sided bound on the fraction surviving, untransformed: S − zS√g, cut at 0.
///
/// Prefer [`km_loglog_lower`], which stays between 0 and 1 by itself.
///
/// # Errors
/// `out_of_range`.
pub fn km_plain_lower(t: &[f64], d: &[bool], at: f64, c: f64) -> Said<f64> {
    bound(t, d, at, c, |own, z| {
        (own.survival - z * own.survival * own.greenwood.sqrt()).clamp(0.0, 1.0)
    })
}

fn bound(t: &[f64], d: &[bool], at: f64, c: f64, inside: impl Fn(&Step, f64) -> f64) -> Said<f64> {
    fraction("c", c)?;
    let own = step(t, d, at)?;
    if own.survival <= 0.0 {
        return Ok(0.0);
    }
    if own.survival >= 1.0 {
        check(own.left > 0, "at", at, "no unit was seen for so long")?;
        return cp_lower(own.left, 0, c);
    }
    Ok(inside(&own, normal_quantile(c)))
}
