//! Keys in what lies in front of a screen with a list to choose from: help, palette, questions, rigs.

use super::actions::{Entry, matching};
use super::state::{App, Effect, Field, Overlay, Purpose, Screen, WhenFor};
use super::update::edit;

/// Moves a selection among `count`; false where the key does not.
pub(super) fn select(selected: &mut usize, count: usize, page: usize, key: &str) -> bool {
    let last = count.saturating_sub(1);
    *selected = match key {
        "Up" | "Ctrl-p" => selected.saturating_sub(1),
        "Down" | "Ctrl-n" => (*selected + 1).min(last),
        "PgUp" => selected.saturating_sub(page.max(1)),
        "PgDn" => (*selected + page.max(1)).min(last),
        _ => return false,
    };
    true
}

impl App {
    /// What help or palette lists of what was typed: help the actions of this screen, the palette all.
    pub fn listed(&self, field: &Field) -> Vec<&'static Entry> {
        let here = matches!(self.overlays.last(), Some(Overlay::Help(_)));
        matching(field.input.value(), self.screen, here)
    }

    /// Help and palette: typing narrows, arrows choose, Enter runs, Tab goes on to the next screen.
    pub(super) fn key_in_list(&mut self, key: &str) -> Vec<Effect> {
        let page = self.page;
        let Some(Overlay::Help(field) | Overlay::Palette(field)) = self.overlays.last() else {
            return Vec::new();
        };
        let found = self.listed(field);
        let Some(Overlay::Help(field) | Overlay::Palette(field)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        match key {
            "Esc" => {
                self.overlays.pop();
            }
            "Tab" | "Shift-Tab" => {
                self.overlays.pop();
                if self.plan.hand.is_some() {
                    return Vec::new();
                }
                let end = if key == "Tab" {
                    0
                } else {
                    Screen::ALL.len() - 1
                };
                self.show(Screen::ALL[end]);
            }
            "Enter" => {
                let chosen = found.get(field.selected).copied();
                if let Some(entry) = chosen {
                    self.overlays.pop();
                    return self.run_from_list(entry);
                }
            }
            _ if select(&mut field.selected, found.len(), page, key) => {}
            _ => {
                edit(&mut field.input, key);
                field.selected = 0;
            }
        }
        Vec::new()
    }

    /// Runs an action by name; one of another screen on that screen.
    fn run_from_list(&mut self, entry: &Entry) -> Vec<Effect> {
        if let super::Where::On(screen) = entry.works
            && screen != self.screen
        {
            self.show(screen);
        }
        self.run(entry.action)
    }

    /// A reason: typed, or chosen from the lab's list with the arrows.
    pub(super) fn key_in_question(&mut self, key: &str) -> Vec<Effect> {
        let page = self.page;
        let reasons = self.reasons().to_vec();
        let Some(Overlay::Ask(_, field)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        match key {
            "Esc" => {
                self.overlays.pop();
            }
            "Enter" => {
                if let Some(effects) = self.answered_at_bench() {
                    return effects;
                }
                let Some(Overlay::Ask(purpose, field)) = self.overlays.last_mut() else {
                    return Vec::new();
                };
                let typed = field.input.value().trim().to_owned();
                let chosen = field.selected.checked_sub(1).and_then(|ix| reasons.get(ix));
                let text = match chosen {
                    Some(reason) if typed.is_empty() => reason.clone(),
                    Some(reason) => format!("{reason}: {typed}"),
                    None => typed,
                };
                let may_be_empty = matches!(purpose, Purpose::Hold(_));
                if !text.is_empty() || may_be_empty {
                    let purpose = purpose.clone();
                    self.overlays.pop();
                    return self.answered(purpose, text);
                }
                self.said = Some((false, "words are wanted here; Esc goes back".to_owned()));
            }
            // The first place stands for what is typed alone.
            _ if select(&mut field.selected, reasons.len() + 1, page, key) => {}
            _ => edit(&mut field.input, key),
        }
        Vec::new()
    }

    /// A reason is given: it is recorded, or the next question is asked.
    fn answered(&mut self, purpose: Purpose, text: String) -> Vec<Effect> {
        match purpose {
            Purpose::RigDown(rig) => {
                let next = WhenFor::RigBack { rig, reason: text };
                self.overlays.push(Overlay::When(next, Field::default()));
                Vec::new()
            }
            other => vec![Effect::Record(other, text)],
        }
    }

    /// The lab's reasons, where the question is about a failure.
    pub fn reasons(&self) -> &[String] {
        match self.overlays.last() {
            Some(Overlay::Ask(Purpose::Fail(_), _)) => &self.desk.lab.fail_reasons,
            _ => &[],
        }
    }
}
