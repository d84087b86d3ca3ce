//! How long a forecast takes: `cargo bench --bench forecast`.
//!
//! A thousand samples on the demo lab on its Monday morning, with the three weeks before it in the ledger, on one
//! and on two threads. In `cargo test` it runs once with few samples.

use rigday::app::demo_files::SCENARIO;
use rigday::app::desk::{Desk, Opening};
use rigday::app::scenario::Scenario;
use rigday::clock::{Clock, FakeClock, SystemClock};
use rigday::domain::{Actor, Lab};
use rigday::ledger::{Env, Ids, MemoryLedger, Shared};
use rigday::planner::{Rounds, repair, solve};
use rigday::usage::forecast::{Draws, History, Rates, Setting, forecast};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// The demo on its Monday morning.
fn demo(lab: &Lab) -> Desk {
    let story = Scenario::read(SCENARIO, lab).expect("the demo's story can be read");
    let clock = Arc::new(FakeClock::at(story.opens));
    let env = Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: None,
    };
    let ledger = Shared::new(Box::new(MemoryLedger::new(env)));
    let text = |text: &str| text.to_owned();
    let actor = Actor {
        uid: 1,
        login: text("ines"),
        person: text("Ines"),
        host: text("bench"),
        session: text("bench"),
    };
    story
        .play(lab, Box::new(ledger.clone()), &clock, &actor)
        .expect("the demo's story can be played");
    Desk::open(Opening {
        lab: lab.clone(),
        ledger: Box::new(ledger),
        clock,
        ids: Ids::seeded(2),
        actor,
    })
    .expect("a ledger in memory can be read")
}

fn milliseconds(length: Duration) -> f64 {
    length.as_secs_f64() * 1e3
}

#[expect(clippy::print_stdout, reason = "a bench tells what it measured")]
fn main() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    let lab = rigday::lab::read(&folder)
        .expect("the demo lab has no fault")
        .lab;
    let desk = demo(&lab);
    let problem = desk.planning().problem();
    let plan = solve(&problem, 1, &Rounds(0), &mut |_| {}).plan;
    let clock = SystemClock::default();
    let begun = clock.elapsed();
    let repaired = repair(&problem);
    let took = milliseconds(clock.elapsed().saturating_sub(begun));
    println!(
        "demo lab: {} visits, plan repaired in {took:.2} ms",
        repaired.len()
    );
    let history = History::of(&desk.floor);
    let set = Setting::new(&lab, &history, &problem, &plan);
    let rates = Rates::learn(&problem, &set.keys, &history);
    let samples = if cfg!(debug_assertions) { 10 } else { 1000 };
    for threads in [1, 2] {
        let begun = clock.elapsed();
        let draws = Draws {
            samples,
            seed: 1,
            threads,
        };
        let own = forecast(&lab, &set, &rates, draws, &|_| true).expect("there are samples");
        let took = milliseconds(clock.elapsed().saturating_sub(begun));
        let sum: i64 = own
            .requests
            .iter()
            .flat_map(|own| own.by)
            .flatten()
            .map(|own| own.get())
            .sum();
        println!(
            "demo lab: {samples} samples on {threads} threads in {took:.0} ms, {:.2} plans repaired a sample, sum of dates {sum}",
            own.repairs
        );
    }
}
