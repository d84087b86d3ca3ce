//! Why a request finishes when it does: the chain of reasons from its last way out back to the rig, the crew
//! or the date that causes it.
//!
//! Every visit of a plan has one binding reason why it does not load a minute earlier
//! ([`Because`]). Many of them name another visit: the step before, the unit that leaves the place, the task
//! that keeps the crew busy. Followed from the last visit of a request they make a chain, which ends where a
//! reason names no further visit: a date, a shift, an outage, a pin, what has started, or now. No visit is
//! passed twice, so every chain ends.
//!
//! Example: a unit is out at 16:00 because its check loaded at 15:30, because its slide came out then; the
//! slide loaded at 09:00 because another unit held the position till then; that one has started already.

pub use super::because::Because;

use super::alone::Alone;
use super::because::{beyond_own, reasons};
use super::construct::{Builder, rules};
use super::words;
use crate::domain::lab::Watch;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CrewIx, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit};
use std::collections::{BTreeMap, BTreeSet};

/// One visit of a chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// The visit.
    pub visit: Visit,
    /// Why it does not load earlier. The next link of the chain is the visit that this reason leads to.
    pub because: Because,
    /// Minutes in the rig after its exposure until somebody unloads it.
    pub waits: Minutes,
    /// Minutes for which its exposure stands still because its watch is away.
    pub pauses: Minutes,
}

/// The chain of one request, its last visit first; empty where the plan has no visit of it. The plan is one
/// that the checker accepts.
pub fn chain(problem: &Problem, plan: &Plan, request: RequestIx) -> Vec<Link> {
    Why::new(problem, plan).chain(request)
}

/// The chains of late requests, the latest first, of `most` of them.
pub fn late_chains(problem: &Problem, plan: &Plan, most: usize) -> Vec<(RequestIx, Vec<Link>)> {
    let finishes = plan.finishes(problem).into_iter().enumerate();
    let is_left = |ix: RequestIx| plan.left.iter().any(|left| left.request == ix);
    let late = |(ix, finish): (usize, Option<Minute>)| {
        let ix = RequestIx::from(ix);
        let late = Plan::late(problem, ix, finish?);
        (late > Minutes::ZERO && !is_left(ix)).then_some((late, ix))
    };
    let mut late: Vec<(Minutes, RequestIx)> = finishes.filter_map(late).collect();
    if late.is_empty() {
        return Vec::new();
    }
    late.sort_by_key(|(late, ix)| (-late.get(), *ix));
    late.truncate(most);
    let mut why = Why::new(problem, plan);
    late.iter().map(|(_, ix)| (*ix, why.chain(*ix))).collect()
}

/// The chain in words, a short line a link; visits that follow each other on one rig share a line. The last
/// line is the cause.
pub fn lines(problem: &Problem, chain: &[Link]) -> Vec<String> {
    words::chain(problem, chain)
}

/// What holds visits up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Holder {
    /// The place on a rig is taken.
    Rig(RigIx),
    /// Everybody of a crew is busy.
    Busy(CrewIx),
    /// Nobody of a crew is on shift, to unload or to watch.
    Away(CrewIx),
}

impl Holder {
    /// The rig, where it is one.
    pub const fn rig(self) -> Option<RigIx> {
        match self {
            Self::Rig(rig) => Some(rig),
            Self::Busy(_) | Self::Away(_) => None,
        }
    }
}

/// What holds the visits of a chain up, with the minutes it does: places and people that were taken by what
/// comes before, and waits in rigs for somebody; longest first.
pub fn held_up(problem: &Problem, chain: &[Link]) -> Vec<(Holder, Minutes)> {
    let mut by_holder: BTreeMap<Holder, Minutes> = BTreeMap::new();
    let mut add = |holder, minutes: Minutes| {
        *by_holder.entry(holder).or_insert(Minutes::ZERO) += minutes.at_least_zero();
    };
    for pair in chain.windows(2) {
        let (held, by) = (&pair[0], &pair[1]);
        let stay = by.visit.times.stay().length() - by.waits - by.pauses;
        match held.because.holder() {
            Some(Holder::Rig(rig)) => add(Holder::Rig(rig), stay),
            Some(holder) => {
                let task = task_until(&by.visit.times, held.visit.times.load);
                add(holder, task);
                // Whoever is unloaded just then was in the rig before.
                if by.visit.rig == held.visit.rig && task < stay {
                    add(Holder::Rig(by.visit.rig), stay - task);
                }
            }
            None => {}
        }
    }
    for link in chain {
        let step = problem.step(link.visit.unit, link.visit.step);
        add(
            Holder::Away(problem.condition(step).crew),
            link.waits + link.pauses,
        );
    }
    let mut all: Vec<(Holder, Minutes)> = by_holder.into_iter().collect();
    all.retain(|(_, minutes)| *minutes > Minutes::ZERO);
    all.sort_by_key(|(holder, minutes)| (-minutes.get(), *holder));
    all
}

/// How long the task of a visit lasts that ends at `at`: its unload, its load, or its watched exposure.
fn task_until(times: &Times, at: Minute) -> Minutes {
    if at == times.out {
        times.out - times.unload
    } else if at == times.start {
        times.start - times.load
    } else {
        times.end - times.load
    }
}

impl Because {
    /// True where the reason names no further visit: a cause by itself.
    pub const fn is_cause(&self) -> bool {
        matches!(
            self,
            Self::Fact
                | Self::Pinned
                | Self::Frozen
                | Self::Now
                | Self::Ready
                | Self::RigOut { .. }
                | Self::RigOutAhead { .. }
                | Self::NoShift { .. }
                | Self::NoSite
                | Self::Slack
        )
    }

    /// What is taken by somebody else, where that is the reason.
    pub const fn holder(&self) -> Option<Holder> {
        match self {
            Self::Taken { rig, .. } | Self::GapTooShort { rig } => Some(Holder::Rig(*rig)),
            Self::CrewBusy { crew, .. } => Some(Holder::Busy(*crew)),
            _ => None,
        }
    }

    /// The rig whose place is taken, where that is the reason.
    pub const fn taken_rig(&self) -> Option<RigIx> {
        match self.holder() {
            Some(Holder::Rig(rig)) => Some(rig),
            _ => None,
        }
    }
}

/// A visit by its unit and step.
type Key = (UnitIx, usize);

/// A visit that is asked for its reason; true where its unit's own steps and rests do not count.
type Asked = (Key, bool);

/// A plan to be asked.
struct Why<'p> {
    problem: &'p Problem,
    builder: Builder<'p>,
    visits: BTreeMap<Key, Visit>,
    on_rig: BTreeMap<RigIx, Vec<Key>>,
    /// Links found so far with where they lead: chains of a full lab share most of them.
    known: BTreeMap<Asked, (Link, Option<Asked>)>,
}

impl<'p> Why<'p> {
    fn new(problem: &'p Problem, plan: &Plan) -> Self {
        let alone = Alone::look(problem);
        let style = rules().remove(0).style;
        let mut builder = Builder::new(problem, &alone, style);
        builder.place_visits(plan.visits.iter());
        let key = |visit: &Visit| (visit.unit, visit.step);
        let mut on_rig: BTreeMap<RigIx, Vec<Key>> = BTreeMap::new();
        for visit in &plan.visits {
            on_rig.entry(visit.rig).or_default().push(key(visit));
        }
        Self {
            problem,
            builder,
            visits: plan.visits.iter().map(|own| (key(own), *own)).collect(),
            on_rig,
            known: BTreeMap::new(),
        }
    }

    fn chain(&mut self, request: RequestIx) -> Vec<Link> {
        let units = self.problem.units_of(request);
        let visits = units.filter_map(|unit| {
            let own = self.visits.range((unit, 0)..=(unit, usize::MAX));
            own.map(|(key, visit)| (visit.times.out, *key)).max()
        });
        let mut next = visits
            .max_by_key(|(out, (unit, _))| (*out, std::cmp::Reverse(*unit)))
            .map(|(_, key)| (key, false));
        let mut seen: BTreeSet<Asked> = BTreeSet::new();
        let mut links: Vec<Link> = Vec::new();
        while let Some(asked) = next.filter(|asked| seen.insert(*asked)) {
            let (link, leads_to) = self.ask(asked);
            links.push(link);
            next = leads_to;
        }
        links
    }

    /// A link and where it leads.
    fn ask(&mut self, asked: Asked) -> (Link, Option<Asked>) {
        if let Some(known) = self.known.get(&asked) {
            return known.clone();
        }
        let link = self.link(asked.0, asked.1);
        let leads_to = self.lead(&link);
        self.known.insert(asked, (link.clone(), leads_to));
        (link, leads_to)
    }

    /// The link of a visit; `beyond` asks past the unit's own steps and rests.
    fn link(&mut self, key: Key, beyond: bool) -> Link {
        let visit = self.visits[&key];
        let run = self.run_of(&visit);
        let because = if beyond {
            beyond_own(&mut self.builder, &run)
        } else {
            let at = run.iter().position(|own| *own == key).unwrap_or(0);
            reasons(&mut self.builder, &run).swap_remove(at)
        };
        let step = self.problem.step(visit.unit, visit.step);
        let exposure = self.problem.exposure(step, visit.rig);
        let lasted = visit.times.end - visit.times.start;
        Link {
            visit,
            because,
            waits: visit.times.unload - visit.times.end,
            pauses: exposure.map_or(Minutes::ZERO, |own| (lasted - own).at_least_zero()),
        }
    }

    /// The visits that load together with this one, itself included.
    fn run_of(&self, visit: &Visit) -> Vec<Key> {
        if !matches!(visit.place, Place::Run(_)) {
            return vec![(visit.unit, visit.step)];
        }
        let together = |key: &&Key| {
            let own = &self.visits[*key];
            own.times.load == visit.times.load && matches!(own.place, Place::Run(_))
        };
        self.on_rig[&visit.rig]
            .iter()
            .filter(together)
            .copied()
            .collect()
    }

    /// The visit that a link's reason leads to, and whether to ask past that visit's own steps.
    fn lead(&self, link: &Link) -> Option<Asked> {
        let visit = &link.visit;
        let plain = |key: Key| Some((key, false)).filter(|_| self.visits.contains_key(&key));
        match &link.because {
            Because::After { step, .. } => plain((visit.unit, *step)),
            Because::RunWaits { unit, .. } | Because::RunFixed { unit } => {
                let run = self.run_of(visit);
                plain(*run.iter().find(|(own, _)| own == unit)?)
            }
            Because::Taken { rig, by, until, .. } => {
                let left = |key: &&Key| {
                    self.visits[*key].times.out == *until && by.is_none_or(|by| by == key.0)
                };
                plain(*self.on_rig.get(rig)?.iter().find(left)?)
            }
            Because::GapTooShort { rig } => self.left_before(*rig, visit).and_then(plain),
            Because::NextStep { .. } => self.next_step(visit).map(|key| (key, true)),
            Because::CrewBusy { crew, .. } => self
                .busy_until(*crew, visit, visit.times.load)
                .and_then(plain),
            Because::NoUnload { crew } => self
                .busy_until(*crew, visit, visit.times.unload)
                .and_then(plain),
            Because::OnlyWaits => {
                let step = self.problem.step(visit.unit, visit.step);
                let crew = self.problem.condition(step).crew;
                self.busy_until(crew, visit, visit.times.unload)
                    .and_then(plain)
            }
            _ => None,
        }
    }

    /// Who left the place of `visit` last before it loads.
    fn left_before(&self, rig: RigIx, visit: &Visit) -> Option<Key> {
        let before = self.on_rig.get(&rig)?.iter().filter(|key| {
            let own = &self.visits[*key];
            let same_place = match visit.place {
                Place::Position(_) => own.place == visit.place,
                Place::Run(_) | Place::Held => true,
            };
            same_place && own.times.out <= visit.times.load && own.times.load < visit.times.load
        });
        before
            .max_by_key(|key| self.visits[*key].times.out)
            .copied()
    }

    /// The step that must follow a visit of its run soonest.
    fn next_step(&self, visit: &Visit) -> Option<Key> {
        let slack = |(unit, step): &Key| {
            let next = (*unit, step + 1);
            let after = self.visits.get(&next)?;
            let rest_max = self.problem.step(*unit, step + 1).rest_max;
            let slack = rest_max - (after.times.load - visit.times.out);
            Some((slack, next))
        };
        let all = self.run_of(visit);
        all.iter().filter_map(slack).min().map(|(_, next)| next)
    }

    /// The visit whose task keeps somebody of the crew busy up to `at`; none where nobody is on shift before.
    fn busy_until(&self, crew: CrewIx, beside: &Visit, at: Minute) -> Option<Key> {
        let run = self.run_of(beside);
        let others = self.visits.iter().filter(|(key, _)| !run.contains(key));
        let busy = others.filter(|(_, visit)| {
            visit.times.load < at
                && visit.times.out >= at
                && self
                    .tasks(visit, crew)
                    .iter()
                    .any(|task| task.end == at && task.start < at)
        });
        busy.map(|(key, visit)| (visit.times.load, *key))
            .min()
            .map(|(_, key)| key)
    }

    /// When a visit takes a person of the crew.
    fn tasks(&self, visit: &Visit, crew: CrewIx) -> Vec<Span> {
        let condition = self
            .problem
            .condition(self.problem.step(visit.unit, visit.step));
        if condition.crew != crew {
            return Vec::new();
        }
        let times = &visit.times;
        let mut tasks = vec![
            Span::new(times.load, times.start),
            Span::new(times.unload, times.out),
        ];
        if condition.watch == Watch::Full {
            tasks.push(Span::new(times.start, times.end));
            tasks.push(Span::new(times.load, times.end));
        }
        tasks
    }
}
