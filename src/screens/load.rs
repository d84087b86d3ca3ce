//! How rigs are used, by rig and day.

use super::theme::Theme;
use super::{clock, line};
use crate::app::App;
use crate::usage::{Cell, LoadTable, RigLoad, load};
use crate::widgets::heat;
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns before the heat cells.
const NAME: u16 = 9;
/// Columns of a day.
const DAY: u16 = 6;
/// Columns after the heat cells.
const SUMS: u16 = 30;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let sums = if area.width >= 70 { SUMS } else { 0 };
    let days = u32::from((area.width - NAME - sums) / DAY).clamp(1, 31);
    let table = load(&app.desk.lab, &app.desk.floor, app.now, app.load_from, days);
    head(&table, theme, area, sums, buffer);
    let below = 5.min(area.height / 3);
    let rows = usize::from(area.height - 1 - below);
    let first = app.load_row.saturating_sub(rows.saturating_sub(1));
    for (at, own) in table.rows.iter().enumerate().skip(first).take(rows) {
        let y = area.y + u16::try_from(1 + at - first).unwrap_or(1);
        rig_row(
            theme,
            own,
            at == app.load_row,
            Rect {
                y,
                height: 1,
                ..area
            },
            sums,
            buffer,
        );
    }
    let shown = u16::try_from(table.rows.len().saturating_sub(first).min(rows)).unwrap_or(0);
    let rest = Rect {
        y: area.y + 1 + shown,
        height: area.height - 1 - shown,
        ..area
    };
    summary(app, &table, theme, rest, buffer);
    rows
}

fn head(table: &LoadTable, theme: &Theme, area: Rect, sums: u16, buffer: &mut Buffer) {
    let mut text = fit("in use %", NAME.into());
    for day in &table.days {
        text.push_str(&fit(&day.format("%a%d").to_string(), DAY.into()));
    }
    if sums > 0 {
        text = fit(&text, usize::from(area.width - sums));
        text.push_str("  use h down h fill% backlog d");
    }
    line(buffer, area, 0, &text, theme.title());
}

fn rig_row(theme: &Theme, own: &RigLoad, chosen: bool, area: Rect, sums: u16, buffer: &mut Buffer) {
    let cursor = if chosen { ">" } else { " " };
    buffer.set_string(
        area.x,
        area.y,
        format!("{cursor}{}", fit(own.rig.as_str(), usize::from(NAME) - 1)),
        Style::new(),
    );
    for (at, cell) in own.cells.iter().enumerate() {
        let percent = shown_percent(cell);
        let x = area.x + NAME + DAY * u16::try_from(at).unwrap_or(0);
        buffer.set_string(
            x,
            area.y,
            heat::cell(percent),
            theme.heat(heat::step(percent)),
        );
    }
    if sums > 0 {
        let total = own.total();
        let hours = |length: crate::domain::Minutes| length.get() / 60;
        let days = own.backlog.get() as f64 / 1440.0;
        let text = format!(
            "{:>7} {:>6} {:>5} {days:>9.1}",
            hours(total.in_use),
            hours(total.down),
            total.filled_percent(own.positions)
        );
        buffer.set_string(
            area.x + area.width - sums,
            area.y,
            fit(&text, sums.into()),
            Style::new(),
        );
    }
    if chosen {
        buffer.set_style(
            Rect {
                width: NAME,
                ..area
            },
            theme.selected(),
        );
    }
}

/// Percent of the day in use; nothing where the rig was down all day.
fn shown_percent(cell: &Cell) -> Option<i64> {
    if cell.down >= cell.calendar {
        None
    } else {
        Some(cell.in_use_percent())
    }
}

/// The trend over the days, the bottleneck, and what is late and why.
fn summary(app: &App, table: &LoadTable, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let by_day: Vec<i64> = (0..table.days.len())
        .map(|day| {
            let cells = table.rows.iter().map(|row| &row.cells[day]);
            let (used, whole) = cells.fold((0, 0), |(used, whole), cell| {
                (
                    used + cell.in_use.get(),
                    whole + (cell.calendar - cell.down).get(),
                )
            });
            if whole == 0 { 0 } else { used * 100 / whole }
        })
        .collect();
    let (min, max) = (
        by_day.iter().min().unwrap_or(&0),
        by_day.iter().max().unwrap_or(&0),
    );
    let last = by_day.last().unwrap_or(&0);
    let backlog: f64 = table
        .rows
        .iter()
        .map(|row| row.backlog.get() as f64 / 1440.0)
        .sum();
    let first_words = format!(
        "all rigs in use %: min {min}  max {max}  last {last}   backlog {backlog:.1} rig-days"
    );
    line(buffer, area, 0, &first_words, theme.title());
    let bottleneck =
        table
            .bottleneck()
            .map_or("no rig is in use in these days".to_owned(), |row| {
                format!(
                    "bottleneck: {}, {} % of its positions filled",
                    row.rig,
                    row.total().filled_percent(row.positions)
                )
            });
    line(buffer, area, 1, &bottleneck, Style::new());
    if table.late.is_empty() {
        line(
            buffer,
            area,
            2,
            "no request is late by the published plan",
            Style::new(),
        );
    }
    for (at, own) in table.late.iter().enumerate() {
        let cause = own.cause.as_ref().map_or(String::new(), |cause| {
            format!(
                "; {} step {} on {}: {}",
                cause.unit, cause.step, cause.rig, cause.because
            )
        });
        let text = format!(
            "late: {} by {}, {}{cause}",
            own.request,
            own.late,
            clock(app, own.finish)
        );
        line(
            buffer,
            area,
            u16::try_from(2 + at).unwrap_or(u16::MAX),
            &text,
            theme.warning(),
        );
    }
}
