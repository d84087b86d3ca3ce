//! From names to indexes and back: the only crossing between a plan of the lab and a plan in indexes.

use super::{Plan, Problem};
use crate::domain::plan::Booking;

/// A booking that does not fit the lab: unknown unit, step or rig, or a place that its rig does not have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unresolved {
    /// The booking.
    pub booking: Booking,
    /// What does not fit, in words.
    pub why: String,
}

impl Problem {
    /// Turns bookings into visits; what does not fit is returned beside them.
    pub fn resolve(&self, _bookings: &[Booking]) -> (Plan, Vec<Unresolved>) {
        todo!()
    }

    /// Turns visits into bookings; `because` gives the reason of each visit in words.
    pub fn words(&self, _plan: &Plan, _because: &[String]) -> Vec<Booking> {
        todo!()
    }
}
