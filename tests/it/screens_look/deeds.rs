//! Deeds at the screens that need a second look: those of two sessions, of many objects, and of an earlier time.

use crate::support::stage::{Script, THEMES, demo, overlays, shown, text, two};
use rigday::app::desk::{ChangeKind, PlanChange};
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

#[test]
fn t72_many_objects_are_confirmed_by_their_count_and_enter_alone_cancels() {
    let mut run = Script::new(demo());
    let before = run.app.desk.floor.now.published.clone();
    let Some(Overlay::Difference { proposal, .. }) = overlays(&run.app)
        .into_iter()
        .find(|own| matches!(own, Overlay::Difference { .. }))
    else {
        panic!("there is a proposal")
    };
    let show = |run: &mut Script, many: usize| {
        let mut own = proposal.clone();
        let booking = before.as_ref().expect("a plan").bookings[0].clone();
        own.changes.retain(|own| own.before.is_none());
        own.changes.extend((0..many).map(|step| PlanChange {
            kind: ChangeKind::Later,
            unit: booking.unit.clone(),
            step: u32::try_from(step).expect("few"),
            before: Some(booking.clone()),
            after: None,
        }));
        run.app.overlays = vec![Overlay::Difference {
            proposal: own,
            scroll: 0,
        }];
    };
    let published = |run: &Script| run.app.desk.floor.now.published != before;

    show(&mut run, 21);
    run.keys("c");
    let screen = run.screen();
    assert!(screen.contains("Type 21 to go on"), "{screen}");
    assert!(screen.contains("replaces 21 bookings in force"), "{screen}");
    run.keys("Enter");
    assert!(!published(&run));
    assert!(matches!(
        run.app.overlays.last(),
        Some(Overlay::Difference { .. })
    ));
    // A wrong count is none.
    run.keys("c 2 2 Enter");
    assert!(!published(&run) && run.screen().contains("it is 21 and not 22"));
    run.keys("2 1 Enter");
    assert!(published(&run), "{}", run.screen());

    // Few are put in force at once, and what undo covers asks nothing.
    let mut run = Script::new(demo());
    show(&mut run, 20);
    run.keys("c");
    assert!(published(&run), "{}", run.screen());
    let mut run = Script::new(demo()).on(Screen::Bench);
    on_card(&mut run);
    run.keys("l");
    assert!(run.app.overlays.is_empty() && run.screen().contains("on rf-1"));
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
    if let Some(Overlay::Count(own)) = run.app.overlays.last() {
        let count = own.count.to_string();
        run.type_in(&count);
        run.keys("Enter");
    }
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
