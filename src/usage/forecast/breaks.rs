//! Breakdowns of rigs: when they come, how long they last, and how the plan answers them.

use super::random::Random;
use super::rates::World;
use super::setting::{Run, Setting, runs};
use super::walk::{Stay, Walk};
use crate::domain::{Minute, Minutes, Span};
use crate::floor::Down;
use crate::planner;
use crate::problem::{Fact, Problem, RigIx, UnitIx, Visit};
use std::collections::BTreeSet;

/// Purpose of random streams.
const BREAK: u64 = 3;
/// No repair takes longer.
const LONGEST: Minutes = Minutes::hours(60 * 24);
/// Spread of the time that is left where somebody has said when a rig is back.
const SAID_SIGMA: f64 = 0.5;
/// Nothing breaks later than this after the last booking.
const BEYOND: Minutes = Minutes::hours(30 * 24);

/// A rig is down for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Break {
    /// From when until when.
    pub(super) span: Span,
    /// Which.
    pub(super) rig: RigIx,
}

/// When each rig that is down now is back, and what breaks later, by time.
pub(super) fn draw(set: &Setting<'_>, world: &World, seed: u64) -> (Vec<Option<Span>>, Vec<Break>) {
    let now = set.problem.now;
    let last = set.order.last().map_or(now, |run| run.load);
    let until = (last + BEYOND).min(set.problem.end);
    let (mut down, mut later) = (Vec::new(), Vec::new());
    for (ix, is_down) in set.down.iter().enumerate() {
        let mut random = Random::new(seed, &[BREAK, ix as u64]);
        let back = is_down
            .as_ref()
            .map(|own| back(own, now, world, &mut random));
        down.push(
            is_down
                .as_ref()
                .zip(back)
                .map(|(own, back)| Span::new(own.since, back)),
        );
        let mut at = back.unwrap_or(now);
        loop {
            let days = random.exponential() / world.breakdowns[ix].max(1e-12);
            let from = at + minutes(days * Minutes::DAY.get() as f64);
            if from >= until {
                break;
            }
            at = from + repair(world, &mut random);
            let (span, rig) = (Span::new(from, at), RigIx::from(ix));
            later.push(Break { span, rig });
        }
    }
    later.sort_unstable();
    (down, later)
}

fn repair(world: &World, random: &mut Random) -> Minutes {
    minutes(world.repair.draw(random))
}

/// When a rig that is down is back: as somebody said, give or take, else a repair that has lasted so long already.
fn back(own: &Down, now: Minute, world: &World, random: &mut Random) -> Minute {
    const TRIES: usize = 50;
    if let Some(until) = own.until.filter(|until| *until > now) {
        let left = (until - now).get() as f64;
        return now + minutes(left * (SAID_SIGMA * random.normal()).exp());
    }
    let so_far = (now - own.since).at_least_zero();
    let mut drawn = std::iter::repeat_with(|| repair(world, random)).take(TRIES);
    let whole = drawn.find(|whole| *whole > so_far);
    // Longer than anybody would believe already: a day more, as the floor assumes.
    whole.map_or(now + Minutes::DAY, |whole| own.since + whole)
}

/// A drawn time in whole minutes: at least one, at most the longest repair or a thousand years.
#[expect(
    clippy::cast_possible_truncation,
    reason = "it is cut to 60 days or far below 2^63 first"
)]
fn minutes(drawn: f64) -> Minutes {
    let most = LONGEST.get() as f64 * 6000.0;
    Minutes::new(drawn.clamp(1.0, most) as i64)
}

/// Repairs plans; keeps a problem to write in.
pub(super) struct Mender {
    problem: Problem,
    freeze: Minutes,
}

impl Mender {
    pub(super) fn new(set: &Setting<'_>) -> Self {
        Self {
            problem: set.problem.clone(),
            freeze: set.problem.frozen_before - set.problem.now,
        }
    }
}

/// The whole course of things from a world and a seed.
pub(super) fn walk<'s, 'p>(
    set: &'s Setting<'p>,
    world: &'s World,
    seed: u64,
    mender: &mut Mender,
) -> (Walk<'s, 'p>, Vec<Break>) {
    let mut walk = Walk::new(set, world, seed);
    let (down, breaks) = draw(set, world, seed);
    for (ix, span) in down.iter().enumerate() {
        if let Some(span) = *span {
            walk.close(&Break {
                span,
                rig: RigIx::from(ix),
            });
        }
    }
    walk.put_facts(&down);
    walk.place_all(&set.order, set.problem.now);
    let mut order: Option<Vec<Run>> = None;
    for own in &breaks {
        walk.close(own);
        if walk.is_hit(own) {
            let old = order.as_deref().unwrap_or(&set.order);
            order = Some(walk.answer(own, old, mender));
        }
    }
    (walk, breaks)
}

impl Walk<'_, '_> {
    /// True where the rig has, or is to have, a unit while it is down.
    fn is_hit(&self, own: &Break) -> bool {
        let stays = self.stays.iter().flatten();
        let mut on_rig = stays.filter(|stay| stay.rig == own.rig);
        on_rig.any(|stay| stay.times.stay().overlaps(own.span))
    }

    /// A rig breaks: what it holds is held up, what has not begun is planned anew; the new order.
    fn answer(&mut self, own: &Break, old: &[Run], mender: &mut Mender) -> Vec<Run> {
        let at = own.span.start;
        let problem = self.set.problem;
        let units = (0..problem.units.len()).map(UnitIx::from);
        let mut ahead: Vec<(UnitIx, usize, Stay)> = Vec::new();
        for unit in units.clone() {
            for step in 0..problem.request_of(unit).steps.len() {
                let place = self.set.at(unit, step);
                if let Some(stay) = self.stays[place].take_if(|stay| stay.times.load >= at) {
                    ahead.push((unit, step, stay));
                }
            }
        }
        self.occupy_all();
        for unit in units.clone() {
            for step in 0..problem.request_of(unit).steps.len() {
                let place = self.set.at(unit, step);
                if let Some(mut stay) = self.stays[place].filter(|stay| stay.rig == own.rig) {
                    self.hold_up(&mut stay, problem.step(unit, step), own.span);
                    self.stays[place] = Some(stay);
                }
            }
        }
        self.occupy_all();
        units.for_each(|unit| self.heed_verdicts(unit));
        let order = self.mend(at, &ahead, old, mender);
        self.repairs += 1;
        self.place_all(&order, at);
        order
    }

    /// The plan repaired by the planner at a minute; runs that it has no place for keep their old order.
    fn mend(
        &self,
        at: Minute,
        ahead: &[(UnitIx, usize, Stay)],
        old: &[Run],
        mender: &mut Mender,
    ) -> Vec<Run> {
        let problem = &mut mender.problem;
        problem.now = at;
        problem.frozen_before = at + mender.freeze;
        for (rig, open) in problem.rigs.iter_mut().zip(&self.open) {
            rig.usable.clone_from(open);
        }
        for ix in 0..problem.units.len() {
            let unit = UnitIx::from(ix);
            let base = &self.set.problem.units[ix];
            let own = &mut problem.units[ix];
            own.facts.clear();
            own.published.clear();
            own.wanted = base.wanted;
            for step in 0..base.wanted {
                let Some(stay) = self.stays[self.set.at(unit, step)] else {
                    break;
                };
                let visit = visit(unit, step, &stay);
                let over = stay.times.out <= at;
                own.facts.push(Fact { visit, over });
                if over && self.ends_at(unit, step) {
                    own.wanted = step + 1;
                    break;
                }
            }
            own.pins.clone_from(&base.pins);
            own.pins
                .retain(|pin| pin.step >= own.facts.len() && pin.step < own.wanted);
        }
        for (unit, step, stay) in ahead {
            problem.units[unit.ix()]
                .published
                .push(visit(*unit, *step, stay));
        }
        let visits = planner::repair(problem);
        let covered: BTreeSet<(UnitIx, usize)> =
            visits.iter().map(|own| (own.unit, own.step)).collect();
        let mut order = runs(problem, visits.into_iter());
        for run in old {
            let mut run = run.clone();
            run.members.retain(|member| !covered.contains(member));
            if !run.members.is_empty() {
                order.push(run);
            }
        }
        order.sort_by_key(|run| (run.load, run.rig, run.members[0]));
        order
    }
}

/// A stay as a visit of a plan.
pub(super) fn visit(unit: UnitIx, step: usize, stay: &Stay) -> Visit {
    Visit {
        unit,
        step,
        rig: stay.rig,
        place: stay.place,
        times: stay.times,
    }
}
