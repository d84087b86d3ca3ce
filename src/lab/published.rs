//! Published figures that take a little arithmetic: which severities a standard lists, how long its
//! water and dust tests last, how a count is shared.
//!
//! Restated from the standards; none of it replaces a current, licensed copy of them.

use crate::domain::Minutes;
use crate::domain::time::minutes_ceil;

/// Cycles of 24 h that IEC 60068-2-30 (test Db, clause 5 of the 2005 text) lists for an upper temperature.
pub fn damp_heat_cyclic_counts(upper_c: u32) -> &'static [u32] {
    match upper_c {
        40 => &[2, 6, 12, 21, 56],
        55 => &[1, 2, 6],
        _ => &[],
    }
}

/// The rise of a Db cycle from 25 °C takes 3 h ± 30 min (IEC 60068-2-30, clause 6.3.1).
pub fn damp_heat_rise_allowed(rise: Minutes) -> bool {
    (150..=210).contains(&rise.get())
}

/// Time at the upper temperature of a Db cycle: it ends 12 h after the cycle began (IEC 60068-2-30).
pub fn damp_heat_plateau(rise: Minutes) -> Minutes {
    Minutes::hours(12) - rise
}

/// True where a measured rate of change lies within ±20 % of the nominal one (IEC 60068-2-14, test Nb).
pub fn rate_allowed(nominal_k_per_min: f64, measured_k_per_min: f64) -> bool {
    (measured_k_per_min - nominal_k_per_min).abs() <= 0.2 * nominal_k_per_min + 1e-9
}

/// One cycle of a rapid change of temperature: both exposures and both transfers (IEC 60068-2-14, test Na).
pub fn rapid_change_cycle(exposure: Minutes, transfer: Minutes) -> Minutes {
    (exposure + transfer) * 2
}

/// Whole cycles that fit into a window.
pub fn full_cycles(window: Minutes, cycle: Minutes) -> i64 {
    window.get() / cycle.get()
}

/// Cycles of 24 h of IEC 60068-2-38 (test Z/AD), and how many of them have a cold part.
pub const COMPOSITE_CYCLES: u32 = 10;
/// Cold parts of IEC 60068-2-38, all among the first nine cycles.
pub const COMPOSITE_COLD_PARTS: u32 = 5;

/// Days that test methods 1 to 6 of IEC 60068-2-52 (cyclic salt mist) last.
pub fn salt_mist_days(method: u32) -> Option<u32> {
    const THREE: u32 = 4 + 3;
    match method {
        1 => Some(4 * 7),
        2 => Some(3),
        3 => Some(THREE),
        4 => Some(2 * THREE),
        5 => Some(4 * THREE),
        6 => Some(8 * THREE),
        _ => None,
    }
}

/// Dust test of IEC 60529, category 1, by the extraction rate in enclosure volumes an hour: 2 h from 40
/// volumes on, below that until 80 volumes are drawn, at most 8 h. The joint at 40 is from memory.
pub fn dust_category_1(volumes_per_hour: f64) -> Minutes {
    if volumes_per_hour >= 40.0 {
        return Minutes::hours(2);
    }
    minutes_ceil((80.0 / volumes_per_hour.max(f64::MIN_POSITIVE) * 60.0).min(480.0))
}

/// Dust test of IEC 60529, category 2 (no underpressure).
pub const DUST_CATEGORY_2: Minutes = Minutes::hours(8);

/// Talc for a dust chamber in kg: 2 kg for each cubic metre (IEC 60529, clause 13.4).
pub fn talc_kg(chamber_m3: f64) -> f64 {
    2.0 * chamber_m3
}

/// Tests for which the same talc may be used at most (IEC 60529, clause 13.4).
pub const TALC_USES: u32 = 20;

/// Water jet of IEC 60529, IPX5 and IPX6: 1 min for each square metre of surface, at least 3 min.
pub fn jet_minutes(surface_m2: f64) -> f64 {
    surface_m2.max(3.0)
}

/// Spray nozzle of IEC 60529, IPX3 and IPX4: 1 min for each square metre of surface, at least 5 min.
pub fn nozzle_minutes(surface_m2: f64) -> f64 {
    surface_m2.max(5.0)
}

/// Water of IPX6 in litres for a time in minutes: 100 l/min (IEC 60529).
pub fn jet_6_litres(minutes: f64) -> f64 {
    100.0 * minutes
}

/// Drip test IPX2 of IEC 60529: four tilts of 2.5 min.
pub const DRIP_2: Minutes = Minutes::new(10);

/// Energy of a fall in J, with g = 9.81 m/s².
pub fn fall_energy_j(mass_kg: f64, fall_m: f64) -> f64 {
    mass_kg * 9.81 * fall_m
}

/// Speed in m/s at the end of a fall, with g = 9.81 m/s².
pub fn fall_m_per_s(fall_m: f64) -> f64 {
    (2.0 * 9.81 * fall_m).sqrt()
}

/// Velocity change in m/s of a half-sine pulse: `2·A·D/π`, A in g of 9.81 m/s², D in ms.
pub fn half_sine_m_per_s(acceleration_g: f64, pulse_ms: f64) -> f64 {
    2.0 * acceleration_g * 9.81 * pulse_ms / 1000.0 / std::f64::consts::PI
}

/// Nominal energy of IK codes 1 to 11 in J (IEC 62262; the eleventh added in 2021).
pub fn impact_energy_j(code: usize) -> Option<f64> {
    let codes = [0.14, 0.2, 0.35, 0.5, 0.7, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
    codes.get(code.checked_sub(1)?).copied()
}

/// Drops of MIL-STD-810H, method 516.8, procedure IV: every face, edge and corner.
pub const TRANSIT_DROPS: u32 = 6 + 12 + 8;

/// How a number of drops is shared over units, as evenly as it goes, the larger shares first.
pub fn shared(drops: u32, units: u32) -> Vec<u32> {
    let units = units.max(1);
    (0..units)
        .map(|unit| drops / units + u32::from(unit < drops % units))
        .collect()
}
