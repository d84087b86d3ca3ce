//! What is wrong with a lab folder, where, why, and what would be right.

use std::fmt;

/// One fault of a file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// File name in the folder.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong, such as `rig dh-1, calibration_du`.
    pub what: String,
    /// Why it is wrong, and what is allowed.
    pub why: String,
    /// The nearest allowed name, where one is near.
    pub nearest: Option<String>,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            file,
            line,
            column,
            what,
            why,
            nearest,
        } = self;
        write!(f, "{file}:{line}:{column}: {what}: {why}")?;
        match nearest {
            Some(nearest) => write!(f, "; nearest allowed: {nearest}"),
            None => Ok(()),
        }
    }
}

/// Every fault of a folder, by file and place; never empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// How many are printed at most; the rest is counted.
    pub const SHOWN: usize = 50;
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (ix, fault) in self.0.iter().take(Self::SHOWN).enumerate() {
            if ix > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        match self.0.len().saturating_sub(Self::SHOWN) {
            0 => Ok(()),
            more => write!(f, "\n… and {more} more"),
        }
    }
}

impl std::error::Error for Faults {}

/// The name most like `word`, where one is like enough to be meant.
pub fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let like =
        |name: &&str| strsim::damerau_levenshtein(&word.to_lowercase(), &name.to_lowercase());
    let best = names.into_iter().min_by_key(like)?;
    let length = word.chars().count().max(best.chars().count());
    (like(&best) * 2 <= length.max(2)).then(|| best.to_owned())
}
