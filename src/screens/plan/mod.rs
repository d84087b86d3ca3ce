//! Rigs over time: what runs where, what is booked, what is free, who is needed, and why the selected booking is
//! not earlier.

mod block;
mod crews;
mod detail;
mod head;
mod rig;
#[cfg(test)]
mod tests;

use super::theme::Theme;
use crate::app::App;
use crate::widgets::timeline::Axis;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The minute that a column of the terminal stands for.
pub(super) fn minute_at(app: &App, columns: u16, column: u16) -> Option<crate::domain::Minute> {
    let layout = app.plan_layout(columns, app.size.1.saturating_sub(3));
    let column = column.checked_sub(layout.name)?;
    Some(app.plan.from + app.plan.scale * i64::from(column))
}

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    let layout = app.plan_layout(area.width, area.height);
    let track = |line: u16| Rect {
        x: area.x + layout.name,
        y: area.y + line,
        width: layout.track,
        height: 1,
    };
    let axis = Axis {
        from: app.plan.from,
        scale: app.plan.scale,
        columns: layout.track.into(),
    };
    head::draw(app, &axis, area, track(0), buffer);
    let first = layout.first(app.plan.first, app.plan.row, app.view.rigs.len());
    let rows = usize::from(layout.rigs);
    for (at, own) in app.view.rigs.iter().enumerate().skip(first).take(rows) {
        let line = 1 + u16::try_from(at - first).unwrap_or(0);
        let chosen = at == app.plan.row;
        let place = super::row(area, line);
        rig::draw(
            app,
            theme,
            (own, chosen),
            &axis,
            (place, track(line)),
            buffer,
        );
    }
    let mut line = 1 + layout.rigs;
    if layout.crews > 0 {
        crews::draw(app, theme, layout.crews, &axis, (area, track(line)), buffer);
        line += layout.crews;
    }
    let below = Rect {
        y: area.y + line,
        height: area.height.saturating_sub(line),
        ..area
    };
    detail::draw(app, theme, below, buffer);
    rows
}
