//! The earliest way through a step when nobody else is in the lab.
//!
//! From a minute on, a step loads at the first minute at which its crew is on shift for the load, its watch
//! is there, and its rig is in use; it comes out when its exposure has ended and somebody is on shift to
//! unload it. Where it may not wait that long in the rig, or where the next step could not follow within
//! its largest rest, it loads later. Each is the least minute that keeps the rules, so a visit that loads
//! no earlier than `from` comes out no earlier than what is found here, whatever else the plan does.
//!
//! Example: a shift from 08:00 to 16:00, a load of 10 minutes, 20 hours of heat, an unload of 10 minutes and
//! at most 2 hours of wait. From 12:00 on it would end at 08:10 the next morning and come out at 08:20.
//! From 15:00 on it ends at 11:10 and comes out at 11:20. From 15:55 on nobody loads it before 08:00, it
//! ends at 04:10 of the day after, may not wait until 08:00, and so loads at 09:50 and comes out at 08:10.

use super::hands::Supply;
use crate::domain::lab::{Loading, Watch};
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CondIx, Condition, EligibleIx, OnTime, People, Problem, Request, Rig, Step};
use std::collections::BTreeMap;

/// Steps back and forth before a search settles for what it has: still a bound, only not the best.
const PATIENCE: usize = 40;
/// Steps with more rigs than this are looked at as if the rigs were one, the best of each.
const WAYS: usize = 12;

/// The least minutes at which a visit loads and comes out; not always of one and the same rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Earliest {
    pub(super) load: Minute,
    pub(super) out: Minute,
}

/// One rig for a step, or several seen as one.
#[derive(Clone, Debug)]
pub(super) struct Way {
    /// Place in [`Ahead::usable`]; of a single rig, its place in the problem.
    pub(super) room: usize,
    pub(super) load: Minutes,
    pub(super) exposure: Minutes,
    pub(super) unload: Minutes,
    pub(super) pauses: bool,
}

impl Way {
    pub(super) fn stay(&self) -> Minutes {
        self.load + self.exposure + self.unload
    }
}

/// What steps of one condition on one list of rigs have in common.
#[derive(Clone, Debug)]
pub(super) struct Kind<'p> {
    pub(super) condition: &'p Condition,
    pub(super) people: &'p People,
    on: &'p OnTime,
    pub(super) watch: Option<&'p OnTime>,
    pub(super) ways: Vec<Way>,
}

impl Kind<'_> {
    /// Minutes for which a load takes one person without a break: the load, and a full watch.
    pub(super) fn hands(&self, way: &Way) -> Minutes {
        if self.condition.watch == Watch::Full && !way.pauses {
            way.load + way.exposure
        } else {
            way.load
        }
    }

    /// True where every load takes a person.
    pub(super) fn takes_hands(&self) -> bool {
        self.ways.iter().all(|way| self.hands(way) > Minutes::ZERO)
    }

    /// A load at `load` or later takes one person, in every minute of the crew's shifts, until then at
    /// least. A full watch that pauses goes on with the shift.
    pub(super) fn hands_end(&self, load: Minute) -> Minute {
        let ends = self.ways.iter().map(|way| self.hands_end_on(way, load));
        ends.min().unwrap_or(load)
    }

    /// The same on one rig.
    pub(super) fn hands_end_on(&self, way: &Way, load: Minute) -> Minute {
        match self.watch {
            Some(watch) if self.stays(way) => {
                let start = load + way.load;
                watch.advance(start, way.exposure).unwrap_or(start)
            }
            _ => load + self.hands(way),
        }
    }

    /// Whose hands are not free before `end` has not loaded before.
    pub(super) fn load_of_hands(&self, end: Minute) -> Minute {
        let one = Minutes::new(1);
        let load = |way: &Way| match self.watch {
            Some(watch) if self.stays(way) => {
                let before = watch.latest_start(end - one, way.exposure);
                before.map_or(Minute::FIRST, |before| before + one) - way.load
            }
            _ => end - self.hands(way),
        };
        self.ways.iter().map(load).min().unwrap_or(end)
    }

    /// True where the person who has loaded stays with the exposure, pauses included.
    fn stays(&self, way: &Way) -> bool {
        way.pauses && self.condition.watch == Watch::Full && way.load > Minutes::ZERO
    }
}

/// A problem with the kinds of its steps.
pub(super) struct Ahead<'p> {
    pub(super) problem: &'p Problem,
    pub(super) kinds: Vec<Kind<'p>>,
    /// Person-minutes of each crew.
    pub(super) supplies: Vec<Supply>,
    usable: Vec<Vec<Span>>,
    positions: Vec<usize>,
    known: BTreeMap<(CondIx, EligibleIx), usize>,
}

impl<'p> Ahead<'p> {
    pub(super) fn new(problem: &'p Problem) -> Self {
        let mut ahead = Self {
            problem,
            kinds: Vec::new(),
            supplies: problem
                .crews
                .iter()
                .map(|crew| Supply::new(&crew.people))
                .collect(),
            usable: in_use(problem),
            positions: problem.rigs.iter().map(places).collect(),
            known: BTreeMap::new(),
        };
        for step in problem.requests.iter().flat_map(|own| &own.steps) {
            let key = (step.condition, step.eligible);
            if !ahead.known.contains_key(&key) {
                let kind = ahead.new_kind(step);
                ahead.known.insert(key, ahead.kinds.len());
                ahead.kinds.push(kind);
            }
        }
        ahead
    }

    /// The kind of a step.
    pub(super) fn kind(&self, step: &Step) -> &Kind<'p> {
        &self.kinds[self.kind_number(step)]
    }

    /// Its place in [`Ahead::kinds`].
    pub(super) fn kind_number(&self, step: &Step) -> usize {
        self.known[&(step.condition, step.eligible)]
    }

    fn new_kind(&mut self, step: &Step) -> Kind<'p> {
        let problem = self.problem;
        let condition = problem.condition(step);
        let crew = &problem.crews[condition.crew.ix()];
        let way = |(rig, exposure): &(crate::problem::RigIx, Minutes)| Way {
            room: rig.ix(),
            load: problem.rigs[rig.ix()].load,
            exposure: *exposure,
            unload: problem.rigs[rig.ix()].unload,
            pauses: problem.pauses(condition, *rig),
        };
        let mut ways: Vec<Way> = problem.rigs_for(step).iter().map(way).collect();
        if ways.len() > WAYS {
            ways = self.as_one(&ways);
        }
        ways.sort_by_key(Way::stay);
        Kind {
            condition,
            people: &crew.people,
            on: &crew.on,
            watch: problem.watch(condition),
            ways,
        }
    }

    /// A rig, one that pauses and one that does not, with the shortest of everything and in use whenever one
    /// of them is: whatever fits one of them fits it.
    fn as_one(&mut self, ways: &[Way]) -> Vec<Way> {
        let mut ones = Vec::new();
        for pauses in [false, true] {
            let alike: Vec<&Way> = ways.iter().filter(|way| way.pauses == pauses).collect();
            if alike.is_empty() {
                continue;
            }
            let least = |of: fn(&Way) -> Minutes| {
                let all = alike.iter().map(|way| of(way));
                all.min().expect("there is one")
            };
            let spans = alike.iter().flat_map(|way| self.usable[way.room].clone());
            let spans = OnTime::new(spans.collect()).spans().to_vec();
            ones.push(Way {
                room: self.usable.len(),
                load: least(|way| way.load),
                exposure: least(|way| way.exposure),
                unload: least(|way| way.unload),
                pauses,
            });
            let positions = alike
                .iter()
                .map(|way| self.problem.rigs[way.room].positions as usize);
            self.positions.push(positions.sum());
            self.usable.push(spans);
        }
        ones
    }

    /// The earliest load from `from` on and the earliest way out of a step, the next steps up to `until`
    /// following within their largest rests; `None` where there is none.
    pub(super) fn step(
        &self,
        request: &Request,
        step: usize,
        until: usize,
        from: Minute,
    ) -> Option<Earliest> {
        let kind = self.kind(&request.steps[step]);
        self.followed(request, step, until, |out_from| {
            self.visit(kind, from, out_from)
        })
    }

    /// The earliest of a step's visits by their ways out that the next step can follow.
    fn followed(
        &self,
        request: &Request,
        step: usize,
        until: usize,
        visit: impl Fn(Minute) -> Option<Earliest>,
    ) -> Option<Earliest> {
        let next = step + 1;
        if next >= until || request.steps[next].rest_max >= Minutes::FOREVER {
            return visit(Minute::FIRST);
        }
        let rest = &request.steps[next];
        let mut out_from = Minute::FIRST;
        for _ in 0..PATIENCE {
            let own = visit(out_from)?;
            let follows = self.step(request, next, until, own.out + rest.rest_min)?;
            if follows.load - rest.rest_max <= own.out {
                return Some(own);
            }
            out_from = follows.load - rest.rest_max;
        }
        visit(out_from)
    }

    /// The earliest load from `from` on, and the earliest way out from `out_from` on.
    pub(super) fn visit(
        &self,
        kind: &Kind<'_>,
        from: Minute,
        out_from: Minute,
    ) -> Option<Earliest> {
        let mut best: Option<Earliest> = None;
        for way in &kind.ways {
            if best.is_some_and(|best| best.load == from && best.out <= from + way.stay()) {
                break;
            }
            if let Some(own) = self.on_way(kind, way, from, out_from) {
                best = Some(best.map_or(own, |best| Earliest {
                    load: best.load.min(own.load),
                    out: best.out.min(own.out),
                }));
            }
        }
        best
    }

    /// The same on one rig.
    pub(super) fn on_way(
        &self,
        kind: &Kind<'_>,
        way: &Way,
        from: Minute,
        out_from: Minute,
    ) -> Option<Earliest> {
        let rooms = &self.usable[way.room];
        let mut from = from;
        for _ in 0..PATIENCE {
            let room = rooms.get(rooms.partition_point(|span| span.end <= from))?;
            let load = first_load(kind, way, from.max(room.start))?;
            let end = match kind.watch {
                Some(watch) if way.pauses => watch.advance(load + way.load, way.exposure)?,
                _ => load + way.load + way.exposure,
            };
            let unload = first_within(kind.on, end.max(out_from - way.unload), way.unload)?;
            let out = unload + way.unload;
            if out > room.end {
                from = room.end;
            } else if unload - end > kind.condition.max_wait {
                from = load_that_ends_at(kind, way, unload - kind.condition.max_wait);
            } else {
                return Some(Earliest { load, out });
            }
        }
        let out = from + way.stay();
        Some(Earliest { load: from, out })
    }
}

/// Places of a rig: positions, or one run at a time.
fn places(rig: &Rig) -> usize {
    match rig.loading {
        Loading::Together => 1,
        Loading::Each | Loading::Held => rig.positions as usize,
    }
}

/// When each rig is in use: outages and the time after its calibration date taken off, and on rigs
/// loaded together the runs that have started as well.
fn in_use(problem: &Problem) -> Vec<Vec<Span>> {
    let mut taken: Vec<Vec<Span>> = vec![Vec::new(); problem.rigs.len()];
    for fact in problem.units.iter().flat_map(|unit| &unit.facts) {
        let (rig, times) = (fact.visit.rig.ix(), fact.visit.times);
        let runs = problem.rigs[rig].loading == Loading::Together;
        if runs && times.load < problem.now && times.out > problem.now {
            taken[rig].push(times.stay());
        }
    }
    let free = |(rig, taken): (&Rig, Vec<Span>)| {
        let taken = OnTime::new(taken);
        let mut free = Vec::new();
        for usable in &rig.usable {
            let mut from = usable.start;
            for span in taken.within(*usable) {
                free.push(Span::new(from, span.start));
                from = span.end;
            }
            free.push(Span::new(from, usable.end));
        }
        free.retain(|span| !span.is_empty());
        free
    };
    problem.rigs.iter().zip(taken).map(free).collect()
}

/// The first minute from `from` on at which hands are there for the load, and the watch for an exposure
/// that does not pause.
fn first_load(kind: &Kind<'_>, way: &Way, from: Minute) -> Option<Minute> {
    let mut at = from;
    let hands = kind.hands(way);
    for _ in 0..PATIENCE {
        let load = first_within(kind.on, at, hands)?;
        let Some(watch) = kind.watch.filter(|_| !way.pauses) else {
            return Some(load);
        };
        let start = first_within(watch, load + way.load, way.exposure)?;
        if start == load + way.load {
            return Some(load);
        }
        at = start - way.load;
    }
    Some(at)
}

/// The first load whose exposure ends at `end` or later.
fn load_that_ends_at(kind: &Kind<'_>, way: &Way, end: Minute) -> Minute {
    let one = Minutes::new(1);
    let start = match kind.watch {
        Some(watch) if way.pauses => watch
            .latest_start(end - one, way.exposure)
            .map_or(Minute::FIRST, |before| before + one),
        _ => end - way.exposure,
    };
    start - way.load
}

/// The first minute from `from` on from which `length` minutes lie within one span of `on`; `from` itself
/// where `length` is zero.
fn first_within(on: &OnTime, from: Minute, length: Minutes) -> Option<Minute> {
    if length <= Minutes::ZERO {
        return Some(from);
    }
    on.first_whole(from, length)
}
