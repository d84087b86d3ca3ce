//! Two stores and a plain account of what they should say, step by step.

use super::{Place, open, size};
use crate::support::events::{actor, bad_body, body, new_event, still_env, subject};
use proptest::collection::vec;
use proptest::prelude::*;
use rigday::clock::FakeClock;
use rigday::domain::event::Subject;
use rigday::domain::{EventBody, Minutes, NewEvent, RigId, Seq, UnitId};
use rigday::ledger::{Expect, Ledger, MemoryLedger, Outcome, SqliteLedger, create};
use std::collections::BTreeSet;
use std::sync::Arc;

/// What one of the tests' random steps does.
#[derive(Clone, Debug)]
enum Step {
    /// Records events: each with whether a ledger may take it.
    Append(Vec<Expect>, Vec<(NewEvent, bool)>),
    /// Says an append again, as after an answer that was lost.
    Again(prop::sample::Index),
    /// The clock moves, or is set back.
    Clock(i64),
    /// The file is closed and opened anew.
    Reopen,
}

/// An event with one of few ids, so that ids come again with the same and with other content.
fn said() -> impl Strategy<Value = (NewEvent, bool)> {
    let good = body(12).prop_map(|body| (body, true));
    let bad = bad_body().prop_map(|body| (body, false));
    let who = prop::sample::select(vec!["Ines", "Ravi"]);
    (1..40_u128, prop_oneof![12 => good, 1 => bad], who, 0..2_i64).prop_map(
        |(id, (body, good), who, late)| {
            let mut event = new_event(id, body);
            event.actor = actor(who);
            event.happened += Minutes::new(late);
            (event, good)
        },
    )
}

fn step() -> impl Strategy<Value = Step> {
    let expect = (subject(), 0..14_u64).prop_map(|(about, seen)| Expect {
        about,
        seen: Seq(seen),
    });
    prop_oneof![
        8 => (vec(expect, 0..3), vec(said(), 0..4))
            .prop_map(|(expect, events)| Step::Append(expect, events)),
        2 => any::<prop::sample::Index>().prop_map(Step::Again),
        1 => (-90..90_i64).prop_map(Step::Clock),
        1 => Just(Step::Reopen),
    ]
}

/// An append: what was expected, and the events with whether a ledger may take them.
type Said = (Vec<Expect>, Vec<(NewEvent, bool)>);

/// The plain account: what was recorded, in order.
#[derive(Default)]
struct Account {
    events: Vec<NewEvent>,
}

/// The answers that the account can foretell; a conflict with the seq that came between.
#[derive(Debug, PartialEq, Eq)]
enum Answer {
    Recorded(u64),
    Already(u64),
    Conflict(u64),
    Refused,
}

impl Account {
    fn append(&mut self, expect: &[Expect], events: &[(NewEvent, bool)]) -> Answer {
        let ids: BTreeSet<[u8; 16]> = events.iter().map(|(event, _)| event.id.0).collect();
        let all_good = events.iter().all(|(_, good)| *good);
        if events.is_empty() || !all_good || ids.len() < events.len() {
            return Answer::Refused;
        }
        let known: Vec<Option<usize>> = events.iter().map(|(own, _)| self.find(own)).collect();
        if known.iter().any(Option::is_some) {
            let same = known
                .iter()
                .zip(events)
                .all(|(ix, (own, _))| ix.is_some_and(|ix| self.events[ix] == *own));
            return match known[0] {
                Some(first) if same => Answer::Already(first as u64 + 1),
                _ => Answer::Refused,
            };
        }
        let between = expect.iter().find_map(|own| {
            let later = own.seen.0 + 1..=self.events.len() as u64;
            later
                .into_iter()
                .find(|seq| self.about(*seq).contains(&own.about))
        });
        if let Some(seq) = between {
            return Answer::Conflict(seq);
        }
        let first = self.events.len() as u64 + 1;
        self.events
            .extend(events.iter().map(|(event, _)| event.clone()));
        Answer::Recorded(first)
    }

    fn find(&self, event: &NewEvent) -> Option<usize> {
        self.events.iter().position(|own| own.id == event.id)
    }

    fn body(&self, seq: u64) -> Option<&EventBody> {
        let ix = usize::try_from(seq.checked_sub(1)?).ok()?;
        self.events.get(ix).map(|event| &event.body)
    }

    /// What an event tells of first; a correction tells of what it corrects.
    fn tells_of(&self, seq: u64) -> Option<Subject> {
        let body = self.body(seq)?;
        match body.corrects() {
            Some(earlier) if earlier.0 < seq => self.tells_of(earlier.0),
            _ => body.tells_of(),
        }
    }

    /// What an event is about; a correction is about what it corrects is about.
    fn about(&self, seq: u64) -> Vec<Subject> {
        let Some(body) = self.body(seq) else {
            return Vec::new();
        };
        match body.corrects() {
            Some(earlier) if earlier.0 < seq => self.about(earlier.0),
            _ => body.subjects(),
        }
    }
}

fn unit(number: u64) -> Subject {
    Subject::Unit(UnitId::new(&format!("R-1/{number}")))
}

fn rig(number: u64) -> Subject {
    Subject::Rig(RigId::new(&format!("dh-{number}")))
}

fn answer(outcome: &Outcome) -> Answer {
    match outcome {
        Outcome::Recorded { first } => Answer::Recorded(first.0),
        Outcome::AlreadyRecorded { first } => Answer::Already(first.0),
        Outcome::Conflict { by } => Answer::Conflict(by.seq.0),
        Outcome::Refused { .. } => Answer::Refused,
        Outcome::NotRecorded { why } | Outcome::Unknown { why } => panic!("nothing failed: {why}"),
    }
}

/// Both stores, with clocks and ids of their own that say the same.
struct Both {
    place: Place,
    clocks: [Arc<FakeClock>; 2],
    memory: MemoryLedger,
    file: Option<SqliteLedger>,
    account: Account,
    before: Vec<Said>,
}

impl Both {
    fn new() -> Self {
        let place = Place::new();
        let ((env, first), (other, second)) = (still_env(5), still_env(5));
        Self {
            memory: MemoryLedger::new(env),
            file: Some(create(&place.path(), other).expect("a new ledger")),
            clocks: [first, second],
            place,
            account: Account::default(),
            before: Vec::new(),
        }
    }

    fn file(&mut self) -> &mut SqliteLedger {
        self.file.as_mut().expect("it is open between the steps")
    }

    fn take(&mut self, step: Step) {
        match step {
            Step::Append(expect, events) => {
                self.append(&expect, &events);
                self.before.push((expect, events));
            }
            Step::Again(pick) if !self.before.is_empty() => {
                let (expect, events) = self.before[pick.index(self.before.len())].clone();
                self.append(&expect, &events);
            }
            Step::Again(_) => {}
            Step::Clock(by) => {
                for clock in &self.clocks {
                    clock.advance(Minutes::new(by));
                }
            }
            Step::Reopen => {
                self.file = None;
                let (mut env, _) = still_env(5);
                env.clock = self.clocks[1].clone();
                self.file = Some(open(&self.place.path(), env));
            }
        }
    }

    fn append(&mut self, expect: &[Expect], events: &[(NewEvent, bool)]) {
        let foretold = self.account.append(expect, events);
        let plain: Vec<NewEvent> = events.iter().map(|(event, _)| event.clone()).collect();
        let said = self.memory.append(expect, &plain);
        assert_eq!(answer(&said), foretold, "{said:?}");
        assert_eq!(self.file().append(expect, &plain), said);
        let head = self.memory.head().expect("a head");
        assert_eq!(self.file().head().expect("a head"), head, "the same link");
    }

    /// The same events in both, and just what was said.
    fn compare(&mut self) {
        let events = self.memory.read(Seq(0), u32::MAX).expect("events");
        assert_eq!(self.file().read(Seq(0), u32::MAX).expect("events"), events);
        let plain = events.iter().map(|event| NewEvent {
            id: event.id,
            happened: event.happened,
            actor: (*event.actor).clone(),
            body: event.body.clone(),
        });
        assert_eq!(plain.collect::<Vec<_>>(), self.account.events);
        assert!(
            events
                .iter()
                .map(|event| event.seq.0)
                .eq(1..=events.len() as u64)
        );
        for after in [Seq(1), Seq(events.len() as u64), Seq(u64::MAX)] {
            let few = self.memory.read(after, 2).expect("events");
            assert_eq!(self.file().read(after, 2).expect("events"), few);
        }
        for about in [Subject::Lab, unit(1), unit(3), rig(1), rig(2)] {
            let told: Vec<u64> = (1..=events.len() as u64)
                .filter(|seq| self.account.tells_of(*seq).as_ref() == Some(&about))
                .collect();
            for history in [self.memory.history(&about), self.file().history(&about)] {
                let history = history.expect("events");
                let seqs: Vec<u64> = history.iter().map(|event| event.seq.0).collect();
                assert_eq!(seqs, told, "{about:?}");
            }
        }
        let head = self.memory.head().expect("a head");
        let known = [head];
        for report in [self.memory.verify(&known), self.file().verify(&known)] {
            assert_eq!(
                (report.events, report.faults),
                (events.len() as u64, Vec::new())
            );
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(u32::try_from(size(60, 200, 2_000)).expect("few")))]

    #[test]
    fn f14_memory_and_file_give_the_same_answers(steps in vec(step(), 1..=60)) {
        let mut both = Both::new();
        for step in steps {
            both.take(step);
        }
        both.compare();
    }
}

#[test]
fn l08_every_answer_has_its_cause() {
    let mut both = Both::new();
    let unit = |n: u128, step| {
        let body = EventBody::VerdictGiven {
            unit: UnitId::new("R-1/1"),
            step,
            verdict: rigday::domain::Verdict::Pass,
        };
        (new_event(n, body), true)
    };
    let seen = |seq| {
        let about = Subject::Unit(UnitId::new("R-1/1"));
        vec![Expect {
            about,
            seen: Seq(seq),
        }]
    };
    let mut say = |expect: &[Expect], events: &[(NewEvent, bool)]| {
        both.append(expect, events);
        let plain: Vec<NewEvent> = events.iter().map(|(event, _)| event.clone()).collect();
        answer(&both.file().append(expect, &plain))
    };
    // Each is said twice: the second time answers what a retry answers.
    assert_eq!(say(&seen(0), &[unit(1, 1), unit(2, 2)]), Answer::Already(1));
    assert_eq!(say(&seen(1), &[unit(3, 3)]), Answer::Conflict(2));
    assert_eq!(say(&seen(2), &[unit(3, 3)]), Answer::Already(3));
    assert_eq!(
        say(&[], &[unit(3, 1)]),
        Answer::Refused,
        "the same id, other content"
    );
    assert_eq!(
        say(&[], &[unit(4, 1), unit(1, 1)]),
        Answer::Refused,
        "half of it known"
    );
    assert_eq!(
        say(&[], &[unit(5, 1), unit(5, 1)]),
        Answer::Refused,
        "one id twice"
    );
    assert_eq!(
        say(&[], &[(unit(6, 0).0, false)]),
        Answer::Refused,
        "step zero"
    );
    assert_eq!(say(&[], &[]), Answer::Refused, "nothing to record");
    both.compare();
    assert_eq!(both.account.events.len(), 3);
}
