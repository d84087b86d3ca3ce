//! A unit's walk and its history: as a line, and whole.

use super::overlays::{frame, more_below};
use super::theme::Theme;
use super::{clock, line};
use crate::app::App;
use crate::app::walk::{StepProgress, WalkLine, event_words, walk_of};
use crate::domain::event::{Change, Subject};
use crate::domain::standard::PREVAIL;
use crate::domain::{Event, EventBody, Minute, RigId, Seq, UnitId, Verdict};
use crate::floor::UnitState;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::collections::BTreeSet;
use unicode_width::UnicodeWidthStr;

/// The walk as one line: a visit a number with its mark, the one that runs in brackets with its method.
pub(super) fn as_line(theme: &Theme, walk: &[WalkLine], width: usize) -> String {
    let visits: Vec<String> = walk.iter().map(|own| visit(theme, own)).collect();
    let whole = visits.join(" ");
    if whole.width() <= width {
        return whole;
    }
    // Of a long walk what is over and good is told as a count.
    let good = |own: &&WalkLine| {
        own.progress == StepProgress::Done && matches!(own.verdict_word(), "" | "pass")
    };
    let over = walk.iter().take_while(good).count();
    let mark = theme.mark(UnitState::Passed);
    let begin = match over {
        0 => Vec::new(),
        over => vec![format!("1-{over}{mark}")],
    };
    begin
        .iter()
        .chain(&visits[over..])
        .cloned()
        .collect::<Vec<_>>()
        .join(" ")
}

fn visit(theme: &Theme, own: &WalkLine) -> String {
    let state = match (own.verdict_word(), own.progress) {
        ("fail", _) => UnitState::Failed,
        ("hold", _) => UnitState::Held,
        (_, StepProgress::Done) => UnitState::Passed,
        (_, StepProgress::Running) => UnitState::Running,
        (_, StepProgress::Booked) => UnitState::Booked,
        (_, StepProgress::Open) => UnitState::Waiting,
        (_, StepProgress::Dropped) => UnitState::Out,
    };
    let mark = theme.mark(state);
    if own.progress == StepProgress::Running {
        format!("[{}{mark} {}]", own.step, own.method)
    } else {
        format!("{}{mark}", own.step)
    }
}

/// Every step, planned or done, then every event about the unit, over the whole screen.
pub(super) fn overlay(
    app: &App,
    theme: &Theme,
    unit: &UnitId,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let title = format!("{unit}: its walk and its history (Esc closes)");
    let inside = frame(theme, &title, area, buffer);
    let lines = whole(app, theme, unit, inside.width.into());
    let room = usize::from(inside.height);
    let first = scroll.min(lines.len().saturating_sub(room));
    for (row, (text, style)) in (0..).zip(lines.iter().skip(first).take(room)) {
        line(buffer, inside, row, text, *style);
    }
    if lines.len() > first + room {
        more_below(theme, inside, buffer);
    }
}

/// Every step and every event about a unit, in lines of a width.
pub(super) fn whole(app: &App, theme: &Theme, unit: &UnitId, width: usize) -> Vec<(String, Style)> {
    let mut lines = steps(app, theme, unit, width);
    let prevail = wrapped(PREVAIL, width).into_iter();
    lines.extend(prevail.map(|words| (words, Style::new())));
    lines.push((String::new(), Style::new()));
    lines.extend(history(app, theme, unit, width));
    lines
}

/// A step a line, with why it is not earlier and what can hurt below it.
fn steps(app: &App, theme: &Theme, unit: &UnitId, width: usize) -> Vec<(String, Style)> {
    let mut lines = vec![(
        columns(width, "step", "method", "rig", "load", "out", "verdict"),
        theme.title(),
    )];
    let at = |at: Option<Minute>| at.map_or(String::new(), |at| clock(app, at));
    for own in walk_of(&app.desk.lab, &app.desk.walks, &app.desk.floor, unit) {
        let rig = own.rig.as_ref().map_or("", RigId::as_str);
        let verdict = match (&own.who, own.verdict_word()) {
            (Some(who), word) => format!("{word} by {who}"),
            (None, _) => own.progress.word().to_owned(),
        };
        let (step, method) = (own.step.to_string(), own.method.as_str());
        let text = columns(
            width,
            &step,
            method,
            rig,
            &at(own.load),
            &at(own.out),
            &verdict,
        );
        let style = if own.progress == StepProgress::Running {
            theme.title()
        } else {
            Style::new()
        };
        lines.push((text, style));
        if let Some(Verdict::Fail { reason } | Verdict::Hold { reason }) = &own.verdict
            && !reason.is_empty()
        {
            lines.push((format!("     why: {reason}"), theme.title()));
        }
        let because = wrapped(&own.because, width.saturating_sub(6));
        let because = because.into_iter().filter(|_| !own.because.is_empty());
        lines.extend(because.map(|words| (format!("     {words}"), Style::new())));
        let method = app.desk.lab.methods.get(&own.method);
        let ahead = own.verdict.is_none() && own.progress != StepProgress::Done;
        for caution in method
            .iter()
            .flat_map(|method| &method.cautions)
            .filter(|_| ahead)
        {
            lines.push((format!("     caution: {caution}"), theme.warning()));
        }
    }
    lines
}

/// Every event about the unit: when, who, what, and whether it still counts.
fn history(app: &App, theme: &Theme, unit: &UnitId, width: usize) -> Vec<(String, Style)> {
    let floor = &app.desk.floor;
    let events = floor.history(&Subject::Unit(unit.clone()));
    let corrected = corrected(&events, &floor.voided);
    let mut lines = vec![("history: when, who, what".to_owned(), theme.title())];
    for event in events {
        let mark = match (
            floor.voided.contains(&event.seq),
            corrected.contains(&event.seq),
        ) {
            (true, _) => " (undone)",
            (false, true) => " (corrected)",
            (false, false) => "",
        };
        let (when, who) = (clock(app, event.happened), &event.actor.person);
        let text = format!("{when} {who}: {}{mark}", words(app, event));
        for (at, words) in wrapped(&text, width.saturating_sub(5)).iter().enumerate() {
            let indent = if at == 0 { "" } else { "     " };
            lines.push((format!("{indent}{words}"), Style::new()));
        }
    }
    lines
}

/// What an event says; of an undo also what it takes back.
fn words(app: &App, event: &Event) -> String {
    let EventBody::Correction {
        corrects, change, ..
    } = &event.body
    else {
        return event_words(event);
    };
    let about = app.desk.floor.event(*corrects).map(event_words);
    match (change, about) {
        (Change::Void, Some(about)) => format!("undid: {about}"),
        (Change::Restore, _) => format!("redid what event {} took back", corrects.0),
        _ => event_words(event),
    }
}

/// Events of which a standing correction says that a field was otherwise.
fn corrected(events: &[&Event], voided: &BTreeSet<Seq>) -> BTreeSet<Seq> {
    let standing = events.iter().filter(|event| !voided.contains(&event.seq));
    let fields = standing.filter_map(|event| match &event.body {
        EventBody::Correction {
            corrects,
            change: Change::Field { .. },
            ..
        } => Some(*corrects),
        _ => None,
    });
    fields.collect()
}

/// Where there is little room the times go.
fn columns(
    width: usize,
    step: &str,
    method: &str,
    rig: &str,
    load: &str,
    out: &str,
    verdict: &str,
) -> String {
    let (step, method, rig) = (fit(step, 4), fit(method, 16), fit(rig, 6));
    match width {
        ..56 => format!("{step} {method} {rig} {verdict}"),
        56..72 => {
            let (method, load) = (fit(method.trim_end(), 14), fit(load, 16));
            format!("{step} {method} {rig} {load} {verdict}")
        }
        _ => format!(
            "{step} {method} {rig} {} {} {verdict}",
            fit(load, 16),
            fit(out, 16)
        ),
    }
}
