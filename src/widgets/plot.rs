//! Points and curves in a field of cells, each with a mark of its own.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Color;
use ratatui::symbols::Marker;
use ratatui::widgets::Widget;
use ratatui::widgets::canvas::{Canvas, Points};

/// Points that share a mark.
#[derive(Clone, Debug)]
pub struct Layer {
    /// The mark, one column wide.
    pub mark: char,
    /// The points.
    pub points: Vec<(f64, f64)>,
}

/// Draws the layers, a later one over an earlier, between the ends of both axes; points outside are not drawn.
pub fn plot(layers: &[Layer], x: [f64; 2], y: [f64; 2], area: Rect, buffer: &mut Buffer) {
    for layer in layers {
        let finite = |point: &(f64, f64)| point.0.is_finite() && point.1.is_finite();
        let points: Vec<(f64, f64)> = layer.points.iter().copied().filter(finite).collect();
        let canvas = Canvas::default()
            .x_bounds(x)
            .y_bounds(y)
            .marker(Marker::Custom(layer.mark));
        canvas
            .paint(|paper| {
                paper.draw(&Points {
                    coords: &points,
                    color: Color::Reset,
                });
            })
            .render(area, buffer);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_lie_where_the_axes_say_and_later_layers_on_top() {
        let area = Rect::new(0, 0, 5, 3);
        let mut buffer = Buffer::empty(area);
        let layer = |mark, points: &[(f64, f64)]| Layer {
            mark,
            points: points.to_vec(),
        };
        let layers = [
            layer('.', &[(0.0, 0.0), (1.0, 1.0), (0.5, 0.5)]),
            layer('*', &[(0.5, 0.5), (2.0, 0.5), (f64::NAN, 0.5)]),
        ];
        plot(&layers, [0.0, 1.0], [0.0, 1.0], area, &mut buffer);
        let row = |y| {
            (0..5)
                .map(|x| buffer[(x, y)].symbol().to_owned())
                .collect::<String>()
        };
        assert_eq!([row(0), row(1), row(2)], ["    .", "  *  ", ".    "]);
    }
}
