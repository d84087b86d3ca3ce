//! Leaving: `q` and Ctrl-C close what lies in front, and end the program where nothing does. Nothing unsaved is
//! lost without a question.

use super::choice::Choice;
use super::lists::select;
use super::state::{App, Effect, Overlay, SizeForm};

impl App {
    /// Closes what lies in front, or ends the program; asks where something unsaved would be lost.
    pub(super) fn quit(&mut self) -> Vec<Effect> {
        match self.overlays.last() {
            Some(Overlay::Leave { .. } | Overlay::Count(_)) => {
                self.overlays.pop();
                Vec::new()
            }
            Some(Overlay::Choice(_)) => self.key_in_choice("Esc"),
            _ => match self.unsaved() {
                Some(what) => {
                    self.overlays.push(Overlay::Leave { what, selected: 0 });
                    Vec::new()
                }
                None => self.close(),
            },
        }
    }

    /// Closes what lies in front without a question, or ends the program.
    fn close(&mut self) -> Vec<Effect> {
        match self.overlays.pop() {
            None if self.changed() > 0 => {
                self.choose_from(Choice::parting(self.changed(), self.keep.is_some()));
                Vec::new()
            }
            None => vec![Effect::Quit],
            Some(own) if own.is_at_work() => vec![Effect::StopPlanning],
            Some(_) => Vec::new(),
        }
    }

    /// What would be lost by closing what lies in front, in words.
    fn unsaved(&self) -> Option<String> {
        let words = match self.overlays.last()? {
            Overlay::Difference { .. } | Overlay::Beside { .. } => "a plan that is not in force",
            Overlay::Changes { field, changes, .. }
                if !changes.is_empty() || !field.input.value().is_empty() =>
            {
                "the changes of a what-if"
            }
            Overlay::Ask(_, field) | Overlay::When(_, field) if !field.input.value().is_empty() => {
                "what you typed"
            }
            Overlay::Size(form) if is_filled_in(form) => "the form",
            own if own.is_at_work() => "work that is not done yet",
            _ => return None,
        };
        Some(words.to_owned())
    }

    /// The question about what would be lost: staying comes first, so Enter alone loses nothing.
    pub(super) fn key_in_leave(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::Leave { selected, .. }) = self.overlays.last_mut() else {
            return Vec::new();
        };
        let lose = *selected == 1;
        match key {
            "Enter" => {
                self.overlays.pop();
                if lose {
                    return self.close();
                }
            }
            "Esc" => {
                self.overlays.pop();
            }
            _ => {
                select(selected, 2, 1, key);
            }
        }
        Vec::new()
    }
}

/// True where a field is not as the form was opened; the sequence of the selected leg is.
fn is_filled_in(form: &SizeForm) -> bool {
    let opened = SizeForm::new(form.fields[1].value());
    let differs =
        |(own, before): (&tui_input::Input, &tui_input::Input)| own.value() != before.value();
    form.fields.iter().zip(&opened.fields).any(differs)
}
