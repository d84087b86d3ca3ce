//! What a change of state asks for outside of it: the only part of the screen's program that records.

use super::desk::{DeskError, outcome_words};
use super::jobs::Jobs;
use super::state::{App, Effect, Overlay, Purpose, Screen};
use super::what_if::Change;
use crate::domain::event::Subject;
use crate::domain::{Minute, RequestId, RigId, Verdict};
use crate::ledger::Outcome;

type Done = Result<(Outcome, String), DeskError>;

/// Carries an effect out and says on the screen what came of it.
pub fn perform(app: &mut App, effect: Effect, jobs: &mut Jobs) {
    match effect {
        Effect::Plan => plan(app, jobs),
        Effect::Keep => super::keeping::keep(app),
        Effect::WhatIf(changes) => what_if(app, changes, jobs),
        Effect::Explain(request) => explain(app, request, jobs),
        Effect::Size(wish) => {
            let desk = &app.desk;
            let facts = desk.floor.facts(&desk.lab, &desk.walks, desk.now());
            jobs.size(app.job, desk.lab.clone(), facts, desk.now(), wish);
        }
        Effect::StopPlanning => jobs.stop(),
        Effect::Publish => publish(app),
        Effect::PublishWhatIf => publish_what_if(app),
        Effect::Quit => app.over = true,
        Effect::Refresh => refresh(app),
        Effect::Undo => {
            let done = app.desk.undo();
            answer(app, done);
        }
        Effect::Redo => {
            let done = app.desk.redo();
            answer(app, done);
        }
        Effect::Pass(unit) => {
            let done = app
                .desk
                .mark(&unit, Verdict::Pass)
                .map(|o| (o, format!("PASS  {unit}")));
            answer(app, done);
        }
        Effect::LoadUnit(unit) => {
            let done = app
                .desk
                .start(&unit, None)
                .map(|o| (o, format!("LOADED  {unit}")));
            answer(app, done);
        }
        Effect::UnloadUnit(unit) => {
            let done = app
                .desk
                .end(&unit)
                .map(|o| (o, format!("UNLOADED  {unit}")));
            answer(app, done);
        }
        Effect::RigDown(rig, reason, until) => {
            let done = rig_down(app, &rig, &reason, until);
            answer(app, done);
        }
        Effect::RigUp(rig) => {
            let done = app
                .desk
                .rig_up(&rig)
                .map(|o| (o, format!("{rig} is back; plan again (p)")));
            answer(app, done);
        }
        Effect::Record(purpose, text) => {
            let done = record(app, &purpose, text);
            answer(app, done);
        }
    }
}

fn record(app: &mut App, purpose: &Purpose, text: String) -> Done {
    let desk = &mut app.desk;
    match purpose {
        Purpose::Fail(unit) => desk
            .mark(unit, Verdict::Fail { reason: text })
            .map(|o| (o, format!("FAIL  {unit}"))),
        Purpose::Hold(unit) => desk
            .mark(unit, Verdict::Hold { reason: text })
            .map(|o| (o, format!("HOLD  {unit}"))),
        Purpose::Note(unit) => {
            let about = Subject::Unit(unit.clone());
            desk.note(about, &text)
                .map(|o| (o, format!("note on {unit}")))
        }
        Purpose::Withdraw(unit) => desk
            .withdraw(unit, &text)
            .map(|o| (o, format!("{unit} withdrawn; plan again"))),
        Purpose::RigDown(rig) => rig_down(app, rig, &text, None),
    }
}

fn rig_down(app: &mut App, rig: &RigId, reason: &str, until: Option<Minute>) -> Done {
    let back = until.map_or(String::new(), |at| {
        format!(" until {}", app.asked().words(at))
    });
    let done = app.desk.rig_down(rig, reason, until);
    done.map(|o| (o, format!("{rig} is down{back}; plan again (p)")))
}

/// Shows what came of a deed: the words where it was recorded, the reason where not.
fn answer(app: &mut App, done: Done) {
    let said = match done {
        Ok((outcome, words)) => match outcome_words(&outcome, &app.desk.lab.zone) {
            (true, _) => (true, words),
            (false, why) => (false, why),
        },
        Err(error) => (false, error.to_string()),
    };
    if app.screen == Screen::Bench {
        app.bench.answer = Some(said.clone());
    }
    app.said = Some(said);
    app.renew();
}

fn refresh(app: &mut App) {
    match app.desk.refresh() {
        Ok(_) => app.renew(),
        Err(error) => {
            app.said = Some((false, error.to_string()));
            app.dirty = true;
        }
    }
}

/// Starts planning around what was put in its place by hand.
fn plan(app: &mut App, jobs: &mut Jobs) {
    let pins = app
        .plan
        .draft
        .as_ref()
        .map_or(Vec::new(), |draft| draft.pins(app.desk.now()));
    let planning = app.desk.planning().with_pins(&pins);
    app.job += 1;
    app.overlays.push(Overlay::Working {
        job: app.job,
        progress: None,
    });
    jobs.plan(app.job, planning);
    app.dirty = true;
}

/// Starts planning a changed lab.
fn what_if(app: &mut App, changes: Vec<Change>, jobs: &mut Jobs) {
    app.job += 1;
    app.overlays.push(Overlay::Working {
        job: app.job,
        progress: None,
    });
    let published = app.desk.floor.now.published.clone();
    jobs.what_if(app.job, app.desk.planning(), published, changes);
    app.dirty = true;
}

/// Starts to find out why a request is late.
fn explain(app: &mut App, request: RequestId, jobs: &mut Jobs) {
    app.job += 1;
    app.overlays.push(Overlay::Trying {
        job: app.job,
        request: request.clone(),
        tried: (0, 0),
    });
    jobs.explain(app.job, app.desk.planning(), request);
    app.dirty = true;
}

fn publish_what_if(app: &mut App) {
    let Some(Overlay::Beside { what_if, .. }) = app.overlays.last() else {
        return;
    };
    let what_if = what_if.clone();
    let done = app.desk.publish_what_if(&what_if);
    if matches!(&done, Ok(Outcome::Recorded { .. })) {
        app.overlays.pop();
    }
    answer(app, done.map(|outcome| (outcome, "published".to_owned())));
}

fn publish(app: &mut App) {
    let Some(Overlay::Difference { proposal, .. }) = app.overlays.last() else {
        return;
    };
    let proposal = proposal.clone();
    let done = app
        .desk
        .publish(&proposal)
        .map(|outcome| (outcome, "published".to_owned()));
    if matches!(&done, Ok((Outcome::Recorded { .. }, _))) {
        app.overlays.pop();
        app.plan.draft = None;
        super::keeping::keep(app);
    }
    answer(app, done);
}
