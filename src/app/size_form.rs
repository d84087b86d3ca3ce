//! The form of a leg to be planned: fields become a wish, and the answer comes back.

use super::field_use::{FieldUse, mission};
use super::sizing::Wish;
use super::state::{App, Effect, Overlay, SizeForm};
use super::update::edit;
use crate::domain::text::id_fault;
use crate::domain::{RequestId, SequenceId};
use crate::evidence::sizing::Goal;
use std::str::FromStr;

impl App {
    /// Opens the form with the sequence of the selected leg.
    pub(super) fn ask_size(&mut self) {
        let sequence = self
            .view
            .legs
            .get(self.leg)
            .map_or("", |own| own.leg.request.sequence.as_str());
        let form = SizeForm::new(sequence);
        self.overlays.push(Overlay::Size(Box::new(form)));
    }

    pub(super) fn key_in_size_form(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::Size(form)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        let count = form.fields.len();
        match key {
            "Esc" => {
                self.overlays.pop();
            }
            "Up" | "Shift-Tab" => form.at = (form.at + count - 1) % count,
            "Down" | "Tab" => form.at = (form.at + 1) % count,
            "Enter" if form.job.is_none() => return self.send_size_form(),
            "Enter" => {}
            _ => {
                let at = form.at;
                edit(&mut form.fields[at], key);
                form.answer = None;
            }
        }
        Vec::new()
    }

    fn send_size_form(&mut self) -> Vec<Effect> {
        let now = self.now;
        let like = self
            .view
            .legs
            .get(self.leg)
            .map(|own| own.leg.request.clone());
        let job = self.job + 1;
        let Some(Overlay::Size(form)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        let wish = wish(form).map(|mut wish| {
            wish.ready = now;
            if let Some(like) = like {
                (wish.product, wish.build) = (like.product, like.build);
            }
            wish
        });
        match wish {
            Ok(wish) => {
                form.job = Some(job);
                form.answer = None;
                self.job = job;
                vec![Effect::Size(wish)]
            }
            Err(why) => {
                form.answer = Some(Err(why));
                Vec::new()
            }
        }
    }

    /// Takes the answer in, where the form still waits for it.
    pub(super) fn sized(&mut self, job: u64, answer: Result<Vec<String>, String>) {
        let waits =
            |own: &&mut Overlay| matches!(own, Overlay::Size(form) if form.job == Some(job));
        if let Some(Overlay::Size(form)) = self.overlays.iter_mut().find(waits) {
            form.job = None;
            form.answer = Some(answer);
            self.dirty = true;
        }
    }
}

/// What the fields ask for; product, build and times are filled in by whoever knows them.
fn wish(form: &SizeForm) -> Result<Wish, String> {
    let text = |at: usize| form.fields[at].value().trim();
    if let Some(why) = id_fault(text(0)) {
        return Err(format!("{}: {why}", SizeForm::NAMES[0]));
    }
    let mut basis = Vec::new();
    let mission = in_test(form, &mut basis)?;
    Ok(Wish {
        id: RequestId::new(text(0)),
        sequence: SequenceId::new(text(1)),
        goal: Goal {
            reliability: number(form, 2)?,
            confidence: number(form, 3)?,
            failures: number(form, 4)?,
        },
        units: optional(form, 5)?,
        shape: optional(form, 6)?,
        mission,
        basis,
        product: "product".to_owned(),
        build: "DV".to_owned(),
        ready: crate::domain::Minute::default(),
        due: None,
    })
}

/// One mission in the test: as given, or from use in the field, divided by the acceleration.
fn in_test(form: &SizeForm, basis: &mut Vec<String>) -> Result<Option<f64>, String> {
    let given = optional(form, 7)?;
    let field = match (optional(form, 8)?, optional(form, 9)?) {
        (None, None) => None,
        (Some(per_day), Some(years)) => Some(FieldUse {
            per_day,
            years,
            days_per_year: number(form, 10)?,
            p95: optional(form, 11)?,
            percentile: number(form, 12)?,
            margin: number(form, 13)?,
        }),
        _ => {
            return Err(format!(
                "{} needs {}",
                SizeForm::NAMES[8],
                SizeForm::NAMES[9]
            ));
        }
    };
    if field.is_some() && given.is_some() {
        return Err("give one mission, or use in the field, not both".to_owned());
    }
    let accelerated = form.fields[14].value().trim();
    let accelerated = (!accelerated.is_empty()).then_some(accelerated);
    let own = mission(given, field.as_ref(), accelerated, basis);
    let own = own.map_err(|why| why.to_string())?;
    if own.is_some_and(|own| !own.is_finite() || own <= 0.0) {
        return Err(format!("{}: it must be above 0", SizeForm::NAMES[7]));
    }
    Ok(own)
}

fn number<T: FromStr>(form: &SizeForm, at: usize) -> Result<T, String> {
    let text = form.fields[at].value().trim();
    let bad = |_| {
        format!(
            "{}: `{text}` is no number of this kind",
            SizeForm::NAMES[at]
        )
    };
    text.parse().map_err(bad)
}

fn optional<T: FromStr>(form: &SizeForm, at: usize) -> Result<Option<T>, String> {
    if form.fields[at].value().trim().is_empty() {
        return Ok(None);
    }
    number(form, at).map(Some)
}
