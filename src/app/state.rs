//! What the running program knows and shows.

use super::actions::Action;
use super::bench_state::Bench;
use super::choice::{Choice, Count};
use super::desk::{Desk, Proposal};
use super::forecast::Told;
use super::load_view::LoadView;
use super::plan::PlanView;
use super::plan::crews::CrewRow;
use super::plan::layout::{PlanLayout, Wanted};
use super::plan::timeline::Timeline;
use super::pointer::Pointer;
use super::recording::Recording;
use super::settings::Settings;
use super::sizing::Wish;
use super::unit_sort::UnitSort;
use super::view::View;
use super::what_if::{Change, WhatIf};
use super::when::Asked;
use crate::domain::{Event, Minute, RequestId, RigId, Seq, UnitId, Verdict};
use crate::planner::Progress;
use chrono::NaiveDate;
use std::path::PathBuf;
use std::time::Duration;
use tui_input::Input;

/// The five screens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Screen {
    /// Rigs over time.
    Plan,
    /// Scan, due list, verdicts.
    Bench,
    /// How rigs are used.
    Load,
    /// Every unit.
    Units,
    /// What the results prove.
    Evidence,
}

impl Screen {
    /// All of them, in the order of their keys.
    pub const ALL: [Self; 5] = [
        Self::Plan,
        Self::Bench,
        Self::Load,
        Self::Units,
        Self::Evidence,
    ];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Plan => "Plan",
            Self::Bench => "Bench",
            Self::Load => "Load",
            Self::Units => "Units",
            Self::Evidence => "Evidence",
        }
    }
}

/// A key as text: `a`, `A`, `Enter`, `Ctrl-c`, `Shift-Tab`.
pub type Key = String;

/// Whatever can happen to the program.
#[derive(Debug)]
pub enum Message {
    /// A key was pressed.
    Key(Key),
    /// A key was pressed at this time, by the clock that never goes back; not yet told from a scan.
    Typed(Key, Duration),
    /// Text was pasted.
    Paste(String),
    /// Letters for the scan line of the Bench.
    Text(String),
    /// A whole scan, where no line of text waited for it.
    Scan(String),
    /// Letters as fast as a scan but without its end; none of them was run.
    Stray(String),
    /// The mouse was used.
    Pointer(Pointer),
    /// The terminal has another size.
    Resized,
    /// The program goes on after it was stopped.
    Resumed,
    /// Time has passed.
    Tick,
    /// The planner has news; of the job with that number.
    Progress(u64, Progress),
    /// The planner is done; the job with that number.
    Planned(u64, Box<Proposal>),
    /// A what-if is planned, or cannot be made; the job with that number.
    Compared(u64, Result<Box<WhatIf>, String>),
    /// So many of so many changes are tried; the job with that number.
    Tried(u64, usize, usize),
    /// Why a request is late and what would help, in lines; the job with that number.
    Explained(u64, Vec<String>),
    /// So many of so many samples of a forecast are drawn; the job with that number.
    Drawn(u64, usize, usize),
    /// A forecast is made, or was stopped before its first sample; the job with that number.
    Foretold(u64, Option<Box<Told>>),
    /// A leg was sized, or cannot be; the job with that number.
    Sized(u64, Result<Vec<String>, String>),
    /// The job with that number broke down.
    JobFailed(u64),
    /// The program was told to end, by the signal of that number.
    Terminate(i32),
}

/// What a change of state asks for outside of it.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Plan off the screen's thread, around what was put in its place by hand.
    Plan,
    /// Keep the what-if for the next start, or what is left of it.
    Keep,
    /// Plan a changed lab beside the plan in force, off the screen's thread.
    WhatIf(Vec<Change>),
    /// Put the what-if on the screen in force.
    PublishWhatIf,
    /// Find out why a request is late and what would help, off the screen's thread.
    Explain(RequestId),
    /// Forecast the plan in force, off the screen's thread.
    Forecast,
    /// Work out a leg from the form, off the screen's thread.
    Size(Wish),
    /// Stop planning and keep the best plan.
    StopPlanning,
    /// Put the proposal on the screen in force.
    Publish,
    /// Record something.
    Record(Purpose, String),
    /// Load a unit.
    LoadUnit(UnitId),
    /// Unload a unit.
    UnloadUnit(UnitId),
    /// A pass.
    Pass(UnitId),
    /// A verdict in place of one that stands.
    Overrule(UnitId, Verdict),
    /// Report a rig down: why, and until when, where that is known.
    RigDown(RigId, String, Option<Minute>),
    /// Report a rig back.
    RigUp(RigId),
    /// Undo.
    Undo,
    /// Redo.
    Redo,
    /// Read the ledger again.
    Refresh,
    /// Copy the selected row.
    CopyRow,
    /// Copy the whole table.
    CopyTable,
    /// Write the table into a file.
    Export,
    /// End the program.
    Quit,
}

/// What a text is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Why it failed.
    Fail(UnitId),
    /// Why it is held.
    Hold(UnitId),
    /// A note about it.
    Note(UnitId),
    /// Why it is withdrawn.
    Withdraw(UnitId),
    /// Why the rig is down.
    RigDown(RigId),
    /// Who is at the bench; what waits for the answer.
    Who(Option<Action>),
}

impl Purpose {
    /// The question.
    pub fn question(&self) -> String {
        match self {
            Self::Fail(unit) => format!("Why did {unit} fail?"),
            Self::Hold(unit) => format!("Why is {unit} on hold?"),
            Self::Note(unit) => format!("Note on {unit}"),
            Self::Withdraw(unit) => format!("Why is {unit} withdrawn?"),
            Self::RigDown(rig) => format!("What is wrong with {rig}?"),
            Self::Who(_) => "Who is at the bench?".to_owned(),
        }
    }
}

/// What a date is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhenFor {
    /// When a rig that is down is expected back; may stay open.
    RigBack {
        /// The rig.
        rig: RigId,
        /// Why it is down.
        reason: String,
    },
    /// When the next deed at the bench happened.
    Happened,
}

impl WhenFor {
    /// The question.
    pub fn question(&self) -> String {
        match self {
            Self::RigBack { rig, .. } => format!("When is {rig} expected back?"),
            Self::Happened => "When did it happen? The next load, unload or verdict".to_owned(),
        }
    }

    /// Forms that it is often written in.
    pub const fn forms(&self) -> &'static str {
        match self {
            Self::RigBack { .. } => "14:30, tomorrow 8, mon, w13, +4h",
            Self::Happened => "06:10, -30m, yesterday 16:00, mon 9:15",
        }
    }

    /// What Enter on an empty line means.
    pub const fn empty(&self) -> &'static str {
        match self {
            Self::RigBack { .. } => "nobody knows yet",
            Self::Happened => "now",
        }
    }
}

/// A list to choose from with a line of text beside it.
#[derive(Clone, Debug, Default)]
pub struct Field {
    /// What was typed.
    pub input: Input,
    /// The selected line.
    pub selected: usize,
}

/// A rig that can do a unit's next step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RigOffer {
    /// The rig.
    pub rig: RigId,
    /// When it could load first, beside everything that is booked; `None` within no horizon.
    pub earliest: Option<Minute>,
}

/// A unit that waits for a booking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// The unit.
    pub unit: UnitId,
    /// Its next step, from 1.
    pub step: u32,
    /// What that is, and since when it could begin.
    pub words: String,
}

/// Something in front of the screen.
#[derive(Clone, Debug)]
pub enum Overlay {
    /// All actions; typing narrows.
    Help(Field),
    /// Find an action by name.
    Palette(Field),
    /// The planner works.
    Working {
        /// The job.
        job: u64,
        /// Its last news.
        progress: Option<Progress>,
    },
    /// A proposal and what it would change.
    Difference {
        /// The proposal.
        proposal: Box<Proposal>,
        /// First line shown.
        scroll: usize,
    },
    /// What could be different: changes are typed in.
    Changes {
        /// What is typed.
        field: Field,
        /// Those that were taken.
        changes: Vec<Change>,
        /// Why the last one was not.
        wrong: Option<String>,
    },
    /// A what-if beside the plan in force.
    Beside {
        /// The plans.
        what_if: Box<WhatIf>,
        /// First line shown.
        scroll: usize,
    },
    /// Changes are tried for a late request.
    Trying {
        /// The job.
        job: u64,
        /// The request.
        request: RequestId,
        /// How many of how many are tried.
        tried: (usize, usize),
    },
    /// Samples of a forecast are drawn.
    Forecasting {
        /// The job.
        job: u64,
        /// How many of how many are drawn.
        drawn: (usize, usize),
    },
    /// When requests and gates will be finished.
    Forecast {
        /// The forecast.
        told: Box<Told>,
        /// First line shown.
        scroll: usize,
    },
    /// Why a request is late.
    Why {
        /// The request.
        request: RequestId,
        /// The chain of reasons and what would help.
        lines: Vec<String>,
        /// First line shown.
        scroll: usize,
    },
    /// A reason or a note.
    Ask(Purpose, Field),
    /// A date and time.
    When(WhenFor, Field),
    /// Something unsaved would be lost: stay, or lose it.
    Leave {
        /// What it is.
        what: String,
        /// The selected answer: 0 stays.
        selected: usize,
    },
    /// Rigs that can do a unit's next step.
    ChooseRig {
        /// The unit.
        unit: UnitId,
        /// The rigs, the one that is free first on top.
        rigs: Vec<RigOffer>,
        /// The selected one.
        selected: usize,
    },
    /// Units that wait for a booking.
    ChooseUnit {
        /// The units.
        units: Vec<Waiting>,
        /// The selected one.
        selected: usize,
    },
    /// What this morning asks for.
    Morning {
        /// The selected entry.
        selected: usize,
    },
    /// A few answers to choose from.
    Choice(Box<Choice>),
    /// Many objects are meant: their count is typed.
    Count(Box<Count>),
    /// Everything that a leg's verdicts say, and what is offered.
    Proof {
        /// Its place in the view.
        leg: usize,
        /// First line shown.
        scroll: usize,
    },
    /// A leg to be planned from what it is to show.
    Size(Box<SizeForm>),
    /// The whole walk and history of a unit.
    Walk {
        /// The unit.
        unit: UnitId,
        /// First line shown.
        scroll: usize,
    },
}

/// The form of a leg to be planned.
#[derive(Clone, Debug, Default)]
pub struct SizeForm {
    /// What was typed, one for each of [`SizeForm::NAMES`].
    pub fields: [Input; 15],
    /// The field that is typed into.
    pub at: usize,
    /// The job that works it out, while it does.
    pub job: Option<u64>,
    /// What came of it: the words and the request, or why not.
    pub answer: Option<Result<Vec<String>, String>>,
}

impl SizeForm {
    /// What its fields ask for.
    pub const NAMES: [&'static str; 15] = [
        "id of the request",
        "sequence",
        "reliability",
        "confidence",
        "failures allowed",
        "units (empty: as many as needed)",
        "assumed Weibull shape (may be empty)",
        "one mission (empty: the whole walk)",
        "use in the field, a day (may be empty)",
        "years in the field",
        "days of use a year",
        "use that 95 of 100 stay below",
        "the user to design for, of 1",
        "agreed margin",
        "acceleration: af_... with its inputs",
    ];

    /// Filled with what is usual.
    pub fn new(sequence: &str) -> Self {
        let fields = [
            "R-new", sequence, "0.9", "0.9", "0", "", "", "", "", "", "365", "", "0.95", "1", "",
        ];
        Self {
            fields: fields.map(Input::from),
            ..Self::default()
        }
    }
}

/// The Units screen.
#[derive(Clone, Debug, Default)]
pub struct UnitList {
    /// What narrows the list.
    pub filter: Input,
    /// True while typing into it.
    pub typing: bool,
    /// Selected line.
    pub selected: usize,
    /// The column that it is sorted by.
    pub sort: UnitSort,
    /// Sorted from the last to the first.
    pub down: bool,
}

/// The running program.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each says one thing that is so or not, and none excludes another"
)]
pub struct App {
    /// The lab at work.
    pub desk: Desk,
    /// What the screens show of it, worked out once for each change.
    pub view: View,
    /// The time that everything on the screen is of.
    pub now: Minute,
    /// What the user has set.
    pub settings: Settings,
    /// Which screen.
    pub screen: Screen,
    /// What lies in front of it, the last on top.
    pub overlays: Vec<Overlay>,
    /// The Plan screen.
    pub plan: PlanView,
    /// The Bench screen.
    pub bench: Bench,
    /// The Load screen.
    pub load: LoadView,
    /// The Units screen.
    pub units: UnitList,
    /// Selected line of the Evidence screen.
    pub leg: usize,
    /// The last answer, good or bad.
    pub said: Option<(bool, String)>,
    /// The data is made up.
    pub sample: bool,
    /// True where something on the screen has changed.
    pub dirty: bool,
    /// True once the program is to end.
    pub over: bool,
    /// Rows of the lists, as the last drawing had them; for paging.
    pub page: usize,
    /// The mouse is ours and not the terminal's own.
    pub mouse: bool,
    /// What is to go to the terminal's clipboard.
    pub copied: Option<String>,
    /// Number of the planning job that counts; older ones are stale.
    pub job: u64,
    /// The deed that waits for a busy ledger.
    pub recording: Option<Recording>,
    /// The ledger was too busy for what was tried last.
    pub(super) busy: bool,
    /// What another session did, for which the last deed was refused.
    pub(super) conflict: Option<Box<Event>>,
    /// The last event that was known when the question in front was opened.
    pub(super) shown: Option<Seq>,
    /// A busy ledger is not waited for: what it was too busy for is tried again.
    pub tries_again: bool,
    /// The ledger could not be read when it was looked at last.
    pub lost: bool,
    /// When the ledger was last read without a fault, by the clock that never goes back.
    pub read: Duration,
    /// Columns and rows of the terminal, as the last drawing had them.
    pub size: (u16, u16),
    /// The file that keeps a what-if between two starts, where there is one.
    pub keep: Option<PathBuf>,
    /// Where tables are written to: the folder in which the program was started.
    pub exports: PathBuf,
    /// The last day on which the morning sheet was offered.
    pub sheet: Option<NaiveDate>,
}

impl App {
    /// The program on a lab, everything worked out at once.
    pub fn new(desk: Desk, sample: bool) -> Self {
        let now = desk.now();
        let view = View::of(&desk, now);
        let load = LoadView::new(desk.lab.zone.local(now).date());
        // What is wrong with the ledger or the clock is the first thing that is said.
        let said = desk.warnings().into_iter().next().map(|text| (false, text));
        let mut app = Self {
            view,
            now,
            settings: Settings::default(),
            screen: Screen::Plan,
            overlays: Vec::new(),
            plan: PlanView::at(now),
            bench: Bench::new(&desk),
            load,
            units: UnitList::default(),
            said,
            leg: 0,
            sample,
            dirty: true,
            over: false,
            page: 10,
            mouse: false,
            copied: None,
            job: 0,
            recording: None,
            busy: false,
            conflict: None,
            shown: None,
            tries_again: false,
            lost: false,
            size: (80, 24),
            keep: None,
            exports: PathBuf::from("."),
            sheet: None,
            read: desk.clock().elapsed(),
            desk,
        };
        app.select_near(now);
        app
    }

    /// Takes the user's settings, and says what of them does not count.
    pub fn set(&mut self, settings: Settings) {
        let complaint = settings.complaint().map(|text| (false, text));
        self.said = self.said.take().or(complaint);
        self.settings = settings;
        self.dirty = true;
    }

    /// Selects the entry of the selected rig that is on it at `at`, or the next one.
    pub(super) fn select_near(&mut self, at: Minute) {
        let entries = self
            .view
            .rigs
            .get(self.plan.row)
            .map_or(&[][..], |row| &row.entries[..]);
        let near = entries.iter().position(|entry| entry.span.end > at);
        self.plan.entry = near.unwrap_or(entries.len().saturating_sub(1));
    }

    /// Where and when dates are asked for.
    pub fn asked(&self) -> Asked<'_> {
        Asked {
            zone: &self.desk.lab.zone,
            now: self.now,
            dates: self.settings.dates,
        }
    }

    /// Seconds since the ledger could last be read, once they are too many to trust the screen.
    pub fn stale_seconds(&self) -> Option<u64> {
        const TRUSTED: u64 = 10;
        let age = self
            .desk
            .clock()
            .elapsed()
            .saturating_sub(self.read)
            .as_secs();
        (age > TRUSTED).then_some(age)
    }

    /// Works out anew what the screens show.
    pub fn renew(&mut self) {
        let selected = self.selection();
        self.now = self.desk.now();
        self.follow_published();
        let (draft, hand) = (self.plan.draft.as_ref(), self.plan.hand.as_deref());
        self.view = View::with(&self.desk, self.now, draft, hand);
        self.plan.changed = self.count_changes();
        self.load.forget();
        self.select_again(&selected);
        self.dirty = true;
    }

    /// Works out anew what the Plan screen shows, after a change of its own.
    pub(super) fn renew_timeline(&mut self) {
        let (draft, hand) = (self.plan.draft.as_ref(), self.plan.hand.as_deref());
        let Timeline {
            rigs,
            crews,
            clashes,
        } = Timeline::of(&self.desk, self.now, draft, hand);
        (self.view.rigs, self.view.crews, self.view.clashes) = (rigs, crews, clashes);
        self.plan.changed = self.count_changes();
        self.settle();
        self.dirty = true;
    }

    /// How the Plan screen is divided.
    pub fn plan_layout(&self, width: u16, height: u16) -> PlanLayout {
        let name = |row: &super::view::RigRow| row.rig.as_str().chars().count();
        let rigs = self.view.rigs.iter().map(name).max();
        let crew = |row: &CrewRow| row.crew.as_str().chars().count();
        let crews = self.view.crews.iter().map(crew).max();
        let wanted = Wanted {
            rigs: self.view.rigs.len(),
            crews: self.view.crews.len(),
            name: rigs.unwrap_or(0),
            crew: crews.unwrap_or(0),
        };
        PlanLayout::of(width, height, wanted)
    }

    /// The lab's clock at the last reading of the ledger without a fault, in milliseconds.
    pub fn read_ms(&self) -> i64 {
        let clock = self.desk.clock();
        let age = clock.elapsed().saturating_sub(self.read).as_millis();
        clock.now_ms() - i64::try_from(age).unwrap_or(i64::MAX)
    }

    /// Keeps every selection on something that is there.
    pub(super) fn settle(&mut self) {
        let keep = |selected: &mut usize, count: usize| {
            *selected = (*selected).min(count.saturating_sub(1));
        };
        keep(&mut self.plan.row, self.view.rigs.len());
        let entries = self
            .view
            .rigs
            .get(self.plan.row)
            .map_or(0, |row| row.entries.len());
        keep(&mut self.plan.entry, entries);
        let due = self.shown_due().len();
        keep(&mut self.bench.selected, due);
        let tasks = self.rig_tasks().count();
        keep(&mut self.bench.rig_task, tasks);
        let units = self.shown_units().len();
        keep(&mut self.units.selected, units);
        keep(&mut self.load.row, self.view.rigs.len());
        keep(&mut self.leg, self.view.legs.len());
    }

    /// Lines of the Units screen that match what narrows it.
    pub fn shown_units(&self) -> Vec<&super::view::UnitLine> {
        let find = self.units.filter.value().to_lowercase();
        let matching = self.view.units.iter().filter(|line| line.matches(&find));
        let mut lines: Vec<_> = matching.collect();
        self.units.sort.order(&mut lines, self.units.down);
        lines
    }

    /// The unit that the screen's actions are about.
    pub fn unit(&self) -> Option<UnitId> {
        match self.screen {
            Screen::Plan => {
                let row = self.view.rigs.get(self.plan.row)?;
                row.entries
                    .get(self.plan.entry)
                    .map(|entry| entry.unit.clone())
            }
            Screen::Bench => self.bench.unit.clone(),
            Screen::Units => self
                .shown_units()
                .get(self.units.selected)
                .map(|line| line.unit.clone()),
            Screen::Load | Screen::Evidence => None,
        }
    }

    /// The rig that the Plan screen's actions are about.
    pub fn rig(&self) -> Option<RigId> {
        self.view.rigs.get(self.plan.row).map(|row| row.rig.clone())
    }
}
