//! `rigday due`: what is due at the bench.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit};
use crate::app::desk::Desk;
use crate::app::walk::task_word;
use crate::domain::Minutes;
use crate::domain::zone::utc_text;
use crate::floor::Due;
use crate::report::table::Table;
use clap::Args;

/// Options of `due`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// How many hours to look ahead
    #[arg(long, default_value_t = 8)]
    hours: u16,
    /// Tab-separated
    #[arg(long)]
    plain: bool,
    /// JSON, instants in UTC
    #[arg(long, conflicts_with = "plain")]
    json: bool,
}

/// Prints what is due, by closing window.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = arguments.place.look(env)?;
    let now = desk.now();
    let until = now + Minutes::hours(i64::from(arguments.hours));
    let due = desk.floor.due(&desk.lab, &desk.walks, now, until);
    if arguments.json {
        env.print(&json(&due))?;
    } else {
        let table = table(&desk, &due);
        env.print(&if arguments.plain {
            table.tsv()
        } else {
            table.aligned()
        })?;
        if due.is_empty() {
            env.say("nothing is due in that time");
        }
    }
    Ok(Exit::Done)
}

pub(super) fn table(desk: &Desk, due: &[Due]) -> Table {
    let when = |at| crate::lab::offset_text(&desk.lab.zone, at);
    let row = |own: &Due| {
        let minutes = own.closes.map_or(String::new(), |closes| {
            (closes - desk.now()).get().to_string()
        });
        let closes = own.closes.map_or(String::new(), when);
        let method = desk
            .walks
            .request(&desk.lab, &own.unit)
            .and_then(|request| {
                desk.walks
                    .steps(request)
                    .get(own.step as usize - 1)
                    .map(|step| step.method.to_string())
            });
        vec![
            task_word(own.task).to_owned(),
            own.unit.to_string(),
            own.step.to_string(),
            method.unwrap_or_default(),
            own.rig.to_string(),
            when(own.from),
            closes,
            minutes,
        ]
    };
    let header = vec![
        "task",
        "unit",
        "step",
        "method",
        "rig",
        "from",
        "closes",
        "minutes_left",
    ];
    Table {
        header,
        rows: due.iter().map(row).collect(),
    }
}

fn json(due: &[Due]) -> String {
    let entry = |own: &Due| {
        serde_json::json!({
            "task": task_word(own.task), "unit": own.unit.as_str(), "step": own.step,
            "rig": own.rig.as_str(), "from": utc_text(own.from), "closes": own.closes.map(utc_text),
        })
    };
    let entries: Vec<serde_json::Value> = due.iter().map(entry).collect();
    format!("{:#}\n", serde_json::json!({ "format": 1, "due": entries }))
}
