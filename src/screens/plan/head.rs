//! The axis: dates and times, the first and the last of them always, and `now` where it is.

use super::super::line;
use crate::app::App;
use crate::domain::{Minute, Minutes};
use crate::widgets::text::fit;
use crate::widgets::timeline::Axis;
use chrono::Timelike;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

pub(super) fn draw(app: &App, axis: &Axis, area: Rect, track: Rect, buffer: &mut Buffer) {
    line(buffer, area, 0, "", Style::new());
    let name = usize::from(area.width.saturating_sub(track.width));
    let scale = format!(" {}/column", axis.scale);
    let scale = if scale.len() < name {
        scale
    } else {
        format!(" {}/col", axis.scale)
    };
    buffer.set_string(area.x, area.y, fit(&scale, name), Style::new());
    let mut cells = vec![' '; axis.columns];
    let now = axis.column(app.now);
    let last = label(app, axis, axis.start_of(axis.columns) - Minutes::new(1));
    let end = axis.columns.saturating_sub(last.len());
    write(&mut cells, end, &last);
    let mut free_from = 0;
    let mut before: Option<String> = None;
    for column in 0..axis.columns {
        let text = label(app, axis, axis.start_of(column));
        let fresh = before.as_ref() != Some(&text);
        let clear = now.is_none_or(|now| now >= column + text.len() || now + 4 < column);
        let room = column + text.len() < end;
        if fresh && column >= free_from && room && (clear || column == 0) {
            write(&mut cells, column, &text);
            free_from = column + text.len() + 2;
        }
        before = Some(text);
    }
    if let Some(column) = now {
        let word = if column + 4 <= axis.columns {
            "|now"
        } else {
            "|"
        };
        write(&mut cells, column, word);
    }
    hours(app, axis, &mut cells);
    let text: String = cells.into_iter().collect();
    let bold = Style::new().add_modifier(Modifier::BOLD);
    buffer.set_string(track.x, track.y, text, bold);
}

/// Hours of the day between the dates, where columns are short enough to tell them apart.
fn hours(app: &App, axis: &Axis, cells: &mut [char]) {
    let every = match axis.scale.get() {
        20..=30 => 3,
        31..=60 => 6,
        _ => return,
    };
    let part = |at: Minute| app.desk.lab.zone.local(at).hour() / every;
    for column in 0..axis.columns {
        let (first, last) = (axis.start_of(column), axis.start_of(column + 1));
        let begins = part(last - Minutes::new(1));
        if begins == 0 || part(first - Minutes::new(1)) == begins {
            continue;
        }
        let text = format!("{:02}:00", begins * every);
        let around = column.saturating_sub(1)..column + text.len() + 1;
        let free = |own: &[char]| own.iter().all(|cell| *cell == ' ');
        if cells.get(around).is_some_and(free) {
            write(cells, column, &text);
        }
    }
}

/// A column's date, with the hour where columns are short.
fn label(app: &App, axis: &Axis, at: Minute) -> String {
    let local = app.desk.lab.zone.local(at);
    let dates = &app.settings.dates;
    let day = dates.day(local.date());
    match axis.scale.get() {
        ..20 => format!("{day} {}", local.format("%H:00")),
        20..10_080 => day,
        _ => dates.date(local.date()),
    }
}

fn write(cells: &mut [char], from: usize, text: &str) {
    for (cell, letter) in cells.iter_mut().skip(from).zip(text.chars()) {
        *cell = letter;
    }
}
