//! What the floor makes of any history of events.

use crate::support::events::{body, correction, instant, note, recorded, void};
use proptest::collection::vec;
use proptest::prelude::*;
use rigday::domain::event::{Change, Subject};
use rigday::domain::{Event, EventBody, Minute, Minutes, RequestId, RigId, Seq, UnitId, Verdict};
use rigday::floor::{Floor, Past, Standing};
use std::collections::BTreeSet;

/// The length of the longest history; corrections name events up to two beyond.
const LONGEST: u64 = 24;

/// Any history: marks in a senseless order, corrections of corrections, of nothing, and of what is to come.
fn history() -> impl Strategy<Value = Vec<Event>> {
    let longest = usize::try_from(LONGEST).expect("a small number");
    vec((instant(), body(LONGEST + 2)), 0..=longest).prop_map(|said| {
        let numbered = (1..).zip(said);
        numbered
            .map(|(seq, (happened, body))| recorded(seq, happened, body))
            .collect()
    })
}

/// The history with one event more.
fn and_then(mut events: Vec<Event>, body: EventBody) -> Vec<Event> {
    let last = events.last().expect("a history that has begun");
    events.push(recorded(last.seq.0 + 1, last.happened, body));
    events
}

/// What counts, worked out the slow and obvious way: the last word first, over the whole history.
fn obvious(events: &[Event]) -> (Vec<Event>, BTreeSet<Seq>) {
    let mut voided = BTreeSet::new();
    let mut restored = BTreeSet::new();
    let mut fields: Vec<(Seq, &str, &str)> = Vec::new();
    for event in events.iter().rev() {
        let EventBody::Correction {
            corrects, change, ..
        } = &event.body
        else {
            continue;
        };
        if voided.contains(&event.seq) || *corrects >= event.seq {
            continue;
        }
        match change {
            Change::Void if restored.contains(&event.seq) => {}
            Change::Void => {
                voided.insert(*corrects);
            }
            Change::Restore => {
                restored.insert(*corrects);
            }
            Change::Field { field, new, .. } => fields.insert(0, (*corrects, field, new)),
        }
    }
    let counts = events.iter().filter(|event| !voided.contains(&event.seq));
    let right = counts.map(|event| {
        let own = fields.iter().filter(|(seq, ..)| *seq == event.seq);
        own.fold(event.clone(), |event, (_, field, new)| {
            with_field(event, field, new)
        })
    });
    (right.collect(), voided)
}

fn with_field(mut event: Event, field: &str, new: &str) -> Event {
    match (field, &mut event.body, new.parse()) {
        ("happened", _, Ok(minutes)) => event.happened = Minute::new(minutes),
        (
            "reason",
            EventBody::UnitWithdrawn { reason, .. }
            | EventBody::RigDown { reason, .. }
            | EventBody::VerdictGiven {
                verdict: Verdict::Fail { reason } | Verdict::Hold { reason },
                ..
            },
            _,
        ) => new.clone_into(reason),
        _ => {}
    }
    event
}

/// What follows from events where none corrects another.
fn plain(events: Vec<Event>) -> Standing {
    let no_correction = |event: &Event| event.body.corrects().is_none();
    Floor::fold(events.into_iter().filter(no_correction)).now
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn what_counts_is_found_the_obvious_way_too(events in history()) {
        let (right, voided) = obvious(&events);
        let floor = Floor::fold(events);
        prop_assert_eq!(&floor.now, &plain(right));
        prop_assert_eq!(&floor.voided, &voided);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn in_whatever_batches_gives_the_same_as_all_at_once(events in history(), batch in 1..7_usize) {
        let mut floor = Floor::default();
        let mut many = 0;
        for batch in events.chunks(batch) {
            many += batch.len();
            floor.apply(batch.to_vec(), &events[..many]).expect("memory does not fail");
            prop_assert_eq!(&floor, &Floor::fold(events[..many].iter().cloned()));
        }
        // Whoever reads late may already see what came after.
        let mut late = Floor::default();
        for batch in events.chunks(batch) {
            late.apply(batch.to_vec(), &events[..]).expect("memory does not fail");
        }
        prop_assert_eq!(&late, &floor);
    }

    #[test]
    fn where_the_past_cannot_be_read_nothing_is_changed(events in history()) {
        let mut floor = Floor::default();
        for (ix, event) in events.iter().enumerate() {
            let before = floor.clone();
            if floor.apply(vec![event.clone()], &Lost).is_err() {
                prop_assert_eq!(&floor, &before);
                let past = &events[..=ix];
                floor.apply(vec![event.clone()], past).expect("memory does not fail");
            }
        }
        prop_assert_eq!(floor, Floor::fold(events));
    }

    #[test]
    fn what_is_voided_is_taken_as_if_it_had_not_been_said(
        events in history().prop_filter("something was said", |events| !events.is_empty()),
        pick in any::<prop::sample::Index>(),
    ) {
        let gone = events[pick.index(events.len())].seq;
        let without = events.iter().filter(|event| event.seq != gone).cloned();
        let without = Floor::fold(without);
        let voided = Floor::fold(and_then(events.clone(), void(gone)));
        prop_assert_eq!(&voided.now, &without.now);
        prop_assert!(voided.voided.contains(&gone));
    }

    #[test]
    fn what_is_restored_counts_as_before(
        events in history().prop_filter("something was said", |events| !events.is_empty()),
        pick in any::<prop::sample::Index>(),
    ) {
        let before = Floor::fold(events.clone());
        let gone = events[pick.index(events.len())].seq;
        let events = and_then(events, void(gone));
        let undo = events.last().expect("the void").seq;
        let after = Floor::fold(and_then(events, correction(undo, Change::Restore)));
        prop_assert_eq!(after.now, before.now);
        prop_assert_eq!(after.voided, before.voided);
    }
}

/// A past that cannot be read.
struct Lost;

impl Past for Lost {
    type Error = ();

    fn event(&self, _seq: Seq) -> Result<Option<Event>, ()> {
        Err(())
    }

    fn history(&self, _of: &Subject) -> Result<Vec<Event>, ()> {
        Err(())
    }

    fn after(&self, _seq: Seq) -> Result<Vec<Event>, ()> {
        Err(())
    }
}

/// The floor after these bodies, an hour apart.
fn floor_after(bodies: Vec<EventBody>) -> Floor {
    let hour = |seq: u64| Minute::new(60 * i64::try_from(seq).expect("a small number"));
    let events = (1..).zip(bodies);
    Floor::fold(events.map(|(seq, body)| recorded(seq, hour(seq), body)))
}

fn down(reason: &str) -> EventBody {
    EventBody::RigDown {
        rig: RigId::new("dh-1"),
        reason: reason.to_owned(),
        until: None,
    }
}

fn field(corrects: u64, field: &str, new: &str) -> EventBody {
    let change = Change::Field {
        field: field.to_owned(),
        old: "as recorded".to_owned(),
        new: new.to_owned(),
    };
    correction(Seq(corrects), change)
}

#[test]
fn a_day_at_the_bench_stands_as_it_was_told() {
    let (unit, rig) = (UnitId::new("R-1/1"), RigId::new("dh-1"));
    let floor = floor_after(vec![
        EventBody::RequestTaken {
            request: RequestId::new("R-1"),
            units: vec![unit.clone()],
        },
        EventBody::VisitStarted {
            unit: unit.clone(),
            step: 1,
            rig: rig.clone(),
            position: Some(2),
            run: None,
        },
        EventBody::VisitEnded {
            unit: unit.clone(),
            step: 1,
            rig: rig.clone(),
        },
        EventBody::VerdictGiven {
            unit: unit.clone(),
            step: 1,
            verdict: Verdict::Pass,
        },
        down("fan stands"),
        EventBody::RigUp { rig: rig.clone() },
        note("quiet"),
    ]);
    let own = &floor.now.units[&unit];
    let visit = &own.visits[&1];
    assert_eq!(
        (visit.loaded, visit.out),
        (Minute::new(120), Some(Minute::new(180)))
    );
    assert_eq!((visit.started_by, visit.ended_by), (Seq(2), Some(Seq(3))));
    assert_eq!(own.verdicts[&1].verdict, Verdict::Pass);
    assert_eq!((own.steps_done(), own.running()), (1, None));
    assert!(floor.now.running.is_empty());
    let repair = (Minute::new(300), Minute::new(360), "fan stands".to_owned());
    assert_eq!(floor.now.rigs[&rig].repairs, [repair]);
    assert_eq!(floor.now.rigs[&rig].down(), None);
    assert_eq!(floor.seen(), Seq(7));
}

#[test]
fn a_corrected_field_counts_until_its_correction_is_voided() {
    let why = |bodies| {
        let floor = floor_after(bodies);
        floor.now.rigs[&RigId::new("dh-1")]
            .down()
            .expect("it is down")
    };
    let said = vec![
        down("fan"),
        field(1, "reason", "door"),
        field(1, "happened", "45"),
    ];
    let own = why(said.clone());
    assert_eq!((own.reason.as_str(), own.since), ("door", Minute::new(45)));

    let undone = [said.clone(), vec![void(Seq(2))]].concat();
    let own = why(undone.clone());
    assert_eq!((own.reason.as_str(), own.since), ("fan", Minute::new(45)));

    let redone = [undone, vec![correction(Seq(4), Change::Restore)]].concat();
    assert_eq!(why(redone), why(said));
}

#[test]
fn a_void_that_is_voided_voids_no_more() {
    let floor = floor_after(vec![down("fan"), void(Seq(1)), void(Seq(2))]);
    assert!(floor.now.rigs[&RigId::new("dh-1")].is_down());
    assert_eq!(floor.voided.into_iter().collect::<Vec<_>>(), [Seq(2)]);
}

#[test]
fn two_voids_of_one_event_must_both_be_restored() {
    let mut said = vec![down("fan"), void(Seq(1)), void(Seq(1))];
    said.push(correction(Seq(2), Change::Restore));
    assert!(floor_after(said.clone()).now.rigs.is_empty());
    said.push(correction(Seq(3), Change::Restore));
    assert!(floor_after(said).now.rigs[&RigId::new("dh-1")].is_down());
}

#[test]
fn a_visit_never_ends_before_it_began() {
    let (unit, rig) = (UnitId::new("R-1/1"), RigId::new("dh-1"));
    let started = EventBody::VisitStarted {
        unit: unit.clone(),
        step: 1,
        rig: rig.clone(),
        position: None,
        run: Some(1),
    };
    let ended = EventBody::VisitEnded {
        unit: unit.clone(),
        step: 1,
        rig,
    };
    let loaded = Minute::new(600);
    let early = loaded + Minutes::new(-5);
    let floor = Floor::fold([recorded(1, loaded, started), recorded(2, early, ended)]);
    assert_eq!(floor.now.units[&unit].visits[&1].out, Some(loaded));
}

/// Faults of one rig as they were reported: each instant with the reason, or nothing for "it is back".
fn faults(said: &[(i64, Option<&str>)]) -> rigday::floor::RigRecord {
    let rig = RigId::new("dh-1");
    let event = |(seq, (at, reason)): (u64, &(i64, Option<&str>))| {
        let body = match reason {
            Some(reason) => EventBody::RigDown {
                rig: rig.clone(),
                reason: (*reason).to_owned(),
                until: Some(Minute::new(at + 100)).filter(|_| *reason != "door"),
            },
            None => EventBody::RigUp { rig: rig.clone() },
        };
        recorded(seq, Minute::new(*at), body)
    };
    let floor = Floor::fold((1..).zip(said).map(event));
    floor.now.rigs[&rig].clone()
}

#[test]
fn a_rig_that_is_down_twice_is_back_when_both_faults_are_over() {
    let twice = faults(&[(60, Some("fan")), (90, Some("belt"))]);
    let down = twice.down().expect("it is down");
    assert_eq!(
        (down.reason.as_str(), down.since),
        ("fan; belt", Minute::new(60))
    );
    assert_eq!(down.until, Some(Minute::new(190)), "the later of both");

    let once = faults(&[(60, Some("fan")), (90, Some("belt")), (120, None)]);
    let down = once.down().expect("the belt is still broken");
    assert_eq!(
        (down.reason.as_str(), down.since),
        ("belt", Minute::new(60))
    );
    assert!(once.spells().is_empty(), "the spell goes on");

    let over = faults(&[
        (60, Some("fan")),
        (90, Some("belt")),
        (120, None),
        (150, None),
        (200, Some("door")),
    ]);
    let spell = rigday::domain::Span::new(Minute::new(60), Minute::new(150));
    assert_eq!(over.spells(), [spell], "two faults are one spell");
    let down = over.down().expect("the door");
    assert_eq!((down.since, down.until), (Minute::new(200), None));
}

#[test]
fn a_fault_that_is_entered_late_ends_no_other() {
    // The belt broke at 300; afterwards somebody enters that the fan stood from 60 to 120.
    let late = faults(&[(300, Some("belt")), (60, Some("fan")), (120, None)]);
    let down = late.down().expect("the belt is still broken");
    assert_eq!(
        (down.reason.as_str(), down.since),
        ("belt", Minute::new(300))
    );
    let over = (Minute::new(60), Minute::new(120), "fan".to_owned());
    assert_eq!(late.repairs, [over]);
}
