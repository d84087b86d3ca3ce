//! What if: a changed lab, planned beside the plan in force. Nothing is recorded and no file is written.
//!
//! A [`Change`] is one thing that could be different: a rig down, one more shift, a rush request. `grammar`
//! reads it from a line and puts it in words; [`Change::apply`] makes it in a copy of the lab; [`WhatIf`]
//! holds the plans with and without the changes beside each other.

mod beside;
mod grammar;

pub use beside::{Row, WhatIf};
pub use grammar::FORMS;

use crate::domain::facts::{Stop, StopReason};
use crate::domain::lab::{OnFailure, Outage, Pin, Request, Rig, Shift};
use crate::domain::steps::walk;
use crate::domain::text::id_fault;
use crate::domain::{
    CrewId, Facts, Lab, Minute, Minutes, RequestId, RigId, SequenceId, Span, UnitId,
};
use crate::lab::nearest;
use chrono::{NaiveDate, NaiveTime, Weekday};
use std::fmt::Display;

/// When an extra shift begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Days {
    /// Every week on that day.
    Weekly(Weekday),
    /// Once.
    On(NaiveDate),
}

/// One thing that could be different.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// A rig is out of use.
    RigDown {
        /// The rig.
        rig: RigId,
        /// When.
        span: Span,
    },
    /// The outage of a rig that is in force at `at` ends then.
    RigUp {
        /// The rig.
        rig: RigId,
        /// When it is back.
        at: Minute,
    },
    /// One more rig like another.
    RigCopy {
        /// The rig to copy.
        rig: RigId,
        /// The name of the new one.
        copy: RigId,
    },
    /// A rig has so many positions.
    Positions {
        /// The rig.
        rig: RigId,
        /// From 1.
        positions: u32,
    },
    /// A rig's calibration is due on that date; `None`: never.
    Calibration {
        /// The rig.
        rig: RigId,
        /// The last date on which it may be used.
        due: Option<NaiveDate>,
    },
    /// One more shift, or more people in one: shifts that overlap add up.
    Shift {
        /// The crew.
        crew: CrewId,
        /// When it begins.
        days: Days,
        /// From this time of day.
        from: NaiveTime,
        /// To this time of day; at or before `from` means the next day.
        to: NaiveTime,
        /// How many people.
        people: u32,
    },
    /// A request that is not in the folder.
    Rush {
        /// Its id.
        request: RequestId,
        /// What its units walk.
        sequence: SequenceId,
        /// How many units.
        units: u32,
        /// Not before this; `None`: from now.
        ready: Option<Minute>,
        /// Due date, if any.
        due: Option<Minute>,
        /// 1 to 9.
        priority: u8,
    },
    /// A request is dropped: units that have started stop after their step.
    Drop {
        /// The request.
        request: RequestId,
    },
    /// A request has another priority.
    Priority {
        /// The request.
        request: RequestId,
        /// 1 to 9.
        priority: u8,
    },
    /// A request is due at another time; `None`: never.
    Due {
        /// The request.
        request: RequestId,
        /// When.
        due: Option<Minute>,
    },
    /// A request is ready at another time.
    Ready {
        /// The request.
        request: RequestId,
        /// When.
        ready: Minute,
    },
    /// A step is fixed to a rig and time.
    Pin(Pin),
    /// A pin is taken away.
    Unpin {
        /// The unit.
        unit: UnitId,
        /// The step, from 1.
        step: u32,
    },
    /// The plan may reach so far.
    Horizon(Minutes),
}

impl Change {
    /// Makes the change in a lab and its facts, to be planned from `now`.
    ///
    /// # Errors
    /// Why it cannot be made, in words; then nothing is changed.
    pub fn apply(&self, lab: &mut Lab, facts: &mut Facts, now: Minute) -> Result<(), String> {
        match self {
            Self::RigDown { rig, span } => {
                let rig = find_rig(lab, rig)?.id.clone();
                if span.is_empty() {
                    return Err(format!("{rig} would be back before it is down"));
                }
                let (span, reason) = (*span, "what if".to_owned());
                lab.outages.push(Outage { rig, span, reason });
                Ok(())
            }
            Self::RigUp { rig, at } => end_outage(lab, facts, rig, *at),
            Self::RigCopy { rig, copy } => copy_rig(lab, rig, copy),
            Self::Positions { rig, positions } => set_positions(lab, facts, rig, *positions),
            Self::Calibration { rig, due } => {
                find_rig(lab, rig)?.calibration_due = *due;
                Ok(())
            }
            Self::Shift {
                crew,
                days,
                from,
                to,
                people,
            } => {
                let shift = shift_of(*days, *from, *to, *people);
                add_shift(lab, crew, shift)
            }
            Self::Rush { .. } => self.add_request(lab, now),
            Self::Drop { request } => drop_request(lab, facts, request),
            Self::Priority { request, priority } => {
                if !(1..=9).contains(priority) {
                    return Err(format!("{priority} is no priority: 1 to 9 are"));
                }
                find_request(lab, request)?.priority = *priority;
                Ok(())
            }
            Self::Due { request, due } => {
                find_request(lab, request)?.due = *due;
                Ok(())
            }
            Self::Ready { request, ready } => {
                find_request(lab, request)?.ready = *ready;
                Ok(())
            }
            Self::Pin(pin) => add_pin(lab, pin),
            Self::Unpin { unit, step } => {
                let before = lab.pins.len();
                lab.pins
                    .retain(|own| own.unit != *unit || own.step != *step);
                if lab.pins.len() == before {
                    return Err(format!("{unit} step {step} has no pin"));
                }
                Ok(())
            }
            Self::Horizon(horizon) => {
                if *horizon <= Minutes::ZERO {
                    return Err("a horizon is longer than nothing".to_owned());
                }
                lab.horizon = *horizon;
                Ok(())
            }
        }
    }

    /// Adds a rush request; its product is that of the folder's first request that walks the same.
    fn add_request(&self, lab: &mut Lab, now: Minute) -> Result<(), String> {
        let Self::Rush {
            request,
            sequence,
            units,
            ready,
            due,
            priority,
        } = self
        else {
            unreachable!("asked for rush requests only")
        };
        if lab.requests.iter().any(|own| own.id == *request) {
            return Err(format!("there is a request {request} already"));
        }
        if let Some(why) = id_fault(request.as_str()) {
            return Err(format!("request id: {why}"));
        }
        if *units == 0 || *units > 10_000 {
            return Err("a request has 1 to 10000 units".to_owned());
        }
        if lab.sequences.iter().all(|own| own.id != *sequence) {
            let names = lab.sequences.iter().map(|own| own.id.as_str());
            return Err(unknown("sequence", sequence, names));
        }
        let alike = lab.requests.iter().find(|own| own.sequence == *sequence);
        let (product, build) = alike.map_or_else(
            || ("what if".to_owned(), "what if".to_owned()),
            |own| (own.product.clone(), own.build.clone()),
        );
        let serials: Vec<UnitId> = (1..=*units)
            .map(|number| UnitId::new(&format!("{request}/{number}")))
            .collect();
        let taken = lab.requests.iter().flat_map(|own| &own.units);
        if let Some(unit) = taken.into_iter().find(|unit| serials.contains(unit)) {
            return Err(format!("there is a unit {unit} already"));
        }
        lab.requests.push(Request {
            id: request.clone(),
            product,
            build,
            sequence: sequence.clone(),
            units: serials,
            ready: ready.unwrap_or(now),
            due: *due,
            priority: *priority,
            keep_together: false,
            on_failure: OnFailure::Stop,
            show: None,
        });
        Ok(())
    }
}

/// Makes every change in turn.
///
/// # Errors
/// The first that cannot be made, and why.
pub fn apply_all(
    changes: &[Change],
    lab: &mut Lab,
    facts: &mut Facts,
    now: Minute,
) -> Result<(), String> {
    for change in changes {
        let make = change.apply(lab, facts, now);
        make.map_err(|why| format!("{}: {why}", change.text(&lab.zone)))?;
    }
    Ok(())
}

fn unknown<'n>(kind: &str, id: impl Display, names: impl Iterator<Item = &'n str>) -> String {
    let id = crate::domain::text::shown(&id.to_string());
    match nearest(&id, names) {
        Some(near) => format!("there is no {kind} {id}; nearest: {near}"),
        None => format!("there is no {kind} {id}"),
    }
}

fn find_rig<'l>(lab: &'l mut Lab, rig: &RigId) -> Result<&'l mut Rig, String> {
    match lab.rigs.iter().position(|own| own.id == *rig) {
        Some(at) => Ok(&mut lab.rigs[at]),
        None => Err(unknown(
            "rig",
            rig,
            lab.rigs.iter().map(|own| own.id.as_str()),
        )),
    }
}

fn find_request<'l>(lab: &'l mut Lab, request: &RequestId) -> Result<&'l mut Request, String> {
    if let Some(at) = lab.requests.iter().position(|own| own.id == *request) {
        return Ok(&mut lab.requests[at]);
    }
    let names = lab.requests.iter().map(|own| own.id.as_str());
    Err(unknown("request", request, names))
}

fn shift_of(days: Days, from: NaiveTime, to: NaiveTime, people: u32) -> Shift {
    let (days, dates) = match days {
        Days::Weekly(day) => (vec![day], Vec::new()),
        Days::On(date) => (Vec::new(), vec![date]),
    };
    Shift {
        days,
        dates,
        from,
        to,
        people,
    }
}

fn add_shift(lab: &mut Lab, crew: &CrewId, shift: Shift) -> Result<(), String> {
    if shift.people == 0 {
        return Err("a shift without people changes nothing".to_owned());
    }
    if let Some(date) = shift.dates.iter().find(|date| lab.closed.contains(date)) {
        return Err(format!("the lab is closed on {date}"));
    }
    match lab.crews.iter_mut().find(|own| own.id == *crew) {
        Some(own) => {
            own.shifts.push(shift);
            Ok(())
        }
        None => Err(unknown(
            "crew",
            crew,
            lab.crews.iter().map(|own| own.id.as_str()),
        )),
    }
}

fn end_outage(lab: &mut Lab, facts: &mut Facts, rig: &RigId, at: Minute) -> Result<(), String> {
    find_rig(lab, rig)?;
    let mut any = false;
    for outages in [&mut lab.outages, &mut facts.outages] {
        for own in outages.iter_mut() {
            if own.rig == *rig && own.span.contains(at) {
                own.span.end = at;
                any = true;
            }
        }
        outages.retain(|own| !own.span.is_empty());
    }
    if any {
        return Ok(());
    }
    Err(format!("{rig} has no outage at that time"))
}

fn copy_rig(lab: &mut Lab, rig: &RigId, copy: &RigId) -> Result<(), String> {
    let mut new = find_rig(lab, rig)?.clone();
    if lab.rigs.iter().any(|own| own.id == *copy) {
        return Err(format!("there is a rig {copy} already"));
    }
    if let Some(why) = id_fault(copy.as_str()) {
        return Err(format!("rig id: {why}"));
    }
    new.id = copy.clone();
    new.name = copy.to_string();
    lab.rigs.push(new);
    Ok(())
}

/// Bookings of the plan in force at positions that are gone keep their place no longer.
fn set_positions(
    lab: &mut Lab,
    facts: &mut Facts,
    rig: &RigId,
    positions: u32,
) -> Result<(), String> {
    let own = find_rig(lab, rig)?;
    if !(1..=10_000).contains(&positions) {
        return Err("a rig has 1 to 10000 positions".to_owned());
    }
    own.positions = positions;
    let gone = |own: &crate::domain::Booking| {
        own.rig == *rig && own.position.is_some_and(|position| position > positions)
    };
    facts.published.retain(|own| !gone(own));
    Ok(())
}

fn drop_request(lab: &mut Lab, facts: &mut Facts, request: &RequestId) -> Result<(), String> {
    let units = find_request(lab, request)?.units.clone();
    let started = facts.visits.iter().any(|visit| units.contains(&visit.unit));
    lab.pins.retain(|own| !units.contains(&own.unit));
    facts.published.retain(|own| !units.contains(&own.unit));
    if !started {
        lab.requests.retain(|own| own.id != *request);
        return Ok(());
    }
    // What has started is a fact; the rest is not walked.
    facts.stops.retain(|own| !units.contains(&own.unit));
    for unit in units {
        let own = facts.visits.iter().filter(|visit| visit.unit == unit);
        let after_step = own.map(|visit| visit.step).max().unwrap_or(0);
        let why = StopReason::Withdrawn;
        facts.stops.push(Stop {
            unit,
            after_step,
            why,
        });
    }
    Ok(())
}

fn add_pin(lab: &mut Lab, pin: &Pin) -> Result<(), String> {
    let request = lab
        .requests
        .iter()
        .find(|own| own.units.contains(&pin.unit));
    let Some(request) = request else {
        let units = lab.requests.iter().flat_map(|own| &own.units);
        return Err(unknown("unit", &pin.unit, units.map(UnitId::as_str)));
    };
    let sequence = lab.sequences.iter().find(|own| own.id == request.sequence);
    let steps = sequence.map_or(0, |own| walk(lab, own).len());
    if pin.step == 0 || pin.step as usize > steps {
        return Err(format!("the steps of {} are 1 to {steps}", pin.unit));
    }
    find_rig(lab, &pin.rig)?;
    lab.pins
        .retain(|own| own.unit != pin.unit || own.step != pin.step);
    lab.pins.push(pin.clone());
    Ok(())
}
