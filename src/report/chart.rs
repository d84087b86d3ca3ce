//! Bars over time as SVG: a strip a rig, a lane a position.

use super::paper::Look;
use crate::domain::text::shown;
use crate::domain::{Minute, Span};
use maud::html;

/// Width of a picture in its own units, near those of an A4 page.
const WIDTH: f64 = 720.0;
/// Room for the names on the left.
const LEFT: f64 = 74.0;
/// Room on the right, so that the last mark is whole.
const RIGHT: f64 = 18.0;
/// Room for the marks of time above.
const TOP: f64 = 16.0;
/// Height of a lane.
const LANE: f64 = 11.0;
/// Free space between strips.
const GAP: f64 = 4.0;
/// Most lanes that a strip is drawn with; what lies deeper shares the last.
const LANES_MAX: usize = 8;
/// Width of a letter in a bar, on the safe side.
const LETTER: f64 = 5.6;

/// A stretch of a strip.
#[derive(Clone, Debug)]
pub struct Bar {
    /// When.
    pub span: Span,
    /// How it looks.
    pub look: Look,
    /// What stands in it where there is room.
    pub label: String,
}

/// A row of bars.
#[derive(Clone, Debug)]
pub struct Strip {
    /// Its name.
    pub name: String,
    /// Its bars, in any order.
    pub bars: Vec<Bar>,
}

/// A picture of strips over a stretch of time.
#[derive(Clone, Debug)]
pub struct Chart<'c> {
    /// What it is, for those who cannot see it.
    pub title: &'c str,
    /// From where to where.
    pub window: Span,
    /// Marks of time with their words.
    pub marks: Vec<(Minute, String)>,
    /// A line where it is now; drawn where it lies in the window.
    pub now: Minute,
    /// The strips.
    pub strips: &'c [Strip],
}

/// A bar with its place.
struct Placed<'b> {
    bar: &'b Bar,
    lane: usize,
}

/// Bars in lanes such that none covers another while there are lanes left; and how many lanes there are.
fn in_lanes(strip: &Strip, window: Span) -> (Vec<Placed<'_>>, usize) {
    let mut bars: Vec<&Bar> = strip
        .bars
        .iter()
        .filter(|bar| bar.span.overlaps(window))
        .collect();
    bars.sort_by_key(|bar| (bar.span.start, bar.span.end));
    let mut free: Vec<Minute> = Vec::new();
    let mut placed = Vec::new();
    for bar in bars {
        let found = free.iter().position(|until| *until <= bar.span.start);
        let lane = found.unwrap_or_else(|| {
            if free.len() < LANES_MAX {
                free.push(bar.span.end);
            }
            free.len() - 1
        });
        free[lane] = free[lane].max(bar.span.end);
        placed.push(Placed { bar, lane });
    }
    (placed, free.len().max(1))
}

fn text(number: f64) -> String {
    format!("{number:.1}")
}

impl Chart<'_> {
    /// The picture as an SVG element.
    pub fn svg(&self) -> String {
        let rows: Vec<(&Strip, Vec<Placed<'_>>, usize)> = self
            .strips
            .iter()
            .map(|strip| {
                let (placed, lanes) = in_lanes(strip, self.window);
                (strip, placed, lanes)
            })
            .collect();
        let mut y = TOP;
        let mut drawn = Vec::new();
        for (strip, placed, lanes) in &rows {
            let height = *lanes as f64 * LANE;
            drawn.push(self.strip(strip, placed, y, height));
            y += height + GAP;
        }
        let bottom = y;
        html! {
            svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label=(shown(self.title))
                viewBox=(format!("0 0 {WIDTH} {}", text(bottom + 2.0))) {
                @for (at, word) in &self.marks {
                    @let x = text(self.x(*at));
                    line.axis x1=(x) x2=(x) y1=(text(TOP - 3.0)) y2=(text(bottom)) {}
                    text.quiet x=(x) y="9" text-anchor="middle" { (shown(word)) }
                }
                @for own in &drawn { (own) }
                @if self.window.contains(self.now) {
                    @let x = text(self.x(self.now));
                    line.now x1=(x) x2=(x) y1=(text(TOP - 3.0)) y2=(text(bottom)) {}
                }
            }
        }
        .into_string()
    }

    /// Where a minute lies, kept inside the picture.
    fn x(&self, at: Minute) -> f64 {
        let whole = self.window.length().get().max(1) as f64;
        let share = (at - self.window.start).get() as f64 / whole;
        LEFT + share.clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT)
    }

    fn strip(&self, strip: &Strip, placed: &[Placed<'_>], y: f64, height: f64) -> maud::Markup {
        html! {
            g {
                rect.row x=(LEFT) y=(text(y)) width=(text(WIDTH - LEFT - RIGHT)) height=(text(height)) {}
                text x="0" y=(text(y + 9.0)) { (shown(&strip.name)) }
                @for own in placed { (self.bar(own, y)) }
            }
        }
    }

    fn bar(&self, placed: &Placed<'_>, y: f64) -> maud::Markup {
        let bar = placed.bar;
        let (from, to) = (self.x(bar.span.start), self.x(bar.span.end));
        let wide = (to - from).max(1.5);
        let top = y + placed.lane as f64 * LANE + 0.5;
        let label = shown(&bar.label);
        let fits = label.chars().count() as f64 * LETTER + 4.0 < wide;
        let filled = matches!(bar.look, Look::Done | Look::Running);
        html! {
            rect.(bar.look.class()) x=(text(from)) y=(text(top)) width=(text(wide))
                height=(text(LANE - 1.0)) rx="1" {}
            @if fits {
                text.label.on[filled] x=(text(from + 2.5)) y=(text(top + 8.3)) { (label) }
            }
        }
    }
}

/// The fills that are not one colour, once for all pictures of a page.
pub(super) fn patterns() -> maud::Markup {
    html! {
        svg.fills width="0" height="0" aria-hidden="true" { defs {
            pattern id="hatch" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line.hatch-line x1="0" y1="0" x2="0" y2="4" {}
            }
            pattern id="upright" width="4" height="4" patternUnits="userSpaceOnUse" {
                line.upright-line x1="1" y1="0" x2="1" y2="4" {}
            }
            pattern id="level" width="3" height="3" patternUnits="userSpaceOnUse" {
                line.level-line x1="0" y1="1" x2="3" y2="1" {}
            }
        } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(from: i64, to: i64) -> Bar {
        Bar {
            span: Span::new(Minute::new(from), Minute::new(to)),
            look: Look::Booked,
            label: String::new(),
        }
    }

    #[test]
    fn bars_that_meet_in_time_lie_in_different_lanes() {
        let strip = Strip {
            name: "r".to_owned(),
            bars: vec![bar(0, 10), bar(5, 15), bar(10, 20), bar(40, 50)],
        };
        let (placed, lanes) = in_lanes(&strip, Span::new(Minute::new(0), Minute::new(30)));
        let found: Vec<usize> = placed.iter().map(|own| own.lane).collect();
        assert_eq!((found, lanes), (vec![0, 1, 0], 2));
    }
}
