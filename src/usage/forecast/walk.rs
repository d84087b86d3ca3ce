//! One course of things: the plan's order walked with durations, verdicts and breakdowns as one world has them.
//!
//! Runs are placed one after another in the order in which the plan loads them, each as early as its units, its
//! rig, people and watches allow, in gaps that others leave too; nobody is pushed back. So what is late pushes
//! what follows to the right, and what falls away lets others come earlier. A unit that fails walks no further,
//! where its request says so: its bookings fall away and the others stay in order, which is what repairing the
//! plan comes to. Where a rig breaks under booked work the plan itself is repaired from that minute by the
//! planner, with what has begun by then as facts, and the walk goes on by the new order.
//!
//! What is drawn for a unit's step is the same whenever it is asked: it depends on the sample, the unit, the step
//! and the rig alone. What is not known yet decides nothing: a verdict counts once its check is over, a
//! breakdown from its first minute on; only how long a repair takes is known when it begins. What a broken rig
//! held goes on where it stopped.

use super::breaks::Break;
use super::hands::Hands;
use super::lines::Lines;
use super::random::Random;
use super::rates::World;
use super::setting::{Run, Setting, without};
use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::time::minutes_ceil;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CrewIx, OnTime, Place, RequestIx, RigIx, Step, UnitIx};

/// Purposes of random streams.
const STAY: u64 = 1;
const VERDICT: u64 = 2;
/// An exposure takes at most this many times as long as planned, and at least one such part.
const MOST_FACTOR: f64 = 4.0;
/// A run finds its place within so many tries, or never.
const MOST_TRIES: usize = 20_000;

/// What a stay had to wait for last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Waits {
    /// For nothing but the step before it.
    Own,
    /// For room on its rig, or for the rig itself.
    Rig(RigIx),
    /// For people.
    Crew(CrewIx),
}

/// A unit's stay on a rig, as it happens.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stay {
    pub(super) rig: RigIx,
    pub(super) place: Place,
    pub(super) times: Times,
    /// A fact of the problem: it had begun when the walk begins.
    pub(super) fact: bool,
    /// What it waited for.
    pub(super) waits: Waits,
    /// How long, from when its unit was ready for it.
    pub(super) waited: Minutes,
}

/// A place for a run that is being looked for: why a minute will not do, and which to try next.
struct Later(Minute, Waits);

/// One course of things.
pub(super) struct Walk<'s, 'p> {
    pub(super) set: &'s Setting<'p>,
    pub(super) world: &'s World,
    seed: u64,
    pub(super) hands: Vec<Hands>,
    pub(super) lines: Vec<Lines>,
    /// By rig the spans of its use, as far as breakdowns are known.
    pub(super) open: Vec<Vec<Span>>,
    /// By the place of a unit's step.
    pub(super) stays: Vec<Option<Stay>>,
    /// By unit how many steps it walks, as far as verdicts say.
    pub(super) wanted: Vec<usize>,
    /// Runs get numbers from here on.
    pub(super) next_run: u32,
    /// Plans that were repaired.
    pub(super) repairs: u32,
}

impl<'s, 'p> Walk<'s, 'p> {
    /// Before anything but the facts.
    pub(super) fn new(set: &'s Setting<'p>, world: &'s World, seed: u64) -> Self {
        let problem = set.problem;
        Self {
            set,
            world,
            seed,
            hands: set.hands.clone(),
            lines: problem.rigs.iter().map(Lines::new).collect(),
            open: set.open.clone(),
            stays: vec![None; set.steps()],
            wanted: problem.units.iter().map(|unit| unit.wanted).collect(),
            next_run: 2_000_000,
            repairs: 0,
        }
    }

    /// The stream of draws for a unit's step.
    fn stream(&self, purpose: u64, unit: UnitIx, step: usize, rig: RigIx) -> Random {
        let key = [purpose, u64::from(unit.0), step as u64, u64::from(rig.0)];
        Random::new(self.seed, &key)
    }

    /// True where the verdict of a step is bad.
    pub(super) fn fails(&self, unit: UnitIx, step: usize) -> bool {
        let request = self.set.problem.units[unit.ix()].request;
        if self.set.decided[self.set.at(unit, step)] {
            return false;
        }
        let check = self.set.keys.check(request, step);
        // A check fails or passes by itself, on whatever rig it is done.
        check.is_some_and(|check| {
            self.stream(VERDICT, unit, step, RigIx(0)).fraction() < self.world.fails[check]
        })
    }

    /// True where a bad verdict of the step ends the unit's walk.
    pub(super) fn ends_at(&self, unit: UnitIx, step: usize) -> bool {
        self.set.stops[self.set.problem.units[unit.ix()].request.ix()] && self.fails(unit, step)
    }

    /// Minutes of exposure as they turn out.
    fn actual(
        &self,
        (unit, step): (UnitIx, usize),
        what: &Step,
        rig: RigIx,
        planned: Minutes,
    ) -> Minutes {
        let Some(stay) = self.set.keys.stay(what, rig) else {
            return planned;
        };
        let own = self.world.stays[stay];
        let factor = own.draw(&mut self.stream(STAY, unit, step, rig));
        let factor = factor.clamp(1.0 / MOST_FACTOR, MOST_FACTOR);
        minutes_ceil(planned.get() as f64 * factor)
    }

    /// Puts in what has begun before the walk begins. What still runs ends as foreseen, but for how its exposure
    /// turns out and the breakdown that its rig has now.
    pub(super) fn put_facts(&mut self, down: &[Option<Span>]) {
        let problem = self.set.problem;
        let mut running: Vec<Run> = Vec::new();
        for (ix, unit) in problem.units.iter().enumerate() {
            for fact in &unit.facts {
                let visit = &fact.visit;
                let at = self.set.at(visit.unit, visit.step);
                self.stays[at] = Some(Stay {
                    rig: visit.rig,
                    place: visit.place,
                    times: visit.times,
                    fact: true,
                    waits: Waits::Own,
                    waited: Minutes::ZERO,
                });
                if fact.over {
                    continue;
                }
                let member = (UnitIx::from(ix), visit.step);
                let together =
                    |run: &&mut Run| run.rig == visit.rig && visit.place == self.place_of(run);
                let shares = matches!(visit.place, Place::Run(_));
                match running.iter_mut().find(|run| shares && together(run)) {
                    Some(run) => run.members.push(member),
                    None => running.push(Run {
                        rig: visit.rig,
                        lane: lane_of(visit.place),
                        members: vec![member],
                        load: visit.times.load,
                        not_before: true,
                    }),
                }
            }
        }
        for run in &running {
            self.turn_out(run, down[run.rig.ix()]);
        }
        self.occupy_all();
        for ix in 0..problem.units.len() {
            self.heed_verdicts(UnitIx::from(ix));
        }
    }

    fn place_of(&self, run: &Run) -> Place {
        let (unit, step) = run.members[0];
        self.stays[self.set.at(unit, step)].map_or(Place::Held, |stay| stay.place)
    }

    /// A run that had begun: when its exposure ends and when it comes out.
    fn turn_out(&mut self, run: &Run, down: Option<Span>) {
        let problem = self.set.problem;
        let (unit, step) = run.members[0];
        let what = problem.step(unit, step);
        let Some(mut stay) = self.stays[self.set.at(unit, step)] else {
            return;
        };
        let now = problem.now;
        let mut times = stay.times;
        if let Some(planned) = problem.exposure(what, run.rig) {
            let actual = self.actual(run.members[0], what, run.rig, planned);
            let moved = times.end + (actual - planned);
            // An end that has passed is known; one that has not cannot lie before now.
            if times.end > now {
                let at_once = times.unload == times.end;
                times.end = moved.max(now);
                if at_once || times.end > times.unload {
                    let from = times.end;
                    self.come_out(&mut times, what, run.rig, from);
                }
            }
        }
        stay.times = times;
        if let Some(down) = down {
            self.hold_up(&mut stay, what, down);
        }
        for (unit, step) in &run.members {
            let at = self.set.at(*unit, *step);
            if let Some(own) = &mut self.stays[at] {
                own.times = stay.times;
            }
        }
    }

    /// The unload, as soon after `from` as somebody is there.
    fn come_out(&self, times: &mut Times, what: &Step, rig: RigIx, from: Minute) {
        let problem = self.set.problem;
        let crew = problem.condition(what).crew;
        let unload = problem.rigs[rig.ix()].unload;
        let free = self.hands[crew.ix()].earliest(from, unload);
        times.unload = free.unwrap_or(from);
        times.out = times.unload + unload;
    }

    /// A breakdown of its rig: the exposure goes on after the repair, and nobody unloads before it.
    pub(super) fn hold_up(&self, stay: &mut Stay, what: &Step, down: Span) {
        let times = &mut stay.times;
        if down.start >= times.out {
            return;
        }
        let lost = down.end - down.start.max(times.load);
        if down.start < times.end && lost > Minutes::ZERO {
            times.end += lost;
        }
        let from = times.end.max(down.end);
        self.come_out(times, what, stay.rig, from);
    }

    /// Takes rigs and people for every stay that is there.
    pub(super) fn occupy_all(&mut self) {
        let problem = self.set.problem;
        for (hands, all) in self.hands.iter_mut().zip(&self.set.hands) {
            hands.clone_from(all);
        }
        self.lines.iter_mut().for_each(Lines::clear);
        let mut seen = std::collections::BTreeSet::new();
        for ix in 0..problem.units.len() {
            let unit = UnitIx::from(ix);
            for step in 0..problem.request_of(unit).steps.len() {
                let Some(stay) = self.stays[self.set.at(unit, step)] else {
                    break;
                };
                let shared = matches!(stay.place, Place::Run(_));
                if stay.times.out > problem.now
                    && (!shared || seen.insert((stay.rig, stay.times.load, stay.place)))
                {
                    self.occupy(unit, step, &stay);
                }
            }
        }
    }

    fn occupy(&mut self, unit: UnitIx, step: usize, stay: &Stay) {
        let problem = self.set.problem;
        let what = problem.step(unit, step);
        let kind = self.kind(what, stay.rig);
        self.lines[stay.rig.ix()].take(lane_of(stay.place), stay.times.stay(), kind);
        let condition = problem.condition(what);
        let times = &stay.times;
        let hands = &mut self.hands[condition.crew.ix()];
        hands.take(Span::new(times.load, times.start));
        hands.take(Span::new(times.unload, times.out));
        if condition.watch == Watch::Full {
            hands.take_free(Span::new(times.start, times.end));
        }
    }

    /// Cuts a unit's walk off after the first bad verdict that ends it.
    pub(super) fn heed_verdicts(&mut self, unit: UnitIx) {
        let whole = self.set.problem.units[unit.ix()].wanted;
        let reached = |step: &usize| self.stays[self.set.at(unit, *step)].is_some();
        let bad = (0..whole)
            .take_while(reached)
            .find(|step| self.ends_at(unit, *step));
        self.wanted[unit.ix()] = bad.map_or(whole, |step| step + 1);
    }

    /// Places runs of an order that are not placed yet, none before `from`.
    pub(super) fn place_all(&mut self, order: &[Run], from: Minute) {
        for run in order {
            let is_next = |(unit, step): &&(UnitIx, usize)| {
                let at = self.set.at(*unit, *step);
                *step < self.wanted[unit.ix()]
                    && self.stays[at].is_none()
                    && (*step == 0 || self.stays[at - 1].is_some())
            };
            let members: Vec<(UnitIx, usize)> =
                run.members.iter().filter(is_next).copied().collect();
            if !members.is_empty() {
                self.place(run, &members, from);
            }
        }
    }

    fn place(&mut self, run: &Run, members: &[(UnitIx, usize)], from: Minute) {
        let problem = self.set.problem;
        let lead = members[0];
        let what = problem.step(lead.0, lead.1);
        let Some(planned) = problem.exposure(what, run.rig) else {
            return;
        };
        let ready = members.iter().map(|(unit, step)| self.ready(*unit, *step));
        let ready = ready.max().unwrap_or(from).max(from);
        let floor = if run.not_before {
            ready.max(run.load)
        } else {
            ready
        };
        let lengths = (planned, self.actual(lead, what, run.rig, planned));
        let Some((times, lane, waits)) = self.look(run, what, floor, lengths) else {
            return;
        };
        let place = match problem.rigs[run.rig.ix()].loading {
            Loading::Each => Place::Position(lane + 1),
            Loading::Together => Place::Run(self.next_run),
            Loading::Held => Place::Held,
        };
        self.next_run += 1;
        let stay = Stay {
            rig: run.rig,
            place,
            times,
            fact: false,
            waits,
            waited: times.load - ready,
        };
        self.occupy(lead.0, lead.1, &stay);
        for (unit, step) in members {
            let at = self.set.at(*unit, *step);
            self.stays[at] = Some(stay);
            if self.ends_at(*unit, *step) {
                self.wanted[unit.ix()] = step + 1;
            }
        }
    }

    /// From when on a unit can do a step.
    fn ready(&self, unit: UnitIx, step: usize) -> Minute {
        let request = self.set.problem.request_of(unit);
        let before = step
            .checked_sub(1)
            .and_then(|before| self.stays[self.set.at(unit, before)]);
        before.map_or(request.ready, |before| {
            (before.times.out + request.steps[step].rest_min).max(request.ready)
        })
    }

    /// The first place for a run at or after `from`: its times, its lane, and what it waited for last.
    fn look(
        &self,
        run: &Run,
        what: &Step,
        from: Minute,
        lengths: (Minutes, Minutes),
    ) -> Option<(Times, u32, Waits)> {
        let mut load = from;
        let mut waits = Waits::Own;
        for _ in 0..MOST_TRIES {
            match self.try_at(run, what, load, lengths)? {
                Ok((times, lane)) => return Some((times, lane, waits)),
                Err(Later(next, reason)) => {
                    load = next.max(load + Minutes::new(1));
                    waits = reason;
                }
            }
        }
        None
    }

    /// The times of a run that loads at a minute; why it cannot, and when to try next; or nothing where people
    /// or the rig are never there again.
    fn try_at(
        &self,
        run: &Run,
        what: &Step,
        load: Minute,
        (planned, actual): (Minutes, Minutes),
    ) -> Option<Result<(Times, u32), Later>> {
        if let Err(later) = self.by_people(what, run.rig, load, planned)? {
            return Some(Err(later));
        }
        let rig = &self.set.problem.rigs[run.rig.ix()];
        let start = load + rig.load;
        let (_, unload) = self.ends(what, run.rig, start, planned)?;
        let foreseen = Span::new(load, unload + rig.unload);
        if let Err(later) = self.by_outages(run.rig, foreseen)? {
            return Some(Err(later));
        }
        let (end, unload) = self.ends(what, run.rig, start, actual)?;
        let out = unload + rig.unload;
        let free =
            self.lines[run.rig.ix()].free(Span::new(load, out), self.kind(what, run.rig), run.lane);
        let times = Times {
            load,
            start,
            end,
            unload,
            out,
        };
        match free {
            Ok(lane) => Some(Ok((times, lane))),
            Err(Minute::LAST) => None,
            Err(next) => Some(Err(Later(next, Waits::Rig(run.rig)))),
        }
    }

    /// Whether a run can load at a minute, by people, by those who must see it, and by its longest wait; nothing
    /// where they are never there again.
    fn by_people(
        &self,
        what: &Step,
        rig: RigIx,
        load: Minute,
        planned: Minutes,
    ) -> Option<Result<(), Later>> {
        let problem = self.set.problem;
        let (condition, own) = (problem.condition(what), &problem.rigs[rig.ix()]);
        let crew = Waits::Crew(condition.crew);
        let pauses = problem.pauses(condition, rig);
        // Under a full watch the person who loads stays until it is unloaded.
        let at_once = match condition.watch {
            Watch::Full if !pauses => own.load + planned + own.unload,
            _ => own.load,
        };
        let first = self.hands[condition.crew.ix()].earliest(load, at_once)?;
        if first > load {
            return Some(Err(Later(first, crew)));
        }
        let start = load + own.load;
        if condition.watch == Watch::Site && !pauses {
            let seen = problem.site.first_whole(start, planned)?;
            if seen > start {
                return Some(Err(Later(seen - own.load, crew)));
            }
        }
        let (end, unload) = self.ends(what, rig, start, planned)?;
        let over = unload - end - condition.max_wait;
        Some(if over > Minutes::ZERO {
            Err(Later(load + over, crew))
        } else {
            Ok(())
        })
    }

    /// Whether a rig is in use for a whole span; nothing where it never is again for so long.
    fn by_outages(&self, rig: RigIx, span: Span) -> Option<Result<(), Later>> {
        let mut rooms = self.open[rig.ix()].iter();
        let room = rooms.find(|room| room.end > span.start && room.length() >= span.length())?;
        let next = if room.start > span.start {
            room.start
        } else {
            room.end
        };
        Some(if room.covers(span) {
            Ok(())
        } else {
            Err(Later(next, Waits::Rig(rig)))
        })
    }

    /// When an exposure of a length that begins at a minute ends, and when it is unloaded.
    fn ends(
        &self,
        what: &Step,
        rig: RigIx,
        start: Minute,
        length: Minutes,
    ) -> Option<(Minute, Minute)> {
        let problem = self.set.problem;
        let condition = problem.condition(what);
        let hands = &self.hands[condition.crew.ix()];
        let pauses = problem.pauses(condition, rig);
        let end = match condition.watch {
            Watch::Site if pauses => problem.site.advance(start, length)?,
            Watch::Full if pauses => hands.advance(start, length)?,
            _ => start + length,
        };
        let unload = match condition.watch {
            Watch::Full if !pauses => end,
            _ => hands.earliest(end, problem.rigs[rig.ix()].unload)?,
        };
        Some((end, unload))
    }

    /// What tells stays on a rig apart: fixtures, or conditions.
    fn kind(&self, what: &Step, rig: RigIx) -> u32 {
        match self.set.problem.rigs[rig.ix()].loading {
            Loading::Each => what.fixture.0,
            Loading::Together | Loading::Held => what.condition.0,
        }
    }

    /// When a request finishes; nothing where one of its units never does.
    pub(super) fn finish(&self, request: RequestIx) -> Option<Minute> {
        let mut finish = None;
        for unit in self.set.problem.units_of(request) {
            let Some(last) = self.wanted[unit.ix()].checked_sub(1) else {
                continue;
            };
            finish = finish.max(Some(self.stays[self.set.at(unit, last)]?.times.out));
        }
        finish
    }

    /// What the last unit of a request waited for longest on its way, from now on.
    pub(super) fn decided_by(&self, request: RequestIx) -> Waits {
        let last = |unit: &UnitIx| {
            let last = self.wanted[unit.ix()].checked_sub(1)?;
            Some(self.stays[self.set.at(*unit, last)]?.times.out)
        };
        let Some(unit) = self.set.problem.units_of(request).max_by_key(last) else {
            return Waits::Own;
        };
        let mut waited: Vec<(Waits, Minutes)> = Vec::new();
        for step in 0..self.wanted[unit.ix()] {
            let Some(stay) = self.stays[self.set.at(unit, step)].filter(|stay| !stay.fact) else {
                continue;
            };
            match waited.iter_mut().find(|(waits, _)| *waits == stay.waits) {
                Some((_, all)) => *all += stay.waited,
                None => waited.push((stay.waits, stay.waited)),
            }
        }
        waited.retain(|(waits, all)| *waits != Waits::Own && *all > Minutes::ZERO);
        waited
            .into_iter()
            .max_by_key(|(waits, all)| (*all, *waits))
            .map_or(Waits::Own, |(waits, _)| waits)
    }

    /// Takes a rig out of use for a while.
    pub(super) fn close(&mut self, own: &Break) {
        let open = &mut self.open[own.rig.ix()];
        *open = without(open, &OnTime::new(vec![own.span]));
    }
}

/// The lane of a place, from 0.
pub(super) fn lane_of(place: Place) -> u32 {
    match place {
        Place::Position(position) => position.saturating_sub(1),
        Place::Run(_) | Place::Held => 0,
    }
}
