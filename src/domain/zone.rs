//! A lab's time zone as plain data, and what wall-clock times mean in it.
//!
//! The zone data itself is read by [`crate::clock::zone`]; here are only the offsets it yields.

use super::time::{Minute, Minutes};
use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

/// 1970-01-01T00:00, from which minutes count.
const EPOCH: NaiveDateTime = DateTime::UNIX_EPOCH.naive_utc();

/// A time zone: its name and its offsets from UTC as a step function.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zone {
    name: String,
    /// Sorted by minute; the first one holds for all time before it too.
    offsets: Vec<(Minute, Minutes)>,
}

/// What a wall-clock time stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LocalTime {
    /// One instant, as nearly always.
    Once(Minute),
    /// The zone skips it; `moved` is the instant after moving it on by the length of the gap.
    Skipped {
        /// The instant that the time means after moving it on by the gap.
        moved: Minute,
    },
    /// The zone has it twice.
    Twice {
        /// Before the clocks went back.
        first: Minute,
        /// After the clocks went back.
        second: Minute,
    },
}

impl Zone {
    /// A zone from its offsets east of UTC, sorted by the minute from which each holds.
    ///
    /// # Panics
    /// If there is no offset, or they are not sorted.
    pub fn new(name: &str, offsets: Vec<(Minute, Minutes)>) -> Self {
        assert!(!offsets.is_empty(), "a zone has at least one offset");
        assert!(
            offsets.is_sorted_by(|a, b| a.0 < b.0),
            "offsets are sorted by time"
        );
        Self {
            name: name.to_owned(),
            offsets,
        }
    }

    /// Coordinated universal time.
    pub fn utc() -> Self {
        Self::new("UTC", vec![(Minute::FIRST, Minutes::ZERO)])
    }

    /// The name that the lab file gives, such as `Europe/Lisbon`.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The offset east of UTC in force at `at`.
    pub fn offset(&self, at: Minute) -> Minutes {
        let after = self.offsets.partition_point(|(from, _)| *from <= at);
        self.offsets[after.saturating_sub(1)].1
    }

    /// The wall-clock date and time at `at`.
    pub fn local(&self, at: Minute) -> NaiveDateTime {
        civil(at + self.offset(at))
    }

    /// What the wall-clock time `local` stands for here. Seconds are dropped.
    pub fn resolve(&self, local: NaiveDateTime) -> LocalTime {
        let wall = minutes_of(local);
        let offset_before = self.offset(wall - self.offset(wall - Minutes::DAY));
        let mut found: Vec<Minute> = self
            .nearby_offsets(wall)
            .into_iter()
            .map(|offset| wall - offset)
            .filter(|at| *at + self.offset(*at) == wall)
            .collect();
        found.sort_unstable();
        found.dedup();
        match found[..] {
            [] => LocalTime::Skipped {
                moved: wall - self.offset_before_gap(wall, offset_before),
            },
            [once] => LocalTime::Once(once),
            [first, .., second] => LocalTime::Twice { first, second },
        }
    }

    /// The instant of a shift's edge: a skipped time is moved on by the gap, of a double one the
    /// first counts.
    pub fn edge(&self, date: NaiveDate, time: NaiveTime) -> Minute {
        match self.resolve(date.and_time(time)) {
            LocalTime::Once(at) | LocalTime::Skipped { moved: at } => at,
            LocalTime::Twice { first, .. } => first,
        }
    }

    /// The instant at which the local day after `date` begins.
    ///
    /// # Panics
    /// If `date` is the last that the calendar can name.
    pub fn end_of_day(&self, date: NaiveDate) -> Minute {
        self.edge(
            date.succ_opt()
                .expect("dates are checked to lie before 2200"),
            NaiveTime::MIN,
        )
    }

    /// Every offset in force within two days of the wall-clock minute.
    fn nearby_offsets(&self, wall: Minute) -> Vec<Minutes> {
        let from = self
            .offsets
            .partition_point(|(at, _)| *at <= wall - Minutes::DAY * 2);
        let to = self
            .offsets
            .partition_point(|(at, _)| *at <= wall + Minutes::DAY * 2);
        self.offsets[from.saturating_sub(1)..to]
            .iter()
            .map(|(_, offset)| *offset)
            .collect()
    }

    /// The offset in force just before the gap that swallows `wall`.
    fn offset_before_gap(&self, wall: Minute, fallback: Minutes) -> Minutes {
        self.offsets
            .windows(2)
            .find(|pair| {
                let (at, before, after) = (pair[1].0, pair[0].1, pair[1].1);
                at + before <= wall && wall < at + after
            })
            .map_or(fallback, |pair| pair[0].1)
    }
}

/// The civil date and time of a count of minutes since 1970-01-01T00:00.
///
/// # Panics
/// If the minute lies outside what the calendar can name; lab times are checked to lie in 2000..2200.
pub fn civil(at: Minute) -> NaiveDateTime {
    EPOCH
        .checked_add_signed(TimeDelta::minutes(at.get()))
        .expect("lab times lie between 2000 and 2200")
}

/// Minutes from 1970-01-01T00:00 to a civil date and time; seconds are dropped.
pub fn minutes_of(civil: NaiveDateTime) -> Minute {
    Minute::new((civil - EPOCH).num_minutes())
}

/// The instant in UTC as plan files write it: `2027-03-01T07:30:00Z`.
pub fn utc_text(at: Minute) -> String {
    civil(at).format("%Y-%m-%dT%H:%M:%SZ").to_string()
}
