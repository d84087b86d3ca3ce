//! The morning sheet: what has changed since the plan in force was published and overnight, and what today asks
//! for, in the order in which to act, each with the next step.
//!
//! One pure function, [`sheet`]. It records nothing and decides nothing.

mod ahead;
mod happened;
#[cfg(test)]
mod tests;

use super::offers::Offer;
use super::plan::crews::CrewRow;
use crate::app::dates::Dates;
use crate::domain::lab::Lab;
use crate::domain::plan::Unplannable;
use crate::domain::steps::Walks;
use crate::domain::{Minute, Minutes, RequestId, RigId, UnitId};
use crate::floor::Floor;

/// Everything that the sheet is made from.
#[derive(Clone, Copy)]
pub struct Sources<'a> {
    /// The lab.
    pub lab: &'a Lab,
    /// What its units walk.
    pub walks: &'a Walks,
    /// What the ledger says.
    pub floor: &'a Floor,
    /// The time that it is of.
    pub now: Minute,
    /// What the plan needs of its crews.
    pub crews: &'a [CrewRow],
    /// How many rules the plan breaks as things stand.
    pub clashes: usize,
    /// Requests that the plan in force does not know.
    pub unplanned: &'a [&'a RequestId],
    /// Requests that the plan in force leaves out, and why.
    pub left: &'a [Unplannable],
    /// What the evidence offers.
    pub offers: &'a [Offer],
}

/// What an entry is about; in the order in which to act.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A rig is down.
    RigDown,
    /// A unit is past its window.
    Late,
    /// A window closes today.
    Window,
    /// An exposure is over and its units are still in the rig.
    Ended,
    /// A checkpoint was failed.
    Failed,
    /// A unit waits for somebody's decision.
    Held,
    /// A booking was to start and has not.
    NotStarted,
    /// Fewer people are on shift than the plan needs.
    People,
    /// The plan breaks a rule.
    Clash,
    /// A rig is back.
    RigBack,
    /// A request is in no plan yet.
    New,
    /// A request finishes late by the plan.
    LateRequest,
    /// A line sample has an alarm.
    Line,
    /// The evidence wants or frees units.
    Evidence,
    /// A calibration runs out soon.
    Calibration,
    /// A unit has finished.
    Finished,
}

impl Kind {
    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::RigDown => "rig down",
            Self::Late => "late",
            Self::Window => "window",
            Self::Ended => "ended",
            Self::Failed => "failed",
            Self::Held => "held",
            Self::NotStarted => "not started",
            Self::People => "people",
            Self::Clash => "clash",
            Self::RigBack => "rig back",
            Self::New => "new",
            Self::LateRequest => "late request",
            Self::Line => "line",
            Self::Evidence => "evidence",
            Self::Calibration => "calibration",
            Self::Finished => "finished",
        }
    }
}

/// What an entry leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum About {
    /// A unit.
    Unit(UnitId),
    /// A rig.
    Rig(RigId),
    /// A request.
    Request(RequestId),
    /// What the results prove: of a leg, where it is about one.
    Evidence(Option<RequestId>),
    /// The plan.
    Plan,
}

/// One entry of the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// What kind.
    pub kind: Kind,
    /// When it happened, or until when to act.
    pub at: Option<Minute>,
    /// What it leads to.
    pub about: About,
    /// What there is.
    pub words: String,
    /// What to do next.
    pub next: String,
}

/// What changed at least this long ago counts as overnight, even where a plan was published since.
const NIGHT: Minutes = Minutes::hours(12);

/// The sheet, in the order in which to act: by kind, then by time.
pub fn sheet(from: &Sources<'_>) -> Vec<Item> {
    let mut items = Vec::new();
    ahead::rigs_down(from, &mut items);
    ahead::windows(from, &mut items);
    happened::since(from, &mut items);
    ahead::held(from, &mut items);
    ahead::not_started(from, &mut items);
    ahead::people(from, &mut items);
    ahead::plan(from, &mut items);
    ahead::evidence(from, &mut items);
    ahead::calibrations(from, &mut items);
    items.sort_by_key(|item| (item.kind, item.at));
    items
}

impl Sources<'_> {
    /// From when on something is news.
    fn since(&self) -> Minute {
        let published = self.floor.now.published.as_ref();
        let night = self.now - NIGHT;
        published.map_or(night, |own| own.at.min(night))
    }

    /// The end of the local day.
    fn tonight(&self) -> Minute {
        let zone = &self.lab.zone;
        zone.end_of_day(zone.local(self.now).date())
    }

    /// A time of day, with the date where it is another day's.
    fn clock(&self, at: Minute) -> String {
        Dates::default().near(&self.lab.zone, self.now, at)
    }
}

/// `R-1/1`, `R-1/1 and R-1/2`, `R-1/1 and 4 more`.
fn named(units: &[UnitId]) -> String {
    match units {
        [] => "nothing".to_owned(),
        [one] => one.to_string(),
        [one, two] => format!("{one} and {two}"),
        [one, more @ ..] => format!("{one} and {} more", more.len()),
    }
}
