//! Bookings of the plan in force as entries of a calendar.

use super::Made;
use super::stays::{Stay, stays};
use super::words::{crew_of, how_hard, place};
use crate::app::desk::Desk;
use crate::domain::lab::Watch;
use crate::domain::steps::step_of;
use crate::domain::{CrewId, Minute, RigId, Span};
use crate::ledger::hex;
use crate::report::ical::Entry;
use crate::report::paper::Look;
use sha2::{Digest, Sha256};

/// Whose bookings a calendar holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Those of all rigs.
    All,
    /// Those of one rig.
    Rig(RigId),
    /// The hands-on work of a crew.
    Crew(CrewId),
}

/// Visits that run or are booked: for rigs from load to out, for a crew each time that it is wanted.
pub fn entries(desk: &Desk, whose: &Whose, made: &Made) -> Vec<Entry> {
    let ledger = made.head.ledger;
    let now = desk.now();
    let all = Span::new(now, Minute::LAST);
    let mut entries = Vec::new();
    for stay in stays(desk, now, all) {
        match whose {
            Whose::Rig(rig) if stay.rig != rig => {}
            Whose::All | Whose::Rig(_) => {
                entries.push(entry(desk, &ledger, &stay, "stay", stay.span));
            }
            Whose::Crew(crew) => {
                for (what, span) in hands_on(desk, &stay, crew) {
                    entries.push(entry(desk, &ledger, &stay, what, span));
                }
            }
        }
    }
    entries.sort_by(|a, b| (a.span, &a.uid).cmp(&(b.span, &b.uid)));
    entries
}

/// When a crew is wanted for a visit, from now on.
fn hands_on<'w>(desk: &Desk, stay: &Stay<'_>, crew: &CrewId) -> Vec<(&'w str, Span)> {
    let request = desk.walks.request(&desk.lab, stay.unit);
    let step = request.and_then(|own| step_of(desk.walks.steps(own), stay.step));
    let method = step.and_then(|own| desk.lab.methods.get(&own.method));
    let (Some(method), Some(booking)) = (method, stay.booking) else {
        return Vec::new();
    };
    if crew_of(&desk.lab, method) != Some(crew) {
        return Vec::new();
    }
    let off = stay.span.start - booking.times.load;
    let at = |from: Minute, until: Minute| Span::new(from + off, until + off);
    let times = &booking.times;
    if method.watch == Watch::Full {
        return vec![("attend", at(times.load, times.out))];
    }
    let load = ("load", at(times.load, times.start));
    let unload = ("unload", at(times.unload, times.out));
    if stay.look == Look::Running {
        vec![unload]
    } else {
        vec![load, unload]
    }
}

fn entry(desk: &Desk, ledger: &[u8], stay: &Stay<'_>, what: &str, span: Span) -> Entry {
    let request = desk.walks.request(&desk.lab, stay.unit);
    let step = request.and_then(|own| step_of(desk.walks.steps(own), stay.step));
    let rig = desk.lab.rigs.iter().find(|own| own.id == *stay.rig);
    let method = step.and_then(|own| desk.lab.methods.get(&own.method));
    let verb = if what == "stay" {
        String::new()
    } else {
        format!("{what} ")
    };
    let name = step.map_or(String::new(), |own| own.method.to_string());
    let mut description: Vec<String> = step.map(how_hard).into_iter().collect();
    description.extend(stay.booking.map(|own| own.because.clone()));
    let cautions = method.into_iter().flat_map(|own| &own.cautions);
    description.extend(cautions.map(|own| format!("Caution: {own}")));
    if method.is_some_and(|own| !own.cautions.is_empty()) {
        description.push(crate::domain::standard::PREVAIL.to_owned());
    }
    description.retain(|own| !own.is_empty());
    let where_in = place(stay.position, stay.run);
    let rig = rig.map_or(stay.rig.to_string(), |own| {
        format!("{} {}", own.id, own.name)
    });
    Entry {
        uid: uid(ledger, stay, what),
        span,
        summary: format!(
            "{verb}{} step {} {name} on {}",
            stay.unit, stay.step, stay.rig
        ),
        location: format!("{rig} {where_in}").trim_end().to_owned(),
        description,
    }
}

/// The id of a booking: of this ledger, this unit, this step and this part of it, wherever and whenever it
/// is booked.
fn uid(ledger: &[u8], stay: &Stay<'_>, what: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(ledger);
    hash.update(stay.step.to_be_bytes());
    hash.update(what);
    hash.update([0]);
    hash.update(stay.unit.as_str());
    format!("{}@rigday", &hex(&hash.finalize())[..32])
}
