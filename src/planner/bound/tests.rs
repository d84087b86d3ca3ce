//! Each argument on the example of its file, worked by hand.

use super::ahead::{Ahead, Earliest};
use super::hands::Supply;
use super::{crowd, lower, seats};
use crate::domain::lab::{Lab, Length, Loading, Outage, Rest, Watch};
use crate::domain::parts::{
    ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
};
use crate::domain::zone::known::utc;
use crate::domain::{Facts, Minute, Minutes, Span};
use crate::planner::alone::Alone;
use crate::problem::{Problem, RequestIx, compile};

/// 08:00 on a Monday.
pub(super) fn at(text: &str) -> Minute {
    utc(&format!("2027-03-{}", text.replace(' ', "T")))
}

pub(super) const NOW: &str = "01 08:00";

/// One person from 08:00 to 16:00 on every day, and no rig yet.
pub(super) fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (8, 0), (16, 0), 1)])];
    lab
}

pub(super) fn add_rig(lab: &mut Lab, id: &str, loading: Loading, positions: u32, hands: i64) {
    let mut own = rig(id, &[id], loading, positions);
    own.load = Minutes::new(hands);
    own.unload = Minutes::new(hands);
    lab.rigs.push(own);
}

pub(super) fn add_method(lab: &mut Lab, id: &str, minutes: i64, watch: Watch) {
    let mut own = method(id, id, Length::Hold(Minutes::new(minutes)));
    own.watch = watch;
    lab.methods.insert(own.id.clone(), own);
}

pub(super) fn add_request(lab: &mut Lab, id: &str, steps: &[&str], units: usize) {
    let steps = steps.iter().map(|method| step(method)).collect();
    lab.sequences.push(sequence(id, steps));
    lab.requests.push(request(id, id, units, at(NOW)));
}

pub(super) fn compiled(lab: &Lab) -> Problem {
    compile(lab, &Facts::default(), at(NOW))
}

/// When the first, second, … unit is out of a step, as `day hour:minute`.
fn outs(problem: &Problem, step: usize) -> Vec<Minute> {
    let ahead = Ahead::new(problem);
    crowd::walk(&ahead, RequestIx(0)).steps[step].outs.clone()
}

pub(super) fn bound(problem: &Problem, left: &[RequestIx]) -> i64 {
    lower(problem, &Alone::look(problem), left, &|_| 0.0)
}

fn minutes(texts: &[&str]) -> Vec<Minute> {
    texts.iter().map(|text| at(text)).collect()
}

#[test]
fn a_unit_alone_costs_its_flow() {
    let mut lab = lab();
    add_rig(&mut lab, "look", Loading::Each, 1, 0);
    add_method(&mut lab, "look", 30, Watch::None);
    add_request(&mut lab, "A", &["look"], 1);
    let problem = compiled(&lab);
    assert_eq!(bound(&problem, &[]), 150);
    assert_eq!(bound(&problem, &[RequestIx(0)]), 0);
}

#[test]
fn a_unit_alone_takes_the_rig_that_leaves_the_next_one_free() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Together, 2, 0);
    add_rig(&mut lab, "oven", Loading::Each, 1, 0);
    lab.rigs[0].changeover = Minutes::hours(1);
    lab.rigs[1].does = lab.rigs[0].does.clone();
    lab.outages.push(Outage {
        rig: lab.rigs[1].id.clone(),
        span: Span::new(at("01 09:00"), at("01 15:00")),
        reason: String::new(),
    });
    add_method(&mut lab, "heat", 60, Watch::None);
    add_method(&mut lab, "bake", 120, Watch::None);
    for method in lab.methods.values_mut() {
        method.does = "heat".into();
    }
    add_request(&mut lab, "A", &["heat", "bake"], 1);
    // In the oven until 09:00, in the chamber until 11:00; chamber first it would have to wait for the changeover.
    assert_eq!(bound(&compiled(&lab), &[]), 5 * 180);
}

#[test]
fn what_may_not_wait_over_night_loads_later() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Each, 1, 10);
    add_method(&mut lab, "heat", 20 * 60, Watch::None);
    let heat = lab.methods.values_mut().next().expect("one method");
    heat.max_wait = Some(Minutes::hours(2));
    add_request(&mut lab, "A", &["heat"], 1);
    let problem = compiled(&lab);
    let ahead = Ahead::new(&problem);
    let earliest = |from: &str| {
        let found = ahead.step(&problem.requests[0], 0, 1, at(from));
        found.map(|Earliest { load, out }| (load, out))
    };
    let pair = |load: &str, out: &str| Some((at(load), at(out)));
    assert_eq!(earliest("01 12:00"), pair("01 12:00", "02 08:20"));
    assert_eq!(earliest("01 15:00"), pair("01 15:00", "02 11:20"));
    assert_eq!(earliest("01 15:55"), pair("02 09:50", "03 08:10"));
}

#[test]
fn what_must_follow_soon_is_waited_for_in_the_rig() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Each, 1, 10);
    add_rig(&mut lab, "look", Loading::Each, 1, 0);
    add_method(&mut lab, "heat", 6 * 60, Watch::None);
    add_method(&mut lab, "look", 30, Watch::Full);
    add_request(&mut lab, "A", &["heat", "look"], 1);
    lab.sequences[0].steps[1].rest = Rest {
        min: Minutes::hours(1),
        max: Some(Minutes::hours(2)),
    };
    let problem = compiled(&lab);
    let ahead = Ahead::new(&problem);
    // Out at 15:50 it could not be looked at before 08:00: it comes out at 08:10 and is looked at at 09:10.
    let found = ahead.step(&problem.requests[0], 0, 2, at("01 09:30"));
    let expected = Earliest {
        load: at("01 09:30"),
        out: at("02 08:10"),
    };
    assert_eq!(found, Some(expected));
}

#[test]
fn five_units_pass_a_bench_of_two_in_pairs() {
    let mut lab = lab();
    add_rig(&mut lab, "look", Loading::Each, 2, 0);
    add_method(&mut lab, "look", 30, Watch::None);
    add_request(&mut lab, "A", &["look"], 5);
    let expected = minutes(&["01 08:30", "01 08:30", "01 09:00", "01 09:00", "01 09:30"]);
    assert_eq!(outs(&compiled(&lab), 0), expected);
}

#[test]
fn one_person_looks_at_one_unit_after_the_other() {
    let mut lab = lab();
    add_rig(&mut lab, "look", Loading::Each, 9, 5);
    add_method(&mut lab, "look", 30, Watch::Full);
    add_request(&mut lab, "A", &["look"], 3);
    // Load and watch follow each other; an unload of 5 minutes is left for the end of each.
    let expected = minutes(&["01 08:40", "01 09:15", "01 09:50"]);
    assert_eq!(outs(&compiled(&lab), 0), expected);
}

#[test]
fn two_visits_to_the_same_bench_are_one_queue() {
    let mut lab = lab();
    add_rig(&mut lab, "act", Loading::Each, 2, 0);
    add_rig(&mut lab, "look", Loading::Each, 9, 0);
    add_method(&mut lab, "act", 60, Watch::None);
    add_method(&mut lab, "look", 1, Watch::None);
    add_request(&mut lab, "A", &["act", "look", "act"], 4);
    // Eight visits of an hour on two positions: the last is out at 12:00, not at 11:01.
    let expected = minutes(&["01 10:01", "01 10:01", "01 11:01", "01 12:00"]);
    assert_eq!(outs(&compiled(&lab), 2), expected);
}

#[test]
fn a_crew_gives_its_person_minutes_and_no_more() {
    let mut lab = lab();
    lab.crews = vec![crew(
        "bench",
        vec![
            shift(&ALL_WEEK, (8, 0), (9, 0), 1),
            shift(&ALL_WEEK, (8, 30), (10, 0), 1),
        ],
    )];
    let problem = compiled(&lab);
    let supply = Supply::new(&problem.crews[0].people);
    let by = |work| supply.given_by(at(NOW), work);
    assert_eq!(by(0), Some(at("01 08:00")));
    assert_eq!(by(30), Some(at("01 08:30")));
    assert_eq!(by(31), Some(at("01 08:31")));
    assert_eq!(by(90), Some(at("01 09:00")));
    assert_eq!(by(150), Some(at("01 10:00")));
    assert_eq!(by(151), Some(at("02 08:01")));
    assert_eq!(supply.given_by(at(NOW), i64::MAX / 4), None);
}

#[test]
fn the_hands_of_two_steps_add_up() {
    let mut lab = lab();
    add_rig(&mut lab, "look", Loading::Each, 9, 0);
    add_rig(&mut lab, "act", Loading::Each, 9, 20);
    add_method(&mut lab, "look", 30, Watch::Full);
    add_method(&mut lab, "act", 60, Watch::None);
    add_request(&mut lab, "A", &["look", "act"], 3);
    let problem = compiled(&lab);
    let ahead = Ahead::new(&problem);
    let walked = crowd::walk(&ahead, RequestIx(0));
    assert_eq!(walked.steps[1].loads.last(), Some(&at("01 10:10")));
}

#[test]
fn a_run_carries_no_more_than_can_be_looked_at_in_time() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Together, 12, 0);
    add_rig(&mut lab, "look", Loading::Each, 9, 5);
    add_method(&mut lab, "heat", 60, Watch::None);
    add_method(&mut lab, "look", 30, Watch::Full);
    add_request(&mut lab, "A", &["heat", "look"], 5);
    let rest = |lab: &mut Lab, max: i64| {
        lab.sequences[0].steps[1].rest = Rest {
            min: Minutes::hours(1),
            max: Some(Minutes::new(max)),
        };
    };
    let carried = |lab: &Lab| {
        let problem = compiled(lab);
        let ahead = Ahead::new(&problem);
        let carried = seats::units_in_a_run(&ahead, &problem.requests[0], 0, 2);
        let heat = &problem.requests[0].steps[0];
        (carried, seats::room(&problem, heat, carried))
    };
    rest(&mut lab, 120);
    assert_eq!(carried(&lab), (2, 2));
    rest(&mut lab, 129);
    assert_eq!(carried(&lab), (2, 2));
    rest(&mut lab, 130);
    assert_eq!(carried(&lab), (3, 3));
    rest(&mut lab, 1000);
    assert_eq!(carried(&lab).1, 12);
}
