//! How often nominal 90 % lower bounds hold, by simulation; the program prints what is found here.

use crate::support::random::Random;
use rigday::evidence::coverage::{Coverage, TABLE};
use rigday::evidence::leg::Table;
use rigday::evidence::weibull::{End, Fit, Sample};

/// Shape of the simulated lives; their scale is 1.
const SHAPE: f64 = 2.0;

/// The fit of one simulated leg, where it has one.
fn fit(cell: &Coverage, random: &mut Random) -> Option<Fit> {
    let end = std::f64::consts::LN_2.powf(1.0 / SHAPE);
    let width = end / cell.checks as f64;
    let mut table = Table::default();
    for _ in 0..cell.units {
        let life = (-random.fraction().ln()).powf(1.0 / SHAPE);
        let passed = (life / width).floor().min(cell.checks as f64);
        let hi = if passed < cell.checks as f64 {
            (passed + 1.0) * width
        } else {
            f64::INFINITY
        };
        table.add(passed * width, hi);
    }
    Sample::between(table.as_intervals())
        .and_then(|own| own.fit())
        .ok()
}

/// Percent of legs with a fit, and of those with each bound below the true B10.
fn simulated(cell: &Coverage, legs: u32, seed: u64) -> [f64; 3] {
    let truth = (-0.9_f64.ln()).powf(1.0 / SHAPE);
    let mut random = Random::new(seed ^ (cell.units * 100 + cell.checks));
    let (mut fitted, mut ratio, mut fisher) = (0, 0, 0);
    for _ in 0..legs {
        if let Some(fit) = fit(cell, &mut random) {
            fitted += 1;
            ratio += u32::from(fit.b_lr(0.1, 0.9, End::Lower).expect("in range") <= truth);
            fisher += u32::from(fit.b_fm(0.1, 0.9, End::Lower).expect("in range") <= truth);
        }
    }
    let percent = |part: u32, whole: u32| 100.0 * f64::from(part) / f64::from(whole.max(1));
    [
        percent(fitted, legs),
        percent(ratio, fitted),
        percent(fisher, fitted),
    ]
}

#[test]
fn the_printed_coverage_is_what_a_simulation_finds() {
    let legs = if super::is_full() { 20_000 } else { 1_000 };
    let mut wrong = Vec::new();
    for cell in &TABLE {
        let found = simulated(cell, legs, 7);
        let printed = [cell.fitted, cell.likelihood_ratio, cell.fisher].map(f64::from);
        // Four standard errors of the worst case, and the rounding of what is printed.
        let fits = f64::from(legs) * found[0] / 100.0;
        let off = 0.5 + 4.0 * 50.0 / fits.sqrt();
        if found
            .iter()
            .zip(printed)
            .any(|(found, printed)| (found - printed).abs() > off)
        {
            wrong.push(format!(
                "{} units, {} checks: {found:.2?}, printed {printed:?}",
                cell.units, cell.checks
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn exact_bounds_hold_at_least_as_often_as_they_say() {
    use rigday::evidence::{demonstration::cp_lower, sampling::oc_binomial};
    for (n, r) in [(6, 0.9), (12, 0.8), (30, 0.95), (30, 0.6)] {
        // The bound holds for every number of failures whose bound lies at or below the truth.
        let holds = |k: u64| cp_lower(n, k, 0.9).expect("in range") <= r;
        let most = |k: u64| oc_binomial(n, k, 1.0 - r).expect("in range");
        let fewest = (0..=n).find(|k| holds(*k)).expect("all failed shows 0");
        let missed = if fewest == 0 { 0.0 } else { most(fewest - 1) };
        assert!(missed <= 0.1 + 1e-12, "{n} units at {r}: missed {missed}");
    }
}
