//! Lists and questions in front of the Plan screen: units that wait, rigs that can take one, the morning sheet, a
//! what-if that was kept, and one that would be left.

use super::{frame, middle, more_below};
use crate::app::morning::Item;
use crate::app::{App, RigOffer, Waiting};
use crate::domain::UnitId;
use crate::screens::theme::Theme;
use crate::screens::{clock, line};
use crate::widgets::list::choices;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns of the kind of an entry.
const KIND: usize = 13;

/// Units whose next step has no booking.
pub(super) fn waiting(
    theme: &Theme,
    (units, selected): (&[Waiting], usize),
    area: Rect,
    buffer: &mut Buffer,
) {
    let title = format!("Which unit? {} to choose from", units.len());
    let height = u16::try_from(units.len() + 3).unwrap_or(u16::MAX);
    let inside = frame(theme, &title, middle(area, 78, height.max(4)), buffer);
    let hint = "Enter shows the rigs that can take it, Esc goes back";
    let line = |own: &Waiting| format!("{} {}", fit(own.unit.as_str(), 14), own.words);
    let lines: Vec<String> = units.iter().map(line).collect();
    list(theme, hint, (&lines, selected), inside, buffer);
}

/// Rigs that can do the next step, each with its first free time.
pub(super) fn rigs(
    app: &App,
    theme: &Theme,
    unit: &UnitId,
    (rigs, selected): (&[RigOffer], usize),
    area: Rect,
    buffer: &mut Buffer,
) {
    let title = format!("Next step of {unit} on which rig?");
    let height = u16::try_from(rigs.len() + 3).unwrap_or(u16::MAX);
    let inside = frame(theme, &title, middle(area, 60, height.max(4)), buffer);
    let hint = "Enter plans with it there, Esc goes back";
    let line = |own: &RigOffer| {
        let when = own
            .earliest
            .map_or("no place within the horizon".to_owned(), |at| {
                format!("can load from {}", clock(app, at))
            });
        format!("{} {when}", fit(own.rig.as_str(), 14))
    };
    let lines: Vec<String> = rigs.iter().map(line).collect();
    list(theme, hint, (&lines, selected), inside, buffer);
}

fn list(
    theme: &Theme,
    hint: &str,
    (lines, selected): (&[String], usize),
    inside: Rect,
    buffer: &mut Buffer,
) {
    line(buffer, inside, 0, hint, Style::new());
    let below = Rect {
        y: inside.y + 1.min(inside.height),
        height: inside.height.saturating_sub(1),
        ..inside
    };
    choices(lines, Some(selected), theme.selected(), below, buffer);
}

/// The morning sheet: each entry with its next step below it.
pub(super) fn morning(app: &App, theme: &Theme, selected: usize, area: Rect, buffer: &mut Buffer) {
    let items = &app.view.morning;
    let today = app.desk.lab.zone.local(app.now).date();
    let date = app.settings.dates.day(today);
    let title = format!(
        "Morning sheet, {date}: {} to act on, first things first",
        items.len()
    );
    let inside = frame(theme, &title, area, buffer);
    let hint = "Enter goes there, Esc closes; a sheet to print: rigday due --morning";
    line(buffer, inside, 0, hint, Style::new());
    if items.is_empty() {
        let text = "Nothing happened and nothing is wanted: the day is as planned.";
        line(buffer, inside, 2, text, Style::new());
        return;
    }
    let width = usize::from(inside.width);
    let mut lines: Vec<(String, Style)> = Vec::new();
    let (mut from, mut to) = (0, 0);
    for (at, item) in items.iter().enumerate() {
        if at == selected {
            from = lines.len();
        }
        lines.extend(entry(theme, item, at == selected, width));
        if at == selected {
            to = lines.len();
        }
    }
    let rows = usize::from(inside.height.saturating_sub(1)).max(1);
    let first = to.saturating_sub(rows).min(from);
    for (at, (text, style)) in lines.iter().skip(first).take(rows).enumerate() {
        let row = u16::try_from(1 + at).unwrap_or(1);
        line(buffer, inside, row, text, *style);
    }
    if lines.len() > first + rows {
        more_below(theme, inside, buffer);
    }
}

fn entry(theme: &Theme, item: &Item, selected: bool, width: usize) -> Vec<(String, Style)> {
    let style = if selected {
        theme.selected()
    } else {
        Style::new()
    };
    let cursor = if selected { ">" } else { " " };
    let mut lines = Vec::new();
    for (at, words) in wrapped(&item.words, width.saturating_sub(KIND + 2))
        .iter()
        .enumerate()
    {
        let kind = if at == 0 { item.kind.word() } else { "" };
        let cursor = if at == 0 { cursor } else { " " };
        lines.push((format!("{cursor} {}{words}", fit(kind, KIND)), style));
    }
    let next = wrapped(
        &format!("next: {}", item.next),
        width.saturating_sub(KIND + 2),
    );
    let set_in = |words| format!("  {}{words}", " ".repeat(KIND));
    lines.extend(next.into_iter().map(|words| (set_in(words), theme.title())));
    lines
}
