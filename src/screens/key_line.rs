//! The last row: keys of what has the focus, as many as there is room for.

use super::line;
use super::theme::Theme;
use crate::app::actions::{entry_of, works_on};
use crate::app::when::Reading;
use crate::app::{ACTIONS, Action, App, Entry, Field, Overlay, Screen, WhenFor};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr;

/// Draws the keys by priority; those that do not fit are left out, help the last.
pub(super) fn key_line(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let (parts, last) = match app.overlays.last() {
        Some(overlay) => (overlay_keys(app, overlay), String::new()),
        None if app.plan.hand.is_some() => (
            owned(&[
                ("Enter", "drop"),
                ("Esc", "put back"),
                ("Left Right", "move"),
                ("Up Down", "rig"),
                ("< >", "wait"),
                ("+ -", "zoom"),
            ]),
            String::new(),
        ),
        None if app.screen == Screen::Units && app.units.typing => (
            owned(&[("Enter", "keep it"), ("Esc", "clear it")]),
            String::new(),
        ),
        None => {
            let help = key_of(app, entry_of(Action::Help));
            (screen_keys(app), format!("{help} help"))
        }
    };
    let width = usize::from(area.width);
    let mut text = String::new();
    for part in parts.iter().map(|(key, what)| format!("{key} {what}  ")) {
        let room = width.saturating_sub(last.width());
        if text.width() + part.trim_end().width()
            > room.saturating_sub(if last.is_empty() { 0 } else { 2 })
        {
            break;
        }
        text.push_str(&part);
    }
    text.push_str(&last);
    line(buffer, area, 0, &text, theme.bar());
}

/// Actions of the screen by rank; the screens themselves are in the header.
fn screen_keys(app: &App) -> Vec<(String, String)> {
    let mut entries: Vec<&Entry> = ACTIONS
        .iter()
        .filter(|entry| entry.rank > 0 && works_on(entry, app.screen))
        .filter(|entry| entry.action != Action::Help && !entry.name.ends_with("screen"))
        .collect();
    entries.sort_by_key(|entry| entry.rank);
    let named = |entry: &Entry| (key_of(app, entry), entry.name.to_owned());
    let all = entries.into_iter().map(named);
    all.filter(|(key, _)| !key.is_empty()).collect()
}

fn key_of(app: &App, entry: &Entry) -> String {
    let key = app.settings.keys.key(entry.action, app.screen);
    key.unwrap_or_default().to_owned()
}

fn owned(keys: &[(&str, &str)]) -> Vec<(String, String)> {
    let both = |(key, what): &(&str, &str)| ((*key).to_owned(), (*what).to_owned());
    keys.iter().map(both).collect()
}

/// What was typed can mean several times, of which one is chosen.
fn is_asked_which(app: &App, purpose: &WhenFor, field: &Field) -> bool {
    matches!(
        app.reading(purpose, field),
        Some(Ok(Reading::Several { .. }))
    )
}

/// Keys of what lies in front.
fn overlay_keys(app: &App, overlay: &Overlay) -> Vec<(String, String)> {
    owned(match overlay {
        Overlay::Help(field) | Overlay::Palette(field) if app.listed(field).is_empty() => {
            &[("Backspace", "take letters back"), ("Esc", "close")]
        }
        Overlay::Help(_) | Overlay::Palette(_) => &[
            ("Enter", "run"),
            ("Esc", "close"),
            ("Up Down", "choose"),
            ("letters", "narrow"),
        ],
        Overlay::Working { .. } => &[("Esc", "stop, and keep the best")],
        Overlay::Trying { .. } | Overlay::Forecasting { .. } => &[("Esc", "stop")],
        Overlay::Difference { .. } => &[
            ("c", "put in force"),
            ("t", "show on the timeline"),
            ("Esc", "back"),
            ("Up Down", "scroll"),
            ("Enter", "choose"),
        ],
        Overlay::Beside { .. } => &[
            ("c", "put in force"),
            ("Esc", "drop"),
            ("Up Down", "scroll"),
            ("Enter", "choose"),
        ],
        Overlay::Changes { changes, .. } if changes.is_empty() => {
            &[("Enter", "take the change"), ("Esc", "back")]
        }
        Overlay::Changes { .. } => &[
            ("Enter", "take the change, or plan"),
            ("Backspace", "take one back"),
            ("Esc", "drop"),
        ],
        Overlay::Ask(..) if app.reasons().is_empty() => &[("Enter", "record"), ("Esc", "back")],
        Overlay::Ask(..) => &[("Enter", "record"), ("Esc", "back"), ("Up Down", "choose")],
        Overlay::When(purpose, field) if !is_asked_which(app, purpose, field) => {
            &[("Enter", "take it"), ("Esc", "back")]
        }
        Overlay::When(..) => &[("Enter", "take it"), ("Esc", "back"), ("Up Down", "choose")],
        Overlay::Morning { .. } => &[("Enter", "go there"), ("Esc", "close"), ("Up Down", "move")],
        Overlay::Count(_) => &[("Enter", "go on"), ("Esc", "back")],
        Overlay::Leave { .. }
        | Overlay::Choice(_)
        | Overlay::ChooseRig { .. }
        | Overlay::ChooseUnit { .. } => {
            &[("Enter", "choose"), ("Esc", "back"), ("Up Down", "move")]
        }
        Overlay::Size(_) => &[
            ("Enter", "work it out"),
            ("Tab", "next field"),
            ("Esc", "close"),
        ],
        Overlay::Forecast { .. }
        | Overlay::Why { .. }
        | Overlay::Proof { .. }
        | Overlay::Walk { .. } => &[
            ("Esc", "close"),
            ("Up Down", "scroll"),
            ("PgUp PgDn", "page"),
        ],
    })
}
