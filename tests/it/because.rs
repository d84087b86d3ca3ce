//! Every booking's reason is true: move the booking a minute earlier, and the rule that the reason names is
//! the one that breaks; where the reason says that nothing would, nothing does.

use crate::support::demo_lab;
use rigday::checker::{Rule, check};
use rigday::domain::{Facts, Minute, Minutes};
use rigday::lab::parse_instant;
use rigday::planner::{Rounds, solve};
use rigday::problem::{Place, Plan, Problem, Visit, compile};
use std::collections::BTreeMap;

/// Rules that a reason may stand for; none where it says that nothing is in the way.
fn rules_of(because: &str) -> &'static [Rule] {
    let kinds: [(&str, &[Rule]); 14] = [
        ("starts at once", &[Rule::Ready]),
        ("its request is ready", &[Rule::Ready]),
        ("follows step", &[Rule::Order]),
        ("rests ", &[Rule::Order]),
        ("its run waits for", &[Rule::Order, Rule::Ready]),
        ("is pinned", &[Rule::Fixed]),
        ("shares the run of", &[Rule::Fixed]),
        (" is out of use until", &[Rule::Outage]),
        ("run into a time", &[Rule::Outage]),
        ("is taken", &[Rule::Capacity]),
        ("is too short", &[Rule::Capacity]),
        ("nobody of crew", &[Rule::People, Rule::Watch, Rule::Wait]),
        ("too busy", &[Rule::People, Rule::Wait]),
        ("with nobody on site", &[Rule::Watch]),
    ];
    let found = kinds.iter().find(|(words, _)| because.contains(words));
    found.map_or(&[], |(_, rules)| *rules)
}

/// The visits that move together: one, or a whole run.
fn moved_with(plan: &Plan, ix: usize) -> Vec<usize> {
    let own = &plan.visits[ix];
    let same_run = |other: &Visit| {
        matches!(own.place, Place::Run(_)) && other.rig == own.rig && other.place == own.place
    };
    (0..plan.visits.len())
        .filter(|at| *at == ix || same_run(&plan.visits[*at]))
        .collect()
}

/// The places that a visit could have on its rig: a reason speaks of the rig, not of one position.
fn places(problem: &Problem, visit: &Visit) -> Vec<Place> {
    match visit.place {
        Place::Position(_) => (1..=problem.rigs[visit.rig.ix()].positions)
            .map(Place::Position)
            .collect(),
        other => vec![other],
    }
}

/// The plan with those visits a minute earlier: the way out kept, or moved as well.
fn earlier(problem: &Problem, plan: &Plan, moved: &[usize], out_too: bool) -> Option<Plan> {
    let minute = Minutes::new(1);
    let mut plan = plan.clone();
    for ix in moved {
        let visit = &mut plan.visits[*ix];
        let step = problem.step(visit.unit, visit.step);
        let length = problem.exposure(step, visit.rig)?;
        let times = &mut visit.times;
        times.load = times.load - minute;
        times.start = times.start - minute;
        times.end =
            problem.exposure_end(problem.condition(step), visit.rig, times.start, length)?;
        if out_too {
            times.unload = times.unload - minute;
            times.out = times.out - minute;
        }
    }
    Some(plan)
}

fn every_reason_is_true(problem: &Problem, rounds: u64) -> BTreeMap<String, usize> {
    let solved = solve(problem, 1, &Rounds(rounds), &mut |_| {});
    assert!(check(problem, &solved.plan).is_empty());
    let mut kinds = BTreeMap::new();
    for (ix, because) in solved.because.iter().enumerate() {
        assert!(!because.is_empty());
        let visit = &solved.plan.visits[ix];
        if because.contains("has started") {
            continue;
        }
        let moved = moved_with(&solved.plan, ix);
        let mut broken: Vec<Vec<Rule>> = Vec::new();
        for out_too in [false, true] {
            let Some(mut plan) = earlier(problem, &solved.plan, &moved, out_too) else {
                continue;
            };
            for place in places(problem, visit) {
                plan.visits[ix].place = place;
                broken.push(
                    check(problem, &plan)
                        .iter()
                        .map(|clash| clash.rule)
                        .collect(),
                );
            }
        }
        let name = &problem.units[visit.unit.ix()].id;
        let words = format!(
            "{name} step {} loads {:?}: {because}; breaks {broken:?}",
            visit.step + 1,
            visit.times.load
        );
        let expected = rules_of(because);
        if expected.is_empty() && !because.contains("next step could not follow") {
            assert!(
                broken.iter().any(Vec::is_empty),
                "something is in the way after all: {words}"
            );
        } else if !expected.is_empty() {
            let named = |rules: &Vec<Rule>| rules.iter().any(|rule| expected.contains(rule));
            assert!(
                broken.iter().all(|rules| !rules.is_empty()),
                "nothing is in the way: {words}"
            );
            assert!(
                broken.iter().any(named),
                "another rule is in the way: {words}"
            );
        }
        let kind = expected
            .first()
            .map_or("nothing in the way".to_owned(), |rule| {
                rule.name().to_owned()
            });
        *kinds.entry(kind).or_insert(0) += 1;
    }
    kinds
}

#[test]
fn the_reasons_of_the_demo_labs_plan_are_true() {
    let lab = demo_lab();
    let now = parse_instant("2027-03-01T06:50", Some(&lab.zone)).expect("an instant");
    let problem = compile(&lab, &Facts::default(), now);
    for rounds in [0, 60] {
        let kinds = every_reason_is_true(&problem, rounds);
        println!("{rounds} rounds: {kinds:?}");
        assert!(kinds.len() >= 5, "many kinds of reason occur: {kinds:?}");
    }
}

#[test]
fn a_visit_that_could_begin_at_once_says_so() {
    let lab = demo_lab();
    let now = parse_instant("2027-03-22T09:00", Some(&lab.zone)).expect("an instant");
    let problem = compile(&lab, &Facts::default(), now);
    let solved = solve(&problem, 1, &Rounds(0), &mut |_| {});
    let at_now: Vec<&String> = solved
        .plan
        .visits
        .iter()
        .zip(&solved.because)
        .filter(|(visit, _)| visit.times.load == Minute::new(now.get()))
        .map(|(_, because)| because)
        .collect();
    assert!(!at_now.is_empty());
    assert!(
        at_now
            .iter()
            .all(|because| *because == "starts at once" || because.contains("its run waits")),
        "{at_now:?}"
    );
}
