//! How long a command may plan: the options that every planning command has.

use super::{Exit, Failure};
use crate::app::desk::{Planning, Proposal};
use crate::clock::{Clock, SystemClock};
use crate::planner::Rounds;
use crate::planner::budget::Time;
use clap::Args;
use std::time::Duration;

/// How long to look for better plans.
#[derive(Args)]
pub(crate) struct Effort {
    /// How long to look for better plans; 0 is the first valid plan
    #[arg(long, value_name = "S", default_value_t = 2.0)]
    seconds: f64,
    /// Look for so many rounds instead: the same plan on any machine
    #[arg(long, value_name = "N")]
    rounds: Option<u64>,
    /// Where the search begins
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

impl Effort {
    /// Refuses a time that is none.
    pub(crate) fn check(&self) -> Result<(), Failure> {
        if self.seconds.is_finite() && (0.0..=86_400.0).contains(&self.seconds) {
            return Ok(());
        }
        let why = "--seconds: 0 to 86400 is allowed";
        Err(Failure::new(Exit::Usage, why))
    }

    /// Where the search begins.
    pub(crate) fn seed(&self) -> u64 {
        self.seed
    }

    /// Plans within this effort, from now on.
    pub(crate) fn plan(&self, planning: &Planning) -> Proposal {
        if let Some(rounds) = self.rounds {
            let mut proposal = planning.run(self.seed, &Rounds(rounds), &mut |_| {});
            // The file must be the same on any machine.
            proposal.plan.milliseconds = 0;
            return proposal;
        }
        // A clock that stands still measures nothing: the budget runs on the host's own.
        let clock = SystemClock::default();
        let elapsed = || clock.elapsed();
        let time = Time {
            elapsed: &elapsed,
            from: elapsed(),
            length: Duration::from_secs_f64(self.seconds),
        };
        let mut proposal = planning.run(self.seed, &time, &mut |_| {});
        proposal.plan.milliseconds = u64::try_from(time.worked().as_millis()).unwrap_or(u64::MAX);
        proposal
    }
}
