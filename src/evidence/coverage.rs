//! How honest the bounds of a fit are: how often they hold, by simulation.
//!
//! Lives of shape 2 were drawn for n units that are all checked at the same evenly spaced times, the last of
//! which half of the units reach. Where a fit exists its nominal 90 % lower bounds on B10 were compared with the
//! true B10. `tests/it/reliability/coverage.rs` repeats the simulation.

/// What was found for a number of units and checks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    /// Units.
    pub units: u64,
    /// Checks.
    pub checks: u64,
    /// Percent of legs that had a fit.
    pub fitted: u32,
    /// Percent of fits whose likelihood-ratio bound lay below the truth.
    pub likelihood_ratio: u32,
    /// Percent of fits whose Fisher bound lay below the truth.
    pub fisher: u32,
}

/// The nominal confidence that was simulated, in percent.
pub const NOMINAL: u32 = 90;

/// The simulated legs.
pub const TABLE: [Coverage; 9] = [
    cell(6, 3, 82, 99, 85),
    cell(6, 5, 92, 88, 79),
    cell(6, 10, 96, 86, 74),
    cell(12, 3, 98, 88, 80),
    cell(12, 5, 99, 87, 79),
    cell(12, 10, 100, 87, 79),
    cell(30, 3, 100, 88, 84),
    cell(30, 5, 100, 88, 84),
    cell(30, 10, 100, 88, 83),
];

const fn cell(
    units: u64,
    checks: u64,
    fitted: u32,
    likelihood_ratio: u32,
    fisher: u32,
) -> Coverage {
    Coverage {
        units,
        checks,
        fitted,
        likelihood_ratio,
        fisher,
    }
}

/// The simulated leg nearest below in units, then in checks; the smallest where there is none.
pub fn coverage(units: u64, checks: u64) -> Coverage {
    let fits = |own: &&Coverage| own.units <= units.max(6) && own.checks <= checks.max(3);
    TABLE.iter().rev().find(fits).copied().unwrap_or(TABLE[0])
}
