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
    // The debug form is ISO 8601, and a tenth of the work of a format string.
    format!("{:?}Z", civil(at))
}

/// Zones with their changes of 2027 written down, for tests in rooms that read no zone data.
#[cfg(test)]
pub(crate) mod known {
    use super::{Minute, Minutes, NaiveDateTime, Zone, minutes_of};

    /// The instant of a text such as `2027-03-28T01:00` in UTC.
    pub(crate) fn utc(text: &str) -> Minute {
        let civil = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M");
        minutes_of(civil.expect("a date and a time"))
    }

    fn zone(name: &str, before: i64, changes: [(&str, i64); 2]) -> Zone {
        let changes = changes.map(|(from, offset)| (utc(from), Minutes::new(offset)));
        let mut offsets = vec![(Minute::FIRST, Minutes::new(before))];
        offsets.extend(changes);
        Zone::new(name, offsets)
    }

    /// Forward at 01:00 on 28 March, back at 02:00 on 31 October.
    pub(crate) fn lisbon() -> Zone {
        let changes = [("2027-03-28T01:00", 60), ("2027-10-31T01:00", 0)];
        zone("Europe/Lisbon", 0, changes)
    }

    /// Forward at 02:00 on 14 March, back at 02:00 on 7 November.
    pub(crate) fn chicago() -> Zone {
        let changes = [("2027-03-14T08:00", -300), ("2027-11-07T07:00", -360)];
        zone("America/Chicago", -360, changes)
    }

    /// Half an hour back at 02:00 on 4 April, half an hour forward at 02:00 on 3 October.
    pub(crate) fn lord_howe() -> Zone {
        let changes = [("2027-04-03T15:00", 630), ("2027-10-02T15:30", 660)];
        zone("Australia/Lord_Howe", 660, changes)
    }

    /// Forward at midnight on 30 April, back at the midnight after 28 October.
    pub(crate) fn cairo() -> Zone {
        let changes = [("2027-04-29T22:00", 180), ("2027-10-28T21:00", 120)];
        zone("Africa/Cairo", 120, changes)
    }
}

#[cfg(test)]
mod tests {
    use super::known::{cairo, chicago, lisbon, lord_howe, utc};
    use super::*;

    fn local(text: &str) -> NaiveDateTime {
        civil(utc(text))
    }

    fn date(text: &str) -> NaiveDate {
        local(&format!("{text}T00:00")).date()
    }

    fn once(text: &str) -> LocalTime {
        LocalTime::Once(utc(text))
    }

    fn skipped(text: &str) -> LocalTime {
        LocalTime::Skipped { moved: utc(text) }
    }

    fn twice(first: &str, second: &str) -> LocalTime {
        let (first, second) = (utc(first), utc(second));
        LocalTime::Twice { first, second }
    }

    #[test]
    fn a_gap_owns_its_first_minute_and_not_its_last() {
        let check = |zone: &Zone, wall: &str, expected| {
            let name = zone.name().to_owned();
            assert_eq!(zone.resolve(local(wall)), expected, "{name} {wall}");
        };
        let zone = lisbon();
        check(&zone, "2027-03-28T00:59", once("2027-03-28T00:59"));
        check(&zone, "2027-03-28T01:00", skipped("2027-03-28T01:00"));
        check(&zone, "2027-03-28T01:59", skipped("2027-03-28T01:59"));
        check(&zone, "2027-03-28T02:00", once("2027-03-28T01:00"));
        let zone = chicago();
        check(&zone, "2027-03-14T01:59", once("2027-03-14T07:59"));
        check(&zone, "2027-03-14T02:00", skipped("2027-03-14T08:00"));
        check(&zone, "2027-03-14T02:59", skipped("2027-03-14T08:59"));
        check(&zone, "2027-03-14T03:00", once("2027-03-14T08:00"));
        let zone = lord_howe();
        check(&zone, "2027-10-03T01:59", once("2027-10-02T15:29"));
        check(&zone, "2027-10-03T02:00", skipped("2027-10-02T15:30"));
        check(&zone, "2027-10-03T02:29", skipped("2027-10-02T15:59"));
        check(&zone, "2027-10-03T02:30", once("2027-10-02T15:30"));
    }

    #[test]
    fn a_double_time_is_both_before_and_after_the_change() {
        let check = |zone: &Zone, wall: &str, expected| {
            let name = zone.name().to_owned();
            assert_eq!(zone.resolve(local(wall)), expected, "{name} {wall}");
        };
        let zone = lisbon();
        check(&zone, "2027-10-31T00:59", once("2027-10-30T23:59"));
        let both = twice("2027-10-31T00:00", "2027-10-31T01:00");
        check(&zone, "2027-10-31T01:00", both);
        let both = twice("2027-10-31T00:59", "2027-10-31T01:59");
        check(&zone, "2027-10-31T01:59", both);
        check(&zone, "2027-10-31T02:00", once("2027-10-31T02:00"));
        let both = twice("2027-11-07T06:30", "2027-11-07T07:30");
        check(&chicago(), "2027-11-07T01:30", both);
        let zone = lord_howe();
        check(&zone, "2027-04-04T01:29", once("2027-04-03T14:29"));
        let both = twice("2027-04-03T14:30", "2027-04-03T15:00");
        check(&zone, "2027-04-04T01:30", both);
        check(&zone, "2027-04-04T02:00", once("2027-04-03T15:30"));
    }

    #[test]
    fn an_edge_in_a_gap_moves_on_and_of_a_double_one_the_first_counts() {
        let half_past = |hour| NaiveTime::from_hms_opt(hour, 30, 0).expect("a time");
        let edge = |zone: &Zone, day: &str, hour| zone.edge(date(day), half_past(hour));
        let gap = edge(&lisbon(), "2027-03-28", 1);
        assert_eq!(lisbon().local(gap), local("2027-03-28T02:30"));
        let gap = edge(&chicago(), "2027-03-14", 2);
        assert_eq!(chicago().local(gap), local("2027-03-14T03:30"));
        let double = edge(&lisbon(), "2027-10-31", 1);
        assert_eq!(double, utc("2027-10-31T00:30"));
    }

    #[test]
    fn local_and_resolve_are_opposite_in_every_minute_of_the_changes() {
        for zone in [lisbon(), chicago(), lord_howe(), cairo()] {
            for (change, _) in &zone.offsets[1..] {
                for minute in -180..180 {
                    let at = *change + Minutes::new(minute);
                    let found = zone.resolve(zone.local(at));
                    let is_found = match found {
                        LocalTime::Once(own) => own == at,
                        LocalTime::Twice { first, second } => first == at || second == at,
                        LocalTime::Skipped { .. } => false,
                    };
                    assert!(is_found, "{} {}: {found:?}", zone.name(), utc_text(at));
                }
            }
        }
    }

    #[test]
    fn days_are_as_long_as_the_clocks_make_them() {
        let check = |zone: Zone, day: &str, minutes: i64| {
            let before = date(day).pred_opt().expect("a day before");
            let length = zone.end_of_day(date(day)) - zone.end_of_day(before);
            assert_eq!(length, Minutes::new(minutes), "{} {day}", zone.name());
        };
        check(lisbon(), "2027-03-27", 1440);
        check(lisbon(), "2027-03-28", 1380);
        check(lisbon(), "2027-10-31", 1500);
        check(chicago(), "2027-03-14", 1380);
        check(chicago(), "2027-11-07", 1500);
        check(lord_howe(), "2027-04-04", 1470);
        check(lord_howe(), "2027-10-03", 1410);
    }

    #[test]
    fn a_day_whose_midnight_is_skipped_begins_at_the_change() {
        let end = cairo().end_of_day(date("2027-04-29"));
        assert_eq!(end, utc("2027-04-29T22:00"));
        assert_eq!(cairo().local(end), local("2027-04-30T01:00"));
        let end = cairo().end_of_day(date("2027-04-30"));
        assert_eq!(end - utc("2027-04-29T22:00"), Minutes::hours(23));
        // The hour before midnight comes twice, midnight itself once.
        let end = cairo().end_of_day(date("2027-10-28"));
        assert_eq!(end, utc("2027-10-28T22:00"));
    }

    #[test]
    fn seconds_are_dropped_and_times_are_written_in_utc() {
        let late = local("2027-03-01T07:30") + TimeDelta::seconds(59);
        assert_eq!(minutes_of(late), utc("2027-03-01T07:30"));
        assert_eq!(utc_text(minutes_of(late)), "2027-03-01T07:30:00Z");
        assert_eq!(Zone::utc().resolve(late), once("2027-03-01T07:30"));
    }

    #[test]
    #[should_panic(expected = "offsets are sorted by time")]
    fn offsets_out_of_order_are_refused() {
        let later = (utc("2027-01-01T00:00"), Minutes::ZERO);
        Zone::new("none", vec![later, later]);
    }
}
