//! A date and time as a person types it, and what it can mean.
//!
//! Forms: `2027-03-24 14:30`, `14:30`, `mon`, `tomorrow 8`, `w13`, `+3d`, `+4h`, `now`. A day without a time
//! means 08:00. A local time that the zone skips or has twice, and a bare time that is past already, have more
//! than one answer: whoever asks shows them all and lets the person choose. Steps such as `+3d` are elapsed time.

use super::dates::Dates;
use crate::domain::text::shown;
use crate::domain::zone::LocalTime;
use crate::domain::{Minute, Minutes, Zone};
use crate::lab::{parse_date, parse_duration, parse_instant};
use chrono::{Datelike, Days, NaiveDate, NaiveTime, Weekday};

/// What a day without a time means.
const MORNING: NaiveTime = NaiveTime::from_hms_opt(8, 0, 0).expect("08:00 is a time");

/// Where and when it is asked.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The lab's zone.
    pub zone: &'a Zone,
    /// Now.
    pub now: Minute,
    /// How dates are written.
    pub dates: Dates,
}

/// What was typed means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reading {
    /// One instant.
    One(Minute),
    /// One of several; the person chooses.
    Several {
        /// Why there is more than one.
        why: String,
        /// The instants, in order.
        answers: Vec<Minute>,
    },
}

impl Asked<'_> {
    /// Reads a date and time.
    ///
    /// # Errors
    /// What cannot be read, and the forms that can.
    pub fn read(&self, text: &str) -> Result<Reading, String> {
        let typed = text.trim();
        if typed.is_empty() {
            return Err("such as 2027-03-24 14:30, 14:30, mon, tomorrow 8, w13, +4h".to_owned());
        }
        if let Some(step) = typed.strip_prefix(['+', '-']) {
            let length = parse_duration(step)?;
            let back = typed.starts_with('-');
            return self.one(if back {
                self.now - length
            } else {
                self.now + length
            });
        }
        // What is written in full stands for one instant, unless the zone skips it or has it twice.
        let iso = typed.replacen(' ', "T", 1).replacen('t', "T", 1);
        let iso = if iso.ends_with('z') {
            iso.to_uppercase()
        } else {
            iso
        };
        if let Ok(at) = parse_instant(&iso, Some(self.zone)) {
            return self.one(at);
        }
        let lower = typed
            .to_lowercase()
            .replacen('t', " ", usize::from(is_iso_with_t(typed)));
        let (first, rest) = lower.split_once(' ').unwrap_or((&lower, ""));
        if first == "now" && rest.is_empty() {
            return self.one(self.now);
        }
        if rest.is_empty()
            && let Some(time) = bare_time(first)
        {
            return self.bare(time);
        }
        let date = self.date(first)?;
        let time = match rest.trim() {
            "" => MORNING,
            rest => hour(rest)
                .ok_or_else(|| format!("`{}` is no time such as 14:30 or 8", shown(rest)))?,
        };
        self.resolved(date, time)
    }

    /// Reads a date and time that is past: a bare time is the last one, a weekday the last one up to today.
    ///
    /// # Errors
    /// As of [`Asked::read`], and where it is still to come.
    pub fn read_past(&self, text: &str) -> Result<Reading, String> {
        let lower = text.trim().to_lowercase();
        let (first, rest) = lower.split_once(' ').unwrap_or((&lower, ""));
        let today = self.zone.local(self.now).date();
        let (day, time, before) = if let (Some(time), "") = (bare_time(first), rest) {
            (today, time, 1)
        } else if weekday(first).is_some() {
            let time = match rest.trim() {
                "" => MORNING,
                rest => hour(rest)
                    .ok_or_else(|| format!("`{}` is no time such as 14:30 or 8", shown(rest)))?,
            };
            let day = self.date(first)?;
            (day.checked_sub_days(Days::new(7)).unwrap_or(day), time, 7)
        } else {
            return self.only_past(self.read(text)?);
        };
        let earlier = day.checked_sub_days(Days::new(before)).unwrap_or(day);
        let reading = self.resolved(day, time)?;
        self.only_past(reading)
            .or_else(|_| self.only_past(self.resolved(earlier, time)?))
    }

    /// What of a reading is not to come.
    fn only_past(&self, reading: Reading) -> Result<Reading, String> {
        let (why, answers) = match reading {
            Reading::One(at) => (String::new(), vec![at]),
            Reading::Several { why, answers } => (why, answers),
        };
        let past: Vec<Minute> = answers
            .iter()
            .copied()
            .filter(|at| *at <= self.now)
            .collect();
        match &past[..] {
            [] => Err(format!(
                "{} is still to come",
                answers.first().map_or(String::new(), |at| self.words(*at))
            )),
            [one] => Ok(Reading::One(*one)),
            _ => Ok(Reading::Several { why, answers: past }),
        }
    }

    /// One instant, or the reason why there is not exactly one, with the instants to choose from spelt out.
    ///
    /// # Errors
    /// As of [`Asked::read`], and where there are several.
    pub fn instant(&self, text: &str) -> Result<Minute, String> {
        self.exactly(self.read(text)?)
    }

    /// As [`Asked::instant`], of what is past.
    ///
    /// # Errors
    /// As of [`Asked::read_past`], and where there are several.
    pub fn past_instant(&self, text: &str) -> Result<Minute, String> {
        self.exactly(self.read_past(text)?)
    }

    fn exactly(&self, reading: Reading) -> Result<Minute, String> {
        match reading {
            Reading::One(at) => Ok(at),
            Reading::Several { why, answers } => {
                let spelt = |at: &Minute| crate::lab::offset_text(self.zone, *at);
                let all: Vec<String> = answers.iter().map(spelt).collect();
                Err(format!("{why}; write {}", all.join(" or ")))
            }
        }
    }

    /// The instant with nothing left to guess.
    pub fn words(&self, at: Minute) -> String {
        self.dates.full(self.zone, at)
    }

    /// The time of day, with the day where it is not today.
    pub fn near(&self, at: Minute) -> String {
        self.dates.near(self.zone, self.now, at)
    }

    fn one(&self, at: Minute) -> Result<Reading, String> {
        let year = self.zone.local(at).year();
        if (2000..2200).contains(&year) {
            return Ok(Reading::One(at));
        }
        Err("only times from 2000 to 2199 count".to_owned())
    }

    fn date(&self, word: &str) -> Result<NaiveDate, String> {
        let today = self.zone.local(self.now).date();
        let ahead = |days| today.checked_add_days(Days::new(days)).unwrap_or(today);
        Ok(match word {
            "today" => today,
            "tomorrow" => ahead(1),
            "yesterday" => today.pred_opt().unwrap_or(today),
            _ => {
                if let Some(day) = weekday(word) {
                    // The next one: today's own name means in a week.
                    let days = (7 + day.days_since(Weekday::Mon)
                        - today.weekday().days_since(Weekday::Mon)
                        - 1)
                        % 7
                        + 1;
                    ahead(days.into())
                } else if let Some(week) = self.week(word, today) {
                    week?
                } else {
                    parse_date(word).map_err(|_| refusal(word))?
                }
            }
        })
    }

    /// The first day of `w13`, the next one of that number, or of `2027-w13`; `None` where the word is no week.
    fn week(&self, word: &str, today: NaiveDate) -> Option<Result<NaiveDate, String>> {
        let (year, number) = if let Some(number) = word.strip_prefix('w') {
            (None, number)
        } else {
            let (year, number) = word.split_once("-w")?;
            (Some(year.parse::<i32>().ok()?), number)
        };
        let number: u32 = number.parse().ok()?;
        let (this, _) = self.dates.week_of(today);
        let year = year.map_or(this..=this + 7, |year| year..=year);
        let starts = year.filter_map(|year| self.dates.start_of_week(year, number));
        let next = starts
            .into_iter()
            .find(|start| word.contains('-') || *start >= self.dates.week_start(today));
        Some(next.ok_or_else(|| format!("there is no week {number} in that year")))
    }

    /// Today, or, where that is past, a question: today or tomorrow.
    fn bare(&self, time: NaiveTime) -> Result<Reading, String> {
        let today = self.zone.local(self.now).date();
        let reading = self.resolved(today, time)?;
        let Reading::One(at) = reading else {
            return Ok(reading);
        };
        if at >= self.now {
            return Ok(Reading::One(at));
        }
        let tomorrow = today.succ_opt().unwrap_or(today);
        let mut answers = vec![at];
        match self.resolved(tomorrow, time)? {
            Reading::One(next) => answers.push(next),
            Reading::Several { answers: next, .. } => answers.extend(next),
        }
        let why = format!("{} is already past today", self.dates.time(time));
        Ok(Reading::Several { why, answers })
    }

    fn resolved(&self, date: NaiveDate, time: NaiveTime) -> Result<Reading, String> {
        let local = date.and_time(time);
        if !(2000..2200).contains(&date.year()) {
            return Err("only times from 2000 to 2199 count".to_owned());
        }
        let (zone, named) = (self.zone.name(), self.dates.long(local));
        match self.zone.resolve(local) {
            LocalTime::Once(at) => self.one(at),
            LocalTime::Skipped { moved } => {
                let mut answers = vec![self.change_before(moved), moved];
                answers.dedup();
                let why = format!("{zone} skips {named}: clocks go forward");
                Ok(Reading::Several { why, answers })
            }
            LocalTime::Twice { first, second } => {
                let why = format!("{zone} has {named} twice: clocks go back");
                let answers = vec![first, second];
                Ok(Reading::Several { why, answers })
            }
        }
    }

    /// The moment at which the offset of `at` began to hold; a gap is shorter than a day.
    fn change_before(&self, at: Minute) -> Minute {
        let offset = self.zone.offset(at);
        let back = (0..Minutes::DAY.get()).map(|minutes| at - Minutes::new(minutes));
        back.take_while(|own| self.zone.offset(*own) == offset)
            .last()
            .unwrap_or(at)
    }
}

/// True for `2027-03-24T14:30`.
fn is_iso_with_t(text: &str) -> bool {
    text.as_bytes()
        .get(10)
        .is_some_and(|letter| letter.eq_ignore_ascii_case(&b't'))
}

/// Why a word is no day, with what can be written.
fn refusal(word: &str) -> String {
    let named = shown(word);
    let sign = |letter: char| letter == '/' || letter == '.';
    if word.contains(sign) && word.chars().all(|own| own.is_ascii_digit() || sign(own)) {
        return format!("`{named}` can mean two days; write the year first: 2027-04-03");
    }
    format!("`{named}` is no day; write 2027-03-24, mon, tomorrow, w13, or +3d from now")
}

fn weekday(word: &str) -> Option<Weekday> {
    let is_name = word.len() >= 3 && word.chars().all(|own| own.is_ascii_alphabetic());
    word.parse().ok().filter(|_| is_name)
}

/// `14:30`, `2:30pm`.
fn bare_time(word: &str) -> Option<NaiveTime> {
    if word.contains(':') || word.ends_with("am") || word.ends_with("pm") {
        hour(word)
    } else {
        None
    }
}

/// `8`, `08:30`, `8am`, `2:30pm`.
fn hour(text: &str) -> Option<NaiveTime> {
    let (digits, half) = match text.strip_suffix("am").map(|own| (own, 0)) {
        Some(found) => (found.0, Some(found.1)),
        None => text
            .strip_suffix("pm")
            .map_or((text, None), |own| (own, Some(12))),
    };
    let (hours, minutes) = digits
        .trim()
        .split_once(':')
        .unwrap_or((digits.trim(), "0"));
    let is_number =
        |text: &str| (1..=2).contains(&text.len()) && text.chars().all(|own| own.is_ascii_digit());
    if !is_number(hours) || !is_number(minutes) || (digits.contains(':') && minutes.len() != 2) {
        return None;
    }
    let hours: u32 = hours.parse().ok()?;
    let hours = match half {
        Some(half) => (1..=12).contains(&hours).then_some(hours % 12 + half)?,
        None => hours,
    };
    NaiveTime::from_hms_opt(hours, minutes.parse().ok()?, 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::known::{chicago, lisbon, utc};

    /// Wednesday, 24 March 2027, 10:20 in Lisbon and 05:20 in Chicago.
    fn asked(zone: &Zone) -> Asked<'_> {
        Asked {
            zone,
            now: utc("2027-03-24T10:20"),
            dates: Dates::default(),
        }
    }

    fn reads(zone: &Zone, text: &str) -> String {
        match asked(zone).read(text) {
            Ok(Reading::One(at)) => asked(zone).words(at),
            Ok(Reading::Several { why, answers }) => {
                let answers: Vec<String> =
                    answers.iter().map(|at| asked(zone).words(*at)).collect();
                format!("{why}: {}", answers.join(" | "))
            }
            Err(why) => format!("no: {why}"),
        }
    }

    #[test]
    fn t81_every_form_is_read_in_full() {
        let zone = lisbon();
        for (typed, meant) in [
            ("2027-03-25 14:30", "Thu 2027-03-25 14:30 +00:00"),
            ("2027-03-25T14:30", "Thu 2027-03-25 14:30 +00:00"),
            ("2027-03-25t14:30", "Thu 2027-03-25 14:30 +00:00"),
            ("2027-03-25 14:30+02:00", "Thu 2027-03-25 12:30 +00:00"),
            ("2027-03-25T14:30Z", "Thu 2027-03-25 14:30 +00:00"),
            ("2027-03-25", "Thu 2027-03-25 08:00 +00:00"),
            ("14:30", "Wed 2027-03-24 14:30 +00:00"),
            ("2:30pm", "Wed 2027-03-24 14:30 +00:00"),
            ("+3d", "Sat 2027-03-27 10:20 +00:00"),
            ("+4h", "Wed 2027-03-24 14:20 +00:00"),
            ("-30m", "Wed 2027-03-24 09:50 +00:00"),
            ("now", "Wed 2027-03-24 10:20 +00:00"),
            ("mon", "Mon 2027-03-29 08:00 +01:00"),
            ("Thursday 9", "Thu 2027-03-25 09:00 +00:00"),
            ("wed", "Wed 2027-03-31 08:00 +01:00"),
            ("tomorrow 8", "Thu 2027-03-25 08:00 +00:00"),
            ("today 16:45", "Wed 2027-03-24 16:45 +00:00"),
            ("yesterday 12pm", "Tue 2027-03-23 12:00 +00:00"),
            ("w48", "Mon 2027-11-29 08:00 +00:00"),
            ("w12", "Mon 2027-03-22 08:00 +00:00"),
            ("w2 7:15", "Mon 2028-01-10 07:15 +00:00"),
            ("2026-w53", "Mon 2026-12-28 08:00 +00:00"),
        ] {
            assert_eq!(reads(&zone, typed), meant, "{typed}");
        }
    }

    #[test]
    fn t81_a_day_that_can_be_two_is_refused_and_a_past_time_asks() {
        let zone = lisbon();
        let hint = "no: `03/04` can mean two days; write the year first: 2027-04-03";
        assert_eq!(reads(&zone, "03/04"), hint);
        assert!(reads(&zone, "3.4.2027 8").contains("write the year first"));
        assert_eq!(
            reads(&zone, "08:00"),
            "08:00 is already past today: Wed 2027-03-24 08:00 +00:00 | Thu 2027-03-25 08:00 +00:00"
        );
        for wrong in [
            "",
            "8",
            "25:00",
            "mon 25",
            "14:3",
            "someday",
            "2027-02-30",
            "w54",
            "2026-w0",
            "+3x",
            "1999-12-31",
        ] {
            assert!(
                reads(&zone, wrong).starts_with("no: "),
                "{wrong}: {}",
                reads(&zone, wrong)
            );
        }
    }

    #[test]
    fn t82_a_skipped_and_a_double_hour_are_named_and_left_to_choose() {
        assert_eq!(
            reads(&lisbon(), "2027-03-28 01:30"),
            "Europe/Lisbon skips Sun 2027-03-28 01:30: clocks go forward: \
             Sun 2027-03-28 02:00 +01:00 | Sun 2027-03-28 02:30 +01:00"
        );
        assert_eq!(
            reads(&chicago(), "2027-11-07 01:30"),
            "America/Chicago has Sun 2027-11-07 01:30 twice: clocks go back: \
             Sun 2027-11-07 01:30 -05:00 | Sun 2027-11-07 01:30 -06:00"
        );
        assert_eq!(
            reads(&chicago(), "2027-11-07 01:30-06:00"),
            "Sun 2027-11-07 01:30 -06:00"
        );
        let zone = chicago();
        let told = asked(&zone)
            .instant("2027-11-07 01:30")
            .expect_err("it is double");
        assert!(
            told.ends_with("write 2027-11-07T01:30-05:00 or 2027-11-07T01:30-06:00"),
            "{told}"
        );
    }

    #[test]
    fn t82_steps_are_elapsed_time_across_a_change() {
        // The night of the change has 23 hours: the same time of day is one hour less away.
        assert_eq!(reads(&lisbon(), "+5d"), "Mon 2027-03-29 11:20 +01:00");
        let zone = lisbon();
        let at = asked(&zone)
            .instant("2027-03-29 10:20")
            .expect("an instant");
        assert_eq!(at - asked(&zone).now, Minutes::hours(5 * 24 - 1));
    }
}
