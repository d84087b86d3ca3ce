//! `rigday plan --forecast`: when requests and gates will be finished, and how sure that is.

use super::env::Env;
use super::{Exit, Failure};
use crate::app::desk::{Planning, Proposal};
use crate::app::forecast::{Row, SAMPLES, THREADS, Told, percent, rows, sentences, tell};
use crate::domain::Minute;
use crate::report::forecast_json::{About, to_json};
use crate::report::table::Table;
use crate::usage::forecast::{Draws, History};
use clap::Args;
use std::path::Path;

/// Most samples that anybody may ask for.
const MOST_SAMPLES: usize = 1_000_000;

/// Options of a forecast.
#[derive(Args)]
pub(crate) struct Forecasting {
    /// Forecast the plan: dates that are 50, 80 and 95 % sure, and what decides them
    #[arg(long, conflicts_with_all = ["publish", "remedies"])]
    forecast: bool,
    /// Samples of the forecast
    #[arg(long, value_name = "N", default_value_t = SAMPLES, requires = "forecast")]
    samples: usize,
}

impl Forecasting {
    /// True where one is wanted.
    pub(crate) fn wanted(&self) -> bool {
        self.forecast
    }

    /// Refuses a number of samples that cannot be drawn.
    pub(crate) fn check(&self) -> Result<(), Failure> {
        if (1..=MOST_SAMPLES).contains(&self.samples) {
            return Ok(());
        }
        let why = format!("--samples: 1 to {MOST_SAMPLES} is allowed");
        Err(Failure::new(Exit::Usage, why))
    }
}

/// How the forecast is written.
pub(crate) struct Form<'a> {
    /// As JSON into this file.
    pub(crate) json: Option<&'a Path>,
    /// Tab-separated.
    pub(crate) plain: bool,
    /// The seed of the planner, and of the forecast.
    pub(crate) seed: u64,
}

/// Forecasts a proposal and prints it.
pub(crate) fn show(
    planning: &Planning,
    proposal: &Proposal,
    history: &History,
    forecasting: &Forecasting,
    form: &Form<'_>,
    env: &mut Env,
) -> Result<(), Failure> {
    let draws = Draws {
        samples: forecasting.samples,
        seed: form.seed,
        threads: THREADS,
    };
    let told = tell(planning, &proposal.plan, history, draws, &|_| true);
    let told = told.ok_or_else(|| Failure::new(Exit::Failed, "the forecast has no sample"))?;
    if let Some(file) = form.json {
        let about = About {
            lab: &planning.lab().name,
            now: planning.now(),
            seed: told.seed,
            basis: &told.basis,
        };
        super::plan::write_json(file, &to_json(&told.forecast, &about), env)?;
    }
    if form.plain {
        let when = |at| crate::lab::offset_text(&planning.lab().zone, at);
        env.print(&table(&told, &when).tsv())?;
    } else if form.json.is_none() {
        env.print(&words(&told, planning))?;
    }
    Ok(())
}

fn table(told: &Told, when: &dyn Fn(Minute) -> String) -> Table {
    let date = |at: Option<Minute>, none: &str| at.map_or(none.to_owned(), when);
    let row = |own: Row| {
        let by = own.by.map(|by| date(by, "beyond the horizon"));
        let mut cells = vec![own.name, date(own.due, ""), date(own.planned, "")];
        cells.extend(by);
        cells.push(own.chance.map_or(String::new(), percent));
        cells.push(own.decided);
        cells
    };
    Table {
        header: vec![
            "finish of",
            "due",
            "by the plan",
            "50 % sure",
            "80 % sure",
            "95 % sure",
            "in time",
            "decided by",
        ],
        rows: rows(&told.forecast).into_iter().map(row).collect(),
    }
}

fn words(told: &Told, planning: &Planning) -> String {
    let zone = &planning.lab().zone;
    let when = |at| zone.local(at).format("%a %Y-%m-%d %H:%M").to_string();
    let mut text = table(told, &when).aligned();
    for line in sentences(&told.forecast, zone) {
        text.push_str(&format!("{line}\n"));
    }
    text.push_str(&format!(
        "{} samples, seed {}; what they rest on:\n",
        told.forecast.samples, told.seed
    ));
    for line in &told.basis {
        text.push_str(&format!("  {line}\n"));
    }
    text
}
