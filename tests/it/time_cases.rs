//! Times and lengths at their edges, in zones with every kind of change, whatever zone the host is in.

use rigday::clock::zone;
use rigday::domain::Minutes;
use rigday::domain::zone::utc_text;
use rigday::lab::{parse_duration, parse_instant};
use std::process::Command;

/// Zone, what somebody wrote, and the instant; or a part of what is said about it.
type Case = (
    &'static str,
    &'static str,
    Result<&'static str, &'static str>,
);

const INSTANTS: [Case; 27] = [
    (
        "Europe/Lisbon",
        "2027-01-15T08:00",
        Ok("2027-01-15T08:00:00Z"),
    ),
    (
        "Europe/Lisbon",
        "2027-07-15T08:00",
        Ok("2027-07-15T07:00:00Z"),
    ),
    (
        "Europe/Lisbon",
        "2027-03-28T00:59",
        Ok("2027-03-28T00:59:00Z"),
    ),
    ("Europe/Lisbon", "2027-03-28T01:00", Err("skips")),
    (
        "Europe/Lisbon",
        "2027-03-28T01:59",
        Err("2027-03-28T02:59+01:00"),
    ),
    (
        "Europe/Lisbon",
        "2027-03-28T02:00",
        Ok("2027-03-28T01:00:00Z"),
    ),
    (
        "Europe/Lisbon",
        "2027-10-31T00:59",
        Ok("2027-10-30T23:59:00Z"),
    ),
    ("Europe/Lisbon", "2027-10-31T01:00", Err("twice")),
    (
        "Europe/Lisbon",
        "2027-10-31T01:59",
        Err("2027-10-31T01:59+00:00"),
    ),
    (
        "Europe/Lisbon",
        "2027-10-31T02:00",
        Ok("2027-10-31T02:00:00Z"),
    ),
    (
        "Europe/Lisbon",
        "2027-10-31T01:30+01:00",
        Ok("2027-10-31T00:30:00Z"),
    ),
    (
        "Europe/Lisbon",
        "2027-10-31T01:30Z",
        Ok("2027-10-31T01:30:00Z"),
    ),
    ("America/Chicago", "2027-03-14T02:30", Err("skips")),
    (
        "America/Chicago",
        "2027-03-14T03:00",
        Ok("2027-03-14T08:00:00Z"),
    ),
    ("America/Chicago", "2027-11-07T01:30", Err("twice")),
    (
        "America/Chicago",
        "2027-12-31T23:59",
        Ok("2028-01-01T05:59:00Z"),
    ),
    (
        "Asia/Kathmandu",
        "2027-06-01T00:00",
        Ok("2027-05-31T18:15:00Z"),
    ),
    (
        "Asia/Kolkata",
        "2027-06-01T05:30",
        Ok("2027-06-01T00:00:00Z"),
    ),
    (
        "America/St_Johns",
        "2027-01-15T08:00",
        Ok("2027-01-15T11:30:00Z"),
    ),
    (
        "Australia/Lord_Howe",
        "2027-01-15T11:00",
        Ok("2027-01-15T00:00:00Z"),
    ),
    ("Etc/UTC", "2000-01-01T00:00", Ok("2000-01-01T00:00:00Z")),
    ("Etc/UTC", "2199-12-31T23:59", Ok("2199-12-31T23:59:00Z")),
    ("Etc/UTC", "2200-01-01T00:00", Err("outside")),
    ("Etc/UTC", "1999-12-31T23:59", Err("outside")),
    ("Etc/UTC", "2028-02-29T12:00", Ok("2028-02-29T12:00:00Z")),
    ("Etc/UTC", "2027-02-29T12:00", Err("no instant")),
    ("Etc/UTC", "2027-06-30T23:59:60", Err("second 60")),
];

/// A length as somebody wrote it, and its minutes; or a part of what is said about it.
type Length = (&'static str, Result<i64, &'static str>);

const LENGTHS: [Length; 14] = [
    ("1m", Ok(1)),
    ("0m", Ok(0)),
    ("60s", Ok(1)),
    ("90s", Err("whole minutes")),
    ("1500ms", Err("whole minutes")),
    ("2h 30m", Ok(150)),
    ("36500days", Ok(36_500 * 1440)),
    ("36501days", Err("100 years")),
    ("1month", Err("no fixed length")),
    ("1y", Err("no fixed length")),
    ("-1h", Err("no duration")),
    ("nan", Err("no duration")),
    ("inf", Err("no duration")),
    ("99999999999999999999h", Err("no duration")),
];

#[test]
fn f17_times_are_as_they_are_whatever_zone_the_host_is_in() {
    if std::env::var_os("RIGDAY_TEST_ZONE").is_some() {
        return every_case();
    }
    for host in [
        "Etc/UTC",
        "Pacific/Apia",
        "America/Chicago",
        "nonsense/zone",
    ] {
        let own = std::env::current_exe().expect("this test");
        let name = "time_cases::f17_times_are_as_they_are_whatever_zone_the_host_is_in";
        let output = Command::new(own)
            .args(["--exact", name])
            .env("TZ", host)
            .env("RIGDAY_TEST_ZONE", "1")
            .output()
            .expect("a process of its own");
        let said = String::from_utf8_lossy(&output.stdout);
        assert!(
            output.status.success() && said.contains("1 passed"),
            "{host}: {said}"
        );
    }
}

fn every_case() {
    for (name, text, expected) in &INSTANTS {
        let zone = zone(name).expect("a known zone");
        let read = parse_instant(text, Some(&zone)).map(utc_text);
        match (&read, expected) {
            (Ok(read), Ok(instant)) => assert_eq!(read, instant, "{name} {text}"),
            (Err(said), Err(words)) => assert!(said.contains(words), "{name} {text}: {said}"),
            _ => panic!("{name} {text}: {read:?}"),
        }
    }
    for (text, expected) in &LENGTHS {
        let read = parse_duration(text);
        match (&read, expected) {
            (Ok(read), Ok(minutes)) => assert_eq!(*read, Minutes::new(*minutes), "{text}"),
            (Err(said), Err(words)) => assert!(said.contains(words), "{text}: {said}"),
            _ => panic!("{text}: {read:?}"),
        }
    }
}
