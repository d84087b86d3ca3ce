//! Every screen at every size, and the three jobs of a morning by keys.

mod load;

use super::draw;
use super::theme::{Level, Theme};
use crate::app::desk::{Desk, Opening};
use crate::app::scenario::Scenario;
use crate::app::what_if::Change;
use crate::app::{
    App, Choice, Chosen, Count, Field, Jobs, Message, Overlay, Purpose, RigOffer, Screen, SizeForm,
    WhenFor,
};
use crate::clock::FakeClock;
use crate::domain::{
    Actor, EventBody, Lab, Minute, Minutes, NewEvent, RigId, UnitId, Verdict, Zone,
};
use crate::ledger::{Env, Ids, Ledger, MemoryLedger, Shared};
use crate::terminal::step;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

pub(super) const THEMES: [Theme; 2] = [
    Theme::new(true, Level::Ansi16),
    Theme::new(false, Level::None),
];

pub(super) fn actor() -> Actor {
    let text = |text: &str| text.to_owned();
    Actor {
        uid: 1,
        login: text("ines"),
        person: text("Ines"),
        host: text("bench"),
        session: text("test"),
    }
}

pub(super) fn demo_lab() -> Lab {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    crate::lab::read(&folder)
        .expect("the demo lab has no fault")
        .lab
}

pub(super) fn memory(clock: &Arc<FakeClock>) -> Box<dyn Ledger> {
    let env = Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: "test".to_owned(),
        zone: Zone::utc(),
        heads: None,
    };
    Box::new(MemoryLedger::new(env))
}

pub(super) fn app_on(lab: Lab, ledger: Box<dyn Ledger>, clock: Arc<FakeClock>) -> App {
    let with = Opening {
        lab,
        ledger,
        clock,
        ids: Ids::seeded(2),
        actor: actor(),
    };
    let mut app = App::new(
        Desk::open(with).expect("a ledger in memory can be read"),
        true,
    );
    app.exports = std::env::temp_dir();
    app
}

/// The demo's lab without any history.
pub(super) fn fresh() -> App {
    let lab = demo_lab();
    let now = crate::lab::parse_instant("2027-03-22T06:50", Some(&lab.zone)).expect("an instant");
    let clock = Arc::new(FakeClock::at(now));
    app_on(lab, memory(&clock), clock)
}

/// The demo on its Monday, its story played.
pub(super) fn demo() -> App {
    demo_on().0
}

/// The same, with its clock.
pub(super) fn demo_on() -> (App, Arc<FakeClock>) {
    let (opens, events) = story();
    let clock = Arc::new(FakeClock::at(*opens));
    let mut ledger = memory(&clock);
    let outcome = ledger.append(&[], events);
    assert!(
        matches!(outcome, crate::ledger::Outcome::Recorded { .. }),
        "{outcome:?}"
    );
    (app_on(demo_lab(), ledger, clock.clone()), clock)
}

/// What happened in the demo's three weeks, and when it opens; played once for all tests.
fn story() -> &'static (Minute, Vec<NewEvent>) {
    static STORY: OnceLock<(Minute, Vec<NewEvent>)> = OnceLock::new();
    STORY.get_or_init(|| {
        let lab = demo_lab();
        let story =
            Scenario::read(crate::app::demo_files::SCENARIO, &lab).expect("the story can be read");
        let clock = Arc::new(FakeClock::at(story.opens));
        let shared = Shared::new(memory(&clock));
        story
            .play(&lab, Box::new(shared.clone()), &clock, &actor())
            .expect("the story can be played");
        let app = app_on(lab, Box::new(shared), clock);
        let event = |event: &crate::domain::Event| NewEvent {
            id: event.id,
            happened: event.happened,
            actor: (*event.actor).clone(),
            body: event.body.clone(),
        };
        (
            story.opens,
            app.desk.floor.events.iter().map(event).collect(),
        )
    })
}

/// A lab whose names try to break the screen.
pub(super) fn hostile() -> App {
    let mut lab = demo_lab();
    let nasty = [
        "漢字かな-1",
        "e\u{301}e\u{301}e\u{301}",
        "long-long-long-long-long-long-long-long-long",
    ];
    for (request, name) in lab.requests.iter_mut().zip(nasty) {
        request.units[0] = UnitId::new(name);
        request.product = "\u{1b}[2J\u{202e}evil\u{9b}".to_owned();
    }
    lab.pins.clear();
    lab.rigs[0].id = RigId::new("very-long-name-of-a-rig-漢字");
    let clock = Arc::new(FakeClock::at(Minute::new(30_094_000)));
    app_on(lab, memory(&clock), clock)
}

pub(super) fn shown(app: &App, theme: &Theme, width: u16, height: u16) -> Buffer {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(app, theme, area, &mut buffer);
    buffer
}

pub(super) fn text(buffer: &Buffer) -> String {
    let row = |y| {
        let cells = (0..buffer.area.width).map(|x| buffer[(x, y)].symbol().to_owned());
        cells.collect::<String>().trim_end().to_owned()
    };
    (0..buffer.area.height)
        .map(row)
        .collect::<Vec<String>>()
        .join("\n")
}

fn overlays(app: &App) -> Vec<Option<Overlay>> {
    let unit = app.desk.lab.requests[0].units[0].clone();
    let rig = app.desk.lab.rigs[0].id.clone();
    let field = Field::default;
    vec![
        None,
        Some(Overlay::Help(field())),
        Some(Overlay::Palette(field())),
        Some(Overlay::Working {
            job: 1,
            progress: None,
        }),
        Some(Overlay::Ask(Purpose::Fail(unit.clone()), field())),
        Some(Overlay::Ask(Purpose::RigDown(rig.clone()), field())),
        Some(Overlay::When(
            WhenFor::RigBack {
                rig: rig.clone(),
                reason: "door".to_owned(),
            },
            Field {
                input: "2027-03-28 01:30".into(),
                selected: 1,
            },
        )),
        Some(Overlay::Leave {
            what: "a plan that is not in force".to_owned(),
            selected: 0,
        }),
        Some(Overlay::ChooseRig {
            unit: unit.clone(),
            rigs: vec![RigOffer {
                rig,
                earliest: Some(app.now),
            }],
            selected: 0,
        }),
        Some(Overlay::Morning { selected: 2 }),
        Some(Overlay::Choice(Box::new(Choice::parting(3, true)))),
        Some(Overlay::Count(Box::new(Count {
            lines: vec!["many \u{1b}[2J ".repeat(20)],
            count: 34,
            input: "3".into(),
            does: Chosen::Back,
        }))),
        Some(Overlay::Walk { unit, scroll: 3 }),
        Some(Overlay::Changes {
            field: field(),
            changes: vec![Change::parse("horizon 20days", &app.asked()).expect("a change")],
            wrong: Some("there is no rig \u{1b}[2J".to_owned()),
        }),
        Some(Overlay::Trying {
            job: 1,
            request: app.desk.lab.requests[0].id.clone(),
            tried: (2, 9),
        }),
        Some(Overlay::Why {
            request: app.desk.lab.requests[0].id.clone(),
            lines: vec!["cause: \u{1b}[2J ".repeat(20)],
            scroll: 0,
        }),
        Some(Overlay::Proof { leg: 0, scroll: 2 }),
        Some(Overlay::Size(Box::new(SizeForm::new("buttons")))),
    ]
}

#[test]
fn no_size_breaks_a_screen_and_no_cell_steers_the_terminal() {
    for mut app in [fresh(), demo(), hostile()] {
        app.bench.unit = Some(app.desk.lab.requests[0].units[0].clone());
        for screen in Screen::ALL {
            app.screen = screen;
            for overlay in overlays(&app) {
                app.overlays = overlay.into_iter().collect();
                let sizes = (0..=130_u16).step_by(7).chain([39, 40, 60, 80]);
                for (width, height) in sizes.flat_map(|w| {
                    (0..=45_u16)
                        .step_by(4)
                        .chain([11, 12, 18, 24])
                        .map(move |h| (w, h))
                }) {
                    let buffer = shown(&app, &THEMES[usize::from(width % 2)], width, height);
                    let steers = |cell: &ratatui::buffer::Cell| {
                        cell.symbol().chars().any(crate::domain::text::is_hidden)
                    };
                    assert!(
                        !buffer.content.iter().any(steers),
                        "{screen:?} at {width}x{height}"
                    );
                }
            }
        }
    }
}

#[test]
fn in_ascii_every_cell_of_ours_is_ascii() {
    let mut app = demo();
    for screen in Screen::ALL {
        app.screen = screen;
        for overlay in overlays(&app) {
            app.overlays = overlay.into_iter().collect();
            let buffer = shown(&app, &THEMES[1], 80, 24);
            for cell in &buffer.content {
                let plain = cell.symbol().chars().all(|c| (' '..='~').contains(&c));
                assert!(plain, "{:?} on {screen:?}", cell.symbol());
            }
        }
    }
}

#[test]
fn header_keeps_time_and_sample_when_there_is_little_room() {
    let mut app = demo();
    app.desk.set_person("Somebody With A Very Long Name Indeed");
    for width in [40, 60, 80, 120] {
        let head = text(&shown(&app, &THEMES[1], width, 12));
        let head = head.lines().next().expect("a header");
        assert!(
            head.contains("SAMPLE") && head.contains(" 06:50 ") && head.contains("22"),
            "{width}: {head}"
        );
    }
}

#[test]
fn header_keeps_stale_and_sample_when_there_is_little_room() {
    let clock = Arc::new(FakeClock::at(Minute::new(30_094_000)));
    let app = app_on(demo_lab(), memory(&clock), clock.clone());
    clock.advance(Minutes::new(60));
    for width in [40, 60, 80, 120] {
        let head = text(&shown(&app, &THEMES[1], width, 12));
        let head = head.lines().next().expect("a header");
        assert!(
            head.contains(" Plan ") && head.contains("STALE 3600 s") && head.contains("SAMPLE"),
            "{width}: {head}"
        );
    }
}

/// The program with its jobs, driven by keys.
pub(super) struct Script {
    pub(super) app: App,
    jobs: Jobs,
    messages: Receiver<Message>,
}

impl Script {
    pub(super) fn new(app: App) -> Self {
        let (sender, messages) = channel();
        Self {
            app,
            jobs: Jobs::new(sender),
            messages,
        }
    }

    /// Keys by name, apart by spaces.
    pub(super) fn keys(&mut self, keys: &str) {
        for key in keys.split_whitespace() {
            step(&mut self.app, Message::Key(key.to_owned()), &mut self.jobs);
        }
    }

    /// One key by name.
    pub(super) fn key(&mut self, key: &str) {
        step(&mut self.app, Message::Key(key.to_owned()), &mut self.jobs);
    }

    /// Whatever can happen.
    pub(super) fn message(&mut self, message: Message) {
        step(&mut self.app, message, &mut self.jobs);
    }

    pub(super) fn type_in(&mut self, words: &str) {
        for letter in words.chars() {
            step(
                &mut self.app,
                Message::Key(letter.to_string()),
                &mut self.jobs,
            );
        }
    }

    /// Waits until the planner has answered.
    pub(super) fn planned(&mut self) {
        self.until(|overlay| matches!(overlay, Overlay::Difference { .. }));
    }

    /// Waits until the topmost overlay is as wanted.
    fn until(&mut self, wanted: impl Fn(&Overlay) -> bool) {
        while !self.app.overlays.last().is_some_and(&wanted) {
            let message = self
                .messages
                .recv_timeout(Duration::from_secs(60))
                .expect("the planner answers");
            step(&mut self.app, message, &mut self.jobs);
        }
    }

    pub(super) fn screen(&self) -> String {
        text(&shown(&self.app, &THEMES[1], 100, 30))
    }
}

#[test]
#[expect(
    clippy::too_many_lines,
    reason = "one story, told from beginning to end"
)]
fn the_three_people_do_their_morning_by_keys() {
    let mut run = Script::new(demo());
    // The coordinator plans, sees what would change, and puts it in force.
    let before = run
        .app
        .desk
        .floor
        .now
        .published
        .as_ref()
        .map(|plan| plan.seq);
    run.keys("p Esc");
    run.planned();
    assert!(
        run.screen().contains("WHAT-IF") && run.screen().contains("new"),
        "{}",
        run.screen()
    );
    run.keys("c");
    assert!(
        run.app
            .desk
            .floor
            .now
            .published
            .as_ref()
            .map(|plan| plan.seq)
            > before
    );
    // The technician scans a unit that is due for loading, loads it, waits, and fails it with a reason.
    run.keys("2");
    let stops = |unit: &UnitId| unit.as_str().starts_with("R-40");
    let due = run
        .app
        .view
        .due
        .iter()
        .find(|due| due.task == crate::floor::Task::Load && due.step == 1 && stops(&due.unit));
    let unit = due.expect("something is to be loaded").unit.clone();
    run.type_in(unit.as_str());
    run.keys("Enter l");
    assert!(run.screen().contains("LOADED"), "{}", run.screen());
    run.keys("f Down Down Enter");
    assert!(run.screen().contains("FAIL"), "{}", run.screen());
    let reason = run.app.desk.lab.fail_reasons[1].clone();
    let last = &run.app.desk.floor.events.last().expect("an event").body;
    let failed = EventBody::VerdictGiven {
        unit: unit.clone(),
        step: 1,
        verdict: Verdict::Fail { reason },
    };
    assert_eq!(*last, failed);
    // The coordinator repairs the plan: the failed unit's further steps fall away.
    run.keys("1 p Esc");
    run.planned();
    assert!(run.screen().contains("dropped"), "{}", run.screen());
    run.keys("c");
    let booked = run
        .app
        .desk
        .floor
        .now
        .published
        .iter()
        .flat_map(|plan| &plan.bookings);
    assert_eq!(
        booked
            .filter(|own| own.unit == unit && own.step > 1)
            .count(),
        0
    );
    // The manager sees the hours.
    run.keys("3");
    assert!(
        run.screen().contains("bottleneck of") && run.screen().contains("rig-d"),
        "{}",
        run.screen()
    );
    // And the mark can be undone and redone, once the plan that came after it is taken back.
    let count = run.app.desk.floor.events.len();
    run.keys("u u");
    assert!(run.app.desk.floor.events.len() > count);
    assert_ne!(
        run.app
            .view
            .units
            .iter()
            .find(|line| line.unit == unit)
            .map(|line| line.state),
        Some(crate::floor::UnitState::Failed)
    );
    run.keys("U");
    assert_eq!(
        run.app
            .view
            .units
            .iter()
            .find(|line| line.unit == unit)
            .map(|line| line.state),
        Some(crate::floor::UnitState::Failed)
    );
}

#[test]
fn a_what_if_is_planned_beside_the_plan_in_force_and_published_only_when_said() {
    let mut run = Script::new(demo());
    let events = run.app.desk.floor.events.len();
    run.keys("w");
    run.type_in("rig-dwon dr-1");
    run.keys("Enter");
    assert!(
        run.screen().contains("nearest: rig-down"),
        "{}",
        run.screen()
    );
    run.keys("Ctrl-u");
    run.type_in("rig-down dr-1 2027-03-23T06:00 2027-03-24T18:00");
    run.keys("Enter");
    assert!(
        run.screen().contains("* dr-1 down from"),
        "{}",
        run.screen()
    );
    run.keys("Enter");
    run.until(|overlay| matches!(overlay, Overlay::Beside { .. }));
    let shown = run.screen();
    assert!(shown.contains("WHAT-IF 1 change: not in force"), "{shown}");
    assert!(
        shown.contains("late with") && shown.contains("finish as without"),
        "{shown}"
    );
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    run.keys("Esc");
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    // A plan that needs the change is refused, and says what the folder lacks.
    run.keys("w");
    run.type_in("rush R-900 no-such 1");
    run.keys("Enter");
    let sequence = run.app.desk.lab.sequences[0].id.to_string();
    run.keys("Ctrl-u");
    run.type_in(&format!("rush R-900 {sequence} 1"));
    run.keys("Enter Enter");
    run.until(|overlay| matches!(overlay, Overlay::Beside { .. }));
    run.keys("c");
    assert!(
        run.screen().contains("first write into the folder"),
        "{}",
        run.screen()
    );
    assert_eq!(
        run.app.desk.floor.events.len(),
        events,
        "nothing is recorded"
    );
    // One that does not is put in force by `c` alone.
    run.keys("Esc w");
    run.type_in("rig-down dr-1 2027-03-23T06:00 2027-03-24T18:00");
    run.keys("Enter Enter");
    run.until(|overlay| matches!(overlay, Overlay::Beside { .. }));
    run.keys("c");
    assert!(run.app.desk.floor.events.len() > events, "{}", run.screen());
    assert!(run.app.overlays.is_empty());
}

#[test]
fn the_selected_request_says_why_it_is_late_and_what_was_tried() {
    let mut run = Script::new(demo());
    let unit = run
        .app
        .desk
        .lab
        .requests
        .iter()
        .find(|own| own.id.as_str() == "R-306");
    let unit = unit.expect("the demo has it").units[3].clone();
    let place = run.app.view.rigs.iter().enumerate().find_map(|(row, rig)| {
        let entry = rig.entries.iter().position(|own| own.unit == unit)?;
        Some((row, entry))
    });
    (run.app.plan.row, run.app.plan.entry) = place.expect("it is on a rig");
    run.keys("v");
    run.until(|overlay| {
        matches!(
            overlay,
            Overlay::Trying {
                tried: (1.., _),
                ..
            }
        )
    });
    run.keys("Esc");
    run.until(|overlay| matches!(overlay, Overlay::Why { .. }));
    let shown = run.screen();
    assert!(
        shown.contains("R-306 finishes") && shown.contains("cause:"),
        "{shown}"
    );
}

#[test]
fn a_scan_records_nothing_and_letters_in_a_field_are_text() {
    let mut run = Script::new(demo());
    let events = run.app.desk.floor.events.len();
    run.keys("2");
    run.type_in("R-308/2");
    run.keys("Enter Ctrl-j");
    run.type_in("R-308/2");
    run.keys("Enter");
    assert_eq!(run.app.desk.floor.events.len(), events);
    assert!(run.app.bench.unit.is_some());
    run.keys("Esc");
    run.type_in("xq?:/u");
    assert_eq!(run.app.bench.scan.value(), "xq?:/u");
    run.keys("Enter");
    assert!(run.screen().contains("NO UNIT  xq?:/u"), "{}", run.screen());
    run.keys("4 /");
    run.type_in("q?:/u");
    assert_eq!(run.app.units.filter.value(), "q?:/u");
    run.keys("Esc Esc Esc");
    assert!(!run.app.over, "Esc never leaves the program");
    run.keys("q");
    assert!(run.app.over);
}

#[test]
fn a_clock_that_moves_on_renews_the_screen() {
    let mut run = Script::new(demo());
    run.app.dirty = false;
    step(&mut run.app, Message::Tick, &mut run.jobs);
    assert!(!run.app.dirty, "nothing has changed, nothing is drawn");
    assert!(run.app.desk.clock().now() == run.app.now);
}

/// The demo with two of six buttons failed at checks and four through: a leg that has a fit.
fn with_a_fit() -> App {
    let mut lab = demo_lab();
    let request = lab
        .requests
        .iter_mut()
        .find(|own| own.id.as_str() == "R-307")
        .expect("it is there");
    request.show = Some(crate::domain::lab::Show {
        reliability: 0.9,
        confidence: 0.9,
        failures: 0,
        mission: Some(100_000.0),
        shape: Some(2.0),
        modes: Vec::new(),
        sequential: None,
    });
    let units = request.units.clone();
    let clock = Arc::new(FakeClock::at(Minute::new(30_094_000)));
    let mut ledger = memory(&clock);
    let verdict = |unit: &UnitId, step, verdict| EventBody::VerdictGiven {
        unit: unit.clone(),
        step,
        verdict,
    };
    let taken = EventBody::RequestTaken {
        request: crate::domain::RequestId::new("R-307"),
        units: units.clone(),
    };
    let mut bodies = vec![taken];
    for (at, unit) in units.iter().enumerate() {
        // Checks are steps 1, 3, 5, 7, 9; the first two units fail at 200000 and at 300000 presses.
        for step in [1, 3, 5, 7] {
            let failed = step == 5 + 2 * at;
            let reason = "button sticks".to_owned();
            let own = if failed {
                Verdict::Fail { reason }
            } else {
                Verdict::Pass
            };
            bodies.push(verdict(unit, u32::try_from(step).expect("small"), own));
            if failed {
                break;
            }
        }
    }
    let events: Vec<_> = (1..)
        .zip(bodies)
        .map(|(id, body): (u128, _)| crate::domain::NewEvent {
            id: crate::domain::EventId(id.to_be_bytes()),
            happened: Minute::new(30_094_000),
            actor: actor(),
            body,
        })
        .collect();
    let outcome = ledger.append(&[], &events);
    assert!(
        matches!(outcome, crate::ledger::Outcome::Recorded { .. }),
        "{outcome:?}"
    );
    let mut app = app_on(lab, ledger, clock);
    app.screen = Screen::Evidence;
    app.leg = app
        .view
        .legs
        .iter()
        .position(|own| own.evidence.fit.is_ok())
        .expect("one has a fit");
    app
}

#[test]
fn a_fit_is_drawn_with_its_bounds_and_told_with_its_warning() {
    let mut app = with_a_fit();
    for theme in &THEMES {
        let drawn = text(&shown(&app, theme, 80, 24));
        assert!(
            drawn.contains("shape 2.674") && drawn.contains("log"),
            "{drawn}"
        );
        assert!(
            drawn.chars().filter(|own| *own == '*').count() > 30,
            "{drawn}"
        );
    }
    insta::assert_snapshot!("evidence_fit_80x24", text(&shown(&app, &THEMES[0], 80, 24)));
    app.overlays.push(Overlay::Proof {
        leg: app.leg,
        scroll: 0,
    });
    let drawn = text(&shown(&app, &THEMES[1], 80, 24));
    assert!(
        drawn.contains("small sample: 90 % bounds on B10 held 99"),
        "{drawn}"
    );
    insta::assert_snapshot!("evidence_proof_80x24", drawn);
}

#[test]
fn a_leg_is_sized_on_the_screen_beside_everything_else() {
    let mut run = Script::new(demo());
    run.keys("5 s Down Down Down Down Down 6 Down 2 Enter");
    let sized = |app: &App| match app.overlays.last() {
        Some(Overlay::Size(form)) => form.answer.clone(),
        other => panic!("no form but {other:?}"),
    };
    while sized(&run.app).is_none() {
        let message = run
            .messages
            .recv_timeout(Duration::from_secs(60))
            .expect("an answer");
        step(&mut run.app, message, &mut run.jobs);
    }
    assert!(
        run.screen().contains("6 units, each to"),
        "{}",
        run.screen()
    );
    run.keys("Up Up Up x Enter");
    let answer = sized(&run.app).expect("an answer at once");
    assert!(answer.is_err_and(|why| why.contains("`0.9x` is no number")));
}
