//! The judge: does a plan keep the rules?
//!
//! Written the slow and obvious way, one file a rule, from the compiled problem alone. It shares
//! nothing with the planner, gathers all clashes instead of stopping at the first, and words them
//! for a coordinator.

use crate::domain::Span;
use crate::problem::{Plan, Problem, RigIx, UnitIx};

/// The rule that a clash breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// R1: a unit's steps run in order, with rests as prescribed.
    Order,
    /// R2: nothing before ready, nor before now.
    Ready,
    /// R3: an eligible rig, an exposure as long as computed.
    Eligible,
    /// R4: positions, runs, held conditions and changeovers.
    Capacity,
    /// R5: no outage, no lapsed calibration.
    Outage,
    /// R6: enough people.
    People,
    /// R7: watched as the method asks.
    Watch,
    /// R8: no longer in the rig than allowed.
    Wait,
    /// R9: units that belong together are together.
    Together,
    /// R10: pins, facts and frozen bookings stay.
    Fixed,
    /// R11: all within the horizon.
    Horizon,
    /// Everybody who can be planned is planned, and nobody else.
    Complete,
}

/// A broken rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The rule.
    pub rule: Rule,
    /// The unit, where the clash is about one.
    pub unit: Option<UnitIx>,
    /// The step of that unit, from 0.
    pub step: Option<usize>,
    /// The rig, where the clash is about one.
    pub rig: Option<RigIx>,
    /// When.
    pub span: Option<Span>,
    /// What is wrong, in words a coordinator understands.
    pub text: String,
}

/// Every clash of the plan, ordered by rule, then time.
pub fn check(_problem: &Problem, _plan: &Plan) -> Vec<Clash> {
    todo!()
}
