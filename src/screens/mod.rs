//! Plan, Bench, Load, Units and what lies in front of them: they draw the program and change nothing.

mod bench;
mod load;
mod overlays;
mod plan;
pub mod theme;
mod units;

use crate::app::{ACTIONS, App, Screen};
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use theme::Theme;

/// Smallest terminal that shows more than a line.
const LEAST: (u16, u16) = (40, 12);

/// Draws the whole program; the number of list rows it had room for.
pub fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    if area.width < LEAST.0 || area.height < LEAST.1 {
        let words = format!(
            "Need {}x{}, have {}x{}",
            LEAST.0, LEAST.1, area.width, area.height
        );
        if area.height > 0 {
            line(buffer, area, 0, &words, Style::new());
        }
        return 1;
    }
    header(app, theme, row(area, 0), buffer);
    let body = Rect {
        y: area.y + 1,
        height: area.height - 3,
        ..area
    };
    let rows = match app.screen {
        Screen::Plan => plan::draw(app, theme, body, buffer),
        Screen::Bench => bench::draw(app, theme, body, buffer),
        Screen::Load => load::draw(app, theme, body, buffer),
        Screen::Units => units::draw(app, theme, body, buffer),
    };
    said(app, theme, row(area, area.height - 2), buffer);
    key_line(app, theme, row(area, area.height - 1), buffer);
    let above = overlays::draw(app, theme, body, buffer);
    above.unwrap_or(rows)
}

/// One row of an area.
fn row(area: Rect, at: u16) -> Rect {
    Rect {
        y: area.y + at,
        height: 1,
        ..area
    }
}

/// Writes a text into a row of an area, over its whole width.
fn line(buffer: &mut Buffer, area: Rect, at: u16, text: &str, style: Style) {
    if at < area.height {
        buffer.set_string(area.x, area.y + at, fit(text, area.width.into()), style);
    }
}

/// Screen, person, lab time with zone, age of the data.
fn header(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let zone = &app.desk.lab.zone;
    let time = zone.local(app.now).format("%a %Y-%m-%d %H:%M");
    let sample = if app.sample { "  SAMPLE" } else { "" };
    let mut left = format!(" {} ", app.screen.name());
    for screen in Screen::ALL.iter().filter(|screen| **screen != app.screen) {
        let key = ACTIONS
            .iter()
            .find(|entry| entry.name.starts_with(screen.name()) && entry.name.ends_with("screen"));
        left.push_str(&format!(
            " {} {}",
            key.map_or("", |entry| entry.keys[0]),
            screen.name()
        ));
    }
    let right = format!(
        "{}  {time} {}{sample} ",
        app.desk.actor().person,
        zone.name()
    );
    let width = usize::from(area.width);
    let right_width = unicode_width::UnicodeWidthStr::width(right.as_str()).min(width);
    let text = format!(
        "{}{}",
        fit(&left, width - right_width),
        fit(&right, right_width)
    );
    line(buffer, area, 0, &text, theme.bar());
    let name = u16::try_from(app.screen.name().len() + 2)
        .unwrap_or(0)
        .min(area.width);
    buffer.set_style(
        Rect {
            width: name,
            ..area
        },
        theme.bar_strong(),
    );
}

/// The last answer, or what the screen wants said.
fn said(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    match &app.said {
        Some((true, words)) => line(buffer, area, 0, words, Style::new()),
        Some((false, words)) => line(buffer, area, 0, words, theme.warning()),
        None => line(buffer, area, 0, &state_line(app), Style::new()),
    }
}

fn state_line(app: &App) -> String {
    let view = &app.view;
    let mut parts = Vec::new();
    if view.unplanned > 0 {
        parts.push(format!(
            "{} requests new since the published plan",
            view.unplanned
        ));
    }
    if !view.clashes.is_empty() {
        parts.push(format!(
            "{} clashes !! in the published plan (e)",
            view.clashes.len()
        ));
    }
    if view.late > 0 {
        parts.push(format!("{} requests late by the plan", view.late));
    }
    if app.desk.floor.now.published.is_none() {
        parts.push("no plan is published yet: p plans, c publishes".to_owned());
    } else if !parts.is_empty() && app.screen == Screen::Plan {
        parts.push("p plans anew".to_owned());
    }
    parts.join(" · ")
}

/// Keys of this screen by rank, as many as fit; help is dropped last.
fn key_line(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let mut entries: Vec<_> = ACTIONS
        .iter()
        .filter(|entry| entry.rank > 0 && crate::app::actions::works_on(entry, app.screen))
        .filter(|entry| !entry.name.ends_with("screen"))
        .collect();
    entries.sort_by_key(|entry| entry.rank);
    let width = usize::from(area.width);
    let help = "? help";
    let mut text = String::new();
    for entry in entries.iter().filter(|entry| entry.name != "help") {
        let part = format!("{} {}  ", entry.keys[0], entry.name);
        if text.len() + part.len() + help.len() > width {
            break;
        }
        text.push_str(&part);
    }
    text.push_str(help);
    line(buffer, area, 0, &text, theme.bar());
}

/// A minute as the time of day, with the date where it is not today's.
fn clock(app: &App, at: crate::domain::Minute) -> String {
    let zone = &app.desk.lab.zone;
    let (local, today) = (zone.local(at), zone.local(app.now));
    let format = if local.date() == today.date() {
        "%H:%M"
    } else {
        "%a %d %b %H:%M"
    };
    local.format(format).to_string()
}
