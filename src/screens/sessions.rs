//! What is in front of the screen where another session was faster, and where something cannot be undone.

use super::line;
use super::overlays::{frame, middle};
use super::theme::Theme;
use crate::app::walk::event_words;
use crate::app::{App, Confirm, Stale};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Mine and theirs, who and when, and the ways on.
pub(super) fn stale(app: &App, theme: &Theme, own: &Stale, area: Rect, buffer: &mut Buffer) {
    let theirs = &own.theirs;
    let when = app.desk.lab.zone.local(theirs.happened);
    let mut lines = vec![
        (
            "Not recorded: another session was faster.".to_owned(),
            theme.warning(),
        ),
        (String::new(), Style::new()),
        (format!("mine    {}", own.words), Style::new()),
    ];
    if let Some(text) = own.typed() {
        lines.push((format!("        \"{text}\""), Style::new()));
    }
    lines.push((format!("theirs  {}", event_words(theirs)), Style::new()));
    lines.push((format!("who     {}", theirs.actor.person), Style::new()));
    let when = format!(
        "when    {} (event {})",
        when.format("%a %d %b %H:%M"),
        theirs.seq.0
    );
    lines.push((when, Style::new()));
    lines.push((String::new(), Style::new()));
    let keys = "r reload, keeping what I typed   o say mine all the same   Esc leave it";
    lines.push((keys.to_owned(), theme.title()));
    show("An old record", theme, &lines, area, buffer);
}

/// What cannot be undone, and the word that says yes.
pub(super) fn confirm(theme: &Theme, own: &Confirm, area: Rect, buffer: &mut Buffer) {
    let lines = [
        (
            format!("{}. Undo does not cover it.", own.what),
            theme.warning(),
        ),
        (String::new(), Style::new()),
        (
            format!(
                "Type {} and Enter to do it. Enter alone cancels.",
                own.word()
            ),
            Style::new(),
        ),
        (format!("> {}", own.typed.value()), theme.selected()),
    ];
    show("Cancel?", theme, &lines, area, buffer);
}

fn show(title: &str, theme: &Theme, lines: &[(String, Style)], area: Rect, buffer: &mut Buffer) {
    let height = u16::try_from(lines.len() + 2).unwrap_or(u16::MAX);
    let inside = frame(theme, title, middle(area, 78, height), buffer);
    let rows = lines.iter().zip(0..inside.height);
    for ((text, style), row) in rows {
        line(buffer, inside, row, text, *style);
    }
}
