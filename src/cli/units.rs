//! `rigday units`: all units, or the whole walk of one.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit};
use crate::app::desk::Desk;
use crate::app::walk::{WalkLine, state_word, verdict_word, walk_of};
use crate::domain::lab::Request;
use crate::domain::zone::utc_text;
use crate::domain::{RigId, UnitId};
use crate::report::table::Table;
use clap::Args;
use serde_json::{Value, json};

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
    let find = arguments.find.as_deref().unwrap_or("");
    let text = match &arguments.serial {
        Some(serial) => {
            let unit = desk.find_unit(serial)?;
            let walk = walk_of(&desk.lab, &desk.walks, &desk.floor, &unit);
            if arguments.json {
                walk_json(&unit, &walk)
            } else {
                arguments.shown(&walk_table(&walk, &desk.lab.zone))
            }
        }
        None if arguments.json => units_json(&desk, find),
        None => arguments.shown(&unit_table(&desk, find)),
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

impl Arguments {
    fn shown(&self, table: &Table) -> String {
        if self.plain {
            table.tsv()
        } else {
            table.aligned()
        }
    }
}

/// A unit as it stands.
struct Line<'d> {
    unit: &'d UnitId,
    request: &'d Request,
    state: &'static str,
    /// The step that it is on, or the last that is over.
    step: u32,
    steps: usize,
    rig: Option<&'d RigId>,
}

impl Line<'_> {
    fn cells(&self) -> Vec<String> {
        vec![
            self.unit.to_string(),
            self.request.id.to_string(),
            self.request.product.clone(),
            self.request.build.clone(),
            self.state.to_owned(),
            self.step.to_string(),
            self.steps.to_string(),
            self.rig.map_or(String::new(), ToString::to_string),
        ]
    }
}

/// The units in whose words the text is.
fn lines<'d>(desk: &'d Desk, find: &str) -> Vec<Line<'d>> {
    let find = find.to_lowercase();
    let now = desk.now();
    let line = |request: &'d Request, unit: &'d UnitId| {
        let record = desk.floor.now.units.get(unit);
        let running = record.and_then(|record| record.running());
        let done = record.map_or(0, crate::floor::UnitRecord::steps_done);
        Line {
            unit,
            request,
            state: state_word(desk.floor.unit_state(&desk.lab, &desk.walks, unit, now)),
            step: running.map_or(done, |(step, _)| step),
            steps: desk.walks.steps(request).len(),
            rig: running.map(|(_, visit)| &visit.rig),
        }
    };
    let requests = desk.lab.requests.iter();
    let mut lines: Vec<Line<'d>> = requests
        .flat_map(|request| request.units.iter().map(move |unit| line(request, unit)))
        .collect();
    lines.retain(|line| {
        let holds = |cell: &String| cell.to_lowercase().contains(&find);
        find.is_empty() || line.cells().iter().any(holds)
    });
    lines
}

/// A line a unit, of those in whose words the text is.
pub(super) fn unit_table(desk: &Desk, find: &str) -> Table {
    let header = vec![
        "unit", "request", "product", "build", "state", "step", "steps", "rig",
    ];
    let rows = lines(desk, find).iter().map(Line::cells).collect();
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

fn units_json(desk: &Desk, find: &str) -> String {
    let unit = |own: &Line<'_>| {
        json!({
            "unit": own.unit.as_str(), "request": own.request.id.as_str(),
            "product": own.request.product, "build": own.request.build, "state": own.state,
            "step": own.step, "steps": own.steps, "rig": own.rig.map(RigId::as_str),
        })
    };
    let units: Vec<Value> = lines(desk, find).iter().map(unit).collect();
    let now = utc_text(desk.now());
    format!("{:#}\n", json!({ "format": 2, "now": now, "units": units }))
}

fn walk_json(unit: &UnitId, walk: &[WalkLine]) -> String {
    let step = |own: &WalkLine| {
        json!({
            "step": own.step, "method": own.method.as_str(), "rig": own.rig.as_ref().map(RigId::as_str),
            "load": own.load.map(utc_text), "out": own.out.map(utc_text),
            "verdict": own.verdict.as_ref().map(verdict_word), "who": own.who,
            "state": own.progress.word(), "because": own.because,
        })
    };
    let steps: Vec<Value> = walk.iter().map(step).collect();
    format!(
        "{:#}\n",
        json!({ "format": 2, "unit": unit.as_str(), "walk": steps })
    )
}
