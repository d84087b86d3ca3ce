//! Legs as they might have come about: whatever happened, the figures are in order.

use super::is_full;
use super::legs::{fail, lab, verdict};
use crate::support::events::new_event;
use crate::support::random::Random;
use rigday::app::evidence::LegEvidence;
use rigday::domain::lab::{Amount, Sequential, Show};
use rigday::domain::{Event, EventBody, RequestId, UnitId, Verdict};
use rigday::evidence::leg::Leg;
use rigday::evidence::shown::Evidence;
use rigday::evidence::weibull::{End, Fit};
use rigday::floor::Floor;

/// A history as it might have come about: verdicts in any state, some units gone, any goal.
fn random_leg(seed: u64) -> LegEvidence {
    let mut random = Random::new(seed);
    let checks = random.below(5) + 1;
    let units = random.below(20) + 1;
    let amount = Amount::Cycles(u64::from(random.count(1, 500_000)));
    let show = random.chance(80).then(|| Show {
        reliability: random.fraction() * 0.98 + 0.01,
        confidence: random.fraction() * 0.98 + 0.01,
        failures: u64::from(random.count(0, 3)),
        mission: random.chance(50).then(|| random.fraction() * 1e6),
        shape: random.chance(50).then(|| random.fraction() * 5.0 + 0.1),
        modes: if random.chance(20) {
            vec!["broken".to_owned()]
        } else {
            Vec::new()
        },
        sequential: None,
    });
    let show = show.map(|mut own| {
        if random.chance(30) {
            let good = own.reliability + (1.0 - own.reliability) * random.fraction() * 0.9;
            own.sequential = Some(Sequential {
                good,
                risk: own.confidence * random.fraction() * 0.9,
            });
        }
        own
    });
    let lab = lab(&vec![amount; checks], units, show);
    let mut bodies = vec![EventBody::RequestTaken {
        request: RequestId::new("R-1"),
        units: lab.requests[0].units.clone(),
    }];
    for unit in 1..=units {
        let stop = random.below(checks + 1);
        for check in 1..=stop {
            let own = match random.below(12) {
                0 => fail("broken"),
                1 => fail("scratched"),
                2 => Verdict::Hold {
                    reason: String::new(),
                },
                _ => Verdict::Pass,
            };
            bodies.push(verdict(unit, 2 * check, own));
        }
        if random.chance(10) {
            bodies.push(EventBody::UnitWithdrawn {
                unit: UnitId::new(&format!("R-1/{unit}")),
                reason: "lent".to_owned(),
            });
        }
    }
    let event = |(seq, body): (u64, EventBody)| {
        let new = new_event(u128::from(seq), body);
        Event {
            seq: rigday::domain::Seq(seq),
            id: new.id,
            happened: new.happened,
            recorded_ms: 0,
            clock_back: false,
            actor: new.actor.into(),
            body: new.body,
        }
    };
    let floor = Floor::fold((1..).zip(bodies).map(event));
    let walks = rigday::domain::steps::Walks::new(&lab);
    let leg = Leg::of(&lab, &walks, &floor, &lab.requests[0]);
    let evidence = Evidence::of(&leg);
    LegEvidence { leg, evidence }
}

/// Everything that is wrong with what is said of a leg.
fn faults(own: &LegEvidence) -> Vec<String> {
    let mut faults: Vec<String> = own
        .lines()
        .into_iter()
        .filter(|line| line.contains("NaN"))
        .collect();
    let evidence = &own.evidence;
    let inside = |x: f64| (0.0..=1.0).contains(&x);
    let by_shape = evidence.by_shape.iter().map(|(_, own)| own);
    let outside = evidence
        .by_units
        .iter()
        .chain(by_shape)
        .filter(|shown| !inside(**shown));
    faults.extend(outside.map(|shown| format!("shown {shown}")));
    if let Some(turnbull) = &evidence.turnbull {
        let mut before = 1.0;
        for life in own.leg.inspections() {
            let (least, most) = turnbull.survival(life);
            if !(least <= most && most <= before + 1e-9 && inside(least)) {
                faults.push(format!("survival {least} {most} after {before}"));
            }
            before = most;
        }
    }
    if let Ok(fit) = &evidence.fit {
        faults.extend(fit_faults(fit, own.leg.mission()));
    }
    faults
}

/// Lower bound, estimate and upper bound of five quantities at a confidence.
fn ends(fit: &Fit, life: f64, c: f64) -> [[f64; 3]; 5] {
    let pairs = [
        [
            fit.b_lr(0.1, c, End::Lower),
            fit.b(0.1),
            fit.b_lr(0.1, c, End::Upper),
        ],
        [
            fit.b_fm(0.1, c, End::Lower),
            fit.b(0.1),
            fit.b_fm(0.1, c, End::Upper),
        ],
        [
            fit.r_lr(life, c, End::Lower),
            fit.r(life),
            fit.r_lr(life, c, End::Upper),
        ],
        [
            fit.r_fm(life, c, End::Lower),
            fit.r(life),
            fit.r_fm(life, c, End::Upper),
        ],
        [
            fit.beta_lr(c, End::Lower),
            Ok(fit.beta()),
            fit.beta_lr(c, End::Upper),
        ],
    ];
    pairs.map(|three| three.map(|own| own.expect("in range")))
}

/// Bounds that do not contain the estimate, or that more confidence makes narrower.
fn fit_faults(fit: &Fit, life: f64) -> Vec<String> {
    let mut faults = Vec::new();
    let mut narrower: Option<[[f64; 3]; 5]> = None;
    for c in [0.6, 0.8, 0.9, 0.99] {
        let all = ends(fit, life, c);
        for [low, best, high] in all {
            if !(low <= best && best <= high) {
                faults.push(format!("at {c}: {low} {best} {high}"));
            }
        }
        for (wide, narrow) in all.iter().zip(narrower.iter().flatten()) {
            if !(wide[0] <= narrow[0] && narrow[2] <= wide[2]) {
                faults.push(format!("at {c}: {wide:?} within {narrow:?}"));
            }
        }
        narrower = Some(all);
    }
    faults
}

#[test]
fn whatever_happened_the_figures_are_in_order() {
    let legs: u64 = if is_full() { 10_000 } else { 1_000 };
    let (mut fitted, mut decided) = (0, 0);
    for seed in 0..legs {
        let own = random_leg(seed);
        fitted += u32::from(own.evidence.fit.is_ok());
        decided += u32::from(own.evidence.sequential.is_some());
        let faults = faults(&own);
        assert!(
            faults.is_empty(),
            "seed {seed}:\n{}\n{}",
            faults.join("\n"),
            own.lines().join("\n")
        );
    }
    println!("{legs} legs, {fitted} with a fit, {decided} with a sequential rule");
    assert!(fitted > 100, "only {fitted} had a fit");
    assert!(decided > 100, "only {decided} had a sequential rule");
}

#[test]
fn more_confidence_shows_less() {
    for seed in 0..200 {
        let mut own = random_leg(seed);
        let Some(show) = &mut own.leg.request.show else {
            continue;
        };
        show.sequential = None;
        let mut before = f64::INFINITY;
        for confidence in [0.5, 0.7, 0.9, 0.95, 0.99] {
            if let Some(show) = &mut own.leg.request.show {
                show.confidence = confidence;
            }
            let shown = Evidence::of(&own.leg).shown().unwrap_or(0.0);
            assert!(shown <= before, "seed {seed}: {shown} after {before}");
            before = shown;
        }
    }
}
