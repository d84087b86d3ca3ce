//! What stands in the rows of the Plan screen: what has happened, and what is planned.

use crate::app::desk::Desk;
use crate::domain::lab::Request;
use crate::domain::{Booking, Minute, Minutes, RequestId, RigId, Span, UnitId, Verdict};
use crate::floor::{RigState, UnitRecord, UnitState, VisitRecord};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A rig with what is on it.
#[derive(Clone, Debug)]
pub struct RigRow {
    /// The rig.
    pub rig: RigId,
    /// How it stands.
    pub state: RigState,
    /// How many units it holds.
    pub positions: u32,
    /// Visits, those that happened and those booked, by load.
    pub entries: Vec<PlanEntry>,
    /// When it cannot be used: planned outages, time down, time after its calibration.
    pub closed: Vec<Span>,
    /// Where bookings of the plan in force were before they were moved.
    pub was: Vec<(UnitId, Span)>,
}

/// A visit on the Plan screen.
#[derive(Clone, Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a mark of its own on the block, and none excludes another"
)]
pub struct PlanEntry {
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// From load to out.
    pub span: Span,
    /// How the unit stands in it: running, booked, over with its verdict, or late.
    pub state: UnitState,
    /// Why it is not earlier.
    pub because: String,
    /// It breaks a rule.
    pub clash: bool,
    /// Its run, on rigs loaded together.
    pub run: Option<u32>,
    /// It has not started and can be moved.
    pub movable: bool,
    /// It is not so in the plan in force.
    pub changed: bool,
    /// It is in hand.
    pub lifted: bool,
    /// By how much its request is late by the plan.
    pub late: Minutes,
}

/// A booking to be shown.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The booking.
    pub booking: Booking,
    /// It is not so in the plan in force.
    pub changed: bool,
    /// It is in hand.
    pub lifted: bool,
}

/// Units that are not in the lab any more are shown so long after they came off their last rig; their history is kept.
const SHOWN_AFTER: Minutes = Minutes::hours(24 * 7 * 14);

/// Every rig's row. `planned` are bookings that count, started or not; `broken` are steps that break a rule;
/// `was` are bookings of the plan in force that are elsewhere now.
pub fn rig_rows(
    desk: &Desk,
    now: Minute,
    planned: &[Planned],
    broken: &BTreeSet<(String, u32)>,
    was: &[Booking],
) -> Vec<RigRow> {
    let row = |rig: &crate::domain::lab::Rig| RigRow {
        rig: rig.id.clone(),
        state: desk.floor.rig_state(&desk.lab, &rig.id, now),
        positions: rig.positions,
        entries: Vec::new(),
        closed: closed(desk, rig, now),
        was: Vec::new(),
    };
    let mut rows: Vec<RigRow> = desk.lab.rigs.iter().map(row).collect();
    let place: HashMap<RigId, usize> = rows
        .iter()
        .enumerate()
        .map(|(ix, row)| (row.rig.clone(), ix))
        .collect();
    let late = late_requests(desk, planned);
    let units = desk.floor.now.units.iter();
    let before = now - SHOWN_AFTER;
    let is_shown = |unit: &UnitId, record: &UnitRecord| {
        !record.was_over_by(before) || desk.walks.request(&desk.lab, unit).is_some()
    };
    for (unit, record) in units.filter(|(unit, record)| is_shown(unit, record)) {
        for (step, visit) in &record.visits {
            if let Some(ix) = place.get(&visit.rig) {
                let entry = happened(desk, now, unit, *step, visit);
                rows[*ix].entries.push(entry);
            }
        }
    }
    for own in planned {
        let booking = &own.booking;
        let started = desk.floor.now.has_begun(booking);
        if let Some(ix) = place.get(&booking.rig).filter(|_| !started) {
            rows[*ix].entries.push(ahead(now, own, broken, &late));
        }
    }
    for own in was {
        if let Some(ix) = place.get(&own.rig) {
            rows[*ix].was.push((own.unit.clone(), own.times.stay()));
        }
    }
    for row in &mut rows {
        row.entries
            .sort_by_key(|entry| (entry.span.start, entry.unit.clone()));
        row.was.sort_by_key(|(_, span)| span.start);
    }
    rows
}

fn happened(desk: &Desk, now: Minute, unit: &UnitId, step: u32, visit: &VisitRecord) -> PlanEntry {
    let floor = &desk.floor;
    let booked = floor.booking(unit, step).filter(|own| own.rig == visit.rig);
    let foreseen = booked.map_or(now, |own| own.times.out).max(now);
    let record = floor.now.units.get(unit);
    let verdict = record.and_then(|own| own.verdicts.get(&step));
    let state = match (visit.out, verdict.map(|own| &own.verdict)) {
        (Some(_), Some(Verdict::Fail { .. })) => UnitState::Failed,
        (Some(_), Some(Verdict::Hold { .. })) => UnitState::Held,
        (Some(_), _) => UnitState::Passed,
        (None, _) => floor.unit_state(&desk.lab, &desk.walks, unit, now),
    };
    let because = match visit.out {
        Some(_) => "has happened".to_owned(),
        None => "has started".to_owned(),
    };
    PlanEntry {
        unit: unit.clone(),
        step,
        span: Span::new(visit.loaded, visit.out.unwrap_or(foreseen)),
        state,
        because,
        clash: false,
        run: visit.run,
        movable: false,
        changed: false,
        lifted: false,
        late: Minutes::ZERO,
    }
}

fn ahead(
    now: Minute,
    own: &Planned,
    broken: &BTreeSet<(String, u32)>,
    late: &BTreeMap<RequestId, Minutes>,
) -> PlanEntry {
    let booking = &own.booking;
    let overdue = booking.times.load < now;
    PlanEntry {
        unit: booking.unit.clone(),
        step: booking.step,
        span: booking.times.stay(),
        state: if overdue {
            UnitState::Late
        } else {
            UnitState::Booked
        },
        because: booking.because.clone(),
        clash: broken.contains(&(booking.unit.to_string(), booking.step)),
        run: booking.run,
        movable: true,
        changed: own.changed,
        lifted: own.lifted,
        late: late.get(&booking.request).copied().unwrap_or_default(),
    }
}

/// By how much the requests are late that these bookings finish after their due date.
fn late_requests(desk: &Desk, planned: &[Planned]) -> BTreeMap<RequestId, Minutes> {
    let mut finish: BTreeMap<&RequestId, Minute> = BTreeMap::new();
    for own in planned {
        let at = finish.entry(&own.booking.request).or_insert(Minute::FIRST);
        *at = (*at).max(own.booking.times.out);
    }
    let late = |request: &Request| {
        let by = *finish.get(&request.id)? - request.due?;
        (by > Minutes::ZERO).then(|| (request.id.clone(), by))
    };
    desk.lab.requests.iter().filter_map(late).collect()
}

fn closed(desk: &Desk, rig: &crate::domain::lab::Rig, now: Minute) -> Vec<Span> {
    let planned = desk.lab.outages.iter().filter(|own| own.rig == rig.id);
    let mut spans: Vec<Span> = planned.map(|own| own.span).collect();
    let record = desk.floor.now.rigs.get(&rig.id);
    if let Some(down) = record.and_then(crate::floor::RigRecord::down) {
        spans.push(Span::new(down.since, down.back(now).0));
    }
    if let Some(date) = rig.calibration_due {
        spans.push(Span::new(desk.lab.zone.end_of_day(date), Minute::LAST));
    }
    spans
}
