//! Events, one batch after another.

use super::corrections::{Corrections, Fate, Said, corrected};
use super::{
    Down, Floor, Past, Published, RigRecord, Standing, UnitRecord, VerdictRecord, VisitRecord,
};
use crate::domain::event::Subject;
use crate::domain::{Booking, Event, EventBody, PlanId, RigId, Seq, Span, UnitId, Verdict};
use std::collections::{BTreeSet, HashMap};

/// What new corrections change, read and judged before anything is changed.
#[derive(Default)]
struct Changed {
    corrections: Corrections,
    /// What the chains of corrections came to before, and what they come to now.
    judged: Vec<(Fate, Fate)>,
    /// Everything anew, where requests or plans are corrected.
    whole: Option<Standing>,
    /// Units and rigs with the events that count of their history.
    anew: Vec<(Subject, Vec<Event>)>,
}

impl Floor {
    /// Takes the next events in, in the order of their seq. What corrections among them change is read from
    /// `past`, which has at least all events up to the last of them.
    ///
    /// # Errors
    /// Where the past cannot be read; the floor is then as it was.
    pub fn apply<P: Past + ?Sized>(
        &mut self,
        events: Vec<Event>,
        past: &P,
    ) -> Result<(), P::Error> {
        let Some(last) = events.last() else {
            return Ok(());
        };
        let changed = self.changed(&events, last.seq, past)?;
        for (place, event) in (self.events.len()..).zip(&events) {
            self.spread.take(place, event);
            self.roles.take(event);
            if let EventBody::Signed { upto, .. } = &event.body {
                self.signed = *upto;
            }
            self.now.take(event);
        }
        self.events.extend(events);
        for (before, after) in changed.judged {
            for seq in &before.voided {
                self.voided.remove(seq);
            }
            self.voided.extend(after.voided);
        }
        self.corrections.extend(changed.corrections);
        if let Some(whole) = changed.whole {
            self.now = whole;
        }
        for (subject, history) in changed.anew {
            self.now.replace(&subject, &history);
        }
        Ok(())
    }

    /// The floor after all of `events`.
    pub fn fold(events: impl IntoIterator<Item = Event>) -> Self {
        let events: Vec<Event> = events.into_iter().collect();
        let mut floor = Self::default();
        match floor.apply(events.clone(), &events[..]) {
            Ok(()) => floor,
            Err(never) => match never {},
        }
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
        let mut own: BTreeSet<Seq> = BTreeSet::new();
        let about = |event: &&Event| {
            let corrects = event.body.corrects();
            let about = corrects.is_some_and(|seq| own.contains(&seq))
                || event.body.subjects().contains(subject);
            if about {
                own.insert(event.seq);
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

    fn changed<P: Past + ?Sized>(
        &self,
        events: &[Event],
        upto: Seq,
        past: &P,
    ) -> Result<Changed, P::Error> {
        let fresh: Vec<Said> = events.iter().filter_map(Said::of).collect();
        if fresh.is_empty() {
            return Ok(Changed::default());
        }
        let corrections = self.corrections.chains(fresh);
        let nothing = Corrections::default();
        let mut judged = Vec::new();
        let mut dirty: BTreeSet<Subject> = BTreeSet::new();
        let mut whole = false;
        for root in corrections.roots() {
            let before = self.corrections.fate(root, &nothing);
            let after = self.corrections.fate(root, &corrections);
            let counts = |fate: &Fate| !fate.voided.contains(&root);
            if (counts(&before), &before.fields) != (counts(&after), &after.fields)
                && let Some(event) = past.event(root)?
            {
                match event.body.tells_of() {
                    Some(Subject::Request(_) | Subject::Lab) => whole |= stands_for_all(&event),
                    Some(subject) => {
                        dirty.insert(subject);
                    }
                    None => {}
                }
            }
            judged.push((before, after));
        }
        let counting = Counting {
            known: &self.corrections,
            fresh: &corrections,
        };
        let mut anew = Vec::new();
        for subject in dirty {
            let history = counting.of(past.history(&subject)?, upto);
            anew.push((subject, history));
        }
        let everything = || counting.everything(upto, past);
        Ok(Changed {
            whole: whole.then(everything).transpose()?,
            anew,
            judged,
            corrections,
        })
    }
}

/// True for events that are not of one unit or rig alone.
fn stands_for_all(event: &Event) -> bool {
    !matches!(event.body, EventBody::Note { .. })
}

/// Which events count, and how.
struct Counting<'f> {
    known: &'f Corrections,
    fresh: &'f Corrections,
}

impl Counting<'_> {
    /// Those up to `upto` that count, with their corrected fields.
    fn of(&self, events: Vec<Event>, upto: Seq) -> Vec<Event> {
        let counted = events.into_iter().filter(|event| event.seq <= upto);
        let counted = counted.filter_map(|event| {
            let fate = self.known.fate(event.seq, self.fresh);
            let counts = !fate.voided.contains(&event.seq);
            counts.then(|| corrected(event, &fate.fields))
        });
        counted.collect()
    }

    /// What follows from everything up to `upto`.
    fn everything<P: Past + ?Sized>(&self, upto: Seq, past: &P) -> Result<Standing, P::Error> {
        let mut standing = Standing::default();
        let mut at = Seq(0);
        while at < upto {
            let events = past.after(at)?;
            let Some(last) = events.last() else {
                break;
            };
            at = last.seq;
            for event in self.of(events, upto) {
                standing.take(&event);
            }
        }
        Ok(standing)
    }
}

impl Standing {
    /// What an event that counts changes.
    #[expect(clippy::too_many_lines, reason = "one arm a kind of event")]
    fn take(&mut self, event: &Event) {
        let (seq, happened) = (event.seq, event.happened);
        match &event.body {
            EventBody::RequestTaken { request, units } => {
                self.requests.insert(request.clone(), seq);
                for unit in units {
                    self.unit(unit).request = Some(request.clone());
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
                let record = self.unit(unit);
                record.visits.insert(*step, visit);
                record.over = None;
                self.running.insert(unit.clone());
            }
            EventBody::VisitEnded { unit, step, .. } => {
                let record = self.unit(unit);
                if let Some(visit) = record.visits.get_mut(step) {
                    visit.out = Some(happened.max(visit.loaded));
                    visit.ended_by = Some(seq);
                }
                record.settle();
                if record.running().is_none() {
                    self.running.remove(unit);
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
                let own = self.unit(unit);
                if let Some(before) = own.verdicts.insert(*step, record)
                    && matches!(before.verdict, Verdict::Hold { .. })
                {
                    own.holds.push(Span::new(before.at, happened));
                }
                own.settle();
            }
            EventBody::UnitWithdrawn { unit, reason } => {
                self.unit(unit).withdrawn = Some((seq, happened, reason.clone()));
            }
            EventBody::RigDown { rig, reason, until } => {
                self.rig(rig).breaks(Down {
                    since: happened,
                    reason: reason.clone(),
                    until: *until,
                    seq,
                });
            }
            EventBody::Note {
                subject: Subject::Unit(unit),
                text,
            } => self.unit(unit).notes.push(text.clone()),
            EventBody::RigUp { rig } => self.rig(rig).comes_back(happened),
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
    fn book(&mut self, plan: &PlanId, bookings: &[Booking]) {
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

    fn unit(&mut self, unit: &UnitId) -> &mut UnitRecord {
        self.units.entry(unit.clone()).or_default()
    }

    fn rig(&mut self, rig: &RigId) -> &mut RigRecord {
        self.rigs.entry(rig.clone()).or_default()
    }

    /// Puts what the events that count of its history say of a unit or a rig in place of what is known.
    fn replace(&mut self, of: &Subject, history: &[Event]) {
        let mut alone = Self::default();
        for event in history {
            alone.take(event);
        }
        match of {
            Subject::Unit(unit) => {
                // Which request it belongs to is told by the request's event, not by its own.
                let request = self.units.remove(unit).and_then(|own| own.request);
                self.running.remove(unit);
                self.running.extend(alone.running);
                if let Some(record) = alone.units.remove(unit) {
                    self.units.insert(unit.clone(), record);
                }
                if request.is_some() {
                    self.unit(unit).request = request;
                }
            }
            Subject::Rig(rig) => {
                self.rigs.remove(rig);
                self.rigs.extend(alone.rigs);
            }
            Subject::Request(_) | Subject::Lab => {}
        }
    }
}
