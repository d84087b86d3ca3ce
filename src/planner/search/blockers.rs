//! Ruins that begin with a unit that waits: whoever has what it waits for is taken off with it.

use super::Search;
use super::ruins::Piece;
use crate::domain::lab::Watch;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{Condition, Problem, RequestIx, RigIx, Step, UnitIx};

/// One in so many times all units of a request are taken off with the one that is in the way.
const WHOLE: usize = 8;
/// More than so many bookings in the way of one are not worth it.
const MOST: usize = 40;

/// A step that a unit waits for, and the time for which it does.
struct Wait {
    unit: UnitIx,
    step: usize,
    window: Span,
}

/// The rigs on which each crew works.
pub(super) fn rigs_of_crews(problem: &Problem) -> Vec<Vec<RigIx>> {
    let mut rigs = vec![Vec::new(); problem.crews.len()];
    for step in problem.requests.iter().flat_map(|request| &request.steps) {
        let crew = problem.condition(step).crew;
        rigs[crew.ix()].extend(problem.rigs_for(step).iter().map(|(rig, _)| *rig));
    }
    for own in &mut rigs {
        own.sort_unstable();
        own.dedup();
    }
    rigs
}

impl Search<'_, '_> {
    /// A unit that waits before one of its steps, with some who are meanwhile on the rigs that it waits for.
    pub(super) fn blockers(&mut self, first: RequestIx) -> Vec<Piece> {
        let problem = self.builder.problem;
        let Some(wait) = self.wait_of(first) else {
            return Vec::new();
        };
        let mut inside = Vec::new();
        for (rig, _) in problem.rigs_for(problem.step(wait.unit, wait.step)) {
            self.builder.lines.rigs[rig.ix()].inside(wait.window, &mut inside);
        }
        let most = 1 + self.random.below(3);
        let mut drawn = Vec::new();
        while drawn.len() < most && !inside.is_empty() {
            let other = inside.swap_remove(self.random.below(inside.len()));
            let at = self.first_step(other, |times| times.out > wait.window.start);
            drawn.extend(at.map(|step| (other, step)));
        }
        self.with_others(first, &wait, &drawn)
    }

    /// A unit that waits before one of its steps, with those who have the place or the people that it would take
    /// if it loaded at some minute of that time.
    pub(super) fn in_the_way(&mut self, first: RequestIx) -> Vec<Piece> {
        let Some(wait) = self.wait_of(first) else {
            return Vec::new();
        };
        let Some((rig, times)) = self.possible(&wait) else {
            return Vec::new();
        };
        let mut others = self.at_place(rig, &times);
        others.extend(self.at_hands(&wait, &times));
        if others.len() > MOST {
            return Vec::new();
        }
        self.with_others(first, &wait, &others)
    }

    /// What the unit that waits does from then on, and what the others do from those steps on; of its own request it
    /// goes alone.
    fn with_others(
        &mut self,
        first: RequestIx,
        wait: &Wait,
        others: &[(UnitIx, usize)],
    ) -> Vec<Piece> {
        let problem = self.builder.problem;
        let mut pieces = vec![self.since_step(wait.unit, wait.step)];
        for (other, step) in others {
            let known = |piece: &Piece| piece.units.contains(other);
            if problem.units[other.ix()].request == first || pieces.iter().any(known) {
                continue;
            }
            let piece = self.since_step(*other, *step);
            let clash = |known: &Piece| known.units.iter().any(|unit| piece.units.contains(unit));
            if !pieces.iter().any(clash) {
                pieces.push(piece);
            }
        }
        pieces.retain(|piece| self.has_bookings(piece));
        pieces
    }

    /// A wait of the unit that finishes a request, now and then of another.
    fn wait_of(&mut self, request: RequestIx) -> Option<Wait> {
        let unit = if self.random.below(3) > 0 {
            self.last_unit(request)?
        } else {
            let units: Vec<UnitIx> = self.builder.problem.units_of(request).collect();
            units[self.random.below(units.len())]
        };
        self.draw_wait(unit)
    }

    /// One step of a unit, drawn by how long the unit waits before it, and that time.
    fn draw_wait(&mut self, unit: UnitIx) -> Option<Wait> {
        let own = &self.builder.problem.units[unit.ix()];
        let mut waits: Vec<Wait> = Vec::new();
        let mut total = 0;
        for step in own.facts.len()..own.wanted {
            let load = self.builder.lines.placed(unit, step)?.times.load;
            let from = self.builder.first_loads(unit, step).start;
            let window = Span::new(from.min(load), load);
            total += window.length().get();
            waits.push(Wait { unit, step, window });
        }
        let mut drawn = self.below(total)?;
        waits.into_iter().find(|wait| {
            drawn -= wait.window.length().get();
            drawn < 0
        })
    }

    /// A whole number from 0 to below `limit`, drawn; `None` where there is none.
    fn below(&mut self, limit: i64) -> Option<i64> {
        let limit = usize::try_from(limit).ok().filter(|limit| *limit > 0)?;
        i64::try_from(self.random.below(limit)).ok()
    }

    /// A visit that loads at some minute of a wait, as the shifts allow, whoever else is there.
    fn possible(&mut self, wait: &Wait) -> Option<(RigIx, Times)> {
        let problem = self.builder.problem;
        let step = problem.step(wait.unit, wait.step);
        let from = wait.window.start + Minutes::new(self.below(wait.window.length().get())?);
        let rigs = problem.rigs_for(step);
        let (rig, exposure) = rigs[self.random.below(rigs.len())];
        Some((rig, times_from(problem, step, rig, exposure, from)?))
    }

    /// Who is in the place of a rig that is freed most easily, with the steps.
    fn at_place(&self, rig: RigIx, times: &Times) -> Vec<(UnitIx, usize)> {
        let stay = times.stay();
        let mut inside = Vec::new();
        self.builder.lines.rigs[rig.ix()].fewest_inside(stay, &mut inside);
        let step = |other| self.first_step(other, |own| own.stay().overlaps(stay));
        let steps = inside.into_iter();
        steps
            .filter_map(|other| Some((other, step(other)?)))
            .collect()
    }

    /// Who keeps the crew of a step busy while it would have to load, watch or unload, with the steps; of a crew of
    /// several only now and then, since one of them may be free.
    fn at_hands(&mut self, wait: &Wait, times: &Times) -> Vec<(UnitIx, usize)> {
        let problem = self.builder.problem;
        let condition = problem.condition(problem.step(wait.unit, wait.step));
        let people = problem.crews[condition.crew.ix()].people.most();
        if people > 1 && self.random.below(people as usize + 1) > 0 {
            return Vec::new();
        }
        let mut busy = Vec::new();
        let mut inside = Vec::new();
        for hands in hands(condition, times) {
            for rig in &self.rigs_of_crews[condition.crew.ix()] {
                self.builder.lines.rigs[rig.ix()].inside(hands, &mut inside);
            }
            for other in inside.drain(..) {
                let own = &problem.units[other.ix()];
                let mut steps = own.facts.len()..own.wanted;
                let step = steps.find(|step| {
                    let theirs = problem.condition(problem.step(other, *step));
                    let placed = self.builder.lines.placed(other, *step);
                    theirs.crew == condition.crew
                        && placed.is_some_and(|placed| {
                            let taken = self::hands(theirs, &placed.times);
                            taken.iter().any(|span| span.overlaps(hands))
                        })
                });
                busy.extend(step.map(|step| (other, step)));
            }
        }
        busy
    }

    /// The first step of a unit that is no fact and is booked at such times.
    fn first_step(&self, unit: UnitIx, is: impl Fn(&Times) -> bool) -> Option<usize> {
        let own = &self.builder.problem.units[unit.ix()];
        (own.facts.len()..own.wanted).find(|step| {
            let placed = self.builder.lines.placed(unit, *step);
            placed.is_some_and(|placed| is(&placed.times))
        })
    }

    /// The unit, now and then its whole request, from the stage of a step on.
    fn since_step(&mut self, unit: UnitIx, step: usize) -> Piece {
        let request = self.builder.problem.units[unit.ix()].request;
        let stages = self.stages(request);
        let stage = stages.into_iter().rev().find(|stage| *stage <= step);
        let mut piece = self.part(request, unit, stage.unwrap_or(0));
        if self.random.below(WHOLE) == 0 {
            piece.units = self.builder.problem.units_of(request).collect();
        }
        piece
    }
}

/// When the crew of a condition has its hands full with a visit: at the load, with a full watch until the end of the
/// exposure, and at the unload.
fn hands(condition: &Condition, times: &Times) -> [Span; 2] {
    let until = if condition.watch == Watch::Full {
        times.end
    } else {
        times.start
    };
    [
        Span::new(times.load, until),
        Span::new(times.unload, times.out),
    ]
}

/// The times of a step on a rig that loads at `from` or as soon as its crew is on shift, if nothing is booked.
fn times_from(
    problem: &Problem,
    step: &Step,
    rig: RigIx,
    exposure: Minutes,
    from: Minute,
) -> Option<Times> {
    let condition = problem.condition(step);
    let own = &problem.rigs[rig.ix()];
    let on = &problem.crews[condition.crew.ix()].on;
    let watched = condition.watch == Watch::Full && !problem.pauses(condition, rig);
    let hands = own.load + if watched { exposure } else { Minutes::ZERO };
    let load = on.first_whole(from, hands)?;
    let start = load + own.load;
    let end = problem.exposure_end(condition, rig, start, exposure)?;
    let unload = on.first_whole(end, own.unload)?;
    Some(Times {
        load,
        start,
        end,
        unload,
        out: unload + own.unload,
    })
}
