//! Questions: a line of text, a list to choose from, or both.

use super::{frame, middle};
use crate::app::when::Reading;
use crate::app::{App, Choice, Count, Field, Purpose, Reply, WhenFor};
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::widgets::list::choices;
use crate::widgets::text::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// What a question shows.
struct Question<'a> {
    title: &'a str,
    /// What there is to know first.
    above: &'a [String],
    /// What is typed, where something can be.
    typed: Option<&'a str>,
    hint: &'a str,
    answers: &'a [String],
    selected: Option<usize>,
    width: u16,
}

impl Question<'_> {
    fn draw(&self, theme: &Theme, area: Rect, buffer: &mut Buffer) {
        let room = usize::from(self.width.min(area.width).saturating_sub(4)).max(1);
        let mut lines: Vec<(String, Style)> = Vec::new();
        for own in self.above {
            lines.extend(
                wrapped(own, room)
                    .into_iter()
                    .map(|own| (own, Style::new())),
            );
        }
        if let Some(typed) = self.typed {
            lines.push((format!("{typed}_"), theme.title()));
        }
        let hint = wrapped(self.hint, room);
        lines.extend(hint.into_iter().map(|own| (own, Style::new())));
        let count = |count: usize| u16::try_from(count).unwrap_or(u16::MAX / 4);
        let (above, answers) = (count(lines.len()), count(self.answers.len()));
        let place = middle(area, self.width, answers + above + 2);
        let inside = frame(theme, self.title, place, buffer);
        for (at, (text, style)) in lines.iter().enumerate() {
            line(buffer, inside, count(at), text, *style);
        }
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
        above: &[],
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
    let (hint, answers) = match app.reading(purpose, field) {
        None => (
            format!("Enter: {}. Or {}", purpose.empty(), purpose.forms()),
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
        above: &[],
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
        above: &[],
        typed: None,
        hint: "Enter chooses, Esc stays",
        answers: &["stay".to_owned(), format!("leave, and lose {what}")],
        selected: Some(selected),
        width: 50,
    };
    question.draw(theme, area, buffer);
}

/// A few answers, each with its letter where it has one.
pub(super) fn choice(theme: &Theme, choice: &Choice, area: Rect, buffer: &mut Buffer) {
    let answer = |own: &Reply| format!("{:2}{}", own.key, own.words);
    let answers: Vec<String> = choice.replies.iter().map(answer).collect();
    let question = Question {
        title: &choice.title,
        above: &choice.lines,
        typed: None,
        hint: "Enter chooses, Esc goes back",
        answers: &answers,
        selected: Some(choice.selected),
        width: 66,
    };
    question.draw(theme, area, buffer);
}

/// The count of what is meant is asked for.
pub(super) fn count(theme: &Theme, own: &Count, area: Rect, buffer: &mut Buffer) {
    let question = Question {
        title: &format!("Type {} to go on", own.count),
        above: &own.lines,
        typed: Some(own.input.value()),
        hint: "the count and Enter go on (the arrows count, too); Enter alone or Esc goes back",
        answers: &[],
        selected: None,
        width: 66,
    };
    question.draw(theme, area, buffer);
}
