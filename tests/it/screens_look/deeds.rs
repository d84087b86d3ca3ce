//! Deeds at the screens that need a second look: those of two sessions, of many objects, and of an earlier time.

use crate::support::stage::{Script, THEMES, demo, overlays, shown, text, two};
use rigday::app::{Overlay, Screen};
use rigday::domain::{EventBody, Minutes, UnitId, Verdict};

/// A unit that goes on a bench for its last check first, and the step that this is.
const UNIT: &str = "R-308/1";
const STEP: u32 = 6;

fn on_card(run: &mut Script) {
    run.app.bench.unit = Some(UnitId::new(UNIT));
}

/// Ines types why a unit failed, and Rui passes it meanwhile; then Ines presses Enter.
fn both_at_one_unit() -> (Script, Script) {
    let (ines, rui) = two();
    let (mut mine, mut theirs) = (
        Script::new(ines).on(Screen::Bench),
        Script::new(rui).on(Screen::Bench),
    );
    on_card(&mut mine);
    on_card(&mut theirs);
    theirs.keys("l");
    mine.send(rigday::app::Message::Tick);
    mine.keys("f");
    mine.type_in("display dark");
    theirs.keys("p");
    // What the other did is on the screen behind the question already.
    mine.send(rigday::app::Message::Tick);
    mine.keys("Enter");
    (mine, theirs)
}

fn verdict_of(run: &Script) -> Verdict {
    let record = &run.app.desk.floor.now.units[&UnitId::new(UNIT)];
    record.verdicts[&STEP].verdict.clone()
}

#[test]
fn t76_a_refused_deed_shows_mine_and_theirs_and_keeps_what_was_typed() {
    let (mut mine, _theirs) = both_at_one_unit();
    let screen = mine.screen();
    for words in [
        "Somebody else was here first",
        "theirs: R-308/1 step 6 pass, by Rui, Mon 2027-03-22 06:50",
        "mine: R-308/1 fail: display dark; not recorded",
        "r reload",
        "o overrule",
    ] {
        assert!(screen.contains(words), "{words}:\n{screen}");
    }
    assert_eq!(verdict_of(&mine), Verdict::Pass);
    // Reloaded, the question is there again with what was typed; nothing is recorded.
    mine.keys("r");
    assert!(matches!(
        mine.app.overlays.last(),
        Some(Overlay::Ask(_, field)) if field.input.value() == "display dark"
    ));
    mine.keys("Esc");
    assert!(mine.app.overlays.is_empty());
    assert_eq!(verdict_of(&mine), Verdict::Pass);
}

#[test]
fn t76_mine_overrules_theirs_and_both_stay_in_the_history() {
    let (mut mine, _theirs) = both_at_one_unit();
    // Enter alone overrules nothing.
    mine.keys("Enter");
    assert_eq!(verdict_of(&mine), Verdict::Pass);
    mine.keys("Esc");
    assert!(mine.app.overlays.is_empty());

    let (mut again, _rui) = both_at_one_unit();
    again.keys("o");
    assert_eq!(
        verdict_of(&again),
        Verdict::Fail {
            reason: "display dark".to_owned()
        }
    );
    let given = |own: &&rigday::domain::Event| matches!(&own.body, EventBody::VerdictGiven { unit, step, .. } if unit.as_str() == UNIT && *step == STEP);
    let events = &again.app.desk.floor.events;
    assert_eq!(events.iter().filter(given).count(), 2);
    // With the arrows alone as well.
    let (mut arrows, _) = both_at_one_unit();
    arrows.keys("Down Enter");
    assert!(matches!(verdict_of(&arrows), Verdict::Fail { .. }));
}

/// A plan on the timeline that differs from the one in force in many bookings.
fn many_changes() -> Script {
    let mut run = Script::new(demo());
    run.keys("p Esc");
    run.until(|own| matches!(own, Overlay::Difference { .. }));
    run.keys("t");
    run
}

#[test]
fn t72_many_objects_are_confirmed_by_their_count_and_enter_alone_cancels() {
    let mut run = many_changes();
    let count = run.app.changed();
    assert!(count > 20, "{count}");
    run.keys("q x");
    let screen = run.screen();
    let asked = format!("Type {count} to go on");
    assert!(screen.contains(&asked), "{screen}");
    assert!(screen.contains(&format!("{count} changes")), "{screen}");
    run.keys("Enter");
    assert!(!run.app.over && run.app.plan.draft.is_some());
    // A wrong count is none.
    run.keys("q x 1 2 Enter");
    assert!(!run.app.over, "{}", run.screen());
    assert!(run.screen().contains(&format!("it is {count} and not 12")));
    // The arrows count, too.
    run.keys(&"PgUp ".repeat(count / 10));
    run.keys(&"Up ".repeat(count % 10 + 1));
    run.keys("Down Enter");
    assert!(run.app.over && run.app.plan.draft.is_none());

    // Few are thrown away at once, and what undo covers asks nothing.
    let mut run = Script::new(demo()).on(Screen::Bench);
    on_card(&mut run);
    run.keys("l");
    assert!(run.app.overlays.is_empty() && run.screen().contains("on rf-1"));
}

#[test]
fn t70_a_plan_put_in_force_is_one_step_that_undo_takes_back() {
    let mut run = many_changes();
    let before = run.app.desk.floor.now.published.clone();
    let events = run.app.desk.floor.events.len();
    run.keys("c c");
    let after = run.app.desk.floor.now.published.clone();
    assert!(after != before, "{}", run.screen());
    assert!(run.screen().contains("u takes it back"), "{}", run.screen());
    let said = run.app.desk.floor.events.len();
    run.keys("u");
    assert!(
        run.app.desk.floor.now.published == before,
        "{}",
        run.screen()
    );
    assert!(run.screen().contains("Undid: plan P"), "{}", run.screen());
    // What was said stays in the history, and the opposite stands behind it.
    assert!(events < said && said < run.app.desk.floor.events.len());
    run.keys("U");
    assert!(
        run.app.desk.floor.now.published == after,
        "{}",
        run.screen()
    );
}

#[test]
fn t71_a_plan_put_in_force_is_not_taken_back_over_that_of_another_session() {
    let (ines, rui) = two();
    let (mut mine, mut theirs) = (Script::new(ines), Script::new(rui));
    for run in [&mut mine, &mut theirs] {
        run.send(rigday::app::Message::Tick);
        run.keys("p Esc");
        run.until(|own| matches!(own, Overlay::Difference { .. }));
        run.keys("c");
    }
    let in_force = theirs.app.desk.floor.now.published.clone();
    mine.keys("u");
    assert!(mine.screen().contains("Rui"), "{}", mine.screen());
    theirs.send(rigday::app::Message::Tick);
    assert!(theirs.app.desk.floor.now.published == in_force);
}

#[test]
fn t12_a_plan_is_put_in_force_with_arrows_tab_and_enter_alone() {
    let mut run = Script::new(demo());
    let before = run.app.desk.floor.now.published.clone();
    // Tab to the list of actions, whose first is to plan.
    for _ in 0..Screen::ALL.len() {
        run.keys("Tab");
    }
    let all = run.app.listed(&rigday::app::Field::default());
    let at = all.iter().position(|own| own.name == "plan");
    for _ in 0..at.expect("it can plan") {
        run.keys("Down");
    }
    run.keys("Enter Esc");
    run.until(|own| matches!(own, Overlay::Difference { .. }));
    // Enter asks, and Enter alone goes back.
    run.keys("Enter");
    assert!(run.screen().contains("put it in force"), "{}", run.screen());
    run.keys("Enter");
    assert!(run.app.desk.floor.now.published == before);
    run.keys("Enter Down Enter");
    assert!(
        run.app.desk.floor.now.published != before,
        "{}",
        run.screen()
    );
}

#[test]
fn t12_what_is_in_hand_is_made_to_wait_without_a_letter() {
    let mut run = Script::new(demo());
    while run.app.plan.hand.is_none() {
        run.keys("Enter");
        if run.app.plan.hand.is_none() {
            run.keys("Right");
        }
    }
    let before = run.app.plan.hand.as_ref().expect("lifted").times();
    run.keys("Tab");
    assert!(matches!(run.app.overlays.last(), Some(Overlay::Palette(_))));
    let all = run.app.listed(&rigday::app::Field::default());
    let at = all.iter().position(|own| own.name == "longer");
    for _ in 0..at.expect("it is listed") {
        run.keys("Down");
    }
    run.keys("Enter");
    let after = run.app.plan.hand.as_ref().expect("still in hand").times();
    let refused = run.screen().contains("its exposure is");
    assert!(after.unload > before.unload || refused, "{}", run.screen());
}

#[test]
fn t75_one_look_at_the_ledger_shows_what_another_recorded_and_keeps_the_selection() {
    // The page allows two seconds.
    assert!(rigday::terminal::TICK * 4 <= std::time::Duration::from_secs(2));
    let (ines, rui) = two();
    let (mut mine, mut theirs) = (
        Script::new(ines).on(Screen::Units),
        Script::new(rui).on(Screen::Bench),
    );
    mine.keys("/");
    mine.type_in("R-308");
    mine.keys("Enter j");
    let selected = |run: &Script| run.app.unit();
    let before = (selected(&mine), mine.screen());
    on_card(&mut theirs);
    theirs.keys("l");
    let first = |run: &Script| {
        let screen = run.screen();
        let mut lines = screen.lines();
        lines
            .find(|line| line.contains("R-308/1"))
            .map(str::to_owned)
    };
    let is_running = |run: &Script| first(run).is_some_and(|line| line.contains("running"));
    assert!(!is_running(&mine), "{}", mine.screen());
    mine.send(rigday::app::Message::Tick);
    assert!(is_running(&mine), "{}", mine.screen());
    assert_eq!(selected(&mine), before.0);
}

#[test]
fn t46_nothing_moves_by_itself_and_work_is_told_in_words() {
    let at_work = |own: &Overlay| match own {
        Overlay::Working { .. } => Some("Planning"),
        Overlay::Trying { .. } => Some("Trying 3/9"),
        Overlay::Forecasting { .. } => Some("20/1000"),
        _ => None,
    };
    let mut run = Script::new(demo());
    let mut all = overlays(&run.app);
    all.push(Overlay::Forecasting {
        job: 1,
        drawn: (20, 1000),
    });
    for overlay in all {
        let Some(word) = at_work(&overlay) else {
            continue;
        };
        run.app.overlays = vec![overlay];
        let before = shown(&run.app, &THEMES[0], (80, 24));
        assert!(text(&before).contains(word), "{}", text(&before));
        // Time alone changes nothing.
        for _ in 0..8 {
            run.send(rigday::app::Message::Tick);
        }
        assert!(before == shown(&run.app, &THEMES[0], (80, 24)));
    }
}

#[test]
fn a_deed_that_happened_earlier_is_entered_with_its_time_and_told_so() {
    let mut run = Script::new(demo()).on(Screen::Bench);
    on_card(&mut run);
    let now = run.app.now;
    run.keys("t");
    run.type_in("-20m");
    assert!(
        run.screen().contains("= Mon 2027-03-22 06:30"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert!(
        run.screen().contains("next deed: Mon 22 Mar 06:30"),
        "{}",
        run.screen()
    );
    run.keys("l");
    let visit =
        |run: &Script| run.app.desk.floor.now.units[&UnitId::new(UNIT)].visits[&STEP].clone();
    assert_eq!(visit(&run).loaded, now - Minutes::new(20));
    assert!(
        run.screen().contains("06:30, entered 06:50"),
        "{}",
        run.screen()
    );
    let events = &run.app.desk.floor.events;
    let late = |own: &&rigday::domain::Event| matches!(own.body, EventBody::LateEntry { .. });
    assert!(events.last().as_ref().is_some_and(late));
    // It is said for one deed only, and nothing is before what is known.
    assert_eq!(run.app.bench.happened, None);
    run.keys("t");
    run.type_in("06:10");
    run.keys("Enter p");
    assert!(run.screen().contains("later than"), "{}", run.screen());
    run.keys("Esc");
    assert_eq!(run.app.bench.happened, None);
    run.keys("p");
    assert_eq!(visit(&run).out, Some(now));
    // What is to come did not happen.
    run.keys("t");
    run.type_in("+1h");
    assert!(run.screen().contains("still to come"), "{}", run.screen());
    run.keys("Enter");
    assert!(matches!(run.app.overlays.last(), Some(Overlay::When(..))));
}
