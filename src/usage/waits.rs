//! Requests: touch time, and waits by cause.
//!
//! A unit's time runs from the minute its request is taken in and ready to the end of its last stay. In it the
//! unit is loaded, exposed or unloaded ([`Cause::Touch`]) or it waits: between two stays for the rig of the next
//! one, in a rig for somebody to take it out or to watch it. Of several causes of a wait the first of
//! [`Cause::ALL`] counts.

use super::Usage;
use super::state::{Layers, pieces};
use super::stay::{Stay, runs};
use crate::domain::lab::Lab;
use crate::domain::{Minute, Minutes, RequestId, Span, UnitId};
use crate::floor::Floor;
use crate::problem::OnTime;
use std::collections::{BTreeMap, HashMap};
use std::ops::Index;

/// What a unit's time goes into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// It is loaded, exposed or unloaded; the one that is no wait.
    Touch,
    /// It is on hold.
    Held,
    /// The smallest rest before its next step has not passed.
    Rest,
    /// Its rig is down or out for calibration.
    Down,
    /// Its rig has no place for it.
    Rig,
    /// Nobody of any crew is on shift.
    Closed,
    /// Nobody of its crew is free.
    Crew,
    /// Anything else: its run waits for other units, a changeover, the order of the plan, nobody came.
    Other,
}

impl Cause {
    /// All of them; the first that holds counts.
    pub const ALL: [Self; 8] = [
        Self::Touch,
        Self::Held,
        Self::Rest,
        Self::Down,
        Self::Rig,
        Self::Closed,
        Self::Crew,
        Self::Other,
    ];

    /// Its word, as columns of tables have it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Touch => "touch",
            Self::Held => "held",
            Self::Rest => "rest",
            Self::Down => "down",
            Self::Rig => "rig",
            Self::Closed => "closed",
            Self::Crew => "crew",
            Self::Other => "other",
        }
    }
}

/// The time of a request's units, by what it goes into.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RequestTime {
    /// The request.
    pub request: RequestId,
    /// How many of its units have a time.
    pub units: usize,
    minutes: [Minutes; Cause::ALL.len()],
}

impl Index<Cause> for RequestTime {
    type Output = Minutes;
    fn index(&self, cause: Cause) -> &Minutes {
        &self.minutes[cause as usize]
    }
}

impl RequestTime {
    /// The sum over all causes: the time of its units.
    pub fn total(&self) -> Minutes {
        self.minutes.iter().copied().sum()
    }

    /// The sum over all waits.
    pub fn waits(&self) -> Minutes {
        self.total() - self[Cause::Touch]
    }
}

/// From when on a stay could have begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Ready {
    /// Its request is taken in and ready.
    pub(super) released: Minute,
    /// The unit itself stands ready: the step before is over, the rest has passed, it is not on hold.
    pub(super) unit_from: Minute,
    /// Every unit of its run does.
    pub(super) run_from: Minute,
}

/// For each stay, from when on it could have begun; never after it did.
pub(super) fn ready(
    lab: &Lab,
    floor: &Floor,
    stays: &[Stay],
    holds: &BTreeMap<UnitId, Vec<Span>>,
) -> Vec<Ready> {
    let mut all: Vec<Ready> = Vec::with_capacity(stays.len());
    for (ix, stay) in stays.iter().enumerate() {
        let load = stay.times.load;
        let before = ix.checked_sub(1).map(|ix| &stays[ix]);
        let before = before.filter(|before| before.unit == stay.unit);
        let released = released(lab, floor, stay).unwrap_or(load).min(load);
        let rest = stay
            .step_on
            .as_ref()
            .map_or(Minutes::ZERO, |own| own.rest_min);
        let rested = before.map_or(released, |before| before.times.out + rest);
        let held = holds.get(&stay.unit).into_iter().flatten();
        let held = held.map(|hold| hold.end).filter(|end| *end <= load).max();
        let unit_from = rested.max(released).max(held.unwrap_or(released)).min(load);
        all.push(Ready {
            released,
            unit_from,
            run_from: unit_from,
        });
    }
    let runs = runs(lab, stays);
    let mut latest: HashMap<usize, Minute> = HashMap::new();
    for (run, own) in runs.iter().zip(&all) {
        let at = latest.entry(*run).or_insert(own.unit_from);
        *at = own.unit_from.max(*at);
    }
    for ((run, own), stay) in runs.iter().zip(&mut all).zip(stays) {
        own.run_from = latest[run].min(stay.times.load);
    }
    all
}

/// When the request of a stay was both taken in and ready.
fn released(lab: &Lab, floor: &Floor, stay: &Stay) -> Option<Minute> {
    let request = &lab.requests[stay.request?];
    let taken = floor.now.requests.get(&request.id);
    let taken = taken
        .and_then(|seq| floor.event(*seq))
        .map(|event| event.happened);
    Some(taken.map_or(request.ready, |taken| taken.max(request.ready)))
}

impl Usage {
    /// The time of every request of the lab that has any stay, in the order of the lab; what lies ahead is as
    /// the plan in force has it.
    pub fn requests(&self, lab: &Lab) -> Vec<RequestTime> {
        let mut all: BTreeMap<usize, RequestTime> = BTreeMap::new();
        let mut from = 0;
        while from < self.stays.len() {
            let unit = &self.stays[from].unit;
            let own = self.stays[from..]
                .iter()
                .take_while(|stay| stay.unit == *unit);
            let to = from + own.count();
            if let Some(request) = self.stays[from].request {
                let time = all.entry(request).or_insert_with(|| RequestTime {
                    request: lab.requests[request].id.clone(),
                    units: 0,
                    minutes: Default::default(),
                });
                time.units += 1;
                self.unit(from..to, time);
            }
            from = to;
        }
        all.into_values().collect()
    }

    /// Adds the time of one unit, whose stays are these.
    fn unit(&self, own: std::ops::Range<usize>, time: &mut RequestTime) {
        let mut at = self.ready[own.start].released;
        for ix in own {
            let stay = &self.stays[ix];
            let gap = Span::new(at.min(stay.times.load), stay.times.load);
            tally(gap, &self.before(ix, gap), time);
            tally(stay.times.stay(), &self.inside(stay), time);
            at = at.max(stay.times.out);
        }
    }

    /// What a unit waits for before a stay.
    fn before(&self, ix: usize, gap: Span) -> Vec<(Cause, Span)> {
        if gap.is_empty() {
            return Vec::new();
        }
        let stay = &self.stays[ix];
        let rig = &self.rigs[stay.rig];
        let holds = self.holds.get(&stay.unit).into_iter().flatten();
        let mut causes: Vec<(Cause, Span)> = holds.map(|hold| (Cause::Held, *hold)).collect();
        let is_first = ix == 0 || self.stays[ix - 1].unit != stay.unit;
        let rest = stay
            .step_on
            .as_ref()
            .map_or(Minutes::ZERO, |own| own.rest_min);
        if !is_first {
            causes.push((Cause::Rest, Span::new(gap.start, gap.start + rest)));
        }
        causes.extend(rig.out.within(gap).map(|span| (Cause::Down, span)));
        causes.extend(rig.full.within(gap).map(|span| (Cause::Rig, span)));
        causes.extend(self.nobody(stay, gap));
        causes
    }

    /// What happens to a unit in its rig.
    fn inside(&self, stay: &Stay) -> Vec<(Cause, Span)> {
        let times = &stay.times;
        let mut causes: Vec<(Cause, Span)> = stay
            .advancing(&self.calendars)
            .into_iter()
            .map(|span| (Cause::Touch, span))
            .collect();
        causes.push((Cause::Touch, Span::new(times.load, times.start)));
        causes.push((Cause::Touch, Span::new(times.unload, times.out)));
        let waits = Span::new(times.start, times.unload);
        causes.extend(self.nobody(stay, waits));
        causes
    }

    /// When nobody is there for a stay: of any crew, or of its own.
    fn nobody(&self, stay: &Stay, span: Span) -> Vec<(Cause, Span)> {
        let mut causes = Vec::new();
        causes.extend(outside(&self.calendars.site, span).map(|own| (Cause::Closed, own)));
        if let Some(crew) = stay.crew().and_then(|crew| self.crews.get(crew)) {
            causes.extend(outside(&crew.free, span).map(|own| (Cause::Crew, own)));
        }
        causes
    }
}

/// Adds the minutes of a span by cause; the first that holds counts.
fn tally(span: Span, causes: &[(Cause, Span)], time: &mut RequestTime) {
    let mut layers = Layers::default();
    for (cause, own) in causes {
        layers.add(*cause as usize, own.meet(span));
    }
    for (piece, top) in pieces(&layers.tops(Cause::Other as usize), span) {
        time.minutes[top.layer] += piece.length();
    }
}

/// The pieces of a span that are not in the set.
fn outside(set: &OnTime, span: Span) -> impl Iterator<Item = Span> {
    let inside: Vec<Span> = set.within(span).collect();
    let starts = std::iter::once(span.start).chain(inside.iter().map(|own| own.end));
    let ends = inside
        .iter()
        .map(|own| own.start)
        .chain(std::iter::once(span.end));
    let gaps: Vec<Span> = starts
        .zip(ends)
        .map(|(start, end)| Span::new(start, end))
        .collect();
    gaps.into_iter().filter(|gap| !gap.is_empty())
}
