//! Several sessions at one lab: what undo undoes, what it refuses, and what becomes of a deed on an old record.
//! The other session is the built program, as a process of its own.

use crate::support::program::Desk as Folder;
use rigday::app::desk::{Desk, Opening, outcome_words};
use rigday::clock::{FakeClock, SystemClock};
use rigday::domain::event::Subject;
use rigday::domain::{Actor, EventBody, RigId, Seq, UnitId, Verdict};
use rigday::ledger::{Env, Ids, Outcome, open};
use std::sync::Arc;

/// The morning of the demo.
const MORNING: &str = "2027-03-22T06:50";

/// A session of this process at the lab of a folder; its person is Ines.
fn session(folder: &Folder, name: &str) -> Desk {
    let lab = rigday::lab::read(&folder.path("lab"))
        .expect("a good lab")
        .lab;
    let clock = Arc::new(FakeClock::at(
        rigday::lab::parse_instant(MORNING, Some(&lab.zone)).expect("an instant"),
    ));
    let env = Env {
        clock: Arc::new(SystemClock::default()),
        ids: Ids::System,
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: None,
    };
    let ledger = open(&folder.path("lab/rigday.db"), env).expect("a good ledger");
    let uid = rustix::process::getuid().as_raw();
    Desk::open(Opening {
        lab,
        ledger: Box::new(ledger),
        clock,
        ids: Ids::System,
        actor: Actor {
            uid,
            login: "bench".to_owned(),
            person: "Ines".to_owned(),
            host: "bench-1".to_owned(),
            session: name.to_owned(),
        },
    })
    .expect("a desk")
}

/// The other session, a process: the words of a line, said by Ravi.
fn ravi(folder: &Folder, line: &[&str]) {
    let mut words = line.to_vec();
    words.extend([
        "--lab", "lab", "--now", MORNING, "--person", "Ravi", "--late", "trial",
    ]);
    folder.run_words(&words).good();
}

fn recorded(outcome: &Outcome) {
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
}

/// Who and when, as the answer says it.
fn conflict(desk: &Desk, outcome: &Outcome) -> String {
    assert!(matches!(outcome, Outcome::Conflict { .. }), "{outcome:?}");
    outcome_words(outcome, &desk.lab.zone).1
}

#[test]
fn t70_sixty_steps_back_and_forth_and_the_history_stays() {
    let folder = Folder::demo();
    let mut desk = session(&folder, "s-1");
    let rig = RigId::new("sl-1");
    let begun = desk.floor.clone();
    let mut states = vec![begun.now.clone()];
    for _ in 0..30 {
        recorded(&desk.rig_down(&rig, "belt slips", None).expect("a ledger"));
        states.push(desk.floor.now.clone());
        recorded(&desk.rig_up(&rig).expect("a ledger"));
        states.push(desk.floor.now.clone());
    }
    let said = desk.floor.seen();
    for step in (0..60).rev() {
        let (outcome, words) = desk.undo().expect("a ledger");
        recorded(&outcome);
        let what = if step % 2 == 0 { "down" } else { "back" };
        assert_eq!(words, format!("Undid: sl-1 {what} (U redoes)"));
        assert_eq!(desk.floor.now, states[step]);
    }
    assert!(desk.undo().is_err(), "nothing is left to undo");
    for state in &states[1..] {
        let (outcome, words) = desk.redo().expect("a ledger");
        recorded(&outcome);
        assert!(words.starts_with("Redid: sl-1"), "{words}");
        assert_eq!(desk.floor.now, *state);
    }
    assert!(desk.redo().is_err(), "nothing is left to redo");
    assert_eq!(
        desk.floor.seen(),
        Seq(said.0 + 120),
        "each step is a record of its own"
    );
    let kept = desk.event(Seq(begun.seen().0 + 1)).expect("a ledger");
    let down = kept.expect("the first deed stays").body;
    assert!(matches!(down, EventBody::RigDown { .. }), "{down:?}");
}

#[test]
fn t70_a_change_of_several_events_is_one_step() {
    let folder = Folder::demo();
    let mut desk = session(&folder, "s-1");
    let now = desk.floor.now.clone();
    let running = now
        .running
        .iter()
        .next()
        .expect("some unit is on a rig")
        .clone();
    let seen = desk.floor.seen();
    recorded(
        &desk
            .withdraw(&running, "housing cracked")
            .expect("a ledger"),
    );
    assert_eq!(
        desk.floor.seen(),
        Seq(seen.0 + 2),
        "off its rig, and withdrawn"
    );
    let (outcome, words) = desk.undo().expect("a ledger");
    recorded(&outcome);
    assert_eq!(words, format!("Undid: {running} withdrawn (U redoes)"));
    assert_eq!(desk.floor.now, now);
}

#[test]
fn t71_undo_of_what_another_session_has_changed_is_refused() {
    let folder = Folder::demo();
    let mut desk = session(&folder, "s-1");
    recorded(
        &desk
            .rig_down(&RigId::new("sl-1"), "belt slips", None)
            .expect("a ledger"),
    );
    recorded(
        &desk
            .rig_down(&RigId::new("dr-1"), "sensor", None)
            .expect("a ledger"),
    );
    ravi(&folder, &["rig", "up", "dr-1"]);
    let seen = desk.floor.seen();
    let (outcome, _) = desk.undo().expect("a ledger");
    let words = conflict(&desk, &outcome);
    assert!(
        words.contains("Ravi changed it at Mon 22 Mar 06:50"),
        "{words}"
    );
    desk.each_after(seen, |event| {
        assert_eq!(event.actor.person, "Ravi", "nothing of mine is recorded");
    })
    .expect("a ledger");
    // It is not forgotten by being refused: once Ravi has taken it back, it can be undone, and the one before.
    ravi(&folder, &["undo"]);
    for what in ["dr-1 down", "sl-1 down"] {
        let (outcome, words) = desk.undo().expect("a ledger");
        recorded(&outcome);
        assert_eq!(words, format!("Undid: {what} (U redoes)"));
    }
    // A redo is refused as well.
    ravi(&folder, &["rig", "down", "sl-1", "--reason", "noise"]);
    let (outcome, _) = desk.redo().expect("a ledger");
    assert!(conflict(&desk, &outcome).contains("Ravi"));
}

/// Two sessions give a verdict on the same checkpoint.
#[test]
fn t76_a_verdict_overrules_another_and_undo_brings_that_back() {
    let folder = Folder::demo();
    let [mut mine, mut theirs] = ["s-1", "s-2"].map(|name| session(&folder, name));
    theirs.set_person("Ravi");
    let shown = mine.floor.seen();
    let all: Vec<UnitId> = mine.floor.now.units.keys().cloned().collect();
    let mut pass = |unit: &UnitId| {
        let outcome = theirs.mark(unit, Verdict::Pass);
        matches!(outcome, Ok(Outcome::Recorded { .. }))
    };
    let own = all.iter().find(|unit| pass(unit));
    let own = own.expect("some unit is at a checkpoint").clone();
    let fail = Verdict::Fail {
        reason: "display dark".to_owned(),
    };
    mine.looking_at(shown);
    let outcome = mine.mark(&own, fail.clone()).expect("a ledger");
    assert!(conflict(&mine, &outcome).contains("Ravi"));
    recorded(&mine.overrule(&own, fail.clone()).expect("a ledger"));
    let verdicts = |desk: &Desk| {
        let all = &desk.floor.now.units[&own].verdicts;
        all.values()
            .map(|own| own.verdict.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(verdicts(&mine).last(), Some(&fail));
    theirs.refresh().expect("a ledger");
    assert_eq!(verdicts(&theirs), verdicts(&mine));
    recorded(&mine.undo().expect("a ledger").0);
    assert_eq!(verdicts(&mine).last(), Some(&Verdict::Pass));
}

#[test]
fn t78_eight_writers_lose_nothing_and_nobody_is_told_of_locks() {
    let folder = Folder::demo();
    let desk = session(&folder, "s-1");
    let before = desk.floor.seen();
    // Notes on one unit would be changes that each writer must see; each has a unit of its own.
    let units = desk.lab.requests.iter().flat_map(|own| &own.units);
    let units: Vec<UnitId> = units.take(8).cloned().collect();
    let each = crate::ledger::size(3, 25, 200);
    std::thread::scope(|scope| {
        for (writer, own) in units.iter().enumerate() {
            let folder = &folder;
            scope.spawn(move || {
                for number in 0..each {
                    let text = format!("writer {writer} note {number}");
                    let words = ["note", own.as_str(), &text, "--lab", "lab"];
                    let ended = folder.run_words(&words);
                    let said = format!("{}{}", ended.out, ended.err);
                    assert!(!said.contains("locked") && !said.contains("busy"), "{said}");
                    ended.good();
                }
            });
        }
    });
    let mut notes = std::collections::BTreeSet::new();
    for unit in units {
        let told = desk.history(&Subject::Unit(unit)).expect("a ledger");
        for event in told.into_iter().filter(|event| event.seq > before) {
            match event.body {
                EventBody::Note { text, .. } => notes.insert(text),
                other => panic!("nobody said {other:?}"),
            };
        }
    }
    assert_eq!(notes.len() as u64, 8 * each);
}
