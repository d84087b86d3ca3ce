//! Papers: what a day, a week, a request or a crew's shift comes to, gathered for [`crate::report`] to write.
//!
//! Everything is read from the desk at a moment; nothing is recorded and no file is written here.

mod bookings;
mod day;
mod request;
mod run_sheet;
mod shared;
mod stays;
mod usage;
mod week;
mod words;

pub use bookings::{Whose, entries};
pub use day::day;
pub use request::request;
pub use run_sheet::run_sheet;
pub use usage::usage;
pub use week::{Week, week};

use super::desk::Desk;
use crate::domain::{Minute, Minutes, Span};
use crate::ledger::Head;
use crate::report::paper::Stamp;
use chrono::{NaiveDate, NaiveTime};

/// The program's name and version, as papers carry it.
pub const PROGRAM: &str = concat!("rigday ", env!("CARGO_PKG_VERSION"));

/// When a paper is made, and up to which event.
#[derive(Clone, Debug)]
pub struct Made {
    /// By the host's clock, in milliseconds since 1970-01-01T00:00Z.
    pub ms: i64,
    /// The end of the chain that the desk has read.
    pub head: Head,
    /// It tells of the demo's lab.
    pub sample: bool,
}

impl Made {
    /// Where a paper of this desk comes from.
    fn stamp(&self, desk: &Desk) -> Stamp {
        let made = Minute::new(self.ms.div_euclid(60_000));
        Stamp {
            lab: desk.lab.name.clone(),
            zone: desk.lab.zone.name().to_owned(),
            as_of: words::long_when(&desk.lab.zone, desk.now()),
            made: words::long_when(&desk.lab.zone, made),
            by: desk.actor().person.clone(),
            program: PROGRAM.to_owned(),
            head: (self.head.seq.0 > 0).then(|| self.head.line()),
            sample: self.sample,
        }
    }
}

/// The local days from `first` on, as a stretch of time.
fn days_from(desk: &Desk, first: NaiveDate, count: u64) -> Span {
    let midnight = |date| desk.lab.zone.edge(date, NaiveTime::MIN);
    Span::new(midnight(first), midnight(first + chrono::Days::new(count)))
}

/// Hours of a length, with one decimal.
fn hours(length: Minutes) -> String {
    format!("{:.1}", length.get() as f64 / 60.0)
}

/// `34 %`, or nothing where there is nothing to be a part of.
fn percent(percent: Option<i64>) -> String {
    percent.map_or(String::new(), |percent| format!("{percent} %"))
}
