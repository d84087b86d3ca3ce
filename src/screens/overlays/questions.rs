//! Questions: a line of text, a list to choose from, or both.

use super::{frame, middle};
use crate::app::when::Reading;
use crate::app::{App, Field, Purpose, WhenFor};
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::widgets::list::choices;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// What a question shows.
struct Question<'a> {
    title: &'a str,
    /// What is typed, where something can be.
    typed: Option<&'a str>,
    hint: &'a str,
    answers: &'a [String],
    selected: Option<usize>,
    width: u16,
}

impl Question<'_> {
    fn draw(&self, theme: &Theme, area: Rect, buffer: &mut Buffer) {
        let above = 1 + u16::from(self.typed.is_some());
        let answers = u16::try_from(self.answers.len()).unwrap_or(u16::MAX - 8);
        let place = middle(area, self.width, answers + above + 2);
        let inside = frame(theme, self.title, place, buffer);
        if let Some(typed) = self.typed {
            line(buffer, inside, 0, &format!("{typed}_"), theme.title());
        }
        line(buffer, inside, above - 1, self.hint, Style::new());
        let below = Rect {
            y: inside.y + above.min(inside.height),
            height: inside.height.saturating_sub(above),
            ..inside
        };
        choices(self.answers, self.selected, theme.selected(), below, buffer);
    }
}

/// A reason or a note: typed, or chosen from the lab's list.
pub(super) fn ask(
    app: &App,
    theme: &Theme,
    (purpose, field): (&Purpose, &Field),
    area: Rect,
    buffer: &mut Buffer,
) {
    let reasons = app.reasons();
    let hint = match purpose {
        Purpose::Who(_) => {
            let person = &app.desk.actor().person;
            format!("a name, or scan a %WHO card; Enter alone: still {person}")
        }
        _ if reasons.is_empty() => "Enter records, Esc goes back".to_owned(),
        _ => "choose with the arrows, add words or only type; Enter records".to_owned(),
    };
    let question = Question {
        title: &purpose.question(),
        typed: Some(field.input.value()),
        hint: &hint,
        answers: reasons,
        selected: field.selected.checked_sub(1),
        width: 66,
    };
    question.draw(theme, area, buffer);
}

/// A date and time, read in full while it is typed.
pub(super) fn when(
    app: &App,
    theme: &Theme,
    (purpose, field): (&WhenFor, &Field),
    area: Rect,
    buffer: &mut Buffer,
) {
    let (hint, answers) = match app.reading(field) {
        None => (
            format!(
                "Enter: {}. Or 14:30, tomorrow 8, mon, w13, +4h",
                purpose.empty()
            ),
            Vec::new(),
        ),
        Some(Ok(Reading::One(at))) => (format!("= {}", app.asked().words(at)), Vec::new()),
        Some(Ok(Reading::Several { why, answers })) => {
            let words = answers.iter().map(|at| app.asked().words(*at));
            (format!("{why}; choose:"), words.collect())
        }
        Some(Err(why)) => (why, Vec::new()),
    };
    let question = Question {
        title: &purpose.question(),
        typed: Some(field.input.value()),
        hint: &hint,
        answers: &answers,
        selected: field.selected.checked_sub(1),
        width: 76,
    };
    question.draw(theme, area, buffer);
}

/// Whether something unsaved may be lost.
pub(super) fn leave(theme: &Theme, what: &str, selected: usize, area: Rect, buffer: &mut Buffer) {
    let question = Question {
        title: &format!("Leave {what}?"),
        typed: None,
        hint: "Enter chooses, Esc stays",
        answers: &["stay".to_owned(), format!("leave, and lose {what}")],
        selected: Some(selected),
        width: 50,
    };
    question.draw(theme, area, buffer);
}
