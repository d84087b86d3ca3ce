//! What is on the terminal, and the one write that brings it up to date.

use crossterm::queue;
use crossterm::terminal::{BeginSynchronizedUpdate, Clear, ClearType, EndSynchronizedUpdate};
use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io::Write;

/// Keeps what the terminal shows and sends only what differs: nothing where nothing does, and else one
/// write within one synchronized update.
pub(super) struct Canvas<W: Write> {
    out: W,
    shown: Buffer,
    /// Nobody knows what the terminal shows: it is to be cleared.
    wipe: bool,
    /// Bytes that go out before the next drawing.
    ahead: Vec<u8>,
}

impl<W: Write> Canvas<W> {
    /// A canvas of that size on a terminal that shows nobody knows what.
    pub(super) fn new(out: W, columns: u16, rows: u16) -> Self {
        Self {
            out,
            shown: Buffer::empty(Rect::new(0, 0, columns, rows)),
            wipe: true,
            ahead: Vec::new(),
        }
    }

    /// The terminal has another size, or shows what others have written.
    pub(super) fn renew(&mut self, columns: u16, rows: u16) {
        self.shown = Buffer::empty(Rect::new(0, 0, columns, rows));
        self.wipe = true;
    }

    /// Sends these bytes with the next drawing, even where nothing else changes.
    pub(super) fn ahead(&mut self, bytes: &[u8]) {
        self.ahead.extend_from_slice(bytes);
    }

    /// What the terminal shows.
    pub(super) fn shown(&self) -> &Buffer {
        &self.shown
    }

    /// Brings the terminal to show what `paint` paints.
    pub(super) fn draw(&mut self, paint: impl FnOnce(Rect, &mut Buffer)) -> std::io::Result<()> {
        let area = self.shown.area;
        let mut next = Buffer::empty(area);
        paint(area, &mut next);
        let changed = self.shown.diff(&next);
        if changed.is_empty() && self.ahead.is_empty() && !self.wipe {
            return Ok(());
        }
        let mut bytes = Vec::new();
        queue!(bytes, BeginSynchronizedUpdate)?;
        bytes.append(&mut self.ahead);
        if self.wipe {
            queue!(bytes, Clear(ClearType::All))?;
        }
        if !changed.is_empty() {
            CrosstermBackend::new(&mut bytes).draw(changed.into_iter())?;
        }
        queue!(bytes, EndSynchronizedUpdate)?;
        self.shown = next;
        self.wipe = false;
        self.out.write_all(&bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::style::Style;

    /// Counts what arrives.
    #[derive(Default)]
    struct Counter(Vec<Vec<u8>>);

    impl Write for &mut Counter {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.push(bytes.to_vec());
            Ok(bytes.len())
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    fn words(text: &str) -> impl FnOnce(Rect, &mut Buffer) {
        let text = text.to_owned();
        move |_, buffer| buffer.set_string(0, 0, text, Style::new())
    }

    #[test]
    fn t40_a_drawing_that_changes_nothing_sends_nothing() {
        let mut counter = Counter::default();
        let mut canvas = Canvas::new(&mut counter, 20, 2);
        canvas.draw(words("rig dh-1")).expect("it takes all");
        canvas.draw(words("rig dh-1")).expect("it takes all");
        assert_eq!(counter.0.len(), 1);
    }

    #[test]
    fn t42_a_frame_is_one_write_in_one_synchronized_update_and_clears_only_at_first() {
        let mut counter = Counter::default();
        let mut canvas = Canvas::new(&mut counter, 20, 2);
        canvas.draw(words("rig dh-1")).expect("it takes all");
        canvas.draw(words("rig dh-2")).expect("it takes all");
        canvas.renew(30, 2);
        canvas.draw(words("rig dh-2")).expect("it takes all");
        let texts: Vec<String> = counter
            .0
            .iter()
            .map(|write| String::from_utf8_lossy(write).into_owned())
            .collect();
        assert_eq!(texts.len(), 3);
        for text in &texts {
            assert!(text.starts_with("\u{1b}[?2026h") && text.ends_with("\u{1b}[?2026l"));
            assert_eq!(text.matches("2026").count(), 2, "{text:?}");
        }
        let clears: Vec<bool> = texts
            .iter()
            .map(|text| text.contains("\u{1b}[2J"))
            .collect();
        assert_eq!(clears, [true, false, true]);
        assert!(texts[1].len() < 60, "{:?}", texts[1]);
    }

    #[test]
    fn what_is_to_go_out_goes_out_once_also_where_nothing_else_changes() {
        let mut counter = Counter::default();
        let mut canvas = Canvas::new(&mut counter, 20, 2);
        canvas.draw(words("rig")).expect("it takes all");
        canvas.ahead(b"<bell>");
        canvas.draw(words("rig")).expect("it takes all");
        canvas.draw(words("rig")).expect("it takes all");
        let sent = counter.0.iter().flatten().copied().collect::<Vec<u8>>();
        assert_eq!(String::from_utf8_lossy(&sent).matches("<bell>").count(), 1);
        assert_eq!(counter.0.len(), 2);
    }
}
