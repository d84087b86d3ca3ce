//! What lies in front of a screen: help, palette, questions, the difference of a plan, a unit's walk.

mod actions;
mod coordinator;
mod difference;
mod questions;

use super::theme::Theme;
use super::what_if;
use crate::app::{App, Overlay};
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::{Clear, Widget};

/// Draws the topmost overlay; the list rows it had room for, where there is one.
pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> Option<usize> {
    let rows = usize::from(area.height.saturating_sub(3));
    match app.overlays.last()? {
        Overlay::Help(field) => {
            let title = format!("Help: every key of the {} screen", app.screen.name());
            actions::actions(app, theme, (&title, field), area, buffer);
        }
        Overlay::Palette(field) => {
            actions::actions(app, theme, ("Find an action", field), area, buffer);
        }
        Overlay::Working { progress, .. } => difference::working(theme, *progress, area, buffer),
        Overlay::Difference { proposal, scroll } => {
            difference::difference(app, theme, proposal, *scroll, area, buffer);
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
        Overlay::Forecasting { drawn, .. } => {
            super::forecast::drawing(theme, *drawn, area, buffer);
        }
        Overlay::Forecast { told, scroll } => {
            super::forecast::table(app, theme, (told, *scroll), area, buffer);
        }
        Overlay::Why {
            request,
            lines,
            scroll,
        } => {
            what_if::why(theme, request, (&lines[..], *scroll), area, buffer);
        }
        Overlay::Ask(purpose, field) => questions::ask(app, theme, (purpose, field), area, buffer),
        Overlay::When(purpose, field) => {
            questions::when(app, theme, (purpose, field), area, buffer);
        }
        Overlay::Leave { what, selected } => questions::leave(theme, what, *selected, area, buffer),
        Overlay::ChooseRig {
            unit,
            rigs,
            selected,
        } => coordinator::rigs(app, theme, unit, (rigs, *selected), area, buffer),
        Overlay::ChooseUnit { units, selected } => {
            coordinator::waiting(theme, (units, *selected), area, buffer);
        }
        Overlay::Morning { selected } => coordinator::morning(app, theme, *selected, area, buffer),
        Overlay::Choice(choice) => questions::choice(theme, choice, area, buffer),
        Overlay::Count(count) => questions::count(theme, count, area, buffer),
        Overlay::Proof { leg, scroll } => {
            super::proof::proof(app, theme, *leg, *scroll, area, buffer);
        }
        Overlay::Size(form) => super::proof::size_form(theme, form, area, buffer),
        Overlay::Walk { unit, scroll } => {
            super::walk::overlay(app, theme, unit, *scroll, area, buffer);
        }
    }
    Some(rows)
}

/// What can still be shown below the line that says how much room is needed: the list of help or palette, where
/// it is open; the rows it had.
pub(super) fn in_little_room(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    let below = Rect {
        y: area.y + 1.min(area.height),
        height: area.height.saturating_sub(1),
        ..area
    };
    if let Some(Overlay::Help(field) | Overlay::Palette(field)) = app.overlays.last() {
        let _ = actions::list(app, theme, field, below, buffer);
    }
    usize::from(below.height).max(1)
}

/// An empty box with a title; the room inside.
pub(super) fn frame(theme: &Theme, title: &str, area: Rect, buffer: &mut Buffer) -> Rect {
    // Nothing of what lies behind shines through, neither signs nor colours.
    Clear.render(area, buffer);
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

/// Says on the lower border of a box that it goes on, and by which key; `inside` is the room within.
pub(super) fn more_below(theme: &Theme, inside: Rect, buffer: &mut Buffer) {
    const WORDS: &str = " more below: Down ";
    let wide = u16::try_from(WORDS.len()).unwrap_or(u16::MAX);
    if wide <= inside.width {
        let (x, y) = (inside.x + inside.width - wide, inside.y + inside.height);
        buffer.set_string(x, y, WORDS, theme.title());
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
