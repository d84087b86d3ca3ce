//! What-if and reasons in front of the Plan screen: changes typed in, plans beside each other, why a request is
//! late.

use super::overlays::{frame, middle, more_below};
use super::theme::Theme;
use super::{clock, line};
use crate::app::what_if::{Change, FORMS, Row, WhatIf};
use crate::app::{App, Field};
use crate::domain::plan::Finish;
use crate::domain::text::counted;
use crate::domain::{Minutes, RequestId};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A line for a change, those taken so far, and the forms that begin like what is typed.
pub(super) fn changes(
    app: &App,
    theme: &Theme,
    (field, changes, wrong): (&Field, &[Change], Option<&str>),
    area: Rect,
    buffer: &mut Buffer,
) {
    let inside = frame(theme, "WHAT-IF: what would be different?", area, buffer);
    let typed = field.input.value();
    let mut lines: Vec<(String, Style)> = vec![(format!("{typed}_"), theme.title())];
    let hint = match changes {
        [] => "Enter takes the change; Esc goes back",
        _ => "Enter takes the change, on an empty line it plans; Esc drops them",
    };
    lines.push((hint.to_owned(), Style::new()));
    let width = usize::from(inside.width);
    // What is typed is read in full before Enter takes it.
    if let Ok(change) = Change::parse(typed, &app.asked()) {
        lines.push((
            format!("= {}", change.text(&app.desk.lab.zone)),
            Style::new(),
        ));
    }
    for words in wrong.map_or(Vec::new(), |wrong| wrapped(wrong, width)) {
        lines.push((words, theme.warning()));
    }
    for change in changes {
        let words = format!("* {}", change.words(&app.desk.lab.zone));
        lines.push((words, theme.title()));
    }
    lines.push((String::new(), Style::new()));
    let verb = typed.split_whitespace().next().unwrap_or_default();
    let alike = FORMS.iter().filter(|(form, _)| form.starts_with(verb));
    for (form, what) in alike {
        lines.push((format!("{}  {what}", fit(form, 36)), Style::new()));
    }
    show(theme, &lines, 0, inside, buffer);
}

/// Every request for which the changes make a difference.
pub(super) fn beside(
    app: &App,
    theme: &Theme,
    what_if: &WhatIf,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let changes = counted(what_if.changes.len(), "change", "changes");
    let title = format!("WHAT-IF {changes}: not in force");
    let inside = frame(theme, &title, area, buffer);
    let (before, after) = (what_if.unchanged.plan.cost, what_if.changed.plan.cost);
    let rows = what_if.rows();
    let differ: Vec<&Row> = rows.iter().filter(|row| row.differs()).collect();
    let mut lines: Vec<(String, Style)> = Vec::new();
    let hint = "c puts it in force, Esc drops it";
    lines.push((hint.to_owned(), theme.title()));
    for change in &what_if.changes {
        lines.push((
            format!("* {}", change.words(&app.desk.lab.zone)),
            theme.title(),
        ));
    }
    let sign = if after >= before { "+" } else { "" };
    let cost = format!(
        "cost {before} without, {after} with ({sign}{})",
        after - before
    );
    lines.push((cost, Style::new()));
    let head = columns("request", "without", "with", "by", "late with");
    lines.push((head, theme.title()));
    let width = usize::from(inside.width);
    for row in &differ {
        lines.extend(row_lines(app, theme, row, width));
    }
    let same = rows.len() - differ.len();
    let same = counted(same, "request finishes", "requests finish");
    lines.push((format!("{same} as without"), Style::new()));
    show(theme, &lines, scroll, inside, buffer);
}

/// One line, or as many as it takes to say why it is left out.
fn row_lines(app: &App, theme: &Theme, row: &Row, width: usize) -> Vec<(String, Style)> {
    if let Some(left) = &row.left {
        let text = format!(
            "{} left out, step {}: {}",
            row.request, left.step, left.reason
        );
        let lines = wrapped(&text, width).into_iter();
        return lines.map(|line| (line, theme.warning())).collect();
    }
    let finish = |own: &Option<Finish>| {
        own.as_ref()
            .map_or("-".to_owned(), |own| clock(app, own.finish))
    };
    let by = row.later().map_or(String::new(), |by| {
        format!("{}{by}", if by > Minutes::ZERO { "+" } else { "" })
    });
    let late = row.changed.as_ref().map_or(Minutes::ZERO, |own| own.late);
    let (late, style) = match late {
        Minutes::ZERO => (String::new(), Style::new()),
        late => (late.to_string(), theme.warning()),
    };
    let request = row.request.as_str();
    let text = columns(
        request,
        &finish(&row.unchanged),
        &finish(&row.changed),
        &by,
        &late,
    );
    vec![(text, style)]
}

fn columns(request: &str, without: &str, with: &str, by: &str, late: &str) -> String {
    format!(
        "{} {} {} {} {late}",
        fit(request, 12),
        fit(without, 16),
        fit(with, 16),
        fit(by, 12)
    )
}

/// How far the trials are.
pub(super) fn trying(
    theme: &Theme,
    request: &RequestId,
    (done, all): (usize, usize),
    area: Rect,
    buffer: &mut Buffer,
) {
    let inside = frame(theme, "Why late", middle(area, 60, 5), buffer);
    let text = match all {
        0 => format!("following {request} back to what holds it up"),
        _ => format!("Trying {}/{all} changes for {request}", done + 1),
    };
    line(buffer, inside, 0, &text, Style::new());
    let hint = "Esc stops and shows what is found so far";
    line(buffer, inside, 1, hint, Style::new());
}

/// The chain of reasons, the cause, and what would help.
pub(super) fn why(
    theme: &Theme,
    request: &RequestId,
    (lines, scroll): (&[String], usize),
    area: Rect,
    buffer: &mut Buffer,
) {
    let title = format!("{request}: why it finishes when it does (Esc closes)");
    let inside = frame(theme, &title, area, buffer);
    let width = usize::from(inside.width);
    let mut shown: Vec<(String, Style)> = Vec::new();
    for text in lines.iter().skip(scroll) {
        let strong = ["cause:", "on time", "none of"]
            .iter()
            .any(|own| text.starts_with(own));
        let style = if strong { theme.title() } else { Style::new() };
        for (row, words) in wrapped(text, width.saturating_sub(2))
            .into_iter()
            .enumerate()
        {
            let indent = if row == 0 { "" } else { "  " };
            shown.push((format!("{indent}{words}"), style));
        }
    }
    show(theme, &shown, 0, inside, buffer);
}

fn show(
    theme: &Theme,
    lines: &[(String, Style)],
    scroll: usize,
    inside: Rect,
    buffer: &mut Buffer,
) {
    for ((text, style), row) in lines.iter().skip(scroll).zip(0..inside.height) {
        line(buffer, inside, row, text, *style);
    }
    if lines.len() > scroll + usize::from(inside.height) {
        more_below(theme, inside, buffer);
    }
}
