//! Work that takes longer than a key may wait: off the screen's thread, with news and a way to stop it.

use super::desk::{Planning, Proposal};
use super::forecast::{SAMPLES, THREADS, tell};
use super::remedies::{REMEDY_ROUNDS, remedies};
use super::sizing::{Wish, plan_leg, toml, words};
use super::state::Message;
use super::what_if::{Change, WhatIf};
use crate::clock::{Clock, SystemClock};
use crate::domain::{Facts, Lab, Minute, Minutes, RequestId};
use crate::floor::Published;
use crate::planner::Rounds;
use crate::planner::budget::{AnyOf, Cancel, Time};
use crate::usage::forecast::{Draws, History};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Sender;
use std::time::Duration;

/// How long the planner looks for better plans unless the user stops it earlier.
const LONGEST: Duration = Duration::from_secs(3);
/// Late requests whose reasons are followed back.
const MOST_REASONS: usize = 20;
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
        self.spawn(job, move |work| {
            let mut proposal = work.plan(&planning, LONGEST);
            proposal.why = planning.why_late(&proposal, MOST_REASONS);
            Message::Planned(job, Box::new(proposal))
        });
    }

    /// Plans the lab as it is and a changed one; the answer comes as a message with the job's number.
    pub fn what_if(
        &mut self,
        job: u64,
        planning: Planning,
        published: Option<Published>,
        changes: Vec<Change>,
    ) {
        self.spawn(job, move |work| {
            let mut plan = |planning: &Planning| work.plan(planning, LONGEST / 2);
            let answer = WhatIf::run(planning, published, changes, &mut plan);
            Message::Compared(job, answer.map(Box::new))
        });
    }

    /// Plans, follows a request back to what holds it up, and tries what would help; the answer comes as a
    /// message with the job's number.
    pub fn explain(&mut self, job: u64, planning: Planning, request: RequestId) {
        self.spawn(job, move |work| {
            let proposal = work.plan(&planning, LONGEST / 3);
            let mut lines = planning.why(&proposal, &request);
            let finish = proposal
                .plan
                .requests
                .iter()
                .find(|own| own.request == request);
            if finish.is_some_and(|own| own.late > Minutes::ZERO) {
                let mut news = |done, all| work.tried(done, all);
                let plan = &proposal.plan;
                let found = remedies(&planning, plan, &request, REMEDY_ROUNDS, &mut news);
                lines.extend(found.lines(&planning.lab().zone));
            }
            Message::Explained(job, lines)
        });
    }

    /// Repairs the plan in force and forecasts it; the answer comes as a message with the job's number.
    pub fn forecast(&mut self, job: u64, planning: Planning, history: History) {
        self.spawn(job, move |work| {
            let plan = planning.run(1, &Rounds(0), &mut |_| {}).plan;
            let draws = Draws {
                samples: SAMPLES,
                seed: 1,
                threads: THREADS,
            };
            let going = |done| work.drawn(done, SAMPLES);
            let told = tell(&planning, &plan, &history, draws, &going);
            Message::Foretold(job, told.map(Box::new))
        });
    }

    /// Runs work on a thread of its own; what ran before is stopped.
    fn spawn(&mut self, job: u64, run: impl FnOnce(&mut Work) -> Message + Send + 'static) {
        self.cancel.0.store(true, Ordering::Relaxed);
        self.cancel = Cancel::default();
        let sender = self.sender.clone();
        let mut work = Work {
            job,
            sender: sender.clone(),
            cancel: self.cancel.clone(),
            clock: SystemClock::default(),
            last: None,
        };
        std::thread::spawn(move || {
            let run = AssertUnwindSafe(|| run(&mut work));
            let message = catch_unwind(run).unwrap_or(Message::JobFailed(job));
            // Where nobody listens any more the program is ending.
            let _heard = sender.send(message);
        });
    }

    /// Sizes a leg; the answer comes as a message with the job's number.
    pub fn size(&mut self, job: u64, lab: Arc<Lab>, facts: Facts, now: Minute, wish: Wish) {
        self.spawn(job, move |_| {
            let answer = plan_leg(&lab, facts, now, &wish).map(|leg| {
                let mut lines = words(&leg, &wish, &lab);
                lines.extend(toml(&leg, &lab).lines().map(str::to_owned));
                lines
            });
            Message::Sized(job, answer.map_err(|why| why.to_string()))
        });
    }

    /// Stops the job; it answers with the best plan it has.
    pub fn stop(&self) {
        self.cancel.0.store(true, Ordering::Relaxed);
    }
}

/// A job at work.
struct Work {
    job: u64,
    sender: Sender<Message>,
    cancel: Cancel,
    clock: SystemClock,
    /// When news were sent last.
    last: Option<Duration>,
}

impl Work {
    /// Plans for so long, or until somebody says stop; news are sent on the way.
    fn plan(&mut self, planning: &Planning, longest: Duration) -> Proposal {
        let Self {
            job,
            sender,
            cancel,
            clock,
            last,
        } = self;
        let elapsed = || clock.elapsed();
        let time = Time {
            elapsed: &elapsed,
            from: elapsed(),
            length: longest,
        };
        let mut news = |progress| {
            let now = clock.elapsed();
            if last.is_none_or(|last| now.saturating_sub(last) >= NEWS) {
                *last = Some(now);
                let _heard = sender.send(Message::Progress(*job, progress));
            }
        };
        let budget = AnyOf(vec![&time, cancel]);
        let mut proposal = planning.run(1, &budget, &mut news);
        proposal.plan.milliseconds = u64::try_from(time.worked().as_millis()).unwrap_or(u64::MAX);
        proposal
    }

    /// So many of so many samples are drawn; false where somebody said stop.
    fn drawn(&self, done: usize, all: usize) -> bool {
        /// News come after so many samples.
        const EVERY: usize = 20;
        if done.is_multiple_of(EVERY) {
            let _heard = self.sender.send(Message::Drawn(self.job, done, all));
        }
        !self.cancel.0.load(Ordering::Relaxed)
    }

    /// So many of so many changes are tried; false where somebody said stop.
    fn tried(&mut self, done: usize, all: usize) -> bool {
        let now = self.clock.elapsed();
        if self
            .last
            .is_none_or(|last| now.saturating_sub(last) >= NEWS)
        {
            self.last = Some(now);
            let _heard = self.sender.send(Message::Tried(self.job, done, all));
        }
        !self.cancel.0.load(Ordering::Relaxed)
    }
}
