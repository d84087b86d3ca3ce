//! What has happened, as the planner must take it: the bridge from the floor to the problem.

use super::ids::{RigId, UnitId};
use super::lab::Outage;
use super::plan::{Booking, Times};
use super::time::Minute;

/// What has happened up to now, and the plan that was in force.
#[derive(Clone, Debug, Default)]
pub struct Facts {
    /// Visits that have started, in any order; at most one for each unit and step.
    pub visits: Vec<FactVisit>,
    /// Units whose further steps are not planned.
    pub stops: Vec<Stop>,
    /// Rigs that are down beyond the outages of the lab folder.
    pub outages: Vec<Outage>,
    /// The plan in force; empty where there is none.
    pub published: Vec<Booking>,
}

/// A visit that has started.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FactVisit {
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// The rig it is or was on.
    pub rig: RigId,
    /// Position on rigs loaded each, where it was recorded.
    pub position: Option<u32>,
    /// Run on rigs loaded together, where it was recorded.
    pub run: Option<u32>,
    /// How far it has come.
    pub progress: Progress,
}

/// How far a started visit has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Loaded at this minute and still in the rig; where the plan in force foresaw the rest of its
    /// times they are kept as far as they still can be.
    Running {
        /// When load started.
        load: Minute,
    },
    /// Over: all five instants are known.
    Done {
        /// As it happened.
        times: Times,
    },
}

/// A unit whose further steps are not planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stop {
    /// The unit.
    pub unit: UnitId,
    /// The last step that still counts, from 0: steps after it are dropped unless they have started.
    pub after_step: u32,
    /// Why.
    pub why: StopReason,
}

/// Why a unit's further steps are not planned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopReason {
    /// A checkpoint failed and its request stops on failure.
    Failed,
    /// It was withdrawn.
    Withdrawn,
    /// It is on hold until somebody decides.
    Held,
}
