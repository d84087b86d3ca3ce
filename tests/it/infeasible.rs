//! A request that cannot be planned says which step, which rule, and what would be enough; and what it says
//! is enough is enough.

use crate::support::check_clean;
use crate::support::parts::{
    ALL_WEEK, WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use rigday::domain::lab::{Lab, Length, Limit, Loading, Pin, Rest, Watch};
use rigday::domain::time::Span;
use rigday::domain::{Facts, MethodId, Minute, Minutes, RigId, UnitId};
use rigday::lab::{parse_date, parse_instant};
use rigday::planner::{Rounds, solve};
use rigday::problem::compile;

/// Monday 2027-03-01 06:00 UTC.
const NOW: &str = "2027-03-01T06:00Z";

fn at(text: &str) -> Minute {
    parse_instant(text, None).expect("an instant")
}

/// A crew on shift from 06:00 to 14:00 on working days; a bench for a look of an hour, and a chamber of two
/// that heats for a day and takes ten minutes to load and unload. Request A looks, heats and looks.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&WORK_WEEK, (6, 0), (14, 0), 1)])];
    let mut bench = rig("bench", &["look"], Loading::Each, 1);
    let mut chamber = rig("dh-1", &["heat"], Loading::Together, 2);
    for own in [&mut bench, &mut chamber] {
        own.load = Minutes::new(10);
        own.unload = Minutes::new(10);
    }
    lab.rigs = vec![bench, chamber];
    for (id, hours) in [("look", 1), ("heat", 24)] {
        let own = method(id, id, Length::Hold(Minutes::hours(hours)));
        lab.methods.insert(own.id.clone(), own);
    }
    lab.sequences = vec![sequence(
        "s",
        vec![step("look"), step("heat"), step("look")],
    )];
    lab.requests = vec![request("A", "s", 1, at(NOW))];
    lab
}

fn pin(unit: &str, step: u32, rig: &str, start: &str) -> Pin {
    Pin {
        unit: UnitId::new(unit),
        step,
        rig: RigId::new(rig),
        start: at(start),
    }
}

/// What was left out: request, step from 1, reason. Everything else is planned by the rules.
fn left(lab: &Lab) -> Vec<(String, usize, String)> {
    let problem = compile(lab, &Facts::default(), at(NOW));
    let solved = solve(&problem, 1, &Rounds(3), &mut |_| {});
    let no_room = |reason: &str| reason.contains("move one of them") || reason.contains("R4");
    if solved.plan.left.iter().all(|own| !no_room(&own.reason)) {
        check_clean(&problem, &solved.plan);
    }
    let words = |own: &rigday::problem::Left| {
        let id = problem.requests[own.request.ix()].id.to_string();
        (id, own.step + 1, own.reason.clone())
    };
    solved.plan.left.iter().map(words).collect()
}

/// Asserts that only request A is left out, at that step and for a reason with those words; and that it is
/// planned once the remedy is applied.
#[track_caller]
fn check(lab: &Lab, step: usize, words: &[&str], remedy: impl FnOnce(&mut Lab)) {
    let found = left(lab);
    let [(id, at_step, reason)] = &found[..] else {
        panic!("one request is left out, not {found:?}");
    };
    assert_eq!((id.as_str(), *at_step), ("A", step), "{reason}");
    for word in words {
        assert!(reason.contains(word), "`{word}` is not in: {reason}");
    }
    let mut better = lab.clone();
    remedy(&mut better);
    assert_eq!(left(&better), [], "the remedy is not enough: {reason}");
}

#[test]
fn the_lab_of_these_tests_can_be_planned() {
    assert_eq!(left(&lab()), []);
}

#[test]
fn no_rig_that_does_it() {
    let mut lab = lab();
    lab.methods
        .get_mut(&MethodId::new("heat"))
        .expect("heat")
        .does = "x-ray".to_owned();
    check(
        &lab,
        2,
        &["no rig does x-ray", "lists it under `does`"],
        |lab| {
            lab.rigs[1].does.insert("x-ray".to_owned());
        },
    );
}

#[test]
fn a_limit_that_is_too_low_names_the_rig_that_lacks_least() {
    let mut lab = lab();
    let heat = lab.methods.get_mut(&MethodId::new("heat")).expect("heat");
    heat.severity.insert("temperature_c".to_owned(), 70.0);
    heat.severity.insert("force_n".to_owned(), 5.0);
    let limit = |min, max| Limit { min, max };
    lab.rigs[1]
        .limits
        .insert("temperature_c".to_owned(), limit(10.0, 65.0));
    let mut other = lab.rigs[1].clone();
    other.id = RigId::new("dh-2");
    other.limits.insert("force_n".to_owned(), limit(1.0, 9.0));
    lab.rigs.push(other);
    let words = [
        "dh-2 allows temperature_c 10 to 65, 70 is asked",
        "dh-2 with temperature_c up to 70 would do",
    ];
    check(&lab, 2, &words, |lab| {
        lab.rigs[2]
            .limits
            .insert("temperature_c".to_owned(), limit(10.0, 70.0));
    });
}

#[test]
fn units_that_stay_together_need_a_chamber_that_holds_them() {
    let mut lab = lab();
    lab.requests = vec![request("A", "s", 3, at(NOW))];
    lab.requests[0].keep_together = true;
    check(
        &lab,
        2,
        &["2 positions for 3 units", "dh-1 with 3 positions would do"],
        |lab| {
            lab.rigs[1].positions = 3;
        },
    );
}

/// Two units of A that stay together on the bench with one position, with a rest before a step of at most so long.
fn squeezed(step: usize, rest: Minutes) -> Lab {
    let mut lab = lab();
    lab.requests = vec![request("A", "s", 2, at(NOW))];
    lab.requests[0].keep_together = true;
    lab.sequences[0].steps[step - 1].rest = Rest {
        min: Minutes::hours(1),
        max: Some(rest),
    };
    lab
}

#[test]
fn units_that_stay_together_are_too_many_for_the_rest_after_their_run() {
    // The second look begins 1h 20m after the first at the earliest.
    let lab = squeezed(3, Minutes::new(139));
    let words = [
        "R9, R1: its 2 units come out of one run of heat",
        "begin look 1h to 2h 19m after it",
        "allow for 1 of them",
        "a rest up to 2h 20m, no more than 1 unit, or keep_together = false",
    ];
    check(&lab, 3, &words, |lab| *lab = squeezed(3, Minutes::new(140)));
    check(&lab, 3, &words, |lab| lab.requests[0].keep_together = false);
    check(&lab, 3, &words, |lab| lab.requests[0].units.truncate(1));
    check(&lab, 3, &words, |lab| lab.rigs[0].positions = 2);
}

#[test]
fn units_that_stay_together_are_too_many_for_the_rest_before_their_run() {
    let lab = squeezed(2, Minutes::new(139));
    let words = [
        "R9, R1: its 2 units go into one run of heat",
        "come out of look 1h to 2h 19m before it",
    ];
    check(&lab, 2, &words, |lab| *lab = squeezed(2, Minutes::new(140)));
}

#[test]
fn units_that_stay_together_need_hands_for_the_step_after_their_run() {
    // There is a position for each, and one person, whom each watched look keeps for 1h 10m.
    let squeezed = |rest| {
        let mut lab = squeezed(3, Minutes::new(rest));
        lab.rigs[0].positions = 2;
        let look = lab.methods.get_mut(&MethodId::new("look")).expect("look");
        look.watch = Watch::Full;
        lab
    };
    let words = ["allow for 1 of them", "a rest up to 2h 10m"];
    check(&squeezed(129), 3, &words, |lab| *lab = squeezed(130));
    check(&squeezed(129), 3, &words, |lab| {
        lab.crews[0].shifts[0].people = 2;
    });
}

#[test]
fn a_horizon_that_is_too_short_says_how_long_it_would_have_to_be() {
    let mut lab = lab();
    lab.horizon = Minutes::DAY;
    check(&lab, 2, &["R11", "horizon = \"2d\" would do"], |lab| {
        lab.horizon = Minutes::DAY * 3;
    });
    lab.requests[0].ready = at("2027-03-08T06:00Z");
    check(&lab, 1, &["R11", "ready Mon 08 Mar"], |lab| {
        lab.horizon = Minutes::DAY * 12;
    });
}

#[test]
fn a_calibration_that_ends_too_early_says_which_date_would_do() {
    let mut lab = lab();
    lab.rigs[1].calibration_due = parse_date("2027-03-01").ok();
    let words = [
        "R5",
        "dh-1 may be used until Mon 01 Mar 2027",
        "calibration_due = 2027-03-02 would do",
    ];
    check(&lab, 2, &words, |lab| {
        lab.rigs[1].calibration_due = parse_date("2027-03-02").ok();
    });
}

#[test]
fn outages_that_leave_too_short_a_time_say_what_is_needed() {
    let mut lab = lab();
    lab.horizon = Minutes::DAY * 10;
    let day = |date: &str, hour: i64| at(&format!("2027-03-{date}T00:00Z")) + Minutes::hours(hour);
    lab.outages = (1..12)
        .map(|date| {
            let start = day(&format!("{date:02}"), 20);
            outage("dh-1", Span::new(start, start + Minutes::hours(3)))
        })
        .collect();
    let words = [
        "R5",
        "dh-1 is out of use from 20:00 to 23:00 (service)",
        "needs 1d 20m on end",
        "longest time free is 21h",
    ];
    check(&lab, 2, &words, |lab| lab.outages.clear());
}

#[test]
fn a_wait_in_the_rig_that_is_too_short_says_what_would_do() {
    let mut lab = lab();
    let heat = lab.methods.get_mut(&MethodId::new("heat")).expect("heat");
    heat.length = Length::Hold(Minutes::hours(12));
    heat.max_wait = Some(Minutes::hours(3));
    // Loaded by 13:50 it is done by 02:00; the crew comes at 06:00.
    let words = [
        "R8",
        "step 2 may wait 3h",
        "nobody of crew bench",
        "max_wait = \"4h\" would do",
    ];
    check(&lab, 2, &words, |lab| {
        let heat = lab.methods.get_mut(&MethodId::new("heat")).expect("heat");
        heat.max_wait = Some(Minutes::hours(4));
    });
}

#[test]
fn a_largest_rest_that_is_too_short_says_what_would_do() {
    let mut lab = lab();
    lab.rigs[0].load = Minutes::new(10);
    lab.crews
        .push(crew("night", vec![shift(&ALL_WEEK, (20, 0), (22, 0), 1)]));
    let heat = lab.methods.get_mut(&MethodId::new("heat")).expect("heat");
    heat.crew = Some(lab.crews[1].id.clone());
    lab.sequences[0].steps[1].rest = Rest {
        min: Minutes::ZERO,
        max: Some(Minutes::hours(4)),
    };
    // Out of the look by 14:00 at the latest; the night crew loads from 20:00.
    let words = [
        "R1",
        "before step 2 is at most 4h",
        "rest = \"0m..6h\" would do",
    ];
    check(&lab, 2, &words, |lab| {
        lab.sequences[0].steps[1].rest.max = Some(Minutes::hours(6));
    });
}

#[test]
fn a_watch_longer_than_every_shift_says_how_much_longer_they_would_be() {
    let mut lab = lab();
    let look = lab.methods.get_mut(&MethodId::new("look")).expect("look");
    look.watch = Watch::Full;
    look.length = Length::Hold(Minutes::hours(9));
    let words = [
        "R7",
        "must watch for 9h on end",
        "longest time on shift is 8h",
        "ending 2h later would do",
    ];
    check(&lab, 1, &words, |lab| {
        lab.crews[0].shifts = vec![shift(&WORK_WEEK, (6, 0), (16, 0), 1)];
    });
    lab.crews[0].shifts.clear();
    check(&lab, 1, &["R6", "crew bench has no shift"], |lab| {
        lab.crews[0].shifts = vec![shift(&WORK_WEEK, (6, 0), (16, 0), 1)];
    });
}

#[test]
fn a_pin_that_cannot_be_kept_says_why_and_where_it_could_go() {
    let pinned = |step, rig: &str, start: &str| {
        let mut lab = lab();
        lab.pins = vec![pin("A/1", step, rig, start)];
        lab
    };
    let lift = |lab: &mut Lab| lab.pins.clear();
    let early = pinned(2, "dh-1", "2027-03-01T07:00Z");
    let words = [
        "R10",
        "step 2 of A/1 is pinned to dh-1 at 07:00",
        "step 1 is not out before 07:20",
        "could load on dh-1 at 07:20",
    ];
    check(&early, 2, &words, lift);
    check(&early, 2, &[], |lab| {
        lab.pins[0].start = at("2027-03-01T07:20Z");
    });
    check(
        &pinned(1, "bench", "2027-03-01T05:00Z"),
        1,
        &["R10", "that time has passed"],
        lift,
    );
    check(
        &pinned(1, "bench", "2027-03-06T08:00Z"),
        1,
        &["R10", "nobody of crew bench is on shift"],
        lift,
    );
    check(
        &pinned(1, "dh-1", "2027-03-01T08:00Z"),
        1,
        &["R10", "dh-1 cannot do it, bench can"],
        lift,
    );
    let mut down = pinned(1, "bench", "2027-03-01T08:00Z");
    let span = Span::new(at("2027-03-01T07:30Z"), at("2027-03-01T08:30Z"));
    down.outages = vec![outage("bench", span)];
    check(
        &down,
        1,
        &["R10", "bench cannot be used for 1h 20m from then"],
        lift,
    );
    let mut unready = pinned(1, "bench", "2027-03-01T08:00Z");
    unready.requests[0].ready = at("2027-03-01T09:00Z");
    check(&unready, 1, &["R10", "its request is ready at 09:00"], lift);
}

#[test]
fn two_rules_that_are_too_tight_together_are_both_named() {
    let mut lab = lab();
    lab.rigs[1].calibration_due = parse_date("2027-03-01").ok();
    lab.horizon = Minutes::DAY;
    check(
        &lab,
        2,
        &["R5 calibration and R11 the horizon together"],
        |lab| {
            lab.rigs[1].calibration_due = None;
            lab.horizon = Minutes::DAY * 3;
        },
    );
}

/// Two requests, each pinned; the one that is left out must say so.
fn clash(lab: &Lab, words: &[&str]) {
    let found = left(lab);
    let [(_, _, reason)] = &found[..] else {
        panic!("one request is left out, not {found:?}");
    };
    for word in words {
        assert!(reason.contains(word), "`{word}` is not in: {reason}");
    }
}

#[test]
fn two_pins_that_clash_name_both_and_where_one_could_go() {
    let mut lab = lab();
    lab.requests.push(request("B", "s", 1, at(NOW)));
    lab.crews[0].shifts[0].people = 2;
    lab.pins = vec![
        pin("A/1", 1, "bench", "2027-03-01T08:00Z"),
        pin("B/1", 1, "bench", "2027-03-01T08:30Z"),
    ];
    clash(
        &lab,
        &[
            "R10",
            "is pinned to bench at 08:",
            "R4: the rig holds 1 at once",
            "/1 step 1 is pinned from 08:",
            "move one of them: it could load on bench at",
        ],
    );
    lab.rigs[0].positions = 2;
    lab.pins[1].start = lab.pins[0].start;
    assert_eq!(left(&lab), [], "two positions and two people are enough");
    lab.crews[0].shifts[0].people = 1;
    clash(
        &lab,
        &[
            "R10",
            "R6: nobody of crew bench is free to load it then",
            "move one of them",
        ],
    );
}

#[test]
fn a_step_longer_than_any_time_free_says_how_much_is_missing() {
    let mut lab = lab();
    lab.horizon = Minutes::DAY * 4;
    lab.rigs[1].positions = 1;
    lab.requests.push(request("B", "s", 1, at(NOW)));
    lab.requests.push(request("C", "s", 1, at(NOW)));
    lab.requests.push(request("D", "s", 1, at(NOW)));
    let found = left(&lab);
    assert!(!found.is_empty());
    for (id, _, reason) in &found {
        let says = reason.contains("longest time free within the horizon is")
            || reason.contains("a longer horizon");
        assert!(says, "{id}: {reason}");
    }
}
