//! How much faster a test ages than use: AF = life in use / life in test, so field time = test time × AF.
//!
//! Temperatures in °C, humidity in %, energies in eV. Valid while test and use share one mechanism (no glass
//! transition, melting or condensation between them). Never multiply models that share a stress: Peck
//! already contains Arrhenius. Constants are inputs; an AF above about 100 deserves a warning.

use super::cannot::{Said, above_zero, check, finite, not_negative, same_length};

/// Boltzmann constant in eV/K (CODATA 2018).
pub const BOLTZMANN_EV: f64 = 8.617_333_262e-5;
/// 0 °C in kelvin.
const ZERO_C: f64 = 273.15;

fn kelvin(what: &'static str, celsius: f64) -> Said<f64> {
    let good = celsius > -ZERO_C && celsius.is_finite();
    check(good, what, celsius, "it must be above -273.15 °C")?;
    Ok(celsius + ZERO_C)
}

/// Arrhenius: exp[(Ea/k)(1/T_use − 1/T_test)], temperatures in °C, `ea` in eV.
///
/// Equal temperatures give 1; a colder test gives less than 1, which is allowed.
///
/// # Errors
/// `out_of_range` for a temperature at or below absolute zero.
pub fn af_arrhenius(ea: f64, t_use: f64, t_test: f64) -> Said<f64> {
    finite("ea", ea)?;
    let (use_k, test_k) = (kelvin("t_use", t_use)?, kelvin("t_test", t_test)?);
    Ok((ea / BOLTZMANN_EV * (1.0 / use_k - 1.0 / test_k)).exp())
}

/// Temperature and relative humidity at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Climate {
    /// Temperature in °C.
    pub celsius: f64,
    /// Relative humidity in %, above 0, at most 100.
    pub humidity: f64,
}

/// Peck: (RH_test/RH_use)^n · Arrhenius. Source: Peck, Proc. 24th Int. Reliability Physics Symp. (1986) 44.
///
/// # Errors
/// `out_of_range`.
pub fn af_peck(n: f64, ea: f64, in_use: Climate, test: Climate) -> Said<f64> {
    finite("n", n)?;
    for (what, got) in [("rh_use", in_use.humidity), ("rh_test", test.humidity)] {
        check(
            got > 0.0 && got <= 100.0,
            what,
            got,
            "it must be above 0 and at most 100",
        )?;
    }
    let heat = af_arrhenius(ea, in_use.celsius, test.celsius)?;
    Ok((test.humidity / in_use.humidity).powf(n) * heat)
}

/// Coffin and Manson, in cycles: (ΔT_test/ΔT_use)^n; ranges in K above zero.
///
/// # Errors
/// `out_of_range`.
pub fn af_coffin_manson(n: f64, dt_use: f64, dt_test: f64) -> Said<f64> {
    finite("n", n)?;
    above_zero("dt_use", dt_use)?;
    above_zero("dt_test", dt_test)?;
    Ok((dt_test / dt_use).powf(n))
}

/// Temperature cycling at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycling {
    /// Range of temperature in K, above zero.
    pub range: f64,
    /// Cycles per day, above zero.
    pub per_day: f64,
    /// Highest temperature in °C.
    pub hottest: f64,
}

/// Norris and Landzberg, in cycles: (ΔT_test/ΔT_use)^n · (f_use/f_test)^m · exp[E(1/Tmax_use − 1/Tmax_test)].
///
/// `e_k` in kelvin. More cycles a day mean less damage each (less time to creep), so with f_test above f_use
/// the frequency factor is below 1; it is often printed upside down. Source: Norris and Landzberg, IBM J.
/// Res. Dev. 13 (1969) 266; the sign by Yang, Life Cycle Reliability Engineering (2007), example 7.2.
///
/// # Errors
/// `out_of_range`.
pub fn af_norris_landzberg(n: f64, m: f64, e_k: f64, in_use: Cycling, test: Cycling) -> Said<f64> {
    finite("m", m)?;
    finite("e_k", e_k)?;
    above_zero("f_use", in_use.per_day)?;
    above_zero("f_test", test.per_day)?;
    let hot_use = kelvin("tmax_use", in_use.hottest)?;
    let hot_test = kelvin("tmax_test", test.hottest)?;
    let range = af_coffin_manson(n, in_use.range, test.range)?;
    let frequency = (in_use.per_day / test.per_day).powf(m);
    Ok(range * frequency * (e_k * (1.0 / hot_use - 1.0 / hot_test)).exp())
}

/// Inverse power law: (S_test/S_use)^n; stresses above zero.
///
/// # Errors
/// `out_of_range`.
pub fn af_power(n: f64, s_use: f64, s_test: f64) -> Said<f64> {
    finite("n", n)?;
    above_zero("s_use", s_use)?;
    above_zero("s_test", s_test)?;
    Ok((s_test / s_use).powf(n))
}

/// Years in the field that a test of `test_hours` stands for: test_hours·AF / use_hours_per_year.
///
/// # Errors
/// `out_of_range`.
pub fn field_years_hold(test_hours: f64, af: f64, use_hours_per_year: f64) -> Said<f64> {
    not_negative("test_hours", test_hours)?;
    above_zero("af", af)?;
    above_zero("use_hours_per_year", use_hours_per_year)?;
    Ok(test_hours * af / use_hours_per_year)
}

/// Acceleration of a use profile against one test level: 1/Σ(wᵢ/AFᵢ), never the mean of the AFᵢ.
///
/// `shares` of time add up to 1; each factor is that of its level to the test.
///
/// # Errors
/// `out_of_range`.
pub fn af_profile(shares: &[f64], factors: &[f64]) -> Said<f64> {
    same_length("factors", factors.len(), shares.len())?;
    let mut rate = 0.0;
    for (share, factor) in shares.iter().zip(factors) {
        not_negative("shares", *share)?;
        above_zero("factors", *factor)?;
        rate += share / factor;
    }
    let whole: f64 = shares.iter().sum();
    check(
        (whole - 1.0).abs() < 1e-9,
        "shares",
        whole,
        "they must add up to 1",
    )?;
    Ok(1.0 / rate)
}
