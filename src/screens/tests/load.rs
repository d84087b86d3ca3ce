//! The Load screen: what it shows at a glance, in figures alone, and by its keys.

use super::{Script, THEMES, demo, fresh, shown, text};
use crate::app::{App, Screen};
use crate::usage::table::{Grain, Measure};
use ratatui::style::Modifier;

/// The demo's Monday on the Load screen.
fn on_load() -> App {
    let mut app = demo();
    app.screen = Screen::Load;
    app
}

/// The heat cells of a rig's row.
fn cells(line: &str) -> Vec<&str> {
    let is_cell = |word: &&str| {
        word.len() == 2
            && (["++", "..", "--"].contains(word) || word.chars().all(|c| c.is_ascii_digit()))
    };
    line.split([' ', '|']).filter(is_cell).collect()
}

#[test]
fn t01_load_at_80x24_has_a_heat_row_a_rig_a_trend_and_the_backlog() {
    let app = on_load();
    for theme in &THEMES {
        let screen = text(&shown(&app, theme, 80, 24));
        let lines: Vec<&str> = screen.lines().collect();
        for word in [
            " Load ",
            "Ines",
            "06:50 Lisbon",
            "22 Mar 06:50",
            "as of 06:50",
        ] {
            assert!(lines[0].contains(word), "{word}: {}", lines[0]);
        }
        let is_rig = |line: &&&str| {
            let rigs = &app.desk.lab.rigs;
            let name = line.trim_start_matches(['>', ' ']);
            rigs.iter()
                .any(|rig| name.starts_with(&format!("{} ", rig.id)))
                && cells(line).len() >= 14
        };
        let rows = lines.iter().filter(is_rig).count();
        assert!(rows >= 12, "{rows} rigs:\n{screen}");
        let trend = lines
            .iter()
            .find(|line| line.starts_with("all rigs in use %"));
        let trend = trend.expect("the trend of all rigs");
        for word in [" min ", " max ", " last ", " backlog ", " rig-days"] {
            assert!(trend.contains(word), "{word}: {trend}");
        }
        assert!(screen.contains("bottleneck of "), "{screen}");
        assert!(lines[23].ends_with("? help"), "{}", lines[23]);
    }
}

#[test]
fn t56_heat_reads_without_colour_in_two_digits() {
    let mut app = on_load();
    // Some days before the first record, the history, and a weekend on which nobody was there.
    app.load.first = app.load.first - chrono::Days::new(16);
    app.load.first = Grain::Week.first(app.load.first);
    let buffer = shown(&app, &THEMES[1], 80, 24);
    let screen = text(&buffer);
    let all: Vec<&str> = screen.lines().skip(3).take(12).flat_map(cells).collect();
    assert!(all.len() >= 12 * 14, "{screen}");
    for kind in ["++", "..", "--", "00"] {
        assert!(all.contains(&kind), "{kind} is not in:\n{screen}");
    }
    let is_reversed = |cell: &ratatui::buffer::Cell| cell.modifier.contains(Modifier::REVERSED);
    let coloured = buffer
        .content
        .iter()
        .filter(|cell| cell.fg != ratatui::style::Color::Reset);
    assert_eq!(coloured.count(), 0);
    assert!(
        buffer.content.iter().any(is_reversed),
        "what is selected shows"
    );
    insta::assert_snapshot!("load_ascii_80x24", screen);
}

#[test]
fn without_history_and_plan_the_screen_says_what_is_missing() {
    let mut app = fresh();
    app.screen = Screen::Load;
    let screen = text(&shown(&app, &THEMES[1], 80, 24));
    assert!(
        screen.contains("no plan in force: go to Plan (1), p plans"),
        "{screen}"
    );
    assert!(screen.contains("nothing recorded yet"), "{screen}");
    let cells: Vec<&str> = screen.lines().skip(3).take(12).flat_map(cells).collect();
    assert!(
        cells.iter().filter(|cell| **cell == "..").count() > 100,
        "{screen}"
    );
}

#[test]
fn keys_change_days_figure_order_and_open_the_rigs_units() {
    let mut run = Script::new(demo());
    run.keys("3 w");
    assert_eq!(run.app.load.grain, Grain::Week);
    assert!(run.screen().contains("w12"), "{}", run.screen());
    run.keys("v v");
    assert_eq!(run.app.load.measure, Measure::Down);
    assert!(run.screen().contains("down %"), "{}", run.screen());
    run.keys("v v d");
    assert_eq!(
        (run.app.load.measure, run.app.load.grain),
        (Measure::InUse, Grain::Day)
    );

    // Sorted by the largest of the trend, the rig that was selected stays selected.
    run.keys("j j");
    let rig = run.app.load_rig();
    run.keys("s s s S");
    assert_eq!(run.app.load_rig(), rig);
    assert!(run.screen().contains("maxv"), "{}", run.screen());
    let known = |app: &App| {
        let trend = app.load.trend(&app.desk, app.now);
        let order = app.load.order(&trend);
        let max = |ix: &usize| trend.rows[*ix].trend(app.load.measure).map(|own| own.max);
        order.iter().map(max).collect::<Vec<_>>()
    };
    assert!(known(&run.app).is_sorted_by(|a, b| a >= b));

    let first = run.app.load.first;
    run.keys("Right Right Left");
    assert_eq!(run.app.load.first, first + chrono::Days::new(1));
    run.keys("t");
    assert_eq!(run.app.load.first, first);

    run.keys("g Enter");
    let rig = run.app.load_rig().expect("a rig");
    assert_eq!(
        (run.app.screen, run.app.units.filter.value()),
        (Screen::Units, rig.as_str())
    );
}
