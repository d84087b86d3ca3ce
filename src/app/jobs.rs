//! Work that takes longer than a key may wait: off the screen's thread, with news and a way to stop it.

use super::desk::Planning;
use super::sizing::{Wish, plan_leg, toml, words};
use super::state::Message;
use crate::clock::{Clock, SystemClock};
use crate::domain::{Facts, Lab, Minute};
use crate::planner::budget::{AnyOf, Cancel, Time};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Sender;
use std::time::Duration;

/// How long the planner looks for better plans unless the user stops it earlier.
const LONGEST: Duration = Duration::from_secs(3);
/// News come no more often than this.
const NEWS: Duration = Duration::from_millis(250);

/// Starts jobs and stops them.
#[derive(Clone)]
pub struct Jobs {
    sender: Sender<Message>,
    cancel: Cancel,
}

impl Jobs {
    /// Jobs that send their messages there.
    pub fn new(sender: Sender<Message>) -> Self {
        Self {
            sender,
            cancel: Cancel::default(),
        }
    }

    /// Plans; the answer comes as a message with the job's number.
    pub fn plan(&mut self, job: u64, planning: Planning) {
        self.cancel.0.store(true, Ordering::Relaxed);
        self.cancel = Cancel::default();
        let (sender, mut cancel) = (self.sender.clone(), self.cancel.clone());
        std::thread::spawn(move || {
            let clock = SystemClock::default();
            let elapsed = || clock.elapsed();
            let mut time = Time {
                elapsed: &elapsed,
                until: LONGEST,
            };
            let mut last = None;
            let mut news = |progress| {
                let now = clock.elapsed();
                if last.is_none_or(|last| now.saturating_sub(last) >= NEWS) {
                    last = Some(now);
                    // Where nobody listens any more the program is ending.
                    let _heard = sender.send(Message::Progress(job, progress));
                }
            };
            let mut budget = AnyOf(vec![&mut time, &mut cancel]);
            let run = AssertUnwindSafe(|| planning.run(1, &mut budget, &mut news));
            let message = match catch_unwind(run) {
                Ok(mut proposal) => {
                    let worked = clock.elapsed().as_millis();
                    proposal.plan.milliseconds = u64::try_from(worked).unwrap_or(u64::MAX);
                    Message::Planned(job, Box::new(proposal))
                }
                Err(_) => Message::JobFailed(job),
            };
            let _heard = sender.send(message);
        });
    }

    /// Sizes a leg; the answer comes as a message with the job's number.
    pub fn size(&mut self, job: u64, lab: Arc<Lab>, facts: Facts, now: Minute, wish: Wish) {
        let sender = self.sender.clone();
        std::thread::spawn(move || {
            let run = AssertUnwindSafe(|| {
                let leg = plan_leg(&lab, facts, now, &wish).map_err(|why| why.to_string())?;
                let mut lines = words(&leg, &wish, &lab);
                lines.extend(toml(&leg, &lab).lines().map(str::to_owned));
                Ok(lines)
            });
            let message = match catch_unwind(run) {
                Ok(answer) => Message::Sized(job, answer),
                Err(_) => Message::JobFailed(job),
            };
            let _heard = sender.send(message);
        });
    }

    /// Stops the job; it answers with the best plan it has.
    pub fn stop(&self) {
        self.cancel.0.store(true, Ordering::Relaxed);
    }
}
