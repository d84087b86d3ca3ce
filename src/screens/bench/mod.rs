//! The Bench: scan line, card, and what is due: by closing window, or by rig.

mod card;
mod lists;
#[cfg(test)]
mod tests;

use super::line;
use super::theme::Theme;
use crate::app::{App, BenchList};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// From so many columns on both lists stand side by side.
const BOTH: u16 = 118;
/// The list keeps so many rows, its head included, however much the card has to say.
const LIST: u16 = 9;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    scan_line(app, theme, area, buffer);
    let below = Rect {
        y: area.y + 1,
        height: area.height.saturating_sub(1),
        ..area
    };
    let most = below.height.saturating_sub(LIST).max(below.height / 2);
    let used = card::draw(
        app,
        theme,
        Rect {
            height: most,
            ..below
        },
        buffer,
    );
    let rest = Rect {
        y: below.y + used,
        height: below.height - used,
        ..below
    };
    if rest.width < BOTH {
        return match app.bench.list {
            BenchList::Due => lists::due(app, theme, rest, buffer),
            BenchList::Rigs => lists::rigs(app, theme, rest, buffer),
        };
    }
    let left = Rect {
        width: rest.width / 2,
        ..rest
    };
    let right = Rect {
        x: rest.x + left.width + 1,
        width: rest.width - left.width - 1,
        ..rest
    };
    let rows = lists::due(app, theme, left, buffer);
    lists::rigs(app, theme, right, buffer).min(rows)
}

/// What is typed or scanned, and how much is due.
fn scan_line(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let now = app
        .view
        .due
        .iter()
        .filter(|due| due.from <= app.now)
        .count();
    let count = match app.bench.happened {
        Some(at) => format!(
            "next deed: {} (t, Esc) ",
            app.asked().dates.short(app.desk.lab.zone.local(at))
        ),
        None => format!("{now} due now, {} in 8 h ", app.view.due.len()),
    };
    let wide = u16::try_from(count.len()).unwrap_or(0);
    let typed = app.bench.scan.value();
    let head = if area.width < 60 {
        "Scan"
    } else {
        "Scan or type a serial"
    };
    let room = usize::from(area.width).saturating_sub(head.len() + 4);
    // Of a long line the end is what somebody watches while it is typed.
    let skip = typed.chars().count().saturating_sub(room);
    let shown: String = typed.chars().skip(skip).collect();
    let text = format!("{head}: {shown}_");
    line(buffer, area, 0, &text, theme.title());
    let taken = u16::try_from(text.chars().count() * 2).unwrap_or(u16::MAX);
    if taken.saturating_add(wide) < area.width || typed.is_empty() && wide + 24 < area.width {
        let x = area.x + area.width - wide;
        buffer.set_string(x, area.y, count, Style::new());
    }
}
