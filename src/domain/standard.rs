//! What a standard says about one kind of exposure: severities to choose from, figures to know, and what
//! follows for the steps around it.

use super::ids::StandardId;
use super::lab::Rest;
use super::time::Minutes;
use std::collections::BTreeMap;
use std::fmt;

/// Said beside every caution.
pub const PREVAIL: &str = "Local codes, the rig maker's instructions and qualified people prevail.";

/// One kind of exposure as a standard, or the habit of the trade, describes it.
#[derive(Clone, Debug)]
pub struct Standard {
    /// Its id.
    pub id: StandardId,
    /// Standard, test and what it is, such as `IEC 60068-2-1, test A: cold`.
    pub name: String,
    /// Severities to choose from; empty where the standard lists none.
    pub listed: Vec<Listed>,
    /// Tolerances, defaults and whatever else a lab would look up.
    pub figures: Vec<Figure>,
    /// The gap between such an exposure and a measurement.
    pub recovery: Option<Recovery>,
    /// How it is known that the exposure spoils a unit for later measurements; `None` where it does not.
    pub spoils: Option<Known>,
    /// Over how many units a count may be shared at most.
    pub units_max: Option<u32>,
    /// How many cycles one unit may take at most.
    pub cycles_per_unit_max: Option<u64>,
    /// What can hurt somebody.
    pub cautions: Vec<String>,
}

/// Severities that go together: any value of each name with any value of the others.
///
/// Names are those of a method's `severity`, and `cycles`, `hold`, `repeat`, `to_c`, `to_rh`, `rate_k_per_min`
/// and `dwell` (the hold at each end of a profile). Times are in minutes.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// Values by name, at least one of each.
    pub values: BTreeMap<String, Vec<f64>>,
    /// How they are known.
    pub known: Known,
}

impl Listed {
    /// True where the values of this name are times in minutes.
    pub fn is_time(name: &str) -> bool {
        ["hold", "dwell"].contains(&name)
    }

    /// A value as people write it.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "listed times are whole minutes below 100 years"
    )]
    pub fn text(name: &str, value: f64) -> String {
        if Self::is_time(name) {
            Minutes::new(value as i64).to_string()
        } else {
            value.to_string()
        }
    }
}

/// One figure, for people to read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figure {
    /// What it is, such as `temperature tolerance`.
    pub what: String,
    /// Its value with unit, such as `±3 K`.
    pub value: String,
    /// How it is known.
    pub known: Known,
}

/// The gap between an exposure and a measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// At least and at most.
    pub rest: Rest,
    /// How it is known.
    pub known: Known,
}

/// How a figure is known. None of them replaces a current, licensed copy of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Known {
    /// Read in a text about the standard, or in an adoption of it.
    Read,
    /// Arithmetic from figures that were read.
    Computed,
    /// From memory; not seen on a page.
    Memory,
    /// From memory, and not sure.
    Unsure,
    /// A habit of the trade, without a source.
    Practice,
}

impl Known {
    /// Every way, the surest first.
    pub const ALL: [Self; 5] = [
        Self::Read,
        Self::Computed,
        Self::Memory,
        Self::Unsure,
        Self::Practice,
    ];

    /// The word that files use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Computed => "computed",
            Self::Memory => "memory",
            Self::Unsure => "unsure",
            Self::Practice => "practice",
        }
    }
}

impl fmt::Display for Known {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Read => "read",
            Self::Computed => "computed",
            Self::Memory => "from memory",
            Self::Unsure => "from memory, not sure",
            Self::Practice => "common practice",
        })
    }
}
