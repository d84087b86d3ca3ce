//! Parts that a copy of these tests plays on a terminal: a program whose clock breaks, and one whose ledger is
//! lost while a file `lost` lies where it runs.

use crate::support::demo_lab;
use crate::support::events::MORNING;
use rigday::app::Settings;
use rigday::app::desk::{Desk, Opening};
use rigday::clock::{Clock, SystemClock};
use rigday::domain::event::Subject;
use rigday::domain::{Actor, Event, NewEvent, Seq, Zone};
use rigday::ledger::{Env, Expect, Head, Ids, Ledger, LedgerError, MemoryLedger, Outcome, Report};
use rigday::screens::theme::{Level, Theme};
use rigday::terminal::{Options, run};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Names the part to be played.
pub(super) const PART: &str = "PLAYS_A_PART";

/// Not a promise: the program whose clock breaks, played by a copy of these tests.
#[test]
fn plays_the_program_whose_clock_breaks() {
    if asked_for("clock") {
        let clock = Arc::new(Slow {
            breaks: true,
            ..Slow::default()
        });
        play(memory(&clock), clock);
    }
}

/// Not a promise: the program whose ledger is lost, played by a copy of these tests.
#[test]
fn plays_the_program_whose_ledger_is_lost() {
    if asked_for("ledger") {
        let clock = Arc::new(Slow::default());
        play(Lost(memory(&clock)), clock);
    }
}

fn asked_for(part: &str) -> bool {
    std::env::vars().any(|(name, value)| name == PART && value == part)
}

/// A clock whose minutes never pass; perhaps it breaks once the screens are up.
#[derive(Default)]
struct Slow {
    system: SystemClock,
    breaks: bool,
    broken: AtomicBool,
}

impl Clock for Slow {
    fn now_ms(&self) -> i64 {
        // The loop asks twice a second.
        let late = self.system.elapsed() > Duration::from_secs(4);
        let first = self.breaks && late && !self.broken.swap(true, Ordering::Relaxed);
        assert!(!first, "the clock of this test breaks");
        MORNING.get() * 60_000
    }

    fn elapsed(&self) -> Duration {
        self.system.elapsed()
    }
}

/// A ledger that cannot be reached while the file lies there.
struct Lost(MemoryLedger);

impl Lost {
    fn there(&self) -> Result<&MemoryLedger, LedgerError> {
        if Path::new("lost").exists() {
            return Err(std::io::Error::other("it is lost").into());
        }
        Ok(&self.0)
    }
}

impl Ledger for Lost {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        self.0.append(expect, events)
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        self.there()?.read(after, limit)
    }

    fn history(&self, about: &Subject) -> Result<Vec<Event>, LedgerError> {
        self.there()?.history(about)
    }

    fn head(&self) -> Result<Head, LedgerError> {
        self.there()?.head()
    }

    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError> {
        self.there()?.wait(after, at_most)
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        self.there()?.copy_to(dest)
    }

    fn verify(&self, known: &[Head]) -> Report {
        self.0.verify(known)
    }
}

fn memory(clock: &Arc<Slow>) -> MemoryLedger {
    MemoryLedger::new(Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: "test".to_owned(),
        zone: Zone::utc(),
        heads: None,
    })
}

fn play(ledger: impl Ledger + 'static, clock: Arc<Slow>) {
    let text = str::to_owned;
    let actor = Actor {
        uid: 1,
        login: text("ines"),
        person: text("Ines"),
        host: text("bench"),
        session: text("test"),
    };
    let desk = Desk::open(Opening {
        lab: demo_lab(),
        ledger: Box::new(ledger),
        clock,
        ids: Ids::seeded(2),
        actor,
    })
    .expect("a ledger in memory can be read");
    let options = Options {
        sample: true,
        theme: Theme::new(true, Level::Ansi16),
        settings: Settings::default(),
        state: Some("state".into()),
        keep: None,
    };
    run(desk, options).expect("the terminal works");
}
