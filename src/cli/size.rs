//! `rigday size`: how many units, for how long, and when it could be done.

use super::env::Env;
use super::place::{LedgerFile, folder, look};
use super::{Answer, Exit, Failure};
use crate::app::sizing::{Wish, plan_leg, toml, words};
use crate::domain::text::{id_fault, line_fault};
use crate::domain::{Minute, RequestId, SequenceId};
use crate::evidence::calc::{self, Value};
use crate::evidence::duty::{cycle_target, usage_percentile};
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
    let mut lines = Vec::new();
    let factor = acceleration(arguments, &mut lines)?;
    let mission = mission(arguments, factor, &mut lines)?;
    let at = |text: &Option<String>| {
        text.as_ref()
            .map(|own| env.instant(own, &desk.lab.zone))
            .transpose()
    };
    let (ready, due) = (at(&arguments.ready)?, at(&arguments.due)?);
    let wish = wish(arguments, mission, ready.unwrap_or(desk.now()), due)?;
    let facts = desk.floor.facts(&desk.lab, &desk.walks, desk.now());
    let leg = plan_leg(&desk.lab, facts, desk.now(), &wish)
        .map_err(|why| Failure::new(Exit::Failed, why))?;
    lines.extend(words(&leg, &wish, &desk.lab));
    for line in lines {
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
        shape: arguments.shape,
        units: arguments.units,
        id: RequestId::new(&arguments.id),
        product: arguments.product.clone(),
        build: arguments.build.clone(),
        ready,
        due,
    })
}

/// Acceleration above which nobody should believe a test without more.
const DOUBTFUL: f64 = 100.0;

/// The factor, with what it assumes and how much it hangs on its energy.
fn acceleration(arguments: &Arguments, lines: &mut Vec<String>) -> Result<f64, Failure> {
    let Some(text) = &arguments.acceleration else {
        return Ok(1.0);
    };
    let usage = |why: String| Failure::new(Exit::Usage, format!("--acceleration: {why}"));
    let mut words = text.split_whitespace();
    let name = words.next().unwrap_or_default();
    let function = calc::function(name).map_err(|fault| usage(fault.to_string()))?;
    if !name.starts_with("af_") {
        return Err(usage(format!(
            "{name} is no acceleration factor; those begin with af_"
        )));
    }
    let inputs: Vec<&str> = words.collect();
    let factor = |inputs: &[&str]| match calc::value(function, inputs.iter().copied()) {
        Ok(Value::Number(own)) if own > 0.0 && own.is_finite() => Ok(own),
        Ok(other) => Err(usage(format!("{other} is no factor"))),
        Err(fault) => Err(usage(fault.to_string())),
    };
    let own = factor(&inputs)?;
    lines.push(format!(
        "acceleration {own:.4} by {name} {}: {}",
        inputs.join(" "),
        function.meaning
    ));
    lines.push("assumed: one mechanism in test and use; no glass transition, melting or condensation between".to_owned());
    let energy = inputs.iter().position(|input| input.starts_with("ea="));
    if let Some(at) = energy
        && let Ok(ea) = inputs[at][3..].parse::<f64>()
    {
        for other in [ea - 0.1, ea + 0.1] {
            let input = format!("ea={other}");
            let mut inputs = inputs.clone();
            inputs[at] = &input;
            lines.push(format!(
                "were Ea {other:.2} eV, it would be {:.4}",
                factor(&inputs)?
            ));
        }
    }
    if own > DOUBTFUL {
        lines.push(format!(
            "warning: a factor above {DOUBTFUL} is seldom true over the whole way"
        ));
    }
    if own < 1.0 {
        lines.push("warning: the test is gentler than use".to_owned());
    }
    Ok(own)
}

/// One mission in the test: as given, or from use in the field, divided by the acceleration.
fn mission(
    arguments: &Arguments,
    factor: f64,
    lines: &mut Vec<String>,
) -> Result<Option<f64>, Failure> {
    let field = &arguments.field;
    let (Some(per_day), Some(years)) = (field.per_day, field.years) else {
        if arguments.acceleration.is_some() && arguments.mission.is_none() {
            let why = "--acceleration needs a --mission or use in the field to apply to";
            return Err(Failure::new(Exit::Usage, why));
        }
        return Ok(arguments.mission.map(|own| own / factor));
    };
    let cannot = |why| Failure::new(Exit::Usage, why);
    let severe = match field.p95 {
        Some(p95) => {
            let own = usage_percentile(per_day, p95, field.percentile).map_err(cannot)?;
            lines.push(format!("the user at percentile {}: {own:.2} a day (median {per_day}, 95th {p95}, lognormal)", field.percentile));
            own
        }
        None => per_day,
    };
    let target = cycle_target(severe, field.days_per_year, years, field.margin).map_err(cannot)?;
    lines.push(format!(
        "{severe:.2} a day, {} days a year, {years} years, margin {}: {target} in the field, {:.0} in the test",
        field.days_per_year,
        field.margin,
        (target as f64 / factor).ceil()
    ));
    Ok(Some((target as f64 / factor).ceil()))
}
