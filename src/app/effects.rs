//! What a change of state asks for outside of it: the only part of the screen's program that records.

use super::bench_deeds;
use super::desk::{DeskError, outcome_words};
use super::jobs::Jobs;
use super::recording::is_busy;
use super::state::{App, Effect, Overlay, Purpose, Screen};
use super::what_if::Change;
use crate::domain::text::shown;
use crate::domain::{Minute, RequestId, RigId, Verdict};
use crate::ledger::Outcome;
use crate::usage::forecast::History;

/// What is said once a plan is in force.
const PUBLISHED: &str =
    "published: it is in force now; what is due is on the Bench (2); u takes it back";
/// Terminals drop what is longer than this, and some of them break.
const MOST_COPIED: usize = 74_994;

pub(super) type Done = Result<(Outcome, String), DeskError>;

/// Carries an effect out and says on the screen what came of it, but for what the ledger is too busy for.
pub(super) fn carry_out(app: &mut App, effect: Effect, jobs: &mut Jobs) {
    app.conflict = None;
    let at = app.bench.happened.filter(|_| effect.is_at_bench());
    app.desk.happened_at(at);
    // A note takes nothing from what another session has said meanwhile.
    let is_note = matches!(
        effect,
        Effect::Record(Purpose::Note(_) | Purpose::Who(_), _)
    );
    if let (Some(seen), Effect::Record(..) | Effect::RigDown(..), false) =
        (app.shown, &effect, is_note)
    {
        app.desk.looking_at(seen);
    }
    match effect {
        Effect::Plan => plan(app, jobs),
        Effect::Keep => super::keeping::keep(app),
        Effect::WhatIf(changes) => what_if(app, changes, jobs),
        Effect::Explain(request) => explain(app, request, jobs),
        Effect::Forecast => foretell(app, jobs),
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
        Effect::CopyRow => copy_row(app),
        Effect::CopyTable => copy_table(app),
        Effect::Export => export(app),
        Effect::Undo => {
            let done = app.desk.undo();
            bench_deeds::taken_back(app, "UNDONE", done);
        }
        Effect::Redo => {
            let done = app.desk.redo();
            bench_deeds::taken_back(app, "REDONE", done);
        }
        Effect::Pass(unit) => bench_deeds::mark(app, &unit, Verdict::Pass, false),
        Effect::Overrule(unit, verdict) => bench_deeds::mark(app, &unit, verdict, true),
        Effect::LoadUnit(unit) => bench_deeds::load(app, &unit),
        Effect::UnloadUnit(unit) => bench_deeds::unload(app, &unit),
        Effect::RigDown(rig, reason, until) => {
            let done = rig_down(app, &rig, &reason, until);
            answer(app, done);
        }
        Effect::RigUp(rig) => {
            let done = app.desk.rig_up(&rig);
            let words = app.desk.back_words(&rig);
            answer(app, done.map(|o| (o, format!("{words}; plan again (p)"))));
        }
        Effect::Record(purpose, text) => record(app, purpose, text),
    }
}

fn record(app: &mut App, purpose: Purpose, text: String) {
    let done = match purpose {
        Purpose::Fail(unit) => {
            return bench_deeds::mark(app, &unit, Verdict::Fail { reason: text }, false);
        }
        Purpose::Hold(unit) => {
            return bench_deeds::mark(app, &unit, Verdict::Hold { reason: text }, false);
        }
        Purpose::Note(unit) => return bench_deeds::note(app, &unit, &text),
        Purpose::Who(_) => return,
        Purpose::Withdraw(unit) => app
            .desk
            .withdraw(&unit, &text)
            .map(|o| (o, format!("{unit} withdrawn; plan again"))),
        Purpose::RigDown(rig) => rig_down(app, &rig, &text, None),
    };
    answer(app, done);
}

fn rig_down(app: &mut App, rig: &RigId, reason: &str, until: Option<Minute>) -> Done {
    let back = until.map_or(String::new(), |at| {
        format!(" until {}", app.asked().words(at))
    });
    let done = app.desk.rig_down(rig, reason, until);
    done.map(|o| (o, format!("{rig} is down{back}; plan again (p)")))
}

/// Shows what came of a deed: the words where it was recorded, the reason where not.
pub(super) fn answer(app: &mut App, done: Done) {
    // Where nobody ticks there is no second try.
    app.busy = app.tries_again && is_busy(&done);
    if app.busy {
        return;
    }
    // What the Bench last said in big letters is no longer what was done last.
    if app.screen != Screen::Bench {
        app.bench.answer = None;
    }
    if let Ok((Outcome::Conflict { by }, _)) = &done {
        app.conflict = Some(by.clone());
    }
    let said = match done {
        Ok((outcome, words)) => match outcome_words(&outcome, &app.desk.lab.zone) {
            (true, _) => (true, words),
            (false, why) => (false, why),
        },
        Err(error) => (false, error.to_string()),
    };
    app.said = Some(said);
    app.renew();
}

fn copy_row(app: &mut App) {
    match app.table_row() {
        Some(row) => {
            let cells: Vec<String> = row.iter().map(|cell| shown(cell)).collect();
            copy(app, cells.join("\t"));
        }
        None => say(app, false, "there is no row to copy".to_owned()),
    }
}

fn copy_table(app: &mut App) {
    let text = app.table().tsv();
    copy(app, text);
}

/// Sends a text to the terminal's clipboard; whether the terminal takes it, it does not say.
fn copy(app: &mut App, text: String) {
    let bytes = text.len();
    if bytes > MOST_COPIED {
        let words = format!("{bytes} bytes are too many for a terminal's clipboard; export it (:)");
        return say(app, false, words);
    }
    app.copied = Some(text);
    say(
        app,
        true,
        format!("sent to terminal clipboard: {bytes} bytes"),
    );
}

fn export(app: &mut App) {
    match app.export_into(&app.exports) {
        Ok(name) => say(app, true, format!("written: {name}")),
        Err(error) => say(
            app,
            false,
            format!("the table could not be written: {error}"),
        ),
    }
}

fn say(app: &mut App, good: bool, words: String) {
    app.said = Some((good, words));
    app.dirty = true;
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

/// Starts to forecast the plan in force.
fn foretell(app: &mut App, jobs: &mut Jobs) {
    app.job += 1;
    app.overlays.push(Overlay::Forecasting {
        job: app.job,
        drawn: (0, 0),
    });
    let history = History::of(&app.desk.floor);
    jobs.forecast(app.job, app.desk.planning(), history);
    app.dirty = true;
}

fn publish_what_if(app: &mut App) {
    let Some(Overlay::Beside { what_if, .. }) = app.overlays.last() else {
        return say(
            app,
            false,
            "not published: it is not on the screen any more".to_owned(),
        );
    };
    let what_if = what_if.clone();
    let done = app.desk.publish_what_if(&what_if);
    if matches!(&done, Ok(Outcome::Recorded { .. })) {
        app.overlays.pop();
    }
    answer(app, done.map(|outcome| (outcome, PUBLISHED.to_owned())));
}

fn publish(app: &mut App) {
    let Some(Overlay::Difference { proposal, .. }) = app.overlays.last() else {
        return say(
            app,
            false,
            "not published: it is not on the screen any more".to_owned(),
        );
    };
    let proposal = proposal.clone();
    let done = app
        .desk
        .publish(&proposal)
        .map(|outcome| (outcome, PUBLISHED.to_owned()));
    if matches!(&done, Ok((Outcome::Recorded { .. }, _))) {
        app.overlays.pop();
        app.plan.draft = None;
        super::keeping::keep(app);
    }
    answer(app, done);
}
