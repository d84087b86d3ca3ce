//! How long the first valid plan takes, and its repair after a unit has failed:
//! `cargo bench --bench first_plan [-- LAB INSTANT ...]`.
//!
//! Without arguments it plans the demo lab, and copies of it side by side: as many times the rigs, crews and
//! requests. With pairs of a lab folder and an instant it plans those. In `cargo test` it runs once, small.

use rigday::clock::{Clock, SystemClock};
use rigday::domain::facts::{Stop, StopReason};
use rigday::domain::lab::Pin;
use rigday::domain::{Booking, Facts, Lab, Minute, Minutes, RequestId, RigId, UnitId};
use rigday::planner::{Rounds, solve};
use rigday::problem::{compile, facts_of_plan};
use std::collections::BTreeMap;
use std::path::Path;

/// The lab `times` side by side: rigs and requests are copied, people multiplied.
fn copies(lab: &Lab, times: u32) -> Lab {
    let mut large = lab.clone();
    large.pins = Vec::<Pin>::new();
    large.rigs.clear();
    large.requests.clear();
    for copy in 0..times {
        for rig in &lab.rigs {
            let mut rig = rig.clone();
            rig.id = RigId::new(&format!("{}.{copy}", rig.id));
            large.rigs.push(rig);
        }
        for request in &lab.requests {
            let mut request = request.clone();
            request.id = RequestId::new(&format!("{}.{copy}", request.id));
            for unit in &mut request.units {
                *unit = UnitId::new(&format!("{unit}.{copy}"));
            }
            large.requests.push(request);
        }
    }
    for shift in large.crews.iter_mut().flat_map(|crew| &mut crew.shifts) {
        shift.people *= times;
    }
    large
}

#[expect(clippy::print_stdout, reason = "a bench tells what it measured")]
fn measure(name: &str, lab: &Lab, now: Minute) {
    let clock = SystemClock::default();
    let begun = clock.elapsed();
    let problem = compile(lab, &Facts::default(), now);
    let compiled = clock.elapsed();
    let solved = solve(&problem, 1, &mut Rounds(0), &mut |_| {});
    let planned = clock.elapsed();
    let visits = solved.plan.visits.len();
    let seconds = planned.saturating_sub(compiled).as_secs_f64();
    println!(
        "{name}: {visits} visits, compiled in {:.1} ms, first plan in {:.1} ms, {:.0} visits/s, cost {}, bound {}",
        compiled.saturating_sub(begun).as_secs_f64() * 1e3,
        seconds * 1e3,
        visits as f64 / seconds,
        solved.cost,
        solved.bound
    );
    let bookings = problem.words(&solved.plan.visits, &[]);
    repair(name, lab, &bookings, now + Minutes::DAY * 5);
}

/// The plan was followed until `now`, when a unit fails at the step it has begun last: plans anew from
/// the plan in force, and counts the bookings of other units that do not stay where they were.
#[expect(clippy::print_stdout, reason = "a bench tells what it measured")]
fn repair(name: &str, lab: &Lab, published: &[Booking], now: Minute) {
    let mut facts = facts_of_plan(published, now);
    let ahead = |booking: &&Booking| booking.times.load >= now;
    let next = published.iter().find(|own| ahead(own) && own.step > 1);
    let Some(next) = next else {
        println!("{name}: no unit is under way after five days");
        return;
    };
    facts.stops.push(Stop {
        unit: next.unit.clone(),
        after_step: next.step - 1,
        why: StopReason::Failed,
    });
    let clock = SystemClock::default();
    let begun = clock.elapsed();
    let problem = compile(lab, &facts, now);
    let compiled = clock.elapsed();
    let solved = solve(&problem, 1, &mut Rounds(0), &mut |_| {});
    let planned = clock.elapsed();
    let after = problem.words(&solved.plan.visits, &[]);
    let place = |own: &Booking| (own.rig.clone(), own.times.load);
    let after: BTreeMap<(UnitId, u32), (RigId, Minute)> = after
        .iter()
        .map(|own| ((own.unit.clone(), own.step), place(own)))
        .collect();
    let others = published.iter().filter(|own| own.unit != next.unit);
    let untouched: Vec<&Booking> = others.filter(ahead).collect();
    let moved = untouched
        .iter()
        .filter(|own| after.get(&(own.unit.clone(), own.step)) != Some(&place(own)));
    println!(
        "{name}: unit {} fails, compiled in {:.1} ms, plan repaired in {:.1} ms, {} of {} other bookings moved, cost {}",
        next.unit,
        compiled.saturating_sub(begun).as_secs_f64() * 1e3,
        planned.saturating_sub(compiled).as_secs_f64() * 1e3,
        moved.count(),
        untouched.len(),
        solved.cost
    );
}

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with("--"))
        .collect();
    for pair in arguments.chunks_exact(2) {
        let lab = rigday::lab::read(Path::new(&pair[0]))
            .expect("a lab without faults")
            .lab;
        let now = rigday::lab::parse_instant(&pair[1], Some(&lab.zone)).expect("an instant");
        measure(&pair[0], &lab, now);
    }
    if arguments.is_empty() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
        let lab = rigday::lab::read(&folder)
            .expect("the demo lab has no fault")
            .lab;
        let now =
            rigday::lab::parse_instant("2027-03-01T06:50", Some(&lab.zone)).expect("an instant");
        let times: &[u32] = if cfg!(debug_assertions) {
            &[1]
        } else {
            &[1, 6, 60]
        };
        for times in times {
            measure(&format!("demo lab x {times}"), &copies(&lab, *times), now);
        }
    }
}
