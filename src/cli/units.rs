//! `rigday units`: all units, or the whole walk of one.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit};
use crate::app::walk::{WalkLine, state_word, walk_of};
use crate::report::table::Table;
use clap::Args;

/// Options of `units`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// A serial: the whole walk of that unit
    serial: Option<String>,
    /// Only units whose serial, request, product, rig or state holds this text
    #[arg(long, value_name = "TEXT")]
    find: Option<String>,
    /// Tab-separated
    #[arg(long)]
    plain: bool,
    /// JSON, instants in UTC
    #[arg(long, conflicts_with = "plain")]
    json: bool,
}

/// Prints one line a unit, or one line a step of one unit.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = arguments.place.look(env)?;
    let table = match &arguments.serial {
        Some(serial) => {
            let unit = desk.find_unit(serial)?;
            walk_table(
                &walk_of(&desk.lab, &desk.walks, &desk.floor, &unit),
                &desk.lab.zone,
            )
        }
        None => unit_table(&desk, arguments.find.as_deref().unwrap_or("")),
    };
    let text = match (arguments.json, arguments.plain) {
        (true, _) => table_json(&table),
        (_, true) => table.tsv(),
        _ => table.aligned(),
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

pub(super) fn unit_table(desk: &crate::app::desk::Desk, find: &str) -> Table {
    let header = vec![
        "unit", "request", "product", "build", "state", "step", "steps", "rig",
    ];
    let find = find.to_lowercase();
    let now = desk.now();
    let mut rows = Vec::new();
    for request in &desk.lab.requests {
        let steps = desk.walks.steps(request).len();
        for unit in &request.units {
            let record = desk.floor.now.units.get(unit);
            let running = record.and_then(|record| record.running());
            let done = record.map_or(0, crate::floor::UnitRecord::steps_done);
            let step = running.map_or(done, |(step, _)| step);
            let row = vec![
                unit.to_string(),
                request.id.to_string(),
                request.product.clone(),
                request.build.clone(),
                state_word(desk.floor.unit_state(&desk.lab, &desk.walks, unit, now)).to_owned(),
                step.to_string(),
                steps.to_string(),
                running.map_or(String::new(), |(_, visit)| visit.rig.to_string()),
            ];
            if find.is_empty() || row.iter().any(|cell| cell.to_lowercase().contains(&find)) {
                rows.push(row);
            }
        }
    }
    Table { header, rows }
}

fn walk_table(walk: &[WalkLine], zone: &crate::domain::Zone) -> Table {
    let header = vec![
        "step", "method", "rig", "load", "out", "verdict", "who", "state", "because",
    ];
    let when = |at: Option<crate::domain::Minute>| {
        at.map_or(String::new(), |at| crate::lab::offset_text(zone, at))
    };
    let row = |line: &WalkLine| {
        vec![
            line.step.to_string(),
            line.method.to_string(),
            line.rig.as_ref().map_or(String::new(), ToString::to_string),
            when(line.load),
            when(line.out),
            line.verdict_word().to_owned(),
            line.who.clone().unwrap_or_default(),
            line.progress.word().to_owned(),
            line.because.clone(),
        ]
    };
    Table {
        header,
        rows: walk.iter().map(row).collect(),
    }
}

/// The rows as objects with the header's names.
fn table_json(table: &Table) -> String {
    let object = |row: &Vec<String>| {
        let pairs = table
            .header
            .iter()
            .zip(row)
            .map(|(name, cell)| ((*name).to_owned(), cell.clone().into()));
        serde_json::Value::Object(pairs.collect())
    };
    let rows: Vec<serde_json::Value> = table.rows.iter().map(object).collect();
    format!("{:#}\n", serde_json::json!({ "format": 1, "units": rows }))
}
