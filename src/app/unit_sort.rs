//! The order of the Units screen.

use super::view::UnitLine;
use super::walk::state_word;
use crate::domain::Minute;

/// A column that the list can be sorted by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitSort {
    /// By serial, its numbers by their value.
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
        match self {
            Self::Unit => lines.sort_by_cached_key(|line| natural(line.unit.as_str())),
            Self::State => lines.sort_by_key(|line| state_word(line.state)),
            Self::Step => lines.sort_by_key(|line| line.step),
            Self::Rig => lines.sort_by_cached_key(|line| by_rig(line)),
            Self::Next => lines.sort_by_key(|line| line.next.unwrap_or(Minute::LAST)),
            Self::Request => lines.sort_by_cached_key(|line| natural(&line.request)),
            Self::Product => lines.sort_by(|a, b| a.product.cmp(&b.product)),
        }
        if down {
            lines.reverse();
        }
    }
}

/// Those without a rig last.
fn by_rig(line: &UnitLine) -> (bool, Vec<(&str, u128)>) {
    let rig = line.rig.trim_start_matches("> ");
    (rig.is_empty(), natural(rig))
}

/// A name as pieces of letters, each with the number behind it: `R-2/10` comes after `R-2/9`.
fn natural(name: &str) -> Vec<(&str, u128)> {
    let mut pieces = Vec::new();
    let mut rest = name;
    while !rest.is_empty() {
        let letters = rest.find(|c: char| c.is_ascii_digit());
        let (letters, more) = rest.split_at(letters.unwrap_or(rest.len()));
        let digits = more.find(|c: char| !c.is_ascii_digit());
        let (digits, more) = more.split_at(digits.unwrap_or(more.len()));
        // A number too long to be read counts as the largest.
        let number = digits.parse().ok();
        let none = if digits.is_empty() { 0 } else { u128::MAX };
        pieces.push((letters, number.unwrap_or(none)));
        rest = more;
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::natural;

    #[test]
    fn numbers_in_names_count_by_their_value() {
        let names = [
            "LS-02-1", "R-2/9", "R-2/10", "R-10/1", "R-10/1a", "S", "S-1",
        ];
        assert!(names.is_sorted_by_key(|name| natural(name)));
    }
}
