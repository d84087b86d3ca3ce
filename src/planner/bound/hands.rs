//! **Own crew.** The hands that a request needs are those of few people.
//!
//! From a minute `s` on a crew gives only so many person-minutes until `t`: the sum of its people over
//! time. When `j` units of a request have come through step `k`, at least `j - i + 1` of them had not yet
//! arrived at step `a` before the minute at which `i` can have arrived there, and since then the crew
//! has loaded, watched and unloaded each of them on all its steps from `a` to `k`. So `j` units are not
//! through before the crew can have given that much.
//!
//! Example: three units at 08:00, each a check of 30 minutes and then a load of 20 minutes, all by one
//! person: 150 minutes, so the last load ends no earlier than 10:30, though each step alone
//! would let the third unit load at 09:30.

use super::ahead::{Ahead, Kind};
use crate::domain::lab::{Loading, Watch};
use crate::domain::{Minute, Minutes};
use crate::problem::{People, Request, Step};

/// People over time with running sums of person-minutes.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    steps: Vec<(Minute, u32)>,
    /// Person-minutes before each step.
    before: Vec<i64>,
}

impl Supply {
    pub(super) fn new(people: &People) -> Self {
        let steps = people.steps().to_vec();
        let mut before = Vec::with_capacity(steps.len());
        let mut sum = 0;
        for (ix, (at, _)) in steps.iter().enumerate() {
            if let Some((from, people)) = ix.checked_sub(1).map(|last| steps[last]) {
                sum += (*at - from).get() * i64::from(people);
            }
            before.push(sum);
        }
        Self { steps, before }
    }

    /// Person-minutes given before `at`.
    pub(super) fn given_before(&self, at: Minute) -> i64 {
        let next = self.steps.partition_point(|(from, _)| *from <= at);
        next.checked_sub(1).map_or(0, |now| {
            let (from, people) = self.steps[now];
            self.before[now] + (at - from).get() * i64::from(people)
        })
    }

    /// The first minute by which `work` person-minutes have been given since `from`; `None` where there are
    /// not that many.
    pub(super) fn given_by(&self, from: Minute, work: i64) -> Option<Minute> {
        if work <= 0 {
            return Some(from);
        }
        let wanted = self.given_before(from) + work;
        let now = self.before.partition_point(|sum| *sum < wanted);
        let (at, people) = self.steps[now.checked_sub(1)?];
        let more = wanted - self.before[now - 1];
        (people > 0).then(|| at + Minutes::new((more + i64::from(people) - 1) / i64::from(people)))
    }
}

/// Person-minutes that each unit takes of a step's crew on its own, at least: none where a run could
/// share them.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Work {
    /// Load, and a full watch.
    pub(super) before: i64,
    /// Unload.
    pub(super) after: i64,
}

/// The work of a step.
pub(super) fn work_of(ahead: &Ahead<'_>, step: &Step) -> Work {
    let rigs = ahead.problem.rigs_for(step).iter();
    let mut loadings = rigs.map(|(rig, _)| ahead.problem.rigs[rig.ix()].loading);
    if loadings.any(|loading| loading == Loading::Together) {
        return Work::default();
    }
    let kind = ahead.kind(step);
    let watched = kind.condition.watch == Watch::Full;
    let before = kind.ways.iter().map(|way| {
        let watch = if watched { way.exposure } else { Minutes::ZERO };
        (way.load + watch).get()
    });
    let after = kind.ways.iter().map(|way| way.unload.get());
    Work {
        before: before.min().unwrap_or(0),
        after: after.min().unwrap_or(0),
    }
}

/// Where the work of a step's crew on a unit begins: the step, and the sum from there up to the hands
/// at the load of the last step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Since {
    pub(super) step: usize,
    pub(super) work: i64,
}

/// For every step from `first` to `last` with work of the crew of the last: the work since then.
pub(super) fn work_since(
    ahead: &Ahead<'_>,
    request: &Request,
    first: usize,
    last: usize,
) -> Vec<Since> {
    let crew = |kind: &Kind<'_>| kind.condition.crew;
    let own = crew(ahead.kind(&request.steps[last]));
    let mut sum = work_of(ahead, &request.steps[last]).before;
    let mut all = vec![Since {
        step: last,
        work: sum,
    }];
    for step in (first..last).rev() {
        if crew(ahead.kind(&request.steps[step])) != own {
            continue;
        }
        let work = work_of(ahead, &request.steps[step]);
        if work.before + work.after > 0 {
            sum += work.before + work.after;
            all.push(Since { step, work: sum });
        }
    }
    all
}
