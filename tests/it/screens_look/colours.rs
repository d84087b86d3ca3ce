//! Colours and marks: pairs only, states that differ without colour, ASCII where asked for.

use crate::support::program::Desk;
use crate::support::stage::{Script, THEMES, demo, overlays, shown, text};
use ratatui::backend::CrosstermBackend;
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use ratatui::{Terminal, TerminalOptions, Viewport};
use rigday::app::{App, Message, Overlay, Screen};
use rigday::floor::UnitState;
use rigday::screens::draw;
use rigday::screens::looks::Looks;
use rigday::screens::theme::{Level, RIG_STATES, Theme};
use std::collections::BTreeSet;
use unicode_width::UnicodeWidthStr;

/// Every screen, and everything that can lie in front, drawn at a few sizes.
fn every_drawing(theme: &Theme, mut judge: impl FnMut(&str, &Buffer)) {
    let mut app = demo();
    let fronts = overlays(&app).into_iter().map(Some);
    let fronts: Vec<Option<Overlay>> = std::iter::once(None).chain(fronts).collect();
    for screen in Screen::ALL {
        app.screen = screen;
        for (at, front) in fronts.iter().enumerate() {
            app.overlays = front.iter().cloned().collect();
            for size in [(80, 24), (40, 12), (130, 45)] {
                judge(
                    &format!("{screen:?}, front {at}, {size:?}"),
                    &shown(&app, theme, size),
                );
            }
        }
    }
}

#[test]
fn t52_a_coloured_cell_is_one_of_the_pairs_and_all_else_the_terminals_own() {
    let mut looks = Looks::built_in();
    for (name, level) in [
        ("named", Level::Ansi16),
        ("dark", Level::Ansi256),
        ("light", Level::Rgb),
    ] {
        looks.choose(name).expect("it is built in");
        let pairs = looks.pairs(level);
        let theme = Theme {
            unicode: true,
            level,
            pairs,
        };
        every_drawing(&theme, |place, buffer| {
            for cell in &buffer.content {
                let own = (cell.fg, cell.bg);
                let plain = own == (Color::Reset, Color::Reset);
                assert!(plain || pairs.all().contains(&own), "{own:?} on {place}");
                assert!(!cell.modifier.contains(Modifier::DIM), "{place} is dim");
            }
        });
    }
}

#[test]
fn t51_without_colours_no_cell_has_one_and_the_selection_is_still_seen() {
    every_drawing(&THEMES[1], |place, buffer| {
        let bare = |cell: &Cell| (cell.fg, cell.bg) == (Color::Reset, Color::Reset);
        assert!(buffer.content.iter().all(bare), "{place}");
    });
    let mut app = demo();
    for screen in [Screen::Bench, Screen::Load, Screen::Units, Screen::Evidence] {
        app.screen = screen;
        let buffer = shown(&app, &THEMES[1], (80, 24));
        let chosen = (1..22).filter(|y| buffer[(0, *y)].symbol() == ">");
        let reversed = chosen.filter(|y| buffer[(1, *y)].modifier.contains(Modifier::REVERSED));
        assert_eq!(reversed.count(), 1, "{}", text(&buffer));
    }
}

/// The parameters of every select-graphic-rendition sequence in the bytes.
fn renditions(bytes: &str) -> Vec<String> {
    let ends = |rest: &str| rest.find(|letter: char| letter.is_ascii_alphabetic());
    let sequences = bytes.split("\u{1b}[").skip(1);
    let own = sequences.filter_map(|rest| {
        let end = ends(rest)?;
        rest[end..].starts_with('m').then(|| rest[..end].to_owned())
    });
    own.flat_map(|all| all.split(';').map(str::to_owned).collect::<Vec<String>>())
        .collect()
}

#[test]
fn t51_the_bytes_hold_no_colour_and_reverse_stands_before_the_selected_row() {
    let mut app = demo();
    app.screen = Screen::Units;
    let mut bytes: Vec<u8> = Vec::new();
    crossterm::style::force_color_output(false);
    let area = Rect::new(0, 0, 80, 24);
    let options = TerminalOptions {
        viewport: Viewport::Fixed(area),
    };
    let mut terminal = Terminal::with_options(CrosstermBackend::new(&mut bytes), options)
        .expect("a vector takes it");
    let drawn = terminal.draw(|frame| {
        draw(&app, &THEMES[1], area, frame.buffer_mut());
    });
    drawn.expect("a vector takes it");
    drop(terminal);
    let bytes = String::from_utf8(bytes).expect("text");
    for own in renditions(&bytes) {
        let number: u32 = own.parse().unwrap_or(0);
        assert!(
            !(30..=49).contains(&number) && !(90..=107).contains(&number),
            "{own}"
        );
    }
    let selected = bytes.find(">LS-").expect("the selected row");
    let last = bytes[..selected]
        .rfind("\u{1b}[")
        .expect("a sequence before it");
    assert!(
        bytes[last..selected].starts_with("\u{1b}[7m"),
        "{:?}",
        &bytes[last..=selected]
    );
}

#[test]
fn t53_states_differ_as_they_are_printed_without_any_colour() {
    for theme in THEMES {
        let marks: BTreeSet<&str> = UnitState::ALL
            .iter()
            .map(|state| theme.mark(*state))
            .collect();
        assert_eq!(marks.len(), UnitState::ALL.len());
        let rigs: BTreeSet<&str> = RIG_STATES
            .iter()
            .map(|state| theme.rig_mark(*state))
            .collect();
        assert_eq!(rigs.len(), RIG_STATES.len());
        assert!(
            marks
                .iter()
                .all(|mark| !["!!", "*", ">", "|"].contains(mark))
        );
    }
    let printed = |app: &App| text(&shown(app, &THEMES[1], (80, 24)));
    let differs = |what: &str, screen: Screen, change: &dyn Fn(&mut App)| {
        let mut app = demo();
        app.screen = screen;
        let before = printed(&app);
        change(&mut app);
        assert_ne!(
            printed(&app),
            before,
            "{what} is not to be told from what it is not"
        );
    };
    differs("the selection", Screen::Units, &|app| {
        app.units.selected = 1;
    });
    differs("the selection", Screen::Bench, &|app| {
        app.bench.selected = 1;
    });
    differs("the focus of the filter", Screen::Units, &|app| {
        app.units.typing = true;
    });
    differs("a clash", Screen::Plan, &|app| {
        let busiest = app
            .view
            .rigs
            .iter_mut()
            .take(10)
            .max_by_key(|own| own.entries.len());
        busiest
            .expect("rigs")
            .entries
            .iter_mut()
            .for_each(|own| own.clash = true);
    });
    differs("stale data", Screen::Load, &|app| {
        app.read = app.read.saturating_sub(std::time::Duration::from_secs(60));
    });
    differs("a what-if", Screen::Plan, &|app| {
        let front = overlays(app)
            .into_iter()
            .find(|own| matches!(own, Overlay::Beside { .. }));
        app.overlays.extend(front);
    });
    differs("a rig that is down", Screen::Plan, &|app| {
        app.view.rigs[1].state = RIG_STATES[3];
    });
}

#[test]
fn t54_in_ascii_every_cell_of_ours_is_ascii() {
    let theme = Theme::new(false, Level::Ansi16);
    every_drawing(&theme, |place, buffer| {
        for cell in &buffer.content {
            // What a person typed is shown as it was typed; the stage types two such signs.
            let plain = cell
                .symbol()
                .chars()
                .all(|own| (' '..='~').contains(&own) || "漢字".contains(own));
            assert!(plain, "{:?} on {place}", cell.symbol());
        }
    });
}

#[test]
fn t55_marks_are_one_column_wide_everywhere_and_nothing_is_drawn_from_private_fonts() {
    for theme in THEMES {
        for mark in UnitState::ALL.map(|state| theme.mark(state)) {
            assert_eq!((mark.width(), mark.width_cjk()), (1, 1), "{mark}");
        }
    }
    every_drawing(&THEMES[0], |place, buffer| {
        for own in buffer.content.iter().flat_map(|cell| cell.symbol().chars()) {
            let private = matches!(own, '\u{e000}'..='\u{f8ff}' | '\u{f0000}'..='\u{10ffff}');
            let pictured = matches!(own, '\u{1f000}'..='\u{1faff}' | '\u{fe0f}');
            assert!(!private && !pictured, "{own:?} on {place}");
        }
    });
}

#[test]
fn t50_the_doctor_says_what_was_chosen_and_why() {
    let desk = Desk::demo();
    let doctor = |variables: &[(&str, &str)], words: &[&str]| {
        let words = [&["doctor", "--lab", "lab"], words].concat();
        let mut command = desk.command(&words);
        command.envs(variables.iter().copied());
        let output = command.output().expect("the program runs");
        String::from_utf8(output.stdout).expect("text")
    };
    let told = doctor(&[("TERM", "xterm-256color"), ("LANG", "en_GB.UTF-8")], &[]);
    assert!(
        told.contains("ok    colours: 256, as TERM is xterm-256color\n"),
        "{told}"
    );
    assert!(
        told.contains("ok    marks: unicode, as LANG is en_GB.UTF-8\n"),
        "{told}"
    );
    assert!(
        told.contains("ok    theme: dark, by theme.toml\n"),
        "{told}"
    );
    let told = doctor(
        &[("TERM", "xterm"), ("NO_COLOR", "1")],
        &["--glyphs", "unicode", "--theme", "light"],
    );
    assert!(told.contains("colours: none, as NO_COLOR is set"), "{told}");
    assert!(
        told.contains("marks: unicode, by --glyphs=unicode"),
        "{told}"
    );
    assert!(told.contains("theme: light, by --theme"), "{told}");
    let told = doctor(&[("TERM", "xterm"), ("NO_COLOR", "")], &["--color=never"]);
    assert!(told.contains("colours: none, by --color=never"), "{told}");
    desk.run("doctor --lab lab --theme pink");
    let told = doctor(&[("TERM", "xterm")], &["--theme", "pink"]);
    assert!(
        told.contains("BAD   --theme: there is no theme `pink`"),
        "{told}"
    );
}

#[test]
fn nothing_shines_through_what_lies_in_front() {
    let mut app = demo();
    app.overlays = overlays(&app).into_iter().take(1).collect();
    let front = shown(&app, &THEMES[0], (80, 24));
    for y in 3..20 {
        for x in 0..80 {
            let cell = &front[(x, y)];
            let own = (cell.bg, cell.modifier.contains(Modifier::BOLD));
            assert_eq!(own, (Color::Reset, false), "{x}, {y}: {}", text(&front));
        }
    }
}

#[test]
fn a_selected_line_of_a_question_is_marked_and_reversed() {
    let mut run = Script::new(demo()).on(Screen::Plan);
    run.keys("a");
    run.send(Message::Resized);
    let buffer = shown(&run.app, &THEMES[1], (80, 24));
    let marked = (0..24).flat_map(|y| (1..79).map(move |x| (x, y)));
    let marked = marked.filter(|own| {
        buffer[*own].symbol() == ">" && buffer[*own].modifier.contains(Modifier::REVERSED)
    });
    assert_eq!(marked.count(), 1, "{}", text(&buffer));
}
