//! How long a large ledger takes: checking all of it, opening it, and every screen on it.
//!
//! `cargo bench --bench verify` has a hundred thousand events, with `TEST_FULL=1` a million. A word such as
//! `1000` sets another number. Under `cargo test` it is a thousand.

#![expect(clippy::print_stdout, reason = "its figures are what it is for")]

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use rigday::app::desk::{Desk, Opening};
use rigday::app::{App, Screen};
use rigday::clock::{Clock, SystemClock};
use rigday::domain::event::Subject;
use rigday::domain::{Actor, EventBody, EventId, NewEvent, Seq};
use rigday::ledger::{Env, Ids, Ledger, Outcome, create, open, open_read_only};
use rigday::screens::draw;
use rigday::screens::theme::{Level, Theme};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

const BATCH: u64 = 1_000;

fn actor() -> Actor {
    Actor {
        uid: 1000,
        login: "bench".to_owned(),
        person: "bench".to_owned(),
        host: "bench-1".to_owned(),
        session: "s-1".to_owned(),
    }
}

fn env() -> Env {
    let lab = demo_lab();
    Env {
        clock: Arc::new(SystemClock::default()),
        ids: Ids::System,
        site: lab.name.clone(),
        zone: lab.zone,
        heads: None,
    }
}

fn demo_lab() -> rigday::domain::Lab {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    rigday::lab::read(&folder)
        .expect("the demo lab has no fault")
        .lab
}

fn note(number: u64, env: &Env, units: &[rigday::domain::UnitId]) -> NewEvent {
    let unit = &units[usize::try_from(number).expect("a number") % units.len()];
    NewEvent {
        id: EventId(u128::from(number).to_be_bytes()),
        happened: env.clock.now(),
        actor: actor(),
        body: EventBody::Note {
            subject: Subject::Unit(unit.clone()),
            text: format!("remark {number}: looked at, nothing to be seen on the outside"),
        },
    }
}

fn fill(path: &Path, count: u64) {
    let env = env();
    let units: Vec<_> = demo_lab()
        .requests
        .into_iter()
        .flat_map(|own| own.units)
        .collect();
    let mut ledger = create(path, env.clone()).expect("a new ledger");
    let mut from = 1;
    while from <= count {
        let to = (from + BATCH - 1).min(count);
        let events: Vec<NewEvent> = (from..=to).map(|own| note(own, &env, &units)).collect();
        let outcome = ledger.append(&[], &events);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        from = to + 1;
    }
}

/// How long it takes, and what comes of it.
fn timed<T>(clock: &SystemClock, run: impl FnOnce() -> T) -> (Duration, T) {
    let begun = clock.elapsed();
    let made = run();
    (clock.elapsed().saturating_sub(begun), made)
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let asked = words.iter().find_map(|word| word.parse().ok());
    let in_bench = words.iter().any(|word| word == "--bench");
    let full = std::env::var_os("TEST_FULL").is_some();
    let count = asked.unwrap_or(match (in_bench, full) {
        (false, _) => 1_000,
        (true, false) => 100_000,
        (true, true) => 1_000_000,
    });
    let clock = SystemClock::default();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("rigday.db");
    let (filled, ()) = timed(&clock, || fill(&path, count));
    let bytes = std::fs::metadata(&path).expect("the file").len();
    println!(
        "{count} events, {} MB, written in {filled:.1?}",
        bytes >> 20
    );

    let (opened, ledger) = timed(&clock, || open(&path, env()).expect("a good ledger"));
    println!("open with the check of the last thousand links: {opened:.1?}");
    let head = ledger.head().expect("a head");
    let (verified, report) = timed(&clock, || ledger.verify(&[head]));
    println!("verify: {verified:.1?}");
    assert_eq!((report.events, report.faults), (count, Vec::new()));
    drop(ledger);

    let ledger = open_read_only(&path, env()).expect("a good ledger");
    let with = Opening {
        lab: demo_lab(),
        ledger: Box::new(ledger),
        clock: Arc::new(SystemClock::default()),
        ids: Ids::System,
        actor: actor(),
    };
    let (read, desk) = timed(&clock, || Desk::open(with).expect("a desk"));
    assert_eq!(desk.floor.seen(), Seq(count));
    println!("reading every event once, at the start: {read:.1?}");
    let (first, mut app) = timed(&clock, || App::new(desk, true));
    println!("working out what the screens show: {first:.1?}");
    let mut slowest = Duration::ZERO;
    let theme = Theme::new(true, Level::Ansi16);
    for screen in Screen::ALL {
        app.screen = screen;
        let area = Rect::new(0, 0, 160, 48);
        let mut buffer = Buffer::empty(area);
        let (drawn, _) = timed(&clock, || {
            app.renew();
            draw(&app, &theme, area, &mut buffer)
        });
        println!("screen {}: {drawn:.1?}", screen.name());
        slowest = slowest.max(drawn);
    }
    if in_bench {
        assert!(
            verified <= Duration::from_secs(10),
            "verify took {verified:?}"
        );
        assert!(opened <= Duration::from_millis(20), "open took {opened:?}");
        assert!(
            slowest <= Duration::from_millis(100),
            "a screen took {slowest:?}"
        );
    }
}
