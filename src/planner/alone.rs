//! Each unit alone in an otherwise empty lab: can it be planned at all, and how early could it finish?
//!
//! "Never" in the rules means never even alone; and no plan lets a request finish earlier than its
//! slowest unit does alone, which is the first lower bound.

use super::construct::{Builder, Fixed, stage_ends};
use super::reach::RunRule;
use super::timeline::Timelines;
use crate::domain::Minute;
use crate::problem::{Left, Problem, RequestIx, UnitIx};
use std::sync::Arc;

/// What requests could do if nobody else were there.
#[derive(Clone, Debug)]
pub(super) struct Alone {
    /// Earliest finish of each request, `None` where none of its units has anything to do; or the step
    /// that has no place.
    finishes: Vec<Result<Option<Minute>, usize>>,
    /// Bookings that must stay where they are, by unit and step.
    pub(super) fixed: Arc<Vec<Vec<Fixed>>>,
}

impl Alone {
    /// Looks at every unit for itself.
    pub(super) fn look(problem: &Problem) -> Self {
        let pins: Vec<Vec<Fixed>> = problem.units.iter().map(Fixed::pins).collect();
        let pins = Arc::new(pins);
        let mut builder = Builder::alone(problem, Timelines::empty(problem), pins.clone());
        let requests = (0..problem.requests.len()).map(RequestIx::from);
        let finishes = requests
            .map(|request| builder.request_alone(request))
            .collect();
        let fixed = keep_frozen(problem, &pins);
        Self {
            finishes,
            fixed: Arc::new(fixed),
        }
    }

    /// True where every unit of the request has some valid place.
    pub(super) fn can_be_planned(&self, request: RequestIx) -> bool {
        self.finishes[request.ix()].is_ok()
    }

    /// Earliest finish of the request's slowest unit; `None` where it cannot be planned, or where
    /// nothing of it is left to plan.
    pub(super) fn finish(&self, request: RequestIx) -> Option<Minute> {
        self.finishes[request.ix()].ok().flatten()
    }

    /// The same for every request; when it is ready where that is not known.
    pub(super) fn least_finishes(&self, problem: &Problem) -> Vec<Minute> {
        let requests = problem.requests.iter().enumerate();
        let least = requests.map(|(ix, own)| self.finish(RequestIx::from(ix)).unwrap_or(own.ready));
        least.collect()
    }

    /// Requests that cannot be planned, with the step and the reason in words.
    pub(super) fn left(&self, problem: &Problem) -> Vec<Left> {
        // Beyond these few the plain words must do: looking into each takes a while.
        const LOOKED_INTO: usize = 8;
        let mut left: Vec<Left> = Vec::new();
        let mut looked_into = 0;
        for (ix, finish) in self.finishes.iter().enumerate() {
            let Err(step) = *finish else { continue };
            let request = RequestIx::from(ix);
            left.push(match &problem.requests[ix].impossible {
                Some((step, reason)) => Left {
                    request,
                    step: *step,
                    reason: reason.clone(),
                },
                None => Left {
                    request,
                    step,
                    reason: if looked_into < LOOKED_INTO {
                        looked_into += 1;
                        super::infeasible::alone(problem, request, step)
                    } else {
                        super::words::no_place(problem, request, step)
                    },
                },
            });
        }
        left
    }
}

/// What must stay, and every other booking of the plan in force as well: for repairing that plan. `None`
/// where no plan is in force.
pub(super) fn keep_published(problem: &Problem, alone: &Alone) -> Option<Arc<Vec<Vec<Fixed>>>> {
    if problem.units.iter().all(|unit| unit.published.is_empty()) {
        return None;
    }
    let of_unit = |(unit, must): (&crate::problem::Unit, &Vec<Fixed>)| {
        let ahead = Fixed::published(problem, unit).into_iter();
        let more = ahead.filter(|own| must.iter().all(|kept| kept.step != own.step));
        let mut all: Vec<Fixed> = must.iter().copied().chain(more).collect();
        all.sort_by_key(|own| own.step);
        all
    };
    Some(Arc::new(
        problem
            .units
            .iter()
            .zip(alone.fixed.iter())
            .map(of_unit)
            .collect(),
    ))
}

/// Pins, and the bookings of the plan in force within freeze of now that are still possible.
fn keep_frozen(problem: &Problem, pins: &[Vec<Fixed>]) -> Vec<Vec<Fixed>> {
    let mut fixed = pins.to_vec();
    for (ix, unit) in problem.units.iter().enumerate() {
        let frozen = Fixed::frozen(problem, unit);
        if frozen.is_empty() {
            continue;
        }
        let mut with_frozen = pins[ix].clone();
        with_frozen.extend(
            frozen
                .iter()
                .filter(|new| pins[ix].iter().all(|pin| pin.step != new.step)),
        );
        with_frozen.sort_by_key(|fixed| fixed.step);
        fixed[ix] = with_frozen;
    }
    let shared = Arc::new(fixed.clone());
    let mut builder = Builder::alone(problem, Timelines::empty(problem), shared);
    for ix in 0..problem.units.len() {
        let unit = UnitIx::from(ix);
        let is_pin = |own: &Fixed| pins[ix].iter().any(|pin| pin.step == own.step);
        // From the first booking on that has become impossible the others may move too.
        while let Some(last) = fixed[ix].iter().rev().find(|own| !is_pin(own)) {
            let last = last.step;
            let Err(step) = builder.unit_alone(unit) else {
                break;
            };
            fixed[ix].retain(|own| is_pin(own) || own.step < step.min(last));
            builder.fix(unit, &fixed[ix]);
        }
    }
    fixed
}

impl Builder<'_> {
    fn request_alone(&mut self, request: RequestIx) -> Result<Option<Minute>, usize> {
        let own = &self.problem.requests[request.ix()];
        if let Some((step, _)) = &own.impossible {
            return Err(*step);
        }
        let mut finish = None;
        let mut plain: Option<Option<Minute>> = None;
        for unit in self.problem.units_of(request) {
            let special = &self.problem.units[unit.ix()];
            let is_plain = special.facts.is_empty()
                && special.pins.is_empty()
                && special.wanted == own.steps.len();
            let out = match plain {
                Some(out) if is_plain => out,
                _ => self.unit_alone(unit)?,
            };
            if is_plain {
                plain = Some(out);
            }
            finish = finish.max(out);
        }
        Ok(finish)
    }

    /// When the unit comes out of its last step, `None` where it has none to do; or the step that has no
    /// place. Leaves nothing booked.
    fn unit_alone(&mut self, unit: UnitIx) -> Result<Option<Minute>, usize> {
        let own = &self.problem.units[unit.ix()];
        for fact in &own.facts {
            self.place_fact(fact);
        }
        let result = self.walk_alone(unit);
        let out = (0..own.wanted)
            .rev()
            .find_map(|step| self.lines.placed(unit, step));
        let out = out.map(|placed| placed.times.out);
        for step in 0..own.wanted.max(own.facts.len()) {
            self.lines.forget(unit, step);
        }
        self.forget_log();
        result.map(|()| out)
    }

    pub(super) fn walk_alone(&mut self, unit: UnitIx) -> Result<(), usize> {
        let request = self.problem.units[unit.ix()].request;
        for end in stage_ends(&self.problem.requests[request.ix()].steps) {
            for (_, steps) in self.chains_of(&[unit], end) {
                self.put_chain(unit, steps, RunRule::ANY)?;
            }
        }
        Ok(())
    }
}
