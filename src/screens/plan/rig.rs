//! A rig's row: its name and state, what is free, what is closed, its blocks, and where blocks were before.

use super::super::theme::Theme;
use super::block::{Ends, Look};
use crate::app::App;
use crate::app::view::{PlanEntry, RigRow};
use crate::domain::{Minutes, Span};
use crate::floor::UnitState;
use crate::widgets::text::fit;
use crate::widgets::timeline::{Axis, Piece, blocks, most_at_once, pieces};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// Signs of a track.
struct Signs {
    free: &'static str,
    full: &'static str,
    part: &'static str,
}

const fn signs(theme: &Theme) -> Signs {
    if theme.unicode {
        Signs {
            free: "·",
            full: "═",
            part: "─",
        }
    } else {
        Signs {
            free: ".",
            full: "=",
            part: "-",
        }
    }
}

pub(super) fn draw(
    app: &App,
    theme: &Theme,
    (own, chosen): (&RigRow, bool),
    axis: &Axis,
    (area, track): (Rect, Rect),
    buffer: &mut Buffer,
) {
    let signs = signs(theme);
    let columns = usize::from(area.width - track.width);
    let cursor = if chosen { ">" } else { " " };
    let name = format!(
        "{cursor}{} ",
        fit(own.rig.as_str(), columns.saturating_sub(6))
    );
    buffer.set_string(area.x, area.y, fit(&name, columns), Style::new());
    let mark = track.x.saturating_sub(4).max(area.x);
    buffer.set_string(
        mark,
        area.y,
        theme.rig_mark(own.state),
        theme.rig(own.state),
    );
    buffer.set_string(
        track.x,
        track.y,
        signs.free.repeat(axis.columns),
        Style::new(),
    );
    for span in &own.closed {
        stretch(axis, *span, "/", track, buffer);
    }
    for (unit, span) in &own.was {
        was(axis, unit.as_str(), *span, track, buffer);
    }
    let row = Row {
        app,
        theme,
        own,
        chosen,
        axis,
        signs: &signs,
    };
    row.blocks(track, buffer);
    now_line(app, axis, &signs, track, buffer);
}

fn stretch(axis: &Axis, span: Span, sign: &str, track: Rect, buffer: &mut Buffer) {
    if let Some((from, to)) = axis.columns_of(span) {
        let x = track.x + u16::try_from(from).unwrap_or(0);
        buffer.set_string(x, track.y, sign.repeat(to - from), Style::new());
    }
}

/// Where a booking of the plan in force was.
fn was(axis: &Axis, unit: &str, span: Span, track: Rect, buffer: &mut Buffer) {
    let Some((from, to)) = axis.columns_of(span) else {
        return;
    };
    let width = to - from;
    let text = format!(":was {unit}:");
    let text = if text.chars().count() <= width {
        format!("{text}{}", ":".repeat(width - text.chars().count()))
    } else {
        ":".repeat(width)
    };
    let x = track.x + u16::try_from(from).unwrap_or(0);
    buffer.set_string(x, track.y, fit(&text, width), Style::new());
}

/// The line of now, over what is free and over the fill of blocks; never over their text.
fn now_line(app: &App, axis: &Axis, signs: &Signs, track: Rect, buffer: &mut Buffer) {
    let Some(column) = axis.column(app.now) else {
        return;
    };
    let x = track.x + u16::try_from(column).unwrap_or(0);
    if let Some(cell) = buffer.cell_mut((x, track.y)) {
        let under = [signs.free, signs.full, signs.part, "/", ":"];
        if under.contains(&cell.symbol()) {
            cell.set_symbol("|");
        }
    }
}

/// A row with everything that its blocks depend on.
struct Row<'a> {
    app: &'a App,
    theme: &'a Theme,
    own: &'a RigRow,
    chosen: bool,
    axis: &'a Axis,
    signs: &'a Signs,
}

impl Row<'_> {
    fn blocks(&self, track: Rect, buffer: &mut Buffer) {
        let places = 0..self.own.entries.len();
        let (lifted, rest): (Vec<usize>, Vec<usize>) =
            places.partition(|ix| self.own.entries[*ix].lifted);
        // What is in hand lies over the others, so that it is seen where it is.
        for places in [rest, lifted] {
            let spans = places.iter().map(|ix| self.own.entries[*ix].span);
            let all = blocks(&spans.collect::<Vec<Span>>());
            for piece in pieces(&all, self.axis) {
                let of_block = |ix: &usize| all[*ix].members.iter().map(|own| places[*own]);
                let members: Vec<usize> = piece.blocks.iter().flat_map(of_block).collect();
                self.piece(&piece, &members, track, buffer);
            }
        }
    }

    fn piece(&self, piece: &Piece, members: &[usize], track: Rect, buffer: &mut Buffer) {
        let entries: Vec<&PlanEntry> = members.iter().map(|ix| &self.own.entries[*ix]).collect();
        let worst = entries
            .iter()
            .map(|own| own.state)
            .min_by_key(|own| urgency(*own));
        let state = worst.unwrap_or(UnitState::Booked);
        let selected = self.chosen && members.contains(&self.app.plan.entry);
        let lifted = entries.iter().any(|own| own.lifted);
        let who = self.who(&entries, selected);
        let look = Look {
            mark: self.theme.mark(state),
            unit: who.unit.as_str(),
            filled: self.filled(piece, &entries),
            late: late_words(&entries),
            changed: entries.iter().any(|own| own.changed),
            clash: entries.iter().any(|own| own.clash),
            ends: match (lifted, selected) {
                (true, _) => Ends::Lifted,
                (_, true) => Ends::Selected,
                _ => Ends::Plain,
            },
            count: piece.blocks.len(),
            urgent: urgency(state) < urgency(UnitState::Running),
            fill: (self.signs.full, self.signs.part),
        };
        let text = look.text(piece.to - piece.from, (piece.cut_left, piece.cut_right));
        let mut style = if look.clash {
            self.theme.clash()
        } else {
            self.theme.unit(state)
        };
        if selected || lifted {
            style = style.add_modifier(Modifier::REVERSED | Modifier::BOLD);
        }
        let x = track.x + u16::try_from(piece.from).unwrap_or(0);
        buffer.set_string(x, track.y, text, style);
    }

    /// Whose name the block bears: the selected one's, the one in hand, the one that needs somebody, the first.
    fn who<'e>(&'e self, entries: &[&'e PlanEntry], selected: bool) -> &'e PlanEntry {
        if selected {
            return &self.own.entries[self.app.plan.entry];
        }
        let lifted = entries.iter().find(|own| own.lifted);
        let worst = entries.iter().min_by_key(|own| urgency(own.state));
        lifted.or(worst).unwrap_or(&entries[0])
    }

    /// The most units that are in it at once, of how many there may be.
    fn filled(&self, piece: &Piece, entries: &[&PlanEntry]) -> Option<(usize, u32)> {
        let columns = (self.axis.start_of(piece.from), self.axis.start_of(piece.to));
        let shown = Span::new(columns.0, columns.1);
        let spans: Vec<Span> = entries.iter().map(|own| own.span).collect();
        let most = most_at_once(&spans, shown).max(1);
        (self.own.positions > 1 || most > 1).then_some((most, self.own.positions))
    }
}

fn late_words(entries: &[&PlanEntry]) -> String {
    let late = entries.iter().map(|own| own.late).max();
    let late = late.filter(|late| *late > Minutes::ZERO);
    late.map_or(String::new(), |late| {
        let days = late.get() / 1440;
        let hours = (late.get() + 59) / 60;
        if days > 0 {
            format!(" late {days}d")
        } else {
            format!(" late {hours}h")
        }
    })
}

/// Which state a block of several shows: what needs somebody first.
fn urgency(state: UnitState) -> u8 {
    match state {
        UnitState::Late => 0,
        UnitState::Due => 1,
        UnitState::Failed => 2,
        UnitState::Held => 3,
        UnitState::Running => 4,
        UnitState::Booked => 5,
        _ => 6,
    }
}
