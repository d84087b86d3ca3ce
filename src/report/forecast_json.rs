//! A forecast as JSON: instants in UTC, one request a line.

use crate::domain::Minute;
use crate::domain::zone::utc_text;
use crate::usage::forecast::{Decides, Forecast, Outlook, SURE};
use serde::Serialize;

/// What is written beside the forecast itself.
pub struct About<'a> {
    /// The lab's name.
    pub lab: &'a str,
    /// When it was made from.
    pub now: Minute,
    /// Its seed.
    pub seed: u64,
    /// What its rates rest on.
    pub basis: &'a [String],
}

#[derive(Serialize)]
struct File<'a> {
    format: i64,
    lab: &'a str,
    now: String,
    samples: usize,
    seed: u64,
    basis: &'a [String],
    requests: Vec<Line>,
    gates: Vec<Line>,
    left_out: Vec<String>,
}

#[derive(Serialize)]
struct Line {
    #[serde(skip_serializing_if = "Option::is_none")]
    request: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    product: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    build: Option<String>,
    due: Option<String>,
    planned: Option<String>,
    /// Dates by how sure they are; null beyond the horizon.
    sure: Vec<Sure>,
    chance: Option<f64>,
    decided: Vec<Decided>,
}

#[derive(Serialize)]
struct Sure {
    percent: f64,
    by: Option<String>,
}

#[derive(Serialize)]
struct Decided {
    #[serde(skip_serializing_if = "Option::is_none")]
    rig: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crew: Option<String>,
    share: f64,
}

/// The text of the file.
///
/// # Panics
/// Never: texts and numbers are all that is written.
pub fn to_json(forecast: &Forecast, about: &About<'_>) -> String {
    let requests = forecast.requests.iter().map(|own| Line {
        request: Some(own.name.to_string()),
        ..line(own)
    });
    let gates = forecast.gates.iter().map(|own| Line {
        product: Some(own.name.product.clone()),
        build: Some(own.name.build.clone()),
        ..line(own)
    });
    let file = File {
        format: 1,
        lab: about.lab,
        now: utc_text(about.now),
        samples: forecast.samples,
        seed: about.seed,
        basis: about.basis,
        requests: requests.collect(),
        gates: gates.collect(),
        left_out: forecast.left.iter().map(ToString::to_string).collect(),
    };
    let text = serde_json::to_string_pretty(&file);
    text.expect("texts and numbers can be written as JSON") + "\n"
}

fn line<Name>(own: &Outlook<Name>) -> Line {
    let sure = SURE.iter().zip(own.by).map(|(share, by)| Sure {
        percent: (share * 100.0).round(),
        by: by.map(utc_text),
    });
    let share = |(what, share): &(Decides, f64)| {
        let (rig, crew) = match what {
            Decides::OwnSteps => (None, None),
            Decides::Rig(rig) => (Some(rig.to_string()), None),
            Decides::Crew(crew) => (None, Some(crew.to_string())),
        };
        let share = *share;
        Decided { rig, crew, share }
    };
    Line {
        request: None,
        product: None,
        build: None,
        due: own.due.map(utc_text),
        planned: own.planned.map(utc_text),
        sure: sure.collect(),
        chance: own.chance,
        decided: own.decided.iter().map(share).collect(),
    }
}
