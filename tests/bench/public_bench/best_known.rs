//! Best known values, from the `best-known.csv` beside an instance or in a folder above it.

use crate::read::Family;
use std::path::{Path, PathBuf};

/// One row: instance, file, best known value (`None` where none is, or the instance is infeasible).
pub(crate) struct Row {
    pub(crate) instance: String,
    pub(crate) file: String,
    pub(crate) value: Option<f64>,
}

/// The best known value of an instance, if a list near it has one.
pub(crate) fn of(family: Family, file: &Path, name: &str) -> Result<Option<f64>, String> {
    let mut folder = file.parent();
    while let Some(path) = folder {
        let csv = path.join("best-known.csv");
        if csv.is_file() {
            let rows = rows(family, &csv)?;
            let file_name = file
                .file_name()
                .map(|name| name.to_string_lossy().into_owned());
            let own = file
                .strip_prefix(path)
                .ok()
                .map(|rest| rest.to_string_lossy().into_owned());
            let is_it = |row: &&Row| {
                row.instance == name
                    || Some(&row.file) == own.as_ref()
                    || Some(&row.file) == file_name.as_ref()
            };
            let exact = rows.iter().find(|row| Some(&row.file) == own.as_ref());
            return Ok(exact
                .or_else(|| rows.iter().find(is_it))
                .and_then(|row| row.value));
        }
        folder = path.parent();
    }
    Ok(None)
}

/// All rows of a list.
pub(crate) fn rows(family: Family, csv: &Path) -> Result<Vec<Row>, String> {
    let text = std::fs::read_to_string(csv).map_err(|why| format!("{}: {why}", csv.display()))?;
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |ix: usize| cells.get(ix).copied().unwrap_or_default();
        Row {
            instance: cell(0).to_owned(),
            file: if family == Family::WeightedTardiness {
                cell(0)
            } else {
                cell(1)
            }
            .to_owned(),
            value: cell(3).parse().ok(),
        }
    };
    Ok(text
        .lines()
        .skip(1)
        .filter(|line| !line.is_empty())
        .map(row)
        .collect())
}

/// The list in a folder, where there is one.
pub(crate) fn list_in(folder: &Path) -> Option<PathBuf> {
    let csv = folder.join("best-known.csv");
    csv.is_file().then_some(csv)
}
