//! Serial generation: one request after another is put in, each unit's steps in chains bound by rests.
//!
//! A *chain* is a run of steps that must be placed as one because a largest rest, or a booking that is
//! fixed further on, binds them; all units of a request place their first chain, then their second, and
//! so on, so that a chamber sees who arrives when and a run can wait for those it is worth waiting for.

mod chain;
mod group;
mod order;
mod stage;

pub(super) use order::{Wheel, rules};
pub(super) use stage::stage_ends;

use super::alone::Alone;
use super::reach::Late;
use super::spans::Spans;
use super::timeline::{Placed, Slot, Timelines};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{Fact, Place, Problem, Request, RequestIx, RigIx, Unit, UnitIx, Visit};
use std::collections::BTreeMap;
use std::sync::Arc;

/// How chambers are shared while requests are put in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Style {
    /// How much later a unit may come out for joining a run instead of opening one.
    pub(super) join_wait: Minutes,
    /// Look at runs that wait for later units of the request.
    pub(super) look_ahead: bool,
    /// A rig that is left out wherever a step has another.
    pub(super) avoid: Option<RigIx>,
    /// Units that stay together may do so outside of chambers, even where a run has room for them all.
    pub(super) apart: bool,
    /// Units that must begin within some time of each other stay in their rigs until all can have, and come out:
    /// whoever unloads one loads no other meanwhile.
    pub(super) linger: bool,
    /// Which visits that would wait in their rig load as late as they can.
    pub(super) late: Late,
}

impl Style {
    /// Runs are joined at that price, and look ahead.
    pub(super) fn sharing(join_wait: Minutes) -> Self {
        Self {
            join_wait,
            look_ahead: true,
            avoid: None,
            apart: false,
            linger: false,
            late: Late::UnlessPausing,
        }
    }
}

/// A partial plan and how to add to it.
#[derive(Clone, Debug)]
pub(super) struct Builder<'p> {
    pub(super) problem: &'p Problem,
    pub(super) lines: Timelines<'p>,
    pub(super) style: Style,
    /// One unit at a time is looked at: it takes nothing from anybody, and changeovers between its own steps are left
    /// out, since bounds may only relax.
    alone: bool,
    /// Bookings that must stay where they are, by unit and step.
    fixed: Arc<Vec<Vec<Fixed>>>,
    /// Steps placed since some mark, for taking them back.
    log: Vec<(UnitIx, usize)>,
    /// Steps of units whose fixed bookings hold their place until the unit is put in.
    shadows: BTreeMap<UnitIx, Vec<usize>>,
    /// Places for a run of a whole request that may still be tried.
    tries: usize,
    /// Whoever is put in finishes by then, or finds no place.
    pub(super) latest: Minute,
    /// What the steps after each one take at least, by request.
    tails: Arc<Vec<Vec<Minutes>>>,
}

/// A step that must be on a rig at a minute.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fixed {
    pub(super) step: usize,
    pub(super) rig: RigIx,
    pub(super) load: Minute,
    /// When it should come out, where the plan in force says.
    pub(super) out: Option<Minute>,
    /// Its position, from 0, where the plan in force says.
    pub(super) lane: Option<u32>,
}

/// Plans everybody who can be planned, in the given order, with bookings that must stay where they are or,
/// for repairing the plan in force, should. Whoever finds no place is put first and generation starts anew;
/// the requests that still find none are returned.
pub(super) fn generate<'p>(
    problem: &'p Problem,
    alone: &Alone,
    order: &[RequestIx],
    style: Style,
    fixed: &Arc<Vec<Vec<Fixed>>>,
) -> (Builder<'p>, Vec<(RequestIx, usize)>) {
    const ATTEMPTS: usize = 12;
    let mut order = order.to_vec();
    let mut best: Option<(Builder<'p>, Vec<(RequestIx, usize)>)> = None;
    for _ in 0..ATTEMPTS {
        let mut builder = Builder::new(problem, alone, style);
        builder.fixed = fixed.clone();
        let failed = builder.put_all(alone, &order);
        builder.fixed = alone.fixed.clone();
        let better = best
            .as_ref()
            .is_none_or(|(_, least)| failed.len() < least.len());
        let first: Vec<RequestIx> = failed.iter().map(|(request, _)| *request).collect();
        if better {
            best = Some((builder, failed));
        }
        if first.is_empty() {
            break;
        }
        let before = order.clone();
        order.sort_by_key(|request| !first.contains(request));
        if order == before {
            break; // Generation would only repeat itself.
        }
    }
    best.expect("there is at least one attempt")
}

/// What the steps after each one take at least: rests and the shortest stays.
fn tails(lines: &Timelines<'_>) -> Vec<Vec<Minutes>> {
    let of_request = |request: &Request| {
        let mut tails = vec![Minutes::ZERO; request.steps.len()];
        for ix in (1..tails.len()).rev() {
            let step = &request.steps[ix];
            tails[ix - 1] = tails[ix] + step.rest_min + lines.shortest_stay(step);
        }
        tails
    };
    lines.problem.requests.iter().map(of_request).collect()
}

impl<'p> Builder<'p> {
    /// Only what has happened is booked.
    pub(super) fn new(problem: &'p Problem, alone: &Alone, style: Style) -> Self {
        let lines = Timelines::empty(problem);
        let tails = Arc::new(tails(&lines));
        let mut builder = Self::bare(problem, lines, style, alone.fixed.clone());
        builder.tails = tails;
        for unit in &problem.units {
            for fact in &unit.facts {
                builder.place_fact(fact);
            }
        }
        builder
    }

    /// For looking at one unit at a time: nothing at all is booked.
    pub(super) fn alone(
        problem: &'p Problem,
        lines: Timelines<'p>,
        fixed: Arc<Vec<Vec<Fixed>>>,
    ) -> Self {
        let style = Style {
            look_ahead: false,
            late: Late::Never,
            ..Style::sharing(Minutes::ZERO)
        };
        let mut builder = Self::bare(problem, lines, style, fixed);
        builder.alone = true;
        builder
    }

    /// Nothing is logged, nothing is held.
    fn bare(
        problem: &'p Problem,
        lines: Timelines<'p>,
        style: Style,
        fixed: Arc<Vec<Vec<Fixed>>>,
    ) -> Self {
        Self {
            problem,
            lines,
            style,
            alone: false,
            fixed,
            log: Vec::new(),
            shadows: BTreeMap::new(),
            tries: 0,
            latest: Minute::LAST,
            tails: Arc::default(),
        }
    }

    /// Books visits of a plan that are not booked yet.
    pub(super) fn place_visits<'v>(&mut self, visits: impl Iterator<Item = &'v Visit>) {
        for visit in visits {
            if self.lines.placed(visit.unit, visit.step).is_none() {
                self.place_visit(visit);
            }
        }
    }

    /// By when a step must come out so that its request finishes in time.
    fn end_of_step(&self, request: RequestIx, step: usize) -> Minute {
        if self.latest == Minute::LAST {
            return self.problem.end;
        }
        let tail = self.tails[request.ix()][step];
        self.problem.end.min(self.latest - tail)
    }

    /// The first minute at which a step can load on a rig beside what is booked.
    pub(super) fn first_free(&self, unit: UnitIx, step: usize, rig: RigIx) -> Option<Minute> {
        let mut link = super::reach::Link::free(step);
        link.only_on = Some(rig);
        let first = self.first_loads(unit, step);
        let window = Span::new(first.start, self.problem.end);
        let any = super::reach::RunRule::ANY;
        let chain = self
            .lines
            .earliest_chain(unit, &[link], first, window, any)
            .ok()?;
        Some(chain[0].times.load)
    }

    /// Books what has happened.
    pub(super) fn place_fact(&mut self, fact: &Fact) {
        self.place_visit(&fact.visit);
    }

    fn place_visit(&mut self, visit: &Visit) {
        let slot = match visit.place {
            Place::Position(position) => Slot::Lane(position.saturating_sub(1)),
            Place::Run(_) => Slot::Run,
            Place::Held => Slot::Held,
        };
        let placed = Placed {
            rig: visit.rig,
            slot,
            times: visit.times,
        };
        self.book(visit.unit, visit.step, placed);
    }

    /// Puts everybody in, in the given order; places of fixed bookings are held for their units.
    fn put_all(&mut self, alone: &Alone, order: &[RequestIx]) -> Vec<(RequestIx, usize)> {
        let planned = order
            .iter()
            .filter(|request| alone.can_be_planned(**request));
        let planned: Vec<RequestIx> = planned.copied().collect();
        self.cast_shadows(&planned);
        let problem = self.problem;
        let mut failed = Vec::new();
        for request in planned {
            for unit in problem.units_of(request) {
                self.lift_shadows(unit);
            }
            let result = self.put(request).or_else(|step| {
                self.put_lingering(request)
                    .or_else(|()| self.put_loosened(alone, request))
                    .map_err(|()| step)
            });
            if let Err(step) = result {
                failed.push((request, step));
            }
            self.forget_log();
        }
        failed
    }

    /// Puts one request in whole, or leaves it out whole and says which step found no place.
    pub(super) fn put(&mut self, request: RequestIx) -> Result<(), usize> {
        let mark = self.log.len();
        let result = self.put_stages(request).or_else(|step| {
            self.undo_to(mark);
            self.put_fixed_first(request).map_err(|()| step)
        });
        if result.is_err() {
            self.undo_to(mark);
        }
        result
    }

    /// Once more unit by unit, those with fixed bookings ahead and with their places held, and those whose
    /// next window closes, where the request has any.
    fn put_fixed_first(&mut self, request: RequestIx) -> Result<(), ()> {
        let problem = self.problem;
        let own = &problem.requests[request.ix()];
        let units: Vec<UnitIx> = problem.units_of(request).collect();
        let (mut fixed, free): (Vec<UnitIx>, Vec<UnitIx>) =
            units.iter().partition(|unit| self.is_bound(**unit));
        fixed.sort_by_key(|unit| self.closes(*unit));
        let shares_runs = own.keep_together
            && units.len() > 1
            && (0..own.steps.len()).any(|step| self.is_chamber_step(request, step));
        if fixed.is_empty() || shares_runs {
            return Err(());
        }
        let held = self.shadows.len();
        self.cast_shadows(&[request]);
        let mut result = Ok(());
        for unit in &fixed {
            self.lift_shadows(*unit);
            result = result.and_then(|()| self.put_stages_of(request, &[*unit]));
        }
        debug_assert_eq!(held, self.shadows.len(), "every shadow is lifted again");
        result
            .and_then(|()| self.put_stages_of(request, &free))
            .map_err(|_| ())
    }

    /// True where the unit has bookings that must stay where they are, or its next window closes.
    pub(super) fn is_bound(&self, unit: UnitIx) -> bool {
        !self.fixed_of(unit).is_empty() || self.closes(unit) < Minute::LAST
    }

    /// When the window after what has happened to the unit closes; [`Minute::LAST`] where none does.
    fn closes(&self, unit: UnitIx) -> Minute {
        let own = &self.problem.units[unit.ix()];
        let next = own.facts.len();
        if next == 0
            || next >= own.wanted
            || self.problem.step(unit, next).rest_max >= Minutes::FOREVER
        {
            return Minute::LAST;
        }
        self.first_loads(unit, next).end
    }

    /// Once more with units that stay together waiting for each other after their runs.
    fn put_lingering(&mut self, request: RequestIx) -> Result<(), ()> {
        if !self.problem.requests[request.ix()].keep_together {
            return Err(());
        }
        self.style.linger = true;
        let result = self.put(request);
        self.style.linger = false;
        result.map_err(|_| ())
    }

    /// Once more with fewer bookings kept in their place: what must stay, then pins alone.
    fn put_loosened(&mut self, alone: &Alone, request: RequestIx) -> Result<(), ()> {
        let problem = self.problem;
        let must = |unit: UnitIx| alone.fixed[unit.ix()].clone();
        let pins = |unit: UnitIx| Fixed::pins(&problem.units[unit.ix()]);
        let ways: [&dyn Fn(UnitIx) -> Vec<Fixed>; 2] = [&must, &pins];
        for kept in ways {
            let mut changed = false;
            for unit in problem.units_of(request) {
                let kept = kept(unit);
                if kept.len() < self.fixed[unit.ix()].len() {
                    self.fix(unit, &kept);
                    changed = true;
                }
            }
            if changed && self.put(request).is_ok() {
                return Ok(());
            }
        }
        Err(())
    }

    /// Takes a request's bookings off, facts excepted, and returns them.
    pub(super) fn take_off(&mut self, request: RequestIx) -> Vec<(UnitIx, usize, Placed)> {
        let mut taken = Vec::new();
        for unit in self.problem.units_of(request) {
            let own = &self.problem.units[unit.ix()];
            for step in own.facts.len()..own.wanted {
                if let Some(placed) = self.lines.remove(unit, step) {
                    taken.push((unit, step, placed));
                }
            }
        }
        taken
    }

    /// Takes off what some units do from a step on, facts excepted, and returns it.
    pub(super) fn take_off_from(
        &mut self,
        units: &[UnitIx],
        from: usize,
    ) -> Vec<(UnitIx, usize, Placed)> {
        let mut taken = Vec::new();
        for unit in units {
            let own = &self.problem.units[unit.ix()];
            for step in from.max(own.facts.len())..own.wanted {
                if let Some(placed) = self.lines.remove(*unit, step) {
                    taken.push((*unit, step, placed));
                }
            }
        }
        taken
    }

    /// Puts back what was taken off.
    pub(super) fn put_back(&mut self, taken: &[(UnitIx, usize, Placed)]) {
        for (unit, step, placed) in taken {
            self.lines.place(*unit, *step, *placed);
        }
    }

    /// A request's bookings, facts excepted.
    pub(super) fn bookings_of(
        &self,
        request: RequestIx,
    ) -> impl Iterator<Item = (UnitIx, usize, Placed)> + '_ {
        self.problem.units_of(request).flat_map(move |unit| {
            let own = &self.problem.units[unit.ix()];
            (own.facts.len()..own.wanted)
                .filter_map(move |step| Some((unit, step, *self.lines.placed(unit, step)?)))
        })
    }

    /// True where the request has a booking that is no fact.
    pub(super) fn can_move(&self, request: RequestIx) -> bool {
        self.bookings_of(request).next().is_some()
    }

    /// The fixed booking of a step, if it has one.
    pub(super) fn fixed_at(&self, unit: UnitIx, step: usize) -> Option<&Fixed> {
        self.fixed_of(unit).iter().find(|fixed| fixed.step == step)
    }

    /// When the request finishes: the last way out of its units, facts included.
    pub(super) fn finish(&self, request: RequestIx) -> Option<Minute> {
        let units = self.problem.units_of(request);
        units.filter_map(|unit| self.unit_out(unit)).max()
    }

    /// Forgets what could be undone.
    pub(super) fn forget_log(&mut self) {
        self.log.clear();
    }

    fn unit_out(&self, unit: UnitIx) -> Option<Minute> {
        let last = self.problem.units[unit.ix()].wanted.checked_sub(1)?;
        Some(self.lines.placed(unit, last)?.times.out)
    }

    fn place(&mut self, unit: UnitIx, step: usize, placed: Placed) {
        self.book(unit, step, placed);
        self.log.push((unit, step));
    }

    /// Who is alone takes nothing from its own later steps either: the changeovers after it would depend on which of
    /// several places it chose.
    fn book(&mut self, unit: UnitIx, step: usize, placed: Placed) {
        if self.alone {
            self.lines.note(unit, step, placed);
        } else {
            self.lines.place(unit, step, placed);
        }
    }

    fn undo_to(&mut self, mark: usize) {
        while self.log.len() > mark {
            let (unit, step) = self.log.pop().expect("the log is longer than the mark");
            if self.alone {
                self.lines.forget(unit, step);
            } else {
                self.lines.remove(unit, step);
            }
        }
    }

    /// Changes which bookings of a unit must stay where they are.
    pub(super) fn fix(&mut self, unit: UnitIx, bookings: &[Fixed]) {
        Arc::make_mut(&mut self.fixed)[unit.ix()] = bookings.to_vec();
    }

    /// Bookings of a unit that must stay where they are, by step.
    fn fixed_of(&self, unit: UnitIx) -> &[Fixed] {
        &self.fixed[unit.ix()]
    }

    /// Holds the places of fixed bookings until their unit is put in: first those of the plan in force,
    /// whose times fit together, then pins by their time.
    pub(super) fn cast_shadows(&mut self, requests: &[RequestIx]) {
        let units = requests
            .iter()
            .flat_map(|request| self.problem.units_of(*request));
        let mut all: Vec<(bool, Minute, UnitIx, Fixed)> = units
            .flat_map(|unit| self.fixed_of(unit).iter().map(move |own| (unit, *own)))
            .map(|(unit, own)| (own.out.is_none(), own.load, unit, own))
            .collect();
        all.sort_by_key(|(pin, load, unit, own)| (*pin, *load, *unit, own.step));
        for (_, _, unit, fixed) in all {
            if let Some(placed) = self.fixed_alone(unit, fixed) {
                self.lines.place(unit, fixed.step, placed);
                self.shadows.entry(unit).or_default().push(fixed.step);
            }
        }
    }

    /// Frees the places that are held for a request.
    pub(super) fn lift_shadows_of(&mut self, request: RequestIx) {
        for unit in self.problem.units_of(request) {
            self.lift_shadows(unit);
        }
    }

    fn lift_shadows(&mut self, unit: UnitIx) {
        for step in self.shadows.remove(&unit).unwrap_or_default() {
            self.lines.remove(unit, step);
        }
    }

    /// True where some rig that can do the step is loaded together.
    fn is_chamber_step(&self, request: RequestIx, step: usize) -> bool {
        let step = &self.problem.requests[request.ix()].steps[step];
        let rigs = self.problem.rigs_for(step);
        rigs.iter()
            .any(|(rig, _)| self.problem.rigs[rig.ix()].loading == Loading::Together)
    }

    /// Minutes at which a step may load, by the step before it and by ready and now.
    pub(super) fn first_loads(&self, unit: UnitIx, step: usize) -> Span {
        let problem = self.problem;
        let request = problem.request_of(unit);
        let floor = request.ready.max(problem.now);
        let before = step
            .checked_sub(1)
            .and_then(|before| self.lines.placed(unit, before));
        let Some(before) = before else {
            return Span::new(floor, Minute::LAST);
        };
        let step = &request.steps[step];
        let closes = before.times.out + step.rest_max;
        // A window that closed before now cannot be kept any more: the step follows as soon as it can.
        let closes = if closes < problem.now {
            Minute::LAST
        } else {
            closes + Minutes::new(1)
        };
        Span::new(floor.max(before.times.out + step.rest_min), closes)
    }
}

impl Fixed {
    /// The pins of a unit.
    pub(super) fn pins(unit: &Unit) -> Vec<Self> {
        let pins = unit.pins.iter().filter(|pin| pin.step < unit.wanted);
        pins.map(|pin| Self {
            step: pin.step,
            rig: pin.rig,
            load: pin.load,
            out: None,
            lane: None,
        })
        .collect()
    }

    /// Every booking of the plan in force that lies ahead.
    pub(super) fn published(problem: &Problem, unit: &Unit) -> Vec<Self> {
        let ahead = unit
            .published
            .iter()
            .filter(|visit| visit.times.load >= problem.now && visit.step < unit.wanted);
        ahead.map(Self::of).collect()
    }

    /// Bookings of the plan in force that start within freeze of now; none where the unit missed one
    /// that was to start before now.
    pub(super) fn frozen(problem: &Problem, unit: &Unit) -> Vec<Self> {
        let missed =
            |visit: &Visit| visit.step >= unit.facts.len() && visit.times.load < problem.now;
        if unit.published.iter().any(missed) {
            return Vec::new();
        }
        let frozen = unit.published.iter().filter(|visit| {
            let load = visit.times.load;
            problem.now <= load && load < problem.frozen_before && visit.step < unit.wanted
        });
        frozen.map(Self::of).collect()
    }

    /// A booking of the plan in force, to the minute.
    fn of(visit: &Visit) -> Self {
        Self {
            step: visit.step,
            rig: visit.rig,
            load: visit.times.load,
            out: Some(visit.times.out),
            lane: match visit.place {
                Place::Position(position) => position.checked_sub(1),
                Place::Run(_) | Place::Held => None,
            },
        }
    }
}

/// Distinct minutes to try in `outs`: starts of spans, and every `grain` within them, coarser the
/// longer it takes.
pub(super) fn tries(outs: &Spans) -> impl Iterator<Item = Minute> {
    let mut grain = 30;
    let mut count = 0;
    outs.iter().flat_map(move |span| {
        let mut at = span.start;
        std::iter::from_fn(move || {
            let now = at;
            count += 1;
            if count % 60 == 0 {
                grain *= 2;
            }
            at += Minutes::new(grain);
            (now < span.end).then_some(now)
        })
    })
}
