//! Events for the tests of the ledger and of the floor: made by hand, and any that proptest likes.

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use rigday::clock::{FakeClock, zone};
use rigday::domain::event::{Change, Subject};
use rigday::domain::plan::{Finish, Times, Unplannable};
use rigday::domain::{
    Actor, Booking, Event, EventBody, EventId, MethodId, Minute, Minutes, NewEvent, PlanId,
    RequestId, RigId, Seq, UnitId, Verdict,
};
use rigday::ledger::{Env, Ids};
use std::sync::Arc;

/// 2027-03-01T08:00Z.
pub(crate) const MORNING: Minute = Minute::new(30_064_800);

/// An event as a ledger would hold it, by Ines.
pub(crate) fn recorded(seq: u64, happened: Minute, body: EventBody) -> Event {
    Event {
        seq: Seq(seq),
        id: EventId(u128::from(seq).to_be_bytes()),
        happened,
        recorded_ms: happened.get() * 60_000,
        clock_back: false,
        actor: actor("Ines").into(),
        body,
    }
}

/// The doors of a ledger whose ids and clock can be had again, and the clock.
pub(crate) fn still_env(seed: u64) -> (Env, Arc<FakeClock>) {
    let clock = Arc::new(FakeClock::at(MORNING));
    let env = Env {
        clock: clock.clone(),
        ids: Ids::seeded(seed),
        site: "Test lab".to_owned(),
        zone: zone("Europe/Lisbon").expect("a known zone"),
        heads: None,
    };
    (env, clock)
}

/// Somebody who acts.
pub(crate) fn actor(person: &str) -> Actor {
    Actor {
        uid: 1000,
        login: "bench".to_owned(),
        person: person.to_owned(),
        host: "bench-1".to_owned(),
        session: "s-1".to_owned(),
    }
}

/// An event at [`MORNING`] whose id is that number.
pub(crate) fn new_event(id: u128, body: EventBody) -> NewEvent {
    NewEvent {
        id: EventId(id.to_be_bytes()),
        happened: MORNING,
        actor: actor("Ines"),
        body,
    }
}

/// A note about the lab.
pub(crate) fn note(text: &str) -> EventBody {
    EventBody::Note {
        subject: Subject::Lab,
        text: text.to_owned(),
    }
}

/// The correction that voids an event.
pub(crate) fn void(corrects: Seq) -> EventBody {
    correction(corrects, Change::Void)
}

/// A correction for no matter which reason.
pub(crate) fn correction(corrects: Seq, change: Change) -> EventBody {
    EventBody::Correction {
        corrects,
        change,
        reason: "mistaken".to_owned(),
    }
}

fn unit() -> impl Strategy<Value = UnitId> {
    (1..4).prop_map(|n| UnitId::new(&format!("R-1/{n}")))
}

fn rig() -> impl Strategy<Value = RigId> {
    (1..3).prop_map(|n| RigId::new(&format!("dh-{n}")))
}

fn request() -> impl Strategy<Value = RequestId> {
    (1..3).prop_map(|n| RequestId::new(&format!("R-{n}")))
}

fn plan() -> impl Strategy<Value = PlanId> {
    (1..3).prop_map(|n| PlanId::new(&format!("p-{n}")))
}

/// An instant within a week around [`MORNING`].
pub(crate) fn instant() -> impl Strategy<Value = Minute> {
    (-5_000..5_000_i64).prop_map(|off| MORNING + Minutes::new(off))
}

/// A text that may be recorded.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![Just("seal torn".to_owned()), "[a-zà-ü漢\"\\\\,;{} ]{0,12}x"]
}

/// Anything that an event can be about.
pub(crate) fn subject() -> impl Strategy<Value = Subject> {
    prop_oneof![
        unit().prop_map(Subject::Unit),
        rig().prop_map(Subject::Rig),
        request().prop_map(Subject::Request),
        Just(Subject::Lab),
    ]
}

fn verdict() -> impl Strategy<Value = Verdict> {
    prop_oneof![
        Just(Verdict::Pass),
        text().prop_map(|reason| Verdict::Fail { reason }),
        text().prop_map(|reason| Verdict::Hold { reason }),
        Just(Verdict::Hold {
            reason: String::new()
        }),
    ]
}

fn booking() -> impl Strategy<Value = Booking> {
    let names = (request(), unit(), 1..4_u32, rig());
    let rest = (
        option::of(1..3_u32),
        option::of(1..3_u32),
        instant(),
        text(),
    );
    (names, rest).prop_map(
        |((request, unit, step, rig), (position, run, load, because))| {
            let at = |minutes| load + Minutes::new(minutes);
            let times = Times {
                load,
                start: at(10),
                end: at(70),
                unload: at(75),
                out: at(80),
            };
            Booking {
                request,
                unit,
                step,
                method: MethodId::new("salt-mist"),
                rig,
                position,
                run,
                times,
                because,
            }
        },
    )
}

fn published() -> impl Strategy<Value = EventBody> {
    let finish = (request(), instant()).prop_map(|(request, finish)| Finish {
        request,
        finish,
        late: Minutes::ZERO,
        flow: Minutes::hours(9),
    });
    let left = (request(), 1..4_u32, text()).prop_map(|(request, step, reason)| Unplannable {
        request,
        step,
        reason,
    });
    let lists = (vec(finish, 0..3), vec(left, 0..2));
    (plan(), any::<i64>(), option::of(any::<i64>()), lists).prop_map(
        |(plan, cost, bound, (finishes, unplannable))| EventBody::PlanPublished {
            plan,
            cost,
            bound,
            bookings: 2,
            finishes,
            unplannable,
        },
    )
}

fn change() -> impl Strategy<Value = Change> {
    let field = prop_oneof![Just("happened"), Just("reason"), Just("colour")];
    let new = prop_oneof![Just("30064860".to_owned()), text()];
    prop_oneof![
        3 => Just(Change::Void),
        2 => Just(Change::Restore),
        1 => (field, text(), new).prop_map(|(field, old, new)| Change::Field {
            field: field.to_owned(),
            old,
            new,
        }),
    ]
}

/// What a visit is: started, or ended.
fn visit() -> impl Strategy<Value = EventBody> {
    let places = (option::of(1..3_u32), option::of(1..3_u32));
    let started =
        (unit(), 1..4_u32, rig(), places).prop_map(|(unit, step, rig, (position, run))| {
            EventBody::VisitStarted {
                unit,
                step,
                rig,
                position,
                run,
            }
        });
    let ended = (unit(), 1..4_u32, rig()).prop_map(|(unit, step, rig)| EventBody::VisitEnded {
        unit,
        step,
        rig,
    });
    prop_oneof![started, ended]
}

/// Any body that a ledger takes; corrections name an event up to `last`, there or not.
pub(crate) fn body(last: u64) -> impl Strategy<Value = EventBody> {
    let taken = (request(), vec(unit(), 0..3))
        .prop_map(|(request, units)| EventBody::RequestTaken { request, units });
    let bookings = (plan(), vec(booking(), 0..3))
        .prop_map(|(plan, bookings)| EventBody::PlanBookings { plan, bookings });
    let given =
        (unit(), 1..4_u32, verdict()).prop_map(|(unit, step, verdict)| EventBody::VerdictGiven {
            unit,
            step,
            verdict,
        });
    let withdrawn =
        (unit(), text()).prop_map(|(unit, reason)| EventBody::UnitWithdrawn { unit, reason });
    let down = (rig(), text(), option::of(instant()))
        .prop_map(|(rig, reason, until)| EventBody::RigDown { rig, reason, until });
    let noted = (subject(), text()).prop_map(|(subject, text)| EventBody::Note { subject, text });
    prop_oneof![
        1 => taken,
        1 => published(),
        1 => bookings,
        4 => visit(),
        2 => given,
        1 => withdrawn,
        1 => down,
        1 => rig().prop_map(|rig| EventBody::RigUp { rig }),
        1 => noted,
        4 => (0..=last, change()).prop_map(|(seq, change)| correction(Seq(seq), change)),
    ]
}

/// Bodies that no ledger takes, each for a reason of its own.
pub(crate) fn bad_body() -> impl Strategy<Value = EventBody> {
    let unit = || UnitId::new("R-1/1");
    let rig = || RigId::new("dh-1");
    let ended = |unit, step, rig| EventBody::VisitEnded { unit, step, rig };
    prop::sample::select(vec![
        note(""),
        note("  "),
        note("a\u{202e}b"),
        note("two\nlines"),
        note(&"x".repeat(2001)),
        ended(unit(), 0, rig()),
        ended(UnitId::new(""), 1, rig()),
        ended(unit(), 1, RigId::new("dh*1")),
        ended(UnitId::new(&"u".repeat(65)), 1, rig()),
        EventBody::UnitWithdrawn {
            unit: unit(),
            reason: String::new(),
        },
        EventBody::RigDown {
            rig: rig(),
            reason: "\u{1b}[2J".to_owned(),
            until: None,
        },
        EventBody::VerdictGiven {
            unit: unit(),
            step: 1,
            verdict: Verdict::Fail {
                reason: String::new(),
            },
        },
        EventBody::RequestTaken {
            request: RequestId::new("R-1"),
            // Each unit is well named; together they are too large for a row.
            units: (0..14_000)
                .map(|n| UnitId::new(&format!("{n:064}")))
                .collect(),
        },
        correction(
            Seq(1),
            Change::Field {
                field: "reason".to_owned(),
                old: "worn".to_owned(),
                new: "a\u{200b}b".to_owned(),
            },
        ),
    ])
}
