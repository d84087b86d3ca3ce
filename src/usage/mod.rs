//! Time and fill of rigs by local day, the backlog, and what is late and why. Pure.
//!
//! Up to now what happened counts, from now on the plan in force. Every minute of a day is in use, down or
//! idle, so that the three add up to the day, whose length a change of the clocks alters.

use crate::domain::lab::{Lab, Rig};
use crate::domain::{Booking, Minute, Minutes, RequestId, RigId, Span};
use crate::floor::Floor;
use crate::problem::OnTime;
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// How rigs are used over some days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoadTable {
    /// Local days, one after another.
    pub days: Vec<NaiveDate>,
    /// One row a rig, in the order of the lab.
    pub rows: Vec<RigLoad>,
    /// Requests that finish late by the plan in force, the latest first.
    pub late: Vec<LateRequest>,
}

/// A rig's row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RigLoad {
    /// The rig.
    pub rig: RigId,
    /// How many units it holds.
    pub positions: u32,
    /// One cell a day.
    pub cells: Vec<Cell>,
    /// Booked work that has not started, as time of one rig with all positions filled.
    pub backlog: Minutes,
}

/// A rig on a day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// Minutes of the local day.
    pub calendar: Minutes,
    /// With at least one unit inside, and not down.
    pub in_use: Minutes,
    /// Out of use: planned outage, reported down, past its calibration.
    pub down: Minutes,
    /// Minutes of single positions with a unit in them.
    pub filled: Minutes,
}

/// A request that finishes late by the plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateRequest {
    /// The request.
    pub request: RequestId,
    /// When it finishes.
    pub finish: Minute,
    /// How late.
    pub late: Minutes,
    /// The booking that waits longest, with its reason, where the plan has one ahead.
    pub cause: Option<Booking>,
}

impl Cell {
    /// Minutes in which the rig stood ready and empty.
    pub fn idle(&self) -> Minutes {
        self.calendar - self.in_use - self.down
    }

    /// Time in use in percent of the day.
    pub fn in_use_percent(&self) -> i64 {
        percent(self.in_use, self.calendar)
    }

    /// Positions filled in percent of what the day offers outside down time.
    pub fn filled_percent(&self, positions: u32) -> i64 {
        percent(
            self.filled,
            (self.calendar - self.down) * i64::from(positions),
        )
    }
}

fn percent(part: Minutes, whole: Minutes) -> i64 {
    if whole <= Minutes::ZERO {
        0
    } else {
        part.get() * 100 / whole.get()
    }
}

impl RigLoad {
    /// The sum of its cells.
    pub fn total(&self) -> Cell {
        let add = |a: Cell, b: &Cell| Cell {
            calendar: a.calendar + b.calendar,
            in_use: a.in_use + b.in_use,
            down: a.down + b.down,
            filled: a.filled + b.filled,
        };
        self.cells.iter().fold(Cell::default(), add)
    }
}

impl LoadTable {
    /// The rig whose positions are filled most over these days; `None` where nothing is in use.
    pub fn bottleneck(&self) -> Option<&RigLoad> {
        let filled = |row: &&RigLoad| row.total().filled_percent(row.positions);
        self.rows
            .iter()
            .max_by_key(filled)
            .filter(|row| filled(row) > 0)
    }
}

/// How rigs are used on `count` local days from `first` on.
pub fn load(lab: &Lab, floor: &Floor, now: Minute, first: NaiveDate, count: u32) -> LoadTable {
    let days: Vec<NaiveDate> = first.iter_days().take(count as usize).collect();
    let mut stays: BTreeMap<&RigId, Vec<Span>> = BTreeMap::new();
    let mut backlog: BTreeMap<&RigId, Minutes> = BTreeMap::new();
    for (unit, record) in &floor.now.units {
        for (step, visit) in &record.visits {
            let booked = floor
                .booking(unit, *step)
                .filter(|own| own.rig == visit.rig);
            let out = visit
                .out
                .unwrap_or_else(|| booked.map_or(now, |own| own.times.out).max(now));
            stays
                .entry(&visit.rig)
                .or_default()
                .push(Span::new(visit.loaded, out));
        }
    }
    for own in floor.now.published.iter().flat_map(|plan| &plan.bookings) {
        let record = floor.now.units.get(&own.unit);
        if record.is_some_and(|record| record.visits.contains_key(&own.step)) {
            continue;
        }
        stays.entry(&own.rig).or_default().push(own.times.stay());
        *backlog.entry(&own.rig).or_default() += own.times.stay().length();
    }
    let row = |rig: &Rig| {
        let own = stays.get(&rig.id).map_or(&[][..], Vec::as_slice);
        let work = backlog.get(&rig.id).copied().unwrap_or_default();
        RigLoad {
            rig: rig.id.clone(),
            positions: rig.positions,
            cells: cells(lab, floor, rig, own, now, &days),
            backlog: Minutes::new(work.get() / i64::from(rig.positions)),
        }
    };
    LoadTable {
        rows: lab.rigs.iter().map(row).collect(),
        late: late(floor),
        days,
    }
}

fn cells(
    lab: &Lab,
    floor: &Floor,
    rig: &Rig,
    stays: &[Span],
    now: Minute,
    days: &[NaiveDate],
) -> Vec<Cell> {
    let down = OnTime::new(down(lab, floor, rig, now));
    let used = OnTime::new(stays.to_vec());
    let cell = |day: &NaiveDate| {
        let start = lab.zone.edge(*day, chrono::NaiveTime::MIN);
        let end = lab.zone.edge(*day + Days::new(1), chrono::NaiveTime::MIN);
        let day = Span::new(start, end);
        let both = used
            .within(day)
            .flat_map(|piece| down.within(piece).collect::<Vec<Span>>());
        let in_use: Minutes = used.within(day).map(Span::length).sum();
        let overlap: Minutes = both.map(Span::length).sum();
        Cell {
            calendar: day.length(),
            in_use: in_use - overlap,
            down: down.within(day).map(Span::length).sum(),
            filled: stays
                .iter()
                .map(|stay| stay.meet(day).length().at_least_zero())
                .sum(),
        }
    };
    days.iter().map(cell).collect()
}

/// When a rig is out of use: as planned, as reported, and after its calibration.
fn down(lab: &Lab, floor: &Floor, rig: &Rig, now: Minute) -> Vec<Span> {
    let outages = lab.outages.iter().filter(|own| own.rig == rig.id);
    let mut spans: Vec<Span> = outages.map(|own| own.span).collect();
    if let Some(record) = floor.now.rigs.get(&rig.id) {
        spans.extend(
            record
                .repairs
                .iter()
                .map(|(from, to, _)| Span::new(*from, *to)),
        );
        if let Some(down) = &record.down {
            spans.push(Span::new(down.since, down.back(now).0));
        }
    }
    if let Some(date) = rig.calibration_due {
        spans.push(Span::new(lab.zone.end_of_day(date), Minute::LAST));
    }
    spans
}

fn late(floor: &Floor) -> Vec<LateRequest> {
    let Some(published) = &floor.now.published else {
        return Vec::new();
    };
    let late = published
        .finishes
        .iter()
        .filter(|own| own.late > Minutes::ZERO);
    let mut all: Vec<LateRequest> = late
        .map(|own| LateRequest {
            request: own.request.clone(),
            finish: own.finish,
            late: own.late,
            cause: longest_wait(&published.bookings, &own.request),
        })
        .collect();
    all.sort_by_key(|own| (-own.late.get(), own.request.clone()));
    all
}

/// The booking of the request that lies longest after the step before it came out.
fn longest_wait(bookings: &[Booking], request: &RequestId) -> Option<Booking> {
    let own: Vec<&Booking> = bookings
        .iter()
        .filter(|own| own.request == *request)
        .collect();
    let wait = |booking: &&&Booking| {
        let before = own
            .iter()
            .find(|other| other.unit == booking.unit && other.step + 1 == booking.step);
        before.map_or(Minutes::ZERO, |before| {
            booking.times.load - before.times.out
        })
    };
    own.iter()
        .max_by_key(wait)
        .map(|booking| (*booking).clone())
}
