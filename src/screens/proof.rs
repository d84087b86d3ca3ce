//! What lies in front of the Evidence screen: all that a leg says, and the form of a leg to be planned.

use super::line;
use super::overlays::{frame, more_below};
use super::theme::Theme;
use crate::app::{App, SizeForm};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Everything that a leg says, its line month by month, and what is offered to the plan.
pub(super) fn proof(
    app: &App,
    theme: &Theme,
    leg: usize,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let Some(own) = app.view.legs.get(leg) else {
        frame(theme, "Evidence", area, buffer);
        return;
    };
    let id = &own.leg.request.id;
    let inside = frame(theme, &format!("Evidence of {id}"), area, buffer);
    let mut lines = own.lines();
    let line_of = app
        .view
        .lines
        .iter()
        .find(|line| line.requests.contains(id));
    lines.extend(line_of.iter().flat_map(|line| line.lines()));
    lines.extend(
        app.view
            .offers
            .iter()
            .map(|own| format!("offer: {}", own.words())),
    );
    let width = usize::from(inside.width);
    let rows: Vec<String> = lines.iter().flat_map(|own| hanging(own, width)).collect();
    let last = rows.len().saturating_sub(1);
    let first = scroll.min(last);
    for (at, words) in (0..inside.height).zip(rows.iter().skip(first)) {
        line(buffer, inside, at, words, Style::new());
    }
    if rows.len() > first + usize::from(inside.height) {
        more_below(theme, inside, buffer);
    }
}

/// A sentence over several rows, all but the first set in.
fn hanging(words: &str, width: usize) -> Vec<String> {
    let mut rows = wrapped(words, width.saturating_sub(2).max(1));
    for row in rows.iter_mut().skip(1) {
        row.insert_str(0, "  ");
    }
    rows
}

/// The form with its fields, and below them what came of it. Where both do not fit, fewer fields stay around the
/// one that is typed into.
pub(super) fn size_form(theme: &Theme, form: &SizeForm, area: Rect, buffer: &mut Buffer) {
    let title = "Size a leg: Enter works it out, Esc closes";
    let inside = frame(theme, title, area, buffer);
    let room = usize::from(inside.width);
    let (lines, style) = match (&form.answer, form.job) {
        (_, Some(_)) => (
            vec!["planning it beside everything else".to_owned()],
            Style::new(),
        ),
        (Some(Ok(lines)), _) => (lines.clone(), Style::new()),
        (Some(Err(why)), _) => (vec![why.clone()], theme.warning()),
        (None, None) => (Vec::new(), Style::new()),
    };
    let rows: Vec<String> = lines.iter().flat_map(|own| hanging(own, room)).collect();
    let shown = usize::from(inside.height).saturating_sub(rows.len());
    let shown = shown.clamp(1, form.fields.len());
    let first = form
        .at
        .saturating_sub(shown / 2)
        .min(form.fields.len() - shown);
    let fields = SizeForm::NAMES.iter().zip(&form.fields).enumerate();
    for (at, (ix, (name, field))) in (0..).zip(fields.skip(first).take(shown)) {
        let chosen = ix == form.at;
        let cursor = if chosen { "_" } else { "" };
        let words = format!("{} {}{cursor}", fit(name, 38.min(room)), field.value());
        let style = if chosen {
            theme.selected()
        } else {
            Style::new()
        };
        line(buffer, inside, at, &words, style);
    }
    let below = u16::try_from(shown).unwrap_or(u16::MAX);
    for (at, words) in (below..).zip(rows) {
        line(buffer, inside, at, &words, style);
    }
}
