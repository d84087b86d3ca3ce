//! Lists of which one line is selected: the selected line is always in view, marked in the first column and by
//! its style.

use super::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// The first line to show of a list, so that the selected one is in view.
pub const fn first_line(selected: usize, rows: usize) -> usize {
    selected.saturating_sub(rows.saturating_sub(1))
}

/// The lines of a list that are in view, with the row of each: place in the list, and where.
pub fn in_view(count: usize, selected: usize, area: Rect) -> impl Iterator<Item = (usize, Rect)> {
    let rows = usize::from(area.height);
    let first = first_line(selected.min(count.saturating_sub(1)), rows);
    (first..count).zip(0..area.height).map(move |(at, row)| {
        let place = Rect {
            y: area.y + row,
            height: 1,
            ..area
        };
        (at, place)
    })
}

/// Draws lines to choose from.
pub fn choices(
    lines: &[String],
    selected: Option<usize>,
    marked: Style,
    area: Rect,
    buffer: &mut Buffer,
) {
    for (at, place) in in_view(lines.len(), selected.unwrap_or(0), area) {
        let (cursor, style) = if selected == Some(at) {
            (">", marked)
        } else {
            (" ", Style::new())
        };
        let text = fit(&format!("{cursor}{}", lines[at]), place.width.into());
        buffer.set_string(place.x, place.y, text, style);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::style::Modifier;

    #[test]
    fn the_selected_line_is_in_view_and_marked_at_any_size() {
        let lines: Vec<String> = (0..9).map(|at| format!("line {at}")).collect();
        let marked = Style::new().add_modifier(Modifier::REVERSED);
        for (height, selected) in (1..12).flat_map(|height| (0..9).map(move |own| (height, own))) {
            let area = Rect::new(0, 0, 8, height);
            let mut buffer = Buffer::empty(area);
            choices(&lines, Some(selected), marked, area, &mut buffer);
            let found: Vec<u16> = (0..height)
                .filter(|y| buffer[(0, *y)].symbol() == ">")
                .collect();
            assert_eq!(found.len(), 1, "{selected} of 9 in {height}");
            let cell = &buffer[(6, found[0])];
            assert_eq!(cell.symbol(), selected.to_string());
            assert!(cell.modifier.contains(Modifier::REVERSED));
        }
    }

    #[test]
    fn an_empty_list_or_no_room_draws_nothing() {
        let mut buffer = Buffer::empty(Rect::new(0, 0, 4, 2));
        let before = buffer.clone();
        choices(&[], Some(3), Style::new(), buffer.area, &mut buffer);
        choices(
            &["a".to_owned()],
            None,
            Style::new(),
            Rect::default(),
            &mut buffer,
        );
        assert_eq!(buffer, before);
    }
}
