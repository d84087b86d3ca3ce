//! Durations, instants, dates and times of day as people write them.

use crate::domain::lab::Rest;
use crate::domain::zone::{LocalTime, minutes_of};
use crate::domain::{Minute, Minutes, Zone};
use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, Timelike};

/// Longest duration: 100 years.
const LONGEST: i64 = 100 * 365 * 1440;

/// Reads a duration such as `20m` or `2h 30m`: whole minutes, from zero to 100 years.
///
/// # Errors
/// The reason in words: no duration, months or years, parts of a minute, too long.
pub fn parse_duration(text: &str) -> Result<Minutes, String> {
    let shown = crate::domain::text::shown(text);
    let mut words = text
        .split(|c: char| !c.is_ascii_alphabetic())
        .filter(|word| !word.is_empty());
    let calendar = ["month", "months", "M", "year", "years", "yr", "yrs", "y"];
    if let Some(unit) = words.find(|word| calendar.contains(word)) {
        return Err(format!(
            "`{shown}`: `{unit}` has no fixed length; write days or weeks"
        ));
    }
    let duration = humantime::parse_duration(text.trim())
        .map_err(|error| format!("`{shown}` is no duration such as `20m` or `2h 30m` ({error})"))?;
    if duration.subsec_nanos() != 0 || duration.as_secs() % 60 != 0 {
        return Err(format!("`{shown}` is not whole minutes"));
    }
    let minutes = i64::try_from(duration.as_secs() / 60).unwrap_or(i64::MAX);
    if minutes > LONGEST {
        return Err(format!("`{shown}` is longer than 100 years"));
    }
    Ok(Minutes::new(minutes))
}

/// Reads a rest: `1h` is at least, `1h..2h` at least and at most.
pub(super) fn parse_rest(text: &str) -> Result<Rest, String> {
    let Some((least, most)) = text.split_once("..") else {
        return Ok(Rest {
            min: parse_duration(text)?,
            max: None,
        });
    };
    let (min, max) = (parse_duration(least)?, parse_duration(most)?);
    if max < min {
        return Err(format!("the rest ends at {max}, before it begins at {min}"));
    }
    Ok(Rest {
        min,
        max: Some(max),
    })
}

/// Reads a local date such as `2027-03-08`, from 2000 to 2199.
pub fn parse_date(text: &str) -> Result<NaiveDate, String> {
    let shown = crate::domain::text::shown(text);
    let date = shaped(text, "0000-00-00")
        .then(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok())
        .flatten();
    let date = date.ok_or_else(|| format!("`{shown}` is no date such as `2027-03-08`"))?;
    in_range(date)?;
    Ok(date)
}

/// Reads a wall-clock time such as `07:00`.
pub fn parse_clock(text: &str) -> Result<NaiveTime, String> {
    shaped(text, "00:00")
        .then(|| NaiveTime::parse_from_str(text, "%H:%M").ok())
        .flatten()
        .ok_or_else(|| {
            format!(
                "`{}` is no time of day such as `07:00`",
                crate::domain::text::shown(text)
            )
        })
}

/// Reads an instant: local wall-clock time in `zone`, or a time with an offset, from 2000 to 2199.
///
/// # Errors
/// The reason in words: no instant, only a date, parts of a minute, a time that the zone skips or has
/// twice, a local time where no zone is known.
pub fn parse_instant(text: &str, zone: Option<&Zone>) -> Result<Minute, String> {
    let shown = crate::domain::text::shown(text);
    if parse_date(text).is_ok() {
        return Err(format!(
            "`{shown}` is only a date; add a time: `{shown}T08:00`"
        ));
    }
    if !is_instant(text) {
        return Err(format!(
            "`{shown}` is no instant such as `2027-03-08T08:00`"
        ));
    }
    if text.get(16..19).is_some_and(|seconds| seconds == ":60") {
        return Err(format!("`{shown}`: second 60 is not taken"));
    }
    if let Some(at) = with_offset(text) {
        in_range(at.naive_utc().date())?;
        whole_minute(at.naive_utc(), &shown)?;
        return Ok(minutes_of(at.naive_utc()));
    }
    let local = local_time(text)
        .ok_or_else(|| format!("`{shown}` is no instant such as `2027-03-08T08:00`"))?;
    in_range(local.date())?;
    whole_minute(local, &shown)?;
    let zone = zone.ok_or_else(|| format!("`{shown}` needs an offset, such as `{shown}Z`"))?;
    in_zone(local, zone, &shown)
}

/// The instant of a local time, or why there is none or more than one.
fn in_zone(local: NaiveDateTime, zone: &Zone, shown: &str) -> Result<Minute, String> {
    match zone.resolve(local) {
        LocalTime::Once(at) => Ok(at),
        LocalTime::Skipped { moved } => Err(format!(
            "{} skips `{shown}`: clocks go forward; write {} or a time outside the gap",
            zone.name(),
            offset_text(zone, moved)
        )),
        LocalTime::Twice { first, second } => Err(format!(
            "{} has `{shown}` twice: clocks go back; write {} or {}",
            zone.name(),
            offset_text(zone, first),
            offset_text(zone, second)
        )),
    }
}

/// The instant in the zone with its offset: `2027-10-31T01:30+01:00`.
pub fn offset_text(zone: &Zone, at: Minute) -> String {
    let offset = zone.offset(at).get();
    let sign = if offset < 0 { '-' } else { '+' };
    let (hours, minutes) = (offset.abs() / 60, offset.abs() % 60);
    format!(
        "{}{sign}{hours:02}:{minutes:02}",
        zone.local(at).format("%Y-%m-%dT%H:%M")
    )
}

/// True where the text is like `shape`, in which each `0` stands for any digit.
fn shaped(text: &str, shape: &str) -> bool {
    let fits = |(c, like): (u8, u8)| match like {
        b'0' => c.is_ascii_digit(),
        _ => c == like,
    };
    text.len() == shape.len() && text.bytes().zip(shape.bytes()).all(fits)
}

/// True where the text has the form of an instant: to the minute or finer, alone or with an offset. What
/// reads it further would also take a day of one digit, or spaces.
fn is_instant(text: &str) -> bool {
    let (local, offset) = text.split_at_checked(16).unwrap_or((text, ""));
    let (finer, offset) = offset
        .find(['Z', '+', '-'])
        .map_or((offset, ""), |at| offset.split_at(at));
    let (seconds, parts) = finer.split_at_checked(3).unwrap_or((finer, ""));
    let parts_fit = parts.is_empty()
        || parts.strip_prefix('.').is_some_and(|digits| {
            (1..=9).contains(&digits.len()) && digits.bytes().all(|c| c.is_ascii_digit())
        });
    shaped(local, "0000-00-00T00:00")
        && (seconds.is_empty() || shaped(seconds, ":00"))
        && parts_fit
        && (matches!(offset, "" | "Z") || shaped(&offset[1..], "00:00"))
}

fn with_offset(text: &str) -> Option<DateTime<chrono::FixedOffset>> {
    let formats = ["%Y-%m-%dT%H:%M:%S%.f%:z", "%Y-%m-%dT%H:%M%:z"];
    let text = text
        .strip_suffix('Z')
        .map_or_else(|| text.to_owned(), |t| format!("{t}+00:00"));
    formats
        .iter()
        .find_map(|format| DateTime::parse_from_str(&text, format).ok())
}

fn local_time(text: &str) -> Option<NaiveDateTime> {
    let formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S%.f"];
    formats
        .iter()
        .find_map(|format| NaiveDateTime::parse_from_str(text, format).ok())
}

fn whole_minute(at: NaiveDateTime, shown: &str) -> Result<(), String> {
    if at.second() != 0 || at.nanosecond() != 0 {
        return Err(format!("`{shown}` is not a whole minute"));
    }
    Ok(())
}

fn in_range(date: NaiveDate) -> Result<(), String> {
    let range = NaiveDate::from_ymd_opt(2000, 1, 1)..=NaiveDate::from_ymd_opt(2199, 12, 31);
    if range.contains(&Some(date)) {
        return Ok(());
    }
    Err(format!("{date} lies outside 2000-01-01 to 2199-12-31"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::utc_text;

    fn lisbon() -> Zone {
        crate::clock::zone("Europe/Lisbon").expect("known zone")
    }

    #[test]
    fn durations_are_whole_minutes_of_fixed_length() {
        assert_eq!(parse_duration("2h 30m"), Ok(Minutes::new(150)));
        assert_eq!(parse_duration("21days"), Ok(Minutes::new(21 * 1440)));
        assert_eq!(parse_duration("120s"), Ok(Minutes::new(2)));
        assert_eq!(parse_duration("1.5h"), Ok(Minutes::new(90)));
        for bad in [
            "90s",
            "1month",
            "2y",
            "1M",
            "-5m",
            "abc",
            "",
            "5",
            "1.51h",
            "200000days",
            "1h..2h",
        ] {
            assert!(parse_duration(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn rests_have_a_least_and_perhaps_a_most() {
        let hours = |min, max: Option<i64>| Rest {
            min: Minutes::hours(min),
            max: max.map(Minutes::hours),
        };
        assert_eq!(parse_rest("1h"), Ok(hours(1, None)));
        assert_eq!(parse_rest("1h..2h"), Ok(hours(1, Some(2))));
        assert!(parse_rest("2h..1h").is_err() && parse_rest("1h..2h..3h").is_err());
    }

    #[test]
    fn instants_are_local_or_carry_an_offset() {
        let zone = lisbon();
        let read = |text| parse_instant(text, Some(&zone)).map(utc_text);
        assert_eq!(
            read("2027-07-08T08:00").as_deref(),
            Ok("2027-07-08T07:00:00Z")
        );
        assert_eq!(
            read("2027-03-08T08:00:00+01:00").as_deref(),
            Ok("2027-03-08T07:00:00Z")
        );
        assert_eq!(
            read("2027-03-08T08:00Z").as_deref(),
            Ok("2027-03-08T08:00:00Z")
        );
        for bad in [
            "2027-03-08",
            "2027-03-08T08:00:30",
            "2027-03-08T08:00:60",
            "1999-12-31T08:00",
            "8:00",
            "2027-02-30T08:00",
            "2027-03-08 08:00",
            "2027-3-08T08:00",
            "2027-03-8T08:00",
            "2027-03-08T8:00",
            "2027-03-08T 8:00",
            "2027-03-08t08:00",
            "2027-03-08T08:00z",
            "2027-03-08T08:00 Z",
            "2027-03-08T08:00+0100",
            "2027-03-08T08:00+01",
            "2027-03-08T08:00+1:00",
            "2027-03-08T08:00+",
            "2027-03-08T08:00:",
            "2027-03-08T08:00:00.",
            "2027-03-08T08:00ä",
            "2027-03-08T08:0ä:00",
            "+2027-03-08T08:00",
            " 2027-03-08T08:00",
        ] {
            assert!(read(bad).is_err(), "{bad}");
        }
        assert!(parse_instant("2027-03-08T08:00", None).is_err());
    }

    #[test]
    fn dates_and_times_of_day_have_one_form() {
        assert!(parse_date("2027-03-08").is_ok() && parse_clock("07:00").is_ok());
        for bad in [
            "2027-3-08",
            "+2027-03-8",
            " 2027-3-08",
            "2027-03- 8",
            "2027-02-29",
        ] {
            assert!(parse_date(bad).is_err(), "{bad}");
        }
        for bad in ["7:00", " 7:00", "7: 00", "07:0", "24:00", "07.00"] {
            assert!(parse_clock(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_gap_and_a_double_hour_are_named() {
        let zone = lisbon();
        let gap = parse_instant("2027-03-28T01:30", Some(&zone)).unwrap_err();
        assert!(
            gap.contains("skips") && gap.contains("2027-03-28T02:30+01:00"),
            "{gap}"
        );
        let twice = parse_instant("2027-10-31T01:30", Some(&zone)).unwrap_err();
        assert!(
            twice.contains("01:30+01:00") && twice.contains("01:30+00:00"),
            "{twice}"
        );
    }
}
