//! What the results prove: every leg against its goal, the fit of the selected one, and what is offered.

use super::line;
use super::theme::Theme;
use crate::app::App;
use crate::app::evidence::{LegEvidence, figure, reliability, standing_word};
use crate::evidence::picture::{Fitted, Picture, weibull_scale};
use crate::widgets::plot::{Layer, plot};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Least and most rows of the plots with their titles and axes.
const PLOT_ROWS: (u16, u16) = (9, 24);
/// Rows of what the selected leg says.
const TEXT_ROWS: u16 = 5;
/// Columns of the numbers beside a plot.
const LABEL: u16 = 6;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let roomy = area.width >= 70 && area.height >= 20;
    // The plots take what the list of legs leaves.
    let legs_rows = u16::try_from(app.view.legs.len() + 2).unwrap_or(u16::MAX);
    let left = area.height.saturating_sub(TEXT_ROWS);
    let plot_rows = left
        .saturating_sub(legs_rows)
        .clamp(PLOT_ROWS.0, PLOT_ROWS.1);
    let below = match area.height {
        _ if roomy => plot_rows + TEXT_ROWS,
        // Where there is room for one thing only, that is the list.
        ..11 => 0,
        _ => TEXT_ROWS,
    };
    let list = Rect {
        height: area.height.saturating_sub(below).max(3),
        ..area
    };
    let rows = legs(app, theme, list, buffer);
    let Some(own) = app.view.legs.get(app.leg) else {
        line(
            buffer,
            area,
            2,
            " No request in the lab: add one to requests.toml.",
            Style::new(),
        );
        return rows;
    };
    let text = Rect {
        y: list.y + list.height,
        height: TEXT_ROWS.min(area.height - list.height),
        ..area
    };
    for (at, words) in (0..).zip(own.brief()) {
        line(buffer, text, at, &words, Style::new());
    }
    if roomy {
        let plots = Rect {
            y: text.y + text.height,
            height: plot_rows,
            ..area
        };
        draw_plots(own, plots, buffer);
    }
    rows
}

/// The list of legs, with what is offered in its title; the rows it had room for.
fn legs(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    let offers = &app.view.offers;
    let title = match &offers[..] {
        [] => format!(
            "{} legs; nothing is offered to the plan",
            app.view.legs.len()
        ),
        [one] => format!("offer: {}", one.words()),
        [first, ..] => format!("{} offers (Enter); {}", offers.len(), first.words()),
    };
    line(buffer, area, 0, &title, theme.title());
    let head = columns(
        area.width,
        [
            "request", "product", "units", "fail", "surv", "open", "left", "shown", "goal",
            "standing",
        ],
    );
    line(buffer, area, 1, &format!(" {head}"), theme.title());
    let rows = usize::from(area.height.saturating_sub(2));
    let first = app.leg.saturating_sub(rows.saturating_sub(1));
    for (at, own) in app.view.legs.iter().enumerate().skip(first).take(rows) {
        let (request, counts) = (&own.leg.request, own.evidence.counts);
        let shown = own.evidence.shown().map_or("-".to_owned(), reliability);
        let goal = request
            .show
            .as_ref()
            .map_or("-".to_owned(), |show| show.reliability.to_string());
        let cells = [
            request.id.as_str(),
            &format!("{} {}", request.product, request.build),
            &request.units.len().to_string(),
            &counts.failed.to_string(),
            &counts.survived.to_string(),
            &counts.open.to_string(),
            &counts.left.to_string(),
            &shown,
            &goal,
            standing_word(own.evidence.standing),
        ];
        let chosen = at == app.leg;
        let cursor = if chosen { ">" } else { " " };
        let style = if chosen {
            theme.selected()
        } else {
            Style::new()
        };
        let place = u16::try_from(2 + at - first).unwrap_or(u16::MAX);
        line(
            buffer,
            area,
            place,
            &format!("{cursor}{}", columns(area.width, cells)),
            style,
        );
    }
    rows
}

fn columns(width: u16, cells: [&str; 10]) -> String {
    let widths = match width {
        90.. => [10, 25, 6, 5, 5, 5, 5, 7, 7, 12],
        70.. => [10, 16, 6, 5, 5, 5, 5, 7, 7, 12],
        50.. => [10, 0, 0, 5, 5, 5, 5, 7, 0, 12],
        _ => [10, 0, 0, 5, 0, 5, 0, 7, 0, 12],
    };
    cells
        .iter()
        .zip(widths)
        .map(|(cell, width)| {
            if width == 0 {
                String::new()
            } else {
                fit(cell, width - 1) + " "
            }
        })
        .collect()
}

/// The probability plot on the left, the fraction surviving on the right.
fn draw_plots(own: &LegEvidence, area: Rect, buffer: &mut Buffer) {
    let half = area.width / 2;
    let picture = Picture::of(&own.leg, &own.evidence, usize::from(half) * 2);
    let left = Rect {
        width: half - 1,
        ..area
    };
    let right = Rect {
        x: area.x + half,
        width: area.width - half,
        ..area
    };
    let unit = own.leg.axis.unit.word();
    if picture.fitted.is_empty() {
        let why = own
            .evidence
            .fit
            .as_ref()
            .err()
            .map_or(String::new(), ToString::to_string);
        for (at, words) in (0..).zip(wrapped(&why, usize::from(left.width))) {
            line(buffer, left, at, &words, Style::new());
        }
    } else {
        probability(&picture, unit, left, buffer);
    }
    survival(&picture, unit, right, buffer);
}

/// Marks: what was seen, the fit, its bounds.
const SEEN: char = 'o';
const BEST: char = '*';
const BOUND: char = '.';

fn curves(fitted: &[Fitted], x: fn(f64) -> f64, y: fn(f64) -> f64) -> [Layer; 3] {
    let layer = |mark, of: fn(&Fitted) -> f64| Layer {
        mark,
        points: fitted.iter().map(|own| (x(own.t), y(of(own)))).collect(),
    };
    [
        layer(BOUND, |own| own.lower),
        layer(BOUND, |own| own.upper),
        layer(BEST, |own| own.best),
    ]
}

fn probability(picture: &Picture, unit: &str, area: Rect, buffer: &mut Buffer) {
    line(
        buffer,
        area,
        0,
        "failed %, Weibull scale: o seen * fit . bounds",
        Style::new(),
    );
    let seen = Layer {
        mark: SEEN,
        points: picture
            .observed
            .iter()
            .map(|own| (own.t.ln(), weibull_scale(own.most)))
            .collect(),
    };
    let mut layers = curves(&picture.fitted, f64::ln, weibull_scale).to_vec();
    layers.push(seen);
    let (first, last) = picture.span;
    let (low, high) = (weibull_scale(0.99), weibull_scale(0.05));
    field(
        &layers,
        [first.ln(), last.ln()],
        [low, high],
        ["95", "1"],
        area,
        buffer,
    );
    axis(
        &figure(first),
        &format!("{} {unit}, log", figure(last)),
        area,
        buffer,
    );
}

fn survival(picture: &Picture, unit: &str, area: Rect, buffer: &mut Buffer) {
    line(
        buffer,
        area,
        0,
        "surviving: o seen * fit . bounds",
        Style::new(),
    );
    let mut points: Vec<(f64, f64)> = picture
        .observed
        .iter()
        .map(|own| (own.t, own.most))
        .collect();
    points.extend(picture.observed.iter().map(|own| (own.t, own.least)));
    let mut layers = curves(&picture.fitted, |t| t, |r| r).to_vec();
    layers.push(Layer { mark: SEEN, points });
    field(
        &layers,
        [0.0, picture.span.1],
        [0.0, 1.0],
        ["1", "0"],
        area,
        buffer,
    );
    axis(
        "0",
        &format!("{} {unit}", figure(picture.span.1)),
        area,
        buffer,
    );
}

/// The field between title and axis, with the numbers of its upper and lower end.
fn field(
    layers: &[Layer],
    x: [f64; 2],
    y: [f64; 2],
    ends: [&str; 2],
    area: Rect,
    buffer: &mut Buffer,
) {
    let inside = Rect {
        x: area.x + LABEL,
        y: area.y + 1,
        width: area.width.saturating_sub(LABEL + 1),
        height: area.height.saturating_sub(2),
    };
    for at in 0..inside.height {
        let label = match at {
            0 => ends[0],
            at if at + 1 == inside.height => ends[1],
            _ => "",
        };
        buffer.set_string(area.x, inside.y + at, format!("{label:>4} |"), Style::new());
    }
    plot(layers, x, y, inside, buffer);
}

fn axis(first: &str, last: &str, area: Rect, buffer: &mut Buffer) {
    let room = usize::from(area.width.saturating_sub(LABEL + 1));
    let gap = room.saturating_sub(first.chars().count() + last.chars().count());
    let words = format!(
        "{}{first}{}{last}",
        " ".repeat(usize::from(LABEL)),
        " ".repeat(gap)
    );
    line(buffer, area, area.height - 1, &words, Style::new());
}
