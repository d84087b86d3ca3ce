//! Planning: a proposal beside the plan in force, and what would change.

use super::{Desk, DeskError};
use crate::app::dates::Dates;
use crate::app::plan::hand::plan_visits;
use crate::app::what_if::{Change, WhatIf, apply_all};
use crate::checker::{Clash, check};
use crate::domain::event::Subject;
use crate::domain::lab::Pin;
use crate::domain::plan::Unplannable;
use crate::domain::{
    Booking, EventBody, Facts, Lab, Minute, Minutes, Plan, PlanId, RequestId, Seq, UnitId,
};
use crate::ledger::Outcome;
use crate::planner::why::{self, late_chains};
use crate::planner::{Budget, Progress, solve};
use crate::problem::{self, Figures, Problem, RequestIx, compile};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Everything a plan is made from, as plain data: can be sent to a thread.
#[derive(Clone, Debug)]
pub struct Planning {
    lab: Arc<Lab>,
    facts: Facts,
    now: Minute,
    seen: Seq,
}

/// A checked plan that is not in force yet, beside the one that is.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The plan.
    pub plan: Plan,
    /// Every way in which it differs from the plan in force.
    pub changes: Vec<PlanChange>,
    /// Clashes that the checker found; the planner's own plans have none.
    pub clashes: Vec<Clash>,
    /// The last event that the plan knows of.
    pub seen: Seq,
    /// Rounds the planner worked.
    pub rounds: u64,
    /// Why requests are late, where somebody asked: [`Planning::why_late`].
    pub why: Vec<(RequestId, Vec<String>)>,
}

/// How a booking differs from the plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanChange {
    /// What kind of difference.
    pub kind: ChangeKind,
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// The booking in force, if any.
    pub before: Option<Booking>,
    /// The booking proposed, if any.
    pub after: Option<Booking>,
}

/// Kinds of difference between two plans.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChangeKind {
    /// No longer booked.
    Dropped,
    /// On another rig, whatever the time.
    Moved,
    /// Same rig, later.
    Later,
    /// Same rig, earlier.
    Earlier,
    /// Booked for the first time.
    New,
}

impl ChangeKind {
    /// Every kind, what hurts most first.
    pub const ALL: [Self; 5] = [
        Self::Dropped,
        Self::Moved,
        Self::Later,
        Self::Earlier,
        Self::New,
    ];

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Dropped => "dropped",
            Self::Moved => "moved",
            Self::Later => "later",
            Self::Earlier => "earlier",
            Self::New => "new",
        }
    }
}

impl PlanChange {
    /// By how much its load moves; negative is earlier, zero where there is only one booking.
    pub fn shift(&self) -> Minutes {
        match (&self.before, &self.after) {
            (Some(before), Some(after)) => after.times.load - before.times.load,
            _ => Minutes::ZERO,
        }
    }
}

impl Planning {
    /// Of a lab with its facts, from `now`.
    pub fn new(lab: Arc<Lab>, facts: Facts, now: Minute) -> Self {
        Self {
            lab,
            facts,
            now,
            seen: Seq(0),
        }
    }

    /// The lab.
    pub fn lab(&self) -> &Lab {
        &self.lab
    }

    /// What has happened, and the plan in force.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// When it is planned from.
    pub fn now(&self) -> Minute {
        self.now
    }

    /// The same with changes to the lab made; nothing else of it changes.
    ///
    /// # Errors
    /// The first change that cannot be made, and why.
    pub fn with_changes(&self, changes: &[Change]) -> Result<Self, String> {
        let mut changed = self.clone();
        let mut lab = (*self.lab).clone();
        apply_all(changes, &mut lab, &mut changed.facts, self.now)?;
        changed.lab = Arc::new(lab);
        Ok(changed)
    }

    /// The same with `plan` as the one to begin from. What is published within the freeze time stays so; of
    /// the rest the plan says where to begin.
    #[must_use]
    pub fn starting_from(&self, plan: &Plan) -> Self {
        let frozen_before = self.now + self.lab.freeze;
        let frozen = |own: &&Booking| own.times.load < frozen_before;
        let mut start = self.clone();
        let kept = self.facts.published.iter().filter(frozen);
        let ahead = plan.bookings.iter().filter(|own| !frozen(own));
        start.facts.published = kept.chain(ahead).cloned().collect();
        start
    }

    /// Without the requests that are in neither plan, the one in force or `bookings`, and have not begun: nobody
    /// has planned them yet, so no rule is broken by that.
    #[must_use]
    pub fn planned_so_far(&self, bookings: &[Booking], left: &[Unplannable]) -> Self {
        let facts = &self.facts;
        let booked = facts.published.iter().chain(bookings).map(|own| &own.unit);
        let begun = facts.visits.iter().map(|own| &own.unit);
        let stopped = facts.stops.iter().map(|own| &own.unit);
        let known: BTreeSet<&UnitId> = booked.chain(begun).chain(stopped).collect();
        let mut lab = (*self.lab).clone();
        lab.requests.retain(|own| {
            own.units.iter().any(|unit| known.contains(unit))
                || left.iter().any(|left| left.request == own.id)
        });
        let units: BTreeSet<&UnitId> = lab.requests.iter().flat_map(|own| &own.units).collect();
        lab.pins.retain(|own| units.contains(&own.unit));
        Self {
            lab: Arc::new(lab),
            ..self.clone()
        }
    }

    /// The compiled problem.
    pub fn problem(&self) -> Problem {
        compile(&self.lab, &self.facts, self.now)
    }

    /// Puts bookings of the user's own in their place; what the lab has pinned stays where the lab says.
    #[must_use]
    pub fn with_pins(mut self, pins: &[Pin]) -> Self {
        let mut lab = (*self.lab).clone();
        let pinned: BTreeSet<(UnitId, u32)> = lab
            .pins
            .iter()
            .map(|own| (own.unit.clone(), own.step))
            .collect();
        let free = |own: &&Pin| !pinned.contains(&(own.unit.clone(), own.step));
        lab.pins.extend(pins.iter().filter(free).cloned());
        self.lab = Arc::new(lab);
        self
    }

    /// Why requests of a plan of this lab are late, in lines, the latest first, for `most` of them; nothing
    /// where the plan has clashes.
    pub fn why_late(&self, proposal: &Proposal, most: usize) -> Vec<(RequestId, Vec<String>)> {
        let late = |own: &crate::domain::plan::Finish| own.late > Minutes::ZERO;
        if !proposal.clashes.is_empty() || !proposal.plan.requests.iter().any(late) {
            return Vec::new();
        }
        let problem = self.problem();
        let (visits, _) = problem.resolve(&proposal.plan.bookings);
        let (left, _) = problem.resolve_left(&proposal.plan.unplannable);
        let chains = late_chains(&problem, &problem::Plan { visits, left }, most);
        let words = |(ix, chain): (RequestIx, Vec<why::Link>)| {
            (
                problem.requests[ix.ix()].id.clone(),
                why::lines(&problem, &chain),
            )
        };
        chains.into_iter().map(words).collect()
    }

    /// Why one request of a plan of this lab finishes when it does, in lines.
    pub fn why(&self, proposal: &Proposal, request: &RequestId) -> Vec<String> {
        let problem = self.problem();
        if let Some(own) = proposal
            .plan
            .unplannable
            .iter()
            .find(|own| own.request == *request)
        {
            return vec![format!(
                "{request} is left out, step {}: {}",
                own.step, own.reason
            )];
        }
        let found = problem.requests.iter().position(|own| own.id == *request);
        let Some(ix) = found.filter(|_| proposal.clashes.is_empty()) else {
            return Vec::new();
        };
        let (visits, _) = problem.resolve(&proposal.plan.bookings);
        let left = Vec::new();
        let chain = why::chain(
            &problem,
            &problem::Plan { visits, left },
            RequestIx::from(ix),
        );
        let finish = proposal
            .plan
            .requests
            .iter()
            .find(|own| own.request == *request);
        let head = finish.map(|own| {
            let late = match own.late {
                Minutes::ZERO => "not late".to_owned(),
                late => format!("late by {late}"),
            };
            let at = Dates::default().short(self.lab.zone.local(own.finish));
            format!("{request} finishes {at}, {late}")
        });
        head.into_iter()
            .chain(why::lines(&problem, &chain))
            .collect()
    }

    /// A plan that somebody put together, judged and compared like the planner's own: what has happened counts
    /// as it happened.
    pub fn judge(&self, bookings: &[Booking], left: &[Unplannable]) -> Proposal {
        let problem = self.problem();
        let (left, _) = problem.resolve_left(left);
        let visits = plan_visits(&problem, bookings);
        let own = problem::Plan { visits, left };
        let clashes = check(&problem, &own);
        let reasons: BTreeMap<(&UnitId, u32), &str> = bookings
            .iter()
            .map(|own| ((&own.unit, own.step), own.because.as_str()))
            .collect();
        let because = |visit: &problem::Visit| {
            let unit = &problem.units[visit.unit.ix()].id;
            let step = u32::try_from(visit.step + 1).unwrap_or(u32::MAX);
            let reason = reasons.get(&(unit, step)).copied();
            reason.unwrap_or_default().to_owned()
        };
        let because: Vec<String> = own.visits.iter().map(because).collect();
        let figures = Figures {
            bound: None,
            milliseconds: 0,
            seed: 0,
        };
        let plan = problem.plan_in_words(&own, &because, &figures);
        Proposal {
            changes: changes(&self.facts.published, &plan.bookings, self.now),
            plan,
            clashes,
            seen: self.seen,
            rounds: 0,
            why: Vec::new(),
        }
    }

    /// Plans within the budget, checks the plan, and compares it with the one in force.
    pub fn run(
        &self,
        seed: u64,
        budget: &dyn Budget,
        progress: &mut dyn FnMut(Progress),
    ) -> Proposal {
        let problem = self.problem();
        let solved = solve(&problem, seed, budget, progress);
        let clashes = check(&problem, &solved.plan);
        let figures = Figures {
            bound: Some(solved.bound),
            milliseconds: 0,
            seed,
        };
        let plan = problem.plan_in_words(&solved.plan, &solved.because, &figures);
        let changes = changes(&self.facts.published, &plan.bookings, self.now);
        Proposal {
            plan,
            changes,
            clashes,
            seen: self.seen,
            rounds: solved.rounds,
            why: Vec::new(),
        }
    }
}

/// How the bookings `after` differ from those `before`, among those that load at `now` or later; what
/// hurts most first.
pub fn changes(before: &[Booking], after: &[Booking], now: Minute) -> Vec<PlanChange> {
    let ahead = |booking: &&Booking| booking.times.load >= now;
    // What should have loaded by now and has not is put off, not new.
    let old: BTreeMap<(&UnitId, u32), &Booking> = before
        .iter()
        .map(|own| ((&own.unit, own.step), own))
        .collect();
    let new: BTreeMap<(&UnitId, u32), &Booking> = after
        .iter()
        .filter(ahead)
        .map(|own| ((&own.unit, own.step), own))
        .collect();
    let change =
        |kind, own: &Booking, before: Option<&Booking>, after: Option<&Booking>| PlanChange {
            kind,
            unit: own.unit.clone(),
            step: own.step,
            before: before.cloned(),
            after: after.cloned(),
        };
    let mut all = Vec::new();
    for (key, was) in &old {
        let Some(is) = new.get(key) else {
            if ahead(was) {
                all.push(change(ChangeKind::Dropped, was, Some(was), None));
            }
            continue;
        };
        let kind = if was.rig != is.rig {
            ChangeKind::Moved
        } else if is.times.load > was.times.load {
            ChangeKind::Later
        } else if is.times.load < was.times.load {
            ChangeKind::Earlier
        } else {
            continue;
        };
        all.push(change(kind, was, Some(was), Some(is)));
    }
    let fresh = new.iter().filter(|(key, _)| !old.contains_key(*key));
    all.extend(fresh.map(|(_, own)| change(ChangeKind::New, own, None, Some(own))));
    all.sort_by_key(|own| {
        (
            own.kind,
            -own.shift().get().abs(),
            own.unit.clone(),
            own.step,
        )
    });
    all
}

impl Desk {
    /// What planning from now needs; requests of the folder that were not taken in yet are planned too.
    pub fn planning(&self) -> Planning {
        let now = self.now();
        let facts = self.floor.facts(&self.lab, &self.walks, now);
        Planning {
            lab: self.lab.clone(),
            facts,
            now,
            seen: self.floor.seen(),
        }
    }

    /// Puts the plan of a what-if in force: refused where the lab as it is does not allow it.
    pub fn publish_what_if(&mut self, what_if: &WhatIf) -> Result<Outcome, DeskError> {
        match what_if.as_it_is() {
            Ok(proposal) => self.publish(&proposal),
            Err(why) => Ok(Outcome::Refused { why }),
        }
    }

    /// Puts a proposal in force. Refused where it has clashes, or where things changed since it was made.
    pub fn publish(&mut self, proposal: &Proposal) -> Result<Outcome, DeskError> {
        if let Some(clash) = proposal.clashes.first() {
            let why = match proposal.clashes.len() {
                1 => format!("the plan breaks a rule: {}", clash.words()),
                count => format!("the plan has {count} clashes, the first: {}", clash.words()),
            };
            return Ok(Outcome::Refused { why });
        }
        self.refresh()?;
        let mut first = None;
        self.each_after(proposal.seen, |event| {
            if first.is_none() && !matches!(event.body, EventBody::Note { .. }) {
                first = Some(event.clone());
            }
        })?;
        if let Some(by) = first.map(Box::new) {
            return Ok(Outcome::Conflict { by });
        }
        if let Err(outcome) = self.take_in()? {
            return Ok(outcome);
        }
        let id = PlanId::new(&format!("P{}", self.floor.seen().0 + 1));
        let bodies = EventBody::publish(&id, &proposal.plan, self.now());
        self.deed(format!("plan {id} put in force"), Subject::Lab, bodies)
    }
}
