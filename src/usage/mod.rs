//! How rigs and people are used: from what happened up to now, and from the plan in force after it. Pure.
//!
//! [`Usage::of`] takes the lab, the floor and an instant, and works everything out once; then any interval
//! can be asked for. Every minute of a rig is in exactly one [`State`], so that the states of an interval add
//! up to its length, on the days of 23 and 25 hours too. How many positions were filled is counted beside it.
//!
//! | Topic | File |
//! |---|---|
//! | stays of units on rigs, with the instants that nobody recorded | [`stay`] |
//! | states of rigs, and minutes by state | [`state`], [`rigs`] |
//! | people: hands-on minutes of minutes on shift | [`crews`] |
//! | requests: touch time, and waits by cause | [`waits`] |
//! | what exposures really took | [`rates`] |
//! | local days and ISO weeks, rows of rigs, groups, backlog | [`table`] |
//! | what is late and what holds it up | [`late`] |
//! | when requests will be finished, and how sure that is | [`forecast`] |
//!
//! This room reads no clock and no file; it judges no plan.

pub mod crews;
pub mod forecast;
pub mod late;
pub mod rates;
pub mod rigs;
pub mod state;
pub mod stay;
pub mod table;
#[cfg(test)]
mod tests;
pub mod waits;

pub use crews::CrewMinutes;
pub use late::{HeldUp, LateRequest};
pub use rates::Rate;
pub use rigs::RigMinutes;
pub use state::State;
pub use stay::{Stage, Stay};
pub use table::{Bottleneck, Cell, Grain, GroupLoad, Interval, LoadTable, RigLoad, intervals};
pub use waits::{Cause, RequestTime};

use crate::domain::lab::Lab;
use crate::domain::steps::Walks;
use crate::domain::{Minute, Minutes, Span, UnitId, Verdict, Zone};
use crate::floor::Floor;
use crate::problem::{Crew, OnTime, crews_on};
use std::collections::BTreeMap;

/// How a lab is used, to be asked for any interval.
#[derive(Clone, Debug)]
pub struct Usage {
    /// The instant up to which events count, and from which on the plan does.
    pub now: Minute,
    /// From the first record to the end of the plan in force, or to `now`; nothing is known outside.
    pub known: Span,
    /// All stays, by unit and step.
    pub stays: Vec<Stay>,
    /// For each stay, from when on it could have begun.
    ready: Vec<waits::Ready>,
    zone: Zone,
    /// By rig of the lab.
    rigs: Vec<rigs::RigUse>,
    /// By crew of the lab.
    crews: Vec<crews::CrewUse>,
    calendars: Calendars,
    /// From when to when a unit was on hold.
    holds: BTreeMap<UnitId, Vec<Span>>,
}

impl Usage {
    /// Of a lab at `now`. Linear in the number of visits and bookings, but for sorting.
    pub fn of(lab: &Lab, walks: &Walks, floor: &Floor, now: Minute) -> Self {
        Self::since(lab, walks, floor, now, Minute::FIRST)
    }

    /// The same from `since` on; of what was over before it nothing is known, but for units that the lab folder
    /// still has. So a long past costs next to nothing.
    pub fn since(lab: &Lab, walks: &Walks, floor: &Floor, now: Minute, since: Minute) -> Self {
        let visits = stay::Visits::since(lab, walks, floor, since);
        let first = visits.first().unwrap_or(now);
        let all = known(floor, first, now);
        let known = Span::new(all.start.max(since.min(now)), all.end);
        let ahead = known.end.max(now + lab.horizon);
        let window = Span::new(known.start.min(first) - Minutes::DAY, ahead + Minutes::DAY);
        let calendars = Calendars::of(lab, window);
        let holds = holds(floor, since, now);
        let stays = stay::stays(lab, walks, floor, now, &calendars, visits);
        let crews = crews::crews(lab, &stays, &calendars);
        let ready = waits::ready(lab, floor, &stays, &holds);
        let rigs = rigs::RigsOf {
            lab,
            floor,
            now,
            stays: &stays,
            calendars: &calendars,
        };
        let rigs = rigs.uses(&ready, &crews);
        Self {
            now,
            known,
            zone: lab.zone.clone(),
            calendars,
            stays,
            ready,
            rigs,
            crews,
            holds,
        }
    }

    /// Minutes of a rig, by its place in the lab, in an interval.
    ///
    /// # Panics
    /// If the lab has no such rig.
    pub fn rig(&self, rig: usize, interval: Span) -> RigMinutes {
        self.rigs[rig].within(interval)
    }

    /// Minutes of a crew, by its place in the lab, in an interval. Shifts are known within a day around
    /// [`Usage::known`], and as far ahead as the lab plans.
    ///
    /// # Panics
    /// If the lab has no such crew.
    pub fn crew(&self, crew: usize, interval: Span) -> CrewMinutes {
        self.crews[crew].within(interval)
    }

    /// True where somebody is on shift in the interval.
    pub fn is_staffed(&self, interval: Span) -> bool {
        self.calendars.site.within(interval).next().is_some()
    }

    /// True where the interval has a minute of which something is known.
    pub fn is_known(&self, interval: Span) -> bool {
        self.known.overlaps(interval)
    }
}

/// Who is on shift.
#[derive(Clone, Debug)]
pub(crate) struct Calendars {
    pub(crate) crews: Vec<Crew>,
    /// When anybody of any crew is.
    pub(crate) site: OnTime,
}

impl Calendars {
    fn of(lab: &Lab, window: Span) -> Self {
        let crews = crews_on(lab, window);
        let site = crews
            .iter()
            .flat_map(|crew| crew.on.spans().iter().copied());
        Self {
            site: OnTime::new(site.collect()),
            crews,
        }
    }
}

/// From the first record or visit to the end of the plan in force.
fn known(floor: &Floor, first_visit: Minute, now: Minute) -> Span {
    let first = floor.first().unwrap_or(now).min(first_visit).min(now);
    let booked = floor.now.booked();
    let last = booked.map(|own| own.times.out).max();
    Span::new(first, last.map_or(now, |last| last.max(now)))
}

/// When each unit that was there after `since` was on hold; a hold that stands lasts to `now`.
fn holds(floor: &Floor, since: Minute, now: Minute) -> BTreeMap<UnitId, Vec<Span>> {
    let mut holds: BTreeMap<UnitId, Vec<Span>> = BTreeMap::new();
    let all = floor.now.units.iter();
    for (unit, record) in all.filter(|(_, record)| !record.was_over_by(since)) {
        let stands = record.verdicts.values();
        let stands = stands.filter(|own| matches!(own.verdict, Verdict::Hold { .. }));
        let stands = stands.map(|own| Span::new(own.at, now));
        let all: Vec<Span> = record.holds.iter().copied().chain(stands).collect();
        if !all.is_empty() {
            holds.insert(unit.clone(), all);
        }
    }
    holds
}
