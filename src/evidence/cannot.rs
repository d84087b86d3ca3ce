//! What arithmetic cannot answer, and the checks of arguments.

/// Why there is no answer: a code for programs and words for people.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum CannotSay {
    /// An argument outside its range.
    #[error("{what} is {got}; {allowed}")]
    OutOfRange {
        /// The argument.
        what: &'static str,
        /// What it was.
        got: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A word that is not one of those allowed.
    #[error("{what}: {allowed}")]
    UnknownWord {
        /// The argument.
        what: &'static str,
        /// What is allowed.
        allowed: &'static str,
    },
    /// Nothing failed, so a fit is impossible.
    #[error("nothing failed, so there is nothing to fit; only what survivors show can be told")]
    NoFailures,
    /// The likelihood has no finite maximum.
    #[error("no fit: {why}")]
    NoFiniteMle {
        /// Which way it runs off.
        why: &'static str,
    },
    /// A whole ridge of parameters fits equally well.
    #[error("no single fit: {why}")]
    NotIdentifiable {
        /// What the data leave open.
        why: &'static str,
    },
}

impl CannotSay {
    /// The code that programs read.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::OutOfRange { .. } | Self::UnknownWord { .. } => "out_of_range",
            Self::NoFailures => "no_failures",
            Self::NoFiniteMle { .. } => "no_finite_mle",
            Self::NotIdentifiable { .. } => "not_identifiable",
        }
    }
}

/// What most functions of this room return.
pub type Said<T> = Result<T, CannotSay>;

/// Passes where `good`; otherwise says what is allowed.
pub(super) fn check(good: bool, what: &'static str, got: f64, allowed: &'static str) -> Said<()> {
    if good {
        Ok(())
    } else {
        Err(CannotSay::OutOfRange { what, got, allowed })
    }
}

/// A probability strictly between 0 and 1.
pub(super) fn fraction(what: &'static str, got: f64) -> Said<()> {
    check(
        got > 0.0 && got < 1.0,
        what,
        got,
        "it must lie between 0 and 1, both excluded",
    )
}

/// A finite number above zero.
pub(super) fn above_zero(what: &'static str, got: f64) -> Said<()> {
    check(
        got > 0.0 && got.is_finite(),
        what,
        got,
        "it must be above 0 and finite",
    )
}

/// A finite number, zero allowed.
pub(super) fn not_negative(what: &'static str, got: f64) -> Said<()> {
    check(
        got >= 0.0 && got.is_finite(),
        what,
        got,
        "it must be 0 or more and finite",
    )
}

/// Any finite number.
pub(super) fn finite(what: &'static str, got: f64) -> Said<()> {
    check(got.is_finite(), what, got, "it must be finite")
}

/// A whole number of at least one.
pub(super) fn some(what: &'static str, got: u64) -> Said<()> {
    check(got >= 1, what, got as f64, "it must be 1 or more")
}

/// Not more than anybody can count; sums over more would take too long.
pub(super) fn countable(what: &'static str, got: u64) -> Said<()> {
    const MOST: u64 = 1_000_000_000_000;
    check(got <= MOST, what, got as f64, "it must be 10^12 or less")
}

/// `k` of `n`, both whole, with at least one of `n`.
pub(super) fn of_units(k: u64, n: u64) -> Said<()> {
    some("n", n)?;
    countable("n", n)?;
    check(k <= n, "k", k as f64, "it must not be more than n")
}

/// Lists that belong together have the same length, at least one.
pub(super) fn same_length(what: &'static str, got: usize, wanted: usize) -> Said<()> {
    let good = got == wanted && wanted > 0;
    check(
        good,
        what,
        got as f64,
        "lists must have the same length, at least 1",
    )
}
