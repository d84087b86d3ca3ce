//! What the readers of the program must bear, whatever bytes come: each function is one target.
//!
//! They are run with bytes that a fuzzer thinks out (`fuzz_targets/`), and with the kept corpus as a plain test.

use rigday::app::desk::{Desk, Opening};
use rigday::app::scan::{Scanner, cleaned};
use rigday::app::{App, Effect, Jobs, Message, perform};
use rigday::clock::FakeClock;
use rigday::domain::event::Subject;
use rigday::domain::{
    Actor, EventBody, EventId, Lab, Minute, NewEvent, Seq, UnitId, Zone, csv as table, text,
};
use rigday::lab::{parse_date, parse_duration, parse_instant, read, take};
use rigday::ledger::{
    Env, Ids, Ledger, MemoryLedger, Outcome, SqliteLedger, create, inspect, open,
};
use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

/// A Monday in March 2027.
const NOW: Minute = Minute::new(30_094_000);

/// The top of the repository; the fuzzer is a package of its own below it.
fn top() -> PathBuf {
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    let above = own
        .ancestors()
        .find(|folder| folder.join("demo-lab").is_dir());
    above.expect("the demo lab is above").to_path_buf()
}

fn actor() -> Actor {
    let text = str::to_owned;
    Actor {
        uid: 1,
        login: text("ines"),
        person: text("Ines"),
        host: text("bench"),
        session: text("test"),
    }
}

fn env() -> Env {
    Env {
        clock: Arc::new(FakeClock::at(NOW)),
        ids: Ids::seeded(1),
        site: "test".to_owned(),
        zone: Zone::utc(),
        heads: None,
    }
}

/// Nothing that is told may steer a terminal.
fn is_clean(told: &str) -> bool {
    told.chars().all(|c| c == '\n' || !text::is_hidden(c))
}

thread_local! {
    /// A copy of the demo's folder, whose files are replaced in turn.
    static FOLDER: tempfile::TempDir = {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for entry in top().join("demo-lab").read_dir().expect("the demo lab") {
            let entry = entry.expect("an entry");
            if entry.path().is_file() {
                std::fs::copy(entry.path(), folder.path().join(entry.file_name())).expect("a copy");
            }
        }
        folder
    };
    static LEDGER: (tempfile::TempDir, PathBuf, Vec<u8>) = small_ledger();
    static BODIES: RefCell<Bodies> = RefCell::new(Bodies::new());
    static APP: RefCell<Option<App>> = const { RefCell::new(None) };
}

/// Files of a lab folder.
const FILES: [&str; 4] = [
    "lab.toml",
    "requests.toml",
    "sequences.toml",
    "methods.toml",
];

/// A file of a lab folder; the first byte says which.
pub(crate) fn lab_toml(bytes: &[u8]) {
    let Some((which, rest)) = bytes.split_first() else {
        return;
    };
    let name = FILES[usize::from(*which) % FILES.len()];
    FOLDER.with(|folder| {
        let path = folder.path().join(name);
        let before = std::fs::read(&path).ok();
        std::fs::write(&path, rest).expect("a file");
        if let Err(faults) = read(folder.path()) {
            assert!(is_clean(&faults.to_string()), "{faults:?}");
        }
        match before {
            Some(before) => std::fs::write(&path, before).expect("the file as it was"),
            None => std::fs::remove_file(&path).expect("the file"),
        }
    });
}

/// A table, and requests that are taken in from one.
pub(crate) fn csv(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    if let Ok(rows) = table::read(&told) {
        for row in rows {
            let again = table::line(row.iter().map(|cell| cell.text.as_str()));
            let again = table::read(&again).expect("what was written can be read");
            let texts = |row: &[table::Cell]| row.iter().map(|cell| cell.text.clone()).collect();
            let (first, second): (Vec<String>, Vec<String>) = (texts(&row), texts(&again[0]));
            assert_eq!(first, second);
        }
    }
    FOLDER.with(|folder| {
        let path = folder.path().join("more.csv");
        std::fs::write(&path, bytes).expect("a file");
        match take(folder.path(), &path) {
            Ok(taken) => {
                let units = taken.requests.iter().flat_map(|own| &own.units);
                for unit in units {
                    assert_eq!(text::id_fault(unit.as_str()), None);
                }
            }
            Err(faults) => assert!(is_clean(&faults.to_string()), "{faults:?}"),
        }
    });
}

/// A length of time is whole minutes, from none to a hundred years; whoever reads it says where none is too little.
pub(crate) fn duration(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    match parse_duration(&told) {
        Ok(length) => assert!((0..=100 * 366 * 1440).contains(&length.get()), "{length:?}"),
        Err(why) => assert!(is_clean(&why), "{why:?}"),
    }
}

/// Minutes of the years 2000 to 2199, and a day around them for offsets.
const YEARS: std::ops::RangeInclusive<i64> = 15_778_080 - 1_440..=120_968_640 + 1_440;

/// An instant lies in the years 2000 to 2199, and is no bare date.
pub(crate) fn instant(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    let lisbon = rigday::clock::zone("Europe/Lisbon").expect("a known zone");
    for zone in [None, Some(&lisbon)] {
        match parse_instant(&told, zone) {
            Ok(at) => {
                assert!(YEARS.contains(&at.get()), "{at:?}");
                assert!(parse_date(&told).is_err());
            }
            Err(why) => assert!(is_clean(&why), "{why:?}"),
        }
    }
}

/// What is shown steers no terminal, and showing it again changes nothing.
pub(crate) fn shown(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    let shown = text::shown(&told);
    assert!(!shown.chars().any(text::is_hidden), "{shown:?}");
    assert_eq!(text::shown(&shown), shown);
    assert_eq!(shown.chars().count(), told.chars().count());
}

fn said(id: u128, body: EventBody) -> NewEvent {
    NewEvent {
        id: EventId(id.to_be_bytes()),
        happened: NOW,
        actor: actor(),
        body,
    }
}

fn note(text: &str) -> EventBody {
    EventBody::Note {
        subject: Subject::Unit(UnitId::new("R-1/1")),
        text: text.to_owned(),
    }
}

/// A folder with a ledger of twelve notes, its path, and its bytes.
fn small_ledger() -> (tempfile::TempDir, PathBuf, Vec<u8>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("rigday.db");
    let mut ledger = create(&path, env()).expect("a new ledger");
    for id in 1..=12 {
        let outcome = ledger.append(&[], &[said(id, note(&format!("note {id}")))]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    drop(ledger);
    let bytes = std::fs::read(&path).expect("the file");
    (folder, path, bytes)
}

/// A ledger file with bytes changed: pieces of a place (2 bytes), a count (1 byte) and the bytes there; where the
/// first byte is even it is cut at the end too, by the second.
pub(crate) fn ledger_file(bytes: &[u8]) {
    LEDGER.with(|(folder, path, good)| {
        let mut file = good.clone();
        let mut rest = bytes;
        if let [cut, by, more @ ..] = bytes
            && cut % 2 == 0
        {
            file.truncate(file.len() - usize::from(*by) * 64 % file.len());
            rest = more;
        }
        while let [high, low, count, more @ ..] = rest {
            let place = usize::from(*high) << 8 | usize::from(*low);
            let (piece, left) = more.split_at(usize::from(*count).min(more.len()));
            for (ix, byte) in piece.iter().enumerate() {
                if let Some(own) = file.get_mut(place + ix) {
                    *own = *byte;
                }
            }
            rest = left;
        }
        std::fs::write(path, &file).expect("the file");
        if let Ok(ledger) = inspect(path, env()) {
            let report = ledger.verify(&[]);
            assert!(
                report.events <= 12 || !report.faults.is_empty(),
                "{report:?}"
            );
            let _read = ledger.read(Seq(0), u32::MAX).is_ok();
            let _told = ledger.history(&Subject::Unit(UnitId::new("R-1/1"))).is_ok();
        }
        if let Ok(mut ledger) = open(path, env()) {
            let outcome = ledger.append(&[], &[said(99, note("one more"))]);
            assert_ne!(outcome, Outcome::Recorded { first: Seq(0) });
        }
        for entry in folder.path().read_dir().expect("the folder") {
            std::fs::remove_file(entry.expect("a file").path()).expect("a file");
        }
    });
}

/// A ledger whose second event somebody rewrites past all guards.
struct Bodies {
    _folder: tempfile::TempDir,
    ledger: SqliteLedger,
    stranger: rusqlite::Connection,
}

impl Bodies {
    fn new() -> Self {
        let (folder, path, _) = small_ledger();
        let ledger = open(&path, env()).expect("a good ledger");
        #[expect(
            clippy::disallowed_methods,
            reason = "this is a stranger to the ledger"
        )]
        let stranger = rusqlite::Connection::open(&path).expect("a connection");
        stranger
            .execute_batch("PRAGMA synchronous = OFF; DROP TRIGGER event_is_not_changed")
            .expect("no guard any more");
        Self {
            _folder: folder,
            ledger,
            stranger,
        }
    }
}

/// The stored body of an event; up to the first line end stands what kind it is said to be.
pub(crate) fn event_body(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    let (kind, body) = told.split_once('\n').unwrap_or(("visit_ended", &told));
    BODIES.with_borrow_mut(|own| {
        let changed = own.stranger.execute(
            "UPDATE event SET kind = ?1, body = ?2 WHERE seq = 2",
            (kind, body),
        );
        // The indexes of the file take no body that is not JSON.
        if changed.is_err() {
            return;
        }
        match own.ledger.read(Seq(1), 1) {
            Ok(events) => assert_eq!(events.len(), 1),
            Err(why) => assert!(why.to_string().contains("event 2"), "{why}"),
        }
        let faults = own.ledger.verify(&[]).faults;
        assert_eq!(faults.first().and_then(|(seq, _)| *seq), Some(Seq(2)));
    });
}

fn demo_lab() -> Lab {
    let read = read(&top().join("demo-lab"));
    read.expect("the demo lab has no fault").lab
}

/// Lines of a scanner: whatever they are, a line gives at most one unit or card.
pub(crate) fn badge(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    let rules = demo_lab_rules();
    let mut scanner = Scanner::new(&rules);
    for (line, at) in told.lines().zip(0..) {
        assert!(is_clean(&text::shown(&cleaned(line, &rules))));
        let _scan = scanner.take(line, Duration::from_millis(at * 700));
    }
}

fn demo_lab_rules() -> rigday::domain::lab::BenchRules {
    thread_local! {
        static RULES: rigday::domain::lab::BenchRules = demo_lab().bench;
    }
    RULES.with(Clone::clone)
}

fn fresh_app() -> App {
    let clock = Arc::new(FakeClock::at(NOW));
    let memory = MemoryLedger::new(Env {
        clock: clock.clone(),
        ..env()
    });
    let desk = Desk::open(Opening {
        lab: demo_lab(),
        ledger: Box::new(memory),
        clock,
        ids: Ids::seeded(2),
        actor: actor(),
    });
    App::new(desk.expect("a ledger in memory can be read"), true)
}

/// Keys at the running program: a byte of 1 to 31 is one of these, every other character is itself.
const NAMED: [&str; 16] = [
    "Enter",
    "Esc",
    "Tab",
    "Shift-Tab",
    "Up",
    "Down",
    "Left",
    "Right",
    "PageUp",
    "PageDown",
    "Home",
    "End",
    "Backspace",
    "Ctrl-j",
    "Ctrl-u",
    "Ctrl-w",
];

/// Keys, pastes and scans at the running program, which records in memory.
pub(crate) fn keys(bytes: &[u8]) {
    let told = String::from_utf8_lossy(bytes);
    APP.with_borrow_mut(|kept| {
        let app = kept.get_or_insert_with(fresh_app);
        let mut jobs = Jobs::new(channel().0);
        let mut letters = told.chars();
        while let Some(letter) = letters.next() {
            let message = match letter {
                '\u{1d}' => Message::Paste(letters.by_ref().take(20).collect()),
                '\u{1e}' => Message::Scan(letters.by_ref().take(20).collect()),
                '\u{1f}' => Message::Tick,
                own if u32::from(own) < 0x1d => {
                    Message::Key(NAMED[u32::from(own) as usize % NAMED.len()].to_owned())
                }
                own => Message::Key(own.to_string()),
            };
            for effect in app.update(message) {
                if is_quick(&effect) {
                    perform(app, effect, &mut jobs);
                }
            }
        }
        if app.over || app.desk.floor.events.len() > 2_000 {
            *kept = None;
        }
    });
}

/// Effects that neither take seconds on another thread nor write a file.
fn is_quick(effect: &Effect) -> bool {
    !matches!(
        effect,
        Effect::Plan
            | Effect::WhatIf(_)
            | Effect::Explain(_)
            | Effect::Forecast
            | Effect::Size(_)
            | Effect::Keep
            | Effect::Export
    )
}
