//! Prices on examples worked by hand.

use super::clock::{Clock, Costs, Grain, Stay, offers};
use super::{Ahead, Least, Prices};
use crate::domain::Minutes;
use crate::domain::lab::{Lab, Loading, Watch};
use crate::planner::bound::crowd;
use crate::planner::bound::tests::{
    NOW, add_method, add_request, add_rig, at, bound, compiled, lab,
};
use crate::problem::{Problem, RequestIx};

/// Two requests of one unit each, of priority 1, on a rig of one position.
fn two(loading: Loading, methods: [&str; 2]) -> Lab {
    two_of(1, loading, methods)
}

/// The same of some units each.
fn two_of(units: usize, loading: Loading, methods: [&str; 2]) -> Lab {
    let mut lab = lab();
    add_rig(&mut lab, "heat", loading, 2, 0);
    lab.rigs[0].positions = if loading == Loading::Each { 1 } else { 2 };
    for method in ["heat", "bake"] {
        add_method(&mut lab, method, 240, Watch::None);
    }
    for method in lab.methods.values_mut() {
        method.does = "heat".into();
    }
    add_request(&mut lab, "A", &[methods[0]], units);
    add_request(&mut lab, "B", &[methods[1]], units);
    for request in &mut lab.requests {
        request.priority = 1;
    }
    lab
}

fn least(problem: &Problem, text: &str) -> Vec<Least> {
    let ahead = Ahead::new(problem);
    let requests = (0..problem.requests.len()).map(RequestIx::from);
    let known = requests.map(|request| Least {
        request,
        finish: at(text),
        walked: crowd::walk(&ahead, request),
    });
    known.collect()
}

/// Prices that are looked at tick by tick.
fn by_the_tick<'p>(ahead: &Ahead<'p>, all: &[Least]) -> Prices<'p> {
    let mut prices = Prices::new(ahead, all, Grain::FINE);
    prices.clock.block = 1;
    let costs = prices.offers.iter();
    prices.costs = costs.map(|own| Costs::new(own, &prices.clock)).collect();
    prices
}

#[test]
fn who_pays_for_a_place_and_who_waits_for_it_cost_the_same() {
    let problem = compiled(&two(Loading::Each, ["heat", "heat"]));
    let ahead = Ahead::new(&problem);
    let mut prices = by_the_tick(&ahead, &least(&problem, "01 12:00"));
    assert!((prices.round() - 480.0).abs() < 1e-6);
    // One for every minute from 08:00 to 12:00.
    let ticks = prices.clock.tick(at("01 12:00"));
    let one = 240.0 / ticks as f64;
    prices.lines[0].set_price(ticks, one);
    assert!((prices.round() - 720.0).abs() < 1e-6);
    // Dearer than waiting: both wait, and twice as much is paid back.
    prices.lines[0].set_price(ticks, 2.0 * one);
    assert!((prices.round() - 480.0).abs() < 1e-6);
}

#[test]
fn a_finer_clock_asks_the_same_by_the_minute() {
    let problem = compiled(&two(Loading::Each, ["heat", "heat"]));
    let (ahead, all) = (Ahead::new(&problem), least(&problem, "01 12:00"));
    let mut rough = Prices::new(&ahead, &all, Grain::ROUGH);
    let ticks = rough.clock.tick(at("01 12:00"));
    rough.lines[0].set_price(ticks, 240.0 / ticks as f64);
    let mut finer = rough.finer(&ahead, &all, Grain::FINE);
    assert!(finer.clock.ticks > rough.clock.ticks);
    let found = finer.round();
    assert!((710.0..=720.0).contains(&found), "{found}");
}

#[test]
fn prices_are_found_that_tell_the_cost_of_waiting() {
    let problem = compiled(&two(Loading::Each, ["heat", "heat"]));
    let found = bound(&problem, &[]);
    assert!((700..=720).contains(&found), "{found}");
}

#[test]
fn who_can_share_a_run_pays_for_it_once() {
    let shared = compiled(&two(Loading::Together, ["heat", "heat"]));
    assert_eq!(bound(&shared, &[]), 480);
    let apart = compiled(&two(Loading::Together, ["heat", "bake"]));
    let found = bound(&apart, &[]);
    assert!((700..=720).contains(&found), "{found}");
}

#[test]
fn units_load_one_after_the_other_so_that_all_are_through() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Each, 1, 0);
    add_method(&mut lab, "heat", 60, Watch::None);
    add_request(&mut lab, "A", &["heat"], 3);
    let problem = compiled(&lab);
    let ahead = Ahead::new(&problem);
    let prices = by_the_tick(&ahead, &least(&problem, "01 11:00"));
    let tick = |text: &str| prices.clock.tick(at(text));
    let mut loads = [0; 3];
    let party = &prices.parties[0];
    assert!(party.latest(prices.market(), tick("01 13:00"), &mut loads));
    assert_eq!(loads, ["01 10:00", "01 11:00", "01 12:00"].map(tick));
    assert!(!party.latest(prices.market(), tick("01 10:30"), &mut loads));
}

#[test]
fn who_waits_for_all_units_of_another_waits_with_the_first_of_its_own() {
    let problem = compiled(&two_of(3, Loading::Each, ["heat", "heat"]));
    // Alone each takes twelve hours; one after the other the second takes twice as long.
    let found = bound(&problem, &[]);
    assert!((2100..=2160).contains(&found), "{found}");
}

#[test]
fn a_crew_is_paid_for_while_it_looks_on() {
    let mut lab = two(Loading::Each, ["heat", "heat"]);
    lab.rigs[0].positions = 2;
    for method in lab.methods.values_mut() {
        method.watch = Watch::Full;
    }
    let problem = compiled(&lab);
    let found = bound(&problem, &[]);
    assert!((700..=720).contains(&found), "{found}");
}

#[test]
fn a_visit_by_the_clock_is_no_longer_than_it_is() {
    let mut lab = lab();
    add_rig(&mut lab, "heat", Loading::Each, 1, 5);
    add_method(&mut lab, "heat", 34, Watch::Full);
    add_request(&mut lab, "A", &["heat"], 1);
    let problem = compiled(&lab);
    let clock = Clock::of(at(NOW), 10, 49);
    assert_eq!(clock.tick(at("01 08:49")), 4);
    assert_eq!(clock.tick(at("01 08:50")), 5);
    assert_eq!(clock.minute(5), at("01 08:50"));
    assert_eq!(clock.whole(Minutes::new(39)), 3);
    let ahead = Ahead::new(&problem);
    let offers = offers(&ahead, &clock);
    let stays = &offers[0][0].stays;
    // Load at 08:00, its person until 08:39, out at 08:44; the last load at 15:10, out at 15:54.
    let first = Stay {
        load: 0,
        hands: 3,
        out: 4,
    };
    assert_eq!(stays[0], first);
    assert_eq!(
        stays.last().map(|stay| (stay.load, stay.out)),
        Some((43, 47))
    );
    assert_eq!(stays.len(), 44);
}
