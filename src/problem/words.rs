//! From names to indexes and back: the only crossing between a plan of the lab and a plan in indexes.

use super::{Left, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit};
use crate::domain::plan::{self, Booking, Finish};
use crate::domain::{RequestId, RigId, UnitId};
use std::collections::HashMap;

/// A booking that does not fit the lab: unknown unit, step or rig, or two places at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unresolved {
    /// The booking.
    pub booking: Booking,
    /// What does not fit, in words.
    pub why: String,
}

/// What a plan in words says beside its bookings.
#[derive(Clone, Debug)]
pub struct Figures {
    /// The proven bound, where there is one.
    pub bound: Option<i64>,
    /// How long the planner worked.
    pub milliseconds: u64,
    /// Its seed.
    pub seed: u64,
}

impl Problem {
    /// Turns bookings into visits, sorted as a plan's are; what does not fit is returned beside them.
    pub fn resolve(&self, bookings: &[Booking]) -> (Vec<Visit>, Vec<Unresolved>) {
        let names = Names::new(self);
        let (mut visits, mut unresolved) = (Vec::with_capacity(bookings.len()), Vec::new());
        for booking in bookings {
            match names.visit(self, booking) {
                Ok(visit) => visits.push(visit),
                Err(why) => unresolved.push(Unresolved {
                    booking: booking.clone(),
                    why,
                }),
            }
        }
        visits.sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
        (visits, unresolved)
    }

    /// Turns requests that were left out into indexes; unknown ones are named.
    pub fn resolve_left(&self, left: &[plan::Unplannable]) -> (Vec<Left>, Vec<RequestId>) {
        let names = Names::new(self);
        let (mut known, mut unknown) = (Vec::new(), Vec::new());
        for own in left {
            match names.requests.get(&own.request) {
                Some(request) => known.push(Left {
                    request: *request,
                    step: own.step.saturating_sub(1) as usize,
                    reason: own.reason.clone(),
                }),
                None => unknown.push(own.request.clone()),
            }
        }
        known.sort_by_key(|left| left.request);
        (known, unknown)
    }

    /// Turns visits into bookings, in their order; `because` gives the reason of each in words.
    pub fn words(&self, visits: &[Visit], because: &[String]) -> Vec<Booking> {
        let because = because
            .iter()
            .map(String::as_str)
            .chain(std::iter::repeat(""));
        visits
            .iter()
            .zip(because)
            .map(|(visit, why)| self.booking(visit, why))
            .collect()
    }

    /// The whole plan in the words of the lab.
    pub fn plan_in_words(&self, plan: &Plan, because: &[String], figures: &Figures) -> plan::Plan {
        let finishes = plan.finishes(self).into_iter().enumerate();
        let finish = |(ix, finish): (usize, Option<crate::domain::Minute>)| {
            let request = &self.requests[ix];
            let is_left = plan.left.iter().any(|left| left.request.ix() == ix);
            let finish = finish.filter(|_| !is_left)?;
            Some(Finish {
                request: request.id.clone(),
                finish,
                late: Plan::late(self, RequestIx::from(ix), finish),
                flow: finish - request.ready,
            })
        };
        let unplannable = plan.left.iter().map(|left| plan::Unplannable {
            request: self.requests[left.request.ix()].id.clone(),
            step: u32::try_from(left.step + 1).unwrap_or(u32::MAX),
            reason: left.reason.clone(),
        });
        plan::Plan {
            lab: self.lab.clone(),
            now: self.now,
            cost: plan.cost(self),
            bound: figures.bound,
            milliseconds: figures.milliseconds,
            seed: figures.seed,
            bookings: self.words(&plan.visits, because),
            requests: finishes.filter_map(finish).collect(),
            unplannable: unplannable.collect(),
        }
    }

    fn booking(&self, visit: &Visit, because: &str) -> Booking {
        let request = self.request_of(visit.unit);
        let (position, run) = match visit.place {
            Place::Position(position) => (Some(position), None),
            Place::Run(run) => (None, Some(run)),
            Place::Held => (None, None),
        };
        Booking {
            request: request.id.clone(),
            unit: self.units[visit.unit.ix()].id.clone(),
            step: u32::try_from(visit.step + 1).unwrap_or(u32::MAX),
            method: self.condition(&request.steps[visit.step]).method.clone(),
            rig: self.rigs[visit.rig.ix()].id.clone(),
            position,
            run,
            times: visit.times,
            because: because.to_owned(),
        }
    }
}

/// Indexes by name.
struct Names<'p> {
    units: HashMap<&'p UnitId, UnitIx>,
    rigs: HashMap<&'p RigId, RigIx>,
    requests: HashMap<&'p RequestId, RequestIx>,
}

impl<'p> Names<'p> {
    fn new(problem: &'p Problem) -> Self {
        let units = problem.units.iter().enumerate();
        let rigs = problem.rigs.iter().enumerate();
        let requests = problem.requests.iter().enumerate();
        Self {
            units: units
                .map(|(ix, unit)| (&unit.id, UnitIx::from(ix)))
                .collect(),
            rigs: rigs.map(|(ix, rig)| (&rig.id, RigIx::from(ix))).collect(),
            requests: requests
                .map(|(ix, own)| (&own.id, RequestIx::from(ix)))
                .collect(),
        }
    }

    fn visit(&self, problem: &Problem, booking: &Booking) -> Result<Visit, String> {
        let unit = *self
            .units
            .get(&booking.unit)
            .ok_or("the lab has no such unit")?;
        let request = problem.request_of(unit);
        if request.id != booking.request {
            return Err(format!(
                "the unit belongs to {}, not to {}",
                request.id, booking.request
            ));
        }
        let step = (booking.step as usize)
            .checked_sub(1)
            .filter(|ix| *ix < request.steps.len());
        let step = step.ok_or_else(|| format!("its steps are 1 to {}", request.steps.len()))?;
        let method = &problem.condition(&request.steps[step]).method;
        if *method != booking.method {
            return Err(format!(
                "the method of that step is {method}, not {}",
                booking.method
            ));
        }
        let rig = *self
            .rigs
            .get(&booking.rig)
            .ok_or_else(|| format!("the lab has no rig {}", booking.rig))?;
        // A place that the rig's loading does not have is the checker's business.
        let place = match (booking.position, booking.run) {
            (Some(position), None) => Place::Position(position),
            (None, Some(run)) => Place::Run(run),
            (None, None) => Place::Held,
            (Some(_), Some(_)) => return Err("it has a position and a run".to_owned()),
        };
        Ok(Visit {
            unit,
            step,
            rig,
            place,
            times: booking.times,
        })
    }
}
