//! The one clock: the only reader of wall clock, monotonic clock and zone data.
//!
//! Everybody else is handed a [`Clock`] or a time.

use crate::domain::{Minute, Minutes, Zone};
use chrono::{DateTime, Offset, TimeZone};
use std::sync::Mutex;
use std::time::{Duration, Instant, SystemTime};

/// A source of time, handed down from the command line.
pub trait Clock: Send + Sync {
    /// Milliseconds since 1970-01-01T00:00Z by the lab's clock.
    fn now_ms(&self) -> i64;

    /// Time since some fixed moment that never goes back, for measuring.
    fn elapsed(&self) -> Duration;

    /// The lab's clock in whole minutes, rounded down.
    fn now(&self) -> Minute {
        Minute::new(self.now_ms().div_euclid(60_000))
    }
}

/// The host's own clock.
#[derive(Debug)]
pub struct SystemClock {
    started: Instant,
}

impl Default for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that reads the clock"
    )]
    fn default() -> Self {
        Self {
            started: Instant::now(),
        }
    }
}

impl Clock for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that reads the clock"
    )]
    fn now_ms(&self) -> i64 {
        match SystemTime::now().duration_since(SystemTime::UNIX_EPOCH) {
            Ok(since) => i64::try_from(since.as_millis()).unwrap_or(i64::MAX),
            Err(before) => -i64::try_from(before.duration().as_millis()).unwrap_or(i64::MAX),
        }
    }

    fn elapsed(&self) -> Duration {
        self.started.elapsed()
    }
}

/// The demo's clock: starts at a moment of the scenario and runs `pace` times as fast as the host's.
#[derive(Debug)]
pub struct PacedClock {
    system: SystemClock,
    start: Minute,
    pace: f64,
}

impl PacedClock {
    /// A clock that shows `start` now and runs `pace` times as fast as the host's.
    pub fn new(start: Minute, pace: f64) -> Self {
        Self {
            system: SystemClock::default(),
            start,
            pace,
        }
    }
}

impl Clock for PacedClock {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a demo runs for hours, not ages"
    )]
    fn now_ms(&self) -> i64 {
        let run = self.system.elapsed().as_secs_f64() * 1000.0 * self.pace;
        self.start.get() * 60_000 + run as i64
    }

    fn elapsed(&self) -> Duration {
        self.system.elapsed()
    }
}

/// A clock for tests: it stands still until told, and can be set back.
#[derive(Debug)]
pub struct FakeClock {
    now_ms: Mutex<i64>,
}

impl FakeClock {
    /// A clock that stands at `at`.
    pub fn at(at: Minute) -> Self {
        Self {
            now_ms: Mutex::new(at.get() * 60_000),
        }
    }

    /// Moves the clock on, or back where `by` is negative.
    pub fn advance(&self, by: Minutes) {
        *self.lock() += by.get() * 60_000;
    }

    /// Moves the clock on by less than a minute, or more.
    pub fn pass(&self, by: Duration) {
        *self.lock() += i64::try_from(by.as_millis()).unwrap_or(i64::MAX);
    }

    /// Sets the clock.
    pub fn set(&self, at: Minute) {
        *self.lock() = at.get() * 60_000;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, i64> {
        self.now_ms
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clock for FakeClock {
    fn now_ms(&self) -> i64 {
        *self.lock()
    }

    fn elapsed(&self) -> Duration {
        Duration::from_millis(u64::try_from(self.now_ms()).unwrap_or(0))
    }
}

/// The zone of that IANA name with its offsets from 2000 to 2200, or `None` if there is none.
pub fn zone(name: &str) -> Option<Zone> {
    const FIRST: i64 = 946_684_800; // 2000-01-01T00:00Z
    const LAST: i64 = 7_258_118_400; // 2200-01-01T00:00Z
    const WEEK: i64 = 7 * 86_400;
    let tz: chrono_tz::Tz = name.parse().ok()?;
    let mut offsets = vec![(Minute::FIRST, offset_at(tz, FIRST - WEEK))];
    let mut from = FIRST - WEEK;
    while from < LAST {
        push_changes(tz, from, from + WEEK, &mut offsets);
        from += WEEK;
    }
    Some(Zone::new(name, offsets))
}

/// Every zone name, sorted; for "nearest allowed" in messages.
pub fn zone_names() -> Vec<&'static str> {
    chrono_tz::TZ_VARIANTS.iter().map(|tz| tz.name()).collect()
}

/// Adds the changes of offset in `(from, to]`, found by halving; a week holds at most a few.
fn push_changes(tz: chrono_tz::Tz, from: i64, to: i64, offsets: &mut Vec<(Minute, Minutes)>) {
    if offset_at(tz, from) == offset_at(tz, to) {
        return;
    }
    if to - from <= 60 {
        offsets.push((Minute::new(to.div_euclid(60)), offset_at(tz, to)));
        return;
    }
    let middle = (from + (to - from) / 2).div_euclid(60) * 60;
    push_changes(tz, from, middle, offsets);
    push_changes(tz, middle, to, offsets);
}

fn offset_at(tz: chrono_tz::Tz, seconds: i64) -> Minutes {
    let utc = DateTime::from_timestamp(seconds, 0)
        .unwrap_or_default()
        .naive_utc();
    Minutes::new(i64::from(tz.offset_from_utc_datetime(&utc).fix().local_minus_utc()) / 60)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::{LocalTime, known};
    use chrono::NaiveDate;

    #[test]
    fn lisbon_springs_forward_and_falls_back() {
        let lisbon = zone("Europe/Lisbon").expect("known zone");
        let at = |d, h, m| {
            NaiveDate::from_ymd_opt(2027, d, if d == 3 { 28 } else { 31 })
                .unwrap()
                .and_hms_opt(h, m, 0)
                .unwrap()
        };
        assert!(matches!(
            lisbon.resolve(at(3, 1, 30)),
            LocalTime::Skipped { .. }
        ));
        assert!(matches!(
            lisbon.resolve(at(10, 1, 30)),
            LocalTime::Twice { .. }
        ));
        assert!(matches!(lisbon.resolve(at(10, 2, 0)), LocalTime::Once(_)));
        let LocalTime::Skipped { moved } = lisbon.resolve(at(3, 1, 30)) else {
            panic!()
        };
        assert_eq!(lisbon.local(moved), at(3, 2, 30));
    }

    #[test]
    fn zones_that_other_tests_write_down_are_as_the_zone_data_has_them() {
        let year = Minutes::DAY * 365;
        let first = known::utc("2027-01-01T00:00");
        for own in [
            known::lisbon(),
            known::chicago(),
            known::lord_howe(),
            known::cairo(),
        ] {
            let read = zone(own.name()).expect("known zone");
            for quarter in 0..year.get() / 15 {
                let at = first + Minutes::new(quarter * 15);
                assert_eq!(own.offset(at), read.offset(at), "{} {at:?}", own.name());
            }
        }
    }
}
