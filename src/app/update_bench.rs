//! The keys of the Bench: the scan line, what a scan chooses, who is there.
//!
//! The scan line takes every printable key; a letter is a command only while the line is empty.

use super::actions::{Action, Kind, Where, entry_of};
use super::bench_state::{Answer, BenchList, Mood};
use super::desk::DeskError;
use super::rig_work::RigTask;
use super::scan::{Card, Scan, cleaned, ends_scan};
use super::scan_burst::Place;
use super::state::{App, Effect, Field, Overlay, Purpose, Screen, WhenFor};
use super::update::{edit, step_by};
use crate::domain::UnitId;
use crate::domain::text::{ID_MAX, line_fault, normal};
use crate::floor::Due;

impl App {
    /// A key came: the screen may change, and somebody is there. Whether somebody was is remembered.
    pub(super) fn touched(&mut self) {
        let now = self.desk.clock().elapsed();
        self.bench.away |= now.saturating_sub(self.bench.touched) >= self.bench.idle;
        self.bench.touched = now;
        self.dirty = true;
    }

    /// Where that key would go now.
    pub fn place_of(&self, key: &str) -> Place {
        let place = self.place_of_keys();
        let opens = self.settings.keys.action(key, self.screen) == Some(Action::Search);
        if place == Place::Commands && self.overlays.is_empty() && opens {
            return Place::OpensText;
        }
        place
    }

    fn place_of_keys(&self) -> Place {
        match self.overlays.last() {
            Some(
                Overlay::Help(_)
                | Overlay::Palette(_)
                | Overlay::Ask(..)
                | Overlay::Changes { .. }
                | Overlay::When(..)
                | Overlay::Count(_)
                | Overlay::Size(_),
            ) => Place::Text,
            None if self.screen == Screen::Bench && self.bench.scan.value().is_empty() => {
                Place::EmptyScanLine
            }
            None if self.screen == Screen::Bench => Place::Text,
            None if self.screen == Screen::Units && self.units.typing => Place::Text,
            _ => Place::Commands,
        }
    }

    /// True while a scan is coming in: what a scanner sends as control keys must not leave the program.
    pub(super) fn is_in_scan(&self) -> bool {
        let on_bench = self.screen == Screen::Bench && self.overlays.is_empty();
        on_bench && !self.bench.scan.value().is_empty()
    }

    /// One key on the Bench.
    pub(super) fn key_on_bench(&mut self, key: &str) -> Vec<Effect> {
        let empty = self.bench.scan.value().is_empty();
        let printable = key.chars().count() == 1;
        match key {
            _ if ends_scan(key) && !empty => return self.scanned(),
            "Enter" | "Tab" => return self.act(key),
            "Esc" if !empty => self.bench.scan.reset(),
            "Esc" => self.back_on_bench(),
            "Left" | "Right" if empty => self.turn_list(),
            "Home" | "End" if empty => return self.act(key),
            "Backspace" | "Left" | "Right" | "Home" | "End" | "Delete" | "Ctrl-u" => {
                edit(&mut self.bench.scan, key);
            }
            "/" if empty => edit(&mut self.bench.scan, key),
            _ if printable && empty && self.is_bench_command(key) => return self.act(key),
            _ if printable => edit(&mut self.bench.scan, key),
            "Ctrl-c" if !empty => {
                let words = "the scan line is not empty: Esc clears it, then Ctrl-c leaves";
                self.said = Some((false, words.to_owned()));
            }
            // Other control keys within a scan are the scanner's own.
            _ if key.starts_with("Ctrl-") && !empty => {}
            _ => return self.act(key),
        }
        self.settle();
        Vec::new()
    }

    /// Letters of the screen count only with a unit on the card, so that a serial may begin with them. Moving
    /// is for the arrows: its letters are text here.
    fn is_bench_command(&self, key: &str) -> bool {
        let Some(action) = self.settings.keys.action(key, self.screen) else {
            return false;
        };
        let entry = entry_of(action);
        match entry.works {
            _ if action == Action::Who => true,
            Where::On(_) => self.bench.unit.is_some(),
            Where::Everywhere => entry.kind != Kind::Moves,
        }
    }

    /// Esc on an empty scan line: what was said of an earlier time goes first, then the answer, then the card, then what narrows the list.
    fn back_on_bench(&mut self) {
        self.said = None;
        self.bench.scanner.forget();
        if self.bench.happened.take().is_some() {
            return;
        }
        if self.bench.answer.take().is_none() && self.bench.unit.take().is_none() {
            self.bench.filter.clear();
        }
    }

    fn turn_list(&mut self) {
        self.bench.list = match self.bench.list {
            BenchList::Due => BenchList::Rigs,
            BenchList::Rigs => BenchList::Due,
        };
    }

    /// Moves in the list that is shown.
    pub(super) fn go_bench(&mut self, action: Action) {
        let page = self.page;
        self.bench.moved = true;
        match self.bench.list {
            BenchList::Due => step_by(&mut self.bench.selected, action, page),
            BenchList::Rigs => step_by(&mut self.bench.rig_task, action, page),
        }
    }

    /// Lines of the due list that match what narrows it.
    pub fn shown_due(&self) -> Vec<&Due> {
        let find = self.bench.narrowed_by().to_lowercase();
        let matches = |due: &&Due| self.view.matches_due(due, &find);
        self.view.due.iter().filter(matches).collect()
    }

    /// Tasks of the rigs' list, in its order.
    pub fn rig_tasks(&self) -> impl Iterator<Item = &RigTask> {
        self.view.work.iter().flat_map(|work| &work.tasks)
    }

    /// The unit of the selected line comes onto the card.
    pub(super) fn take_selected(&mut self) {
        let unit = match self.bench.list {
            BenchList::Due => self
                .shown_due()
                .get(self.bench.selected)
                .map(|due| due.unit.clone()),
            BenchList::Rigs => self
                .rig_tasks()
                .nth(self.bench.rig_task)
                .map(|task| task.unit.clone()),
        };
        match unit {
            Some(unit) => self.put_on_card(unit),
            None => self.said = Some((false, "nothing is selected: scan a unit".to_owned())),
        }
    }

    fn put_on_card(&mut self, unit: UnitId) {
        self.bench.unit = Some(unit);
        self.bench.answer = None;
        self.bench.happened = None;
        self.bench.moved = false;
        self.said = None;
    }

    /// The scan line has ended. A serial only chooses a unit; it never gives a verdict.
    fn scanned(&mut self) -> Vec<Effect> {
        let line = self.bench.scan.value().to_owned();
        self.bench.scan.reset();
        if let Some(find) = line.strip_prefix('/')
            && self.desk.find_unit(&line).is_err()
        {
            find.trim().clone_into(&mut self.bench.filter);
            self.settle();
            return Vec::new();
        }
        let scan = self.bench.scanner.take(&line, self.desk.clock().elapsed());
        match scan {
            Scan::Nothing => {}
            Scan::Again(code) => {
                let words = format!("{code} came twice within 2 s: the second is ignored");
                self.said = Some((true, words));
            }
            Scan::Serial(serial) => self.choose(&serial),
            Scan::Card(card) => return self.card(card),
            Scan::NoCard(code) => {
                let why = "no card has this code; rigday cards prints those there are";
                self.answer(Answer::refused("NO CARD", &code, why));
            }
        }
        Vec::new()
    }

    fn choose(&mut self, serial: &str) {
        match self.desk.find_unit(serial) {
            Ok(unit) => self.put_on_card(unit),
            Err(error) => {
                self.bench.unit = None;
                self.answer(no_unit(&error));
            }
        }
    }

    /// Shows an answer, large, and in the line of answers.
    pub(super) fn answer(&mut self, answer: Answer) {
        self.said = Some((answer.mood != Mood::Refused, answer.line()));
        self.bench.answer = Some(answer);
    }

    /// A card does what its key does.
    fn card(&mut self, card: Card) -> Vec<Effect> {
        match card {
            Card::Pass => self.run(Action::Pass),
            Card::Fail => self.run(Action::Fail),
            Card::Hold => self.run(Action::Hold),
            Card::Load => self.run(Action::LoadUnit),
            Card::Unload => self.run(Action::UnloadUnit),
            Card::Undo => self.run(Action::Undo),
            Card::Who(name) => {
                self.is_here(&name);
                Vec::new()
            }
            Card::Why(reason) => {
                let why = "a reason comes after %FAIL or %HOLD: scan one of these first";
                self.answer(Answer::refused("NO FAIL", &reason, why));
                Vec::new()
            }
        }
    }

    /// A scan where no line of text waited for it: it opens the unit, and runs no command.
    pub(super) fn scanned_anywhere(&mut self, text: &str) -> Vec<Effect> {
        self.touched();
        let text = cleaned(text, &self.desk.lab.bench);
        if let Scan::Card(Card::Who(name)) =
            super::scan::Scanner::default().take(&text, self.bench.touched)
        {
            self.is_here(&name);
            return Vec::new();
        }
        if text.starts_with('%') {
            let words =
                format!("scan {text}: cards work on the Bench (2), after a unit; nothing was done");
            self.said = Some((false, words));
            return Vec::new();
        }
        match self.desk.find_unit(&text) {
            Ok(unit) => self.open_scanned(unit),
            Err(error) => self.said = Some((false, format!("scan: {error}; nothing was done"))),
        }
        Vec::new()
    }

    /// On the Bench's card; in front of what is not finished, its walk.
    fn open_scanned(&mut self, unit: UnitId) {
        while matches!(self.overlays.last(), Some(Overlay::Walk { .. })) {
            self.overlays.pop();
        }
        if self.overlays.is_empty() {
            self.show(Screen::Bench);
            self.put_on_card(unit);
        } else {
            self.overlays.push(Overlay::Walk { unit, scroll: 0 });
        }
    }

    /// Letters that came too fast for a hand, into the scan line.
    pub(super) fn add_to_scan_line(&mut self, text: &str) {
        self.touched();
        for letter in text.chars() {
            edit(&mut self.bench.scan, &letter.to_string());
        }
        self.settle();
    }

    /// What came as fast as a scan and did not end like one.
    pub(super) fn stray(&mut self, text: &str) {
        self.touched();
        let words = format!("{text} came as fast as a scan and has no end: nothing was done");
        self.said = Some((false, words));
    }

    /// True where somebody must say who is there before the action.
    pub(super) fn asks_who(&self, action: Action) -> bool {
        let records = matches!(
            action,
            Action::Pass
                | Action::Fail
                | Action::Hold
                | Action::LoadUnit
                | Action::UnloadUnit
                | Action::Note
        );
        records && self.bench.away && self.screen == Screen::Bench && self.bench.unit.is_some()
    }

    /// Asks when the next deed about the unit on the card happened.
    pub(super) fn ask_when_it_happened(&mut self) {
        if self.bench.unit.is_none() {
            self.said = Some((false, "scan a unit first".to_owned()));
            return;
        }
        let ask = Overlay::When(WhenFor::Happened, Field::default());
        self.overlays.push(ask);
    }

    /// Asks who is there; what waits goes on after the answer.
    pub(super) fn ask_who(&mut self, waits: Option<Action>) {
        let ask = Overlay::Ask(Purpose::Who(waits), Field::default());
        self.overlays.push(ask);
    }

    /// Enter in a question of the bench: who is there, or a card with a reason. `None` where it is answered
    /// like any other question.
    pub(super) fn answered_at_bench(&mut self) -> Option<Vec<Effect>> {
        let Some(Overlay::Ask(purpose, field)) = self.overlays.last_mut() else {
            return None;
        };
        let typed = cleaned(field.input.value(), &self.desk.lab.bench);
        let scan = super::scan::Scanner::default().take(&typed, self.bench.touched);
        match (&*purpose, scan) {
            (Purpose::Who(waits), scan) => {
                let waits = *waits;
                let name = match scan {
                    Scan::Card(Card::Who(name)) | Scan::Serial(name) => name,
                    Scan::Nothing => self.desk.actor().person.clone(),
                    _ => String::new(),
                };
                if !self.is_here(&name) {
                    return Some(Vec::new());
                }
                self.overlays.pop();
                Some(waits.map_or_else(Vec::new, |action| self.run(action)))
            }
            (Purpose::Fail(_) | Purpose::Hold(_), Scan::Card(Card::Why(reason))) => {
                let purpose = purpose.clone();
                self.overlays.pop();
                let same = |own: &&String| own.to_lowercase() == reason.to_lowercase();
                let known = self.desk.lab.fail_reasons.iter().find(same).cloned();
                let reason = known.unwrap_or(reason);
                Some(vec![Effect::Record(purpose, reason)])
            }
            (
                Purpose::Fail(_) | Purpose::Hold(_) | Purpose::Note(_),
                Scan::Card(_) | Scan::NoCard(_),
            ) => {
                field.input.reset();
                let words = format!("{typed} is no answer: scan a %WHY card, or type, or choose");
                self.said = Some((false, words));
                Some(Vec::new())
            }
            _ => None,
        }
    }

    /// Takes a name for whoever is at the bench; false, with why, where it is none.
    fn is_here(&mut self, name: &str) -> bool {
        let name = normal(name.trim());
        let wrong = if self.desk.find_unit(&name).is_ok() {
            Some("it is a unit; type a name, or scan a %WHO card".to_owned())
        } else {
            line_fault(&name, ID_MAX)
        };
        if let Some(why) = wrong {
            self.said = Some((false, format!("`{name}` is no name: {why}")));
            return false;
        }
        self.desk.set_person(&name);
        self.bench.away = false;
        self.said = Some((true, format!("{name} is at the bench")));
        true
    }
}

/// Loud words for a serial that the lab does not have.
fn no_unit(error: &DeskError) -> Answer {
    let (serial, nearest) = match error {
        DeskError::UnknownUnit { serial, nearest } => (serial.clone(), nearest.clone()),
        other => (String::new(), vec![other.to_string()]),
    };
    let near = if nearest.is_empty() {
        "no serial of the lab is like it".to_owned()
    } else {
        format!("nearest: {}", nearest.join(", "))
    };
    Answer {
        mood: Mood::Refused,
        word: "NO UNIT".to_owned(),
        about: serial,
        words: vec!["nothing was recorded".to_owned(), near],
    }
}
