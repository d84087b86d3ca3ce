//! Keys: every action can be found, fields take text, Esc and `q` keep their promises.

use crate::support::program::Desk;
use crate::support::stage::{Script, THEMES, demo, fresh, row, shown};
use rigday::app::actions::works_on;
use rigday::app::{ACTIONS, Action, Field, Overlay, Screen};

#[test]
fn t10_the_key_line_drops_by_priority_and_help_last() {
    let mut app = demo();
    for screen in Screen::ALL {
        app.screen = screen;
        let mut before = 0;
        for width in 40..=130 {
            let keys = row(&shown(&app, &THEMES[1], (width, 24)), 23);
            assert!(keys.ends_with("? help"), "{width}: {keys}");
            assert!(!keys.contains('~'), "no key is cut in two: {keys}");
            let count = keys.split("  ").count();
            assert!(count >= before, "a wider line has no fewer keys: {keys}");
            before = count;
        }
        assert!(before > 4, "{screen:?} has {before} keys");
    }
}

#[test]
fn t11_help_has_every_action_of_its_screen_with_key_and_sentence() {
    for screen in Screen::ALL {
        let mut run = Script::new(fresh()).on(screen);
        run.keys("?");
        let Some(Overlay::Help(field)) = run.app.overlays.last() else {
            panic!("no help on {screen:?}");
        };
        let listed: Vec<Action> = run.app.listed(field).iter().map(|own| own.action).collect();
        let expected = ACTIONS.iter().filter(|own| works_on(own, screen)).count();
        assert_eq!(listed.len(), expected);
        for entry in ACTIONS.iter().filter(|own| works_on(own, screen)) {
            assert!(listed.contains(&entry.action), "{}", entry.name);
            run.app.overlays = vec![Overlay::Help(Field {
                input: entry.name.into(),
                selected: 0,
            })];
            let drawn = run.screen();
            let keys = run.app.settings.keys.keys(entry.action, screen).join(" ");
            let line = drawn
                .lines()
                .find(|line| line.contains('>') && line.contains(entry.name));
            let line = line.unwrap_or_else(|| panic!("{} is not first:\n{drawn}", entry.name));
            let start: String = entry.sentence.chars().take(40).collect();
            assert!(
                line.contains(&start) && line.contains(&keys[..keys.len().min(8)]),
                "{line}"
            );
        }
    }
}

#[test]
fn t11_help_narrows_runs_and_closes() {
    let mut run = Script::new(fresh());
    run.keys("?");
    run.type_in("load scr");
    assert!(
        run.screen().contains("load scr_   1 action"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert_eq!((run.app.screen, run.app.overlays.len()), (Screen::Load, 0));
    run.keys("? Esc");
    assert!(run.app.overlays.is_empty() && !run.app.over);
}

#[test]
fn t12_the_palette_finds_by_name_and_synonym_shows_the_key_and_says_when_there_is_none() {
    let mut run = Script::new(fresh()).on(Screen::Load);
    run.keys("Ctrl-p");
    run.type_in("breakdown");
    let drawn = run.screen();
    assert!(
        drawn.contains(">d") && drawn.contains("rig down") && drawn.contains("Plan: Report"),
        "{drawn}"
    );
    run.keys("Enter");
    assert_eq!(run.app.screen, Screen::Plan);
    assert!(matches!(run.app.overlays.last(), Some(Overlay::Ask(..))));
    run.keys("Esc :");
    run.type_in("zzzz");
    assert!(
        run.screen().contains("No action matches"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert!(
        matches!(run.app.overlays.last(), Some(Overlay::Palette(_))),
        "Enter on nothing runs nothing"
    );
    run.keys("Esc : Ctrl-n Ctrl-n Ctrl-p Down Up");
    let Some(Overlay::Palette(field)) = run.app.overlays.last() else {
        panic!("the palette is open");
    };
    assert_eq!(field.selected, 1);
    run.keys("Esc");
    assert!(run.app.overlays.is_empty());
}

#[test]
fn t12_every_action_is_reached_with_arrows_tab_and_enter_alone() {
    let mut run = Script::new(fresh());
    for entry in ACTIONS {
        run.app.screen = Screen::Plan;
        run.app.overlays.clear();
        run.app.over = false;
        run.app.units.typing = false;
        let mut turns = 0;
        while !matches!(run.app.overlays.last(), Some(Overlay::Palette(_))) {
            run.keys("Tab");
            turns += 1;
            assert!(
                turns <= Screen::ALL.len(),
                "Tab never comes to the list of actions"
            );
        }
        let all = run.app.listed(&Field::default());
        let at = all.iter().position(|own| own.action == entry.action);
        for _ in 0..at.expect("the palette has every action") {
            run.keys("Down");
        }
        run.keys("Enter");
        // Running an action closes the list, or opens it anew where that is the action.
        let ran = match run.app.overlays.last() {
            Some(Overlay::Palette(field)) => field.selected == 0,
            _ => true,
        };
        assert!(ran, "{} does not run", entry.name);
    }
}

#[test]
fn t13_in_every_field_printable_keys_are_text() {
    const TYPED: &str = "q?:/u5";
    let mut run = Script::new(fresh());
    let typed_into = |run: &Script| match run.app.overlays.last() {
        Some(
            Overlay::Help(field)
            | Overlay::Palette(field)
            | Overlay::Ask(_, field)
            | Overlay::When(_, field),
        ) => field.input.value().to_owned(),
        Some(Overlay::Size(form)) => form.fields[form.at].value().to_owned(),
        other => panic!("no field but {other:?}"),
    };
    for opening in ["?", ":", "d"] {
        run.keys("1");
        run.keys(opening);
        run.type_in(TYPED);
        assert_eq!(typed_into(&run), TYPED, "after {opening}");
        run.keys("Esc");
        assert!(run.app.overlays.is_empty(), "after {opening}");
    }
    run.keys("d");
    run.type_in("door");
    run.keys("Enter");
    run.type_in(TYPED);
    assert_eq!(typed_into(&run), TYPED, "when it is back");
    run.keys("Esc 5 s Ctrl-u");
    run.type_in(TYPED);
    assert_eq!(typed_into(&run), TYPED, "in the form of a leg");
    run.keys("Esc 4 /");
    run.type_in(TYPED);
    assert_eq!(run.app.units.filter.value(), TYPED);
    run.keys("Esc 2 x");
    run.type_in(TYPED);
    assert_eq!(run.app.bench.scan.value(), format!("x{TYPED}"));
    assert!(!run.app.over);
}

#[test]
fn t14_esc_goes_back_and_never_quits_and_q_closes_before_it_quits() {
    for screen in Screen::ALL {
        let mut run = Script::new(fresh()).on(screen);
        run.keys("Esc Esc Esc");
        assert!(!run.app.over && run.app.overlays.is_empty());
        for quit in ["q", "Ctrl-c"] {
            let mut run = Script::new(fresh()).on(screen);
            if screen == Screen::Units {
                run.keys("Enter");
                assert_eq!(run.app.overlays.len(), 1, "a walk is open");
                run.keys(quit);
                assert!(run.app.overlays.is_empty() && !run.app.over);
            }
            run.keys(quit);
            assert!(run.app.over, "{quit} on {screen:?}");
        }
    }
}

#[test]
fn t14_what_is_unsaved_is_asked_about_and_enter_alone_keeps_it() {
    let mut run = Script::new(fresh());
    run.keys("d");
    run.type_in("door");
    run.keys("Ctrl-c");
    assert!(matches!(
        run.app.overlays.last(),
        Some(Overlay::Leave { .. })
    ));
    run.keys("Enter");
    assert!(
        matches!(run.app.overlays.last(), Some(Overlay::Ask(_, field)) if field.input.value() == "door")
    );
    run.keys("Ctrl-c Down Enter");
    assert!(run.app.overlays.is_empty() && !run.app.over);
    // Nothing typed: nothing asked.
    run.keys("d Ctrl-c");
    assert!(run.app.overlays.is_empty() && !run.app.over);
}

#[test]
fn t15_the_keys_in_force_are_printed_and_faults_of_the_file_are_told() {
    let desk = Desk::new();
    std::fs::create_dir_all(desk.path("settings/rigday")).expect("a folder");
    let keys = |words: &[&str]| {
        let mut command = desk.command(words);
        command.env("XDG_CONFIG_HOME", desk.path("settings"));
        crate::support::program::Ended::of(command.output().expect("the program runs"))
    };
    let plain = keys(&["keys", "--plain"]).good();
    assert!(
        plain.contains("everywhere\tundo\tu\tUndo the last change of the what-if"),
        "{plain}"
    );
    assert!(
        plain.contains("plan\tassign\ta\tChoose a waiting unit"),
        "{plain}"
    );
    assert!(
        plain.contains("bench\tleft\tLeft\t"),
        "h is hold on the bench:\n{plain}"
    );
    desk.write(
        "settings/rigday/keys.toml",
        "[plan]\nassign = [\"A\", \"F2\"]\nwhat-if = \"p\"\n",
    );
    let told = keys(&["keys", "--plain"]);
    assert!(
        told.err
            .contains("keys.toml:3: what-if: `p` is already the key of plan; it keeps w"),
        "{}",
        told.err
    );
    let plain = told.good();
    assert!(
        plain.contains("plan\tassign\tA F2\t") && plain.contains("plan\twhat-if\tw\t"),
        "{plain}"
    );
    let json = keys(&["keys", "--json"]).good();
    let read: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(read["format"], 1);
    let assign = read["keys"]
        .as_array()
        .expect("a list")
        .iter()
        .find(|own| own["action"] == "assign");
    assert_eq!(
        assign.expect("it is there")["keys"],
        serde_json::json!(["A", "F2"])
    );
}

#[test]
fn t16_digits_compare_without_shift() {
    use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
    let name =
        |modifiers| rigday::terminal::key_name(&KeyEvent::new(KeyCode::Char('3'), modifiers));
    assert_eq!(name(KeyModifiers::SHIFT), Some("3".to_owned()));
    assert_eq!(name(KeyModifiers::NONE), name(KeyModifiers::SHIFT));
}

#[test]
fn t17_an_arrow_in_two_parts_records_nothing() {
    let mut run = Script::new(demo());
    let unit = run.app.view.due[0].unit.clone();
    let before = run.app.desk.floor.events.len();
    for screen in Screen::ALL {
        run.app.screen = screen;
        run.app.bench.unit = Some(unit.clone());
        for torn in [
            "Esc [ A",
            "Esc [ B",
            "Esc O C",
            "Esc O D",
            "Esc [ 5 ~",
            "Esc Esc",
        ] {
            run.keys(torn);
            run.keys("Esc");
        }
        assert!(run.app.overlays.is_empty() && !run.app.over, "{screen:?}");
    }
    assert_eq!(run.app.desk.floor.events.len(), before);
}
