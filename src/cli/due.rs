//! `rigday due`: what is due at the bench.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit};
use crate::app::desk::Desk;
use crate::app::morning::{About, Item};
use crate::app::view::View;
use crate::app::walk::task_word;
use crate::domain::Minutes;
use crate::domain::text::shown;
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
    /// The morning sheet: what happened since the last plan and overnight, and what to do first
    #[arg(long, conflicts_with = "hours")]
    morning: bool,
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
    if arguments.morning {
        return morning(&desk, arguments, env);
    }
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

/// Prints the morning sheet, first things first.
fn morning(desk: &Desk, arguments: &Arguments, env: &mut Env) -> Answer {
    let items = View::of(desk, desk.now()).morning;
    if arguments.json {
        env.print(&morning_json(&items))?;
        return Ok(Exit::Done);
    }
    let when = |at| crate::lab::offset_text(&desk.lab.zone, at);
    let row = |own: &Item| {
        vec![
            own.kind.word().to_owned(),
            own.at.map_or(String::new(), when),
            own.words.clone(),
            own.next.clone(),
        ]
    };
    let table = Table {
        header: vec!["kind", "at", "what", "next"],
        rows: items.iter().map(row).collect(),
    };
    if arguments.plain {
        env.print(&table.tsv())?;
    } else {
        for own in &items {
            env.print(&format!("{:12} {}\n", own.kind.word(), shown(&own.words)))?;
            env.print(&format!("{:12} next: {}\n", "", shown(&own.next)))?;
        }
    }
    if items.is_empty() {
        env.say("nothing happened and nothing is wanted: the day is as planned");
    }
    Ok(Exit::Done)
}

fn morning_json(items: &[Item]) -> String {
    let about = |own: &Item| match &own.about {
        About::Unit(unit) => ("unit", unit.to_string()),
        About::Rig(rig) => ("rig", rig.to_string()),
        About::Request(request) => ("request", request.to_string()),
        About::Evidence(leg) => {
            let leg = leg.as_ref();
            ("evidence", leg.map_or(String::new(), ToString::to_string))
        }
        About::Plan => ("plan", String::new()),
    };
    let entry = |own: &Item| {
        let (subject, id) = about(own);
        serde_json::json!({
            "kind": own.kind.word(), "at": own.at.map(utc_text), "about": subject, "id": id,
            "what": own.words, "next": own.next,
        })
    };
    let entries: Vec<serde_json::Value> = items.iter().map(entry).collect();
    format!(
        "{:#}\n",
        serde_json::json!({ "format": 1, "morning": entries })
    )
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
