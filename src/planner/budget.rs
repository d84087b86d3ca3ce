//! How long the planner may work: asked after every round, by every thread.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Says how far the work is, and so when to stop.
pub trait Budget: Sync {
    /// The share that is used up after `rounds` rounds: from 0, and 1 where no further round may begin.
    fn used(&self, rounds: u64) -> f64;

    /// True where no further round may begin after `rounds` of them.
    fn used_up(&self, rounds: u64) -> bool {
        self.used(rounds) >= 1.0
    }
}

/// A number of rounds: the same work on any machine.
#[derive(Clone, Copy, Debug)]
pub struct Rounds(pub u64);

impl Budget for Rounds {
    fn used(&self, rounds: u64) -> f64 {
        if rounds >= self.0 {
            1.0
        } else {
            rounds as f64 / self.0 as f64
        }
    }
}

/// A time, measured by a clock that the caller hands in.
pub struct Time<'a> {
    /// Reads a monotonic clock.
    pub elapsed: &'a (dyn Fn() -> Duration + Sync),
    /// What it showed when the work began.
    pub from: Duration,
    /// How long the work may take.
    pub length: Duration,
}

impl Time<'_> {
    /// How long the work has taken so far.
    pub fn worked(&self) -> Duration {
        (self.elapsed)().saturating_sub(self.from)
    }
}

impl Budget for Time<'_> {
    fn used(&self, _rounds: u64) -> f64 {
        let worked = self.worked();
        if worked >= self.length {
            1.0
        } else {
            worked.as_secs_f64() / self.length.as_secs_f64()
        }
    }
}

/// Until somebody says stop: the flag is shared with the screen.
#[derive(Clone, Debug, Default)]
pub struct Cancel(pub Arc<AtomicBool>);

impl Budget for Cancel {
    fn used(&self, _rounds: u64) -> f64 {
        f64::from(u8::from(self.0.load(Ordering::Relaxed)))
    }
}

/// Whichever of several ends first.
pub struct AnyOf<'a>(pub Vec<&'a dyn Budget>);

impl Budget for AnyOf<'_> {
    fn used(&self, rounds: u64) -> f64 {
        let used = self.0.iter().map(|budget| budget.used(rounds));
        used.fold(0.0, f64::max)
    }
}
