//! Legs from the verdicts in a ledger to the figures that are printed.

use crate::support::events::{actor, new_event, still_env};
use crate::support::parts;
use rigday::app::desk::{Desk, Opening};
use rigday::app::evidence::{LegEvidence, legs};
use rigday::app::line_samples::line_samples;
use rigday::app::offers::{Offer, offers};
use rigday::domain::lab::{Amount, Lab, Length, Sequential, Show};
use rigday::domain::{EventBody, Minute, Minutes, UnitId, Verdict};
use rigday::evidence::shown::{Evidence, Standing};
use rigday::evidence::weibull::End;
use rigday::ledger::{Ids, Ledger, MemoryLedger, Outcome};

/// A goal at that reliability and confidence, without failures.
fn goal(reliability: f64, confidence: f64) -> Show {
    Show {
        reliability,
        confidence,
        failures: 0,
        mission: None,
        shape: None,
        modes: Vec::new(),
        sequential: None,
    }
}

/// A lab with one leg: exposures of those lengths, each with a check after it.
pub(super) fn lab(exposures: &[Amount], units: usize, show: Option<Show>) -> Lab {
    let mut lab = parts::empty_lab();
    let length = match exposures[0] {
        Amount::Cycles(_) => Length::Cycles(1),
        Amount::Hold(_) => Length::Hold(Minutes::new(1)),
        Amount::Repeat(_) => Length::Profile {
            segments: Vec::new(),
            repeat: 1,
        },
    };
    let mut check = parts::method("check", "look", Length::Hold(Minutes::new(10)));
    check.verdict = true;
    for own in [parts::method("life", "press", length), check] {
        lab.methods.insert(own.id.clone(), own);
    }
    let step = |amount: &Amount| {
        let mut own = parts::step("life");
        own.length = Some(*amount);
        [own, parts::step("check")]
    };
    let steps = exposures.iter().flat_map(step).collect();
    lab.sequences.push(parts::sequence("walk", steps));
    let mut request = parts::request("R-1", "walk", units, Minute::new(0));
    request.show = show;
    lab.requests.push(request);
    lab
}

pub(super) fn verdict(unit: usize, step: usize, verdict: Verdict) -> EventBody {
    EventBody::VerdictGiven {
        unit: UnitId::new(&format!("R-1/{unit}")),
        step: u32::try_from(step).expect("a small number"),
        verdict,
    }
}

pub(super) fn fail(reason: &str) -> Verdict {
    Verdict::Fail {
        reason: reason.to_owned(),
    }
}

/// Verdicts of units that fail at the checks given, the others whole to the end; checks count from 1.
fn verdicts(units: usize, checks: usize, failed_at: &[usize]) -> Vec<EventBody> {
    let mut bodies = Vec::new();
    for unit in 1..=units {
        let fails = failed_at.get(unit - 1).copied();
        for check in 1..=checks {
            let failed = fails == Some(check);
            bodies.push(verdict(
                unit,
                2 * check,
                if failed {
                    fail("broken")
                } else {
                    Verdict::Pass
                },
            ));
            if failed {
                break;
            }
        }
    }
    bodies
}

/// What the program says of a lab's first leg once those things stand in its ledger.
fn told(lab: Lab, bodies: Vec<EventBody>) -> LegEvidence {
    let request = &lab.requests[0];
    let taken = EventBody::RequestTaken {
        request: request.id.clone(),
        units: request.units.clone(),
    };
    let all = std::iter::once(taken).chain(bodies).collect();
    legs(&desk_of(lab, all)).remove(0)
}

#[track_caller]
fn says(own: &LegEvidence, words: &[&str]) {
    let lines = own.lines().join("\n");
    for word in words {
        assert!(lines.contains(word), "`{word}` is not in:\n{lines}");
    }
}

/// One failed by 200 000 and one by 300 000 cycles of six, checks each 100 000.
#[test]
fn six_units_checked_each_hundred_thousand_cycles() {
    let lab = lab(
        &[Amount::Cycles(100_000); 3],
        6,
        Some(Show {
            mission: Some(1e5),
            ..goal(0.9, 0.9)
        }),
    );
    let own = told(lab, verdicts(6, 3, &[2, 3]));
    says(
        &own,
        &[
            "shape 2.674",
            "scale 417708 cycles",
            "B10 180058 cycles",
            "103208 by Fisher",
            "small sample",
        ],
    );
    let fit = own.evidence.fit.as_ref().expect("it has a fit");
    let r = fit.r_fm(100_000.0, 0.9, End::Lower).expect("in range");
    assert!((r - 0.700_323_636_117).abs() < 1e-6, "{r}");
    assert_eq!(own.evidence.counts.survived, 6);
    says(
        &own,
        &[
            "R-1/1 failed between 100000 and 200000: broken",
            "surviving without a distribution: 1.000 at 100000, 0.833 at 200000, 0.667 at 300000 cycles",
        ],
    );
}

/// 167 parts, inspected at uneven times (Nelson 1982, p. 415); a month is a hundred minutes here.
#[test]
fn turbine_parts_inspected_at_uneven_times() {
    let months = [6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48];
    let failed = [5, 16, 12, 18, 18, 2, 6, 17];
    let mut before = 0.0;
    let mut holds = Vec::new();
    for month in months {
        let minutes = ((month - before) * 100.0_f64).round();
        holds.push(Amount::Hold(Minutes::new(
            minutes.to_string().parse().expect("a whole number"),
        )));
        before = month;
    }
    let failed_at: Vec<usize> = (1..)
        .zip(failed)
        .flat_map(|(check, count)| vec![check; count])
        .collect();
    let own = told(
        lab(&holds, 167, Some(goal(0.9, 0.95))),
        verdicts(167, 8, &failed_at),
    );
    let fit = own.evidence.fit.as_ref().expect("it has a fit");
    assert!((fit.beta() - 1.485_367_365_26).abs() < 1e-6);
    let month = |hours: f64| hours * 0.6;
    assert!((month(fit.eta()) - 71.690_405_561_5).abs() < 1e-4);
    // B10 15.758 months, lower 95 % 12.183 by likelihood ratio and 12.493 by Fisher.
    says(
        &own,
        &[
            "shape 1.485",
            "B10 26.26 hours; lower 95 % 20.31 by likelihood ratio, 20.82 by Fisher",
        ],
    );
    says(&own, &["94 of 167 failed, exact"]);
}

/// Heat-exchanger tubes of one plant: 1, 2, 2 of 100 cracked in three years.
#[test]
fn tubes_of_three_years() {
    let own = told(
        lab(&[Amount::Repeat(1); 3], 100, None),
        verdicts(100, 3, &[1, 2, 2, 3, 3]),
    );
    says(
        &own,
        &["shape 1.420", "scale 24.28 passes", "no goal was agreed"],
    );
    let fit = own.evidence.fit.as_ref().expect("it has a fit");
    assert!((fit.loglik() + 25.148_687_18).abs() < 1e-6);
}

#[test]
fn units_without_a_failure_show_what_the_binomial_says() {
    let show = |units, failed: &[usize], r, c| {
        told(
            lab(&[Amount::Cycles(1000)], units, Some(goal(r, c))),
            verdicts(units, 1, failed),
        )
    };
    let own = show(22, &[], 0.9, 0.9);
    says(
        &own,
        &[
            "reliability 0.9006 at one-sided confidence 90 % (0 of 22 failed, exact)",
            ": shown",
        ],
    );
    says(&own, &["nothing failed, so there is nothing to fit"]);
    // 29 of 30: the one-sided bound is 0.8514; 0.8278 is an end of the two-sided interval.
    let own = show(30, &[1], 0.85, 0.95);
    says(
        &own,
        &[
            "reliability 0.8514 at one-sided confidence 95 % (1 of 30 failed, exact)",
            ": cannot pass",
        ],
    );
    says(&own, &["one check only: it tells the fraction failed"]);
    let own = told(
        lab(
            &[Amount::Cycles(1000)],
            30,
            Some(Show {
                failures: 1,
                ..goal(0.85, 0.95)
            }),
        ),
        verdicts(30, 1, &[1]),
    );
    assert_eq!(own.evidence.standing, Standing::Shown);
}

#[test]
fn what_remains_is_told_while_the_leg_is_open() {
    let lab = lab(&[Amount::Cycles(1000)], 30, Some(goal(0.9, 0.9)));
    let bodies = verdicts(10, 1, &[]);
    let own = told(lab, bodies);
    assert_eq!(own.evidence.standing, Standing::Open);
    says(
        &own,
        &[
            "remains: 12 more units through a mission without a failure",
            "open 20",
        ],
    );
}

/// Six units of shape 2 need 2.7353 missions each for 0.95 at 0.90.
#[test]
fn fewer_units_for_longer_show_it_with_the_assumed_shape() {
    let show = |mission| {
        Some(Show {
            mission: Some(mission),
            shape: Some(2.0),
            ..goal(0.95, 0.9)
        })
    };
    let walk = [Amount::Cycles(27_353); 1];
    let done = told(lab(&walk, 6, show(9_999.0)), verdicts(6, 1, &[]));
    says(
        &done,
        &[
            "shown with the assumed shape 2: reliability 0.9500",
            "with 1.5",
            "with 2.5",
        ],
    );
    assert_eq!(done.evidence.standing, Standing::Shown);
    let short = told(lab(&walk, 6, show(10_001.0)), verdicts(6, 1, &[]));
    assert_eq!(short.evidence.standing, Standing::CannotPass);
    let open = told(
        lab(&[Amount::Cycles(10_000); 3], 6, show(10_000.0)),
        verdicts(6, 1, &[]),
    );
    assert_eq!(open.evidence.standing, Standing::Open);
    says(&open, &["or 17353 more cycles on each unit that goes on"]);
}

/// p0 0.01, p1 0.10, risks 0.05 and 0.10: at 24 units none accepts and three reject (NIST 6.2.6).
#[test]
fn a_sequential_rule_decides_as_soon_as_it_can() {
    let show = Show {
        sequential: Some(Sequential {
            good: 0.99,
            risk: 0.05,
        }),
        failures: 2,
        ..goal(0.9, 0.9)
    };
    let decided = |units, failed: &[usize]| {
        told(
            lab(&[Amount::Cycles(1000)], 60, Some(show.clone())),
            verdicts(units, 1, failed),
        )
        .evidence
    };
    let word = |own: &Evidence| own.sequential.map(|own| own.decision.word());
    assert_eq!(word(&decided(23, &[])), Some("continue"));
    let accepted = decided(24, &[]);
    assert_eq!(
        (word(&accepted), accepted.standing),
        (Some("accept"), Standing::Shown)
    );
    let rejected = decided(24, &[1, 1, 1]);
    assert_eq!(
        (word(&rejected), rejected.standing),
        (Some("reject"), Standing::CannotPass)
    );
    assert_eq!(
        accepted.sequential.map(|own| (own.most_units, own.accepts)),
        Some((52, 2))
    );
}

#[test]
fn who_left_or_failed_otherwise_counts_up_to_the_last_good_check() {
    let show = Show {
        modes: vec!["broken".to_owned()],
        ..goal(0.9, 0.9)
    };
    let mut bodies = verdicts(1, 3, &[]);
    bodies.push(verdict(2, 2, Verdict::Pass));
    bodies.push(verdict(2, 4, fail("scratched")));
    bodies.push(verdict(3, 2, Verdict::Pass));
    bodies.push(EventBody::UnitWithdrawn {
        unit: UnitId::new("R-1/3"),
        reason: "lent".to_owned(),
    });
    bodies.push(verdict(4, 2, fail("broken: at the hinge")));
    bodies.push(verdict(
        5,
        2,
        Verdict::Hold {
            reason: "odd".to_owned(),
        },
    ));
    let own = told(lab(&[Amount::Cycles(100); 3], 5, Some(show)), bodies);
    let counts = own.evidence.counts;
    assert_eq!(
        (counts.failed, counts.survived, counts.open, counts.left),
        (1, 1, 1, 2)
    );
    says(
        &own,
        &[
            "R-1/2 counts up to 100: failed for another reason: scratched",
            "R-1/3 counts up to 100: withdrawn: lent",
        ],
    );
    says(
        &own,
        &["R-1/4 failed between 0 and 100: broken: at the hinge"],
    );
}

#[test]
fn different_exposures_are_no_common_time() {
    let mut lab = lab(&[Amount::Cycles(100)], 3, None);
    let heat = parts::method("heat", "heat", Length::Hold(Minutes::hours(4)));
    lab.methods.insert(heat.id.clone(), heat);
    lab.sequences[0]
        .steps
        .extend([parts::step("heat"), parts::step("check")]);
    let own = told(lab, verdicts(3, 2, &[2]));
    says(
        &own,
        &[
            "the exposures differ and are no common time",
            "1 of 3 failed",
        ],
    );
}

/// The desk of a lab once those things stand in its ledger.
fn desk_of(lab: Lab, bodies: Vec<EventBody>) -> Desk {
    let (env, clock) = still_env(1);
    let mut ledger = MemoryLedger::new(env);
    let events: Vec<_> = (1..)
        .zip(bodies)
        .map(|(id, body)| new_event(id, body))
        .collect();
    for part in events.chunks(100) {
        let outcome = ledger.append(&[], part);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    let opening = Opening {
        lab,
        ledger: Box::new(ledger),
        clock,
        ids: Ids::seeded(2),
        actor: actor("Ines"),
    };
    Desk::open(opening).expect("a ledger in memory can be read")
}

fn offered(lab: Lab, bodies: Vec<EventBody>) -> Vec<String> {
    let desk = desk_of(lab, bodies);
    let legs = legs(&desk);
    let lines = line_samples(&legs);
    offers(&desk, &legs, &lines)
        .iter()
        .map(Offer::words)
        .collect()
}

#[test]
fn a_leg_that_is_decided_is_offered_for_an_early_stop_and_one_that_cannot_pass_says_so() {
    let lab = |units, failures| {
        lab(
            &[Amount::Cycles(1000)],
            units,
            Some(Show {
                failures,
                ..goal(0.9, 0.9)
            }),
        )
    };
    let early = offered(lab(30, 0), verdicts(22, 1, &[]));
    assert_eq!(
        early,
        ["R-1 has shown what was agreed: stopping its 8 open units frees no booked rig time"]
    );
    assert!(offered(lab(30, 0), verdicts(21, 1, &[])).is_empty());
    let lost = offered(lab(30, 0), verdicts(5, 1, &[1]));
    assert_eq!(
        lost,
        ["R-1 cannot pass any more; its 25 open units would take no booked rig time"]
    );
    // With one failure allowed 38 units are needed: 8 more than there are.
    let spare = offered(lab(30, 1), verdicts(5, 1, &[1]));
    assert_eq!(
        spare,
        ["R-1: 8 spare units wanted, to show what was agreed"]
    );
}

#[test]
fn a_line_that_got_worse_raises_an_alarm() {
    let mut lab = lab(&[Amount::Cycles(1000)], 20, None);
    lab.requests[0].build = "line".to_owned();
    for (number, day) in [(2, 30), (3, 60)] {
        let mut own = parts::request(
            &format!("R-{number}"),
            "walk",
            20,
            Minute::new(0) + Minutes::DAY * day,
        );
        own.build = "line".to_owned();
        lab.requests.push(own);
    }
    let verdicts = |failed: [u64; 3]| {
        let mut bodies = Vec::new();
        for (request, failed) in (1..).zip(failed) {
            for unit in 1..=20 {
                let own = if unit <= failed {
                    fail("broken")
                } else {
                    Verdict::Pass
                };
                let unit = UnitId::new(&format!("R-{request}/{unit}"));
                bodies.push(EventBody::VerdictGiven {
                    unit,
                    step: 2,
                    verdict: own,
                });
            }
        }
        bodies
    };
    assert!(offered(lab.clone(), verdicts([1, 0, 1])).is_empty());
    let alarm = offered(lab.clone(), verdicts([0, 0, 5]));
    assert_eq!(
        alarm,
        ["the line has changed for the worse: latch line walk, newest sample R-3"]
    );
    let desk = desk_of(lab, verdicts([0, 0, 5]));
    let line = line_samples(&legs(&desk)).remove(0);
    let words = line.lines().join("\n");
    for part in [
        "R-1 0 of 20, R-2 0 of 20, R-3 5 of 20",
        "exact test, one-sided: p = 0.002839 (worse at 0.05)",
        "a false alarm each",
    ] {
        assert!(words.contains(part), "{part} is not in:\n{words}");
    }
}
