//! `rigday log`: the ledger in order.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit, Failure};
use crate::app::desk::Desk;
use crate::app::walk::event_words;
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
    let table = table(&desk)?;
    if !arguments.json {
        let text = if arguments.csv {
            table.csv()
        } else {
            table.tsv()
        };
        env.print(&text)?;
        return Ok(Exit::Done);
    }
    for row in &table.rows {
        let pairs = table
            .header
            .iter()
            .zip(row)
            .map(|(name, cell)| ((*name).to_owned(), cell.clone().into()));
        env.print(&format!("{}\n", serde_json::Value::Object(pairs.collect())))?;
    }
    Ok(Exit::Done)
}

/// Every event, one a line, voided ones marked.
pub(super) fn table(desk: &Desk) -> Result<Table, Failure> {
    let header = vec!["seq", "happened", "person", "event", "counts"];
    let row = |event: &crate::domain::Event| {
        let counts = if desk.floor.voided.contains(&event.seq) {
            "undone"
        } else {
            "yes"
        };
        vec![
            event.seq.0.to_string(),
            crate::lab::offset_text(&desk.lab.zone, event.happened),
            event.actor.person.clone(),
            event_words(event),
            counts.to_owned(),
        ]
    };
    let mut rows = Vec::new();
    desk.each_after(crate::domain::Seq(0), |event| rows.push(row(event)))?;
    Ok(Table { header, rows })
}
