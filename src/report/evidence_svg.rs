//! The plots of a leg as a picture file: the probability plot, and the fraction surviving with its bounds.

use crate::evidence::picture::{Fitted, Picture, weibull_scale};

/// Width and height of one plot with its margins, in the picture's own units.
const SIZE: (f64, f64) = (420.0, 320.0);
/// Room for numbers on the left and below.
const MARGIN: f64 = 48.0;

/// A plot's field: the ends of its axes, and where it lies.
struct Field {
    left: f64,
    x: [f64; 2],
    y: [f64; 2],
}

impl Field {
    fn place(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let share = |value: f64, ends: [f64; 2]| (value - ends[0]) / (ends[1] - ends[0]);
        let (across, up) = (share(x, self.x), share(y, self.y));
        let inside = (0.0..=1.0).contains(&across) && (0.0..=1.0).contains(&up);
        let (width, height) = (SIZE.0 - 2.0 * MARGIN, SIZE.1 - 2.0 * MARGIN);
        inside.then_some((
            self.left + MARGIN + across * width,
            SIZE.1 - MARGIN - up * height,
        ))
    }

    /// A curve through the points that lie in the field.
    fn curve(&self, points: impl Iterator<Item = (f64, f64)>, dashed: bool) -> String {
        let places = points.filter_map(|(x, y)| self.place(x, y));
        let places: Vec<String> = places.map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        let dash = if dashed {
            " stroke-dasharray=\"4 3\""
        } else {
            ""
        };
        format!(
            "<polyline fill=\"none\" stroke=\"currentColor\"{dash} points=\"{}\"/>\n",
            places.join(" ")
        )
    }

    fn frame(&self, title: &str, ends: [&str; 4]) -> String {
        let (left, right) = (self.left + MARGIN, self.left + SIZE.0 - MARGIN);
        let (top, bottom) = (MARGIN, SIZE.1 - MARGIN);
        let text = |x: f64, y: f64, anchor: &str, words: &str| {
            format!(
                "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{}</text>\n",
                escaped(words)
            )
        };
        let mut all = format!(
            "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"none\" stroke=\"gray\"/>\n",
            right - left,
            bottom - top
        );
        all.push_str(&text(left, top - 10.0, "start", title));
        all.push_str(&text(left, bottom + 18.0, "start", ends[0]));
        all.push_str(&text(right, bottom + 18.0, "end", ends[1]));
        all.push_str(&text(left - 6.0, bottom, "end", ends[2]));
        all.push_str(&text(left - 6.0, top + 10.0, "end", ends[3]));
        all
    }

    /// Words where there is nothing to draw.
    fn in_the_middle(&self, words: &str) -> String {
        format!(
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>\n",
            self.left + SIZE.0 / 2.0,
            SIZE.1 / 2.0,
            escaped(words)
        )
    }

    fn curves(&self, fitted: &[Fitted], x: fn(f64) -> f64, y: fn(f64) -> f64) -> String {
        let curve = |of: fn(&Fitted) -> f64, dashed| {
            self.curve(fitted.iter().map(|own| (x(own.t), y(of(own)))), dashed)
        };
        curve(|own| own.best, false) + &curve(|own| own.lower, true) + &curve(|own| own.upper, true)
    }

    /// What was seen at a check: a dot, or a bar where only a range is known.
    fn seen(&self, x: f64, least: f64, most: f64) -> String {
        let (Some((x, low)), Some((_, high))) = (self.place(x, least), self.place(x, most)) else {
            return String::new();
        };
        if (low - high).abs() < 0.5 {
            format!("<circle cx=\"{x:.1}\" cy=\"{low:.1}\" r=\"3\"/>\n")
        } else {
            format!(
                "<line x1=\"{x:.1}\" y1=\"{low:.1}\" x2=\"{x:.1}\" y2=\"{high:.1}\" stroke=\"currentColor\"/>\n"
            )
        }
    }
}

/// Both plots side by side, with the title and notes below; `unit` is what time is counted in.
pub fn evidence_svg(picture: &Picture, unit: &str, title: &str, notes: &[String]) -> String {
    let (first, last) = picture.span;
    let number = |x: f64| {
        if x >= 100.0 {
            return format!("{x:.0}");
        }
        let text = format!("{x:.3}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    let probability = Field {
        left: 0.0,
        x: [first.ln(), last.ln()],
        y: [weibull_scale(0.99), weibull_scale(0.05)],
    };
    let surviving = Field {
        left: SIZE.0,
        x: [0.0, last],
        y: [0.0, 1.0],
    };
    let height = SIZE.1 + 16.0 * (notes.len() as f64 + 1.0);
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"plots\" width=\"{0}\" height=\"{height}\" viewBox=\"0 0 {0} {height}\" font-family=\"sans-serif\" font-size=\"11\">\n<title>{1}</title>\n",
        2.0 * SIZE.0,
        escaped(title)
    );
    let ends = [number(first), format!("{} {unit}, log", number(last))];
    text.push_str(&probability.frame(
        &format!("{title}: failed %, Weibull scale"),
        [&ends[0], &ends[1], "1", "95"],
    ));
    text.push_str(&surviving.frame(
        "surviving, with one-sided bounds",
        ["0", &format!("{} {unit}", number(last)), "0", "1"],
    ));
    text.push_str(&probability.curves(&picture.fitted, f64::ln, weibull_scale));
    text.push_str(&surviving.curves(&picture.fitted, |t| t, |r| r));
    for own in &picture.observed {
        text.push_str(&probability.seen(
            own.t.ln(),
            weibull_scale(own.least),
            weibull_scale(own.most),
        ));
        text.push_str(&surviving.seen(own.t, own.least, own.most));
    }
    if picture
        .observed
        .iter()
        .all(|own| own.most >= 1.0 && own.least >= 1.0)
    {
        text.push_str(&probability.in_the_middle("nothing failed so far"));
    }
    for (at, note) in notes.iter().enumerate() {
        let y = SIZE.1 + 16.0 * at as f64;
        text.push_str(&format!(
            "<text x=\"{MARGIN}\" y=\"{y:.1}\">{}</text>\n",
            escaped(note)
        ));
    }
    text.push_str("</svg>\n");
    text
}

/// The text with what XML would read as its own replaced, and nothing hidden.
fn escaped(text: &str) -> String {
    let shown = crate::domain::text::shown(text);
    shown
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
