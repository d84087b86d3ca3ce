//! How dates and times are written: 24 hours, ISO dates, weeks from Monday, unless the user sets it otherwise.
//! Always in the lab's zone, whatever the zone of the terminal is.
//!
//! There is one form for each width: the time of day where it is today's, day and time without the year in 16
//! columns, and the date in full. The planner's reasons and the papers have the same form of 16 columns.

use super::config::{Fault, File, Value};
use crate::domain::{Minute, Zone};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, Weekday};

/// Hours of the day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Hours {
    /// `14:30`.
    #[default]
    Of24,
    /// `2:30pm`.
    Of12,
}

/// Order of day, month and year.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// `2027-03-24`.
    #[default]
    Iso,
    /// `24 Mar 2027`.
    DayMonth,
    /// `Mar 24 2027`.
    MonthDay,
}

/// How dates and times are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// Hours of the day.
    pub hours: Hours,
    /// Order of a date.
    pub order: Order,
    /// First day of the week.
    pub week: Weekday,
}

impl Default for Dates {
    fn default() -> Self {
        Self {
            hours: Hours::default(),
            order: Order::default(),
            week: Weekday::Mon,
        }
    }
}

impl Dates {
    /// The time of day: `14:30`.
    pub fn time(&self, time: NaiveTime) -> String {
        match self.hours {
            Hours::Of24 => time.format("%H:%M").to_string(),
            Hours::Of12 => time.format("%-I:%M%P").to_string(),
        }
    }

    /// A day with its weekday, without the year, its month in letters so that nobody takes it for the day:
    /// `Wed 24 Mar`.
    pub fn day(&self, date: NaiveDate) -> String {
        let format = match self.order {
            Order::Iso | Order::DayMonth => "%a %d %b",
            Order::MonthDay => "%a %b %d",
        };
        date.format(format).to_string()
    }

    /// A day with its weekday and year: `Wed 2027-03-24`.
    pub fn date(&self, date: NaiveDate) -> String {
        let format = match self.order {
            Order::Iso => "%a %Y-%m-%d",
            Order::DayMonth => "%a %d %b %Y",
            Order::MonthDay => "%a %b %d %Y",
        };
        date.format(format).to_string()
    }

    /// Day and time in at most 16 columns: `Wed 24 Mar 14:30`. Beside the longer times of 12 hours there is no
    /// room for the weekday.
    pub fn short(&self, local: NaiveDateTime) -> String {
        let (day, time) = (self.day(local.date()), self.time(local.time()));
        match self.hours {
            Hours::Of24 => format!("{day} {time}"),
            Hours::Of12 => format!("{} {time}", &day[4..]),
        }
    }

    /// The time of day, with the day where it is not that of `now`: `14:30`, `Wed 24 Mar 14:30`.
    pub fn near(&self, zone: &Zone, now: Minute, at: Minute) -> String {
        let (local, today) = (zone.local(at), zone.local(now));
        if local.date() == today.date() {
            self.time(local.time())
        } else {
            self.short(local)
        }
    }

    /// The time of day, with the weekday alone where it is not today's, in at most 10 columns: `14:30`,
    /// `Wed 14:30`. For what is no further than a few days away.
    pub fn brief(&self, zone: &Zone, now: Minute, at: Minute) -> String {
        let (local, today) = (zone.local(at), zone.local(now));
        let time = self.time(local.time());
        if local.date() == today.date() {
            time
        } else {
            format!("{} {time}", local.format("%a"))
        }
    }

    /// Day, year and time: `Wed 2027-03-24 14:30`.
    pub fn long(&self, local: NaiveDateTime) -> String {
        format!("{} {}", self.date(local.date()), self.time(local.time()))
    }

    /// An instant with nothing left to guess: `Wed 2027-03-24 14:30 +00:00`.
    pub fn full(&self, zone: &Zone, at: Minute) -> String {
        let offset = zone.offset(at).get();
        let sign = if offset < 0 { '-' } else { '+' };
        let (hours, minutes) = (offset.abs() / 60, offset.abs() % 60);
        format!(
            "{} {sign}{hours:02}:{minutes:02}",
            self.long(zone.local(at))
        )
    }

    /// The first day of the week that a date lies in.
    pub fn week_start(&self, date: NaiveDate) -> NaiveDate {
        date.week(self.week).first_day()
    }

    /// The week of a date and the year that it counts in: by ISO where weeks begin on Monday; else week 1
    /// holds 1 January.
    pub fn week_of(&self, date: NaiveDate) -> (i32, u32) {
        if self.week == Weekday::Mon {
            let week = date.iso_week();
            return (week.year(), week.week());
        }
        let start = self.week_start(date);
        // The week belongs to the year of its last day: 1 January is in week 1 of its year.
        let year = date.week(self.week).last_day().year();
        let first = NaiveDate::from_ymd_opt(year, 1, 1).map_or(start, |day| self.week_start(day));
        let weeks = (start - first).num_days() / 7;
        (year, u32::try_from(weeks).unwrap_or(0) + 1)
    }

    /// The first day of a week of a year, where the year has it.
    pub fn start_of_week(&self, year: i32, week: u32) -> Option<NaiveDate> {
        let fourth =
            NaiveDate::from_ymd_opt(year, 1, if self.week == Weekday::Mon { 4 } else { 1 })?;
        let days = chrono::Days::new(u64::from(week.checked_sub(1)?) * 7);
        let start = self.week_start(fourth).checked_add_days(days)?;
        (self.week_of(start) == (year, week)).then_some(start)
    }

    /// What a user's file says about dates.
    pub(super) fn of_file(file: &File, section: &Value) -> (Self, Vec<Fault>) {
        let (mut dates, mut faults) = (Self::default(), Vec::new());
        let Some(table) = section.table() else {
            let why = "it is to be a table";
            return (dates, vec![file.fault(section.line, section.name, why)]);
        };
        for value in file.values(table) {
            let text = value.text().unwrap_or_default();
            let allowed = match value.name {
                "clock" => pick(
                    &mut dates.hours,
                    text,
                    &[("24h", Hours::Of24), ("12h", Hours::Of12)],
                ),
                "date" => {
                    let all = [
                        ("iso", Order::Iso),
                        ("day-month", Order::DayMonth),
                        ("month-day", Order::MonthDay),
                    ];
                    pick(&mut dates.order, text, &all)
                }
                "week" => {
                    let all = [
                        ("monday", Weekday::Mon),
                        ("sunday", Weekday::Sun),
                        ("saturday", Weekday::Sat),
                    ];
                    pick(&mut dates.week, text, &all)
                }
                _ => Err("clock, date and week can be set here".to_owned()),
            };
            if let Err(why) = allowed {
                faults.push(file.fault(value.line, value.name, &why));
            }
        }
        (dates, faults)
    }
}

/// Sets what a word stands for; what is allowed, where it stands for nothing.
pub(super) fn pick<T: Copy>(own: &mut T, text: &str, all: &[(&str, T)]) -> Result<(), String> {
    let found = all.iter().find(|(word, _)| *word == text);
    if let Some((_, value)) = found {
        *own = *value;
        return Ok(());
    }
    let words: Vec<&str> = all.iter().map(|(word, _)| *word).collect();
    Err(format!(
        "one of {} is allowed; what is built in stays",
        words.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::known::{lisbon, utc};

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    #[test]
    fn t83_dates_are_iso_with_24_hours_and_weeks_from_monday_unless_set_otherwise() {
        let zone = lisbon();
        let at = utc("2027-07-04T13:05");
        let own = Dates::default();
        assert_eq!(own.short(zone.local(at)), "Sun 04 Jul 14:05");
        assert_eq!(own.full(&zone, at), "Sun 2027-07-04 14:05 +01:00");
        let other = Dates {
            hours: Hours::Of12,
            order: Order::DayMonth,
            week: Weekday::Sun,
        };
        assert_eq!(other.short(zone.local(at)), "04 Jul 2:05pm");
        let american = Dates {
            order: Order::MonthDay,
            ..other
        };
        assert_eq!(american.date(day("2027-07-04")), "Sun Jul 04 2027");
        assert_eq!(own.week_start(day("2027-07-04")), day("2027-06-28"));
        assert_eq!(other.week_start(day("2027-07-04")), day("2027-07-04"));
    }

    #[test]
    fn t83_weeks_are_counted_by_iso_or_from_the_one_with_the_first_of_january() {
        let iso = Dates::default();
        let sunday = Dates {
            week: Weekday::Sun,
            ..iso
        };
        // 1 January 2027 is a Friday.
        assert_eq!(iso.week_of(day("2027-01-01")), (2026, 53));
        assert_eq!(iso.week_of(day("2027-01-04")), (2027, 1));
        assert_eq!(sunday.week_of(day("2026-12-27")), (2027, 1));
        assert_eq!(sunday.week_of(day("2027-01-03")), (2027, 2));
        assert_eq!(iso.start_of_week(2026, 53), Some(day("2026-12-28")));
        assert_eq!(iso.start_of_week(2027, 53), None);
        assert_eq!(iso.start_of_week(2027, 0), None);
        for dates in [iso, sunday] {
            let mut at = day("2025-12-01");
            while at < day("2033-02-01") {
                let (year, week) = dates.week_of(at);
                assert_eq!(
                    dates.start_of_week(year, week),
                    Some(dates.week_start(at)),
                    "{at}"
                );
                at = at.succ_opt().expect("a day after");
            }
        }
    }
}
