//! The forecast as the command prints it, and in front of the screens.

use crate::support::program::Desk as Shell;
use crate::support::stage::{Script, THEMES, demo, shown, text};
use rigday::app::Overlay;

const MONDAY: &str = "2027-03-22T06:50";

#[test]
fn the_command_tells_dates_and_chances_the_same_each_time() {
    let desk = Shell::demo();
    let line = "plan lab --rounds 0 --forecast --samples 40";
    let said = desk.at(MONDAY, line).good();
    for words in [
        "80 % sure",
        "PV soil meter",
        "40 samples, seed 1; what they rest on:",
        "checks: ",
        "R-407 is left out of the plan",
    ] {
        assert!(said.contains(words), "{words} is not in:\n{said}");
    }
    let plain = desk.at(MONDAY, &format!("{line} --plain")).good();
    let head =
        "finish of\tdue\tby the plan\t50 % sure\t80 % sure\t95 % sure\tin time\tdecided by\n";
    assert!(plain.starts_with(head), "{plain}");
    assert!(
        plain.contains("\nR-401\t2027-04-07T17:00+01:00\t"),
        "{plain}"
    );
    assert_eq!(plain, desk.at(MONDAY, &format!("{line} --plain")).good());
    assert_ne!(
        plain,
        desk.at(MONDAY, &format!("{line} --plain --seed 2")).good()
    );
    let json = desk.at(MONDAY, &format!("{line} --json -")).good();
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["samples"], 40);
    assert_eq!(json["requests"][0]["sure"][1]["percent"], 80.0);
    assert_eq!(json["left_out"][0], "R-407");
    desk.at(MONDAY, "plan lab --forecast --samples 0")
        .bad(2, "--samples: 1 to 1000000 is allowed");
    desk.at(MONDAY, "plan lab --samples 10")
        .bad(2, "--forecast");
    desk.at(MONDAY, "plan lab --forecast --publish")
        .bad(2, "cannot be used with");
}

#[test]
fn a_folder_without_a_ledger_is_forecast_by_what_is_believed_beforehand() {
    let desk = Shell::demo();
    let line = "plan lab --at 2027-03-01T06:50 --rounds 0 --forecast --samples 20";
    let said = desk.run(line).good();
    assert!(
        said.contains("checks: 0 of 0 failed; believed beforehand 0.5 of 10"),
        "{said}"
    );
    assert!(
        said.contains("DV soil meter") && said.contains("R-202"),
        "{said}"
    );
}

#[test]
fn one_key_forecasts_with_news_and_esc_keeps_the_samples_there_are() {
    let mut run = Script::new(demo());
    let screen = |run: &Script, size| text(&shown(&run.app, &THEMES[1], size));
    run.keys("F");
    run.until(
        |overlay| matches!(overlay, Overlay::Forecasting { drawn: (done, _), .. } if *done > 0),
    );
    let shown = screen(&run, (80, 24));
    assert!(shown.contains("Forecast 20/1000"), "{shown}");
    run.keys("Esc");
    run.until(|overlay| matches!(overlay, Overlay::Forecast { .. }));
    let Some(Overlay::Forecast { told, .. }) = run.app.overlays.last() else {
        panic!("a forecast is shown");
    };
    assert!(
        (20..1000).contains(&told.forecast.samples),
        "{}",
        told.forecast.samples
    );
    let shown = screen(&run, (80, 24));
    for words in [
        "80 % sure",
        "in time",
        "decided",
        "R-401",
        "Wed 07 Apr 17:00",
        "PV soil~",
    ] {
        assert!(shown.contains(words), "{words} is not in:\n{shown}");
    }
    // The date that is 80 % sure and the chance are there however narrow it is.
    let narrow = screen(&run, (40, 12));
    assert!(
        narrow.contains("80 % sure") && narrow.contains("in time"),
        "{narrow}"
    );
    let wide = screen(&run, (120, 30));
    assert!(
        wide.contains("50 % sure") && wide.contains("95 % sure"),
        "{wide}"
    );
    run.keys("PgDn PgDn Esc");
    assert!(run.app.overlays.is_empty());
    run.keys("3 F");
    assert!(matches!(
        run.app.overlays.last(),
        Some(Overlay::Forecasting { .. })
    ));
}
