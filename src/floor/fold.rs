//! Events, one after another.

use super::{Down, Floor, Published, RigRecord, Standing, UnitRecord, VerdictRecord, VisitRecord};
use crate::domain::event::{Change, Subject};
use crate::domain::{Event, EventBody, Minute, PlanId, RigId, Seq, UnitId, Verdict};
use std::collections::{BTreeMap, BTreeSet, HashMap};

impl Floor {
    /// Takes one event in. Events come in the order of their seq.
    pub fn apply(&mut self, event: Event) {
        let corrects = matches!(event.body, EventBody::Correction { .. });
        self.roles.take(&event);
        self.events.push(event);
        if corrects {
            self.rebuild();
        } else if let Some(event) = self.events.last() {
            self.now.take(event, event.happened);
        }
    }

    /// The floor after all of `events`.
    pub fn fold(events: impl IntoIterator<Item = Event>) -> Self {
        let mut floor = Self {
            events: events.into_iter().collect(),
            ..Self::default()
        };
        for event in &floor.events {
            floor.roles.take(event);
        }
        floor.rebuild();
        floor
    }

    /// The last event applied; zero where there is none.
    pub fn seen(&self) -> Seq {
        self.events
            .last()
            .map(|event| event.seq)
            .unwrap_or_default()
    }

    /// Every event about a subject, voided ones and their corrections included, in order.
    pub fn history(&self, subject: &Subject) -> Vec<&Event> {
        let mut own: Vec<Seq> = Vec::new();
        let about = |event: &&Event| {
            let corrects = match &event.body {
                EventBody::Correction { corrects, .. } => own.contains(corrects),
                _ => false,
            };
            let about = corrects || event.body.subjects().contains(subject);
            if about {
                own.push(event.seq);
            }
            about
        };
        self.events.iter().filter(about).collect()
    }

    /// The last event that counts about a subject; zero where there is none.
    pub fn last_about(&self, subject: &Subject) -> Seq {
        self.history(subject)
            .last()
            .map(|event| event.seq)
            .unwrap_or_default()
    }

    /// The event of that seq.
    pub fn event(&self, seq: Seq) -> Option<&Event> {
        let ix = self
            .events
            .binary_search_by_key(&seq, |event| event.seq)
            .ok()?;
        Some(&self.events[ix])
    }

    /// Works the standing out anew from the events that count, with what corrections say of them.
    fn rebuild(&mut self) {
        let corrections = Corrections::of(&self.events);
        self.now = Standing::default();
        for event in self
            .events
            .iter()
            .filter(|event| !corrections.voided.contains(&event.seq))
        {
            match corrections.fields.get(&event.seq) {
                Some(fields) => {
                    let right = corrected(event, fields);
                    self.now.take(&right, right.happened);
                }
                None => self.now.take(event, event.happened),
            }
        }
        self.voided = corrections.voided;
    }
}

/// What the corrections of a ledger come to.
#[derive(Default)]
struct Corrections<'e> {
    /// Events that at least one standing correction voids.
    voided: BTreeSet<Seq>,
    /// Fields that are said to be otherwise, the last word last.
    fields: BTreeMap<Seq, Vec<(&'e str, &'e str)>>,
}

impl<'e> Corrections<'e> {
    /// The last word comes first: a correction that a later one has taken back says nothing.
    fn of(events: &'e [Event]) -> Self {
        let mut own = Self::default();
        let mut restored: BTreeSet<Seq> = BTreeSet::new();
        for event in events.iter().rev() {
            let EventBody::Correction {
                corrects, change, ..
            } = &event.body
            else {
                continue;
            };
            // Only what was said earlier can be corrected.
            if own.voided.contains(&event.seq) || *corrects >= event.seq {
                continue;
            }
            match change {
                // A void stands until it is restored; two voids of one event must both be.
                Change::Void if restored.contains(&event.seq) => {}
                Change::Void => {
                    own.voided.insert(*corrects);
                }
                Change::Restore => {
                    restored.insert(*corrects);
                }
                Change::Field { field, new, .. } => {
                    own.fields
                        .entry(*corrects)
                        .or_default()
                        .insert(0, (field, new));
                }
            }
        }
        own
    }
}

/// The event with its corrected fields: when it happened, or its reason.
fn corrected(event: &Event, fields: &[(&str, &str)]) -> Event {
    let mut right = event.clone();
    for (field, new) in fields {
        match (*field, &mut right.body) {
            ("happened", _) => {
                if let Ok(minutes) = new.parse() {
                    right.happened = Minute::new(minutes);
                }
            }
            (
                "reason",
                EventBody::UnitWithdrawn { reason, .. }
                | EventBody::RigDown { reason, .. }
                | EventBody::VerdictGiven {
                    verdict: Verdict::Fail { reason } | Verdict::Hold { reason },
                    ..
                },
            ) => (*new).clone_into(reason),
            _ => {}
        }
    }
    right
}

impl Standing {
    /// What an event that counts changes.
    #[expect(clippy::too_many_lines, reason = "one arm a kind of event")]
    fn take(&mut self, event: &Event, happened: Minute) {
        let seq = event.seq;
        match &event.body {
            EventBody::RequestTaken { request, units } => {
                self.requests.insert(request.clone(), seq);
                for unit in units {
                    self.unit(unit, seq).request = Some(request.clone());
                }
            }
            EventBody::PlanPublished {
                plan,
                cost,
                bound,
                finishes,
                unplannable,
                ..
            } => {
                self.published = Some(Published {
                    plan: plan.clone(),
                    seq,
                    at: happened,
                    cost: *cost,
                    bound: *bound,
                    bookings: Vec::new(),
                    by_step: HashMap::new(),
                    finishes: finishes.clone(),
                    unplannable: unplannable.clone(),
                });
            }
            EventBody::PlanBookings { plan, bookings } => self.book(plan, bookings),
            EventBody::VisitStarted {
                unit,
                step,
                rig,
                position,
                run,
            } => {
                let visit = VisitRecord {
                    rig: rig.clone(),
                    position: *position,
                    run: *run,
                    loaded: happened,
                    out: None,
                    started_by: seq,
                    ended_by: None,
                };
                self.unit(unit, seq).visits.insert(*step, visit);
                self.rig(rig, seq);
            }
            EventBody::VisitEnded { unit, step, rig } => {
                self.rig(rig, seq);
                if let Some(visit) = self.unit(unit, seq).visits.get_mut(step) {
                    visit.out = Some(happened.max(visit.loaded));
                    visit.ended_by = Some(seq);
                }
            }
            EventBody::VerdictGiven {
                unit,
                step,
                verdict,
            } => {
                let person = event.actor.person.clone();
                let record = VerdictRecord {
                    verdict: verdict.clone(),
                    at: happened,
                    person,
                    seq,
                };
                self.unit(unit, seq).verdicts.insert(*step, record);
            }
            EventBody::UnitWithdrawn { unit, reason } => {
                self.unit(unit, seq).withdrawn = Some((seq, happened, reason.clone()));
            }
            EventBody::RigDown { rig, reason, until } => {
                let down = Down {
                    since: happened,
                    reason: reason.clone(),
                    until: *until,
                    seq,
                };
                self.rig(rig, seq).down = Some(down);
            }
            EventBody::RigUp { rig } => {
                let record = self.rig(rig, seq);
                if let Some(down) = record.down.take() {
                    record.repairs.push((down.since, happened, down.reason));
                }
            }
            EventBody::Note { .. }
            | EventBody::Correction { .. }
            | EventBody::FileTaken { .. }
            | EventBody::LateEntry { .. }
            | EventBody::RoleGranted { .. }
            | EventBody::RoleRevoked { .. }
            | EventBody::AttemptRefused { .. }
            | EventBody::Signed { .. } => {}
        }
    }

    /// Adds a part of the bookings of the plan in force; parts of other plans do not count.
    fn book(&mut self, plan: &PlanId, bookings: &[crate::domain::Booking]) {
        if let Some(published) = self.published.as_mut().filter(|own| own.plan == *plan) {
            for booking in bookings {
                let place = published.bookings.len();
                published
                    .by_step
                    .insert((booking.unit.clone(), booking.step), place);
                published.bookings.push(booking.clone());
            }
        }
    }

    fn unit(&mut self, unit: &UnitId, seq: Seq) -> &mut UnitRecord {
        let record = self.units.entry(unit.clone()).or_default();
        record.last = seq;
        record
    }

    fn rig(&mut self, rig: &RigId, seq: Seq) -> &mut RigRecord {
        let record = self.rigs.entry(rig.clone()).or_default();
        record.last = seq;
        record
    }
}
