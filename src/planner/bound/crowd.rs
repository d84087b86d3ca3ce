//! **Own crowd.** The units of one request compete among themselves.
//!
//! For each step let `D(j)` be a minute before which no `j` units of the request can have come out of it,
//! and `A(j)` one before which no `j` can have arrived: their ways out of the step before, and its rest.
//! Of the first `j` units to come out take the one that loaded last, at `s`. All `j` had arrived by then, so
//! `s >= A(j)`. If the step's rigs hold `P` units at once, at least `j - P` had come out, so `s >= D(j - P)`.
//! If `p` people of its crew are on shift at `s` and each load takes one for `h` minutes, at least `j - p` had
//! ended those minutes. And who loads no earlier than `s` comes out no earlier than the earliest way out
//! after `s`, which is monotone in `s`. So `D(j)` is the way out after the largest of these. A unit that
//! takes part in a run counts as a place in the rig: as many as can share one ([`super::seats`]).
//!
//! Steps that a unit does on the same rigs are one queue as well: when `j` units have come out of the `m`-th
//! of them, `m × j` visits have, and the argument above holds for all visits together.
//!
//! Example: five units, a bench of two positions, 30 minutes each, all there at 08:00. `D` is 08:30, 08:30,
//! 09:00, 09:00, 09:30. After Carlier (1982): heads, tails and the work between.

use super::ahead::{Ahead, Earliest, Kind};
use super::hands::{Since, work_since};
use super::seats;
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::{Problem, Request, RequestIx, RigIx, Step, Unit};

/// Visits of a request up to which all its steps on the same rigs are looked at as one queue.
const QUEUE: usize = 240;
/// Rigs of a step up to which they are compared one by one.
const RIGS: usize = 24;
/// Units whose common work is looked at.
const CROWD: usize = 24;
/// Tries to find a minute at which hands are free.
const PATIENCE: usize = 40;

/// Earliest loads and ways out of a step, of all units that do it, each list sorted.
#[derive(Clone, Debug, Default)]
pub(super) struct Passed {
    pub(super) arrivals: Vec<Minute>,
    pub(super) loads: Vec<Minute>,
    pub(super) outs: Vec<Minute>,
}

/// What is known of each step of a request whose units are on their way.
#[derive(Clone, Debug, Default)]
pub(super) struct Walked {
    /// By step; empty where no unit has still to do it.
    pub(super) steps: Vec<Passed>,
    /// The request does not finish before; `None` where it has nothing to do.
    pub(super) finish: Option<Minute>,
}

/// Looks at the units of a request side by side.
pub(super) fn walk(ahead: &Ahead<'_>, request: RequestIx) -> Walked {
    let problem = ahead.problem;
    let own = &problem.requests[request.ix()];
    let units = &problem.units[own.units.start as usize..own.units.end as usize];
    let crowd = Crowd {
        ahead,
        request: own,
        units,
    };
    let mut walked = Walked::default();
    for step in 0..own.steps.len() {
        let passed = crowd.pass(step, &walked.steps);
        let ending = units.iter().filter(|unit| unit.wanted == step + 1);
        if let Some(last) = ending.count().checked_sub(1) {
            let facts = units.iter().filter_map(|unit| unit.facts.get(step));
            let facts = facts.map(|fact| fact.visit.times.out);
            let mut outs: Vec<Minute> = passed.outs.iter().copied().chain(facts).collect();
            outs.sort_unstable();
            walked.finish = walked.finish.max(outs.get(last).copied());
        }
        walked.steps.push(passed);
    }
    walked
}

struct Crowd<'a, 'p> {
    ahead: &'a Ahead<'p>,
    request: &'a Request,
    units: &'a [Unit],
}

/// What one step lets through.
struct Stage<'a, 'p> {
    kind: &'a Kind<'p>,
    step: usize,
    /// The first step that some unit does not do any more.
    until: usize,
    /// The most units in one run.
    in_run: usize,
    /// The most units in all its rigs.
    room: usize,
    /// Every unit takes a person of its own to load.
    hands: bool,
    unload: Minutes,
    /// The work of its crew since earlier steps.
    since: Vec<Since>,
}

impl Crowd<'_, '_> {
    fn pass(&self, step: usize, before: &[Passed]) -> Passed {
        let problem = self.ahead.problem;
        let doing = |unit: &&Unit| unit.facts.len() <= step && step < unit.wanted;
        let doing: Vec<&Unit> = self.units.iter().filter(doing).collect();
        if doing.is_empty() {
            return Passed::default();
        }
        let stage = self.stage(step, &doing);
        let arrivals = self.arrivals(step, &doing, before);
        let pins = doing
            .iter()
            .filter_map(|unit| unit.pins.iter().find(|pin| pin.step == step));
        let pinned: Vec<Minute> = pins.map(|pin| pin.load).collect();
        let free = doing.len() - pinned.len();
        let mut passed = self.through(&stage, &arrivals[..free], before);
        if free == self.units.len() {
            self.queue(&stage, before, &mut passed);
        }
        for load in pinned {
            let out = self.ahead.visit(stage.kind, load, Minute::FIRST);
            passed.loads.push(load);
            passed.outs.push(out.map_or(problem.end, |own| own.out));
        }
        passed.arrivals = arrivals;
        passed.loads.sort_unstable();
        passed.outs.sort_unstable();
        passed
    }

    fn stage(&self, step: usize, doing: &[&Unit]) -> Stage<'_, '_> {
        let kind = self.ahead.kind(&self.request.steps[step]);
        let apart = rigs_are(self.ahead.problem, self.request, step, |loading| {
            loading != Loading::Together
        });
        let unloads = kind.ways.iter().map(|way| way.unload);
        let first = doing.iter().map(|unit| unit.facts.len()).max();
        let until = doing.iter().map(|unit| unit.wanted).min();
        let until = until.expect("somebody does the step");
        let in_run = seats::units_in_a_run(self.ahead, self.request, step, until);
        Stage {
            kind,
            step,
            until,
            in_run,
            room: seats::room(self.ahead.problem, &self.request.steps[step], in_run),
            hands: apart && kind.takes_hands(),
            unload: unloads.filter(|_| apart).min().unwrap_or(Minutes::ZERO),
            since: work_since(self.ahead, self.request, first.unwrap_or(step), step),
        }
    }

    /// When the first, the second, … of the units can have arrived, sorted.
    fn arrivals(&self, step: usize, doing: &[&Unit], before: &[Passed]) -> Vec<Minute> {
        let floor = self.request.ready.max(self.ahead.problem.now);
        let Some(last) = step.checked_sub(1) else {
            return vec![floor; doing.len()];
        };
        let rest = self.request.steps[step].rest_min;
        let facts = doing.iter().filter_map(|unit| unit.facts.get(last));
        let outs = facts.map(|fact| fact.visit.times.out);
        let outs = outs.chain(before[last].outs.iter().copied());
        let mut arrivals: Vec<Minute> = outs.map(|out| (out + rest).max(floor)).collect();
        arrivals.sort_unstable();
        arrivals
    }

    /// The step itself: `A`, `D` and the hands of its crew.
    fn through(&self, stage: &Stage<'_, '_>, arrivals: &[Minute], before: &[Passed]) -> Passed {
        let mut passed = Passed::default();
        let mut hands_end: Vec<Minute> = Vec::with_capacity(arrivals.len());
        let shared = self.in_one_run(stage.step, arrivals.len());
        let people = most_people(stage.kind);
        for (ix, arrival) in arrivals.iter().enumerate() {
            let mut from = *arrival;
            if shared {
                from = arrivals[arrivals.len() - 1];
            }
            if let Some(done) = ix.checked_sub(stage.room) {
                from = from.max(passed.outs[done]);
            }
            if stage.hands {
                let worked = self.worked(stage, arrivals, before, ix);
                from = from.max(stage.kind.load_of_hands(worked));
            }
            let Earliest { load, mut out } = self.with_hands(stage, &hands_end, ix, from);
            if let Some(done) = ix.checked_sub(people) {
                out = out.max(passed.outs[done] + stage.unload);
            }
            let last = passed.outs.last().copied();
            passed.outs.push(last.map_or(out, |last| out.max(last)));
            passed.loads.push(load);
            hands_end.push(stage.kind.hands_end(load));
        }
        passed
    }

    /// The first minute by which the crew can have done its work on the first `ix + 1` units, up to the hands
    /// at this load.
    fn worked(
        &self,
        stage: &Stage<'_, '_>,
        arrivals: &[Minute],
        before: &[Passed],
        ix: usize,
    ) -> Minute {
        let supply = &self.ahead.supplies[stage.kind.condition.crew.ix()];
        let mut worked = Minute::FIRST;
        for since in &stage.since {
            let arrived = before
                .get(since.step)
                .map_or(arrivals, |step| &step.arrivals);
            let first = ix.saturating_sub(CROWD);
            for (number, from) in arrived.iter().enumerate().take(ix + 1).skip(first) {
                let units = i64::try_from(ix + 1 - number).unwrap_or(i64::MAX);
                let end = supply.given_by(*from, units * since.work);
                worked = worked.max(end.unwrap_or(self.ahead.problem.end));
            }
        }
        worked
    }

    /// All of them must share one run.
    fn in_one_run(&self, step: usize, count: usize) -> bool {
        let together = |loading| loading == Loading::Together;
        self.request.keep_together
            && count == self.units.len()
            && rigs_are(self.ahead.problem, self.request, step, together)
    }

    /// The earliest load and way out from `from` on, with somebody free of the `ix` loads before it.
    fn with_hands(
        &self,
        stage: &Stage<'_, '_>,
        hands_end: &[Minute],
        ix: usize,
        from: Minute,
    ) -> Earliest {
        let end = self.ahead.problem.end;
        let mut from = from;
        for _ in 0..PATIENCE {
            from = hands_from(stage, hands_end, ix, from);
            let own = self.ahead.step(self.request, stage.step, stage.until, from);
            let own = own.unwrap_or(Earliest {
                load: end,
                out: end,
            });
            if own.load <= from || hands_from(stage, hands_end, ix, own.load) == own.load {
                return own;
            }
            from = own.load;
        }
        Earliest {
            load: from,
            out: from,
        }
    }

    /// All steps up to this one that are done on its rigs, as one queue.
    fn queue(&self, stage: &Stage<'_, '_>, before: &[Passed], passed: &mut Passed) {
        let problem = self.ahead.problem;
        let own = &self.request.steps[stage.step];
        let inside = |step: &usize| within(problem, &self.request.steps[*step], own);
        let earlier: Vec<usize> = (0..stage.step).filter(inside).collect();
        let times = earlier.len() + 1;
        let full = |step: &usize| before[*step].loads.len() == self.units.len();
        if times == 1 || times * self.units.len() > QUEUE || !earlier.iter().all(full) {
            return;
        }
        let mut arrivals = passed.loads.clone();
        let mut kinds = vec![stage.kind];
        let mut in_run = stage.in_run;
        for step in &earlier {
            arrivals.extend(&before[*step].loads);
            kinds.push(self.ahead.kind(&self.request.steps[*step]));
            let most = seats::units_in_a_run(self.ahead, self.request, *step, stage.until);
            in_run = in_run.max(most);
        }
        let room = seats::room(problem, own, in_run);
        arrivals.sort_unstable();
        let mut outs: Vec<Minute> = Vec::with_capacity(arrivals.len());
        for (ix, arrival) in arrivals.iter().enumerate() {
            let done = ix.checked_sub(room).map(|done| outs[done]);
            let from = done.map_or(*arrival, |done| done.max(*arrival));
            let ways = kinds.iter();
            let ways = ways.filter_map(|kind| self.ahead.visit(kind, from, Minute::FIRST));
            let out = ways.map(|own| own.out).min().unwrap_or(problem.end);
            outs.push(outs.last().map_or(out, |last| out.max(*last)));
        }
        for (ix, out) in passed.outs.iter_mut().enumerate() {
            *out = (*out).max(outs[(ix + 1) * times - 1]);
        }
    }
}

/// True where every rig of a step is one of those of another. Long lists must be the same.
fn within(problem: &Problem, step: &Step, other: &Step) -> bool {
    if step.eligible == other.eligible {
        return true;
    }
    let (own, all) = (problem.rigs_for(step), problem.rigs_for(other));
    let known = |rig: &RigIx| all.binary_search_by_key(rig, |(rig, _)| *rig).is_ok();
    all.len() <= RIGS && own.iter().all(|(rig, _)| known(rig))
}

fn rigs_are(
    problem: &Problem,
    request: &Request,
    step: usize,
    what: impl Fn(Loading) -> bool,
) -> bool {
    let rigs = problem.rigs_for(&request.steps[step]).iter();
    let mut loadings = rigs.map(|(rig, _)| problem.rigs[rig.ix()].loading);
    loadings.all(what)
}

pub(super) fn most_people(kind: &Kind<'_>) -> usize {
    kind.people.most().max(1) as usize
}

/// The first minute from `from` on at which one of the people on shift has ended with the loads before.
fn hands_from(stage: &Stage<'_, '_>, hands_end: &[Minute], ix: usize, from: Minute) -> Minute {
    if !stage.hands {
        return from;
    }
    let steps = stage.kind.people.steps();
    let mut at = from;
    for _ in 0..PATIENCE {
        let next = steps.partition_point(|(from, _)| *from <= at);
        let people = next.checked_sub(1).map_or(0, |now| steps[now].1) as usize;
        let Some(waits_for) = ix.checked_sub(people) else {
            return at;
        };
        // With nobody on shift there is nothing to wait for but the next shift.
        let free = hands_end.get(waits_for).copied().unwrap_or(Minute::LAST);
        if free <= at {
            return at;
        }
        at = match steps.get(next) {
            Some((change, _)) => free.min(*change),
            None => return at,
        };
    }
    at
}
