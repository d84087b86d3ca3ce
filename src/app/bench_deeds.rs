//! What is recorded from the screens about a unit, with the answer that the Bench shows large.

use super::actions::Action;
use super::bench_state::{Answer, Mood};
use super::card::{next_words, step_words};
use super::desk::{DeskError, outcome_words};
use super::effects;
use super::state::{App, Screen};
use crate::domain::event::Subject;
use crate::domain::{UnitId, Verdict};
use crate::ledger::Outcome;

type Done = Result<Outcome, DeskError>;

/// Gives a verdict; perhaps in place of one that stands.
pub(super) fn mark(app: &mut App, unit: &UnitId, verdict: Verdict, overrules: bool) {
    let (mood, word) = match &verdict {
        Verdict::Pass => (Mood::Pass, "PASS"),
        Verdict::Fail { .. } => (Mood::Fail, "FAIL"),
        Verdict::Hold { .. } => (Mood::Hold, "HOLD"),
    };
    let step = checked_step(app, unit);
    let why = match &verdict {
        Verdict::Fail { reason } | Verdict::Hold { reason } if !reason.is_empty() => {
            Some(reason.clone())
        }
        _ => None,
    };
    let done = if overrules {
        app.desk.overrule(unit, verdict)
    } else {
        app.desk.mark(unit, verdict)
    };
    let what = step.map(|step| step_words(&app.desk, unit, step));
    told(app, (mood, word), unit, done, why.into_iter().chain(what));
}

/// The step that a verdict would be about: the one it is on, else the last that is over.
fn checked_step(app: &App, unit: &UnitId) -> Option<u32> {
    let record = app.desk.floor.now.units.get(unit)?;
    let running = record.running().map(|(step, _)| step);
    running.or(Some(record.steps_done()))
}

/// Puts a unit on its booked rig.
pub(super) fn load(app: &mut App, unit: &UnitId) {
    let done = app.desk.start(unit, None);
    let running = app.desk.floor.now.units.get(unit);
    let running = running.and_then(|record| record.running());
    let what = running.map(|(step, visit)| {
        let place = visit
            .position
            .map_or(String::new(), |at| format!(" position {at}"));
        format!(
            "on {}{place}, {}",
            visit.rig,
            step_words(&app.desk, unit, step)
        )
    });
    told(app, (Mood::Done, "LOADED"), unit, done, what);
}

/// Takes a unit off its rig.
pub(super) fn unload(app: &mut App, unit: &UnitId) {
    let step = checked_step(app, unit);
    let done = app.desk.end(unit);
    let what = step.map(|step| step_words(&app.desk, unit, step));
    told(app, (Mood::Done, "UNLOADED"), unit, done, what);
}

/// Adds a note about a unit.
pub(super) fn note(app: &mut App, unit: &UnitId, text: &str) {
    let done = app.desk.note(Subject::Unit(unit.clone()), text);
    told(app, (Mood::Done, "NOTE"), unit, done, [text.to_owned()]);
}

/// What came of a deed about a unit.
fn told(
    app: &mut App,
    (mood, word): (Mood, &str),
    unit: &UnitId,
    done: Done,
    words: impl IntoIterator<Item = String>,
) {
    if let Ok(Outcome::Conflict { by }) = &done {
        app.conflict = Some(by.clone());
    }
    let refused = match done {
        Ok(outcome) => match outcome_words(&outcome, &app.desk.lab.zone) {
            (true, _) => None,
            (false, why) => Some(why),
        },
        Err(error) => Some(error.to_string()),
    };
    app.renew();
    let answer = if let Some(why) = refused {
        Answer::refused("REFUSED", unit.as_str(), &why)
    } else {
        let mut words: Vec<String> = words.into_iter().collect();
        let time = |at| app.settings.dates.time(app.desk.lab.zone.local(at).time());
        let when = match app.bench.happened.take() {
            Some(at) => format!("{}, entered {}", app.asked().near(at), time(app.now)),
            None => time(app.now),
        };
        let person = &app.desk.actor().person;
        let keys = &app.settings.keys;
        let undo = keys.key(Action::Undo, Screen::Bench);
        let undo = undo.map_or(String::new(), |key| format!("; {key} undoes"));
        words.push(format!("{when} by {person}{undo}"));
        words.extend(next_words(&app.desk, unit, app.now, &app.settings));
        Answer {
            mood,
            word: word.to_owned(),
            about: unit.to_string(),
            words,
        }
    };
    show(app, answer);
}

/// What came of an undo or a redo.
pub(super) fn taken_back(app: &mut App, word: &str, done: effects::Done) {
    effects::answer(app, done);
    let Some((good, words)) = app.said.clone() else {
        return;
    };
    if app.screen == Screen::Bench {
        app.bench.answer = Some(Answer {
            mood: if good { Mood::Done } else { Mood::Refused },
            word: if good { word } else { "REFUSED" }.to_owned(),
            about: String::new(),
            words: vec![words],
        });
    }
}

/// On the Bench large; on every screen in the line of answers.
fn show(app: &mut App, answer: Answer) {
    let on_bench = app.screen == Screen::Bench;
    app.bench.scanner.forget();
    app.answer(answer);
    if !on_bench {
        app.bench.answer = None;
    }
}
