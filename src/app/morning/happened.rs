//! What the ledger tells since the plan in force was published and overnight.

use super::{About, Item, Kind, Sources};
use crate::domain::lab::OnFailure;
use crate::domain::{Event, EventBody, UnitId, Verdict};
use crate::floor::{RigRecord, UnitState};
use std::collections::BTreeMap;

/// Failures, rigs that are back, and units that finished.
pub(super) fn since(from: &Sources<'_>, items: &mut Vec<Item>) {
    let since = from.since();
    let news = from
        .floor
        .happened_since(since)
        .filter(|event| !from.floor.voided.contains(&event.seq));
    let mut finished: BTreeMap<String, Vec<UnitId>> = BTreeMap::new();
    for event in news {
        match &event.body {
            EventBody::VerdictGiven {
                unit,
                step,
                verdict: Verdict::Fail { reason },
            } => items.push(failed(from, event, (unit, *step), reason)),
            EventBody::RigUp { rig } => {
                let record = from.floor.now.rigs.get(rig);
                // A fault that was over while another went on brought nothing back.
                let ended = |own: &RigRecord| {
                    let mut spells = own.spells().into_iter();
                    !own.is_down() && spells.any(|spell| spell.end == event.happened)
                };
                if record.is_some_and(ended) {
                    items.push(Item {
                        kind: Kind::RigBack,
                        at: Some(event.happened),
                        about: About::Rig(rig.clone()),
                        words: format!("{rig} is back since {}", from.clock(event.happened)),
                        next: "plan again to use it (p)".to_owned(),
                    });
                }
            }
            EventBody::VisitEnded { unit, .. } => {
                let state = from.floor.unit_state(from.lab, from.walks, unit, from.now);
                let request = from.walks.request(from.lab, unit);
                if let (UnitState::Passed, Some(request)) = (state, request) {
                    let units = finished.entry(request.id.to_string()).or_default();
                    if !units.contains(unit) {
                        units.push(unit.clone());
                    }
                }
            }
            _ => {}
        }
    }
    for (request, units) in finished {
        items.push(Item {
            kind: Kind::Finished,
            at: None,
            about: About::Unit(units[0].clone()),
            words: format!(
                "{request}: {} through, all checks good",
                super::named(&units)
            ),
            next: "see what it proves (key 5)".to_owned(),
        });
    }
}

fn failed(from: &Sources<'_>, event: &Event, (unit, step): (&UnitId, u32), reason: &str) -> Item {
    let request = from.walks.request(from.lab, unit);
    let stops = request.is_some_and(|own| own.on_failure == OnFailure::Stop);
    let booked = from.floor.booking(unit, step + 1).is_some();
    let next = match (stops, booked) {
        (true, true) => "its further bookings are void: plan again (p)",
        (true, false) => "it walks no further: see what is still shown (key 5)",
        (false, _) => "it walks on: look at it before its next load",
    };
    let who = &event.actor.person;
    Item {
        kind: Kind::Failed,
        at: Some(event.happened),
        about: About::Unit(unit.clone()),
        words: format!(
            "{unit} failed at step {step}, {}, {who}: {reason}",
            from.clock(event.happened)
        ),
        next: next.to_owned(),
    }
}
