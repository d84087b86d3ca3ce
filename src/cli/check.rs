//! `rigday check`: is the folder good, and is a plan of it valid?

use super::env::Env;
use super::place::{folder, read_lab};
use super::{Answer, Exit, Failure};
use crate::checker::{check, check_figures};
use crate::domain::plan::Plan as PlanWords;
use crate::domain::{Facts, Lab, Minute};
use crate::problem::{Plan, compile, facts_of_plan};
use crate::report::plan_json;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `check`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    /// A plan file to check
    plan: Option<PathBuf>,
    /// The instant it was planned from, where the file does not say
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    /// The plan that was in force before
    #[arg(long, value_name = "PLAN.json")]
    published: Option<PathBuf>,
}

/// Prints `ok`, or every fault or clash, one a line.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let folder = folder(arguments.lab.as_ref(), env);
    let lab = read_lab(&folder, env)?.lab;
    let Some(file) = &arguments.plan else {
        let units: usize = lab.requests.iter().map(|request| request.units.len()).sum();
        let (rigs, requests) = (lab.rigs.len(), lab.requests.len());
        env.print(&format!(
            "ok: {} has {rigs} rigs, {requests} requests, {units} units\n",
            crate::domain::text::shown(&lab.name)
        ))?;
        return Ok(Exit::Done);
    };
    let said = read_plan(file)?;
    let at = arguments
        .at
        .as_ref()
        .map(|at| env.instant(at, &lab.zone))
        .transpose()?;
    let before = arguments
        .published
        .as_ref()
        .map(|file| read_plan(file))
        .transpose()?;
    let lines = clashes(&lab, &said, at.unwrap_or(said.now), before.as_ref());
    if lines.is_empty() {
        let visits = said.bookings.len();
        env.print(&format!(
            "ok: {visits} visits, cost {}, no clash\n",
            said.cost
        ))?;
        return Ok(Exit::Done);
    }
    for line in &lines {
        env.print(&format!("{}\n", crate::domain::text::shown(line)))?;
    }
    env.say(&format!("{} clashes", lines.len()));
    Ok(Exit::Clashes)
}

/// Reads a plan file.
pub(crate) fn read_plan(file: &Path) -> Result<PlanWords, Failure> {
    let fault = |why: String| Failure::new(Exit::Failed, format!("{}: {why}", file.display()));
    let text = std::fs::read_to_string(file).map_err(|error| fault(error.to_string()))?;
    plan_json::from_json(&text).map_err(|error| fault(error.to_string()))
}

/// Every clash of the plan in words, each behind its rule.
fn clashes(lab: &Lab, said: &PlanWords, now: Minute, before: Option<&PlanWords>) -> Vec<String> {
    let facts = before.map_or_else(Facts::default, |plan| facts_of_plan(&plan.bookings, now));
    let problem = compile(lab, &facts, now);
    let (visits, unresolved) = problem.resolve(&said.bookings);
    let (left, unknown) = problem.resolve_left(&said.unplannable);
    let mut lines: Vec<String> = unresolved
        .iter()
        .map(|own| {
            format!(
                "lab {} step {}: {}",
                own.booking.unit, own.booking.step, own.why
            )
        })
        .collect();
    lines.extend(
        unknown
            .iter()
            .map(|request| format!("lab {request} is left out, but the lab does not have it")),
    );
    let plan = Plan { visits, left };
    let clashes = check(&problem, &plan)
        .into_iter()
        .chain(check_figures(&problem, &plan, said));
    lines.extend(clashes.map(|clash| format!("{} {}", clash.rule.name(), clash.text)));
    lines
}
