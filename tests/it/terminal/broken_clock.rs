//! A program on a terminal whose clock breaks when it is asked a second time after the first frame.

use crate::support::demo_lab;
use crate::support::events::MORNING;
use rigday::app::Settings;
use rigday::app::desk::{Desk, Opening};
use rigday::clock::{Clock, SystemClock};
use rigday::domain::{Actor, Zone};
use rigday::ledger::{Env, Ids, MemoryLedger};
use rigday::screens::theme::{Level, Theme};
use rigday::terminal::{Options, run};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Holds until the screens are up.
#[derive(Default)]
struct Breaks {
    system: SystemClock,
    armed: AtomicBool,
}

impl Clock for Breaks {
    fn now_ms(&self) -> i64 {
        // The loop asks each half second, a person who refreshes asks at once.
        let late = self.system.elapsed() > Duration::from_millis(1500);
        if late && !self.armed.swap(true, Ordering::Relaxed) {
            panic!("the clock of this test breaks");
        }
        MORNING.get() * 60_000
    }

    fn elapsed(&self) -> Duration {
        self.system.elapsed()
    }
}

pub(super) fn play() {
    let clock = Arc::new(Breaks::default());
    let env = Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: "test".to_owned(),
        zone: Zone::utc(),
        heads: None,
    };
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
        ledger: Box::new(MemoryLedger::new(env)),
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
