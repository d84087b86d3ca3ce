//! `rigday log`: the ledger in order.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit, Failure};
use crate::app::desk::Desk;
use crate::app::walk::event_words;
use crate::domain::zone::utc_text;
use crate::domain::{Event, Seq};
use crate::report::table::Table;
use clap::Args;

/// Options of `log`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// One JSON object a line
    #[arg(long)]
    json: bool,
    /// Comma-separated, for table programs
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Tab-separated, which is how it prints anyway
    #[arg(long, conflicts_with_all = ["json", "csv"])]
    plain: bool,
}

/// Prints every event, one a line, voided ones marked.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = arguments.place.look(env)?;
    if arguments.json {
        return json(&desk, env);
    }
    let table = table(&desk)?;
    let text = if arguments.csv {
        table.csv()
    } else {
        table.tsv()
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

/// Every event, one a line, voided ones marked.
pub(super) fn table(desk: &Desk) -> Result<Table, Failure> {
    let header = vec!["seq", "happened", "person", "event", "counts"];
    let row = |event: &Event| {
        vec![
            event.seq.0.to_string(),
            crate::lab::offset_text(&desk.lab.zone, event.happened),
            event.actor.person.clone(),
            event_words(event),
            counts(desk, event).to_owned(),
        ]
    };
    let mut rows = Vec::new();
    desk.each_after(Seq(0), |event| rows.push(row(event)))?;
    Ok(Table { header, rows })
}

/// One object an event, each with the version of the format, so that a line can stand alone.
fn json(desk: &Desk, env: &mut Env) -> Answer {
    let mut lines = Vec::new();
    desk.each_after(Seq(0), |event| {
        let line = serde_json::json!({
            "format": 1,
            "seq": event.seq.0,
            "happened": utc_text(event.happened),
            "person": event.actor.person,
            "event": event_words(event),
            "counts": counts(desk, event),
        });
        lines.push(line);
    })?;
    for line in lines {
        env.print(&format!("{line}\n"))?;
    }
    Ok(Exit::Done)
}

/// Whether an event counts: one that was undone does not.
fn counts(desk: &Desk, event: &Event) -> &'static str {
    if desk.floor.voided.contains(&event.seq) {
        "undone"
    } else {
        "yes"
    }
}
