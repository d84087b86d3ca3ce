//! Partial timelines: what is booked on rigs and taken from crews, and the two changes to it.
//!
//! Everything the planner builds goes through [`Timelines::place`] and [`Timelines::remove`]; where a
//! visit may go is answered by [`super::reach`].

mod alike;
mod crew;
mod rig;

pub(super) use alike::{Alike, RigTimes};
pub(super) use rig::{RigLine, Slot, Stay};

use super::spans::Spans;
use crate::domain::lab::Watch;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CondIx, CrewIx, Problem, RigIx, Step, UnitIx};
use alike::{Eligible, eligible};
use crew::CrewLine;
use rig::Run;

/// A visit's place and times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Placed {
    pub(super) rig: RigIx,
    pub(super) slot: Slot,
    pub(super) times: Times,
}

/// All bookings of a partial plan.
#[derive(Clone, Debug)]
pub(super) struct Timelines<'p> {
    pub(super) problem: &'p Problem,
    pub(super) rigs: Vec<RigLine>,
    crews: Vec<CrewLine>,
    /// The eligible rigs of the problem, by list.
    eligible: Vec<Eligible>,
    /// Chamber runs by condition, each by load and rig.
    runs: Vec<Vec<(Minute, RigIx)>>,
    /// First place of each unit in `placed`.
    base: Vec<usize>,
    placed: Vec<Option<Placed>>,
}

impl<'p> Timelines<'p> {
    /// Nothing is booked.
    pub(super) fn empty(problem: &'p Problem) -> Self {
        let span = Span::new(problem.now - Minutes::DAY, problem.end + Minutes::DAY);
        let mut base = Vec::with_capacity(problem.units.len());
        let mut count = 0;
        for unit in &problem.units {
            base.push(count);
            count += problem.requests[unit.request.ix()].steps.len();
        }
        Self {
            problem,
            rigs: problem.rigs.iter().map(RigLine::new).collect(),
            crews: problem
                .crews
                .iter()
                .map(|crew| CrewLine::new(&crew.people, span))
                .collect(),
            eligible: eligible(problem),
            runs: vec![Vec::new(); problem.conditions.len()],
            base,
            placed: vec![None; count],
        }
    }

    /// The booking of a step, if it has one; none of a step that the unit does not have.
    pub(super) fn placed(&self, unit: UnitIx, step: usize) -> Option<&Placed> {
        let base = self.base[unit.ix()];
        let end = self
            .base
            .get(unit.ix() + 1)
            .copied()
            .unwrap_or(self.placed.len());
        self.placed[base..end].get(step).and_then(Option::as_ref)
    }

    /// Minutes of `window` in which somebody of the crew is free.
    pub(super) fn free_people(&self, crew: CrewIx, window: Span) -> Spans {
        self.crews[crew.ix()].free(window)
    }

    /// The first minute from `at` on from which somebody of the crew is free for `length` minutes, if there is
    /// one before `until`.
    pub(super) fn first_free(
        &self,
        crew: CrewIx,
        at: Minute,
        length: Minutes,
        until: Minute,
    ) -> Option<Minute> {
        self.crews[crew.ix()].first_free(at, length, until)
    }

    /// Until when somebody of the crew is free who is at `at`, at most until `until`.
    pub(super) fn free_until(&self, crew: CrewIx, at: Minute, until: Minute) -> Minute {
        self.crews[crew.ix()].free_until(at, until)
    }

    /// The rigs that can do a step, by what they have in common.
    pub(super) fn alike(&self, step: &Step) -> &[Alike] {
        &self.eligible[step.eligible.ix()].alike
    }

    /// The shortest stay for a step on any rig.
    pub(super) fn shortest_stay(&self, step: &Step) -> Minutes {
        self.eligible[step.eligible.ix()].shortest
    }

    /// Runs of a condition that load within `window`, by load and rig.
    pub(super) fn runs_of(
        &self,
        condition: CondIx,
        window: Span,
    ) -> impl Iterator<Item = (RigIx, &Run)> {
        let runs = &self.runs[condition.ix()];
        let from = runs.partition_point(|(load, _)| *load < window.start);
        let near = runs[from..]
            .iter()
            .take_while(move |(load, _)| *load < window.end);
        near.filter_map(|(load, rig)| Some((*rig, self.rigs[rig.ix()].run_at(*load)?)))
    }

    /// True where a run of the rig loads at that minute.
    pub(super) fn has_run(&self, rig: RigIx, load: Minute) -> bool {
        self.rigs[rig.ix()].run_at(load).is_some()
    }

    /// How many people of a crew are free, from each minute on.
    pub(super) fn people_left(&self, crew: usize) -> impl Iterator<Item = (Minute, i32)> + '_ {
        self.crews[crew].steps()
    }

    /// Books a visit; whoever calls knows that it fits.
    pub(super) fn place(&mut self, unit: UnitIx, step: usize, placed: Placed) {
        let problem = self.problem;
        let what = problem.step(unit, step);
        let opens = self.add_to_rig(unit, what, &placed);
        if opens {
            self.people(what, &placed, CrewLine::take);
        }
        let entry = &mut self.placed[self.base[unit.ix()] + step];
        debug_assert!(entry.is_none(), "a step is booked once");
        *entry = Some(placed);
    }

    /// Remembers a visit that takes nothing from anybody: of a unit that is looked at alone.
    pub(super) fn note(&mut self, unit: UnitIx, step: usize, placed: Placed) {
        self.placed[self.base[unit.ix()] + step] = Some(placed);
    }

    /// Forgets a visit that takes nothing from anybody.
    pub(super) fn forget(&mut self, unit: UnitIx, step: usize) -> Option<Placed> {
        self.placed[self.base[unit.ix()] + step].take()
    }

    /// Takes a visit off again; nothing where it has no booking.
    pub(super) fn remove(&mut self, unit: UnitIx, step: usize) -> Option<Placed> {
        let placed = self.placed[self.base[unit.ix()] + step].take()?;
        let what = self.problem.step(unit, step);
        let closes = self.take_from_rig(unit, &placed);
        if closes {
            self.people(what, &placed, CrewLine::give);
        }
        Some(placed)
    }

    /// True where the visit brings its own load and unload: always but for joining a run.
    fn add_to_rig(&mut self, unit: UnitIx, step: &Step, placed: &Placed) -> bool {
        let span = placed.times.stay();
        match (&mut self.rigs[placed.rig.ix()], placed.slot) {
            (RigLine::Each(lanes), Slot::Lane(lane)) => {
                insert_stay(
                    &mut lanes[lane as usize],
                    Stay {
                        span,
                        unit,
                        kind: step.fixture.0,
                    },
                );
                true
            }
            (RigLine::Together(runs), Slot::Run) => {
                match runs.binary_search_by_key(&span.start, |run| run.times.load) {
                    Ok(ix) => {
                        runs[ix].units.push(unit);
                        false
                    }
                    Err(ix) => {
                        let (times, condition) = (placed.times, step.condition);
                        runs.insert(
                            ix,
                            Run {
                                times,
                                condition,
                                units: vec![unit],
                            },
                        );
                        let known = &mut self.runs[condition.ix()];
                        let own = (times.load, placed.rig);
                        known.insert(known.partition_point(|run| *run < own), own);
                        true
                    }
                }
            }
            (RigLine::Held(stays, longest), Slot::Held) => {
                *longest = (*longest).max(span.length());
                insert_stay(
                    stays,
                    Stay {
                        span,
                        unit,
                        kind: step.condition.0,
                    },
                );
                true
            }
            _ => unreachable!("a slot is of its rig's loading"),
        }
    }

    /// True where the visit takes its load and unload with it: always but for leaving a run.
    fn take_from_rig(&mut self, unit: UnitIx, placed: &Placed) -> bool {
        let load = placed.times.load;
        match (&mut self.rigs[placed.rig.ix()], placed.slot) {
            (RigLine::Each(lanes), Slot::Lane(lane)) => {
                remove_stay(&mut lanes[lane as usize], unit, load);
                true
            }
            (RigLine::Held(stays, _), Slot::Held) => {
                remove_stay(stays, unit, load);
                true
            }
            (RigLine::Together(runs), Slot::Run) => {
                let ix = runs
                    .binary_search_by_key(&load, |run| run.times.load)
                    .expect("a booked run is on its rig");
                let units = &mut runs[ix].units;
                let own = units.iter().position(|other| *other == unit);
                units.swap_remove(own.expect("a booked unit is in its run"));
                let empty = units.is_empty();
                if empty {
                    let run = runs.remove(ix);
                    let known = &mut self.runs[run.condition.ix()];
                    let own = (load, placed.rig);
                    known.remove(known.partition_point(|run| *run < own));
                }
                empty
            }
            _ => unreachable!("a slot is of its rig's loading"),
        }
    }

    /// Takes or gives the person for load, unload and a full watch.
    fn people(&mut self, step: &Step, placed: &Placed, change: fn(&mut CrewLine, Span)) {
        let condition = self.problem.condition(step);
        let crew = &mut self.crews[condition.crew.ix()];
        let times = &placed.times;
        if condition.watch == Watch::Full {
            let exposure = Span::new(times.start, times.end);
            if self.problem.pauses(condition, placed.rig) {
                let on = &self.problem.crews[condition.crew.ix()].on;
                on.within(exposure).for_each(|piece| change(crew, piece));
            } else {
                change(crew, exposure);
            }
        }
        change(crew, Span::new(times.load, times.start));
        change(crew, Span::new(times.unload, times.out));
    }
}

fn insert_stay(stays: &mut Vec<Stay>, stay: Stay) {
    let ix = stays.partition_point(|other| other.span.start <= stay.span.start);
    stays.insert(ix, stay);
}

fn remove_stay(stays: &mut Vec<Stay>, unit: UnitIx, load: Minute) {
    let from = stays.partition_point(|stay| stay.span.start < load);
    let ix = from
        + stays[from..]
            .iter()
            .position(|stay| stay.unit == unit)
            .expect("a booked stay is on its rig");
    stays.remove(ix);
}
