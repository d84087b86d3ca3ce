//! Dates on the screens: the lab's zone, the user's form, and what is typed read in full.

use crate::support::program::Desk;
use crate::support::stage::{Script, THEMES, demo, shown, text};
use rigday::app::dates::{Dates, Hours, Order};
use rigday::app::{Overlay, Screen};
use rigday::clock::zone;
use rigday::domain::{EventBody, Minutes, Span};
use rigday::lab::parse_instant;
use rigday::widgets::timeline::Axis;

#[test]
fn t80_the_lab_is_shown_in_its_own_zone_wherever_the_user_sits() {
    let desk = Desk::demo();
    let told = |tz: &str, line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let mut command = desk.command(&words);
        command.env("TZ", tz);
        crate::support::program::Ended::of(command.output().expect("the program runs")).good()
    };
    for line in [
        "due --lab lab --now 2027-03-22T06:50",
        "units --lab lab --now 2027-03-22T06:50",
        "load lab --now 2027-03-22T06:50",
        "log --lab lab",
    ] {
        let tokyo = told("Asia/Tokyo", line);
        assert!(!tokyo.is_empty());
        assert_eq!(tokyo, told("America/Los_Angeles", line), "{line}");
        assert_eq!(tokyo, told("UTC0", line), "{line}");
    }
}

#[test]
fn t81_a_date_is_read_in_full_before_enter_takes_it() {
    let mut run = Script::new(demo());
    run.keys("d");
    run.type_in("door");
    run.keys("Enter");
    assert!(
        run.screen().contains("When is fb-1 expected back?"),
        "{}",
        run.screen()
    );
    run.type_in("tomorrow 8");
    assert!(
        run.screen().contains("= Tue 2027-03-23 08:00 +00:00"),
        "{}",
        run.screen()
    );
    run.keys("Ctrl-u");
    run.type_in("03/04");
    assert!(
        run.screen().contains("write the year first"),
        "{}",
        run.screen()
    );
    let events = run.app.desk.floor.events.len();
    run.keys("Enter");
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "what cannot be read is not taken"
    );
    // A skipped hour is named, and the user chooses.
    run.keys("Ctrl-u");
    run.type_in("2027-03-28 01:30");
    assert!(
        run.screen()
            .contains("Europe/Lisbon skips Sun 2027-03-28 01:30"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is chosen yet"
    );
    run.keys("Down Down Enter");
    let last = &run.app.desk.floor.events.last().expect("an event").body;
    let at = parse_instant("2027-03-28T02:30+01:00", None).expect("an instant");
    assert!(
        matches!(last, EventBody::RigDown { until: Some(until), .. } if *until == at),
        "{last:?}"
    );
    assert!(
        run.screen()
            .contains("fb-1 is down until Sun 2027-03-28 02:30 +01:00"),
        "{}",
        run.screen()
    );
}

#[test]
fn t81_a_time_that_is_past_asks_for_the_day() {
    let mut run = Script::new(demo());
    run.keys("d");
    run.type_in("door");
    run.keys("Enter");
    run.type_in("06:00");
    let drawn = run.screen();
    assert!(
        drawn.contains("06:00 is already past today; choose:")
            && drawn.contains("Tue 2027-03-23 06:00"),
        "{drawn}"
    );
    run.keys("Ctrl-u");
    run.type_in("-2h");
    assert!(run.screen().contains("is past"), "{}", run.screen());
    run.keys("Ctrl-u Enter");
    let last = &run.app.desk.floor.events.last().expect("an event").body;
    assert!(
        matches!(last, EventBody::RigDown { until: None, .. }),
        "{last:?}"
    );
}

#[test]
fn t81_a_what_if_reads_its_times_in_full() {
    let mut run = Script::new(demo());
    run.keys("w");
    assert!(
        matches!(run.app.overlays.last(), Some(Overlay::Changes { .. })),
        "what-if asks for changes"
    );
    run.type_in("rig-down dr-1 14:30 \"tomorrow 8\"");
    let drawn = run.screen();
    assert!(
        drawn.contains("= rig-down dr-1 2027-03-22T14:30+00:00 2027-03-23T08:00+00:00"),
        "{drawn}"
    );
}

#[test]
fn t82_columns_are_elapsed_time_across_a_change() {
    for (name, before, after, hours) in [
        ("Europe/Lisbon", "2027-03-28T00:00", "2027-03-29T00:00", 23),
        (
            "America/Chicago",
            "2027-11-07T00:00",
            "2027-11-08T00:00",
            25,
        ),
    ] {
        let zone = zone(name).expect("a known zone");
        let at = |text| parse_instant(text, Some(&zone)).expect("an instant");
        let axis = Axis {
            from: at(before) - Minutes::hours(5),
            scale: Minutes::hours(1),
            columns: 60,
        };
        let day = axis.columns_of(Span::new(at(before), at(after)));
        assert_eq!(
            day,
            Some((5, 5 + hours)),
            "{name}: the day between two midnights"
        );
        // Ten hours of a run are ten columns, whatever the clocks do meanwhile.
        let run = Span::new(at(before), at(before) + Minutes::hours(10));
        assert_eq!(axis.columns_of(run), Some((5, 15)), "{name}");
    }
}

#[test]
fn t83_the_screens_write_dates_as_the_user_set_them() {
    let mut app = demo();
    app.screen = Screen::Bench;
    let drawn = |app: &rigday::app::App| text(&shown(app, &THEMES[1], (120, 24)));
    let iso = drawn(&app);
    assert!(
        iso.contains("Mon 2027-03-22 06:50") && iso.contains("07:20"),
        "{iso}"
    );
    app.settings.dates = Dates {
        hours: Hours::Of12,
        order: Order::DayMonth,
        ..Dates::default()
    };
    let other = drawn(&app);
    assert!(
        other.contains("Mon 22 Mar 2027 6:50am") && other.contains("7:20am"),
        "{other}"
    );
}
