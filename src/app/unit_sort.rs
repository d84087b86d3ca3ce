//! The order of the Units screen.

use super::view::UnitLine;
use super::walk::state_word;
use crate::domain::Minute;

/// A column that the list can be sorted by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitSort {
    /// As in the lab folder.
    #[default]
    Unit,
    /// By the word of the state.
    State,
    /// By how many steps are over.
    Step,
    /// By the rig that it is on or goes to; those without one last.
    Rig,
    /// By when it goes on; those that do not last.
    Next,
    /// By request.
    Request,
    /// By product and build.
    Product,
}

impl UnitSort {
    /// All of them, in the order of the columns.
    pub const ALL: [Self; 7] = [
        Self::Unit,
        Self::State,
        Self::Step,
        Self::Rig,
        Self::Next,
        Self::Request,
        Self::Product,
    ];

    /// The heading of the column.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::State => "state",
            Self::Step => "step",
            Self::Rig => "rig",
            Self::Next => "next",
            Self::Request => "request",
            Self::Product => "product",
        }
    }

    /// The next column, and after the last the first again.
    #[must_use]
    pub fn next(self) -> Self {
        let at = Self::ALL.iter().position(|own| *own == self).unwrap_or(0);
        Self::ALL[(at + 1) % Self::ALL.len()]
    }

    /// Puts lines that are in the order of the lab in this order; equal ones stay as they were, and turn around
    /// with the rest.
    pub fn order(self, lines: &mut [&UnitLine], down: bool) {
        let rig = |line: &UnitLine| {
            let rig = line.rig.trim_start_matches("> ").to_owned();
            (rig.is_empty(), rig)
        };
        match self {
            Self::Unit => {}
            Self::State => lines.sort_by_key(|line| state_word(line.state)),
            Self::Step => lines.sort_by_key(|line| line.step),
            Self::Rig => lines.sort_by_key(|line| rig(line)),
            Self::Next => lines.sort_by_key(|line| line.next.unwrap_or(Minute::LAST)),
            Self::Request => lines.sort_by(|a, b| a.request.cmp(&b.request)),
            Self::Product => lines.sort_by(|a, b| a.product.cmp(&b.product)),
        }
        if down {
            lines.reverse();
        }
    }
}
