//! The plan in force with changes made by hand: a what-if until somebody publishes it.

use crate::app::desk::{PlanChange, Planning, Proposal, changes};
use crate::domain::lab::Pin;
use crate::domain::{Booking, Minute, Seq, UnitId};
use crate::floor::Published;
use std::collections::BTreeMap;

/// How many changes can be taken back.
const STEPS: usize = 200;

/// A unit's step, from 1.
pub type StepKey = (UnitId, u32);

/// A booking of the draft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seat {
    /// The booking.
    pub booking: Booking,
    /// Somebody put it there: planning leaves it there.
    pub by_hand: bool,
}

/// What a change puts in the place of what was there before.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Swap {
    key: StepKey,
    before: Option<Seat>,
    after: Option<Seat>,
}

/// A plan that is not in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// The event that published the plan it began from; `None` where none was in force.
    pub from: Option<Seq>,
    /// When it was begun.
    pub begun: Minute,
    seats: BTreeMap<StepKey, Seat>,
    past: Vec<Vec<Swap>>,
    future: Vec<Vec<Swap>>,
}

impl Draft {
    /// The plan in force, with nothing changed yet.
    pub fn new(published: Option<&Published>, now: Minute) -> Self {
        Self {
            from: published.map(|own| own.seq),
            begun: now,
            seats: seats_of(published, &BTreeMap::new()),
            past: Vec::new(),
            future: Vec::new(),
        }
    }

    /// The plan in force with the bookings in place of its own; those that `by_hand` names stay there when it is
    /// planned.
    pub fn restored(
        from: Option<Seq>,
        begun: Minute,
        bookings: Vec<Booking>,
        by_hand: &[StepKey],
    ) -> Self {
        let seat = |booking: Booking| {
            let key = (booking.unit.clone(), booking.step);
            let by_hand = by_hand.contains(&key);
            (key, Seat { booking, by_hand })
        };
        Self {
            from,
            begun,
            seats: bookings.into_iter().map(seat).collect(),
            past: Vec::new(),
            future: Vec::new(),
        }
    }

    /// Its bookings, by unit and step.
    pub fn bookings(&self) -> impl Iterator<Item = &Booking> {
        self.seats.values().map(|own| &own.booking)
    }

    /// The booking of a step.
    pub fn booking(&self, key: &StepKey) -> Option<&Booking> {
        self.seats.get(key).map(|own| &own.booking)
    }

    /// Steps that somebody put in their place.
    pub fn by_hand(&self) -> impl Iterator<Item = &StepKey> {
        let own = self.seats.iter().filter(|(_, seat)| seat.by_hand);
        own.map(|(key, _)| key)
    }

    /// What somebody put in its place, as pins for the planner and the checker; what was to load before now is
    /// no wish any more.
    pub fn pins(&self, now: Minute) -> Vec<Pin> {
        let ahead = |seat: &&Seat| seat.by_hand && seat.booking.times.load >= now;
        let own = self.seats.values().filter(ahead);
        own.map(|seat| Pin {
            unit: seat.booking.unit.clone(),
            step: seat.booking.step,
            rig: seat.booking.rig.clone(),
            start: seat.booking.times.load,
        })
        .collect()
    }

    /// Puts bookings in place by hand, or takes them away, in one step that can be taken back.
    pub fn place(&mut self, what: Vec<(StepKey, Option<Booking>)>) {
        let seat = |(key, booking): (StepKey, Option<Booking>)| {
            let by_hand = true;
            (key, booking.map(|booking| Seat { booking, by_hand }))
        };
        self.swap(what.into_iter().map(seat).collect());
    }

    /// Takes over a whole plan; what was put in place by hand stays marked as such.
    pub fn adopt(&mut self, bookings: &[Booking]) {
        let by_hand: Vec<StepKey> = self.by_hand().cloned().collect();
        let mut what: BTreeMap<StepKey, Option<Seat>> =
            self.seats.keys().map(|key| (key.clone(), None)).collect();
        for booking in bookings {
            let key = (booking.unit.clone(), booking.step);
            let seat = Seat {
                booking: booking.clone(),
                by_hand: by_hand.contains(&key),
            };
            what.insert(key, Some(seat));
        }
        self.swap(what.into_iter().collect());
    }

    fn swap(&mut self, what: Vec<(StepKey, Option<Seat>)>) {
        let swap = |(key, after): (StepKey, Option<Seat>)| Swap {
            before: self.seats.get(&key).cloned(),
            key,
            after,
        };
        let edit: Vec<Swap> = what
            .into_iter()
            .map(swap)
            .filter(|own| own.before != own.after)
            .collect();
        if edit.is_empty() {
            return;
        }
        for own in &edit {
            put(&mut self.seats, &own.key, own.after.as_ref());
        }
        self.past.push(edit);
        if self.past.len() > STEPS {
            self.past.remove(0);
        }
        self.future.clear();
    }

    /// Takes the last change back; the first step that it is about, `None` where there is no change.
    pub fn undo(&mut self) -> Option<StepKey> {
        let edit = self.past.pop()?;
        for own in &edit {
            put(&mut self.seats, &own.key, own.before.as_ref());
        }
        let first = edit.first().map(|own| own.key.clone());
        self.future.push(edit);
        first
    }

    /// Makes the change again that was taken back last; the first step that it is about, `None` where there is no
    /// change.
    pub fn redo(&mut self) -> Option<StepKey> {
        let edit = self.future.pop()?;
        for own in &edit {
            put(&mut self.seats, &own.key, own.after.as_ref());
        }
        let first = edit.first().map(|own| own.key.clone());
        self.past.push(edit);
        first
    }

    /// How it differs from the plan in force, among what loads at `now` or later.
    pub fn changes(&self, published: Option<&Published>, now: Minute) -> Vec<PlanChange> {
        let before = published.map_or(&[][..], |own| &own.bookings[..]);
        let after: Vec<Booking> = self.bookings().cloned().collect();
        changes(before, &after, now)
    }

    /// What was put in place by hand, on another plan in force.
    #[must_use]
    pub fn moved_onto(&self, published: Option<&Published>) -> Self {
        let by_hand = self.seats.iter().filter(|(_, seat)| seat.by_hand);
        let by_hand: BTreeMap<StepKey, Seat> = by_hand
            .map(|(key, seat)| (key.clone(), seat.clone()))
            .collect();
        Self {
            from: published.map(|own| own.seq),
            begun: self.begun,
            seats: seats_of(published, &by_hand),
            past: Vec::new(),
            future: Vec::new(),
        }
    }

    /// As a proposal: judged by the checker, and beside the plan in force.
    pub fn proposal(&self, planning: &Planning, published: Option<&Published>) -> Proposal {
        let bookings: Vec<Booking> = self.bookings().cloned().collect();
        let left = published.map_or(&[][..], |own| &own.unplannable[..]);
        planning
            .planned_so_far(&bookings, left)
            .with_pins(&self.pins(planning.now()))
            .judge(&bookings, left)
    }
}

fn seats_of(
    published: Option<&Published>,
    by_hand: &BTreeMap<StepKey, Seat>,
) -> BTreeMap<StepKey, Seat> {
    let bookings = published.iter().flat_map(|own| &own.bookings);
    let mut seats: BTreeMap<StepKey, Seat> = bookings
        .map(|own| {
            let key = (own.unit.clone(), own.step);
            let booking = own.clone();
            (
                key,
                Seat {
                    booking,
                    by_hand: false,
                },
            )
        })
        .collect();
    seats.extend(
        by_hand
            .iter()
            .map(|(key, seat)| (key.clone(), seat.clone())),
    );
    seats
}

fn put(seats: &mut BTreeMap<StepKey, Seat>, key: &StepKey, seat: Option<&Seat>) {
    match seat {
        Some(seat) => {
            seats.insert(key.clone(), seat.clone());
        }
        None => {
            seats.remove(key);
        }
    }
}
