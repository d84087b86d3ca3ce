//! `rigday load`: how rigs are used.

use super::env::Env;
use super::place::{LedgerFile, folder, look};
use super::{Answer, Exit, Failure};
use crate::domain::Minutes;
use crate::domain::zone::utc_text;
use crate::report::table::Table;
use crate::usage::{LoadTable, load};
use clap::Args;
use std::path::PathBuf;

/// Options of `load`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// First local day; default: today
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// How many days
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u32).range(1..=400))]
    days: u32,
    /// Tab-separated: one line a rig and day
    #[arg(long)]
    plain: bool,
    /// JSON
    #[arg(long, conflicts_with = "plain")]
    json: bool,
}

/// Prints time in use, down and filled by rig and day, the bottleneck and what is late.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = look(&folder(arguments.lab.as_ref(), env), &arguments.ledger, env)?;
    let first = match &arguments.from {
        Some(text) => crate::lab::parse_date(text).map_err(|why| Failure::new(Exit::Usage, why))?,
        None => desk.lab.zone.local(desk.now()).date(),
    };
    let table = load(&desk.lab, &desk.floor, desk.now(), first, arguments.days);
    let text = match (arguments.json, arguments.plain) {
        (true, _) => json(&table),
        (_, true) => by_day(&table).tsv(),
        _ => for_people(&table, &desk.lab.zone),
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

pub(super) fn by_day(table: &LoadTable) -> Table {
    let header = vec![
        "rig",
        "day",
        "calendar_min",
        "in_use_min",
        "down_min",
        "idle_min",
        "filled_percent",
    ];
    let mut rows = Vec::new();
    for row in &table.rows {
        for (day, cell) in table.days.iter().zip(&row.cells) {
            rows.push(vec![
                row.rig.to_string(),
                day.to_string(),
                cell.calendar.get().to_string(),
                cell.in_use.get().to_string(),
                cell.down.get().to_string(),
                cell.idle().get().to_string(),
                cell.filled_percent(row.positions).to_string(),
            ]);
        }
    }
    Table { header, rows }
}

/// Days of a length, with one decimal.
pub(crate) fn in_days(length: Minutes) -> String {
    format!("{:.1}", length.get() as f64 / 1440.0)
}

fn for_people(table: &LoadTable, zone: &crate::domain::Zone) -> String {
    let header = vec![
        "rig",
        "in use h",
        "down h",
        "idle h",
        "filled %",
        "backlog days",
    ];
    let hours = |length: Minutes| format!("{:.1}", length.get() as f64 / 60.0);
    let rows = table.rows.iter().map(|row| {
        let total = row.total();
        vec![
            row.rig.to_string(),
            hours(total.in_use),
            hours(total.down),
            hours(total.idle()),
            total.filled_percent(row.positions).to_string(),
            in_days(row.backlog),
        ]
    });
    let mut text = Table {
        header,
        rows: rows.collect(),
    }
    .aligned();
    if let Some(row) = table.bottleneck() {
        let filled = row.total().filled_percent(row.positions);
        text.push_str(&format!(
            "bottleneck: {} with {filled} % of its positions filled\n",
            row.rig
        ));
    }
    for own in &table.late {
        let finish = zone.local(own.finish).format("%a %Y-%m-%d %H:%M");
        text.push_str(&format!(
            "late: {} by {}, finishes {finish}",
            own.request, own.late
        ));
        if let Some(cause) = &own.cause {
            text.push_str(&format!(
                "; {} step {} on {}: {}",
                cause.unit, cause.step, cause.rig, cause.because
            ));
        }
        text.push('\n');
    }
    text
}

fn json(table: &LoadTable) -> String {
    let rig = |row: &crate::usage::RigLoad| {
        let days = table.days.iter().zip(&row.cells).map(|(day, cell)| {
            serde_json::json!({
                "day": day.to_string(), "calendar_minutes": cell.calendar.get(),
                "in_use_minutes": cell.in_use.get(), "down_minutes": cell.down.get(),
                "idle_minutes": cell.idle().get(), "filled_percent": cell.filled_percent(row.positions),
            })
        });
        serde_json::json!({
            "rig": row.rig.as_str(), "positions": row.positions,
            "backlog_minutes": row.backlog.get(), "days": days.collect::<Vec<_>>(),
        })
    };
    let late = table.late.iter().map(|own| {
        serde_json::json!({
            "request": own.request.as_str(), "finish": utc_text(own.finish), "late_minutes": own.late.get(),
            "cause": own.cause.as_ref().map(|cause| cause.because.clone()),
        })
    });
    let value = serde_json::json!({
        "format": 1,
        "rigs": table.rows.iter().map(rig).collect::<Vec<_>>(),
        "bottleneck": table.bottleneck().map(|row| row.rig.to_string()),
        "late": late.collect::<Vec<_>>(),
    });
    format!("{value:#}\n")
}
