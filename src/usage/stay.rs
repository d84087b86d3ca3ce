//! Stays of units on rigs: those that happened, those that go on, and those that are booked.
//!
//! Of a stay that happened only its ends are recorded: when its load began and when its unload was over. The
//! instants between are worked out: load and unload take what the lab says of the rig, the exposure takes what
//! its step takes on that rig (pauses included), and what is left is the wait for somebody to take it out. A
//! step that the lab folder no longer has is taken as exposure from load to unload.

use super::Calendars;
use crate::domain::lab::{Amount, Lab, Loading, Request, Rig, Watch};
use crate::domain::plan::{Booking, Times};
use crate::domain::steps::{WalkStep, Walks, step_of};
use crate::domain::{CrewId, MethodId, Minute, Minutes, RequestId, RigId, Span, UnitId};
use crate::floor::{Floor, VisitRecord};
use crate::problem::{OnTime, time_on};
use std::collections::{BTreeMap, HashMap};

/// How far a stay has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// The unit is out.
    Over,
    /// The unit is on the rig.
    Running,
    /// Booked by the plan in force.
    Booked,
}

/// A stay of a unit on a rig for a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay {
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// Place of its request in the lab; `None` where the lab folder no longer has it.
    pub request: Option<usize>,
    /// Place of its rig in the lab.
    pub rig: usize,
    /// Position on rigs loaded each, where it is known.
    pub position: Option<u32>,
    /// How far it has come.
    pub stage: Stage,
    /// When; what lies ahead begins at now at the earliest.
    pub times: Times,
    /// What is known of the step on the rig; `None` where the lab folder no longer has it.
    pub step_on: Option<StepOn>,
}

/// A step on a rig, as the lab says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepOn {
    /// The method.
    pub method: MethodId,
    /// Place of the crew that loads and unloads; `None` where the lab has no crews.
    pub crew: Option<usize>,
    /// How long the exposure takes there, pauses excluded; `None` where the rig cannot do it as the lab is now.
    pub exposure: Option<Minutes>,
    /// Smallest gap since the step before.
    pub rest_min: Minutes,
    /// The exposure advances only while this watch is there; `None` where it always advances.
    pub pauses: Option<Watch>,
    /// The exposure takes a person of the crew.
    pub is_watched: bool,
    /// Equal where no changeover lies between.
    pub kind: u32,
}

impl Stay {
    /// Place of the crew that loads and unloads it.
    pub fn crew(&self) -> Option<usize> {
        self.step_on.as_ref()?.crew
    }

    /// The minutes in which its exposure may advance; `None` where it always may.
    pub(super) fn watch<'c>(&self, calendars: &'c Calendars) -> Option<&'c OnTime> {
        watch_of(self.step_on.as_ref()?, calendars)
    }

    /// The pieces of its exposure in which it advances.
    pub(super) fn advancing(&self, calendars: &Calendars) -> Vec<Span> {
        let whole = Span::new(self.times.start, self.times.end);
        match self.watch(calendars) {
            Some(watch) => watch.within(whole).collect(),
            None => vec![whole],
        }
    }
}

fn watch_of<'c>(own: &StepOn, calendars: &'c Calendars) -> Option<&'c OnTime> {
    match own.pauses? {
        Watch::None => None,
        Watch::Site => Some(&calendars.site),
        Watch::Full => calendars.crews.get(own.crew?).map(|crew| &crew.on),
    }
}

/// For each stay the number of its run: stays that lie together on a rig with one door are of one run, every
/// other stay is a run of its own.
pub(super) fn runs(lab: &Lab, stays: &[Stay]) -> Vec<usize> {
    let mut by_load: Vec<usize> = (0..stays.len()).collect();
    by_load.sort_by_key(|ix| (stays[*ix].rig, stays[*ix].times.load));
    let mut runs = vec![0; stays.len()];
    let mut last: Option<(usize, Minute)> = None;
    let mut run = 0;
    for ix in by_load {
        let stay = &stays[ix];
        let is_together = lab.rigs[stay.rig].loading == Loading::Together;
        let joins = last.is_some_and(|(rig, out)| rig == stay.rig && stay.times.load < out);
        if is_together && joins {
            last = last.map(|(rig, out)| (rig, out.max(stay.times.out)));
        } else {
            run += 1;
            last = Some((stay.rig, stay.times.out));
        }
        runs[ix] = run;
    }
    runs
}

/// What was on a rig so long before the time that is looked at does not matter for it.
const LONG_AGO: Minutes = Minutes::hours(24 * 365);

/// Visits that matter for the time from some minute on.
pub(super) struct Visits<'f>(Vec<(&'f UnitId, u32, &'f VisitRecord)>);

impl<'f> Visits<'f> {
    /// All visits of the units that the lab has, and of those that were in it after `since`. Of the others the last
    /// on each place of a rig: what was there before says whether there is a changeover. What was there a year
    /// before that, and nothing since, says nothing.
    pub(super) fn since(lab: &Lab, walks: &Walks, floor: &'f Floor, since: Minute) -> Self {
        let mut all = Vec::new();
        let mut last: BTreeMap<(&RigId, Option<u32>), (&UnitId, u32, &VisitRecord)> =
            BTreeMap::new();
        let was_there = |visit: &VisitRecord| visit.out.is_none_or(|out| out >= since);
        let long_ago = since - LONG_AGO;
        for (unit, record) in &floor.now.units {
            let visits = record.visits.iter();
            let visits = visits.map(|(step, visit)| (unit, *step, visit));
            let matters = walks.request(lab, unit).is_some();
            if !matters && record.was_over_by(long_ago) {
                continue;
            }
            if matters || record.visits.values().any(was_there) {
                all.extend(visits);
                continue;
            }
            for own in visits {
                let known = last.entry((&own.2.rig, own.2.position)).or_insert(own);
                if known.2.loaded <= own.2.loaded {
                    *known = own;
                }
            }
        }
        all.extend(last.into_values());
        Self(all)
    }

    /// When the first of them began.
    pub(super) fn first(&self) -> Option<Minute> {
        self.0.iter().map(|(.., visit)| visit.loaded).min()
    }
}

/// Every stay that is booked, and those of the visits, by unit and step.
pub(super) fn stays(
    lab: &Lab,
    walks: &Walks,
    floor: &Floor,
    now: Minute,
    calendars: &Calendars,
    visits: Visits<'_>,
) -> Vec<Stay> {
    let mut steps = Steps::new(lab, walks);
    let mut all: BTreeMap<(&UnitId, u32), Stay> = BTreeMap::new();
    // What has happened counts instead of what was booked, also where it is left out.
    let has_happened = |own: &Booking| {
        let record = floor.now.units.get(&own.unit);
        record.is_some_and(|record| record.visits.contains_key(&own.step))
    };
    for own in floor.now.booked().filter(|own| !has_happened(own)) {
        if let Some(stay) = steps.stay(&own.unit, own.step, &own.rig) {
            let times = ahead(&own.times, now);
            let position = own.position;
            all.insert(
                (&own.unit, own.step),
                Stay {
                    position,
                    times,
                    ..stay
                },
            );
        }
    }
    for (unit, step, visit) in visits.0 {
        let Some(stay) = steps.stay(unit, step, &visit.rig) else {
            all.remove(&(unit, step));
            continue;
        };
        let booked = floor.booking(unit, step).filter(|own| own.rig == visit.rig);
        let rig = &lab.rigs[stay.rig];
        let (times, stage) = started(rig, visit, booked, now, |start| {
            exposure_end(stay.step_on.as_ref()?, start, calendars)
        });
        let position = visit.position;
        let stay = Stay {
            position,
            stage,
            times,
            ..stay
        };
        all.insert((unit, step), stay);
    }
    all.into_values().collect()
}

/// Booked times as far as they still lie ahead.
fn ahead(times: &Times, now: Minute) -> Times {
    Times {
        load: times.load.max(now),
        start: times.start.max(now),
        end: times.end.max(now),
        unload: times.unload.max(now),
        out: times.out.max(now),
    }
}

/// The five instants of a stay that has started: those of the past as far as they can be told from its ends,
/// those ahead as the plan foresees them.
fn started(
    rig: &Rig,
    visit: &VisitRecord,
    booked: Option<&Booking>,
    now: Minute,
    exposure_end: impl Fn(Minute) -> Option<Minute>,
) -> (Times, Stage) {
    let load = visit.loaded;
    if let Some(out) = visit.out {
        let start = (load + rig.load).min(out);
        let unload = (out - rig.unload).max(start);
        let end = exposure_end(start).map_or(unload, |end| end.min(unload));
        let times = Times {
            load,
            start,
            end,
            unload,
            out,
        };
        return (times, Stage::Over);
    }
    let start = load + rig.load;
    let foreseen = booked.map(|own| own.times.end + (load - own.times.load));
    let end = exposure_end(start).or(foreseen).unwrap_or(now).max(start);
    let booked_unload = booked.map_or(end, |own| own.times.unload);
    let unload = end.max(now).max(booked_unload);
    let times = Times {
        load,
        start,
        end,
        unload,
        out: unload + rig.unload,
    };
    (times, Stage::Running)
}

/// When an exposure that begins at `start` ends, pauses included.
fn exposure_end(own: &StepOn, start: Minute, calendars: &Calendars) -> Option<Minute> {
    let length = own.exposure?;
    match watch_of(own, calendars) {
        Some(watch) => watch.advance(start, length),
        None => Some(start + length),
    }
}

/// What makes a changeover needless: the same fixture on rigs loaded each, the same condition on others.
#[derive(PartialEq, Eq, Hash)]
enum Kind {
    Fixture(String, MethodId),
    Condition(MethodId, Amount, Vec<(String, u64)>),
}

/// Steps on rigs, each worked out once.
struct Steps<'l> {
    lab: &'l Lab,
    walks: &'l Walks,
    rigs: HashMap<&'l RigId, usize>,
    crews: HashMap<&'l CrewId, usize>,
    requests: HashMap<&'l RequestId, usize>,
    known: HashMap<(usize, u32, usize), Option<StepOn>>,
    kinds: HashMap<Kind, u32>,
}

impl<'l> Steps<'l> {
    fn new(lab: &'l Lab, walks: &'l Walks) -> Self {
        Self {
            lab,
            walks,
            rigs: lab
                .rigs
                .iter()
                .zip(0..)
                .map(|(own, ix)| (&own.id, ix))
                .collect(),
            crews: lab
                .crews
                .iter()
                .zip(0..)
                .map(|(own, ix)| (&own.id, ix))
                .collect(),
            requests: lab
                .requests
                .iter()
                .zip(0..)
                .map(|(own, ix)| (&own.id, ix))
                .collect(),
            known: HashMap::new(),
            kinds: HashMap::new(),
        }
    }

    /// A booked stay without its times; `None` where the lab does not have the rig any more.
    fn stay(&mut self, unit: &UnitId, step: u32, rig: &RigId) -> Option<Stay> {
        let rig = *self.rigs.get(rig)?;
        let request = self.walks.request(self.lab, unit);
        let request = request.and_then(|own| self.requests.get(&own.id).copied());
        let step_on = request.and_then(|request| self.step_on(request, step, rig));
        let never = Minute::FIRST;
        Some(Stay {
            unit: unit.clone(),
            step,
            request,
            rig,
            position: None,
            stage: Stage::Booked,
            times: Times {
                load: never,
                start: never,
                end: never,
                unload: never,
                out: never,
            },
            step_on,
        })
    }

    fn step_on(&mut self, request: usize, step: u32, rig: usize) -> Option<StepOn> {
        let key = (request, step, rig);
        if let Some(known) = self.known.get(&key) {
            return known.clone();
        }
        let own = &self.lab.requests[request];
        let walked = step_of(self.walks.steps(own), step);
        let found = walked.map(|walked| self.look(own, walked, &self.lab.rigs[rig]));
        let found = found.map(|(mut step_on, kind)| {
            let next = u32::try_from(self.kinds.len()).unwrap_or(u32::MAX);
            step_on.kind = *self.kinds.entry(kind).or_insert(next);
            step_on
        });
        self.known.insert(key, found.clone());
        found
    }

    fn look(&self, request: &Request, walked: &WalkStep, rig: &Rig) -> (StepOn, Kind) {
        let method = &self.lab.methods[&walked.method];
        let crew = match &method.crew {
            Some(id) => self.crews.get(id).copied(),
            None => Some(0).filter(|_| !self.lab.crews.is_empty()),
        };
        let pauses = method.pausable && rig.loading == Loading::Each;
        let step_on = StepOn {
            method: method.id.clone(),
            crew,
            exposure: time_on(self.lab, rig, walked).ok(),
            rest_min: walked.rest.min,
            pauses: Some(method.watch).filter(|watch| pauses && *watch != Watch::None),
            is_watched: method.watch == Watch::Full,
            kind: 0,
        };
        let kind = if rig.loading == Loading::Each {
            Kind::Fixture(request.product.clone(), method.id.clone())
        } else {
            let severity = walked.severity.iter();
            let severity = severity.map(|(name, value)| (name.clone(), value.to_bits()));
            Kind::Condition(method.id.clone(), walked.amount, severity.collect())
        };
        (step_on, kind)
    }
}
