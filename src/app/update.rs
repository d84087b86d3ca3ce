//! Messages become changes of state and effects; nothing here reads or writes anything else.

use super::actions::Action;
use super::choice::Choice;
use super::state::{App, Effect, Field, Message, Overlay, Purpose, Screen};
use tui_input::{Input, InputRequest};

impl App {
    /// Takes a message in.
    pub fn update(&mut self, message: Message) -> Vec<Effect> {
        match message {
            Message::Key(key) | Message::Typed(key, _) => {
                self.touched();
                return self.key(&key);
            }
            Message::Scan(text) => return self.scanned_anywhere(&text),
            Message::Text(text) => self.add_to_scan_line(&text),
            Message::Stray(text) => self.stray(&text),
            Message::Paste(text) => self.paste(&text),
            Message::Pointer(pointer) => return self.pointed(pointer),
            Message::Resized | Message::Resumed => self.dirty = true,
            Message::Tick => {
                if self.desk.now() != self.now {
                    return vec![Effect::Refresh];
                }
            }
            Message::Progress(job, news) => {
                if let Some(Overlay::Working { job: own, progress }) = self.overlays.last_mut()
                    && *own == job
                {
                    *progress = Some(news);
                    self.dirty = true;
                }
            }
            Message::Planned(job, proposal) => {
                if let Some(at) = self.waiting_for(job) {
                    self.overlays[at] = Overlay::Difference {
                        proposal,
                        scroll: 0,
                    };
                    self.dirty = true;
                }
            }
            Message::Compared(..) | Message::Tried(..) | Message::Explained(..) => {
                self.what_if_news(message);
            }
            Message::Drawn(job, done, all) => self.drawn(job, (done, all)),
            Message::Foretold(job, told) => self.foretold(job, told),
            Message::Sized(job, answer) => self.sized(job, answer),
            Message::JobFailed(job) => {
                if let Some(at) = self.waiting_for(job) {
                    self.overlays.remove(at);
                }
                let words = "planning broke down, nothing was changed; please report what you did";
                self.said = Some((false, words.to_owned()));
                self.dirty = true;
            }
            Message::Terminate(_) => return vec![Effect::Quit],
        }
        Vec::new()
    }

    /// The overlay that waits for a job.
    pub(super) fn waiting_for(&self, job: u64) -> Option<usize> {
        let waits = |own: &Overlay| matches!(own, Overlay::Working { job: own, .. } | Overlay::Trying { job: own, .. } | Overlay::Forecasting { job: own, .. } if *own == job);
        self.overlays.iter().position(waits)
    }

    pub(super) fn key(&mut self, key: &str) -> Vec<Effect> {
        if key == "Ctrl-c" && !self.is_in_scan() {
            return self.quit();
        }
        if key == "Esc" && self.give_up_recording() {
            return Vec::new();
        }
        match self.overlays.last() {
            Some(Overlay::Help(_) | Overlay::Palette(_)) => self.key_in_list(key),
            Some(Overlay::Ask(..)) => self.key_in_question(key),
            Some(
                Overlay::ChooseRig { .. } | Overlay::ChooseUnit { .. } | Overlay::Morning { .. },
            ) => self.key_in_plan_overlay(key),
            Some(Overlay::When(..)) => self.key_in_when(key),
            Some(Overlay::Leave { .. }) => self.key_in_leave(key),
            Some(Overlay::Choice(_)) => self.key_in_choice(key),
            Some(Overlay::Count(_)) => self.key_in_count(key),
            Some(Overlay::Changes { .. }) => self.key_in_changes(key),
            Some(Overlay::Size(_)) => self.key_in_size_form(key),
            Some(_) => self.key_in_overlay(key),
            None => self.key_on_screen(key),
        }
    }

    fn key_on_screen(&mut self, key: &str) -> Vec<Effect> {
        if self.screen == Screen::Bench {
            return self.key_on_bench(key);
        }
        if self.screen == Screen::Units && self.units.typing {
            match key {
                "Enter" => self.units.typing = false,
                "Esc" => {
                    self.units.typing = false;
                    self.units.filter.reset();
                }
                "Up" | "Down" | "PgUp" | "PgDn" => return self.act(key),
                _ => edit(&mut self.units.filter, key),
            }
            self.settle();
            return Vec::new();
        }
        self.act(key)
    }

    pub(super) fn act(&mut self, key: &str) -> Vec<Effect> {
        match self.settings.keys.action(key, self.screen) {
            Some(action) => self.run(action),
            None => Vec::new(),
        }
    }

    fn key_in_overlay(&mut self, key: &str) -> Vec<Effect> {
        let page = self.page.max(1);
        let action = self.settings.keys.action(key, self.screen);
        let moved = |at: usize| match action {
            Some(Action::Up) => Some(at.saturating_sub(1)),
            Some(Action::Down) => Some(at + 1),
            Some(Action::PageUp) => Some(at.saturating_sub(page)),
            Some(Action::PageDown) => Some(at + page),
            Some(Action::First) => Some(0),
            Some(Action::Last) => Some(usize::MAX / 2),
            _ => None,
        };
        match (self.overlays.last_mut(), key) {
            (Some(own), "Esc") if own.is_at_work() => return vec![Effect::StopPlanning],
            (Some(own), _) if own.is_at_work() => {}
            (_, "Esc") => {
                self.overlays.pop();
            }
            _ if action == Some(Action::Quit) => return self.quit(),
            (Some(Overlay::Difference { .. }), "c") => {
                return vec![Effect::Publish];
            }
            (Some(Overlay::Difference { .. }), "Enter") => self.choose_from(Choice::about_plan()),
            (Some(Overlay::Difference { .. }), "t") => return self.onto_timeline(),
            (Some(Overlay::Beside { .. }), "c") => {
                return vec![Effect::PublishWhatIf];
            }
            (Some(Overlay::Beside { .. }), "Enter") => self.choose_from(Choice::about_what_if()),
            (Some(Overlay::Difference { proposal, scroll }), _) => {
                // Why a request is left out takes some lines.
                const REASON: usize = 6;
                let most = proposal.changes.len()
                    + proposal.clashes.len()
                    + REASON * proposal.plan.unplannable.len()
                    + proposal.plan.requests.len();
                *scroll = moved(*scroll).unwrap_or(*scroll).min(most);
            }
            (Some(Overlay::Beside { what_if, scroll }), _) => {
                let most = what_if.rows().len();
                *scroll = moved(*scroll).unwrap_or(*scroll).min(most);
            }
            (Some(Overlay::Why { lines, scroll, .. }), _) => {
                let most = lines.len().saturating_sub(1);
                *scroll = moved(*scroll).unwrap_or(*scroll).min(most);
            }
            (Some(Overlay::Forecast { told, scroll }), _) => {
                *scroll = moved(*scroll).unwrap_or(*scroll).min(told.lines());
            }
            (Some(Overlay::Walk { scroll, .. } | Overlay::Proof { scroll, .. }), _) => {
                *scroll = moved(*scroll).unwrap_or(*scroll).min(500);
            }
            _ => {}
        }
        Vec::new()
    }

    fn paste(&mut self, text: &str) {
        let text: String = text
            .replace("\r\n", "\n")
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let screen = self.screen;
        let field = match self.overlays.last_mut() {
            Some(
                Overlay::Help(field)
                | Overlay::Palette(field)
                | Overlay::Ask(_, field)
                | Overlay::When(_, field)
                | Overlay::Changes { field, .. },
            ) => Some(&mut field.input),
            Some(Overlay::Size(form)) => form.fields.get_mut(form.at),
            Some(Overlay::Count(own)) => Some(&mut own.input),
            None if screen == Screen::Bench => Some(&mut self.bench.scan),
            None if screen == Screen::Units && self.units.typing => Some(&mut self.units.filter),
            _ => None,
        };
        match field {
            Some(input) => text.chars().for_each(|c| edit(input, &c.to_string())),
            None => self.said = Some((false, "nothing here takes pasted text".to_owned())),
        }
        self.dirty = true;
    }

    /// Carries an action out, or says what it needs.
    pub(super) fn run(&mut self, action: Action) -> Vec<Effect> {
        if let Some(effects) = self.run_in_hand(action) {
            return effects;
        }
        match action {
            Action::Plan => self.show(Screen::Plan),
            Action::Bench => self.show(Screen::Bench),
            Action::Load => self.show(Screen::Load),
            Action::Units => self.show(Screen::Units),
            Action::Evidence => self.show(Screen::Evidence),
            Action::Size => self.ask_size(),
            Action::NextScreen => self.turn(1),
            Action::LastScreen => self.turn(-1),
            Action::Help => self.overlays.push(Overlay::Help(Field::default())),
            Action::Palette => self.overlays.push(Overlay::Palette(Field::default())),
            Action::Quit => return self.quit(),
            Action::Undo => return self.take_back(),
            Action::Redo => return self.make_again(),
            Action::CopyRow | Action::CopyTable | Action::Export | Action::Mouse => {
                return self.hand_out(action);
            }
            Action::Refresh => return vec![Effect::Refresh],
            Action::MakePlan => return vec![Effect::Plan],
            Action::WhatIf => self.overlays.push(Overlay::no_changes()),
            Action::WhyLate => return self.explain(),
            Action::Forecast => return vec![Effect::Forecast],
            Action::RigUp => return self.rig().map(Effect::RigUp).into_iter().collect(),
            Action::RigDown => {
                if let Some(rig) = self.rig() {
                    self.shown = Some(self.desk.floor.seen());
                    self.overlays
                        .push(Overlay::Ask(Purpose::RigDown(rig), Field::default()));
                }
            }
            Action::Lift | Action::LiftRun => self.lift(action == Action::LiftRun),
            Action::Shorter | Action::Longer => self.say_lift_first(),
            Action::TakeOff => return self.take_off(),
            Action::Commit => self.commit(),
            Action::Morning => return self.show_morning(),
            Action::Assign => self.choose_unit(),
            Action::Who => self.ask_who(None),
            Action::Earlier => self.ask_when_it_happened(),
            _ if self.asks_who(action) => self.ask_who(Some(action)),
            Action::Pass | Action::LoadUnit | Action::UnloadUnit => return self.about_unit(action),
            Action::Fail | Action::Hold | Action::Note | Action::Withdraw => self.ask(action),
            Action::Search => self.units.typing = true,
            Action::Sort => self.units.sort = self.units.sort.next(),
            Action::SortBack => self.units.down = !self.units.down,
            Action::Back => self.back(),
            Action::Open => self.open(),
            Action::NextClash => self.next_clash(),
            Action::Now => self.go_to_now(),
            Action::ZoomIn => self.zoom(-1),
            Action::ZoomOut => self.zoom(1),
            Action::LoadDays
            | Action::LoadWeeks
            | Action::LoadNow
            | Action::LoadMeasure
            | Action::LoadSort
            | Action::LoadTurn => self.load_action(action),
            Action::Up
            | Action::Down
            | Action::Left
            | Action::Right
            | Action::PageUp
            | Action::PageDown
            | Action::First
            | Action::Last => self.go(action),
        }
        Vec::new()
    }

    pub(super) fn show(&mut self, screen: Screen) {
        self.screen = screen;
        self.said = None;
    }

    /// Goes round the screens; between the last and the first comes the list of all actions.
    fn turn(&mut self, by: isize) {
        let at = Screen::ALL.iter().position(|own| *own == self.screen);
        let next = at.and_then(|at| at.checked_add_signed(by));
        match next.and_then(|next| Screen::ALL.get(next)) {
            Some(screen) => self.show(*screen),
            None => self.overlays.push(Overlay::Palette(Field::default())),
        }
    }

    fn back(&mut self) {
        self.said = None;
        if self.screen == Screen::Units {
            self.units.filter.reset();
            self.settle();
        }
    }

    fn open(&mut self) {
        if self.screen == Screen::Bench && (self.bench.moved || self.bench.unit.is_none()) {
            self.take_selected();
        } else if let Some(unit) = self.unit() {
            self.overlays.push(Overlay::Walk { unit, scroll: 0 });
        } else if self.screen == Screen::Evidence && self.leg < self.view.legs.len() {
            let leg = self.leg;
            self.overlays.push(Overlay::Proof { leg, scroll: 0 });
        } else if self.screen == Screen::Load {
            self.open_rig();
        }
    }

    fn about_unit(&mut self, action: Action) -> Vec<Effect> {
        let Some(unit) = self.unit() else {
            self.said = Some((false, "scan a unit first".to_owned()));
            return Vec::new();
        };
        vec![match action {
            Action::Pass => Effect::Pass(unit),
            Action::LoadUnit => Effect::LoadUnit(unit),
            _ => Effect::UnloadUnit(unit),
        }]
    }

    fn ask(&mut self, action: Action) {
        let Some(unit) = self.unit() else {
            self.said = Some((false, "scan a unit first".to_owned()));
            return;
        };
        let purpose = match action {
            Action::Fail => Purpose::Fail(unit),
            Action::Hold => Purpose::Hold(unit),
            Action::Withdraw => Purpose::Withdraw(unit),
            _ => Purpose::Note(unit),
        };
        self.shown = Some(self.desk.floor.seen());
        self.overlays.push(Overlay::Ask(purpose, Field::default()));
    }

    fn go(&mut self, action: Action) {
        match self.screen {
            Screen::Plan => self.go_plan(action),
            Screen::Bench => self.go_bench(action),
            Screen::Units => step_by(&mut self.units.selected, action, self.page),
            Screen::Evidence => step_by(&mut self.leg, action, self.page),
            Screen::Load => self.go_load(action),
        }
        self.settle();
    }
}

pub(super) fn step_by(selected: &mut usize, action: Action, page: usize) {
    *selected = match action {
        Action::Up => selected.saturating_sub(1),
        Action::Down => *selected + 1,
        Action::PageUp => selected.saturating_sub(page),
        Action::PageDown => *selected + page,
        Action::First => 0,
        Action::Last => usize::MAX,
        _ => *selected,
    };
}

/// One key in a line of text.
pub(super) fn edit(input: &mut Input, key: &str) {
    let mut letters = key.chars();
    let request = match (letters.next(), letters.next(), key) {
        (_, _, "Backspace") => InputRequest::DeletePrevChar,
        (_, _, "Delete") => InputRequest::DeleteNextChar,
        (_, _, "Left") => InputRequest::GoToPrevChar,
        (_, _, "Right") => InputRequest::GoToNextChar,
        (_, _, "Home") => InputRequest::GoToStart,
        (_, _, "End") => InputRequest::GoToEnd,
        (_, _, "Ctrl-u") => InputRequest::DeleteLine,
        (Some(letter), None, _) if input.value().chars().count() < 500 => {
            InputRequest::InsertChar(letter)
        }
        _ => return,
    };
    input.handle(request);
}
