//! What a coordinator has in hand: one booking, or a whole run, that is being moved.
//!
//! Nothing is decided here: every place that it is moved to is judged by the checker, with what is in hand taken
//! as the user's own wish, and the finishes are those of the bookings as they stand. Where steps after it would
//! have to follow, they are moved on by no more than order and rests ask, so that a finish told is the earliest
//! there can be.

use super::draft::StepKey;
use crate::app::desk::Planning;
use crate::checker::{Clash, check};
use crate::domain::lab::Loading;
use crate::domain::plan::{Times, Unplannable};
use crate::domain::{Booking, Minute, Minutes, RequestId, RigId, Span, UnitId};
use crate::problem::{CondIx, Pin, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit};

/// The longest that anything is let wait in its rig for somebody to unload it.
const LONGEST_WAIT: Minutes = Minutes::new(14 * 1440);

/// Bookings in hand, and everything that stays where it is.
#[derive(Clone, Debug)]
pub struct Hand {
    problem: Problem,
    left: Vec<crate::problem::Left>,
    others: Vec<Visit>,
    held: Vec<Visit>,
    origin: Vec<Visit>,
    /// How long it waits in the rig after its exposure, where somebody said so.
    wait: Option<Minutes>,
    /// When requests finish by the plan in force, and what that costs.
    before: (Vec<Option<Minute>>, i64),
    /// Rules that are broken as it stands.
    pub clashes: Vec<Clash>,
    /// Requests that finish at another time than by the plan in force.
    pub effects: Vec<Effect>,
    /// What the plan costs more than the one in force, at least.
    pub cost: i64,
}

/// A request that finishes at another time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Effect {
    /// The request.
    pub request: RequestId,
    /// When it finishes by the plan in force, if it is in it.
    pub before: Option<Minute>,
    /// When it finishes now.
    pub after: Minute,
    /// How late that is.
    pub late: Minutes,
    /// Later steps overlap what is in hand and would have to follow: it finishes then at the earliest.
    pub follow: bool,
}

/// The plan in which something is lifted.
pub struct Table<'a> {
    /// The lab at work, with what was put in place by hand before as pins.
    pub planning: &'a Planning,
    /// Every booking of the plan as it stands.
    pub bookings: &'a [Booking],
    /// The bookings in force.
    pub published: &'a [Booking],
    /// Requests that are left out.
    pub left: &'a [Unplannable],
}

impl Hand {
    /// Lifts the bookings of these steps.
    ///
    /// # Errors
    /// Why they cannot be moved, in words.
    pub fn lift(table: &Table<'_>, keys: &[StepKey]) -> Result<Self, String> {
        let problem = table.planning.problem();
        let (left, _) = problem.resolve_left(table.left);
        let visits = plan_visits(&problem, table.bookings);
        let is_held = |visit: &Visit| {
            let unit = &problem.units[visit.unit.ix()].id;
            let step = u32::try_from(visit.step + 1).unwrap_or(u32::MAX);
            keys.iter().any(|key| key.0 == *unit && key.1 == step)
        };
        let (held, others): (Vec<Visit>, Vec<Visit>) = visits.into_iter().partition(is_held);
        let started = |visit: &Visit| visit.step < problem.units[visit.unit.ix()].facts.len();
        if held.is_empty() || held.iter().any(started) {
            return Err("it has started: what has happened stays where it was".to_owned());
        }
        let force = Plan {
            visits: plan_visits(&problem, table.published),
            left: left.clone(),
        };
        let before = (force.finishes(&problem), force.cost(&problem));
        let mut hand = Self {
            left,
            others,
            origin: held.clone(),
            held,
            wait: None,
            before,
            clashes: Vec::new(),
            effects: Vec::new(),
            cost: 0,
            problem,
        };
        hand.judge();
        Ok(hand)
    }

    /// A booking of a step on a rig from `load` on: as [`Hand::lift`] would seat it there.
    pub fn seated(
        table: &Table<'_>,
        unit: &UnitId,
        step: u32,
        rig: &RigId,
        load: Minute,
    ) -> Option<Booking> {
        let problem = table.planning.problem();
        let find = |id: &UnitId| problem.units.iter().position(|own| own.id == *id);
        let unit = UnitIx::from(find(unit)?);
        let rig = RigIx::from(problem.rigs.iter().position(|own| own.id == *rig)?);
        let step = step.checked_sub(1)? as usize;
        let others = plan_visits(&problem, table.bookings)
            .into_iter()
            .filter(|visit| (visit.unit, visit.step) != (unit, step))
            .collect();
        let times = times_on(&problem, unit, step, rig, load, None)?;
        let visit = Visit {
            unit,
            step,
            rig,
            place: Place::Held,
            times,
        };
        let mut hand = Self {
            left: Vec::new(),
            others,
            held: vec![visit],
            origin: vec![visit],
            wait: None,
            before: (Vec::new(), 0),
            clashes: Vec::new(),
            effects: Vec::new(),
            cost: 0,
            problem,
        };
        hand.sit(rig, load, Minutes::ZERO);
        hand.bookings().into_iter().next()
    }

    /// The problem in which it is judged.
    pub(super) fn problem(&self) -> &Problem {
        &self.problem
    }

    /// The rig that it stands on.
    pub fn rig(&self) -> &RigId {
        &self.problem.rigs[self.held[0].rig.ix()].id
    }

    /// Its times; those of the first where several are in hand.
    pub fn times(&self) -> Times {
        self.held[0].times
    }

    /// Where it was when it was lifted.
    pub fn was(&self) -> (&RigId, Minute) {
        let visit = &self.origin[0];
        (&self.problem.rigs[visit.rig.ix()].id, visit.times.load)
    }

    /// Units and steps in hand, from 1.
    pub fn keys(&self) -> Vec<StepKey> {
        let key = |visit: &Visit| {
            let unit = self.problem.units[visit.unit.ix()].id.clone();
            (unit, u32::try_from(visit.step + 1).unwrap_or(u32::MAX))
        };
        self.held.iter().map(key).collect()
    }

    /// What is in hand as bookings.
    pub fn bookings(&self) -> Vec<Booking> {
        let because = vec!["placed by hand".to_owned(); self.held.len()];
        self.problem.words(&self.held, &because)
    }

    /// True where it stands where it was lifted from.
    pub fn unmoved(&self) -> bool {
        self.held == self.origin
    }

    /// How long it waits in the rig after its exposure, and the longest that its method allows.
    pub fn waits(&self) -> (Minutes, Minutes) {
        let visit = &self.held[0];
        let step = self.problem.step(visit.unit, visit.step);
        let most = self.problem.condition(step).max_wait;
        (visit.times.unload - visit.times.end, most)
    }

    /// Rigs that can take all that is in hand, in the order of the lab.
    pub fn rigs(&self) -> Vec<&RigId> {
        let all = self.takers();
        all.into_iter()
            .map(|rig| &self.problem.rigs[rig.ix()].id)
            .collect()
    }

    fn takers(&self) -> Vec<RigIx> {
        let first = self.problem.step(self.held[0].unit, self.held[0].step);
        let can = |rig: &RigIx| {
            let own = &self.problem.rigs[rig.ix()];
            let fits = |visit: &Visit| {
                let step = self.problem.step(visit.unit, visit.step);
                self.problem.exposure(step, *rig).is_some()
            };
            self.held.len() <= own.positions as usize && self.held.iter().all(fits)
        };
        let rigs = self.problem.rigs_for(first).iter().map(|(rig, _)| *rig);
        rigs.filter(can).collect()
    }

    /// Moves it in time. On a rig that is loaded together it joins a run of the same condition that begins within
    /// `by` of where it would come.
    pub fn shift(&mut self, by: Minutes) {
        let visit = self.held[0];
        let near = Minutes::new(by.get().abs() / 2);
        self.sit(visit.rig, visit.times.load + by, near);
        self.judge();
    }

    /// Puts it on the next rig that can take it, or the one before; false where there is none.
    pub fn turn(&mut self, on: bool) -> bool {
        let rigs = self.takers();
        let visit = self.held[0];
        let at = rigs.iter().position(|rig| *rig == visit.rig);
        let next = match (at, on) {
            (Some(at), true) => at.checked_add(1),
            (Some(at), false) => at.checked_sub(1),
            (None, _) => Some(0),
        };
        let Some(rig) = next.and_then(|at| rigs.get(at)) else {
            return false;
        };
        self.sit(*rig, visit.times.load, Minutes::ZERO);
        self.judge();
        true
    }

    /// Puts it on a rig at a time; false where the rig cannot take it.
    pub fn put(&mut self, rig: &RigId, load: Minute, near: Minutes) -> bool {
        let takers = self.takers();
        let found = takers
            .into_iter()
            .find(|own| self.problem.rigs[own.ix()].id == *rig);
        let Some(found) = found else {
            return false;
        };
        self.sit(found, load, near);
        self.judge();
        true
    }

    /// Lets it wait in its rig longer or shorter before it is unloaded; false where its method does not allow it.
    pub fn stretch(&mut self, by: Minutes) -> bool {
        let (waits, most) = self.waits();
        let wait = (waits + by).clamp(Minutes::ZERO, most.min(LONGEST_WAIT));
        if wait == waits {
            return false;
        }
        self.wait = Some(wait);
        let visit = self.held[0];
        self.sit(visit.rig, visit.times.load, Minutes::ZERO);
        self.judge();
        true
    }

    /// Seats everything in hand on a rig that can take it.
    fn sit(&mut self, rig: RigIx, load: Minute, near: Minutes) {
        let joined = self.run_near(rig, load, near);
        let free = self.free_run(rig);
        for at in 0..self.held.len() {
            let visit = self.held[at];
            let (place, times) = match joined {
                Some((place, times)) => (place, Some(times)),
                None => (
                    Place::Run(free),
                    times_on(&self.problem, visit.unit, visit.step, rig, load, self.wait),
                ),
            };
            let Some(times) = times else {
                continue;
            };
            let place = match self.problem.rigs[rig.ix()].loading {
                Loading::Each => self.position(rig, &visit, times.stay(), at),
                Loading::Together => place,
                Loading::Held => Place::Held,
            };
            self.held[at] = Visit {
                rig,
                place,
                times,
                ..visit
            };
        }
    }

    /// A run of the same condition that begins about then, has not started and has room.
    fn run_near(&self, rig: RigIx, load: Minute, near: Minutes) -> Option<(Place, Times)> {
        let own = &self.problem.rigs[rig.ix()];
        if own.loading != Loading::Together {
            return None;
        }
        let condition = self.condition(&self.held[0]);
        let alike = |visit: &&Visit| {
            visit.rig == rig
                && !self.started(visit)
                && self.condition(visit) == condition
                && (visit.times.load - load).get().abs() <= near.get()
        };
        let room = |visit: &&Visit| {
            let same = self
                .others
                .iter()
                .filter(|own| (own.rig, own.place) == (visit.rig, visit.place));
            same.count() + self.held.len() <= own.positions as usize
        };
        let found = self.others.iter().filter(alike).filter(room);
        let nearest = found.min_by_key(|visit| (visit.times.load - load).get().abs());
        nearest.map(|visit| (visit.place, visit.times))
    }

    /// A number that no other run of the rig has.
    fn free_run(&self, rig: RigIx) -> u32 {
        let run = |visit: &Visit| match visit.place {
            Place::Run(run) if visit.rig == rig => Some(run),
            _ => None,
        };
        self.others.iter().filter_map(run).max().unwrap_or(0) + 1
    }

    /// The first position that is free for the stay; the first of all where none is.
    fn position(&self, rig: RigIx, visit: &Visit, stay: Span, seated: usize) -> Place {
        let own = &self.problem.rigs[rig.ix()];
        let fixture = |visit: &Visit| self.problem.step(visit.unit, visit.step).fixture;
        let taken = |position: &u32| {
            let beside = self.others.iter().chain(&self.held[..seated]);
            beside
                .filter(|other| (other.rig, other.place) == (rig, Place::Position(*position)))
                .any(|other| {
                    let pad = if fixture(other) == fixture(visit) {
                        Minutes::ZERO
                    } else {
                        own.changeover
                    };
                    let stays = other.times.stay();
                    Span::new(stays.start - pad, stays.end + pad).overlaps(stay)
                })
        };
        let free = (1..=own.positions).find(|position| !taken(position));
        Place::Position(free.unwrap_or(1))
    }

    fn started(&self, visit: &Visit) -> bool {
        visit.step < self.problem.units[visit.unit.ix()].facts.len()
    }

    fn condition(&self, visit: &Visit) -> CondIx {
        self.problem.step(visit.unit, visit.step).condition
    }

    /// Asks the checker, and works out the finishes.
    fn judge(&mut self) {
        for visit in &self.held {
            let pins = &mut self.problem.units[visit.unit.ix()].pins;
            pins.retain(|own| own.step != visit.step);
            pins.push(Pin {
                step: visit.step,
                rig: visit.rig,
                load: visit.times.load,
            });
            pins.sort_by_key(|own| own.step);
        }
        let mut visits: Vec<Visit> = self.others.iter().chain(&self.held).copied().collect();
        visits.sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
        let plan = Plan {
            visits,
            left: self.left.clone(),
        };
        let about_a_visit = |clash: &Clash| clash.unit.is_some() && clash.step.is_some();
        self.clashes = check(&self.problem, &plan)
            .into_iter()
            .filter(about_a_visit)
            .collect();
        self.effects(&plan);
    }

    fn effects(&mut self, plan: &Plan) {
        let mut finishes = plan.finishes(&self.problem);
        let mut follow = vec![false; finishes.len()];
        for visit in &self.held {
            let request = self.problem.units[visit.unit.ix()].request.ix();
            let out = self.followed(plan, visit);
            if finishes[request].is_some_and(|finish| out > finish) {
                finishes[request] = Some(out);
                follow[request] = true;
            }
        }
        self.cost = -self.before.1;
        self.effects.clear();
        for (ix, finish) in finishes.iter().enumerate() {
            let request = RequestIx::from(ix);
            let Some(after) = *finish else { continue };
            if self.left.iter().any(|left| left.request == request) {
                continue;
            }
            self.cost += self.problem.cost_at(request, after);
            let before = self.before.0.get(ix).copied().flatten();
            if before != Some(after) {
                self.effects.push(Effect {
                    request: self.problem.requests[ix].id.clone(),
                    before,
                    after,
                    late: Plan::late(&self.problem, request, after),
                    follow: follow[ix],
                });
            }
        }
    }

    /// When the unit comes out of its last step if the steps after the one in hand follow it as early as order
    /// and rests allow.
    fn followed(&self, plan: &Plan, visit: &Visit) -> Minute {
        let mut after: Vec<&Visit> = plan
            .visits
            .iter()
            .filter(|own| own.unit == visit.unit && own.step > visit.step)
            .collect();
        after.sort_by_key(|own| own.step);
        let mut out = visit.times.out;
        for own in after {
            let step = self.problem.step(own.unit, own.step);
            let earliest = out + step.rest_min;
            out = if own.times.load >= earliest {
                own.times.out
            } else {
                let stays = times_on(&self.problem, own.unit, own.step, own.rig, earliest, None);
                stays.map_or(own.times.out, |times| times.out)
            };
        }
        out
    }
}

/// What has happened, and the bookings of what has not, sorted as a plan's visits are.
pub fn plan_visits(problem: &Problem, bookings: &[Booking]) -> Vec<Visit> {
    let started = |visit: &Visit| visit.step < problem.units[visit.unit.ix()].facts.len();
    let (ahead, _) = problem.resolve(bookings);
    let facts = problem.units.iter().flat_map(|unit| &unit.facts);
    let mut visits: Vec<Visit> = facts.map(|fact| fact.visit).collect();
    visits.extend(ahead.into_iter().filter(|visit| !started(visit)));
    visits.sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
    visits
}

/// The instants of a visit that loads then: unloaded after `wait`, or when the first of its crew can.
fn times_on(
    problem: &Problem,
    unit: UnitIx,
    step: usize,
    rig: RigIx,
    load: Minute,
    wait: Option<Minutes>,
) -> Option<Times> {
    let own = &problem.rigs[rig.ix()];
    let step = problem.step(unit, step);
    let condition = problem.condition(step);
    let length = problem.exposure(step, rig)?;
    let start = load + own.load;
    let end = problem
        .exposure_end(condition, rig, start, length)
        .unwrap_or(start + length);
    let unload = if let Some(wait) = wait {
        end + wait
    } else {
        let most = condition.max_wait.min(LONGEST_WAIT);
        let on = &problem.crews[condition.crew.ix()].on;
        let shifts = on.near(Span::new(end, end + most + own.unload));
        let begin = |shift: &Span| {
            let at = shift.start.max(end);
            (at + own.unload <= shift.end && at - end <= most).then_some(at)
        };
        shifts.iter().find_map(begin).unwrap_or(end)
    };
    Some(Times {
        load,
        start,
        end,
        unload,
        out: unload + own.unload,
    })
}
