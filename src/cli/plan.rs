//! `rigday plan`: plan the lab.

use super::check::read_plan;
use super::effort::Effort;
use super::env::Env;
use super::forecast::{self, Forecasting, Form};
use super::place::{LedgerFile, desk, folder, look, read_lab, tell};
use super::{Answer, Exit, Failure};
use crate::app::desk::{ChangeKind, PlanChange, Planning, Proposal};
use crate::app::remedies::{REMEDY_ROUNDS, remedies};
use crate::domain::lab::Lab;
use crate::domain::plan::at_most_better;
use crate::domain::{Booking, Facts, Minutes, RequestId, text};
use crate::problem::facts_of_plan;
use crate::report::plan_json;
use crate::report::table::Table;
use crate::usage::forecast::History;
use clap::Args;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Late requests that say why in the JSON.
const MOST_REASONS: usize = 100;
/// Late requests that say why on the screen.
const REASONS_SHOWN: usize = 10;

/// Options of `plan`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// Plan the folder alone from this instant; no ledger is read or made
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    #[command(flatten)]
    effort: Effort,
    /// With --at: the plan that was in force; what loaded before the instant has happened
    #[arg(long, value_name = "PLAN.json", requires = "at")]
    published: Option<PathBuf>,
    /// The plan as JSON; without a file, or with -, to standard output
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "-")]
    json: Option<PathBuf>,
    /// Print the bookings, tab-separated
    #[arg(long)]
    plain: bool,
    /// Look for the smallest changes that make each late request on time; takes a while
    #[arg(long)]
    remedies: bool,
    #[command(flatten)]
    forecasting: Forecasting,
    /// Put the plan in force
    #[arg(long, conflicts_with = "at")]
    publish: bool,
}

/// Plans, prints what changes, and publishes if asked.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    arguments.effort.check()?;
    arguments.forecasting.check()?;
    let folder = folder(arguments.lab.as_ref(), env);
    if let Some(at) = &arguments.at {
        let lab = read_lab(&folder, env)?.lab;
        let now = env.instant(at, &lab.zone)?;
        let facts = match &arguments.published {
            Some(file) => facts_of_plan(&read_plan(file)?.bookings, now),
            None => Facts::default(),
        };
        let lab = Arc::new(lab);
        let planning = Planning::new(lab.clone(), facts, now);
        let proposal = arguments.effort.plan(&planning);
        if arguments.forecasting.wanted() {
            return foretell(&planning, &proposal, &History::default(), arguments, env);
        }
        return show(&planning, &proposal, &lab, arguments, env);
    }
    let open = if arguments.publish { desk } else { look };
    let mut desk = open(&folder, &arguments.ledger, env)?;
    let planning = desk.planning();
    let proposal = arguments.effort.plan(&planning);
    if arguments.forecasting.wanted() {
        let history = History::of(&desk.floor);
        return foretell(&planning, &proposal, &history, arguments, env);
    }
    let lab = desk.lab.clone();
    let exit = show(&planning, &proposal, &lab, arguments, env)?;
    if exit != Exit::Done || !arguments.publish {
        return Ok(exit);
    }
    let outcome = desk.publish(&proposal)?;
    tell(&desk, &outcome, "published", env)
}

/// Prints the forecast of a plan that has no clash.
fn foretell(
    planning: &Planning,
    proposal: &Proposal,
    history: &History,
    arguments: &Arguments,
    env: &mut Env,
) -> Answer {
    if !say_clashes(proposal, env) {
        return Ok(Exit::Clashes);
    }
    let form = Form {
        json: arguments.json.as_deref(),
        plain: arguments.plain,
        seed: arguments.effort.seed(),
    };
    forecast::show(
        planning,
        proposal,
        history,
        &arguments.forecasting,
        &form,
        env,
    )?;
    Ok(Exit::Done)
}

/// Every clash on its line; true where there is none.
fn say_clashes(proposal: &Proposal, env: &Env) -> bool {
    for clash in &proposal.clashes {
        env.say(&format!("{} {}", clash.rule.name(), clash.text));
    }
    proposal.clashes.is_empty()
}

/// Writes a text into a file, or to standard output where its name is `-`.
pub(super) fn write_json(file: &Path, text: &str, env: &mut Env) -> Result<(), Failure> {
    if file.as_os_str() == "-" {
        return env.print(text);
    }
    super::out_file::write(file, text.as_bytes(), true)
}

fn show(
    planning: &Planning,
    proposal: &Proposal,
    lab: &Lab,
    arguments: &Arguments,
    env: &mut Env,
) -> Answer {
    let is_clean = say_clashes(proposal, env);
    let why = planning.why_late(proposal, MOST_REASONS);
    if let Some(file) = &arguments.json {
        let text = plan_json::to_json_with(&proposal.plan, &why);
        write_json(file, &text, env)?;
    }
    if arguments.plain {
        env.print(&bookings(proposal, lab).tsv())?;
    } else if arguments.json.is_none() {
        env.print(&summary(proposal, lab))?;
        print_reasons(planning, proposal, &why, arguments.remedies, env)?;
    }
    Ok(if is_clean { Exit::Done } else { Exit::Clashes })
}

/// Each late request's chain of reasons, with remedies if they are asked for.
fn print_reasons(
    planning: &Planning,
    proposal: &Proposal,
    why: &[(RequestId, Vec<String>)],
    with_remedies: bool,
    env: &mut Env,
) -> Result<(), Failure> {
    let shown = if with_remedies {
        why.len()
    } else {
        REASONS_SHOWN
    };
    for (request, lines) in why.iter().take(shown) {
        env.print(&format!("why {request} is late:\n"))?;
        for line in lines {
            env.print(&format!("  {}\n", text::shown(line)))?;
        }
        if !with_remedies {
            continue;
        }
        let mut news = |done, all| {
            if done == 0 {
                env.say(&format!("{request}: trying {all} changes"));
            }
            true
        };
        let plan = &proposal.plan;
        let found = remedies(planning, plan, request, REMEDY_ROUNDS, &mut news);
        for line in found.lines(&planning.lab().zone) {
            env.print(&format!("  {}\n", text::shown(&line)))?;
        }
    }
    if why.len() > shown {
        let more = why.len() - shown;
        env.print(&format!("{more} more are late; --json has their reasons\n"))?;
    }
    Ok(())
}

fn bookings(proposal: &Proposal, lab: &Lab) -> Table {
    let header = vec![
        "load", "out", "rig", "place", "unit", "step", "method", "because",
    ];
    let when = |at| crate::lab::offset_text(&lab.zone, at);
    let row = |own: &crate::domain::Booking| {
        let place = match (own.position, own.run) {
            (Some(position), _) => format!("position {position}"),
            (_, Some(run)) => format!("run {run}"),
            _ => String::new(),
        };
        vec![
            when(own.times.load),
            when(own.times.out),
            own.rig.to_string(),
            place,
            own.unit.to_string(),
            own.step.to_string(),
            own.method.to_string(),
            own.because.clone(),
        ]
    };
    Table {
        header,
        rows: proposal.plan.bookings.iter().map(row).collect(),
    }
}

/// The plan in some lines: cost and bound, what changes, what is late, what is left out.
pub(crate) fn summary(proposal: &Proposal, lab: &Lab) -> String {
    let plan = &proposal.plan;
    let mut text = format!("cost {}", plan.cost);
    if let Some(bound) = plan.bound
        && let Some(words) = at_most_better(plan.cost, bound)
    {
        text.push_str(&format!(", proven bound {bound}: {words}"));
    }
    text.push_str(&format!("\n{} visits", plan.bookings.len()));
    for kind in ChangeKind::ALL {
        let count = proposal
            .changes
            .iter()
            .filter(|change| change.kind == kind)
            .count();
        text.push_str(&format!(", {count} {}", kind.word()));
    }
    text.push('\n');
    text.push_str(&changes(proposal, lab));
    let mut rows = Vec::new();
    for own in plan.requests.iter().filter(|own| own.late > Minutes::ZERO) {
        let finish = lab
            .zone
            .local(own.finish)
            .format("%a %Y-%m-%d %H:%M")
            .to_string();
        rows.push(vec![
            "late".to_owned(),
            own.request.to_string(),
            finish,
            format!("by {}", own.late),
        ]);
    }
    for own in &plan.unplannable {
        let step = format!("step {}", own.step);
        rows.push(vec![
            "left out".to_owned(),
            own.request.to_string(),
            step,
            own.reason.clone(),
        ]);
    }
    let table = Table {
        header: vec!["", "request", "finish", "why"],
        rows,
    };
    if !table.rows.is_empty() {
        text.push_str(&table.aligned());
    }
    text
}

/// Every difference to the plan in force, what hurts most first.
fn changes(proposal: &Proposal, lab: &Lab) -> String {
    const SHOWN: usize = 200;
    let when = |own: &Option<Booking>| {
        own.as_ref().map_or(String::new(), |own| {
            format!(
                "{} {}",
                own.rig,
                lab.zone.local(own.times.load).format("%a %Y-%m-%d %H:%M")
            )
        })
    };
    let row = |own: &PlanChange| {
        let shift = if own.shift() == Minutes::ZERO {
            String::new()
        } else {
            own.shift().to_string()
        };
        let unit = format!("{} step {}", own.unit, own.step);
        vec![
            own.kind.word().to_owned(),
            unit,
            when(&own.before),
            when(&own.after),
            shift,
        ]
    };
    let rows: Vec<Vec<String>> = proposal.changes.iter().take(SHOWN).map(row).collect();
    if rows.is_empty() {
        return String::new();
    }
    let header = vec!["change", "visit", "published", "planned", "by"];
    let mut text = Table { header, rows }.aligned();
    if let Some(more) = proposal
        .changes
        .len()
        .checked_sub(SHOWN)
        .filter(|more| *more > 0)
    {
        text.push_str(&format!("and {more} more\n"));
    }
    text
}
