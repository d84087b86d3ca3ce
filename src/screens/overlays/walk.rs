//! The whole walk of a unit with its history.

use super::frame;
use crate::app::App;
use crate::app::walk::{event_words, walk_of};
use crate::domain::event::Subject;
use crate::domain::{RigId, UnitId};
use crate::screens::bench::PREVAIL;
use crate::screens::theme::Theme;
use crate::screens::{clock, line};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Every step, planned or done, then every event about the unit.
pub(super) fn walk(
    app: &App,
    theme: &Theme,
    unit: &UnitId,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
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
