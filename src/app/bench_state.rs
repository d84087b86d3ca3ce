//! The Bench screen as it stands.

use super::desk::Desk;
use super::scan::Scanner;
use crate::domain::{Minute, Minutes, UnitId};
use std::time::Duration;
use tui_input::Input;

/// Which list lies below the card.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum BenchList {
    /// What is due, by closing window.
    #[default]
    Due,
    /// What goes on and comes off each rig.
    Rigs,
}

/// What an answer of the bench is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    /// A pass.
    Pass,
    /// A fail.
    Fail,
    /// A hold.
    Hold,
    /// Something else was done.
    Done,
    /// Nothing was done.
    Refused,
}

/// What came of the last scan or deed, large until the next scan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// What it is like.
    pub mood: Mood,
    /// In one word, or two.
    pub word: String,
    /// About whom or what: a serial, a name.
    pub about: String,
    /// The rest, in sentences.
    pub words: Vec<String>,
}

impl Answer {
    /// Something that was not done, with why.
    pub fn refused(word: &str, about: &str, why: &str) -> Self {
        Self {
            mood: Mood::Refused,
            word: word.to_owned(),
            about: about.to_owned(),
            words: vec![why.to_owned()],
        }
    }

    /// The word, and about whom.
    pub fn head(&self) -> String {
        let mut line = self.word.clone();
        if !self.about.is_empty() {
            line.push_str("  ");
            line.push_str(&self.about);
        }
        line
    }

    /// Everything in one line.
    pub fn line(&self) -> String {
        let mut line = self.head();
        if !self.words.is_empty() {
            line.push_str(": ");
            line.push_str(&self.words.join("; "));
        }
        line
    }
}

/// The Bench screen.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The scan line.
    pub scan: Input,
    /// Takes it apart.
    pub scanner: Scanner,
    /// The unit on the card.
    pub unit: Option<UnitId>,
    /// What came of the last scan or deed.
    pub answer: Option<Answer>,
    /// Which list is shown.
    pub list: BenchList,
    /// What narrows the due list.
    pub filter: String,
    /// Selected line of the due list.
    pub selected: usize,
    /// Selected task of the rigs' list.
    pub rig_task: usize,
    /// When the next deed about it happened, where that was earlier than now.
    pub happened: Option<Minute>,
    /// The selection was moved since a unit came onto the card: Enter is about the selected line.
    pub moved: bool,
    /// When a key came last, by the clock that never goes back.
    pub touched: Duration,
    /// After so long without a key it asks who is there.
    pub idle: Duration,
    /// Nobody was there for that long: it asks before it records.
    pub away: bool,
}

impl Bench {
    /// Before anything was scanned.
    pub fn new(desk: &Desk) -> Self {
        let rules = &desk.lab.bench;
        let minutes = rules.idle.max(Minutes::new(1)).get().unsigned_abs();
        Self {
            scan: Input::default(),
            scanner: Scanner::new(rules),
            unit: None,
            answer: None,
            list: BenchList::Due,
            filter: String::new(),
            selected: 0,
            rig_task: 0,
            happened: None,
            moved: false,
            touched: desk.clock().elapsed(),
            idle: Duration::from_secs(minutes * 60),
            away: false,
        }
    }

    /// What narrows the due list: what follows a `/` in the scan line while it is typed, else what was kept.
    pub fn narrowed_by(&self) -> &str {
        let typed = self.scan.value().strip_prefix('/');
        typed.unwrap_or(&self.filter)
    }
}
