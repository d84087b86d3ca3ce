//! The Plan screen: read, lifted, dropped, changed, published; and how every mark differs from every other.

use crate::app::plan::layout::PlanLayout;
use crate::app::view::PlanEntry;
use crate::app::{App, Message, Overlay, Pointer, PointerKind};
use crate::domain::{Booking, EventBody, Minutes, Span};
use crate::floor::UnitState;
use crate::screens::tests::{Script, THEMES, demo, shown, text};
use std::collections::BTreeSet;

/// A booking in force.
fn booked(app: &App, unit: &str, step: u32) -> Option<Booking> {
    let published = app.desk.floor.now.published.as_ref()?;
    let same = |own: &&Booking| own.unit.as_str() == unit && own.step == step;
    published.bookings.iter().find(same).cloned()
}

/// Selects the first booking that can be moved and fits; its unit and step.
fn select(app: &mut App, fits: impl Fn(&PlanEntry, &str) -> bool) -> (String, u32) {
    for (row, rig) in app.view.rigs.iter().enumerate() {
        let found = rig
            .entries
            .iter()
            .position(|own| own.movable && fits(own, rig.rig.as_str()));
        if let Some(entry) = found {
            let own = &rig.entries[entry];
            let key = (own.unit.to_string(), own.step);
            (app.plan.row, app.plan.entry) = (row, entry);
            app.plan.at = own.span.start;
            app.plan.look_at(own.span.start);
            return key;
        }
    }
    panic!("the demo has no such booking");
}

/// The demo after its coordinator has planned the Monday and put the plan in force.
fn planned() -> Script {
    let mut run = Script::new(demo());
    run.keys("p Esc");
    run.planned();
    run.keys("c");
    assert!(run.app.overlays.is_empty(), "{}", run.screen());
    run
}

#[test]
fn t01_plan_shows_its_rigs_its_time_and_its_people_at_80x24() {
    let app = demo();
    for theme in &THEMES {
        let drawn = text(&shown(&app, theme, 80, 24));
        let lines: Vec<&str> = drawn.lines().collect();
        assert!(lines[0].starts_with(" Plan ") && lines[0].contains("06:50 Lisbon"));
        assert!(lines[0].contains("Ines") && lines[0].contains("06:50"));
        assert!(lines[1].contains("|now"), "{}", lines[1]);
        let columns = Minutes::new(60) * 68;
        let zone = &app.desk.lab.zone;
        let date = |at| zone.local(at).format("%a %d %b").to_string();
        let (from, to) = (app.plan.from, app.plan.from + columns - Minutes::new(1));
        assert!(
            lines[1].contains(&date(from)) && lines[1].ends_with(&date(to)),
            "{}",
            lines[1]
        );
        let rigs = app.view.rigs.iter().filter(|row| {
            let own = |line: &&&str| {
                let begins = line
                    .get(1..)
                    .is_some_and(|own| own.starts_with(row.rig.as_str()));
                begins && line.contains(theme.rig_mark(row.state))
            };
            lines.iter().any(|line| own(&line))
        });
        assert!(rigs.count() >= 14, "{drawn}");
        assert!(
            drawn.contains("people") && drawn.contains("because:"),
            "{drawn}"
        );
        assert!(lines[23].contains("? help"), "{drawn}");
    }
}

#[test]
fn t73_changes_are_a_what_if_until_the_difference_was_seen_and_put_in_force() {
    let mut run = planned();
    let events = run.app.desk.floor.events.len();
    let now = run.app.now;
    let (unit, step) = select(&mut run.app, |own, rig| {
        rig == "rc-1" && own.span.start > now + Minutes::hours(4)
    });
    let before = booked(&run.app, &unit, step).expect("it is booked");
    run.keys("Enter Right Right Enter");
    let drawn = run.screen();
    assert!(drawn.contains("WHAT-IF 1 change"), "{drawn}");
    // A block of one column has room for one sign only; nearer by it has its mark.
    run.keys("+ + + +");
    let drawn = run.screen();
    let row = drawn
        .lines()
        .find(|line| line[1..].starts_with("rc-1"))
        .expect("a row");
    assert!(row.contains('*'), "{row}");
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    assert_eq!(booked(&run.app, &unit, step), Some(before.clone()));
    if !run.app.view.clashes.is_empty() {
        // A broken rule refuses, in words, and records nothing.
        run.keys("c");
        assert!(run.app.overlays.is_empty());
        assert!(run.screen().contains("not yet, R"), "{}", run.screen());
        assert_eq!(run.app.desk.floor.events.len(), events);
    }
    // The rest is planned around it; the difference is shown before it is put in force.
    run.keys("p Esc");
    run.planned();
    let drawn = run.screen();
    assert!(
        drawn.contains("WHAT-IF") && drawn.contains("in force"),
        "{drawn}"
    );
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    run.keys("c");
    assert!(run.app.desk.floor.events.len() > events, "{}", run.screen());
    let after = booked(&run.app, &unit, step).expect("it is booked");
    assert_eq!(after.times.load, before.times.load + Minutes::hours(2));
    assert_eq!(after.rig, before.rig);
    assert!(!run.screen().contains("WHAT-IF"), "{}", run.screen());
    assert!(matches!(
        run.app.desk.floor.events.last().map(|event| &event.body),
        Some(EventBody::PlanBookings { .. })
    ));
}

#[test]
fn t73_a_clash_refuses_the_commit_and_is_walked_to() {
    let mut run = planned();
    let events = run.app.desk.floor.events.len();
    let now = run.app.now;
    let (unit, step) = select(&mut run.app, |own, _| {
        own.step > 1 && own.span.start > now + Minutes::hours(30)
    });
    // A step far before the one that it follows.
    run.keys("Enter PgUp PgUp PgUp PgUp Enter");
    assert!(run.screen().contains("!!"), "{}", run.screen());
    run.keys("c");
    assert!(run.app.overlays.is_empty());
    let drawn = run.screen();
    assert!(drawn.contains("not yet, R"), "{drawn}");
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    run.keys("g e");
    let drawn = run.screen();
    assert!(drawn.contains("clash 1 of"), "{drawn}");
    // Undo takes it back, redo makes it again, nothing of it is in the ledger.
    run.keys("u");
    assert!(!run.screen().contains("WHAT-IF"), "{}", run.screen());
    run.keys("U");
    assert!(
        run.screen().contains("WHAT-IF 1 change"),
        "{}",
        run.screen()
    );
    assert_eq!(run.app.desk.floor.events.len(), events);
    assert!(booked(&run.app, &unit, step).is_some());
}

#[test]
fn t74_a_booking_is_lifted_moved_put_back_exactly_and_dropped_by_keys() {
    let mut run = planned();
    let now = run.app.now;
    let key = select(&mut run.app, |own, rig| {
        rig.starts_with("fb-") && own.span.start > now + Minutes::hours(4)
    });
    run.app.said = None;
    let still = run.screen();
    let (row, entry) = (run.app.plan.row, run.app.plan.entry);
    let before = booked(&run.app, &key.0, key.1).expect("it is booked");
    for lift in ["Enter", "Space"] {
        let lift = if lift == "Space" { " " } else { lift };
        run.key(lift);
        let drawn = run.screen();
        assert!(
            drawn.contains("IN HAND") && drawn.contains("as it was"),
            "{drawn}"
        );
        assert!(
            drawn.contains(&key.0) && drawn.contains(before.rig.as_str()),
            "{drawn}"
        );
        assert!(drawn.contains('<') && drawn.contains("put back"), "{drawn}");
        run.keys("Right l Down Up Left");
        assert_ne!(run.screen(), drawn, "it moves as it is moved");
        run.keys("Esc");
        run.app.said = None;
        assert_eq!(run.screen(), still, "put back exactly");
        assert_eq!((run.app.plan.row, run.app.plan.entry), (row, entry));
        assert!(run.app.plan.draft.is_none());
    }
    // One step of the zoom is one column; live text says start, clash or none, and the finishes.
    run.keys("Enter Right");
    let hand = run.app.plan.hand.as_ref().expect("it is in hand");
    assert_eq!(hand.times().load, before.times.load + run.app.plan.scale);
    run.keys("- Right +");
    let hand = run.app.plan.hand.as_ref().expect("it is in hand");
    assert_eq!(hand.times().load, before.times.load + Minutes::hours(3));
    let drawn = run.screen();
    assert!(
        drawn.contains("no clash") || drawn.contains("!! "),
        "{drawn}"
    );
    assert!(drawn.contains("finish"), "{drawn}");
    // The length follows from the method, and that is said.
    run.keys("<");
    assert!(run.screen().contains("by its method"), "{}", run.screen());
    // To another rig that can take it, and only to such.
    run.keys("Down");
    let rigs: Vec<String> = {
        let hand = run.app.plan.hand.as_ref().expect("it is in hand");
        hand.rigs().iter().map(ToString::to_string).collect()
    };
    let rig = run.app.plan.hand.as_ref().map(|own| own.rig().to_string());
    assert!(rigs.contains(&rig.expect("it is in hand")));
    run.keys("Enter");
    assert!(run.app.plan.hand.is_none());
    let draft = run.app.plan.draft.as_ref().expect("a what-if");
    let key = (crate::domain::UnitId::new(&key.0), key.1);
    let dropped = draft.booking(&key).expect("it is there");
    assert_eq!(dropped.times.load, before.times.load + Minutes::hours(3));
    assert_eq!(draft.pins(now).len(), 1);
}

#[test]
fn what_has_started_cannot_be_lifted_and_says_so() {
    let mut app = demo();
    let found = app.view.rigs.iter().enumerate().find_map(|(row, rig)| {
        let entry = rig
            .entries
            .iter()
            .position(|own| own.state == UnitState::Running)?;
        Some((row, entry))
    });
    (app.plan.row, app.plan.entry) = found.expect("the demo has a running unit");
    let mut run = Script::new(app);
    run.keys("Enter");
    assert!(run.app.plan.hand.is_none());
    assert!(run.screen().contains("has started"), "{}", run.screen());
    run.keys("x");
    assert!(
        run.screen().contains("cannot be taken off"),
        "{}",
        run.screen()
    );
}

#[test]
fn a_whole_run_is_lifted_and_stays_together() {
    let mut run = planned();
    let now = run.app.now;
    let rigs = &run.app.view.rigs;
    let many: BTreeSet<(String, Span)> = rigs
        .iter()
        .flat_map(|rig| {
            let same = |own: &&PlanEntry| {
                let with = rig.entries.iter().filter(|other| other.span == own.span);
                own.run.is_some() && own.movable && with.count() > 1
            };
            let own = rig.entries.iter().filter(same);
            own.map(|own| (rig.rig.to_string(), own.span))
        })
        .filter(|(_, span)| span.start > now + Minutes::DAY)
        .collect();
    let (rig, span) = many.first().expect("the demo has a run of several").clone();
    select(&mut run.app, |own, on| on == rig && own.span == span);
    run.keys("L Right Enter");
    let row = run.app.view.rigs.iter().find(|own| own.rig.as_str() == rig);
    let moved: Vec<&PlanEntry> = row
        .expect("the rig")
        .entries
        .iter()
        .filter(|own| own.changed)
        .collect();
    assert!(moved.len() > 1, "{}", run.screen());
    assert!(
        moved
            .iter()
            .all(|own| own.span == moved[0].span && own.run == moved[0].run)
    );
}

#[test]
fn a_unit_is_taken_off_and_assigned_again_to_a_rig_with_its_first_free_time() {
    let mut run = planned();
    let now = run.app.now;
    // The first step of a unit that has not begun, so that it is the next one.
    let (unit, step) = select(&mut run.app, |own, _| {
        own.step == 1 && own.span.start > now + Minutes::hours(3)
    });
    run.keys("x");
    assert!(
        run.screen()
            .contains(&format!("{unit} is off from step 1 on")),
        "{}",
        run.screen()
    );
    assert!(run.screen().contains("WHAT-IF"), "{}", run.screen());
    run.keys("a");
    if let Some(Overlay::ChooseUnit { units, .. }) = run.app.overlays.last() {
        let at = units.iter().position(|own| own.unit.as_str() == unit);
        let downs = "Down ".repeat(at.expect("it waits"));
        run.keys(&format!("{downs}Enter"));
    }
    let Some(Overlay::ChooseRig { rigs, .. }) = run.app.overlays.last() else {
        panic!("no rigs but {}", run.screen());
    };
    let first = rigs[0].clone();
    assert!(
        rigs.iter()
            .all(|own| own.earliest.is_none() || own.earliest >= first.earliest)
    );
    assert!(run.screen().contains("can load from"), "{}", run.screen());
    run.keys("Enter Esc");
    run.planned();
    run.keys("c");
    let after = booked(&run.app, &unit, step).expect("it is in force");
    assert_eq!(
        (Some(after.times.load), after.rig),
        (first.earliest, first.rig)
    );
}

#[test]
fn a_booking_is_dragged_with_the_mouse() {
    let mut run = planned();
    let now = run.app.now;
    select(&mut run.app, |own, rig| {
        rig == "rc-1" && own.span.start > now + Minutes::hours(4)
    });
    let layout: PlanLayout = run.app.plan_layout(80, 21);
    let line = u16::try_from(run.app.plan.row).expect("few rigs") + 2;
    let column = layout.name + 12;
    run.app.mouse = true;
    let mouse = |run: &mut Script, kind, column| {
        run.message(Message::Pointer(Pointer {
            kind,
            column,
            row: line,
            below_selected: None,
            minute: None,
        }));
    };
    mouse(&mut run, PointerKind::Press, column);
    let pressed = &run.app.view.rigs[run.app.plan.row].entries[run.app.plan.entry];
    let (unit, step) = (pressed.unit.to_string(), pressed.step);
    let before = booked(&run.app, &unit, step).expect("it is booked");
    mouse(&mut run, PointerKind::Drag, column + 1);
    mouse(&mut run, PointerKind::Drag, column + 3);
    mouse(&mut run, PointerKind::Release, column + 3);
    let draft = run.app.plan.draft.as_ref().expect("a what-if");
    let moved = draft
        .booking(&(before.unit.clone(), before.step))
        .expect("it is there");
    assert_eq!(moved.times.load, before.times.load + Minutes::hours(3));
    assert!(run.app.plan.hand.is_none());
}

#[test]
fn t32_a_what_if_is_kept_and_offered_at_the_next_start() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("state").join("screens.json");
    let mut run = planned();
    crate::app::recall(&mut run.app, &file);
    let now = run.app.now;
    let (unit, step) = select(&mut run.app, |own, rig| {
        rig == "rc-1" && own.span.start > now + Minutes::hours(4)
    });
    run.keys("Enter Right Enter");
    let draft = run.app.plan.draft.clone().expect("a what-if");
    // It is on the disk already: no way to end the program can lose it.
    run.app.plan.draft = None;
    run.app.renew();
    crate::app::recall(&mut run.app, &file);
    assert!(
        run.screen().contains("A what-if was kept"),
        "{}",
        run.screen()
    );
    assert!(
        run.screen().contains("1 change to the plan"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    assert!(
        run.screen().contains("WHAT-IF 1 change"),
        "{}",
        run.screen()
    );
    let key = (crate::domain::UnitId::new(&unit), step);
    let own = run.app.plan.draft.as_ref().expect("it is back");
    assert_eq!(own.booking(&key), draft.booking(&key));
    assert_eq!(own.pins(now), draft.pins(now));
    // Leaving asks, and keeps it.
    run.keys("q");
    assert!(!run.app.over);
    assert!(
        run.screen().contains("offered at the next start"),
        "{}",
        run.screen()
    );
    run.keys("Esc q Enter");
    assert!(run.app.over);
    // A file that is not ours is left alone, and said.
    std::fs::write(&file, "{").expect("it can be written");
    let mut run = Script::new(demo());
    crate::app::recall(&mut run.app, &file);
    assert!(run.screen().contains("cannot be read"), "{}", run.screen());
    assert_eq!(std::fs::read_to_string(&file).expect("it is there"), "{");
}

#[test]
#[expect(
    clippy::too_many_lines,
    reason = "one list of looks, each against every other"
)]
fn t53_every_two_marks_of_the_timeline_differ_in_the_printed_frame() {
    let mut app = demo();
    app.plan.row = 1;
    let row = app
        .view
        .rigs
        .iter()
        .position(|row| row.rig.as_str() == "rc-1");
    let row = row.expect("the demo has it");
    let from = app.now + Minutes::hours(3);
    let plain = PlanEntry {
        unit: crate::domain::UnitId::new("U-1"),
        step: 1,
        span: Span::new(from, from + Minutes::hours(20)),
        state: UnitState::Booked,
        because: String::new(),
        clash: false,
        run: None,
        movable: true,
        changed: false,
        lifted: false,
        late: Minutes::ZERO,
    };
    let mut looks: Vec<(PlanEntry, bool)> = Vec::new();
    for state in UnitState::ALL {
        looks.push((
            PlanEntry {
                state,
                ..plain.clone()
            },
            false,
        ));
    }
    looks.push((plain.clone(), true));
    let changed = PlanEntry {
        changed: true,
        ..plain.clone()
    };
    let clash = PlanEntry {
        clash: true,
        ..plain.clone()
    };
    let both = PlanEntry {
        clash: true,
        ..changed.clone()
    };
    let lifted = PlanEntry {
        lifted: true,
        ..changed.clone()
    };
    let late = PlanEntry {
        late: Minutes::DAY,
        ..plain
    };
    for own in [changed, clash, both, lifted, late] {
        looks.push((own, false));
    }
    for theme in &THEMES {
        for hours in [20, 6, 4] {
            let mut frames = BTreeSet::new();
            for (entry, selected) in &looks {
                let span = Span::new(from, from + Minutes::hours(hours));
                // A late request is told where there is room for words.
                if entry.late > Minutes::ZERO && hours < 20 {
                    continue;
                }
                app.view.rigs[row].entries = vec![PlanEntry {
                    span,
                    ..entry.clone()
                }];
                app.plan.row = if *selected { row } else { 1 };
                app.plan.entry = 0;
                let drawn = text(&shown(&app, theme, 80, 24));
                let line = drawn.lines().nth(2 + row).expect("its row").to_owned();
                assert!(
                    frames.insert(line.clone()),
                    "{line} twice, at {hours} columns"
                );
            }
        }
    }
}

#[test]
fn zoom_reaches_from_an_hour_to_the_horizon_and_keeps_the_cursor() {
    let mut run = planned();
    let now = run.app.now;
    select(&mut run.app, |own, _| {
        own.span.start > now + Minutes::hours(5)
    });
    let at = run.app.plan.at;
    let columns = i64::from(run.app.plan_layout(80, 21).track);
    run.keys(&"+ ".repeat(20));
    assert!((run.app.plan.scale * columns).get() < 75, "about an hour");
    run.keys(&"- ".repeat(20));
    assert!(run.app.plan.scale * columns >= run.app.desk.lab.horizon);
    let shown = Span::new(
        run.app.plan.from,
        run.app.plan.from + run.app.plan.scale * columns,
    );
    assert!(shown.contains(at));
    run.keys("t");
    assert_eq!(run.app.plan.at, now);
}

#[test]
fn the_pictures_of_plan_look_as_they_were_read() {
    let mut run = Script::new(demo());
    let shot = |run: &Script, name: &str| {
        for (width, height) in [(80, 24), (120, 40)] {
            let drawn = text(&shown(&run.app, &THEMES[1], width, height));
            insta::assert_snapshot!(format!("plan_{name}_{width}x{height}"), drawn);
        }
    };
    shot(&run, "ascii");
    run.keys("s");
    shot(&run, "morning");
    run.keys("Esc");
    let now = run.app.now;
    select(&mut run.app, |own, rig| {
        rig == "pr-2" && own.span.start > now + Minutes::hours(2)
    });
    run.app.plan.look_at(now);
    run.keys("Enter Right Right Right Right");
    shot(&run, "in_hand");
    run.keys("Enter");
    shot(&run, "what_if");
}
