//! How things stand now, and what today asks for.

use super::{About, Item, Kind, Sources, named};
use crate::app::card::LATE;
use crate::app::offers::Offer;
use crate::domain::text::counted;
use crate::domain::{Booking, Minute, Minutes, RigId, Span, UnitId};
use crate::floor::{Due, Task, UnitState};
use std::collections::BTreeMap;

/// Days before a calibration runs out on which it is told.
const CALIBRATION_DAYS: i64 = 7;

/// Rigs that are down, with what is on them and booked on them.
pub(super) fn rigs_down(from: &Sources<'_>, items: &mut Vec<Item>) {
    for (rig, record) in &from.floor.now.rigs {
        let Some(down) = record.down() else { continue };
        let (back, known) = down.back(from.now);
        let inside: Vec<UnitId> = from
            .floor
            .on_rig(rig)
            .map(|(unit, ..)| unit.clone())
            .collect();
        let now = &from.floor.now;
        let ahead = now
            .booked()
            .filter(|own| own.rig == *rig && !now.has_begun(own));
        let ahead: Vec<&Booking> = ahead.collect();
        let waiting = ahead.iter().filter(|own| own.times.load < back).count();
        let until = if known {
            format!("expected back {}", from.clock(back))
        } else {
            "nobody knows until when".to_owned()
        };
        let mut words = format!(
            "{rig} is down since {}: {}; {until}; {}",
            from.clock(down.since),
            down.reason,
            booked_on(from, &ahead, waiting)
        );
        if !inside.is_empty() {
            words.push_str(&format!("; {} in it", named(&inside)));
        }
        let next = match (waiting, inside.is_empty()) {
            (0, true) => "nothing is held up: report it back when it is (b)",
            (_, true) => "plan around it (p), or report it back (b)",
            (_, false) => "decide on the units in it, then plan around it (p)",
        };
        items.push(Item {
            kind: Kind::RigDown,
            at: Some(down.since),
            about: About::Rig(rig.clone()),
            words,
            next: next.to_owned(),
        });
    }
}

/// What waits for a rig that is down, or what is booked on it once it is back.
fn booked_on(from: &Sources<'_>, ahead: &[&Booking], waiting: usize) -> String {
    let next = ahead.iter().min_by_key(|own| own.times.load);
    match next {
        _ if waiting > 0 => counted(waiting, "booking waits for it", "bookings wait for it"),
        Some(next) => format!(
            "next booked on it: {} {}",
            next.unit,
            from.clock(next.times.load)
        ),
        None => "nothing is booked on it".to_owned(),
    }
}

/// What units have in common that are one entry: kind, task, rig, when the window closes, and since when.
type Shared = (Kind, Task, RigId, Option<Minute>, Minute);

/// Units past their window, windows that close today, and exposures that are over; units that share rig, time
/// and task are one entry.
pub(super) fn windows(from: &Sources<'_>, items: &mut Vec<Item>) {
    let due = from
        .floor
        .due(from.lab, from.walks, from.now, from.tonight());
    let mut told: BTreeMap<Shared, Vec<Due>> = BTreeMap::new();
    // What is on hold has an entry of its own.
    for own in due.into_iter().filter(|own| own.task != Task::Decide) {
        let kind = match own.closes {
            Some(closes) if closes < from.now => Kind::Late,
            Some(closes) if closes < from.tonight() => Kind::Window,
            _ if own.task != Task::Load && own.from <= from.now => Kind::Ended,
            _ => continue,
        };
        let key = (kind, own.task, own.rig.clone(), own.closes, own.from);
        told.entry(key).or_default().push(own);
    }
    for ((kind, task, rig, closes, since), all) in told {
        let units: Vec<UnitId> = all.iter().map(|own| own.unit.clone()).collect();
        let who = format!("{} step {}", named(&units), all[0].step);
        let (words, next) = match kind {
            Kind::Late => (
                format!("{who}, {rig}: its window closed {}", at(from, closes)),
                late_next(task, &rig),
            ),
            Kind::Window => (
                format!("{who}, {rig}: the window closes {}", at(from, closes)),
                format!("{} by {}", deed(task, &rig), at(from, closes)),
            ),
            _ => (
                format!(
                    "{who}, {rig}: the exposure is over since {}",
                    from.clock(since)
                ),
                format!("{}{}", deed(task, &rig), frees(from, &rig, &units)),
            ),
        };
        items.push(Item {
            kind,
            at: closes.or(Some(since)),
            about: About::Unit(units[0].clone()),
            words,
            next,
        });
    }
}

fn at(from: &Sources<'_>, at: Option<Minute>) -> String {
    at.map_or(String::new(), |at| from.clock(at))
}

fn deed(task: Task, rig: &RigId) -> String {
    match task {
        Task::Load => format!("load on {rig} (key 2)"),
        Task::Unload => format!("unload from {rig} (key 2)"),
        Task::Verdict => "measure and give the verdict (key 2)".to_owned(),
        Task::Decide => DECIDE.to_owned(),
    }
}

/// What to do with a unit on hold.
const DECIDE: &str = "decide: pass or fail (key 2)";

/// What to do with a unit that is past its window: as its card on the Bench says.
fn late_next(task: Task, rig: &RigId) -> String {
    let decide = format!("{LATE} (keys 4, x)");
    match task {
        Task::Load => decide,
        _ => format!("{}, then {decide}", deed(task, rig)),
    }
}

/// What room there is on a rig once these units are off it.
fn frees(from: &Sources<'_>, rig: &RigId, units: &[UnitId]) -> String {
    let inside: Vec<&UnitId> = from.floor.on_rig(rig).map(|(unit, ..)| unit).collect();
    let leave = inside.iter().filter(|own| units.contains(own)).count();
    let positions = from.lab.rigs.iter().find(|own| own.id == *rig);
    let positions = positions.map_or(0, |own| own.positions);
    match leave {
        0 => String::new(),
        _ if leave == inside.len() => ": the rig is free then".to_owned(),
        _ => format!(": frees {leave} of {positions} positions"),
    }
}

/// Units that wait for somebody's decision.
pub(super) fn held(from: &Sources<'_>, items: &mut Vec<Item>) {
    for (unit, record) in from.floor.known(from.lab) {
        let state = from.floor.unit_state(from.lab, from.walks, unit, from.now);
        if state != UnitState::Held {
            continue;
        }
        let last = record.verdicts.iter().next_back();
        let (step, when) = last.map_or((0, from.now), |(step, own)| (*step, own.at));
        items.push(Item {
            kind: Kind::Held,
            at: Some(when),
            about: About::Unit(unit.clone()),
            words: format!(
                "{unit} is on hold at step {step} since {}",
                from.clock(when)
            ),
            next: DECIDE.to_owned(),
        });
    }
}

/// Bookings that were to start and have not, a rig an entry.
pub(super) fn not_started(from: &Sources<'_>, items: &mut Vec<Item>) {
    let bookings = from.floor.now.booked();
    let mut by_rig: BTreeMap<&RigId, Vec<&Booking>> = BTreeMap::new();
    let overdue = |own: &&Booking| {
        let record = from.floor.now.units.get(&own.unit);
        let next = record.map_or(1, |own| own.steps_done() + 1);
        own.times.load < from.now && own.step == next && !from.floor.now.has_begun(own)
    };
    for own in bookings.filter(overdue) {
        let state = from
            .floor
            .unit_state(from.lab, from.walks, &own.unit, from.now);
        let stopped = matches!(
            state,
            UnitState::Failed | UnitState::Held | UnitState::Out | UnitState::Passed
        );
        if !stopped {
            by_rig.entry(&own.rig).or_default().push(own);
        }
    }
    for (rig, all) in by_rig {
        let units: Vec<UnitId> = all.iter().map(|own| own.unit.clone()).collect();
        let first = all.iter().map(|own| own.times.load).min();
        items.push(Item {
            kind: Kind::NotStarted,
            at: first,
            about: About::Unit(units[0].clone()),
            words: format!(
                "{} on {rig}: was to load {}",
                named(&units),
                at(from, first)
            ),
            next: "load now (key 2), or plan again (p)".to_owned(),
        });
    }
}

/// Crews of which fewer are on shift today than the plan needs.
pub(super) fn people(from: &Sources<'_>, items: &mut Vec<Item>) {
    let today = Span::new(from.now, from.tonight());
    for crew in from.crews {
        for (span, people) in crew.short(today) {
            items.push(Item {
                kind: Kind::People,
                at: Some(span.start),
                about: About::Plan,
                words: format!(
                    "crew {}: {} needed, {} on shift from {} to {}",
                    crew.crew,
                    people.need,
                    people.have,
                    from.clock(span.start),
                    from.clock(span.end)
                ),
                next: "find help, or plan again (p)".to_owned(),
            });
        }
    }
}

/// Broken rules, requests in no plan, requests that finish late.
pub(super) fn plan(from: &Sources<'_>, items: &mut Vec<Item>) {
    let entry = |kind, about, words, next: &str| Item {
        kind,
        at: None,
        about,
        words,
        next: next.to_owned(),
    };
    if from.clashes > 0 {
        let rules = counted(from.clashes, "rule", "rules");
        let words = format!("the plan breaks {rules} as things stand");
        items.push(entry(
            Kind::Clash,
            About::Plan,
            words,
            "walk them (e), or plan again (p)",
        ));
    }
    for id in from.unplanned {
        let request = from.walks.request_of_id(from.lab, id);
        let words = request.map_or(id.to_string(), |own| {
            let due = own.due.map_or("no due date".to_owned(), |due| {
                format!("due {}", from.clock(due))
            });
            format!(
                "{id}: {} of {} {}, {}; {due}",
                counted(own.units.len(), "unit", "units"),
                own.product,
                own.build,
                own.sequence
            )
        });
        let about = About::Request((*id).clone());
        items.push(entry(Kind::New, about, words, "plan it in (p)"));
    }
    for own in from.left {
        let words = format!(
            "{} is left out of the plan, step {}: {}",
            own.request, own.step, own.reason
        );
        let about = About::Request(own.request.clone());
        let next = "mend what is missing or withdraw it, then plan again (p)";
        items.push(entry(Kind::New, about, words, next));
    }
    let published = from.floor.now.published.as_ref();
    let finishes = published.iter().flat_map(|own| &own.finishes);
    for own in finishes.filter(|own| own.late > Minutes::ZERO) {
        let words = format!(
            "{} finishes {}, {} late",
            own.request,
            from.clock(own.finish),
            own.late
        );
        let about = About::Request(own.request.clone());
        items.push(entry(
            Kind::LateRequest,
            about,
            words,
            "ask why, and what would help (v)",
        ));
    }
}

/// What the evidence says about lines and legs.
pub(super) fn evidence(from: &Sources<'_>, items: &mut Vec<Item>) {
    for offer in from.offers {
        let (kind, next) = match offer {
            Offer::LineAlarm(_) => (Kind::Line, "look at the line (key 5), tell the maker"),
            Offer::SpareWanted { .. } => (Kind::Evidence, "ask for spare units"),
            Offer::EarlyStop { .. } => (Kind::Evidence, "stop it, or go on to learn more (key 5)"),
            Offer::CannotPass { .. } => (Kind::Evidence, "decide whether it goes on (key 5)"),
        };
        items.push(Item {
            kind,
            at: None,
            about: About::Evidence(offer.leg().cloned()),
            words: offer.words(),
            next: next.to_owned(),
        });
    }
}

/// Rigs whose calibration runs out within some days, or has.
pub(super) fn calibrations(from: &Sources<'_>, items: &mut Vec<Item>) {
    let today = from.lab.zone.local(from.now).date();
    for rig in &from.lab.rigs {
        let Some(due) = rig.calibration_due else {
            continue;
        };
        let days = (due - today).num_days();
        if days > CALIBRATION_DAYS {
            continue;
        }
        let words = match days {
            ..0 => format!("{}: its calibration ran out on {due}", rig.id),
            0 => format!("{}: its calibration runs out today", rig.id),
            1 => format!("{}: its calibration runs out tomorrow", rig.id),
            _ => format!(
                "{}: its calibration runs out in {days} days, on {due}",
                rig.id
            ),
        };
        items.push(Item {
            kind: Kind::Calibration,
            at: Some(from.lab.zone.end_of_day(due)),
            about: About::Rig(rig.id.clone()),
            words,
            next: "have it calibrated; write the new date into lab.toml".to_owned(),
        });
    }
}
