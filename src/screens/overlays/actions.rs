//! Help and palette: actions with their keys, narrowed as one types.

use super::{frame, more_below};
use crate::app::{App, Entry, Field, Where};
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A list of actions below what is typed.
pub(super) fn actions(
    app: &App,
    theme: &Theme,
    (title, field): (&str, &Field),
    area: Rect,
    buffer: &mut Buffer,
) {
    let inside = frame(theme, title, area, buffer);
    let found = app.listed(field);
    let count = found.len();
    let many = if count == 1 { "" } else { "s" };
    let typed = format!("{}_   {count} action{many}", field.input.value());
    line(buffer, inside, 0, &typed, theme.title());
    if found.is_empty() {
        let none = "No action matches. Backspace takes letters back, Esc closes.";
        line(buffer, inside, 1, none, theme.warning());
    }
    let below = Rect {
        y: inside.y + 1,
        height: inside.height.saturating_sub(1),
        ..inside
    };
    if list(app, theme, field, below, buffer) {
        more_below(theme, inside, buffer);
    }
}

/// Columns of the keys and of the name, each with a blank after it.
const KEYS: usize = 12;
const NAME: usize = 16;
/// With fewer columns than this the sentence stands below the name, of the selected action only.
const BESIDE: usize = 70;

/// The lines alone; true where there are more below.
pub(super) fn list(
    app: &App,
    theme: &Theme,
    field: &Field,
    area: Rect,
    buffer: &mut Buffer,
) -> bool {
    let found = app.listed(field);
    let width = usize::from(area.width);
    let (mut lines, mut from, mut to) = (Vec::new(), 0, 0);
    for (at, entry) in found.iter().enumerate() {
        let selected = at == field.selected.min(found.len() - 1);
        if selected {
            from = lines.len();
        }
        let own = action_lines(app, entry, selected, width);
        lines.extend(own.into_iter().map(|text| (text, selected)));
        if selected {
            to = lines.len();
        }
    }
    let rows = usize::from(area.height);
    let first = to.saturating_sub(rows).min(from);
    for ((text, selected), at) in lines.iter().skip(first).zip(0..area.height) {
        let style = if *selected {
            theme.selected()
        } else {
            Style::new()
        };
        line(buffer, area, at, text, style);
    }
    lines.len() > first + rows
}

/// The keys, the name and the whole sentence; an action of another screen says which.
fn action_lines(app: &App, entry: &Entry, selected: bool, width: usize) -> Vec<String> {
    let (screen, other) = match entry.works {
        Where::On(screen) if screen != app.screen => (screen, format!("{}: ", screen.name())),
        _ => (app.screen, String::new()),
    };
    let keys = app.settings.keys.keys(entry.action, screen).join(" ");
    let cursor = if selected { ">" } else { " " };
    let head = format!(
        "{cursor}{} {}",
        fit(&keys, KEYS - 1),
        fit(entry.name, NAME - 1)
    );
    let sentence = format!("{other}{}", entry.sentence);
    if width < BESIDE {
        let below = wrapped(&sentence, width.saturating_sub(2).max(1));
        let below = below.into_iter().filter(|_| selected);
        return std::iter::once(head)
            .chain(below.map(|text| format!("  {text}")))
            .collect();
    }
    let beside = wrapped(&sentence, width - KEYS - NAME - 2);
    let blank = " ".repeat(KEYS + NAME);
    let first = std::iter::once(head.as_str()).chain(std::iter::repeat(blank.as_str()));
    first
        .zip(beside)
        .map(|(head, text)| format!("{head} {text}"))
        .collect()
}
