//! A course as a picture of letters: temperature, and humidity below it, against time.

use crate::domain::Minutes;
use crate::domain::time::minutes_ceil;
use crate::problem::course::{Course, Leg, LegKind};

/// Columns of the picture beside its labels.
const WIDTH: usize = 68;
/// Columns of a label with its axis.
const LABEL: usize = 9;
/// Rows of the temperature.
const ROWS: usize = 9;
/// How many times as long as all the rest a leg is drawn at most.
const LONGEST: f64 = 3.0;

/// The letters to draw with.
#[derive(Clone, Copy)]
pub(super) struct Lines {
    level: char,
    settle: char,
    upright: char,
    /// From the left and up, from below and right, from the left and down, from above and right.
    corners: [char; 4],
    axis: char,
    origin: char,
    tick: char,
    cut: &'static str,
    celsius: &'static str,
}

impl Lines {
    pub(super) const fn new(unicode: bool) -> Self {
        if unicode {
            Self {
                level: '─',
                settle: '╌',
                upright: '│',
                corners: ['┘', '┌', '┐', '└'],
                axis: '│',
                origin: '└',
                tick: '┴',
                cut: "╱╱",
                celsius: "°C",
            }
        } else {
            Self {
                level: '-',
                settle: '~',
                upright: '|',
                corners: ['+', '+', '+', '+'],
                axis: '|',
                origin: '+',
                tick: '+',
                cut: "//",
                celsius: "C",
            }
        }
    }
}

/// A leg with where it is drawn, in shares of the whole width.
struct Drawn {
    leg: Leg,
    /// True start and end, in minutes.
    from: f64,
    until: f64,
    /// Drawn start and end, from 0 to 1.
    left: f64,
    right: f64,
    cut: bool,
}

/// The picture, line by line, none wider than 80 columns; empty where nothing changes.
pub(super) fn draw(course: &Course, lines: Lines) -> Vec<String> {
    let legs = laid_out(course);
    if legs.is_empty() {
        return Vec::new();
    }
    let temperatures = |leg: &Leg| Some((leg.from_c, leg.to_c));
    let mut text = vec![format!("{:>6}", lines.celsius)];
    text.extend(panel(&legs, temperatures, ROWS, lines));
    let humidity = |leg: &Leg| leg.rh.map(|rh| (rh, rh));
    if legs.iter().any(|own| own.leg.rh.is_some()) {
        text.push(format!("{:>6}", "% RH"));
        text.extend(panel(&legs, humidity, 3, lines));
    }
    text.extend(time_axis(&legs, lines));
    text.extend(legend(course, &legs, lines));
    text
}

/// The legs that are drawn: what comes before, at most two passes, and the way back where it follows.
fn laid_out(course: &Course) -> Vec<Drawn> {
    let mut legs: Vec<Leg> = [&course.before[..], &course.first, &course.further].concat();
    if course.passes <= 2 {
        legs.extend(course.back);
    }
    let total: f64 = legs.iter().map(|leg| leg.minutes).sum();
    let drawn = |leg: &Leg| {
        let others = total - leg.minutes;
        if others > 0.0 && leg.minutes > LONGEST * others {
            LONGEST * others
        } else {
            leg.minutes
        }
    };
    let whole: f64 = legs.iter().map(drawn).sum();
    let (mut from, mut left) = (0.0, 0.0);
    let mut laid = Vec::new();
    for leg in legs {
        let (until, right) = (from + leg.minutes, left + drawn(&leg) / whole);
        laid.push(Drawn {
            cut: drawn(&leg) < leg.minutes,
            leg,
            from,
            until,
            left,
            right,
        });
        (from, left) = (until, right);
    }
    laid
}

/// One curve with the labels of its levels.
fn panel(
    legs: &[Drawn],
    value: impl Fn(&Leg) -> Option<(f64, f64)>,
    rows: usize,
    lines: Lines,
) -> Vec<String> {
    let ends = legs.iter().filter_map(|own| value(&own.leg));
    let mut levels: Vec<f64> = ends.flat_map(|(from, to)| [from, to]).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup_by(|a, b| (*a - *b).abs() < 0.05);
    let [Some(&low), Some(&high)] = [levels.first(), levels.last()] else {
        return Vec::new();
    };
    let rows = if low < high { rows } else { 1 };
    let row_of = |value: f64| row(value, low, high, rows);
    let mut grid = vec![vec![' '; WIDTH]; rows];
    let mut last = None;
    for column in 0..WIDTH {
        last = plot(&mut grid, column, last, legs, &value, &row_of, lines);
    }
    let mut labels = vec![String::new(); rows];
    // The ends first, so that what lies between gives way.
    for level in [low, high].iter().chain(&levels) {
        let label = &mut labels[row_of(*level)];
        if label.is_empty() {
            *label = format!("{}", (level * 10.0).round() / 10.0);
        }
    }
    let line = |(label, cells): (&String, &Vec<char>)| {
        let cells: String = cells.iter().collect();
        format!("{label:>6} {} {}", lines.axis, cells.trim_end())
            .trim_end()
            .to_owned()
    };
    labels.iter().zip(&grid).map(line).collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of some rows"
)]
fn row(value: f64, low: f64, high: f64, rows: usize) -> usize {
    if high <= low {
        return 0;
    }
    let share = ((high - value) / (high - low)).clamp(0.0, 1.0);
    (share * (rows - 1) as f64).round() as usize
}

/// Draws one column; the row at which it ends, where the curve is there at all.
fn plot(
    grid: &mut [Vec<char>],
    column: usize,
    last: Option<usize>,
    legs: &[Drawn],
    value: &impl Fn(&Leg) -> Option<(f64, f64)>,
    row_of: &impl Fn(f64) -> usize,
    lines: Lines,
) -> Option<usize> {
    let right = (column + 1) as f64 / WIDTH as f64;
    let left = column as f64 / WIDTH as f64;
    let here = legs
        .iter()
        .find(|own| right <= own.right + 1e-9)
        .or(legs.last())?;
    let (from, to) = value(&here.leg)?;
    let share = (right - here.left) / (here.right - here.left);
    let end = row_of(from + (to - from) * share.clamp(0.0, 1.0));
    // Legs that begin and end within the column would be lost otherwise.
    let within = legs
        .iter()
        .filter(|own| own.right > left && own.right <= right);
    let passed: Vec<usize> = within
        .filter_map(|own| value(&own.leg))
        .map(|(_, to)| row_of(to))
        .collect();
    let start = last.unwrap_or(row_of(from));
    let rows = passed.iter().chain([&start, &end]);
    let (top, bottom) = (rows.clone().min().copied()?, rows.max().copied()?);
    if top == bottom {
        let settles = here.leg.kind == LegKind::Settle;
        grid[top][column] = if settles { lines.settle } else { lines.level };
        return Some(end);
    }
    for cells in &mut grid[top..=bottom] {
        cells[column] = lines.upright;
    }
    let [left_up, below_right, left_down, above_right] = lines.corners;
    if start == bottom && end == top {
        grid[bottom][column] = left_up;
        grid[top][column] = below_right;
    } else if start == top && end == bottom {
        grid[top][column] = left_down;
        grid[bottom][column] = above_right;
    }
    Some(end)
}

/// The axis with a tick where each leg begins, and the time of as many as there is room for.
fn time_axis(legs: &[Drawn], lines: Lines) -> Vec<String> {
    let mut axis = vec![lines.level; WIDTH];
    let mut labels = String::new();
    let end = legs.last().map_or(0.0, |own| own.until);
    let end_label = time_text(end);
    let marks = legs.iter().map(|own| (column(own.left), own.from));
    for (at, time) in marks {
        axis[at] = lines.tick;
        let label = time_text(time);
        let free = labels.is_empty() || at > labels.chars().count();
        let room = at + label.len() + 1 + end_label.len() < WIDTH;
        if free && room {
            labels = format!("{labels:at$}{label}");
        }
    }
    for own in legs.iter().filter(|own| own.cut) {
        let middle = column(f64::midpoint(own.left, own.right));
        for (offset, mark) in lines.cut.chars().enumerate() {
            if let Some(cell) = axis.get_mut(middle + offset) {
                *cell = mark;
            }
        }
    }
    let axis: String = axis.into_iter().collect();
    let room = WIDTH - end_label.len();
    vec![
        format!("{:7}{}{}{axis}", "", lines.origin, lines.level),
        format!("{:LABEL$}{labels:room$}{end_label}", ""),
    ]
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of some columns"
)]
fn column(share: f64) -> usize {
    ((share * WIDTH as f64) as usize).min(WIDTH - 1)
}

fn time_text(minutes: f64) -> String {
    if minutes == 0.0 {
        return "0".to_owned();
    }
    minutes_ceil(minutes).max(Minutes::new(1)).to_string()
}

fn legend(course: &Course, legs: &[Drawn], lines: Lines) -> Vec<String> {
    let mut text = Vec::new();
    let mut say = |words: String| text.push(format!("{:LABEL$}{words}", ""));
    if course.passes > 2 {
        let more = course.passes - 2;
        let back = if course.back.is_some() {
            "; then back to ambient"
        } else {
            ""
        };
        say(format!("and {more} more passes like the second{back}"));
    }
    if legs.iter().any(|own| own.cut) {
        say(format!("{} a hold is drawn shorter than it is", lines.cut));
    }
    if legs.iter().any(|own| own.leg.kind == LegKind::Settle) {
        say(format!(
            "{0}{0} the chamber is there, the load settles",
            lines.settle
        ));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leg(kind: LegKind, from_c: f64, to_c: f64, minutes: f64) -> Leg {
        Leg {
            kind,
            from_c,
            to_c,
            rh: None,
            minutes,
        }
    }

    fn course(first: Vec<Leg>, passes: u32, back: Option<Leg>) -> Course {
        Course {
            further: if passes > 1 {
                first.clone()
            } else {
                Vec::new()
            },
            first,
            passes,
            back,
            ..Course::default()
        }
    }

    /// The row of the label, and what is drawn in it.
    fn row_of<'t>(text: &'t [String], label: &str) -> &'t str {
        let is_it = |line: &&String| line.trim_start().starts_with(&format!("{label} |"));
        text.iter().find(is_it).expect("the label has a row")
    }

    #[test]
    fn a_hold_stands_between_its_ramps_and_every_level_has_its_label() {
        let up = leg(LegKind::Ramp, 23.0, 63.0, 60.0);
        let hold = leg(LegKind::Hold, 63.0, 63.0, 120.0);
        let down = leg(LegKind::Ramp, 63.0, 23.0, 60.0);
        let text = draw(&course(vec![up, hold], 1, Some(down)), Lines::new(false));
        let top = row_of(&text, "63");
        let drawn = top.matches('-').count();
        assert!((30..=40).contains(&drawn), "half of 68 columns: {top}");
        assert!(row_of(&text, "23").matches(['-', '+']).count() <= 8);
        let axis = text.last().expect("the times");
        assert!(
            axis.contains("1h ") && axis.contains("3h") && axis.ends_with("4h"),
            "{axis}"
        );
        assert!(
            text.iter().all(|line| line.is_ascii() && line.len() <= 80),
            "{text:#?}"
        );
    }

    #[test]
    fn a_long_hold_is_cut_and_a_load_that_settles_is_seen() {
        let legs = vec![
            leg(LegKind::Ramp, 23.0, -40.0, 63.0),
            leg(LegKind::Settle, -40.0, -40.0, 37.0),
            leg(LegKind::Hold, -40.0, -40.0, 5760.0),
        ];
        let text = draw(&course(legs, 1, None), Lines::new(false));
        assert!(row_of(&text, "-40").contains("~~"), "{text:#?}");
        assert!(
            text.iter()
                .any(|line| line.contains("// a hold is drawn shorter"))
        );
        assert!(
            text.iter().any(|line| line.contains("4d 1h 40m")),
            "its true end: {text:#?}"
        );
    }

    #[test]
    fn two_passes_are_drawn_and_the_others_counted() {
        let legs = vec![
            leg(LegKind::Transfer, 23.0, -40.0, 0.5),
            leg(LegKind::Hold, -40.0, -40.0, 30.0),
            leg(LegKind::Transfer, -40.0, 85.0, 0.5),
            leg(LegKind::Hold, 85.0, 85.0, 30.0),
        ];
        let text = draw(&course(legs, 10, None), Lines::new(true));
        let high = text
            .iter()
            .find(|line| line.contains("85 │"))
            .expect("a label");
        assert_eq!(high.matches('┌').count(), 2, "{text:#?}");
        assert!(
            text.iter()
                .any(|line| line.contains("and 8 more passes like the second"))
        );
    }

    #[test]
    fn humidity_has_a_panel_where_it_is_set_and_nothing_is_drawn_of_nothing() {
        let mut dry = leg(LegKind::Hold, 40.0, 40.0, 60.0);
        assert_eq!(
            draw(&course(Vec::new(), 1, None), Lines::new(true)),
            [""; 0]
        );
        let text = draw(&course(vec![dry], 1, None), Lines::new(true));
        assert!(!text.iter().any(|line| line.contains("% RH")));
        dry.rh = Some(93.0);
        let text = draw(&course(vec![dry], 1, None), Lines::new(true));
        assert!(text.iter().any(|line| line.contains("% RH")));
        assert!(
            text.iter().any(|line| line.contains("93 │ ────")),
            "{text:#?}"
        );
    }
}
