//! Who may do what: asked in the store, inside the transaction.

use super::Place;
use crate::support::events::{body, new_event, note, still_env, void};
use proptest::collection::vec;
use proptest::prelude::*;
use rigday::clock::FakeClock;
use rigday::domain::event::Meaning;
use rigday::domain::roles::{Holder, Role};
use rigday::domain::{
    Actor, EventBody, Minutes, NewEvent, PlanId, RequestId, RigId, Seq, UnitId, Verdict,
};
use rigday::ledger::{Ledger, MemoryLedger, Outcome, SqliteLedger, create};
use std::sync::Arc;

fn actor(uid: u32, person: &str) -> Actor {
    Actor {
        uid,
        login: format!("user-{uid}"),
        person: person.to_owned(),
        host: "bench-1".to_owned(),
        session: format!("s-{uid}"),
    }
}

fn user(uid: u32) -> Actor {
    actor(uid, &format!("user-{uid}"))
}

/// The four roles, and the user who has each; 10 is the first manager.
const USERS: [(u32, Role); 4] = [
    (40, Role::Viewer),
    (30, Role::Technician),
    (20, Role::Coordinator),
    (10, Role::Manager),
];

/// One deed of each kind, with the least role that may do it.
#[expect(clippy::too_many_lines, reason = "one entry a kind of event")]
fn deeds() -> Vec<(EventBody, Role)> {
    let unit = || UnitId::new("R-1/1");
    let rig = || RigId::new("dh-1");
    let plan = || PlanId::new("p-1");
    vec![
        (note("seen"), Role::Technician),
        (
            EventBody::VisitStarted {
                unit: unit(),
                step: 1,
                rig: rig(),
                position: None,
                run: None,
            },
            Role::Technician,
        ),
        (
            EventBody::VisitEnded {
                unit: unit(),
                step: 1,
                rig: rig(),
            },
            Role::Technician,
        ),
        (
            EventBody::VerdictGiven {
                unit: unit(),
                step: 1,
                verdict: Verdict::Pass,
            },
            Role::Technician,
        ),
        (
            EventBody::RigDown {
                rig: rig(),
                reason: "fan".to_owned(),
                until: None,
            },
            Role::Technician,
        ),
        (EventBody::RigUp { rig: rig() }, Role::Technician),
        (
            EventBody::UnitWithdrawn {
                unit: unit(),
                reason: "lost".to_owned(),
            },
            Role::Coordinator,
        ),
        (
            EventBody::RequestTaken {
                request: RequestId::new("R-2"),
                units: vec![],
            },
            Role::Coordinator,
        ),
        (
            EventBody::PlanBookings {
                plan: plan(),
                bookings: vec![],
            },
            Role::Coordinator,
        ),
        // A mark of the first manager.
        (void(Seq(1)), Role::Coordinator),
        (
            EventBody::RoleGranted {
                holder: Holder::User(50),
                role: Role::Viewer,
            },
            Role::Manager,
        ),
        (
            EventBody::RoleRevoked {
                holder: Holder::User(50),
            },
            Role::Manager,
        ),
        (
            EventBody::Signed {
                meaning: Meaning::Reviewed,
                shown: "00".to_owned(),
                upto: Seq(1),
            },
            Role::Manager,
        ),
    ]
}

/// A ledger with the four users, for appending to; and how it counts ids.
struct Lab {
    ledger: SqliteLedger,
    clock: Arc<FakeClock>,
    next: u128,
    _place: Place,
}

impl Lab {
    fn new() -> Self {
        let place = Place::new();
        let (env, clock) = still_env(9);
        let mut own = Self {
            ledger: create(&place.path(), env).expect("a new ledger"),
            clock,
            next: 1000,
            _place: place,
        };
        assert_eq!(
            own.say(&user(10), note("founded")),
            Outcome::Recorded { first: Seq(1) }
        );
        for (uid, role) in USERS {
            let holder = Holder::User(uid);
            let outcome = own.say(&user(10), EventBody::RoleGranted { holder, role });
            assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        }
        own
    }

    fn say(&mut self, who: &Actor, body: EventBody) -> Outcome {
        self.next += 1;
        let mut event = new_event(self.next, body);
        event.actor = who.clone();
        self.ledger.append(&[], &[event])
    }

    fn count(&self) -> u64 {
        self.ledger.head().expect("a head").seq.0
    }

    fn last(&self) -> EventBody {
        let last = Seq(self.count() - 1);
        self.ledger.read(last, 1).expect("events").remove(0).body
    }
}

#[test]
fn every_role_may_do_what_it_may_and_nothing_more() {
    for (uid, role) in USERS {
        for (body, needed) in deeds() {
            let mut lab = Lab::new();
            let outcome = lab.say(&user(uid), body.clone());
            let may = role >= needed;
            assert_eq!(
                matches!(outcome, Outcome::Recorded { .. }),
                may,
                "{} and {body:?}: {outcome:?}",
                role.word()
            );
            if !may {
                let Outcome::Refused { why } = outcome else {
                    panic!("refused: {outcome:?}");
                };
                assert!(
                    why.contains(needed.word()) && why.contains(role.word()),
                    "{why}"
                );
                assert!(
                    matches!(lab.last(), EventBody::AttemptRefused { .. }),
                    "it is logged"
                );
            }
        }
    }
}

#[test]
fn an_unknown_user_is_a_viewer_and_a_person_never_has_more_than_the_user() {
    let mut lab = Lab::new();
    assert!(matches!(
        lab.say(&user(77), note("x")),
        Outcome::Refused { .. }
    ));
    let ines = || Holder::Person("Ines".to_owned());
    let grant = |role| EventBody::RoleGranted {
        holder: ines(),
        role,
    };
    assert!(matches!(
        lab.say(&user(10), grant(Role::Manager)),
        Outcome::Recorded { .. }
    ));
    let at_the_bench = actor(30, "Ines");
    assert!(matches!(
        lab.say(&at_the_bench, note("x")),
        Outcome::Recorded { .. }
    ));
    let more = EventBody::RoleRevoked { holder: ines() };
    assert!(matches!(
        lab.say(&at_the_bench, more),
        Outcome::Refused { .. }
    ));
    assert!(matches!(
        lab.say(&user(10), grant(Role::Viewer)),
        Outcome::Recorded { .. }
    ));
    assert!(matches!(
        lab.say(&at_the_bench, note("y")),
        Outcome::Refused { .. }
    ));
}

#[test]
fn a_refused_attempt_is_logged_once_in_a_row() {
    let mut lab = Lab::new();
    let before = lab.count();
    for _ in 0..5 {
        assert!(matches!(
            lab.say(&user(40), note("x")),
            Outcome::Refused { .. }
        ));
    }
    assert_eq!(lab.count(), before + 1);
    assert!(matches!(
        lab.say(&user(77), note("x")),
        Outcome::Refused { .. }
    ));
    assert_eq!(lab.count(), before + 2);
}

#[test]
fn a_technician_corrects_an_own_mark_for_a_day() {
    let mut lab = Lab::new();
    let pass = || deeds().remove(3).0;
    let Outcome::Recorded { first } = lab.say(&user(30), pass()) else {
        panic!("a technician gives verdicts");
    };
    lab.clock.advance(Minutes::hours(24));
    assert!(matches!(
        lab.say(&user(30), void(first)),
        Outcome::Recorded { .. }
    ));
    lab.clock.advance(Minutes::new(1));
    assert!(matches!(
        lab.say(&user(30), void(first)),
        Outcome::Refused { .. }
    ));
    let other = actor(30, "Ravi");
    let Outcome::Recorded { first } = lab.say(&user(30), pass()) else {
        panic!("a technician gives verdicts");
    };
    assert!(
        matches!(lab.say(&other, void(first)), Outcome::Refused { .. }),
        "of another person"
    );
    assert!(matches!(
        lab.say(&user(20), void(first)),
        Outcome::Recorded { .. }
    ));
}

#[test]
fn the_last_manager_keeps_the_role() {
    let mut lab = Lab::new();
    let revoke = || EventBody::RoleRevoked {
        holder: Holder::User(10),
    };
    let Outcome::Refused { why } = lab.say(&user(10), revoke()) else {
        panic!("there is no other manager");
    };
    assert!(why.contains("last manager"), "{why}");
    let lower = EventBody::RoleGranted {
        holder: Holder::User(10),
        role: Role::Viewer,
    };
    assert!(matches!(lab.say(&user(10), lower), Outcome::Refused { .. }));
    let second = EventBody::RoleGranted {
        holder: Holder::User(11),
        role: Role::Manager,
    };
    assert!(matches!(
        lab.say(&user(10), second),
        Outcome::Recorded { .. }
    ));
    assert!(matches!(
        lab.say(&user(11), revoke()),
        Outcome::Recorded { .. }
    ));
    assert!(matches!(
        lab.say(&user(10), note("x")),
        Outcome::Refused { .. }
    ));
}

#[test]
fn l02_a_retry_is_answered_whatever_the_role_is_by_then() {
    let mut lab = Lab::new();
    let mut event = new_event(5, note("once"));
    event.actor = user(30);
    assert!(matches!(
        lab.ledger.append(&[], std::slice::from_ref(&event)),
        Outcome::Recorded { .. }
    ));
    let revoke = EventBody::RoleRevoked {
        holder: Holder::User(30),
    };
    assert!(matches!(
        lab.say(&user(10), revoke),
        Outcome::Recorded { .. }
    ));
    assert!(matches!(
        lab.ledger.append(&[], &[event]),
        Outcome::AlreadyRecorded { .. }
    ));
}

/// Events of few users and persons, roles among them.
fn said() -> impl Strategy<Value = NewEvent> {
    let holder = prop_oneof![
        (1..4_u32).prop_map(Holder::User),
        prop::sample::select(vec!["Ines", "Ravi"]).prop_map(|name| Holder::Person(name.to_owned())),
    ];
    let role = prop::sample::select(Role::ALL.to_vec());
    let roles = prop_oneof![
        3 => (holder.clone(), role)
            .prop_map(|(holder, role)| EventBody::RoleGranted { holder, role }),
        1 => holder.prop_map(|holder| EventBody::RoleRevoked { holder }),
    ];
    let body = prop_oneof![3 => body(20), 2 => roles];
    let person = prop::sample::select(vec!["", "Ines", "Ravi"]);
    (any::<u128>(), 1..4_u32, person, body).prop_map(|(id, uid, person, body)| {
        let mut event = new_event(id, body);
        event.actor = if person.is_empty() {
            user(uid)
        } else {
            actor(uid, person)
        };
        event
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn f14_memory_and_file_agree_about_roles(
        appends in vec((vec(said(), 1..3), 0..3_000_i64), 1..30),
    ) {
        let place = Place::new();
        let ((env, first), (other, second)) = (still_env(5), still_env(5));
        let mut memory = MemoryLedger::new(env);
        let mut file = create(&place.path(), other).expect("a new ledger");
        for (events, minutes) in appends {
            first.advance(Minutes::new(minutes));
            second.advance(Minutes::new(minutes));
            prop_assert_eq!(memory.append(&[], &events), file.append(&[], &events));
            prop_assert_eq!(memory.head().expect("a head"), file.head().expect("a head"));
        }
        prop_assert_eq!(memory.verify(&[]).faults, vec![]);
        prop_assert_eq!(file.verify(&[]).faults, vec![]);
    }
}
