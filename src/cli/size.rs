//! `rigday size`: how many units, for how long, and when it could be done.

use super::env::Env;
use super::place::{LedgerFile, folder, look};
use super::{Answer, Exit, Failure};
use crate::app::field_use::{self, NoMission};
use crate::app::sizing::{Wish, plan_leg, toml, words};
use crate::domain::text::{id_fault, line_fault};
use crate::domain::{Minute, RequestId, SequenceId};
use crate::evidence::sizing::Goal;
use clap::Args;
use std::path::PathBuf;

/// Options of `size`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// The walk of its units
    #[arg(long, value_name = "ID")]
    sequence: String,
    /// Reliability to show over one mission
    #[arg(long, value_name = "R", default_value_t = 0.9)]
    reliability: f64,
    /// One-sided confidence
    #[arg(long, value_name = "C", default_value_t = 0.9)]
    confidence: f64,
    /// Failures allowed
    #[arg(long, value_name = "K", default_value_t = 0)]
    failures: u64,
    /// Units there are: how long they must run is worked out; needs --shape where they are few
    #[arg(long, value_name = "N")]
    units: Option<u64>,
    /// Assumed Weibull shape
    #[arg(long, value_name = "BETA")]
    shape: Option<f64>,
    /// One mission, in cycles, hours or passes of the walk; default: the whole walk
    #[arg(long, value_name = "LIFE")]
    mission: Option<f64>,
    #[command(flatten)]
    field: FieldUse,
    /// How much faster the test ages: a function of `rigday calc` with its inputs, such as
    /// "`af_arrhenius` ea=0.7 `t_use`=25 `t_test`=85"
    #[arg(long, value_name = "FUNCTION")]
    acceleration: Option<String>,
    /// Id of the request
    #[arg(long, value_name = "ID", default_value = "R-new")]
    id: String,
    /// Its product
    #[arg(long, value_name = "NAME", default_value = "product")]
    product: String,
    /// Its build
    #[arg(long, value_name = "NAME", default_value = "DV")]
    build: String,
    /// Nothing before this; default: now
    #[arg(long, value_name = "INSTANT")]
    ready: Option<String>,
    /// When it is due
    #[arg(long, value_name = "INSTANT")]
    due: Option<String>,
}

/// Use in the field, from which a mission follows.
#[derive(Args)]
struct FieldUse {
    /// Use in the field: cycles or hours a day; the median where --p95 is given
    #[arg(long, value_name = "X", conflicts_with = "mission", requires = "years")]
    per_day: Option<f64>,
    /// Days of use a year
    #[arg(long, value_name = "DAYS", default_value_t = 365.0)]
    days_per_year: f64,
    /// Years in the field
    #[arg(long, value_name = "YEARS", requires = "per_day")]
    years: Option<f64>,
    /// Use a day that 95 of 100 users stay below
    #[arg(long, value_name = "X", requires = "per_day")]
    p95: Option<f64>,
    /// The user to design for, with --p95
    #[arg(long, value_name = "Q", default_value_t = 0.95)]
    percentile: f64,
    /// A margin that was agreed; it is not a confidence
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    margin: f64,
}

/// Prints the request ready for `requests.toml`, with what it rests on as comments before it.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = look(&folder(arguments.lab.as_ref(), env), &arguments.ledger, env)?;
    let mut basis = Vec::new();
    let mission = mission(arguments, &mut basis)?;
    let at = |text: &Option<String>| {
        text.as_ref()
            .map(|own| env.instant(own, &desk.lab.zone))
            .transpose()
    };
    let (ready, due) = (at(&arguments.ready)?, at(&arguments.due)?);
    let mut wish = wish(arguments, mission, ready.unwrap_or(desk.now()), due)?;
    wish.basis = basis;
    let facts = desk.floor.facts(&desk.lab, &desk.walks, desk.now());
    let leg = plan_leg(&desk.lab, facts, desk.now(), &wish)
        .map_err(|why| Failure::new(Exit::Failed, why))?;
    for line in words(&leg, &wish, &desk.lab) {
        env.print(&format!("# {}\n", crate::domain::text::shown(&line)))?;
    }
    env.print(&toml(&leg, &desk.lab))?;
    Ok(Exit::Done)
}

fn wish(
    arguments: &Arguments,
    mission: Option<f64>,
    ready: Minute,
    due: Option<Minute>,
) -> Result<Wish, Failure> {
    let usage = |what: &str, why: String| Failure::new(Exit::Usage, format!("--{what}: {why}"));
    if let Some(why) = id_fault(&arguments.id) {
        return Err(usage("id", why));
    }
    for (what, text) in [("product", &arguments.product), ("build", &arguments.build)] {
        if let Some(why) = line_fault(text, crate::domain::text::NAME_MAX) {
            return Err(usage(what, why));
        }
    }
    if mission.is_some_and(|own| !own.is_finite() || own <= 0.0) {
        return Err(usage("mission", "it must be above 0".to_owned()));
    }
    Ok(Wish {
        goal: Goal {
            reliability: arguments.reliability,
            confidence: arguments.confidence,
            failures: arguments.failures,
        },
        sequence: SequenceId::new(&arguments.sequence),
        mission,
        basis: Vec::new(),
        shape: arguments.shape,
        units: arguments.units,
        id: RequestId::new(&arguments.id),
        product: arguments.product.clone(),
        build: arguments.build.clone(),
        ready,
        due,
    })
}

/// One mission in the test: as given, or from use in the field, divided by the acceleration.
fn mission(arguments: &Arguments, basis: &mut Vec<String>) -> Result<Option<f64>, Failure> {
    let field = &arguments.field;
    let in_use = field.per_day.zip(field.years);
    let in_use = in_use.map(|(per_day, years)| field_use::FieldUse {
        per_day,
        years,
        days_per_year: field.days_per_year,
        p95: field.p95,
        percentile: field.percentile,
        margin: field.margin,
    });
    let accelerated = arguments.acceleration.as_deref();
    let own = field_use::mission(arguments.mission, in_use.as_ref(), accelerated, basis);
    own.map_err(|why| {
        let text = match why {
            NoMission::Acceleration(why) => format!("--acceleration: {why}"),
            NoMission::Field(why) => why,
            NoMission::Nothing => {
                "--acceleration needs a --mission or use in the field to apply to".to_owned()
            }
        };
        Failure::new(Exit::Usage, text)
    })
}
