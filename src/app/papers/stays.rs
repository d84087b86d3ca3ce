//! Visits as they happened, as they run and as they are booked, one list for papers and calendars.

use crate::app::desk::Desk;
use crate::domain::{Booking, Minute, RigId, Span, UnitId};
use crate::report::chart::{Bar, Strip};
use crate::report::paper::Look;
use std::collections::BTreeMap;

/// A visit, over, running or ahead.
#[derive(Clone, Debug)]
pub(super) struct Stay<'d> {
    pub(super) unit: &'d UnitId,
    pub(super) step: u32,
    pub(super) rig: &'d RigId,
    pub(super) position: Option<u32>,
    pub(super) run: Option<u32>,
    /// From load to out, as it was or as it is foreseen.
    pub(super) span: Span,
    pub(super) look: Look,
    /// Its booking in the plan in force.
    pub(super) booking: Option<&'d Booking>,
}

/// Every visit that touches the window, by rig, then load.
pub(super) fn stays(desk: &Desk, now: Minute, window: Span) -> Vec<Stay<'_>> {
    let floor = &desk.floor;
    let mut all = Vec::new();
    for (unit, record) in &floor.now.units {
        for (step, visit) in &record.visits {
            let booking = floor.booking(unit, *step).filter(|b| b.rig == visit.rig);
            let foreseen = booking.map_or(now, |b| b.times.out + (visit.loaded - b.times.load));
            all.push(Stay {
                unit,
                step: *step,
                rig: &visit.rig,
                position: visit.position,
                run: visit.run,
                span: Span::new(visit.loaded, visit.out.unwrap_or(foreseen.max(now))),
                look: if visit.out.is_some() {
                    Look::Done
                } else {
                    Look::Running
                },
                booking,
            });
        }
    }
    all.extend(ahead(desk).map(|booking| Stay {
        unit: &booking.unit,
        step: booking.step,
        rig: &booking.rig,
        position: booking.position,
        run: booking.run,
        span: booking.times.stay(),
        look: if booking.times.load < now {
            Look::Late
        } else {
            Look::Booked
        },
        booking: Some(booking),
    }));
    all.retain(|stay| stay.span.overlaps(window));
    let place: BTreeMap<&RigId, usize> = desk.lab.rigs.iter().map(|rig| &rig.id).zip(0..).collect();
    all.sort_by_key(|stay| (place.get(stay.rig).copied(), stay.span, stay.unit));
    all
}

/// Bookings of the plan in force that have not started.
pub(super) fn ahead(desk: &Desk) -> impl Iterator<Item = &Booking> {
    let now = &desk.floor.now;
    now.booked().filter(|own| !now.has_begun(own))
}

/// A strip a rig, with its visits and the times it was out of use; visits that begin and end together
/// are one bar.
pub(super) fn strips(desk: &Desk, now: Minute, stays: &[Stay<'_>]) -> Vec<Strip> {
    let rigs = desk.lab.rigs.iter();
    rigs.map(|rig| {
        let mut runs: BTreeMap<(Span, &'static str), Vec<&Stay<'_>>> = BTreeMap::new();
        for stay in stays.iter().filter(|stay| *stay.rig == rig.id) {
            runs.entry((stay.span, stay.look.class()))
                .or_default()
                .push(stay);
        }
        let mut bars: Vec<Bar> = runs
            .values()
            .map(|units| Bar {
                span: units[0].span,
                look: units[0].look,
                label: match units[..] {
                    [one] => one.unit.to_string(),
                    _ => format!("{} +{}", units[0].unit, units.len() - 1),
                },
            })
            .collect();
        bars.extend(out_of_use(desk, &rig.id, now).map(|(span, reason)| Bar {
            span,
            look: Look::Down,
            label: reason,
        }));
        Strip {
            name: rig.id.to_string(),
            bars,
        }
    })
    .collect()
}

/// When and why a rig is or was out of use: planned, reported, and after its calibration.
pub(super) fn out_of_use<'d>(
    desk: &'d Desk,
    rig: &'d RigId,
    now: Minute,
) -> impl Iterator<Item = (Span, String)> + 'd {
    let planned = desk.lab.outages.iter().filter(|own| own.rig == *rig);
    let planned = planned.map(|own| (own.span, format!("planned: {}", own.reason)));
    let record = desk.floor.now.rigs.get(rig);
    let repaired = record.into_iter().flat_map(|record| &record.repairs);
    let repaired = repaired.map(|(from, until, why)| (Span::new(*from, *until), why.clone()));
    let down = record.into_iter().flat_map(|record| &record.faults);
    let down = down.map(move |own| (Span::new(own.since, own.back(now).0), own.reason.clone()));
    let due = desk.lab.rigs.iter().find(|own| own.id == *rig);
    let due = due.and_then(|own| own.calibration_due).map(|date| {
        let from = desk.lab.zone.end_of_day(date);
        (
            Span::new(from, Minute::LAST),
            "calibration overdue".to_owned(),
        )
    });
    planned.chain(repaired).chain(down).chain(due)
}
