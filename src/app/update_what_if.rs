//! Keys and news of what-if and of reasons: changes of state and effects, like the rest of `update`.

use super::state::{App, Effect, Message, Overlay};
use super::update::edit;
use super::what_if::Change;
use super::when::Asked;

impl App {
    /// A line for a change: Enter takes it; on an empty line Enter plans, and Backspace takes the last one back.
    pub(super) fn key_in_changes(&mut self, key: &str) -> Vec<Effect> {
        let asked = Asked {
            zone: &self.desk.lab.zone,
            now: self.now,
            dates: self.settings.dates,
        };
        let Some(Overlay::Changes {
            field,
            changes,
            wrong,
        }) = self.overlays.last_mut()
        else {
            return Vec::new();
        };
        let line = field.input.value().trim().to_owned();
        match key {
            "Esc" => {
                self.overlays.pop();
            }
            "Enter" if line.is_empty() && !changes.is_empty() => {
                let changes = std::mem::take(changes);
                self.overlays.pop();
                return vec![Effect::WhatIf(changes)];
            }
            "Enter" => {
                let mut all = changes.clone();
                let read = Change::parse(&line, &asked).and_then(|change| {
                    all.push(change);
                    self.desk.planning().with_changes(&all)
                });
                match read {
                    Ok(_) => {
                        *changes = all;
                        *wrong = None;
                        field.input.reset();
                    }
                    Err(why) => *wrong = Some(why),
                }
            }
            "Backspace" if line.is_empty() => {
                changes.pop();
            }
            _ => edit(&mut field.input, key),
        }
        Vec::new()
    }

    /// Asks why the request of the selected booking is late.
    pub(super) fn explain(&mut self) -> Vec<Effect> {
        let unit = self.unit();
        let request = unit
            .as_ref()
            .and_then(|unit| self.desk.walks.request(&self.desk.lab, unit));
        if let Some(request) = request {
            return vec![Effect::Explain(request.id.clone())];
        }
        self.said = Some((false, "select a booking first".to_owned()));
        Vec::new()
    }

    /// News of a job about a what-if or a reason; stale ones are dropped.
    pub(super) fn what_if_news(&mut self, message: Message) {
        match message {
            Message::Compared(job, answer) => {
                let Some(at) = self.waiting_for(job) else {
                    return;
                };
                match answer {
                    Ok(what_if) => self.overlays[at] = Overlay::Beside { what_if, scroll: 0 },
                    Err(why) => {
                        self.overlays.remove(at);
                        self.said = Some((false, why));
                    }
                }
            }
            Message::Tried(job, done, all) => {
                if let Some(Overlay::Trying {
                    job: own, tried, ..
                }) = self.overlays.last_mut()
                    && *own == job
                {
                    *tried = (done, all);
                }
            }
            Message::Explained(job, lines) => {
                let Some(at) = self.waiting_for(job) else {
                    return;
                };
                if let Overlay::Trying { request, .. } = &self.overlays[at] {
                    let request = request.clone();
                    self.overlays[at] = Overlay::Why {
                        request,
                        lines,
                        scroll: 0,
                    };
                }
            }
            _ => {}
        }
        self.dirty = true;
    }
}
