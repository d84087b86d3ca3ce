//! What a change of state asks for outside of it: the only part of the screen's program that records.

use super::desk::{Desk, DeskError, outcome_words};
use super::jobs::Jobs;
use super::state::{App, Effect, Overlay, Purpose, Screen, Stale};
use super::what_if::Change;
use crate::domain::event::Subject;
use crate::domain::{Minute, RequestId, RigId, Seq, UnitId, Verdict};
use crate::ledger::Outcome;

type Done = Result<(Outcome, String), DeskError>;

/// Carries an effect out and says on the screen what came of it.
pub fn perform(app: &mut App, effect: Effect, jobs: &mut Jobs) {
    match effect {
        Effect::Plan(assign) => plan(app, assign, jobs),
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
        Effect::Overwrite(mine) => {
            let done = act(app, &mine, true);
            answer_to(app, *mine, done);
        }
        mine @ (Effect::Pass(_)
        | Effect::LoadUnit(_)
        | Effect::UnloadUnit(_)
        | Effect::RigDown(..)
        | Effect::RigUp(_)
        | Effect::Record(..)) => {
            let seen = asked_at(app, &mine);
            app.desk.looking_at(seen);
            let done = act(app, &mine, false);
            answer_to(app, mine, done);
        }
    }
}

/// The last event that whoever does this was shown.
fn asked_at(app: &mut App, mine: &Effect) -> Seq {
    let asked = app.question.take();
    let of =
        |(own, _): &(Purpose, Seq)| matches!(mine, Effect::Record(purpose, _) if own == purpose);
    asked
        .filter(of)
        .map_or(app.desk.floor.seen(), |(_, seen)| seen)
}

/// Does a deed; `over` what another session has said.
fn act(app: &mut App, mine: &Effect, over: bool) -> Done {
    let desk = &mut app.desk;
    let (outcome, words) = match mine {
        Effect::Pass(unit) => (
            verdict(desk, unit, Verdict::Pass, over)?,
            format!("PASS  {unit}"),
        ),
        Effect::LoadUnit(unit) => (desk.start(unit, None)?, format!("LOADED  {unit}")),
        Effect::UnloadUnit(unit) => (desk.end(unit)?, format!("UNLOADED  {unit}")),
        Effect::RigUp(rig) => (desk.rig_up(rig)?, format!("{rig} is back; plan again (p)")),
        Effect::RigDown(rig, reason, until) => return rig_down(app, rig, reason, *until),
        Effect::Record(purpose, text) => return record(app, purpose, text.clone(), over),
        _ => return Err(DeskError::NotNow("that cannot be done again".to_owned())),
    };
    Ok((outcome, words))
}

fn verdict(
    desk: &mut Desk,
    unit: &UnitId,
    verdict: Verdict,
    over: bool,
) -> Result<Outcome, DeskError> {
    if over {
        desk.overrule(unit, verdict)
    } else {
        desk.mark(unit, verdict)
    }
}

fn record(app: &mut App, purpose: &Purpose, text: String, over: bool) -> Done {
    let desk = &mut app.desk;
    Ok(match purpose {
        Purpose::Fail(unit) => {
            let fail = Verdict::Fail { reason: text };
            (verdict(desk, unit, fail, over)?, format!("FAIL  {unit}"))
        }
        Purpose::Hold(unit) => {
            let hold = Verdict::Hold { reason: text };
            (verdict(desk, unit, hold, over)?, format!("HOLD  {unit}"))
        }
        Purpose::Note(unit) => {
            let about = Subject::Unit(unit.clone());
            (desk.note(about, &text)?, format!("note on {unit}"))
        }
        Purpose::Withdraw(unit) => {
            let words = format!("{unit} withdrawn; plan again");
            (desk.withdraw(unit, &text)?, words)
        }
        Purpose::RigDown(rig) => return rig_down(app, rig, &text, None),
    })
}

/// Shows what came of a deed; where another session was faster, both sides of it.
fn answer_to(app: &mut App, mine: Effect, done: Done) {
    if let Ok((Outcome::Conflict { by }, words)) = &done {
        app.overlays.push(Overlay::Stale(Box::new(Stale {
            mine,
            words: words.clone(),
            theirs: (**by).clone(),
        })));
    }
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
    app.note_what_is_shown();
    match app.desk.refresh() {
        Ok(_) => app.renew(),
        Err(error) => {
            app.said = Some((false, error.to_string()));
            app.dirty = true;
        }
    }
}

/// Starts planning, perhaps with a unit's next step on a rig of the user's choice.
fn plan(app: &mut App, assign: Option<(UnitId, RigId)>, jobs: &mut Jobs) {
    let mut planning = app.desk.planning();
    if let Some((unit, rig)) = assign {
        match app.desk.assignment(&unit, &rig, None) {
            Ok(pin) => planning = planning.with_pins(&[pin]),
            Err(error) => {
                app.said = Some((false, error.to_string()));
                app.dirty = true;
                return;
            }
        }
    }
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
    }
    answer(app, done);
}
