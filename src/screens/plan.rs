//! Rigs over time: what runs where, what is booked, and why the selected booking is not earlier.

use super::theme::Theme;
use super::{clock, line, row};
use crate::app::App;
use crate::app::view::{PlanEntry, RigRow};
use crate::domain::Span;
use crate::widgets::text::{fit, wrapped};
use crate::widgets::timeline::{Axis, Block, blocks, most_at_once};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// Columns of a rig's name and mark.
const NAME: u16 = 12;
/// Rows below the rigs for the selected booking.
const DETAIL: u16 = 3;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    let detail = if area.height > 12 { DETAIL } else { 1 };
    let rigs = usize::from(area.height - 1 - detail);
    let track = Rect {
        x: area.x + NAME,
        width: area.width - NAME,
        ..area
    };
    let axis = Axis {
        from: app.plan.from,
        scale: app.plan.scale,
        columns: track.width.into(),
    };
    head(app, &axis, area, track, buffer);
    let first = app.plan.row.saturating_sub(rigs.saturating_sub(1));
    for (at, own) in app.view.rigs.iter().enumerate().skip(first).take(rigs) {
        let place = row(area, u16::try_from(1 + at - first).unwrap_or(0));
        rig_row(app, theme, own, at == app.plan.row, &axis, place, buffer);
    }
    let below = Rect {
        y: area.y + area.height - detail,
        height: detail,
        ..area
    };
    selected(app, theme, below, buffer);
    rigs
}

/// The minute at which a column of the terminal begins.
pub(super) fn minute_at(app: &App, columns: u16, column: u16) -> Option<crate::domain::Minute> {
    let axis = Axis {
        from: app.plan.from,
        scale: app.plan.scale,
        columns: usize::from(columns.checked_sub(NAME)?),
    };
    let column = usize::from(column.checked_sub(NAME)?);
    (column < axis.columns).then(|| axis.start_of(column))
}

/// Dates and times, with `now` where it is.
fn head(app: &App, axis: &Axis, area: Rect, track: Rect, buffer: &mut Buffer) {
    line(buffer, row(area, 0), 0, "", Style::new());
    let zone = &app.desk.lab.zone;
    let scale = match axis.scale.get() {
        minutes if minutes < 60 => format!("{minutes}m/col"),
        minutes if minutes < 1440 => format!("{}h/col", minutes / 60),
        _ => "1d/col".to_owned(),
    };
    buffer.set_string(area.x, area.y, fit(&scale, NAME.into()), Style::new());
    let mut free_from = 0;
    let mut last_label = None;
    for column in 0..axis.columns {
        let local = zone.local(axis.start_of(column));
        let (label, key) = if axis.scale.get() >= 60 {
            (
                local.format("%a %d %b").to_string(),
                local.date().to_string(),
            )
        } else {
            let hour = local.format("%H").to_string();
            (
                local.format("%a %d %H:%M").to_string(),
                format!("{}{}", local.date(), hour),
            )
        };
        let fresh = last_label.as_ref() != Some(&key);
        last_label = Some(key);
        let room = axis.columns - column;
        if fresh && column >= free_from && room >= label.len() {
            let x = track.x + u16::try_from(column).unwrap_or(0);
            buffer.set_string(x, area.y, &label, Style::new().add_modifier(Modifier::BOLD));
            free_from = column + label.len() + 2;
        }
    }
    if let Some(column) = axis.column(app.now) {
        let x = track.x + u16::try_from(column).unwrap_or(0);
        buffer.set_string(
            x,
            area.y,
            &"|now"[..room_for(axis, column, 4)],
            Style::new(),
        );
    }
}

fn room_for(axis: &Axis, column: usize, wanted: usize) -> usize {
    (axis.columns - column).min(wanted)
}

fn rig_row(
    app: &App,
    theme: &Theme,
    own: &RigRow,
    chosen: bool,
    axis: &Axis,
    area: Rect,
    buffer: &mut Buffer,
) {
    let cursor = if chosen { ">" } else { " " };
    let name = format!("{cursor}{} ", fit(own.rig.as_str(), 6));
    buffer.set_string(area.x, area.y, name, Style::new());
    buffer.set_string(
        area.x + 8,
        area.y,
        theme.rig_mark(own.state),
        theme.rig(own.state),
    );
    let dots = if theme.unicode { "·" } else { "." };
    let track = Rect {
        x: area.x + NAME,
        width: area.width - NAME,
        ..area
    };
    buffer.set_string(track.x, track.y, dots.repeat(axis.columns), Style::new());
    outages(app, own, axis, track, buffer);
    let spans: Vec<Span> = own.entries.iter().map(|entry| entry.span).collect();
    for block in blocks(&spans) {
        draw_block(app, theme, own, &block, chosen, axis, track, buffer);
    }
    if let Some(column) = axis.column(app.now) {
        let x = track.x + u16::try_from(column).unwrap_or(0);
        if let Some(cell) = buffer.cell_mut((x, track.y)) {
            cell.set_symbol("|");
        }
    }
}

/// Planned outages as slashes.
fn outages(app: &App, own: &RigRow, axis: &Axis, track: Rect, buffer: &mut Buffer) {
    for outage in app
        .desk
        .lab
        .outages
        .iter()
        .filter(|outage| outage.rig == own.rig)
    {
        if let Some((from, to)) = axis.columns_of(outage.span) {
            let x = track.x + u16::try_from(from).unwrap_or(0);
            buffer.set_string(x, track.y, "/".repeat(to - from), Style::new());
        }
    }
}

#[expect(
    clippy::too_many_arguments,
    reason = "a block needs its row, its place and how it looks"
)]
fn draw_block(
    app: &App,
    theme: &Theme,
    own: &RigRow,
    block: &Block,
    chosen: bool,
    axis: &Axis,
    track: Rect,
    buffer: &mut Buffer,
) {
    let Some((from, to)) = axis.columns_of(block.span) else {
        return;
    };
    let members: Vec<&PlanEntry> = block.members.iter().map(|ix| &own.entries[*ix]).collect();
    let worst = members
        .iter()
        .map(|entry| entry.state)
        .min_by_key(|state| urgency(*state));
    let state = worst.unwrap_or(crate::floor::UnitState::Booked);
    let clash = members.iter().any(|entry| entry.clash);
    let is_selected = chosen && block.members.contains(&app.plan.entry);
    let who = if is_selected {
        &own.entries[app.plan.entry]
    } else {
        members[0]
    };
    let shown = Span::new(axis.from, axis.start_of(axis.columns));
    let spans: Vec<Span> = members.iter().map(|entry| entry.span).collect();
    let most = most_at_once(&spans, shown);
    let more = if most > 1 {
        format!(" {most}u")
    } else {
        String::new()
    };
    let flag = if clash { "!!" } else { "" };
    let fill = if theme.unicode { "─" } else { "=" };
    let text = format!("{}{flag}{}{more} ", theme.mark(state), who.unit);
    let width = to - from;
    let mut shown = fit(&text, width);
    if text.len() < width {
        shown = format!(
            "{}{}",
            fit(&text, text.chars().count()),
            fill.repeat(width - text.chars().count())
        );
    }
    let mut style = if clash {
        theme.clash()
    } else {
        theme.unit(state)
    };
    if is_selected {
        style = style.add_modifier(Modifier::REVERSED | Modifier::BOLD);
    }
    buffer.set_string(
        track.x + u16::try_from(from).unwrap_or(0),
        track.y,
        shown,
        style,
    );
}

/// Which state a block of several shows: what needs somebody first.
fn urgency(state: crate::floor::UnitState) -> u8 {
    use crate::floor::UnitState as S;
    match state {
        S::Late => 0,
        S::Due => 1,
        S::Failed => 2,
        S::Held => 3,
        S::Running => 4,
        S::Booked => 5,
        _ => 6,
    }
}

/// The selected booking: what, when, why not earlier, and what can hurt.
fn selected(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let Some(own) = app.view.rigs.get(app.plan.row) else {
        return;
    };
    let Some(entry) = own.entries.get(app.plan.entry) else {
        line(
            buffer,
            area,
            0,
            &format!("{}: nothing on it and nothing booked", own.rig),
            theme.title(),
        );
        return;
    };
    let method = method_of(app, entry);
    let name = method.map_or("", |method| method.id.as_str());
    let stay = entry.span.length();
    let text = format!(
        "{} step {} {name} on {}: {} to {} ({})",
        entry.unit,
        entry.step,
        own.rig,
        clock(app, entry.span.start),
        clock(app, entry.span.end),
        stay
    );
    line(buffer, area, 0, &text, theme.title());
    let because = format!("because: {}", entry.because);
    for (at, words) in wrapped(&because, area.width.into())
        .iter()
        .take(1)
        .enumerate()
    {
        line(
            buffer,
            area,
            u16::try_from(at + 1).unwrap_or(1),
            words,
            Style::new(),
        );
    }
    if let Some(caution) = method.and_then(|method| method.cautions.first()) {
        line(
            buffer,
            area,
            2,
            &format!("caution: {caution}"),
            theme.warning(),
        );
    }
}

fn method_of<'a>(app: &'a App, entry: &PlanEntry) -> Option<&'a crate::domain::lab::Method> {
    let request = app.desk.walks.request(&app.desk.lab, &entry.unit)?;
    let walk = app.desk.walks.steps(request).get(entry.step as usize - 1)?;
    app.desk.lab.methods.get(&walk.method)
}
