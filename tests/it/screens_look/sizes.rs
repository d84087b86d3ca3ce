//! Any size, any name: nothing breaks, nothing is hidden too early, columns stay in place.

use crate::support::stage::{
    NASTY, Script, THEMES, demo, fresh, hostile, overlays, row, shown, text,
};
use rigday::app::{App, Overlay, Screen};
use rigday::domain::text::is_hidden;
use rigday::screens::theme::RIG_STATES;

/// Every screen, and everything that can lie in front of one, on one screen after the other.
fn stages(app: &App) -> Vec<(Screen, Option<Overlay>)> {
    let screens = Screen::ALL.into_iter().map(|screen| (screen, None));
    let fronts = overlays(app)
        .into_iter()
        .zip(Screen::ALL.into_iter().cycle());
    screens
        .chain(fronts.map(|(own, screen)| (screen, Some(own))))
        .collect()
}

#[test]
fn t03_no_size_breaks_a_screen_and_no_cell_steers_the_terminal() {
    const WIDTHS: usize = 131;
    const HEIGHTS: usize = 46;
    // 503 is a prime beside 131 and 46, so that in time every width meets every height.
    let stride = if std::env::var_os("TEST_FULL").is_some() {
        1
    } else {
        503
    };
    let mut drawn = 0;
    for mut app in [fresh(), demo(), hostile()] {
        app.bench.unit = Some(app.desk.lab.requests[0].units[0].clone());
        let stages = stages(&app);
        for at in (0..stages.len() * WIDTHS * HEIGHTS).step_by(stride) {
            let (screen, overlay) = &stages[at / (WIDTHS * HEIGHTS)];
            let (width, height) = (at % WIDTHS, at / WIDTHS % HEIGHTS);
            let size = (
                u16::try_from(width).expect("small"),
                u16::try_from(height).expect("small"),
            );
            app.screen = *screen;
            app.overlays = overlay.iter().cloned().collect();
            let buffer = shown(&app, &THEMES[at % 2], size);
            let steers = buffer
                .content
                .iter()
                .any(|cell| cell.symbol().chars().any(is_hidden));
            assert!(!steers, "{screen:?} at {size:?}");
            drawn += 1;
        }
    }
    println!("{drawn} drawings");
}

#[test]
fn t02_screens_get_smaller_step_by_step_and_say_what_they_need() {
    let mut run = Script::new(demo());
    for screen in Screen::ALL {
        run.app.screen = screen;
        for size in [(40, 12), (60, 18)] {
            let drawn = text(&shown(&run.app, &THEMES[1], size));
            assert!(drawn.starts_with(&format!(" {}", screen.name())), "{drawn}");
            assert!(drawn.lines().count() == usize::from(size.1), "{drawn}");
        }
        for size in [(39, 12), (40, 11), (24, 3)] {
            let drawn = text(&shown(&run.app, &THEMES[1], size));
            let need = format!("Need 40x12, have {}x{}", size.0, size.1);
            assert_eq!(drawn.trim_end(), need);
        }
    }
    run.keys("1 ?");
    let help = text(&shown(&run.app, &THEMES[1], (39, 11)));
    assert!(
        help.starts_with("Need 40x12, have 39x11") && help.contains("Plan from now"),
        "{help}"
    );
    run.keys("Esc q");
    assert!(run.app.over);
}

#[test]
fn t01_at_80x24_each_screen_shows_what_it_is_for() {
    let mut app = demo();
    let drawn = |app: &App| text(&shown(app, &THEMES[1], (80, 24)));
    for screen in Screen::ALL {
        app.screen = screen;
        let all = drawn(&app);
        let head = all.lines().next().expect("a header");
        let says = |word: &str| assert!(head.contains(word), "{word} is not in {head}");
        says(screen.name());
        says("Ines");
        says("06:50");
        says("06:50 Lisbon");
        says("as of 06:50");
        assert!(
            all.lines()
                .last()
                .is_some_and(|keys| keys.ends_with("? help")),
            "{all}"
        );
    }
    app.screen = Screen::Plan;
    let plan = drawn(&app);
    let marks = RIG_STATES.map(|state| THEMES[1].rig_mark(state));
    let rigs = plan
        .lines()
        .filter(|line| marks.iter().any(|mark| line.contains(mark)))
        .count();
    assert!(rigs >= 14, "{rigs} rigs:\n{plan}");
    assert!(plan.contains("now"), "{plan}");
    app.screen = Screen::Bench;
    let bench = drawn(&app);
    assert!(
        bench.contains("Scan") && bench.matches("load ").count() >= 8,
        "{bench}"
    );
    app.screen = Screen::Load;
    let load = drawn(&app);
    let rigs = &app.view.rigs;
    let shown = rigs.iter().filter(|own| {
        load.lines().any(|line| {
            line.trim_start_matches('>')
                .trim_start()
                .starts_with(own.rig.as_str())
        })
    });
    assert!(shown.count() >= 12 && load.contains("backlog"), "{load}");
}

#[test]
fn t05_names_of_any_script_keep_every_column_in_place() {
    let mut app = hostile();
    // The border of a walk is a straight line whatever the unit is called.
    for (request, name) in app.desk.lab.requests.clone().iter().zip(NASTY) {
        app.overlays = vec![Overlay::Walk {
            unit: request.units[0].clone(),
            scroll: 0,
        }];
        let buffer = shown(&app, &THEMES[1], (80, 24));
        for y in 2..20 {
            let ends = [buffer[(0, y)].symbol(), buffer[(79, y)].symbol()];
            assert_eq!(ends, ["|", "|"], "{name:?}: {}", row(&buffer, y));
        }
    }
    // The state of a unit stands in one column.
    app.overlays.clear();
    app.screen = Screen::Units;
    let buffer = shown(&app, &THEMES[1], (80, 24));
    let rows = (0..24).filter(|y| row(&buffer, *y).contains("waiting"));
    let columns: std::collections::BTreeSet<u16> = rows
        .map(|y| {
            (0..80)
                .find(|x| buffer[(*x, y)].symbol() == "w" && buffer[(*x + 1, y)].symbol() == "a")
                .expect("waiting")
        })
        .collect();
    assert_eq!(columns.len(), 1, "{}", text(&buffer));
    assert!(text(&buffer).contains('~'), "what is cut ends in ~");
}
