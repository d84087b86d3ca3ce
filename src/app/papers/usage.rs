//! Utilisation: how rigs are and were used over some days.

use super::words::long_date;
use super::{Made, hours};
use crate::app::desk::Desk;
use crate::report::paper::{Cell, Grid, Paper, Part, Section};
use crate::usage::load;
use chrono::NaiveDate;

/// The paper of the days from `first` to `last`, both included.
pub fn usage(desk: &Desk, first: NaiveDate, last: NaiveDate, made: &Made) -> Paper {
    let days = u32::try_from((last - first).num_days() + 1).unwrap_or(1);
    let table = load(&desk.lab, &desk.floor, desk.now(), first, days);
    let row = |own: &crate::usage::RigLoad| {
        let total = own.total();
        vec![
            Cell::text(&own.rig),
            Cell::number(own.positions),
            Cell::number(hours(total.in_use)),
            Cell::number(hours(total.down)),
            Cell::number(hours(total.idle())),
            Cell::number(format!("{} %", total.in_use_percent())),
            Cell::number(format!("{} %", total.filled_percent(own.positions))),
        ]
    };
    let grid = Grid {
        caption: "Hours of each rig".to_owned(),
        head: vec![
            "rig",
            "positions",
            "in use h",
            "down h",
            "idle h",
            "in use",
            "filled",
        ],
        rows: table.rows.iter().map(row).collect(),
        lead: 0,
    };
    Paper {
        title: "Utilisation".to_owned(),
        about: format!("{} to {}.", long_date(first), long_date(last)),
        stamp: made.stamp(desk),
        sections: vec![Section::new("Rigs", vec![Part::Grid(grid)])],
    }
}
