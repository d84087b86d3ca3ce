//! Lab, facts and an instant become a problem.

use super::Problem;
use crate::domain::{Facts, Lab, Minute};

/// Compiles the lab with what has happened, to be planned from `now`.
pub fn compile(_lab: &Lab, _facts: &Facts, _now: Minute) -> Problem {
    todo!()
}
