//! From duty in the field to a number of cycles in the lab.

use super::cannot::{Said, above_zero, check, finite, fraction, not_negative, same_length};
use super::demonstration::whole;
use super::special::{ceil_guarded, normal_quantile};

/// Cycles to reach: ⌈per_day × days_per_year × years × factor⌉.
///
/// The factor is 1 unless a margin is agreed; a margin is not a confidence. All above zero.
///
/// # Errors
/// `out_of_range`.
pub fn cycle_target(per_day: f64, days_per_year: f64, years: f64, factor: f64) -> Said<u64> {
    above_zero("per_day", per_day)?;
    above_zero("days_per_year", days_per_year)?;
    above_zero("years", years)?;
    above_zero("factor", factor)?;
    let cycles = ceil_guarded(per_day * days_per_year * years * factor).max(1.0);
    check(
        cycles < 1e15,
        "factor",
        factor,
        "the target must stay below 10^15 cycles",
    )?;
    Ok(whole(cycles))
}

/// Use at percentile `q` of a lognormal with that median and 95th percentile.
///
/// median·e^(σ Φ⁻¹(q)) with σ = ln(p95/median)/Φ⁻¹(0.95). `0 < median ≤ p95`, `0 < q < 1`.
///
/// # Errors
/// `out_of_range`.
pub fn usage_percentile(median: f64, p95: f64, q: f64) -> Said<f64> {
    above_zero("median", median)?;
    above_zero("p95", p95)?;
    fraction("q", q)?;
    check(p95 >= median, "p95", p95, "it must not be below the median")?;
    let sigma = (p95 / median).ln() / normal_quantile(0.95);
    Ok(median * (sigma * normal_quantile(q)).exp())
}

/// Damage by Miner's rule: Σ nᵢ/Nᵢ; failure is expected at 1 (seen anywhere from about 0.3 to 3).
///
/// `n` cycles applied, 0 or more; `life` cycles to failure at that level, above 0. Source: Miner, J. Appl.
/// Mech. 12 (1945) A159.
///
/// # Errors
/// `out_of_range`.
pub fn miner_damage(n: &[f64], life: &[f64]) -> Said<f64> {
    same_length("life", life.len(), n.len())?;
    let mut damage = 0.0;
    for (cycles, life) in n.iter().zip(life) {
        not_negative("n", *cycles)?;
        above_zero("life", *life)?;
        damage += cycles / life;
    }
    Ok(damage)
}

/// Cycles at one level that do the damage of mixed loads: Σ nᵢ (Sᵢ/S_ref)^m, with S-N slope `m`.
///
/// # Errors
/// `out_of_range`.
pub fn miner_equivalent(n: &[f64], s: &[f64], m: f64, s_ref: f64) -> Said<f64> {
    same_length("s", s.len(), n.len())?;
    finite("m", m)?;
    above_zero("s_ref", s_ref)?;
    let mut cycles = 0.0;
    for (count, stress) in n.iter().zip(s) {
        not_negative("n", *count)?;
        above_zero("s", *stress)?;
        cycles += count * (stress / s_ref).powf(m);
    }
    Ok(cycles)
}

/// Years in the field that a test of so many cycles stands for: cycles·AF / (per_day·days_per_year).
///
/// # Errors
/// `out_of_range`.
pub fn field_years_cycles(cycles: f64, af: f64, per_day: f64, days_per_year: f64) -> Said<f64> {
    not_negative("cycles", cycles)?;
    above_zero("af", af)?;
    above_zero("per_day", per_day)?;
    above_zero("days_per_year", days_per_year)?;
    Ok(cycles * af / (per_day * days_per_year))
}
