//! The crews under the rigs: people needed of people on shift. A digit is how many are needed, `-` that some are
//! on shift and free, nothing that nobody is on shift, `!` that people are missing.

use super::super::theme::Theme;
use crate::app::App;
use crate::app::plan::crews::{CrewRow, People};
use crate::domain::Span;
use crate::widgets::text::fit;
use crate::widgets::timeline::Axis;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Draws a row a crew, or all crews in one where there is one row only.
pub(super) fn draw(
    app: &App,
    theme: &Theme,
    rows: u16,
    axis: &Axis,
    (area, track): (Rect, Rect),
    buffer: &mut Buffer,
) {
    let all = &app.view.crews;
    if usize::from(rows) < all.len() {
        let crews: Vec<&CrewRow> = all.iter().collect();
        row(app, theme, ("people", &crews), axis, (area, track), buffer);
        return;
    }
    for (at, crew) in all.iter().enumerate() {
        let y = track.y + u16::try_from(at).unwrap_or(0);
        let own = Rect { y, ..track };
        row(
            app,
            theme,
            (crew.crew.as_str(), &[crew]),
            axis,
            (area, own),
            buffer,
        );
    }
}

fn row(
    app: &App,
    theme: &Theme,
    (name, crews): (&str, &[&CrewRow]),
    axis: &Axis,
    (area, track): (Rect, Rect),
    buffer: &mut Buffer,
) {
    let columns = usize::from(area.width - track.width);
    let at = sum(crews, Span::new(app.plan.at, app.plan.at + axis.scale));
    let figures = format!("{}/{} ", at.need, at.have);
    let room = columns.saturating_sub(figures.len() + 1);
    let head = format!(" {} {figures}", fit(name, room.saturating_sub(1)));
    buffer.set_string(area.x, track.y, fit(&head, columns), Style::new());
    for column in 0..axis.columns {
        let span = Span::new(axis.start_of(column), axis.start_of(column + 1));
        let short = crews.iter().any(|crew| crew.worst(span).short()) && span.end > app.now;
        let own = sum(crews, span);
        let sign = match own {
            _ if short => "!".to_owned(),
            People { need: 0, have: 0 } => " ".to_owned(),
            People { need: 0, .. } => "-".to_owned(),
            People { need: 1..=9, .. } => own.need.to_string(),
            _ => "+".to_owned(),
        };
        let style = if short { theme.warning() } else { Style::new() };
        let x = track.x + u16::try_from(column).unwrap_or(0);
        buffer.set_string(x, track.y, sign, style);
    }
}

fn sum(crews: &[&CrewRow], span: Span) -> People {
    let all = crews.iter().map(|crew| crew.worst(span));
    all.fold(People::default(), |sum, own| People {
        need: sum.need + own.need,
        have: sum.have + own.have,
    })
}
