//! Every remedy that is named was found by planning, and works when it is made anew by hand.

use crate::support::check_clean;
use crate::support::parts::{
    WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use crate::support::random_lab::random_lab;
use rigday::app::desk::Planning;
use rigday::app::remedies::{Remedies, remedies};
use rigday::app::what_if::{Change, Days};
use rigday::domain::lab::{Lab, Length, Loading, Shift};
use rigday::domain::plan::Plan;
use rigday::domain::time::Span;
use rigday::domain::{Facts, Minute, Minutes, RequestId};
use rigday::lab::parse_instant;
use rigday::planner::Rounds;
use rigday::problem;
use std::sync::Arc;

const ROUNDS: u64 = 8;

fn at(text: &str) -> Minute {
    parse_instant(text, None).expect("an instant")
}

/// The change made by hand, field by field.
fn by_hand(change: &Change, lab: &mut Lab, facts: &mut Facts) {
    match change.clone() {
        Change::RigUp { rig, at } => {
            for outages in [&mut lab.outages, &mut facts.outages] {
                for own in outages.iter_mut().filter(|own| own.rig == rig) {
                    if own.span.start <= at && at < own.span.end {
                        own.span = Span::new(own.span.start, at);
                    }
                }
            }
        }
        Change::RigCopy { rig, copy } => {
            let mut new = lab
                .rigs
                .iter()
                .find(|own| own.id == rig)
                .expect("the rig")
                .clone();
            new.id = copy;
            lab.rigs.push(new);
        }
        Change::Positions { rig, positions } => {
            let own = lab
                .rigs
                .iter_mut()
                .find(|own| own.id == rig)
                .expect("the rig");
            assert_eq!(own.positions + 1, positions);
            own.positions = positions;
        }
        Change::Calibration { rig, due } => {
            lab.rigs
                .iter_mut()
                .find(|own| own.id == rig)
                .expect("the rig")
                .calibration_due = due;
        }
        Change::Shift {
            crew,
            days: Days::On(date),
            from,
            to,
            people,
        } => {
            let own = lab
                .crews
                .iter_mut()
                .find(|own| own.id == crew)
                .expect("the crew");
            own.shifts.push(Shift {
                days: Vec::new(),
                dates: vec![date],
                from,
                to,
                people,
            });
        }
        Change::Priority { request, priority } => find(lab, &request).priority = priority,
        Change::Due { request, due } => find(lab, &request).due = due,
        Change::Ready { request, ready } => find(lab, &request).ready = ready,
        Change::Pin(pin) => lab.pins.push(pin),
        Change::Unpin { unit, step } => {
            lab.pins
                .retain(|own| (&own.unit, own.step) != (&unit, step));
        }
        other => panic!("no remedy is {other:?}"),
    }
}

fn find<'l>(lab: &'l mut Lab, request: &RequestId) -> &'l mut rigday::domain::lab::Request {
    lab.requests
        .iter_mut()
        .find(|own| own.id == *request)
        .expect("the request")
}

/// How late the request is once the change is made by hand and the lab is planned again.
fn late_by_hand(
    lab: &Lab,
    facts: &Facts,
    now: Minute,
    plan: &Plan,
    found: &Remedies,
) -> Vec<(String, Minutes)> {
    let again = |change: &Change| {
        let mut lab = lab.clone();
        let begun = Planning::new(Arc::new(lab.clone()), facts.clone(), now).starting_from(plan);
        let mut facts = begun.facts().clone();
        by_hand(change, &mut lab, &mut facts);
        let planning = Planning::new(Arc::new(lab), facts, now);
        let proposal = planning.run(1, &Rounds(ROUNDS), &mut |_| {});
        let problem = planning.problem();
        let (visits, _) = problem.resolve(&proposal.plan.bookings);
        let (left, _) = problem.resolve_left(&proposal.plan.unplannable);
        check_clean(&problem, &problem::Plan { visits, left });
        let own = proposal
            .plan
            .requests
            .iter()
            .find(|own| own.request == found.request);
        own.expect("it is planned").late
    };
    found
        .on_time
        .iter()
        .map(|own| (format!("{:?}", own.change), again(&own.change)))
        .collect()
}

/// Remedies of every late request of the lab, each tried anew by hand; the kinds of change that were named.
fn all_work(lab: &Lab, facts: &Facts, now: Minute) -> Vec<Remedies> {
    let planning = Planning::new(Arc::new(lab.clone()), facts.clone(), now);
    let plan = planning.run(1, &Rounds(ROUNDS), &mut |_| {}).plan;
    let late = plan.requests.iter().filter(|own| own.late > Minutes::ZERO);
    let mut all = Vec::new();
    for own in late.take(2) {
        let found = remedies(&planning, &plan, &own.request, ROUNDS, &mut |_, _| true);
        for (change, late) in late_by_hand(lab, facts, now, &plan, &found) {
            assert_eq!(
                late,
                Minutes::ZERO,
                "{} is not on time with {change}",
                own.request
            );
        }
        assert!(!found.lines(&lab.zone).is_empty());
        all.push(found);
    }
    all
}

fn names(all: &[Remedies], lab: &Lab) -> Vec<String> {
    all.iter().flat_map(|own| own.lines(&lab.zone)).collect()
}

/// One person from 06:00 to 14:00 on working days; a bench that looks for an hour and takes ten minutes to
/// load and to unload, a chamber of one that heats for a day.
fn small_lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&WORK_WEEK, (6, 0), (14, 0), 1)])];
    let mut bench = rig("bench", &["look"], Loading::Each, 1);
    bench.load = Minutes::new(10);
    bench.unload = Minutes::new(10);
    lab.rigs = vec![bench, rig("dh-1", &["heat"], Loading::Together, 1)];
    for (id, hours) in [("look", 1), ("heat", 24)] {
        let own = method(id, id, Length::Hold(Minutes::hours(hours)));
        lab.methods.insert(own.id.clone(), own);
    }
    lab.sequences = vec![
        sequence("look", vec![step("look")]),
        sequence("heat", vec![step("heat")]),
    ];
    lab
}

#[test]
fn a_late_friday_needs_a_longer_shift_or_a_saturday() {
    let mut lab = small_lab();
    // Ready when the shift is nearly over; the look is due on Saturday, and nobody comes before Monday.
    let now = at("2027-03-05T13:55Z");
    lab.requests = vec![request("A", "look", 1, now)];
    lab.requests[0].due = Some(at("2027-03-06T12:00Z"));
    let all = all_work(&lab, &Facts::default(), now);
    let said = names(&all, &lab);
    let says = |words: &str| said.iter().any(|line| line.contains(words));
    assert!(
        says("on time with 1 more of crew bench on Fri 05 Mar, 14:00 to 18:00"),
        "{said:?}"
    );
    assert!(
        says("on time with 1 more of crew bench on Sat 06 Mar, 06:00 to 14:00"),
        "{said:?}"
    );
    assert!(says("a due date"), "{said:?}");
    let shift = said.iter().position(|line| line.contains("14:00 to 18:00"));
    let day = said.iter().position(|line| line.contains("06:00 to 14:00"));
    assert!(shift < day, "four hours are less than eight: {said:?}");
}

#[test]
fn a_full_chamber_needs_a_position_or_another_chamber_or_somebody_who_gives_way() {
    let mut lab = small_lab();
    let now = at("2027-03-01T06:00Z");
    lab.requests = ["A", "B"].map(|id| request(id, "heat", 1, now)).to_vec();
    for own in &mut lab.requests {
        own.due = Some(at("2027-03-02T06:00Z"));
    }
    let all = all_work(&lab, &Facts::default(), now);
    assert_eq!(all.len(), 1, "one of the two is late");
    let said = names(&all, &lab);
    let says = |words: &str| said.iter().any(|line| line.contains(words));
    assert!(says("on time with dh-1 with 2 positions"), "{said:?}");
    assert!(says("on time with one more rig like dh-1"), "{said:?}");
    assert!(
        says("put behind (priority 1)") && says("later past their due dates"),
        "{said:?}"
    );
}

#[test]
fn an_outage_that_ends_a_little_earlier_is_enough() {
    let mut lab = small_lab();
    let now = at("2027-03-01T06:00Z");
    lab.requests = vec![request("A", "heat", 1, now)];
    lab.requests[0].due = Some(at("2027-03-03T12:00Z"));
    let down = Span::new(now, at("2027-03-02T14:00Z"));
    lab.outages = vec![outage("dh-1", down)];
    let all = all_work(&lab, &Facts::default(), now);
    let said = names(&all, &lab);
    let wanted = "on time with dh-1 back at Tue 02 Mar 06:00";
    assert!(
        said.iter().any(|line| line.contains(wanted)),
        "a quarter of it is enough: {said:?}"
    );
}

#[test]
fn where_nothing_helps_it_says_how_many_were_tried() {
    let mut lab = small_lab();
    let now = at("2027-03-01T06:00Z");
    lab.requests = vec![request("A", "heat", 1, now)];
    // Due before anybody could do it.
    lab.requests[0].due = Some(at("2027-03-01T12:00Z"));
    let all = all_work(&lab, &Facts::default(), now);
    let said = names(&all, &lab);
    assert!(
        said[0].starts_with("none of the 1 single changes tried makes it on time"),
        "{said:?}"
    );
    assert!(said[1].contains("a due date 18h later"), "{said:?}");
}

#[test]
fn remedies_of_random_labs_work_when_made_by_hand() {
    let (mut requests, mut works) = (0, 0);
    for seed in 0..40 {
        let (lab, facts, now) = random_lab(seed);
        let all = all_work(&lab, &facts, now);
        requests += all.len();
        works += all
            .iter()
            .flat_map(|own| &own.on_time)
            .filter(|own| !own.gives_up())
            .count();
    }
    println!("{requests} late requests, {works} remedies beside later due dates");
    assert!(
        requests >= 10 && works >= 5,
        "{requests} late requests, {works} remedies"
    );
}
