//! Keys where another session was faster, and where something cannot be undone.

use super::state::{App, Confirm, Effect, Field, Overlay, Stale};
use super::update::edit;
use tui_input::Input;

/// So many objects and more are confirmed by typing their number.
const MANY: usize = 21;

impl App {
    /// Asks before something that undo does not cover.
    pub(super) fn confirm(&mut self, what: String, count: usize, then: Effect) {
        self.overlays.push(Overlay::Confirm(Box::new(Confirm {
            what,
            count,
            typed: Input::default(),
            then,
        })));
    }

    /// Asks before the proposal on the screen is put in force.
    pub(super) fn confirm_publishing(&mut self) {
        let Some(Overlay::Difference { proposal, .. }) = self.overlays.last() else {
            return;
        };
        let count = proposal.changes.len();
        let what = format!("Publish the plan: {count} bookings change");
        self.confirm(what, count, Effect::Publish);
    }

    /// Asks before the what-if on the screen is put in force.
    pub(super) fn confirm_what_if(&mut self) {
        let Some(Overlay::Beside { what_if, .. }) = self.overlays.last() else {
            return;
        };
        let count = what_if.rows().len();
        let what = format!("Publish the plan of the what-if: {count} requests differ");
        self.confirm(what, count, Effect::PublishWhatIf);
    }

    /// Only the right word does it; everything else, Enter alone too, cancels.
    pub(super) fn key_in_confirm(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::Confirm(asked)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        match key {
            "Esc" => {}
            "Enter" => {
                if asked.typed.value().trim() == asked.word() {
                    let then = asked.then.clone();
                    self.overlays.pop();
                    return vec![then];
                }
            }
            _ => {
                edit(&mut asked.typed, key);
                return Vec::new();
            }
        }
        self.overlays.pop();
        self.said = Some((true, "cancelled, nothing was changed".to_owned()));
        Vec::new()
    }

    /// Reload keeps what was typed; overwrite says it in place of what the other session said.
    pub(super) fn key_in_stale(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::Stale(stale)) = self.overlays.last() else {
            return Vec::new();
        };
        let mine = stale.mine.clone();
        match key {
            "r" => {
                self.overlays.pop();
                if let Effect::Record(purpose, text) = mine {
                    let field = Field {
                        input: Input::from(text),
                        selected: 0,
                    };
                    self.overlays.push(Overlay::Ask(purpose, field));
                }
                vec![Effect::Refresh]
            }
            "o" => {
                self.overlays.pop();
                vec![Effect::Overwrite(Box::new(mine))]
            }
            "Esc" | "q" => {
                self.overlays.pop();
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    /// Remembers what was shown when a question came up, so that a change since then is noticed. Called before
    /// the ledger is read.
    pub fn note_what_is_shown(&mut self) {
        let Some(Overlay::Ask(purpose, _)) = self.overlays.last() else {
            self.question = None;
            return;
        };
        let known = self
            .question
            .as_ref()
            .is_some_and(|(own, _)| own == purpose);
        if !known {
            self.question = Some((purpose.clone(), self.desk.floor.seen()));
        }
    }
}

impl Confirm {
    /// The word that says yes.
    pub fn word(&self) -> String {
        if self.count >= MANY {
            self.count.to_string()
        } else {
            "y".to_owned()
        }
    }
}

impl Stale {
    /// The text that was typed, where there was any.
    pub fn typed(&self) -> Option<&str> {
        match &self.mine {
            Effect::Record(_, text) if !text.is_empty() => Some(text),
            _ => None,
        }
    }
}
