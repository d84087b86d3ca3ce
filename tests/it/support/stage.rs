//! The running program without a terminal: on the demo's lab, driven by keys, drawn into cells.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use rigday::app::desk::{Desk, Opening};
use rigday::app::scenario::Scenario;
use rigday::app::what_if::{Change, WhatIf};
use rigday::app::{
    App, Choice, Field, Jobs, Message, Overlay, Purpose, RigOffer, Screen, SizeForm, WhenFor,
    demo_files,
};
use rigday::clock::FakeClock;
use rigday::domain::{Actor, Lab, Minute, RigId, UnitId, Zone};
use rigday::ledger::{Env, Ids, Ledger, MemoryLedger, Shared};
use rigday::planner::Rounds;
use rigday::screens::draw;
use rigday::screens::theme::{Level, Theme};
use rigday::terminal::step;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// Marks of Unicode in sixteen colours, and ASCII without any.
pub(crate) const THEMES: [Theme; 2] = [
    Theme::new(true, Level::Ansi16),
    Theme::new(false, Level::None),
];

fn actor() -> Actor {
    let text = |text: &str| text.to_owned();
    Actor {
        uid: 1,
        login: text("ines"),
        person: text("Ines"),
        host: text("bench"),
        session: text("test"),
    }
}

fn demo_lab() -> Lab {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    let read = rigday::lab::read(&folder);
    read.expect("the demo lab has no fault").lab
}

fn memory(clock: &Arc<FakeClock>) -> Box<dyn Ledger> {
    Box::new(MemoryLedger::new(Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: "test".to_owned(),
        zone: Zone::utc(),
        heads: None,
    }))
}

fn app_on(lab: Lab, ledger: Box<dyn Ledger>, clock: Arc<FakeClock>) -> App {
    let desk = Desk::open(Opening {
        lab,
        ledger,
        clock,
        ids: Ids::seeded(2),
        actor: actor(),
    });
    let mut app = App::new(desk.expect("a ledger in memory can be read"), true);
    app.exports = std::env::temp_dir();
    app
}

/// The demo's lab without any history.
pub(crate) fn fresh() -> App {
    let lab = demo_lab();
    let now = rigday::lab::parse_instant("2027-03-22T06:50", Some(&lab.zone)).expect("an instant");
    let clock = Arc::new(FakeClock::at(now));
    app_on(lab, memory(&clock), clock)
}

/// The demo on its Monday, its story played.
pub(crate) fn demo() -> App {
    let (lab, shared, clock) = played();
    app_on(lab, Box::new(shared), clock)
}

/// Two sessions on the demo's ledger: Ines and Rui.
pub(crate) fn two() -> (App, App) {
    let (lab, shared, clock) = played();
    let ines = app_on(lab.clone(), Box::new(shared.clone()), clock.clone());
    let rui = Desk::open(Opening {
        lab,
        ledger: Box::new(shared),
        clock,
        ids: Ids::seeded(3),
        actor: Actor {
            person: "Rui".to_owned(),
            session: "other".to_owned(),
            ..actor()
        },
    });
    let rui = App::new(rui.expect("a ledger in memory can be read"), true);
    (ines, rui)
}

fn played() -> (Lab, Shared, Arc<FakeClock>) {
    let lab = demo_lab();
    let story = Scenario::read(demo_files::SCENARIO, &lab).expect("the story can be read");
    let clock = Arc::new(FakeClock::at(story.opens));
    let shared = Shared::new(memory(&clock));
    let played = story.play(&lab, Box::new(shared.clone()), &clock, &actor());
    played.expect("the story can be played");
    (lab, shared, clock)
}

/// Names that try to break a screen: wide, half-width, combining, joined, right to left, tabs, line ends,
/// escapes, and one that is too long.
pub(crate) const NASTY: [&str; 9] = [
    "漢字かな-1",
    "ｶﾀｶﾅ-2",
    "e\u{301}e\u{301}e\u{301}",
    "👩‍🔬👩‍🔬-4",
    "אבגד-5",
    "a\tb\nc",
    "x\u{1b}[2Jy\u{202e}z",
    "\u{9b}31mred",
    "long-long-long-long-long-long-long-long-long-long",
];

/// A lab with such names.
pub(crate) fn hostile() -> App {
    let mut lab = demo_lab();
    for (request, name) in lab.requests.iter_mut().zip(NASTY) {
        request.units[0] = UnitId::new(name);
        request.product = format!("{name}\u{1b}[2J\u{202e}evil\u{9b}");
    }
    lab.pins.clear();
    for (rig, name) in lab.rigs.iter_mut().zip(NASTY) {
        rig.id = RigId::new(name);
    }
    lab.outages.clear();
    let clock = Arc::new(FakeClock::at(Minute::new(30_094_000)));
    app_on(lab, memory(&clock), clock)
}

/// One of everything that can lie in front of a screen.
pub(crate) fn overlays(app: &App) -> Vec<Overlay> {
    let unit = app.desk.lab.requests[0].units[0].clone();
    let rig = app.desk.lab.rigs[0].id.clone();
    let request = app.desk.lab.requests[0].id.clone();
    let field = Field::default;
    let change = Change::parse("horizon 20days", &app.asked()).expect("a change");
    let typed = |text: &str| Field {
        input: text.into(),
        selected: 1,
    };
    let back = WhenFor::RigBack {
        rig: rig.clone(),
        reason: "door".to_owned(),
    };
    let (proposal, what_if) = planned(app, change.clone());
    vec![
        Overlay::Help(field()),
        Overlay::Palette(field()),
        Overlay::Palette(typed("zzzz")),
        Overlay::Working {
            job: 1,
            progress: None,
        },
        proposal,
        what_if,
        Overlay::Ask(Purpose::Fail(unit.clone()), field()),
        Overlay::Ask(Purpose::RigDown(rig.clone()), typed("\u{1b}[2J漢字")),
        Overlay::When(back.clone(), field()),
        Overlay::When(back, typed("2027-03-28 01:30")),
        Overlay::Leave {
            what: "a plan that is not in force".to_owned(),
            selected: 0,
        },
        Overlay::ChooseRig {
            unit: unit.clone(),
            rigs: app
                .desk
                .lab
                .rigs
                .iter()
                .map(|own| RigOffer {
                    rig: own.id.clone(),
                    earliest: Some(app.now),
                })
                .collect(),
            selected: 7,
        },
        Overlay::Morning { selected: 4 },
        Overlay::Choice(Box::new(Choice::parting(3, true))),
        Overlay::Walk { unit, scroll: 3 },
        Overlay::Changes {
            field: typed("rig-down"),
            changes: vec![change],
            wrong: Some("there is no rig \u{1b}[2J".to_owned()),
        },
        Overlay::Trying {
            job: 1,
            request: request.clone(),
            tried: (2, 9),
        },
        Overlay::Why {
            request,
            lines: vec!["cause: \u{1b}[2J ".repeat(20)],
            scroll: 0,
        },
        Overlay::Proof { leg: 0, scroll: 2 },
        Overlay::Size(Box::new(SizeForm::new("buttons"))),
    ]
}

/// A plan that is not in force, and one of a changed lab.
fn planned(app: &App, change: Change) -> (Overlay, Overlay) {
    let planning = app.desk.planning();
    let proposal = Overlay::Difference {
        proposal: Box::new(planning.run(1, &Rounds(1), &mut |_| {})),
        scroll: 0,
    };
    let published = app.desk.floor.now.published.clone();
    let mut plan =
        |planning: &rigday::app::desk::Planning| planning.run(1, &Rounds(1), &mut |_| {});
    let what_if = WhatIf::run(planning, published, vec![change], &mut plan);
    let beside = Overlay::Beside {
        what_if: Box::new(what_if.expect("a shorter horizon can be planned")),
        scroll: 0,
    };
    (proposal, beside)
}

/// The program drawn into that many columns and rows.
pub(crate) fn shown(app: &App, theme: &Theme, (width, height): (u16, u16)) -> Buffer {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(app, theme, area, &mut buffer);
    buffer
}

/// One row as text.
pub(crate) fn row(buffer: &Buffer, y: u16) -> String {
    let mut text = String::new();
    let mut x = 0;
    while x < buffer.area.width {
        let symbol = buffer[(x, y)].symbol();
        text.push_str(symbol);
        // The cells behind a wide sign belong to it.
        let wide = unicode_width::UnicodeWidthStr::width(symbol).max(1);
        x += u16::try_from(wide).expect("a sign is narrow");
    }
    text.trim_end().to_owned()
}

/// All rows as text.
pub(crate) fn text(buffer: &Buffer) -> String {
    let rows: Vec<String> = (0..buffer.area.height).map(|y| row(buffer, y)).collect();
    rows.join("\n")
}

/// The rows, then the runs of cells that are not plain: `4: 12..30 white on blue, bold`.
pub(crate) fn shot(buffer: &Buffer) -> String {
    let mut all = text(buffer);
    all.push_str("\n-- styles --");
    for y in 0..buffer.area.height {
        for (from, to, style) in runs(buffer, y) {
            all.push_str(&format!("\n{y}: {from}..{to} {style}"));
        }
    }
    all
}

fn runs(buffer: &Buffer, y: u16) -> Vec<(u16, u16, String)> {
    let mut runs: Vec<(u16, u16, String)> = Vec::new();
    for x in 0..buffer.area.width {
        let cell = &buffer[(x, y)];
        let style = style_words(cell.fg, cell.bg, cell.modifier);
        match runs.last_mut() {
            Some((_, to, last)) if *to == x && *last == style => *to += 1,
            _ => runs.push((x, x + 1, style)),
        }
    }
    runs.retain(|(.., style)| !style.is_empty());
    runs
}

fn style_words(letters: Color, ground: Color, modifier: Modifier) -> String {
    let mut words = Vec::new();
    if (letters, ground) != (Color::Reset, Color::Reset) {
        words.push(format!("{letters} on {ground}").to_lowercase());
    }
    let named = modifier.iter_names().map(|(name, _)| name.to_lowercase());
    words.extend(named);
    words.join(", ")
}

/// The program with its jobs, driven by keys.
pub(crate) struct Script {
    pub(crate) app: App,
    jobs: Jobs,
    /// Where jobs send their news.
    news: Receiver<Message>,
}

impl Script {
    pub(crate) fn new(app: App) -> Self {
        let (sender, news) = channel();
        Self {
            app,
            jobs: Jobs::new(sender),
            news,
        }
    }

    pub(crate) fn send(&mut self, message: Message) {
        step(&mut self.app, message, &mut self.jobs);
    }

    /// Takes news in until what lies in front is as wanted.
    pub(crate) fn until(&mut self, wanted: impl Fn(&Overlay) -> bool) {
        while !self.app.overlays.last().is_some_and(&wanted) {
            let news = self.news.recv_timeout(Duration::from_secs(120));
            self.send(news.expect("the job answers"));
        }
    }

    /// Keys by name, apart by spaces.
    pub(crate) fn keys(&mut self, keys: &str) {
        for key in keys.split_whitespace() {
            self.send(Message::Key(key.to_owned()));
        }
    }

    pub(crate) fn type_in(&mut self, words: &str) {
        for letter in words.chars() {
            self.send(Message::Key(letter.to_string()));
        }
    }

    pub(crate) fn screen(&self) -> String {
        text(&shown(&self.app, &THEMES[1], (100, 30)))
    }

    pub(crate) fn on(mut self, screen: Screen) -> Self {
        self.app.screen = screen;
        self
    }
}
