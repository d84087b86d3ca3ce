//! Help and palette: actions with their keys, narrowed as one types.

use super::frame;
use crate::app::{App, Entry, Field, Where};
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::widgets::list::choices;
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

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
        let none = "No action is called so. Backspace takes letters back, Esc closes.";
        line(buffer, inside, 1, none, theme.warning());
    }
    let below = Rect {
        y: inside.y + 1,
        height: inside.height.saturating_sub(1),
        ..inside
    };
    list(app, theme, field, below, buffer);
}

/// The lines alone.
pub(super) fn list(app: &App, theme: &Theme, field: &Field, area: Rect, buffer: &mut Buffer) {
    let found = app.listed(field);
    let lines: Vec<String> = found.iter().map(|entry| action_line(app, entry)).collect();
    choices(&lines, Some(field.selected), theme.selected(), area, buffer);
}

/// The keys, the name and the sentence; an action of another screen says which.
fn action_line(app: &App, entry: &Entry) -> String {
    let (screen, other) = match entry.works {
        Where::On(screen) if screen != app.screen => (screen, format!("{}: ", screen.name())),
        _ => (app.screen, String::new()),
    };
    let keys = app.settings.keys.keys(entry.action, screen).join(" ");
    format!(
        "{} {} {other}{}",
        fit(&keys, 9),
        fit(entry.name, 15),
        entry.sentence
    )
}
