//! A date that is asked for: what is typed is read at once, and what has several answers is chosen from.

use super::lists::select;
use super::state::{App, Effect, Field, Overlay, WhenFor};
use super::update::edit;
use super::when::Reading;
use crate::domain::Minute;

impl App {
    /// What is typed means, or why it cannot be taken; `None` where nothing is typed.
    pub fn reading(&self, purpose: &WhenFor, field: &Field) -> Option<Result<Reading, String>> {
        let typed = field.input.value().trim();
        let ahead = |reading| match reading {
            Reading::One(at) if at <= self.now => {
                Err(format!("{} is past", self.asked().words(at)))
            }
            other => Ok(other),
        };
        let read = || match purpose {
            WhenFor::RigBack { .. } => self.asked().read(typed).and_then(ahead),
            WhenFor::Happened => self.asked().read_past(typed),
        };
        (!typed.is_empty()).then(read)
    }

    pub(super) fn key_in_when(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::When(purpose, field)) = self.overlays.last() else {
            return Vec::new();
        };
        let reading = self.reading(purpose, field);
        let count = match &reading {
            Some(Ok(Reading::Several { answers, .. })) => answers.len(),
            _ => 0,
        };
        let chosen = field.selected.checked_sub(1);
        if key == "Enter" {
            let at = match reading {
                None => None,
                Some(Ok(Reading::One(at))) => Some(at),
                Some(Ok(Reading::Several { answers, .. })) if chosen.is_some() => {
                    chosen.and_then(|at| answers.get(at).copied())
                }
                // What has several answers is chosen with the arrows first; what has none stays to be mended.
                Some(_) => return Vec::new(),
            };
            let purpose = purpose.clone();
            self.overlays.pop();
            return self.told_when(purpose, at);
        }
        if key == "Esc" {
            self.overlays.pop();
            return Vec::new();
        }
        if let Some(Overlay::When(_, field)) = self.overlays.last_mut()
            && !select(&mut field.selected, count + 1, 1, key)
        {
            edit(&mut field.input, key);
            field.selected = 0;
        }
        Vec::new()
    }

    fn told_when(&mut self, purpose: WhenFor, at: Option<Minute>) -> Vec<Effect> {
        match purpose {
            WhenFor::RigBack { rig, reason } => vec![Effect::RigDown(rig, reason, at)],
            WhenFor::Happened => {
                self.bench.happened = at;
                self.bench.answer = None;
                self.said = at.map(|at| {
                    let words = format!(
                        "the next load, unload or verdict happened {}; Esc: now",
                        self.asked().words(at)
                    );
                    (true, words)
                });
                Vec::new()
            }
        }
    }
}
