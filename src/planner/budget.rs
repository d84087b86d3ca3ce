//! How long the planner may work: asked after every round.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Says when to stop.
pub trait Budget {
    /// True where no further round may begin after `rounds` of them.
    fn used_up(&mut self, rounds: u64) -> bool;
}

/// A number of rounds: the same work on any machine.
#[derive(Clone, Copy, Debug)]
pub struct Rounds(pub u64);

impl Budget for Rounds {
    fn used_up(&mut self, rounds: u64) -> bool {
        rounds >= self.0
    }
}

/// A time, measured by a clock that the caller hands in.
pub struct Time<'a> {
    /// Reads a monotonic clock.
    pub elapsed: &'a dyn Fn() -> Duration,
    /// Stop when it shows this.
    pub until: Duration,
}

impl Budget for Time<'_> {
    fn used_up(&mut self, _rounds: u64) -> bool {
        (self.elapsed)() >= self.until
    }
}

/// Until somebody says stop: the flag is shared with the screen.
#[derive(Clone, Debug, Default)]
pub struct Cancel(pub Arc<AtomicBool>);

impl Budget for Cancel {
    fn used_up(&mut self, _rounds: u64) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Whichever of several ends first.
pub struct AnyOf<'a>(pub Vec<&'a mut dyn Budget>);

impl Budget for AnyOf<'_> {
    fn used_up(&mut self, rounds: u64) -> bool {
        self.0.iter_mut().any(|budget| budget.used_up(rounds))
    }
}
