//! The forecast in front of Plan and Load: how far it is, then its table.

use super::line;
use super::overlays::{frame, middle, more_below};
use super::theme::Theme;
use crate::app::App;
use crate::app::forecast::{Row, Told, percent, rows, sentences};
use crate::domain::Minute;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// How many samples are drawn.
pub(super) fn drawing(theme: &Theme, (done, all): (usize, usize), area: Rect, buffer: &mut Buffer) {
    let inside = frame(theme, "Forecast", middle(area, 60, 5), buffer);
    let text = match all {
        0 => "repairing the plan in force".to_owned(),
        _ => format!("Forecast {done}/{all}"),
    };
    line(buffer, inside, 0, &text, Style::new());
    let hint = "Esc stops and shows the samples there are";
    line(buffer, inside, 1, hint, Style::new());
}

/// Columns beside the name, with the width from which each is shown; the date that is 80 % sure is always there.
const DUE: usize = 52;
const MEDIAN: usize = 98;
const SUREST: usize = 64;
const DECIDED: usize = 72;

/// Requests and gates with their dates, what is unsure in sentences, and what it all rests on.
pub(super) fn table(
    app: &App,
    theme: &Theme,
    (told, scroll): (&Told, usize),
    area: Rect,
    buffer: &mut Buffer,
) {
    let count = told.forecast.samples;
    let title = format!("Forecast of the plan in force, {count} samples (Esc closes)");
    let inside = frame(theme, &title, area, buffer);
    let width = usize::from(inside.width);
    let rows = rows(&told.forecast);
    let longest = rows.iter().map(|row| row.name.chars().count()).max();
    let name = longest
        .unwrap_or(0)
        .clamp(7, if width < MEDIAN { 8 } else { 20 });
    let head = ["due", "50 % sure", "80 % sure", "95 % sure", "in time"];
    let head = columns(width, name, "finish", head.map(str::to_owned), "decided by");
    line(buffer, inside, 0, &head, theme.title());
    let mut lines: Vec<(String, Style)> = rows
        .iter()
        .map(|row| written(app, theme, row, width, name))
        .collect();
    let zone = &app.desk.lab.zone;
    for words in sentences(&told.forecast, zone).iter().chain(&told.basis) {
        let wrapped = wrapped(words, width.saturating_sub(2).max(1));
        let set_in = |(at, row): (usize, String)| if at == 0 { row } else { format!("  {row}") };
        lines.extend(
            wrapped
                .into_iter()
                .enumerate()
                .map(|own| (set_in(own), Style::new())),
        );
    }
    let first = scroll.min(lines.len().saturating_sub(1));
    for (at, (text, style)) in (1..inside.height).zip(lines.iter().skip(first)) {
        line(buffer, inside, at, text, *style);
    }
    if lines.len() + 1 > first + usize::from(inside.height) {
        more_below(theme, inside, buffer);
    }
}

fn written(app: &App, theme: &Theme, row: &Row, width: usize, name: usize) -> (String, Style) {
    let zone = &app.desk.lab.zone;
    let short = |at| app.settings.dates.short(zone.local(at));
    let date = |at: Option<Minute>, none: &str| at.map_or(none.to_owned(), short);
    let [half, most, nearly] = row.by.map(|by| date(by, "beyond"));
    let chance = row.chance.map_or(String::new(), percent);
    let cells = [date(row.due, "-"), half, most, nearly, chance];
    let style = if row.chance.is_some_and(|chance| chance < 0.5) {
        theme.warning()
    } else {
        Style::new()
    };
    (columns(width, name, &row.name, cells, &row.decided), style)
}

/// One line: what there is room for.
fn columns(width: usize, name: usize, first: &str, cells: [String; 5], decided: &str) -> String {
    const DATE: usize = 16;
    let [due, half, most, nearly, chance] = cells;
    let mut text = fit(first, name);
    let shown = [(DUE, due), (MEDIAN, half), (0, most), (SUREST, nearly)];
    for (from, cell) in shown {
        if width >= from {
            text.push(' ');
            text.push_str(&fit(&cell, DATE));
        }
    }
    text.push_str(&format!(" {}", fit(&chance, 7)));
    if width >= DECIDED {
        text.push_str(&format!(" {decided}"));
    }
    text
}
