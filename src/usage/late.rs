//! Requests that the plan in force finishes late, and what holds them up.
//!
//! The planner follows each of them back from its last way out, reason by reason
//! ([`crate::planner::why`]); the last link of the chain is the cause. What the chains of all late requests
//! have in common is what holds the lab up.

use crate::domain::{Booking, CrewId, Minute, Minutes, RequestId, RigId};
use crate::floor::Floor;
use crate::planner::why::{Holder, held_up, late_chains, lines};
use crate::problem::{Plan, Problem};
use std::collections::BTreeMap;

/// A request that finishes late by the plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateRequest {
    /// The request.
    pub request: RequestId,
    /// When it finishes.
    pub finish: Minute,
    /// How late.
    pub late: Minutes,
    /// Why, from its last way out back to the cause, which is the last line; empty where nothing of it lies ahead.
    pub chain: Vec<String>,
}

impl LateRequest {
    /// The cause, in words.
    pub fn cause(&self) -> &str {
        self.chain
            .last()
            .map_or("what happened before", String::as_str)
    }
}

/// A rig or a crew.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// A rig.
    Rig(RigId),
    /// A crew.
    Crew(CrewId),
}

impl Who {
    /// Its name.
    pub fn name(&self) -> &str {
        match self {
            Self::Rig(rig) => rig.as_str(),
            Self::Crew(crew) => crew.as_str(),
        }
    }
}

/// What holds late requests up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeldUp {
    /// The rig whose places are taken, or the crew that is busy.
    pub who: Who,
    /// For how long, summed over their chains.
    pub minutes: Minutes,
    /// How many of them.
    pub requests: usize,
}

/// The requests that finish late by the plan in force, the latest first. Their chains are one line: the reason of
/// the booking that lies longest after the step before it; [`follow`] knows more.
pub fn late(floor: &Floor) -> Vec<LateRequest> {
    let Some(published) = &floor.now.published else {
        return Vec::new();
    };
    let late = published
        .finishes
        .iter()
        .filter(|own| own.late > Minutes::ZERO);
    let mut all: Vec<LateRequest> = late
        .map(|own| LateRequest {
            request: own.request.clone(),
            finish: own.finish,
            late: own.late,
            chain: longest_wait(&published.bookings, &own.request)
                .into_iter()
                .collect(),
        })
        .collect();
    all.sort_by_key(|own| (-own.late.get(), own.request.clone()));
    all
}

/// The reason of the booking that lies longest after the step before it came out.
fn longest_wait(bookings: &[Booking], request: &RequestId) -> Option<String> {
    let own: Vec<&Booking> = bookings
        .iter()
        .filter(|own| own.request == *request)
        .collect();
    let outs: BTreeMap<_, Minute> = own
        .iter()
        .map(|own| ((&own.unit, own.step), own.times.out))
        .collect();
    let wait = |booking: &&&Booking| {
        let before = outs.get(&(&booking.unit, booking.step.saturating_sub(1)));
        before.map_or(Minutes::ZERO, |out| booking.times.load - *out)
    };
    let longest = own.iter().max_by_key(wait)?;
    let (unit, step, rig) = (&longest.unit, longest.step, &longest.rig);
    Some(format!("{unit} step {step} on {rig}: {}", longest.because))
}

/// Follows late requests back to their causes, at most `most` of them, the latest first, and sums what holds
/// them up, what does so longest first. The plan is one that the checker accepts.
pub fn follow(
    problem: &Problem,
    plan: &Plan,
    most: usize,
) -> (BTreeMap<RequestId, Vec<String>>, Vec<HeldUp>) {
    let mut chains = BTreeMap::new();
    let mut held: BTreeMap<Who, HeldUp> = BTreeMap::new();
    for (request, chain) in late_chains(problem, plan, most) {
        let mut by_who: BTreeMap<Who, Minutes> = BTreeMap::new();
        for (holder, minutes) in held_up(problem, &chain) {
            if let Some(who) = who(problem, holder) {
                *by_who.entry(who).or_default() += minutes;
            }
        }
        for (who, minutes) in by_who {
            let own = held.entry(who.clone()).or_insert(HeldUp {
                who,
                minutes: Minutes::ZERO,
                requests: 0,
            });
            own.minutes += minutes;
            own.requests += 1;
        }
        chains.insert(
            problem.requests[request.ix()].id.clone(),
            lines(problem, &chain),
        );
    }
    let mut held: Vec<HeldUp> = held.into_values().collect();
    held.sort_by_key(|own| (-own.minutes.get(), own.who.clone()));
    (chains, held)
}

/// The rig or crew that is taken; none where it is the shifts that end.
fn who(problem: &Problem, holder: Holder) -> Option<Who> {
    Some(match holder {
        Holder::Rig(rig) => Who::Rig(problem.rigs[rig.ix()].id.clone()),
        Holder::Busy(crew) => Who::Crew(problem.crews[crew.ix()].id.clone()),
        Holder::Away(_) => return None,
    })
}
