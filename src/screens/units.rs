//! Every unit, narrowed as one types, sorted by a column; the walk of the selected one below or beside.

use super::theme::Theme;
use super::walk::{as_line, whole};
use super::{clock, line};
use crate::app::view::UnitLine;
use crate::app::walk::{state_word, walk_of};
use crate::app::{App, UnitSort};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// From so many columns on the whole walk of the selected unit stands beside the list.
const BESIDE: u16 = 118;
/// Columns of the list beside the walk.
const LIST: u16 = 62;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let shown = app.shown_units();
    line(buffer, area, 0, &search(app, shown.len()), theme.title());
    let below = Rect {
        y: area.y + 1,
        height: area.height.saturating_sub(1),
        ..area
    };
    if area.width < BESIDE {
        // The walk of the selected unit takes a line where the list keeps enough of them.
        let walk = u16::from(below.height >= 8);
        let list = Rect {
            height: below.height - walk,
            ..below
        };
        if let Some(own) = shown.get(app.units.selected).filter(|_| walk > 0) {
            let text = format!("{}: ", own.unit);
            let room = usize::from(area.width).saturating_sub(text.len());
            let steps = walk_of(&app.desk.lab, &app.desk.walks, &app.desk.floor, &own.unit);
            let text = format!("{text}{}", as_line(theme, &steps, room));
            line(buffer, below, below.height - 1, &text, theme.title());
        }
        return table(app, theme, &shown, list, buffer);
    }
    let list = Rect {
        width: LIST,
        ..below
    };
    let beside = Rect {
        x: below.x + LIST + 2,
        width: below.width - LIST - 2,
        ..below
    };
    if let Some(own) = shown.get(app.units.selected) {
        let lines = whole(app, theme, &own.unit, beside.width.into());
        for (at, (text, style)) in (0..).zip(lines.iter().take(beside.height.into())) {
            line(buffer, beside, at, text, *style);
        }
    }
    table(app, theme, &shown, list, buffer)
}

/// What narrows the list, how many are left, and which keys change that.
fn search(app: &App, count: usize) -> String {
    let all = app.view.units.len();
    let filter = app.units.filter.value();
    match (app.units.typing, filter.is_empty()) {
        (true, _) => format!("/{filter}_   {count} of {all}   Enter keeps it, Esc clears it"),
        (false, true) => format!("{all} units   / narrows, s sorts, S turns the order"),
        (false, false) => format!("/{filter}   {count} of {all}   Esc clears it"),
    }
}

/// The heading, which stays, and as many lines as there is room for.
fn table(app: &App, theme: &Theme, shown: &[&UnitLine], area: Rect, buffer: &mut Buffer) -> usize {
    let heading = |column: UnitSort| {
        let mark = match (column == app.units.sort, app.units.down) {
            (true, false) => " ^",
            (true, true) => " v",
            (false, _) => "",
        };
        format!("{}{mark}", column.name())
    };
    let texts = UnitSort::ALL.map(heading);
    let head = columns(area.width, &texts);
    line(buffer, area, 0, &format!(" {head}"), theme.title());
    let rows = usize::from(area.height.saturating_sub(1));
    let first = app.units.selected.saturating_sub(rows.saturating_sub(1));
    for (at, own) in shown.iter().enumerate().skip(first).take(rows) {
        let y = u16::try_from(1 + at - first).unwrap_or(1);
        let place = Rect {
            y: area.y + y,
            height: 1,
            ..area
        };
        unit_row(app, theme, own, at == app.units.selected, place, buffer);
    }
    if shown.is_empty() {
        empty(app, area, buffer);
    }
    rows
}

/// Why there is nothing to see, and what helps.
fn empty(app: &App, area: Rect, buffer: &mut Buffer) {
    let text = if app.view.units.is_empty() {
        "The lab has no units: write requests.toml, or take a file in with rigday take FILE."
    } else {
        "No unit matches. Esc clears what narrows the list."
    };
    for (at, words) in (1..).zip(wrapped(text, usize::from(area.width).saturating_sub(2))) {
        line(buffer, area, at, &format!(" {words}"), Style::new());
    }
}

fn unit_row(
    app: &App,
    theme: &Theme,
    own: &UnitLine,
    chosen: bool,
    area: Rect,
    buffer: &mut Buffer,
) {
    let cells = [
        own.unit.to_string(),
        format!("{} {}", theme.mark(own.state), state_word(own.state)),
        format!("{}/{}", own.step, own.steps),
        own.rig.clone(),
        own.next.map_or(String::new(), |at| clock(app, at)),
        own.request.clone(),
        own.product.clone(),
    ];
    let text = columns(area.width, &cells);
    let cursor = if chosen { ">" } else { " " };
    let style = if chosen {
        theme.selected()
    } else {
        Style::new()
    };
    line(buffer, area, 0, &format!("{cursor}{text}"), style);
    if !chosen {
        let place = Rect {
            x: area.x + 12,
            width: 9.min(area.width.saturating_sub(12)),
            ..area
        };
        buffer.set_style(place, theme.unit(own.state));
    }
}

/// The columns in their widths; where there is little room the last ones go.
fn columns(width: u16, texts: &[String; 7]) -> String {
    let widths: &[usize] = match width {
        ..60 => &[10, 9, 6, 8],
        60..70 => &[10, 9, 6, 8, 16, 9],
        _ => &[10, 9, 6, 8, 16, 9, 40],
    };
    let cells = texts
        .iter()
        .zip(widths)
        .map(|(text, width)| fit(text, *width));
    cells
        .collect::<Vec<String>>()
        .join(" ")
        .trim_end()
        .to_owned()
}
