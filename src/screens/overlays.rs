//! What lies in front of a screen: help, palette, questions, the difference of a plan, a unit's walk.

use super::bench::PREVAIL;
use super::plan::difference::gap_words;
use super::plan::lists;
use super::theme::Theme;
use super::{clock, line, what_if};
use crate::app::actions::matching;
use crate::app::walk::{event_words, walk_of};
use crate::app::{App, Field, Overlay, Purpose};
use crate::domain::event::Subject;
use crate::domain::{RigId, UnitId};
use crate::planner::Progress;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Draws the topmost overlay; the list rows it had room for, where there is one.
pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> Option<usize> {
    let rows = usize::from(area.height.saturating_sub(3));
    match app.overlays.last()? {
        Overlay::Help(field) => actions(
            app,
            theme,
            "Help: every key of this screen",
            field,
            area,
            buffer,
        ),
        Overlay::Palette(field) => actions(app, theme, "Find an action", field, area, buffer),
        Overlay::Working { progress, .. } => working(theme, *progress, area, buffer),
        Overlay::Difference { proposal, scroll } => {
            super::plan::difference::difference(app, theme, proposal, *scroll, area, buffer);
        }
        Overlay::Changes {
            field,
            changes,
            wrong,
        } => {
            let state = (field, &changes[..], wrong.as_deref());
            what_if::changes(app, theme, state, area, buffer);
        }
        Overlay::Beside { what_if, scroll } => {
            what_if::beside(app, theme, what_if, *scroll, area, buffer);
        }
        Overlay::Trying { request, tried, .. } => {
            what_if::trying(theme, request, *tried, area, buffer);
        }
        Overlay::Why {
            request,
            lines,
            scroll,
        } => {
            what_if::why(theme, request, (&lines[..], *scroll), area, buffer);
        }
        Overlay::Ask(purpose, field) => ask(app, theme, purpose, field, area, buffer),
        Overlay::ChooseRig {
            unit,
            rigs,
            selected,
        } => lists::rigs(app, theme, unit, (rigs, *selected), area, buffer),
        Overlay::ChooseUnit { units, selected } => {
            lists::waiting(theme, (units, *selected), area, buffer);
        }
        Overlay::Morning { selected } => lists::morning(app, theme, *selected, area, buffer),
        Overlay::Offered => lists::offered(app, theme, area, buffer),
        Overlay::Leave => lists::leave(app, theme, area, buffer),
        Overlay::Proof { leg, scroll } => {
            super::proof::proof(app, theme, *leg, *scroll, area, buffer);
        }
        Overlay::Size(form) => super::proof::size_form(theme, form, area, buffer),
        Overlay::Walk { unit, scroll } => walk(app, theme, unit, *scroll, area, buffer),
    }
    Some(rows)
}

/// An empty box with a title; the room inside.
pub(super) fn frame(theme: &Theme, title: &str, area: Rect, buffer: &mut Buffer) -> Rect {
    let (horizontal, vertical, corners) = if theme.unicode {
        ("─", "│", ["┌", "┐", "└", "┘"])
    } else {
        ("-", "|", ["+", "+", "+", "+"])
    };
    let width = usize::from(area.width.saturating_sub(2));
    let last = area.y + area.height.saturating_sub(1);
    for y in area.y..=last {
        let (left, middle, right) = match y {
            y if y == area.y => (corners[0], horizontal.repeat(width), corners[1]),
            y if y == last => (corners[2], horizontal.repeat(width), corners[3]),
            _ => (vertical, " ".repeat(width), vertical),
        };
        buffer.set_string(area.x, y, format!("{left}{middle}{right}"), Style::new());
    }
    let title = format!(" {title} ");
    let shown = title.chars().count().min(width.saturating_sub(2));
    buffer.set_string(area.x + 2, area.y, fit(&title, shown), theme.title());
    Rect {
        x: area.x + 2,
        y: area.y + 1,
        width: area.width.saturating_sub(4),
        height: area.height.saturating_sub(2),
    }
}

/// A box of the size of its text in the middle.
pub(super) fn middle(area: Rect, width: u16, height: u16) -> Rect {
    let (width, height) = (width.min(area.width), height.min(area.height));
    Rect {
        x: area.x + (area.width - width) / 2,
        y: area.y + (area.height - height) / 2,
        width,
        height,
    }
}

fn actions(app: &App, theme: &Theme, title: &str, field: &Field, area: Rect, buffer: &mut Buffer) {
    let inside = frame(theme, title, area, buffer);
    let typed = format!(
        "{}_   (typing narrows, Enter runs, Esc closes)",
        field.input.value()
    );
    line(buffer, inside, 0, &typed, Style::new());
    let found = matching(field.input.value(), app.screen);
    if found.is_empty() {
        line(
            buffer,
            inside,
            1,
            "No action of that name.",
            theme.warning(),
        );
    }
    let rows = usize::from(inside.height.saturating_sub(1));
    let first = field.selected.saturating_sub(rows.saturating_sub(1));
    for (at, entry) in found.iter().enumerate().skip(first).take(rows) {
        let keys = entry.keys.join(" ");
        let text = format!(
            "{} {} {}",
            fit(&keys, 9),
            fit(entry.name, 14),
            entry.sentence
        );
        let style = if at == field.selected {
            theme.selected()
        } else {
            Style::new()
        };
        line(
            buffer,
            inside,
            u16::try_from(1 + at - first).unwrap_or(1),
            &text,
            style,
        );
    }
}

fn working(theme: &Theme, progress: Option<Progress>, area: Rect, buffer: &mut Buffer) {
    let inside = frame(theme, "Planning", middle(area, 60, 5), buffer);
    let text = match progress {
        None => "looking for a first plan".to_owned(),
        Some(news) => format!(
            "round {}, cost {}{}",
            news.rounds,
            news.cost,
            gap_words(news.cost, news.bound)
        ),
    };
    line(buffer, inside, 0, &text, Style::new());
    line(
        buffer,
        inside,
        1,
        "Esc stops and keeps the best plan so far",
        Style::new(),
    );
}

fn ask(
    app: &App,
    theme: &Theme,
    purpose: &Purpose,
    field: &Field,
    area: Rect,
    buffer: &mut Buffer,
) {
    let reasons = app.reasons();
    let height = u16::try_from(reasons.len() + 5).unwrap_or(20);
    let inside = frame(theme, &purpose.question(), middle(area, 64, height), buffer);
    line(
        buffer,
        inside,
        0,
        &format!("{}_", field.input.value()),
        theme.title(),
    );
    let hint = if reasons.is_empty() {
        "Enter records, Esc goes back"
    } else {
        "type, or choose with the arrows; Enter records, Esc goes back"
    };
    line(buffer, inside, 1, hint, Style::new());
    for (at, reason) in reasons.iter().enumerate() {
        let chosen = field.selected == at + 1;
        let text = format!("{} {reason}", if chosen { ">" } else { " " });
        let style = if chosen {
            theme.selected()
        } else {
            Style::new()
        };
        line(
            buffer,
            inside,
            u16::try_from(2 + at).unwrap_or(2),
            &text,
            style,
        );
    }
}

/// Every step, planned or done, then every event about the unit.
fn walk(app: &App, theme: &Theme, unit: &UnitId, scroll: usize, area: Rect, buffer: &mut Buffer) {
    let inside = frame(
        theme,
        &format!("{unit}: its walk and its history (Esc closes)"),
        area,
        buffer,
    );
    let mut lines: Vec<(String, Style)> = Vec::new();
    lines.push((
        columns("step", "method", "rig", "load", "out", "verdict"),
        theme.title(),
    ));
    let width = usize::from(inside.width);
    let at = |at: Option<crate::domain::Minute>| at.map_or(String::new(), |at| clock(app, at));
    for own in walk_of(&app.desk.lab, &app.desk.walks, &app.desk.floor, unit) {
        let rig = own.rig.as_ref().map_or("", RigId::as_str);
        let verdict = match (&own.who, own.verdict_word()) {
            (Some(who), word) => format!("{word} by {who}"),
            (None, _) => own.progress.word().to_owned(),
        };
        let step = own.step.to_string();
        lines.push((
            columns(
                &step,
                own.method.as_str(),
                rig,
                &at(own.load),
                &at(own.out),
                &verdict,
            ),
            Style::new(),
        ));
        if !own.because.is_empty() {
            for words in wrapped(&own.because, width.saturating_sub(6)) {
                lines.push((format!("     {words}"), Style::new()));
            }
        }
        let method = app.desk.lab.methods.get(&own.method);
        if let Some(caution) = method
            .and_then(|method| method.cautions.first())
            .filter(|_| own.verdict.is_none())
        {
            lines.push((format!("     caution: {caution}"), theme.warning()));
        }
    }
    lines.extend(history_lines(app, theme, unit));
    let room = usize::from(inside.height);
    let first = scroll.min(lines.len().saturating_sub(room));
    for (row, (text, style)) in lines.iter().skip(first).take(room).enumerate() {
        line(
            buffer,
            inside,
            u16::try_from(row).unwrap_or(0),
            text,
            *style,
        );
    }
}

/// The standing caution, then every event about the unit.
fn history_lines(app: &App, theme: &Theme, unit: &UnitId) -> Vec<(String, Style)> {
    let mut lines = Vec::new();
    lines.push((PREVAIL.to_owned(), Style::new()));
    lines.push((String::new(), Style::new()));
    lines.push(("history".to_owned(), theme.title()));
    for event in app.desk.floor.history(&Subject::Unit(unit.clone())) {
        let undone = if app.desk.floor.voided.contains(&event.seq) {
            " (undone)"
        } else {
            ""
        };
        let text = format!(
            "{} {}: {}{undone}",
            clock(app, event.happened),
            event.actor.person,
            event_words(event)
        );
        lines.push((text, Style::new()));
    }
    lines
}

fn columns(step: &str, method: &str, rig: &str, load: &str, out: &str, verdict: &str) -> String {
    format!(
        "{} {} {} {} {} {verdict}",
        fit(step, 4),
        fit(method, 16),
        fit(rig, 6),
        fit(load, 16),
        fit(out, 16)
    )
}
