//! Every unit, narrowed as one types.

use super::theme::Theme;
use super::{clock, line};
use crate::app::App;
use crate::app::view::UnitLine;
use crate::app::walk::state_word;
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let shown = app.shown_units();
    let (count, all) = (shown.len(), app.view.units.len());
    let filter = app.units.filter.value();
    let search = match (app.units.typing, filter.is_empty()) {
        (true, _) => format!("/{filter}_   {count} of {all}   Enter keeps it, Esc clears it"),
        (false, true) => format!("{all} units   / narrows the list"),
        (false, false) => format!("/{filter}   {count} of {all}   Esc clears it"),
    };
    line(buffer, area, 0, &search, theme.title());
    let wide = area.width >= 70;
    line(
        buffer,
        area,
        1,
        &format!(
            " {}",
            columns(
                wide, "unit", "  state", "step", "rig", "next", "request", "product"
            )
        ),
        theme.title(),
    );
    let rows = usize::from(area.height - 2);
    let first = app.units.selected.saturating_sub(rows.saturating_sub(1));
    for (at, own) in shown.iter().enumerate().skip(first).take(rows) {
        let chosen = at == app.units.selected;
        let y = u16::try_from(2 + at - first).unwrap_or(2);
        unit_row(
            app,
            theme,
            own,
            chosen,
            wide,
            Rect {
                y: area.y + y,
                height: 1,
                ..area
            },
            buffer,
        );
    }
    if count == 0 {
        line(
            buffer,
            area,
            2,
            " No unit matches. Esc clears the filter.",
            Style::new(),
        );
    }
    rows
}

fn unit_row(
    app: &App,
    theme: &Theme,
    own: &UnitLine,
    chosen: bool,
    wide: bool,
    area: Rect,
    buffer: &mut Buffer,
) {
    let state = format!("{} {}", theme.mark(own.state), state_word(own.state));
    let step = format!("{}/{}", own.step, own.steps);
    let next = own.next.map_or(String::new(), |at| clock(app, at));
    let cells = columns(
        wide,
        own.unit.as_str(),
        &state,
        &step,
        &own.rig,
        &next,
        &own.request,
        &own.product,
    );
    let cursor = if chosen { ">" } else { " " };
    line(
        buffer,
        area,
        0,
        &format!("{cursor}{cells}"),
        if chosen {
            theme.selected()
        } else {
            Style::new()
        },
    );
    if !chosen {
        let place = Rect {
            x: area.x + 12,
            width: 9.min(area.width.saturating_sub(12)),
            ..area
        };
        buffer.set_style(place, theme.unit(own.state));
    }
}

#[expect(clippy::too_many_arguments, reason = "one text a column")]
fn columns(
    wide: bool,
    unit: &str,
    state: &str,
    step: &str,
    rig: &str,
    next: &str,
    request: &str,
    product: &str,
) -> String {
    let base = format!(
        "{} {} {} {}",
        fit(unit, 10),
        fit(state, 9),
        fit(step, 5),
        fit(rig, 8)
    );
    if wide {
        format!("{base} {} {} {}", fit(next, 13), fit(request, 7), product)
    } else {
        base
    }
}
