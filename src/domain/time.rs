//! Whole minutes: points, lengths and half-open spans.
//!
//! The program counts minutes since 1970-01-01T00:00Z. Local wall-clock time exists only in
//! [`super::zone`] and at the edges.

use std::fmt;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

/// A point in time: whole minutes since 1970-01-01T00:00Z.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Minute(i64);

/// A length of time in whole minutes; negative where a difference is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Minutes(i64);

impl Minute {
    /// Before anything a lab can plan or record.
    pub const FIRST: Self = Self(-(1 << 40));
    /// After anything a lab can plan or record: stands for "no limit".
    pub const LAST: Self = Self(1 << 40);

    /// The point `minutes` after 1970-01-01T00:00Z.
    pub const fn new(minutes: i64) -> Self {
        Self(minutes)
    }

    /// Minutes since 1970-01-01T00:00Z.
    pub const fn get(self) -> i64 {
        self.0
    }
}

impl Minutes {
    /// No time at all.
    pub const ZERO: Self = Self(0);
    /// Longer than any plan: stands for "no limit".
    pub const FOREVER: Self = Self(1 << 40);
    /// One day of elapsed time.
    pub const DAY: Self = Self(1440);

    /// A length of `minutes`.
    pub const fn new(minutes: i64) -> Self {
        Self(minutes)
    }

    /// A length of `hours`.
    pub const fn hours(hours: i64) -> Self {
        Self(hours * 60)
    }

    /// The number of minutes.
    pub const fn get(self) -> i64 {
        self.0
    }

    /// The length, or zero where it is negative.
    #[must_use]
    pub fn at_least_zero(self) -> Self {
        self.max(Self::ZERO)
    }

    /// The smallest length above `low`, up to `high`, for which `works` holds, and with it for every longer one; `None`
    /// where `high` does not.
    pub fn least(low: Self, high: Self, works: impl Fn(Self) -> bool) -> Option<Self> {
        if !works(high) {
            return None;
        }
        let (mut low, mut high) = (low.0, high.0);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if works(Self(middle)) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(Self(high))
    }
}

impl fmt::Display for Minutes {
    /// Writes `2d 3h 5m`, leaving out what is zero.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 == 0 {
            return f.write_str("0m");
        }
        if self.0 < 0 {
            f.write_str("-")?;
        }
        let all = self.0.abs();
        let parts = [(all / 1440, "d"), (all / 60 % 24, "h"), (all % 60, "m")];
        let mut first = true;
        for (amount, unit) in parts.into_iter().filter(|(amount, _)| *amount > 0) {
            if !first {
                f.write_str(" ")?;
            }
            write!(f, "{amount}{unit}")?;
            first = false;
        }
        Ok(())
    }
}

impl Sub for Minute {
    type Output = Minutes;
    fn sub(self, other: Self) -> Minutes {
        Minutes(self.0 - other.0)
    }
}

impl Add<Minutes> for Minute {
    type Output = Self;
    fn add(self, length: Minutes) -> Self {
        Self(self.0 + length.0)
    }
}

impl Sub<Minutes> for Minute {
    type Output = Self;
    fn sub(self, length: Minutes) -> Self {
        Self(self.0 - length.0)
    }
}

impl AddAssign<Minutes> for Minute {
    fn add_assign(&mut self, length: Minutes) {
        self.0 += length.0;
    }
}

impl Add for Minutes {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Minutes {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl AddAssign for Minutes {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl SubAssign for Minutes {
    fn sub_assign(&mut self, other: Self) {
        self.0 -= other.0;
    }
}

impl Neg for Minutes {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Mul<i64> for Minutes {
    type Output = Self;
    fn mul(self, times: i64) -> Self {
        Self(self.0 * times)
    }
}

impl std::iter::Sum for Minutes {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::ZERO, Add::add)
    }
}

/// A half-open stretch of time: it owns its first minute, not the one at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// First minute inside.
    pub start: Minute,
    /// First minute after.
    pub end: Minute,
}

impl Span {
    /// Spans in any order as sorted ones of which those that overlapped or touched are one.
    pub fn merged(mut spans: Vec<Self>) -> Vec<Self> {
        spans.sort_unstable();
        let mut merged: Vec<Self> = Vec::with_capacity(spans.len());
        for span in spans {
            match merged.last_mut() {
                Some(last) if span.start <= last.end => last.end = last.end.max(span.end),
                _ => merged.push(span),
            }
        }
        merged
    }

    /// The minutes from `start` up to, not including, `end`.
    pub const fn new(start: Minute, end: Minute) -> Self {
        Self { start, end }
    }

    /// How long it is; negative where `end` lies before `start`.
    pub fn length(self) -> Minutes {
        self.end - self.start
    }

    /// True where it owns no minute.
    pub fn is_empty(self) -> bool {
        self.end <= self.start
    }

    /// True where `at` is one of its minutes.
    pub fn contains(self, at: Minute) -> bool {
        self.start <= at && at < self.end
    }

    /// True where every minute of `other` is one of its own; an empty `other` always is.
    pub fn covers(self, other: Self) -> bool {
        other.is_empty() || (self.start <= other.start && other.end <= self.end)
    }

    /// True where both own at least one minute in common.
    pub fn overlaps(self, other: Self) -> bool {
        self.start.max(other.start) < self.end.min(other.end)
    }

    /// The minutes that both own; may be empty.
    #[must_use]
    pub fn meet(self, other: Self) -> Self {
        Self::new(self.start.max(other.start), self.end.min(other.end))
    }

    /// Free time from the end of this one to the start of `later`; negative where they overlap.
    pub fn gap_to(self, later: Self) -> Minutes {
        later.start - self.end
    }
}

/// Minutes that `cycles` take at `per_minute`, rounded up once.
///
/// An excess below a millionth of a minute does not count. `per_minute` is above zero.
pub fn minutes_ceil_of_cycles(cycles: f64, per_minute: f64) -> Minutes {
    minutes_ceil(cycles / per_minute)
}

/// A computed length, rounded up once to whole minutes; an excess below a millionth does not count.
#[expect(
    clippy::cast_possible_truncation,
    reason = "lengths are checked to stay below 100 years"
)]
pub fn minutes_ceil(minutes: f64) -> Minutes {
    Minutes((minutes - 1e-6).ceil() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_half_open() {
        let a = Span::new(Minute::new(0), Minute::new(10));
        let b = Span::new(Minute::new(10), Minute::new(20));
        assert!(!a.overlaps(b));
        assert_eq!(a.gap_to(b), Minutes::ZERO);
        assert!(a.contains(Minute::new(0)) && !a.contains(Minute::new(10)));
    }

    #[test]
    fn rounding_is_up_once_and_forgives_a_millionth() {
        assert_eq!(
            minutes_ceil_of_cycles(300_000.0, 30.0),
            Minutes::new(10_000)
        );
        assert_eq!(minutes_ceil_of_cycles(20_000.0, 15.0), Minutes::new(1334));
        assert_eq!(minutes_ceil(5.000_000_5), Minutes::new(5));
        assert_eq!(minutes_ceil(5.000_002), Minutes::new(6));
    }

    #[test]
    fn lengths_read_as_people_say_them() {
        assert_eq!(Minutes::new(0).to_string(), "0m");
        assert_eq!(Minutes::new(61).to_string(), "1h 1m");
        assert_eq!(Minutes::new(-1445).to_string(), "-1d 5m");
    }

    fn span(start: i64, end: i64) -> Span {
        Span::new(Minute::new(start), Minute::new(end))
    }

    #[test]
    fn touching_spans_share_no_minute() {
        assert!(span(0, 11).overlaps(span(10, 20)));
        assert_eq!(span(0, 11).meet(span(10, 20)), span(10, 11));
        assert!(span(0, 10).meet(span(10, 20)).is_empty());
        assert_eq!(span(0, 11).gap_to(span(10, 20)), Minutes::new(-1));
        assert!(!span(5, 5).overlaps(span(0, 10)));
    }

    #[test]
    fn a_span_covers_itself_and_whatever_is_empty() {
        assert!(span(0, 10).covers(span(0, 10)));
        assert!(!span(0, 10).covers(span(0, 11)));
        assert!(!span(1, 10).covers(span(0, 10)));
        assert!(span(0, 10).covers(span(40, 40)));
    }

    #[test]
    fn lengths_add_up_and_may_be_negative() {
        let back = Minute::new(10) - Minute::new(25);
        assert_eq!(back, Minutes::new(-15));
        assert_eq!(back.at_least_zero(), Minutes::ZERO);
        assert_eq!((-back).at_least_zero(), Minutes::new(15));
        let all = [Minutes::hours(2), Minutes::new(5), back];
        assert_eq!(all.into_iter().sum::<Minutes>(), Minutes::new(110));
        assert_eq!(Minutes::DAY * 2, Minutes::hours(48));
        assert_eq!((Minutes::DAY * 2).to_string(), "2d");
        assert_eq!(Minutes::new(2885).to_string(), "2d 5m");
    }

    #[test]
    fn published_counts_of_cycles_take_their_published_time() {
        let check = |cycles, per_minute, minutes| {
            let own = minutes_ceil_of_cycles(cycles, per_minute);
            assert_eq!(own, Minutes::new(minutes), "{cycles} at {per_minute}");
        };
        check(10_000.0, 500.0 / 60.0, 1200);
        check(10_000.0, 300.0 / 60.0, 2000);
        check(50_000.0, 47.5, 1053);
        check(300_000.0, 40.0, 7500);
        check(1.0, 1_000.0, 1);
        check(0.0, 10.0, 0);
    }
}
