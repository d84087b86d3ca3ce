//! Public scheduling instances, planned by the ordinary engine.
//!
//! `public_bench FAMILY FILE --seconds 2 [--threads 2] [--solution OUT.json]` prints one JSON line;
//! `public_bench table FOLDER` runs every instance of a folder that a `best-known.csv` lists and prints a table.
//! Each solution is checked here, from the instance's data alone, before a figure is printed.

mod best_known;
mod check;
mod read;
mod table;

use clap::Parser;
use read::{Family, Instance};
use rigday::planner::sequencing;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

/// Plans public scheduling instances.
#[derive(Parser)]
struct Arguments {
    /// jobshop, flexible, rcpsp, rcpsp-max, weighted-tardiness, batch, complex-jobshop; or `table`.
    family: String,
    /// The instance, or for `table` the folder. For weighted-tardiness: the folder with the due dates, a slash, and the
    /// case (`weighted-tardiness/ft10_f1.3`), or a job shop's file with --factor.
    file: PathBuf,
    /// How long to search.
    #[arg(long, default_value_t = 2.0)]
    seconds: f64,
    /// How many searches side by side.
    #[arg(long, default_value_t = 2)]
    threads: u64,
    /// Stop after so many rounds instead: the same plan on any machine.
    #[arg(long)]
    rounds: Option<u64>,
    /// Another seed gives another search.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Due date factor, for weighted-tardiness on a job shop's file.
    #[arg(long)]
    factor: Option<f64>,
    /// Write where and when each task is done.
    #[arg(long)]
    solution: Option<PathBuf>,
    /// For `table`: only every so-manieth instance.
    #[arg(long, default_value_t = 1)]
    every: usize,
}

/// What came out for one instance.
struct Outcome {
    instance: String,
    /// `None` where no plan was found.
    objective: Option<f64>,
    bound: f64,
    best_known: Option<f64>,
    /// (objective − best known) ÷ best known.
    gap: Option<f64>,
    seconds: f64,
    rounds: u64,
    status: &'static str,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = if arguments.family == "table" {
        table::run_table(&arguments)
    } else {
        one_line(&arguments)
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("public_bench: {why}");
            ExitCode::FAILURE
        }
    }
}

fn one_line(arguments: &Arguments) -> Result<(), String> {
    let family = Family::of_name(&arguments.family)?;
    let outcome = run(family, &arguments.file, arguments)?;
    println!(
        "{}",
        json!({
            "instance": outcome.instance,
            "objective": outcome.objective,
            "bound": outcome.bound,
            "best_known": outcome.best_known,
            "gap": outcome.gap,
            "seconds": outcome.seconds,
            "rounds": outcome.rounds,
            "status": outcome.status,
        })
    );
    Ok(())
}

/// Reads, plans, checks.
fn run(family: Family, file: &Path, arguments: &Arguments) -> Result<Outcome, String> {
    let started = Instant::now();
    let instance = read::read(family, file, arguments.factor)?;
    let best_known = best_known::of(family, file, &instance.name)?;
    let limit = arguments.seconds;
    let share = |rounds: u64| match arguments.rounds {
        Some(all) => rounds as f64 / all.max(1) as f64,
        None => started.elapsed().as_secs_f64() / limit.max(1e-9),
    };
    let found = sequencing::search(&instance.net, arguments.seed, arguments.threads, &share);
    let seconds = started.elapsed().as_secs_f64();
    let bound = sequencing::lower_bound(&instance.net);
    let mut outcome = Outcome {
        instance: instance.name.clone(),
        objective: None,
        bound: bound as f64 / instance.scale,
        best_known,
        gap: None,
        seconds,
        rounds: 0,
        status: if sequencing::contradicts_itself(&instance.net) {
            "infeasible"
        } else {
            "none found"
        },
    };
    if let Some(found) = found {
        let cost = check::cost(&instance.net, &found.placed)?;
        if cost != found.cost {
            return Err(format!(
                "the plan costs {cost}, not {} as the engine says",
                found.cost
            ));
        }
        let objective = cost as f64 / instance.scale;
        outcome.objective = Some(objective);
        outcome.gap = best_known.and_then(|best| gap(objective, best));
        outcome.rounds = found.rounds;
        outcome.status = if cost <= bound { "optimal" } else { "feasible" };
        write_solution(arguments, &instance, &found.placed)?;
    }
    Ok(outcome)
}

/// The share above the best known; none where that is 0 and this is not.
fn gap(objective: f64, best: f64) -> Option<f64> {
    if best == 0.0 {
        return (objective == 0.0).then_some(0.0);
    }
    Some((objective - best) / best)
}

fn write_solution(
    arguments: &Arguments,
    instance: &Instance,
    placed: &[sequencing::Placed],
) -> Result<(), String> {
    let Some(path) = &arguments.solution else {
        return Ok(());
    };
    let tasks: Vec<_> = instance
        .labels
        .iter()
        .zip(placed)
        .map(|(label, placed)| {
            json!({
                "job": label.0, "operation": label.1, "machine": placed.rig,
                "run": placed.run, "start": placed.start, "end": placed.end,
            })
        })
        .collect();
    let text = json!({ "instance": instance.name, "tasks": tasks }).to_string();
    std::fs::write(path, text).map_err(|why| format!("{}: {why}", path.display()))
}
