//! Valid plans spoilt on purpose, rule by rule: the checker refuses every one of them by that rule.

use crate::support::random::Random;
use crate::support::random_lab::random_lab;
use rigday::checker::{Rule, check};
use rigday::domain::lab::{Loading, Watch};
use rigday::domain::{Minute, Minutes};
use rigday::planner::{Rounds, solve};
use rigday::problem::{Condition, Place, Plan, Problem, RigIx, Visit, compile};
use std::collections::BTreeMap;

const LABS: u64 = 400;
const MINUTE: Minutes = Minutes::new(1);

/// Spoils one visit of the plan; `false` where this visit gives no occasion for it.
type Spoil = fn(&Problem, &mut Plan, usize) -> bool;

const SPOILS: [(Rule, Spoil); 20] = [
    (Rule::Order, rest_too_short),
    (Rule::Order, rest_too_long),
    (Rule::Ready, before_ready_or_now),
    (Rule::Eligible, exposed_too_long),
    (Rule::Eligible, loaded_too_quickly),
    (Rule::Eligible, on_a_rig_that_cannot),
    (Rule::Capacity, at_a_taken_position),
    (Rule::Capacity, without_changeover),
    (Rule::Capacity, out_of_its_run),
    (Rule::Capacity, in_the_wrong_kind_of_place),
    (Rule::Outage, into_an_outage),
    (Rule::Outage, past_calibration),
    (Rule::People, loaded_by_nobody),
    (Rule::Watch, unwatched),
    (Rule::Wait, waiting_too_long),
    (Rule::Together, away_from_the_others),
    (Rule::Fixed, away_from_what_is_fixed),
    (Rule::Horizon, past_the_horizon),
    (Rule::Complete, missing),
    (Rule::Complete, twice),
];

fn condition<'p>(problem: &'p Problem, visit: &Visit) -> &'p Condition {
    problem.condition(problem.step(visit.unit, visit.step))
}

fn shift(visit: &mut Visit, by: Minutes) {
    let times = &mut visit.times;
    for at in [
        &mut times.load,
        &mut times.start,
        &mut times.end,
        &mut times.unload,
        &mut times.out,
    ] {
        *at += by;
    }
}

fn load_at(visit: &mut Visit, load: Minute) {
    shift(visit, load - visit.times.load);
}

fn is_fact(problem: &Problem, visit: &Visit) -> bool {
    visit.step < problem.units[visit.unit.ix()].facts.len()
}

/// The visit before that of the same unit, if it is no fact.
fn planned_before(problem: &Problem, plan: &Plan, ix: usize) -> Option<Visit> {
    let visit = &plan.visits[ix];
    let is_before = |other: &&Visit| other.unit == visit.unit && other.step + 1 == visit.step;
    let before = plan.visits.iter().find(is_before)?;
    (!is_fact(problem, before)).then_some(*before)
}

fn rest_too_short(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let Some(before) = planned_before(problem, plan, ix) else {
        return false;
    };
    let visit = &mut plan.visits[ix];
    let least = problem.step(visit.unit, visit.step).rest_min;
    load_at(visit, before.times.out + least - MINUTE);
    true
}

fn rest_too_long(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let Some(before) = planned_before(problem, plan, ix) else {
        return false;
    };
    let visit = &mut plan.visits[ix];
    let most = problem.step(visit.unit, visit.step).rest_max;
    load_at(visit, before.times.out + most + MINUTE);
    most < Minutes::FOREVER
}

fn before_ready_or_now(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let ready = problem.request_of(visit.unit).ready;
    load_at(visit, ready.max(problem.now) - MINUTE);
    true
}

/// A pausing exposure may not be longer for a minute more without its watch, but then it ends too late.
fn exposed_too_long(_: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    for at in [
        &mut visit.times.end,
        &mut visit.times.unload,
        &mut visit.times.out,
    ] {
        *at += MINUTE;
    }
    true
}

fn loaded_too_quickly(_: &Problem, plan: &mut Plan, ix: usize) -> bool {
    plan.visits[ix].times.load += MINUTE;
    true
}

fn on_a_rig_that_cannot(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let step = problem.step(visit.unit, visit.step);
    let rigs = (0..problem.rigs.len()).map(RigIx::from);
    let other = rigs
        .filter(|rig| problem.exposure(step, *rig).is_none())
        .min();
    visit.rig = other.unwrap_or(visit.rig);
    other.is_some()
}

/// Some other visit on the same rig that meets `fits`.
fn other_on_rig(plan: &Plan, ix: usize, fits: impl Fn(&Visit) -> bool) -> Option<Visit> {
    let visit = &plan.visits[ix];
    let others = plan.visits.iter().enumerate();
    let mut others = others.filter(|(other, own)| *other != ix && own.rig == visit.rig);
    others.find(|(_, own)| fits(own)).map(|(_, own)| *own)
}

fn at_a_taken_position(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let stay = plan.visits[ix].times.stay();
    let other = other_on_rig(plan, ix, |other| other.times.stay().overlaps(stay));
    let visit = &mut plan.visits[ix];
    let each = problem.rigs[visit.rig.ix()].loading == Loading::Each;
    match other {
        Some(other) if each => {
            visit.place = other.place;
            true
        }
        _ => false,
    }
}

/// Loads a minute after one that needs another fixture or condition has left the place.
fn without_changeover(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let rig = &problem.rigs[plan.visits[ix].rig.ix()];
    let kind = |visit: &Visit| {
        let step = problem.step(visit.unit, visit.step);
        if rig.loading == Loading::Each {
            step.fixture.0
        } else {
            step.condition.0
        }
    };
    let own = kind(&plan.visits[ix]);
    let other = other_on_rig(plan, ix, |other| kind(other) != own);
    let visit = &mut plan.visits[ix];
    let Some(other) = other.filter(|_| rig.changeover > MINUTE) else {
        return false;
    };
    if rig.loading == Loading::Each {
        visit.place = other.place;
    }
    load_at(visit, other.times.out + MINUTE);
    true
}

fn out_of_its_run(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let place = plan.visits[ix].place;
    let shared = other_on_rig(plan, ix, |other| other.place == place);
    let visit = &mut plan.visits[ix];
    visit.place = Place::Run(999);
    shared.is_some() && problem.rigs[visit.rig.ix()].loading == Loading::Together
}

fn in_the_wrong_kind_of_place(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let rig = &problem.rigs[visit.rig.ix()];
    visit.place = match rig.loading {
        Loading::Each => Place::Position(rig.positions + 1),
        Loading::Together => Place::Held,
        Loading::Held => Place::Position(1),
    };
    true
}

fn into_an_outage(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let Some((span, _)) = problem.rigs[visit.rig.ix()].outages.first() else {
        return false;
    };
    // Out a minute after the outage began.
    shift(visit, span.start + MINUTE - visit.times.out);
    true
}

fn past_calibration(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let until = problem.rigs[visit.rig.ix()].calibrated_until;
    shift(visit, until + MINUTE - visit.times.out);
    until < Minute::LAST
}

fn loaded_by_nobody(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let people = &problem.crews[condition(problem, visit).crew.ix()].people;
    let gone = people
        .steps()
        .iter()
        .find(|(from, people)| *people == 0 && *from > problem.now);
    let Some((gone, _)) = gone else { return false };
    // The last minute of its load finds nobody.
    shift(visit, *gone + MINUTE - visit.times.start);
    problem.rigs[visit.rig.ix()].load > Minutes::ZERO
}

fn unwatched(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let own = condition(problem, visit);
    if own.watch == Watch::None || problem.pauses(own, visit.rig) {
        return false;
    }
    let watch = problem.watch(own).expect("it asks for a watch");
    let Some(on) = watch.spans().iter().find(|on| on.end > problem.now) else {
        return false;
    };
    shift(visit, on.end + MINUTE - visit.times.end);
    true
}

fn waiting_too_long(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let most = condition(problem, visit).max_wait;
    let by = visit.times.end + most + MINUTE - visit.times.unload;
    visit.times.unload += by;
    visit.times.out += by;
    most < Minutes::FOREVER
}

fn away_from_the_others(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = plan.visits[ix];
    let request = problem.request_of(visit.unit);
    let shared = |other: &Visit| {
        let same = problem.units[other.unit.ix()].request == problem.units[visit.unit.ix()].request;
        same && other.step == visit.step && other.place == visit.place && !is_fact(problem, other)
    };
    let started = problem.units[request.units.start as usize..request.units.end as usize]
        .iter()
        .any(|unit| unit.facts.len() > visit.step);
    let together = problem.rigs[visit.rig.ix()].loading == Loading::Together;
    let fits = request.keep_together && together && !started;
    let other = other_on_rig(plan, ix, shared);
    plan.visits[ix].place = Place::Run(999);
    fits && other.is_some()
}

/// A pin, a frozen booking that is kept, or what has started, moved by a minute.
fn away_from_what_is_fixed(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    let unit = &problem.units[visit.unit.ix()];
    let pinned = unit.pins.iter().any(|pin| pin.step == visit.step);
    let frozen = unit.published.iter().any(|booked| {
        booked.step == visit.step
            && (booked.rig, booked.times) == (visit.rig, visit.times)
            && booked.times.load < problem.frozen_before
            && booked.times.load >= problem.now
    });
    let fixed = pinned || frozen || is_fact(problem, visit);
    shift(visit, MINUTE);
    fixed
}

fn past_the_horizon(problem: &Problem, plan: &mut Plan, ix: usize) -> bool {
    let visit = &mut plan.visits[ix];
    shift(visit, problem.end + MINUTE - visit.times.out);
    true
}

fn missing(_: &Problem, plan: &mut Plan, ix: usize) -> bool {
    plan.visits.remove(ix);
    true
}

fn twice(_: &Problem, plan: &mut Plan, ix: usize) -> bool {
    plan.visits.push(plan.visits[ix]);
    true
}

/// Tries every way to spoil the plan at a few visits each; counts the mutants by way.
fn spoil(seed: u64, problem: &Problem, plan: &Plan, hits: &mut BTreeMap<usize, u64>) {
    let mut random = Random::new(seed);
    for (way, (rule, spoil)) in SPOILS.iter().enumerate() {
        for _ in 0..6 {
            let ix = random.below(plan.visits.len());
            let on_trial = *rule == Rule::Fixed || !is_fact(problem, &plan.visits[ix]);
            let mut mutant = plan.clone();
            if !on_trial || !spoil(problem, &mut mutant, ix) {
                continue;
            }
            let clashes = check(problem, &mutant);
            assert!(
                clashes.iter().any(|clash| clash.rule == *rule),
                "lab {seed}, way {way}, visit {:?}: {} finds {clashes:?}",
                plan.visits[ix],
                rule.name()
            );
            *hits.entry(way).or_default() += 1;
        }
    }
}

#[test]
fn every_way_to_spoil_a_plan_is_refused_by_its_rule() {
    let mut hits = BTreeMap::new();
    for seed in 0..LABS {
        let (lab, facts, now) = random_lab(seed);
        let problem = compile(&lab, &facts, now);
        let plan = solve(&problem, seed, &Rounds(0), &mut |_| {}).plan;
        if !plan.visits.is_empty() && check(&problem, &plan).is_empty() {
            spoil(seed, &problem, &plan, &mut hits);
        }
    }
    for (way, (rule, _)) in SPOILS.iter().enumerate() {
        let count = hits.get(&way).copied().unwrap_or(0);
        println!("{} way {way}: {count} mutants refused", rule.name());
        assert!(count >= 50, "{} way {way}: only {count}", rule.name());
    }
}
