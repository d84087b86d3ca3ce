//! Units that stay together (R9) go into a chamber run in one minute and come out of it in one minute. Where the rest
//! beside the run is bounded, only so many of them can keep it, whoever else is in the lab: as many as the people
//! of the crew and the places on the rigs can take one after the other in that time.

use super::{Problem, Request, RigIx, Step, shortest_stay};
use crate::domain::Minutes;
use crate::domain::lab::{Loading, Watch};
use crate::domain::text::counted;

/// Notes which requests cannot be planned since too many of their units stay together.
pub(super) fn note_too_many(problem: &mut Problem) {
    for ix in 0..problem.requests.len() {
        let own = &problem.requests[ix];
        if own.keep_together && own.impossible.is_none() {
            problem.requests[ix].impossible = too_many(problem, own);
        }
    }
}

/// The first step, from 0, at which not all units can keep the rest before it, and why.
fn too_many(problem: &Problem, own: &Request) -> Option<(usize, String)> {
    (1..own.steps.len()).find_map(|step| {
        let ways = [(step - 1, step), (step, step - 1)];
        let mut queues = ways
            .into_iter()
            .filter_map(|(run, single)| Queue::new(problem, own, run, single));
        let queue = queues.find(Queue::is_too_long)?;
        Some((step, queue.words(problem, own)))
    })
}

/// Units that begin a step one by one within some time of the run that they share, or end it so before the run.
struct Queue {
    /// The run's step and the one beside it, from 0.
    run: usize,
    single: usize,
    units: usize,
    /// From the first that can begin, or end, to the last that must.
    time: Minutes,
    /// The most people of the crew that are ever on shift at once, and how long a unit keeps one of them at least.
    people: usize,
    hands: Minutes,
    /// Positions of each rig, and how long a unit keeps one of them at least.
    places: Vec<(usize, Minutes)>,
}

impl Queue {
    /// `None` where the units need not share that run, or may share a run beside it too.
    fn new(problem: &Problem, own: &Request, run: usize, single: usize) -> Option<Self> {
        let is_chamber =
            |(rig, _): &(RigIx, Minutes)| problem.rigs[rig.ix()].loading == Loading::Together;
        let rigs = problem.rigs_for(&own.steps[single]);
        let runs = problem.rigs_for(&own.steps[run]);
        let units = &problem.units[own.units.start as usize..own.units.end as usize];
        let parted = units.iter().any(|unit| unit.facts.len() > run);
        if parted || !runs.iter().all(is_chamber) || rigs.iter().any(is_chamber) {
            return None;
        }
        let last = &own.steps[run.max(single)];
        let ahead = units
            .iter()
            .filter(|unit| unit.facts.len() <= single && unit.wanted > run.max(single));
        let hands = rigs.iter().map(|(rig, exposure)| {
            hands(problem, &own.steps[single], *rig, *exposure, single < run)
        });
        let place = |(rig, exposure): &(RigIx, Minutes)| {
            let own = &problem.rigs[rig.ix()];
            (own.positions as usize, shortest_stay(own, *exposure))
        };
        Some(Self {
            run,
            single,
            units: ahead.count(),
            time: last.rest_max - last.rest_min,
            people: problem.crews[problem.condition(&own.steps[single]).crew.ix()]
                .people
                .most() as usize,
            hands: hands.min()?,
            places: rigs.iter().map(place).collect(),
        })
    }

    /// True where some can keep the rest, and not all.
    fn is_too_long(&self) -> bool {
        (1..self.units).contains(&self.takes(self.time))
    }

    /// How many units at most can begin, or end, within a time.
    fn takes(&self, time: Minutes) -> usize {
        let places = self
            .places
            .iter()
            .map(|(count, stay)| in_turn(*count, *stay, time));
        let places = places.fold(0, usize::saturating_add);
        places.min(in_turn(self.people, self.hands, time))
    }

    /// The least time in which all of them can; `None` where none is enough.
    fn enough(&self) -> Option<Minutes> {
        let longest = self
            .places
            .iter()
            .map(|(_, stay)| *stay)
            .max()?
            .max(self.hands);
        let high = self.time + longest * i64::try_from(self.units).ok()?;
        Minutes::least(self.time, high, |time| self.takes(time) >= self.units)
    }

    fn words(&self, problem: &Problem, own: &Request) -> String {
        let [run, single] =
            [self.run, self.single].map(|step| &problem.condition(&own.steps[step]).method);
        let rest = &own.steps[self.run.max(self.single)];
        let taken = self.takes(self.time);
        let (least, most) = (rest.rest_min, rest.rest_max);
        let (leave, must) = if self.run < self.single {
            (
                "come out of",
                format!("begin {single} {least} to {most} after it"),
            )
        } else {
            (
                "go into",
                format!("come out of {single} {least} to {most} before it"),
            )
        };
        let crew = &problem.crews[problem.condition(&own.steps[self.single]).crew.ix()].id;
        let fewer = counted(taken, "unit", "units");
        let longer = self.enough().map_or_else(String::new, |time| {
            format!("a rest up to {}, ", least + time)
        });
        format!(
            "R9, R1: its {} units {leave} one run of {run} and must all {must}, which crew {crew} and the rigs allow \
             for {taken} of them; it takes {longer}no more than {fewer}, or keep_together = false",
            self.units
        )
    }
}

/// How long somebody of the crew is with a unit at its beginning, or at its end, at least.
fn hands(problem: &Problem, step: &Step, rig: RigIx, exposure: Minutes, at_end: bool) -> Minutes {
    let (own, condition) = (&problem.rigs[rig.ix()], problem.condition(step));
    let watched = condition.watch == Watch::Full && !problem.pauses(condition, rig);
    // Whoever may wait in the rig may be unloaded long after the watch.
    let watched = watched && (!at_end || condition.max_wait == Minutes::ZERO);
    let ends = if at_end { own.unload } else { own.load };
    ends + if watched { exposure } else { Minutes::ZERO }
}

/// How many can have their turn within a time if so many have it at once, each for that long.
pub(crate) fn in_turn(at_once: usize, length: Minutes, time: Minutes) -> usize {
    let turns = match time.get().checked_div(length.get()) {
        Some(turns) => usize::try_from(turns + 1).unwrap_or(usize::MAX),
        None => usize::MAX,
    };
    at_once.saturating_mul(turns)
}
