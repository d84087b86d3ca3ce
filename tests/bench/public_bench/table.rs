//! A folder of instances, one line each, and the mean.

use crate::best_known::{self, Row};
use crate::read::Family;
use crate::{Arguments, Outcome, run};
use std::path::{Path, PathBuf};

/// Runs every listed instance of a family's folder, or of all families' folders in it.
pub(crate) fn run_family(
    folder: &Path,
    family: Family,
    arguments: &Arguments,
) -> Result<(), String> {
    let csv = best_known::list_in(folder)
        .ok_or_else(|| format!("{}: no best-known.csv", folder.display()))?;
    let mut outcomes = Vec::new();
    for row in best_known::rows(family, &csv)?
        .iter()
        .step_by(arguments.every.max(1))
    {
        let outcome = run(family, &path_of(folder, row), arguments)?;
        print(&outcome);
        outcomes.push(outcome);
    }
    summary(family, &outcomes);
    Ok(())
}

fn path_of(folder: &Path, row: &Row) -> PathBuf {
    folder.join(&row.file)
}

pub(crate) fn run_all(folder: &Path, arguments: &Arguments) -> Result<(), String> {
    for family in Family::ALL {
        let own = folder.join(family.name());
        if own.is_dir() {
            run_family(&own, *family, arguments)?;
        }
    }
    Ok(())
}

/// The folder is a family's, or holds those of several.
pub(crate) fn run_folder(folder: &Path, arguments: &Arguments) -> Result<(), String> {
    let name = folder
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    match name.and_then(|name| Family::of_name(&name).ok()) {
        Some(family) => run_family(folder, family, arguments),
        None => run_all(folder, arguments),
    }
}

pub(crate) fn run_table(arguments: &Arguments) -> Result<(), String> {
    run_folder(&arguments.file, arguments)
}

fn print(outcome: &Outcome) {
    let or_dash = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value}"));
    let gap = outcome
        .gap
        .map_or("-".to_owned(), |gap| format!("{:.2} %", 100.0 * gap));
    println!(
        "{:<36} {:>10} {:>10} {:>10} {:>9} {:>6.2} s  {}",
        outcome.instance,
        or_dash(outcome.objective),
        outcome.bound,
        or_dash(outcome.best_known),
        gap,
        outcome.seconds,
        outcome.status,
    );
}

fn summary(family: Family, outcomes: &[Outcome]) {
    let gaps: Vec<f64> = outcomes.iter().filter_map(|outcome| outcome.gap).collect();
    let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
    let worst = gaps.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum = |pick: fn(&Outcome) -> Option<f64>| {
        outcomes
            .iter()
            .filter(|o| o.best_known.is_some())
            .filter_map(pick)
            .sum::<f64>()
    };
    let (found, best) = (sum(|o| o.objective), sum(|o| o.best_known));
    println!(
        "== {}: {} instances, {} with a gap: mean {:.2} %, worst {:.2} %; sums {} against {} ({:.2} %)\n",
        family.name(),
        outcomes.len(),
        gaps.len(),
        100.0 * mean,
        100.0 * worst,
        found,
        best,
        100.0 * (found - best) / best,
    );
}
