//! A leg of a test plan as evidence: each unit's life when it was last seen good and first seen bad.
//!
//! Verdicts at checkpoints say only between which two checks a unit failed. A survivor is right-censored at the
//! last check it passed; so is a unit that was withdrawn, and one that failed for a reason that the leg does
//! not count. Checks with no exposure between them are one inspection. A unit that failed its first check
//! before any exposure says nothing about the exposure and is left out.

use super::axis::Axis;
use super::turnbull::Intervals;
use crate::domain::lab::{Lab, Request};
use crate::domain::steps::Walks;
use crate::domain::{UnitId, Verdict};
use crate::floor::{Floor, UnitRecord};

/// What became of a unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Fate {
    /// Not failed so far, and more checks are to come.
    Open,
    /// Passed its last check.
    Whole,
    /// Failed, found at this life.
    Failed {
        /// Life at the check that it failed.
        by: f64,
        /// Why.
        reason: String,
    },
    /// Withdrawn, or failed for a reason that does not count, or before any exposure.
    Left {
        /// Why.
        why: String,
    },
}

/// A unit as it was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The unit.
    pub unit: UnitId,
    /// Life at the last check that it passed; 0 where none.
    pub good_at: f64,
    /// What became of it.
    pub fate: Fate,
}

/// A leg with its units.
#[derive(Clone, Debug)]
pub struct Leg {
    /// The request.
    pub request: Request,
    /// What its life is counted in.
    pub axis: Axis,
    /// Its units, in the order of the request.
    pub units: Vec<Seen>,
}

/// Counts of a leg over one mission.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Failed within the mission, or between a check inside of it and one beyond.
    pub failed: u64,
    /// Good at a check at the end of the mission or later.
    pub survived: u64,
    /// Neither yet.
    pub open: u64,
    /// Left before either.
    pub left: u64,
}

impl Counts {
    /// Units that say something about a mission.
    pub fn decided(&self) -> u64 {
        self.failed + self.survived
    }
}

impl Leg {
    /// What the floor knows of a request.
    pub fn of(lab: &Lab, walks: &Walks, floor: &Floor, request: &Request) -> Self {
        let axis = Axis::of(lab, walks.steps(request));
        let nothing = UnitRecord::default();
        let seen = |unit: &UnitId| {
            let record = floor.now.units.get(unit).unwrap_or(&nothing);
            seen(unit, record, request, &axis)
        };
        Self {
            units: request.units.iter().map(seen).collect(),
            request: request.clone(),
            axis,
        }
    }

    /// Life of one mission: as agreed, else the whole walk.
    pub fn mission(&self) -> f64 {
        let agreed = self.request.show.as_ref().and_then(|show| show.mission);
        agreed.unwrap_or(self.axis.whole())
    }

    /// How many failed, survived, are open or left, over one mission.
    pub fn counts(&self) -> Counts {
        let mission = self.mission() * (1.0 - 1e-9);
        let mut counts = Counts::default();
        for own in &self.units {
            let place = match own.fate {
                _ if own.good_at >= mission && mission > 0.0 => &mut counts.survived,
                Fate::Failed { .. } => &mut counts.failed,
                Fate::Open => &mut counts.open,
                Fate::Whole | Fate::Left { .. } => &mut counts.left,
            };
            *place += 1;
        }
        counts
    }

    /// The lives at which units were really looked at, rising.
    pub fn inspections(&self) -> Vec<f64> {
        let seen = |own: &Seen| match own.fate {
            Fate::Failed { by, .. } => by.max(own.good_at),
            _ => own.good_at,
        };
        let last = self.units.iter().map(seen).fold(0.0, f64::max);
        let mut lives: Vec<f64> = self.axis.checkpoints().map(|(_, life)| life).collect();
        lives.dedup();
        lives.retain(|life| *life > 0.0 && *life <= last);
        lives
    }

    /// What the units say as intervals: lists of last good, first bad and how many.
    pub fn intervals(&self) -> Table {
        let mut table = Table::default();
        for own in &self.units {
            let hi = match own.fate {
                Fate::Failed { by, .. } => by,
                _ => f64::INFINITY,
            };
            table.add(own.good_at, hi);
        }
        table
    }
}

/// Intervals with how many units share each.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    lo: Vec<f64>,
    hi: Vec<f64>,
    n: Vec<u64>,
}

impl Table {
    /// Adds a unit; one that was never seen good nor bad says nothing.
    pub fn add(&mut self, lo: f64, hi: f64) {
        if lo == 0.0 && hi.is_infinite() {
            return;
        }
        let same = self
            .lo
            .iter()
            .zip(&self.hi)
            .position(|(a, b)| *a == lo && *b == hi);
        if let Some(at) = same {
            self.n[at] += 1;
        } else {
            self.lo.push(lo);
            self.hi.push(hi);
            self.n.push(1);
        }
    }

    /// As the estimators take them.
    pub fn as_intervals(&self) -> Intervals<'_> {
        Intervals {
            lo: &self.lo,
            hi: &self.hi,
            n: &self.n,
        }
    }
}

/// A unit's life at its verdicts, check by check.
fn seen(unit: &UnitId, record: &UnitRecord, request: &Request, axis: &Axis) -> Seen {
    let modes = request.show.as_ref().map_or(&[][..], |show| &show.modes);
    // Life at the last inspection that it passed, and at the one before.
    let (mut before, mut passed) = (0.0, 0.0);
    let mut last = None;
    for (step, life) in axis.checkpoints() {
        last = record.verdicts.get(&step).map(|own| &own.verdict);
        match last {
            Some(Verdict::Pass) if life > passed => (before, passed) = (passed, life),
            Some(Verdict::Fail { reason }) => {
                return Seen {
                    unit: unit.clone(),
                    good_at: if life > passed { passed } else { before },
                    fate: failure(life, reason, modes),
                };
            }
            _ => {}
        }
    }
    let fate = match (&record.withdrawn, last) {
        (_, Some(Verdict::Pass)) => Fate::Whole,
        (Some((_, _, why)), _) => Fate::Left {
            why: format!("withdrawn: {why}"),
        },
        _ => Fate::Open,
    };
    Seen {
        unit: unit.clone(),
        good_at: passed,
        fate,
    }
}

fn failure(life: f64, reason: &str, modes: &[String]) -> Fate {
    if life == 0.0 {
        let why = format!("failed before any exposure: {reason}");
        return Fate::Left { why };
    }
    // The bench writes a chosen reason, perhaps with `: details` behind it.
    let is_mode = |mode: &String| reason == mode || reason.starts_with(&format!("{mode}:"));
    if modes.is_empty() || modes.iter().any(is_mode) {
        Fate::Failed {
            by: life,
            reason: reason.to_owned(),
        }
    } else {
        let why = format!("failed for another reason: {reason}");
        Fate::Left { why }
    }
}
