//! How long a large ledger takes: checking all of it, opening it, starting on it, and every screen on it.
//!
//! It is that of a lab after three years: units that walked all their steps and are not in the folder any more,
//! notes, marks that were undone and redone.
//!
//! `cargo bench --bench verify` has a hundred thousand events, with `TEST_FULL=1` a million. A word such as
//! `1000` sets another number. Under `cargo test` it is a thousand.

#![expect(clippy::print_stdout, reason = "its figures are what it is for")]

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use rigday::app::desk::{Desk, Opening};
use rigday::app::{App, Screen};
use rigday::clock::{Clock, SystemClock};
use rigday::domain::event::{Change, Subject};
use rigday::domain::{Actor, EventBody, EventId, Minutes, NewEvent, RigId, Seq, UnitId, Verdict};
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

/// Events of one old unit: its visits with their verdicts.
const OF_UNIT: u64 = 45;
/// How far back the first event lies.
const YEARS: Minutes = Minutes::hours(3 * 365 * 24);

/// The names that the events are about.
struct Names {
    rigs: Vec<RigId>,
    units: Vec<UnitId>,
}

/// What the event of that number says.
fn body(number: u64, names: &Names) -> EventBody {
    let at = usize::try_from(number).expect("a number");
    // Three of forty events are others; what is left are visits that begin, end and are judged, none left out.
    let others = [7, 13, 14].iter().filter(|own| **own < number % 40).count() as u64;
    let visits = number / 40 * 37 + number % 40 - others;
    let unit = UnitId::new(&format!("OLD-{}/1", visits / OF_UNIT));
    let step = u32::try_from(visits % OF_UNIT / 3 + 1).expect("a step");
    let rig = names.rigs[step as usize % names.rigs.len()].clone();
    let correction = |change| EventBody::Correction {
        corrects: Seq(number - 1),
        change,
        reason: "undone".to_owned(),
    };
    match number % 40 {
        7 => EventBody::Note {
            subject: Subject::Unit(names.units[at % names.units.len()].clone()),
            text: format!("remark {number}: looked at, nothing to be seen on the outside"),
        },
        13 => correction(Change::Void),
        14 => correction(Change::Restore),
        _ => match visits % 3 {
            0 => EventBody::VisitStarted {
                unit,
                step,
                rig,
                position: Some(1),
                run: None,
            },
            1 => EventBody::VisitEnded { unit, step, rig },
            _ => EventBody::VerdictGiven {
                unit,
                step,
                verdict: Verdict::Pass,
            },
        },
    }
}

fn fill(path: &Path, count: u64, env: &Env) {
    let lab = demo_lab();
    let names = Names {
        rigs: lab.rigs.iter().map(|rig| rig.id.clone()).collect(),
        units: lab.requests.into_iter().flat_map(|own| own.units).collect(),
    };
    let now = env.clock.now();
    let mut ledger = create(path, env.clone()).expect("a new ledger");
    let mut from = 1;
    while from <= count {
        let to = (from + BATCH - 1).min(count);
        let events = (from..=to).map(|number| {
            let back = i64::try_from(count - number).expect("a number");
            let all = i64::try_from(count).expect("a number");
            NewEvent {
                id: EventId(u128::from(number).to_be_bytes()),
                happened: now - Minutes::new(YEARS.get() * back / all),
                actor: actor(),
                body: body(number, &names),
            }
        });
        let outcome = ledger.append(&[], &events.collect::<Vec<_>>());
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        from = to + 1;
    }
}

/// What the process holds in memory, in MB.
fn memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kilobytes = line.and_then(|rest| rest.split_whitespace().next()?.parse::<u64>().ok());
    kilobytes.unwrap_or(0) / 1024
}

fn desk(path: &Path) -> Desk {
    let ledger = open_read_only(path, env()).expect("a good ledger");
    let with = Opening {
        lab: demo_lab(),
        ledger: Box::new(ledger),
        clock: Arc::new(SystemClock::default()),
        ids: Ids::System,
        actor: actor(),
    };
    Desk::open(with).expect("a desk")
}

/// Draws every screen as it is turned to, and once more with all that it shows worked out anew.
fn screens(app: &mut App, clock: &SystemClock) {
    let theme = Theme::new(true, Level::Ansi16);
    let area = Rect::new(0, 0, 160, 48);
    let mut buffer = Buffer::empty(area);
    for screen in Screen::ALL {
        app.screen = screen;
        let (opened, _) = timed(clock, || draw(app, &theme, area, &mut buffer));
        let (anew, ()) = timed(clock, || app.renew());
        println!(
            "screen {}: opens in {opened:.1?}; worked out anew in {anew:.1?}",
            screen.name()
        );
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
    let (filled, ()) = timed(&clock, || fill(&path, count, &env()));
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

    let (read, desk) = timed(&clock, || desk(&path));
    assert_eq!(desk.floor.seen(), Seq(count));
    println!("a start, which reads every event: {read:.1?}");
    let unit = Subject::Unit(UnitId::new("OLD-1/1"));
    let (told, history) = timed(&clock, || desk.history(&unit).expect("a ledger"));
    println!(
        "the history of a unit, {} events: {told:.1?}",
        history.len()
    );
    let (shown, mut app) = timed(&clock, || App::new(desk, true));
    println!("working out what the screens show: {shown:.1?}");
    screens(&mut app, &clock);
    println!("memory: {} MB", memory());
}
