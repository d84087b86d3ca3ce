//! What the evidence offers the plan: nothing here is done by itself.

use super::desk::Desk;
use super::evidence::LegEvidence;
use super::line_samples::LineSamples;
use super::sizing::rig_days;
use crate::domain::text::counted;
use crate::domain::{RequestId, UnitId};
use crate::evidence::leg::Fate;
use crate::evidence::shown::Standing;
use std::collections::BTreeSet;

/// Something that the coordinator may do, or should know.
#[derive(Clone, Debug, PartialEq)]
pub enum Offer {
    /// What was agreed is shown; the open units need not go on.
    EarlyStop {
        /// The leg.
        request: RequestId,
        /// Units that are still open.
        open: u64,
        /// Days of rigs that the plan in force has ahead for it.
        rig_days: f64,
    },
    /// It cannot be shown any more.
    CannotPass {
        /// The leg.
        request: RequestId,
        /// Units that are still open.
        open: u64,
        /// Days of rigs that the plan in force has ahead for it.
        rig_days: f64,
    },
    /// Units were lost, and what was agreed can only be shown with more.
    SpareWanted {
        /// The leg.
        request: RequestId,
        /// How many more.
        units: u64,
    },
    /// A line has changed for the worse.
    LineAlarm(String),
}

impl Offer {
    /// The leg that it is about; a line is none.
    pub fn leg(&self) -> Option<&RequestId> {
        match self {
            Self::EarlyStop { request, .. }
            | Self::CannotPass { request, .. }
            | Self::SpareWanted { request, .. } => Some(request),
            Self::LineAlarm(_) => None,
        }
    }

    /// In a sentence.
    pub fn words(&self) -> String {
        match self {
            Self::EarlyStop {
                request,
                open,
                rig_days,
            } => format!(
                "{request} has shown what was agreed: stopping its {} frees {}",
                counted(*open, "open unit", "open units"),
                rig_time(*rig_days)
            ),
            Self::CannotPass {
                request,
                open,
                rig_days,
            } => format!(
                "{request} cannot pass any more; its {} would take {}",
                counted(*open, "open unit", "open units"),
                rig_time(*rig_days)
            ),
            Self::SpareWanted { request, units } => {
                let units = counted(*units, "spare unit", "spare units");
                format!("{request}: {units} wanted, to show what was agreed")
            }
            Self::LineAlarm(words) => words.clone(),
        }
    }
}

/// Time of rigs in days, below a tenth of one in hours.
fn rig_time(days: f64) -> String {
    let hours = days * 24.0;
    match () {
        () if days >= 0.1 => format!("{days:.1} rig-days"),
        () if hours >= 0.05 => format!("{hours:.1} rig-hours"),
        () if days > 0.0 => "less than 0.1 rig-hours".to_owned(),
        () => "no booked rig time".to_owned(),
    }
}

/// Everything that the evidence offers, alarms first, then in the order of the lab.
pub fn offers(desk: &Desk, legs: &[LegEvidence], lines: &[LineSamples]) -> Vec<Offer> {
    let mut all: Vec<Offer> = lines
        .iter()
        .filter_map(|own| own.alarm().map(Offer::LineAlarm))
        .collect();
    for own in legs {
        all.extend(of_leg(desk, own));
    }
    all
}

fn of_leg(desk: &Desk, own: &LegEvidence) -> Option<Offer> {
    let request = own.leg.request.id.clone();
    let open = own
        .leg
        .units
        .iter()
        .filter(|unit| unit.fate == Fate::Open)
        .count() as u64;
    match own.evidence.standing {
        Standing::Shown if open > 0 => Some(Offer::EarlyStop {
            rig_days: days_ahead(desk, own),
            request,
            open,
        }),
        Standing::CannotPass => Some(match own.evidence.spares {
            Some(units) => Offer::SpareWanted { request, units },
            None => Offer::CannotPass {
                rig_days: days_ahead(desk, own),
                request,
                open,
            },
        }),
        _ => None,
    }
}

/// Days of rigs that the plan in force has ahead for the open units of a leg.
fn days_ahead(desk: &Desk, own: &LegEvidence) -> f64 {
    let Some(published) = &desk.floor.now.published else {
        return 0.0;
    };
    let is_open = |own: &&crate::evidence::leg::Seen| own.fate == Fate::Open;
    let open: BTreeSet<&UnitId> = own
        .leg
        .units
        .iter()
        .filter(is_open)
        .map(|own| &own.unit)
        .collect();
    let positions = desk
        .lab
        .rigs
        .iter()
        .map(|rig| (rig.id.clone(), rig.positions))
        .collect();
    let (now, standing) = (desk.now(), &desk.floor.now);
    rig_days(&published.bookings, &positions, |booking| {
        open.contains(&booking.unit) && booking.times.out > now && !standing.has_begun(booking)
    })
}
