//! The technician's morning by keys: what is scanned, what is shown, what is recorded.

use crate::app::{App, BenchList, Message, Screen};
use crate::domain::{EventBody, Minutes, UnitId, Verdict};
use crate::floor::Task;
use crate::screens::tests::{Script, THEMES, demo, demo_on, fresh, shown, text};
use crate::terminal::step;
use crate::widgets::big::big;
use std::time::Duration;

/// The demo with its Bench in front.
fn bench() -> Script {
    let mut run = Script::new(demo());
    run.keys("2");
    run
}

/// A unit whose first step, a check, can be loaded now.
fn to_check(app: &App) -> UnitId {
    let stops = |unit: &UnitId| unit.as_str().starts_with("R-308");
    let due = app.view.due.iter();
    let mut checks = due.filter(|due| due.task == Task::Load && stops(&due.unit));
    checks
        .find(|due| due.rig.as_str() == "rf-1")
        .expect("a check is to be loaded")
        .unit
        .clone()
}

impl Script {
    fn scan(&mut self, serial: &str) {
        self.type_in(serial);
        self.keys("Enter");
    }

    fn at(&self, width: u16, height: u16) -> String {
        text(&shown(&self.app, &THEMES[1], width, height))
    }

    fn events(&self) -> usize {
        self.app.desk.floor.events.len()
    }

    fn last(&self) -> EventBody {
        self.app
            .desk
            .floor
            .events
            .last()
            .expect("an event")
            .body
            .clone()
    }
}

#[test]
fn t01_bench_at_80x24_has_scan_line_card_and_eight_lines_of_what_is_due() {
    let mut run = bench();
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    for keys in ["", "l", "p"] {
        run.keys(keys);
        let screen = run.at(80, 24);
        let lines: Vec<&str> = screen.lines().collect();
        for wanted in [
            " Bench ",
            "Ines",
            "06:50 Lisbon",
            "Mon 22 Mar 06:50",
            "as of 06:50:00",
        ] {
            assert!(lines[0].contains(wanted), "{wanted}: {screen}");
        }
        assert!(lines[1].starts_with("Scan or type a serial: _"), "{screen}");
        assert!(screen.contains(unit.as_str()), "{screen}");
        let tasks = ["load ", "unload ", "verdict "];
        let due = lines.iter().filter(|line| {
            tasks
                .iter()
                .any(|task| line.trim_start_matches(['>', ' ']).starts_with(task))
        });
        assert!(due.count() >= 8, "{screen}");
        assert!(lines[23].contains("? help"), "{screen}");
    }
}

#[test]
fn the_bench_looks_as_it_was_read() {
    let mut run = bench();
    let picture = |name: &str, app: &App, size: (u16, u16)| {
        let name = format!("{name}_{}x{}", size.0, size.1);
        insta::assert_snapshot!(name, text(&shown(app, &THEMES[0], size.0, size.1)));
    };
    run.keys("Right");
    picture("bench_rigs", &run.app, (80, 24));
    run.keys("Left");
    run.scan("R-308/2");
    for size in [(80, 24), (120, 40), (60, 18), (40, 12)] {
        picture("bench_card", &run.app, size);
    }
    run.keys("o");
    picture("bench_unloaded", &run.app, (80, 24));
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l f");
    picture("bench_why", &run.app, (80, 24));
    run.keys("Down Enter");
    for size in [(80, 24), (120, 40), (60, 18), (40, 12)] {
        picture("bench_fail", &run.app, size);
    }
    run.scan("R-38/2");
    picture("bench_no_unit", &run.app, (80, 24));
}

#[test]
fn t06_the_due_list_narrows_as_one_types_and_says_by_what() {
    let mut run = bench();
    let all = run.app.view.due.len();
    run.type_in("/md-1 unl");
    let count = run.app.shown_due().len();
    assert!(count > 0 && count < all);
    assert!(
        run.app
            .shown_due()
            .iter()
            .all(|due| due.rig.as_str() == "md-1")
    );
    assert!(
        run.screen()
            .contains(&format!("/md-1 unl  {count} of {all}")),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert_eq!(run.app.bench.scan.value(), "");
    assert!(
        run.screen()
            .contains(&format!("/md-1 unl  {count} of {all}")),
        "{}",
        run.screen()
    );
    assert!(
        run.screen().contains("closes ^"),
        "the order is shown: {}",
        run.screen()
    );
    // It belongs to this screen, a scan does not disturb it, and Esc clears it at last.
    run.keys("4");
    assert!(!run.screen().contains("/md-1"), "{}", run.screen());
    run.keys("2");
    run.scan("R-308/2");
    assert_eq!(run.app.shown_due().len(), count);
    run.keys("Esc Esc Esc");
    assert_eq!(run.app.shown_due().len(), all);
    // By request, method, product and state too.
    for find in ["r-308", "low-drops", "dv r-307", "running"] {
        run.type_in(&format!("/{find}"));
        assert!(!run.app.shown_due().is_empty(), "{find}");
        assert!(run.app.shown_due().len() < all, "{find}");
        run.keys("Esc");
    }
    run.type_in("/no such thing");
    assert!(
        run.screen().contains("Esc clears what narrows"),
        "{}",
        run.screen()
    );
}

#[test]
fn t07_an_empty_bench_says_what_is_missing_and_which_key_helps() {
    let mut app = fresh();
    app.screen = Screen::Bench;
    app.view.due.clear();
    app.view.work.clear();
    // Wherever the lines break.
    let said = |app: &App| {
        let screen = text(&shown(app, &THEMES[1], 80, 24));
        screen.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(
        said(&app).contains("no plan is published"),
        "{}",
        said(&app)
    );
    assert!(
        said(&app).contains("(1) p makes one, c publishes it"),
        "{}",
        said(&app)
    );
    assert!(said(&app).contains("Scan its label"), "{}", said(&app));
    app.view.units.clear();
    assert!(said(&app).contains("rigday take FILE"), "{}", said(&app));
    let mut app = demo();
    app.screen = Screen::Bench;
    app.view.due.clear();
    assert!(
        said(&app).contains("is on the Plan screen (1)"),
        "{}",
        said(&app)
    );
    for screen in Screen::ALL {
        app.screen = screen;
        assert!(said(&app).contains("SAMPLE"));
    }
}

#[test]
fn t60_every_end_of_a_scan_ends_it_once() {
    let mut run = bench();
    for end in ["Enter", "Ctrl-j", "Enter Ctrl-j", "Tab"] {
        run.type_in("R-308/2");
        run.keys(end);
        assert_eq!(run.app.bench.unit, Some(UnitId::new("R-308/2")), "{end}");
        assert_eq!(run.app.bench.scan.value(), "", "{end}");
        assert_eq!(run.app.screen, Screen::Bench, "{end}");
        assert!(run.app.overlays.is_empty(), "{end}");
        run.keys("Esc Esc");
    }
    // Control keys within a scan are the scanner's own; none of them leaves the program or the screen.
    run.keys("R Ctrl-5 - 3 Ctrl-b 0 Ctrl-c 8 Ctrl-p / 2 Enter");
    assert_eq!(run.app.bench.unit, Some(UnitId::new("R-308/2")));
    assert!(!run.app.over && run.app.overlays.is_empty());
}

#[test]
fn t61_a_scan_gives_no_verdict_however_often_it_comes() {
    let mut run = bench();
    let (events, unit) = (run.events(), to_check(&run.app));
    for _ in 0..2 {
        run.type_in(unit.as_str());
        run.keys("Enter Ctrl-j");
    }
    assert_eq!(run.events(), events);
    assert_eq!(run.app.bench.unit, Some(unit));
    run.keys("Enter");
    assert_eq!(
        run.events(),
        events,
        "Enter opens the unit and never means pass"
    );
    assert!(run.screen().contains("its walk and its history"));
}

#[test]
fn t63_cards_do_what_the_keys_do() {
    let mut run = bench();
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.scan("%LOAD");
    run.scan("%FAIL");
    assert!(run.screen().contains("Why did"), "{}", run.screen());
    // A pass is no reason; the question stays.
    let events = run.events();
    run.scan("%PASS");
    assert_eq!(run.events(), events);
    run.scan("%WHY-Water Inside");
    let failed = |reason: &str| Verdict::Fail {
        reason: reason.to_owned(),
    };
    let verdict = |run: &Script| match run.last() {
        EventBody::VerdictGiven { verdict, .. } => Some(verdict),
        _ => None,
    };
    assert_eq!(
        verdict(&run),
        Some(failed("water inside")),
        "as the lab spells it"
    );
    run.scan("%UNDO");
    assert!(matches!(run.last(), EventBody::Correction { .. }));
    run.scan("%WHO-Ana Reis");
    assert!(
        run.screen()
            .lines()
            .next()
            .is_some_and(|head| head.contains("Ana Reis"))
    );
    run.scan("%PASS");
    assert_eq!(verdict(&run), Some(Verdict::Pass));
    let last = run.app.desk.floor.events.last().expect("an event");
    assert_eq!(last.actor.person, "Ana Reis");
    run.scan("%PSAS");
    assert!(
        run.screen().contains("no card has this code"),
        "{}",
        run.screen()
    );
}

#[test]
fn t64_verdicts_are_shown_large_with_the_serial_until_the_next_scan() {
    let mut run = bench();
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l p");
    let large = big("PASS");
    let screen = run.at(80, 24);
    assert!(
        large.iter().all(|row| screen.contains(row.trim_end())),
        "{screen}"
    );
    assert!(
        screen.contains(unit.as_str()) && screen.contains("by Ines; u undoes"),
        "{screen}"
    );
    run.keys("Down Up");
    assert!(run.at(80, 24).contains(large[0].trim_end()), "it stays");
    // Where there is no room for large letters the words stay.
    let small = run.at(40, 12);
    assert!(small.contains(&format!("PASS  {unit}")), "{small}");
    run.scan("R-308/2");
    assert!(
        !run.at(80, 24).contains(large[0].trim_end()),
        "until the next scan"
    );
}

#[test]
fn t64_a_fail_needs_a_reason_from_the_list_with_words_beside_it() {
    let mut run = bench();
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l f");
    let events = run.events();
    run.keys("Enter");
    assert_eq!(run.events(), events, "no reason, no fail");
    run.keys("Down Down");
    run.type_in("after 3 h");
    run.keys("Enter");
    let reason = format!("{}: after 3 h", run.app.desk.lab.fail_reasons[1]);
    let wanted = Verdict::Fail { reason };
    assert!(matches!(run.last(), EventBody::VerdictGiven { verdict, .. } if verdict == wanted));
}

#[test]
fn t64_letters_are_text_once_the_scan_line_is_not_empty() {
    let mut run = bench();
    let events = run.events();
    run.scan("R-308/2");
    // As the terminal tells a letter that did not come alone.
    step(
        &mut run.app,
        Message::Text("pf".to_owned()),
        &mut crate::app::Jobs::new(std::sync::mpsc::channel().0),
    );
    run.keys("p f h");
    assert_eq!(run.app.bench.scan.value(), "pfpfh");
    assert_eq!(run.events(), events);
}

#[test]
fn t65_an_unknown_serial_is_told_loud_with_those_that_are_like_it() {
    let mut run = bench();
    run.scan("R-308/2");
    let events = run.events();
    run.scan("R-38/2");
    let screen = run.at(80, 24);
    assert!(screen.contains(big("NO UNIT")[0].trim_end()), "{screen}");
    assert!(
        screen.contains("nothing was recorded") && screen.contains("nearest: R-308/2"),
        "{screen}"
    );
    assert_eq!(run.app.bench.unit, None, "no other unit stays on the card");
    run.keys("p");
    assert_eq!(run.events(), events);
}

#[test]
fn t65_the_same_serial_within_two_seconds_is_ignored_with_a_note() {
    let (app, clock) = demo_on();
    let mut run = Script::new(app);
    run.keys("2");
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l");
    run.scan(unit.as_str());
    assert!(
        run.app.bench.answer.is_none(),
        "after a deed the next scan counts"
    );
    clock.pass(Duration::from_millis(1900));
    run.scan(unit.as_str());
    assert!(
        run.screen().contains("came twice within 2 s"),
        "{}",
        run.screen()
    );
    clock.pass(Duration::from_secs(2));
    run.scan(unit.as_str());
    assert!(!run.screen().contains("came twice"), "{}", run.screen());
}

#[test]
fn t65_a_verdict_that_was_given_is_told_with_who_and_when() {
    let (app, clock) = demo_on();
    let mut run = Script::new(app);
    run.keys("2");
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l p");
    clock.advance(Minutes::new(3));
    run.app.renew();
    run.scan(unit.as_str());
    assert!(
        run.screen().contains("was given pass by Ines 06:50"),
        "{}",
        run.screen()
    );
    let events = run.events();
    run.keys("f Down Enter");
    assert_eq!(run.events(), events);
    let screen = run.at(100, 30);
    assert!(
        screen.contains("was given pass by Ines at Mon 22 Mar 06:50"),
        "{screen}"
    );
}

#[test]
fn t66_after_idle_minutes_the_bench_asks_who_is_there_and_loses_nothing() {
    let (app, clock) = demo_on();
    let mut run = Script::new(app);
    run.keys("2");
    let unit = to_check(&run.app);
    run.scan(unit.as_str());
    run.keys("l");
    clock.advance(Minutes::new(9));
    run.keys("Up");
    clock.advance(Minutes::new(9));
    run.keys("Down");
    assert!(!run.app.bench.away, "somebody was there all the time");
    clock.advance(Minutes::new(10));
    let events = run.events();
    run.keys("p");
    assert_eq!(run.events(), events, "nothing before somebody says who");
    assert!(
        run.screen().contains("Who is at the bench?"),
        "{}",
        run.screen()
    );
    // A unit is no name; the pass still waits.
    run.scan("R-308/2");
    assert!(run.screen().contains("is no name"), "{}", run.screen());
    run.keys("Ctrl-u");
    run.type_in("Ana");
    run.keys("Enter");
    assert_eq!(run.events(), events + 2, "it came out, and passed");
    let last = run.app.desk.floor.events.last().expect("an event");
    assert!(matches!(last.body, EventBody::VerdictGiven { .. }) && last.actor.person == "Ana");
    assert_eq!(run.app.bench.unit, Some(unit));
    assert!(
        run.screen()
            .lines()
            .next()
            .is_some_and(|head| head.contains("Ana"))
    );
    // Enter alone keeps who was there; Esc takes the question back, and nothing is recorded.
    clock.advance(Minutes::new(11));
    run.scan("R-301/3");
    let events = run.events();
    run.keys("o Esc");
    assert_eq!(run.events(), events);
    run.keys("o Enter");
    assert_eq!(run.events(), events + 1);
}

#[test]
fn t62_a_scan_on_another_screen_opens_the_unit_or_says_why_not() {
    let mut run = Script::new(demo());
    let events = run.events();
    let scan = |run: &mut Script, text: &str| {
        let message = Message::Scan(text.to_owned());
        step(
            &mut run.app,
            message,
            &mut crate::app::Jobs::new(std::sync::mpsc::channel().0),
        );
    };
    scan(&mut run, "quxqc1");
    assert!(
        run.screen().contains("scan: no unit quxqc1"),
        "{}",
        run.screen()
    );
    assert_eq!(run.app.screen, Screen::Plan);
    scan(&mut run, "%PASS");
    assert!(
        run.screen().contains("cards work on the Bench"),
        "{}",
        run.screen()
    );
    // In front of something unfinished the unit's walk is shown, and Esc goes back to it.
    run.keys("w");
    scan(&mut run, "R-308/2");
    assert!(
        run.screen().contains("R-308/2: its walk"),
        "{}",
        run.screen()
    );
    run.keys("Esc");
    assert_eq!(run.app.overlays.len(), 1);
    run.keys("Esc");
    scan(&mut run, "R-308/2");
    assert_eq!(run.app.screen, Screen::Bench);
    assert_eq!(run.app.bench.unit, Some(UnitId::new("R-308/2")));
    assert!(!run.app.over && run.events() == events);
}

#[test]
fn the_rigs_list_says_what_comes_off_what_goes_on_and_with_whom() {
    let mut run = bench();
    run.keys("Right");
    assert_eq!(run.app.bench.list, BenchList::Rigs);
    let screen = run.at(80, 30);
    assert!(
        screen.contains("md-1 Micro drop [x] down, 0 of 2 free"),
        "{screen}"
    );
    assert!(screen.contains("ra-1 Rain"), "{screen}");
    let of_rain: Vec<&str> = screen
        .lines()
        .filter(|line| line.contains("R-308/"))
        .collect();
    assert!(
        of_rain.iter().any(|line| line.contains("with R-308/")),
        "{screen}"
    );
    // Enter takes the unit of the selected line, and the next line when the selection has moved.
    run.keys("Enter");
    let first = run.app.bench.unit.clone();
    assert!(first.is_some());
    run.keys("Down Enter");
    assert_ne!(run.app.bench.unit, first);
    assert!(run.app.overlays.is_empty());
}
