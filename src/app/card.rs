//! A unit as the bench sees it: where it is, what to do, what comes next, how long, and what can hurt.
//!
//! The screen's card and the lines of `bench --plain` are both made of this.

use super::actions::Action;
use super::desk::Desk;
use super::rig_work::with;
use super::settings::Settings;
use super::state::Screen;
use super::walk::{StepProgress, WalkLine, state_word, verdict_word, walk_of};
use crate::domain::lab::{Method, Rig};
use crate::domain::standard::PREVAIL;
use crate::domain::{Minute, Minutes, RigId, UnitId, Verdict};
use crate::floor::{UnitRecord, UnitState};

/// What is decided about a unit that is past its window.
pub(super) const LATE: &str = "decide: go on with a note, or withdraw";

/// A unit on the card.
#[derive(Clone, Debug)]
pub struct UnitCard {
    /// The unit.
    pub unit: UnitId,
    /// How it stands.
    pub state: UnitState,
    /// Product, build, request, sequence.
    pub about: String,
    /// Its walk.
    pub walk: Vec<WalkLine>,
    /// Lines, each with its heading: `now`, `do`, `next`, `last`.
    pub lines: Vec<(&'static str, String)>,
    /// What can hurt at the step that is on or next, and who prevails; empty where nothing is said to.
    pub cautions: Vec<String>,
}

impl UnitCard {
    /// Of a unit at a moment; what is to be done is told with the keys in force.
    pub fn of(desk: &Desk, unit: &UnitId, now: Minute, settings: &Settings) -> Self {
        let walk = walk_of(&desk.lab, &desk.walks, &desk.floor, unit);
        let state = desk.floor.unit_state(&desk.lab, &desk.walks, unit, now);
        let about = desk.walks.request(&desk.lab, unit).map(|own| {
            format!(
                "{} {}, {}, {}",
                own.product, own.build, own.id, own.sequence
            )
        });
        let sight = Sight {
            desk,
            unit,
            now,
            settings,
            walk: &walk,
            state,
        };
        let lines = sight.lines();
        let cautions = sight.cautions();
        Self {
            unit: unit.clone(),
            state,
            about: about.unwrap_or_default(),
            lines,
            cautions,
            walk,
        }
    }

    /// Everything in one line.
    pub fn line(&self) -> String {
        let mut parts = vec![format!(
            "{} {}",
            self.unit,
            state_word(self.state).to_uppercase()
        )];
        parts.extend(self.lines.iter().map(|(_, text)| text.clone()));
        let named = |own: &String| match own.as_str() {
            PREVAIL => own.clone(),
            hazard => format!("caution: {hazard}"),
        };
        parts.extend(self.cautions.iter().map(named));
        parts.join("; ")
    }
}

/// What a unit does next, in words; nothing where its walk is over.
pub fn next_words(desk: &Desk, unit: &UnitId, now: Minute, settings: &Settings) -> Option<String> {
    let card = UnitCard::of(desk, unit, now, settings);
    let next = card.lines.iter().find(|(heading, _)| *heading == "next");
    let on = card.lines.iter().find(|(heading, _)| *heading == "now");
    next.or(on)
        .map(|(heading, text)| format!("{heading}: {text}"))
}

/// `step 3 of 9, full-check`.
pub fn step_words(desk: &Desk, unit: &UnitId, step: u32) -> String {
    let walk = walk_of(&desk.lab, &desk.walks, &desk.floor, unit);
    let method = walk
        .iter()
        .find(|own| own.step == step)
        .map(|own| &own.method);
    let method = method.map_or(String::new(), |method| format!(", {method}"));
    format!("step {step} of {}{method}", walk.len())
}

/// What is left until a window closes: `40m left`, `late 2h 5m`; days without their minutes.
pub fn left_words(closes: Minute, now: Minute) -> String {
    let left = closes - now;
    let length = |left: Minutes| {
        let coarse = if left >= Minutes::DAY {
            left.get() / 60 * 60
        } else {
            left.get()
        };
        Minutes::new(coarse).to_string()
    };
    if left < Minutes::ZERO {
        format!("late {}", length(-left))
    } else {
        format!("{} left", length(left))
    }
}

/// What a card is made from.
struct Sight<'a> {
    desk: &'a Desk,
    unit: &'a UnitId,
    now: Minute,
    settings: &'a Settings,
    walk: &'a [WalkLine],
    state: UnitState,
}

impl<'a> Sight<'a> {
    fn lines(&self) -> Vec<(&'static str, String)> {
        let mut lines = Vec::new();
        match self.running() {
            Some(line) => lines.extend(self.on_rig(line)),
            None => lines.extend(self.off_rig()),
        }
        lines.extend(self.last().map(|text| ("last", text)));
        lines
    }

    fn record(&self) -> Option<&'a UnitRecord> {
        self.desk.floor.now.units.get(self.unit)
    }

    fn running(&self) -> Option<&'a WalkLine> {
        self.walk
            .iter()
            .find(|own| own.progress == StepProgress::Running)
    }

    fn ahead(&self) -> Option<&'a WalkLine> {
        self.walk
            .iter()
            .find(|own| matches!(own.progress, StepProgress::Booked | StepProgress::Open))
    }

    /// The step that is over and lacks its verdict.
    fn unmarked(&self) -> Option<&'a WalkLine> {
        let last = self
            .walk
            .iter()
            .rev()
            .find(|own| own.progress == StepProgress::Done)?;
        (self.is_checkpoint(last) && last.verdict.is_none()).then_some(last)
    }

    fn method(&self, line: &WalkLine) -> Option<&'a Method> {
        self.desk.lab.methods.get(&line.method)
    }

    fn is_checkpoint(&self, line: &WalkLine) -> bool {
        self.method(line).is_some_and(|method| method.verdict)
    }

    /// What an action does, after its key.
    fn key(&self, action: Action, what: &str) -> String {
        match self.settings.keys.key(action, Screen::Bench) {
            Some(key) => format!("{key} {what}"),
            None => what.to_owned(),
        }
    }

    fn verdict_keys(&self) -> String {
        let all = [
            (Action::Pass, "pass"),
            (Action::Fail, "fail"),
            (Action::Hold, "hold"),
        ];
        all.map(|(action, what)| self.key(action, what)).join(", ")
    }

    fn time(&self, at: Minute) -> String {
        let zone = &self.desk.lab.zone;
        self.settings.dates.near(zone, self.now, at)
    }

    fn rig(&self, id: &RigId) -> Option<&'a Rig> {
        self.desk.lab.rigs.iter().find(|rig| rig.id == *id)
    }

    /// `step 4 of 6, rain-10min`.
    fn step(&self, line: &WalkLine) -> String {
        format!("step {} of {}, {}", line.step, self.walk.len(), line.method)
    }

    /// A rig with the name that people use.
    fn place(&self, id: &RigId) -> String {
        match self.rig(id) {
            Some(rig) if rig.name != id.as_str() => format!("{id} ({})", rig.name),
            _ => id.to_string(),
        }
    }

    /// Who shares the chamber, in words.
    fn company(&self, id: &RigId, step: u32) -> String {
        let with = self
            .rig(id)
            .map(|rig| with(self.desk, rig, self.unit, step));
        match with.unwrap_or_default() {
            with if with.is_empty() => String::new(),
            with => format!(", with {}", names(&with)),
        }
    }

    fn on_rig(&self, line: &WalkLine) -> Vec<(&'static str, String)> {
        let Some((rig, loaded)) = line.rig.as_ref().zip(line.load) else {
            return Vec::new();
        };
        let visit = self
            .record()
            .and_then(|record| record.visits.get(&line.step));
        let position = visit.and_then(|visit| visit.position);
        let position = position.map_or(String::new(), |at| format!(" position {at}"));
        let end = visit.and_then(|own| self.desk.floor.exposure_end(self.unit, line.step, own));
        let ends = match end {
            Some(end) if end <= self.now => format!("; exposure ended {}", self.time(end)),
            Some(end) => format!("; {} to go, until {}", end - self.now, self.time(end)),
            None => String::new(),
        };
        let on = format!(
            "{} on {}{position} since {}{ends}",
            self.step(line),
            self.place(rig),
            self.time(loaded)
        );
        let what = if self.is_checkpoint(line) {
            self.verdict_keys()
        } else if end.is_some_and(|end| end > self.now) {
            let key = self.key(Action::UnloadUnit, "unloads");
            format!("nothing yet; {key} before its time")
        } else {
            self.key(Action::UnloadUnit, "unload")
        };
        let what = match self.state {
            UnitState::Late => format!("{what}, then {LATE}"),
            _ => what,
        };
        let company = self.company(rig, line.step);
        let wait = self.method(line).and_then(|method| method.max_wait);
        let closes = end.zip(wait).map(|(end, wait)| end + wait);
        let closes = closes.filter(|_| end.is_some_and(|end| end <= self.now));
        let closes = closes.map_or(String::new(), |at| {
            format!("; {}", left_words(at, self.now))
        });
        let mut lines = vec![("now", on), ("do", format!("{what}{company}{closes}"))];
        lines.extend(self.next(self.ahead()));
        lines
    }

    fn off_rig(&self) -> Vec<(&'static str, String)> {
        let record = self.record();
        if let Some((_, at, reason)) = record.and_then(|record| record.withdrawn.as_ref()) {
            return vec![("now", format!("withdrawn {}: {reason}", self.time(*at)))];
        }
        if let Some(line) = self.unmarked() {
            let rig = line
                .rig
                .as_ref()
                .map_or(String::new(), |rig| format!(" of {rig}"));
            let out = line
                .out
                .map_or(String::new(), |at| format!(" {}", self.time(at)));
            let on = format!(
                "{}: came out{rig}{out}, its verdict is missing",
                self.step(line)
            );
            let mut lines = vec![("now", on), ("do", self.verdict_keys())];
            lines.extend(self.next(self.ahead()));
            return lines;
        }
        match self.state {
            UnitState::Failed => vec![("now", "failed: it walks no further".to_owned())],
            UnitState::Passed => vec![("now", "its walk is over".to_owned())],
            UnitState::Held => {
                let (pass, fail) = (
                    self.key(Action::Pass, "pass"),
                    self.key(Action::Fail, "fail"),
                );
                let what = format!("{pass} or {fail} lifts the hold");
                vec![("now", "on hold".to_owned()), ("do", what)]
            }
            _ => self.to_load(),
        }
    }

    /// Between two steps, or before the first.
    fn to_load(&self) -> Vec<(&'static str, String)> {
        let Some(line) = self.ahead() else {
            return vec![("now", "its walk is over".to_owned())];
        };
        let out = self
            .walk
            .iter()
            .rev()
            .find_map(|own| own.out.filter(|_| own.progress == StepProgress::Done));
        let rests = out.map_or("not begun".to_owned(), |at| {
            format!("rests since {}", self.time(at))
        });
        let Some((rig, at)) = line.rig.as_ref().zip(line.load) else {
            let what = self.left_out().unwrap_or_else(|| {
                let step = self.step(line);
                format!("{step} is in no plan yet: the Plan screen (1) makes one")
            });
            return vec![("now", rests), ("next", what)];
        };
        let what = if at > self.now + Minutes::hours(8) {
            format!("nothing before {}", self.time(at))
        } else {
            let booking = self.desk.floor.booking(self.unit, line.step);
            let position = booking.and_then(|own| own.position);
            let position = position.map_or(String::new(), |at| format!(" position {at}"));
            let company = self.company(rig, line.step);
            let load = self.key(Action::LoadUnit, "load");
            let late = match self.state {
                UnitState::Late => format!("{LATE}; "),
                _ => String::new(),
            };
            format!("{late}{load} on {}{position}{company}", self.place(rig))
        };
        let mut lines = vec![("now", rests), ("do", what)];
        lines.extend(self.next(Some(line)));
        lines
    }

    /// Why the plan in force leaves the unit's request out, where it does.
    fn left_out(&self) -> Option<String> {
        let request = self.desk.walks.request(&self.desk.lab, self.unit)?;
        let mut left = self
            .desk
            .floor
            .now
            .published
            .iter()
            .flat_map(|own| &own.unplannable);
        let own = left.find(|own| own.request == request.id)?;
        let reason = &own.reason;
        Some(format!("left out of the plan, step {}: {reason}", own.step))
    }

    /// What comes next, when, where, and how long it stays.
    fn next(&self, line: Option<&WalkLine>) -> Option<(&'static str, String)> {
        let line = line?;
        let Some((rig, load)) = line.rig.as_ref().zip(line.load) else {
            return Some(("next", format!("{}, in no plan yet", self.step(line))));
        };
        let stays = line
            .out
            .map_or(String::new(), |out| format!(" for {}", out - load));
        let Desk {
            lab, walks, floor, ..
        } = self.desk;
        let due = floor.due_for(lab, walks, self.unit, self.now, load);
        let closes = due
            .filter(|due| due.step == line.step)
            .and_then(|due| due.closes);
        let closes = closes.map_or(String::new(), |at| {
            format!("; window: {}", left_words(at, self.now))
        });
        let text = format!(
            "{} on {rig} {}{stays}{closes}",
            self.step(line),
            self.time(load)
        );
        Some(("next", text))
    }

    /// The last verdict: what, who and when.
    fn last(&self) -> Option<String> {
        let verdicts = &self.record()?.verdicts;
        let (step, given) = verdicts.iter().next_back()?;
        let why = match &given.verdict {
            Verdict::Fail { reason } | Verdict::Hold { reason } if !reason.is_empty() => {
                format!(", {reason}")
            }
            _ => String::new(),
        };
        let word = verdict_word(&given.verdict);
        let when = self.time(given.at);
        Some(format!(
            "step {step} was given {word} by {} {when}{why}",
            given.person
        ))
    }

    fn cautions(&self) -> Vec<String> {
        let about = self.running().or(self.unmarked()).or(self.ahead());
        let about = about.filter(|own| own.progress != StepProgress::Dropped);
        let own = about
            .and_then(|line| self.method(line))
            .map(|method| &method.cautions);
        let mut cautions: Vec<String> = own.into_iter().flatten().cloned().collect();
        if !cautions.is_empty() {
            cautions.push(PREVAIL.to_owned());
        }
        cautions
    }
}

/// Serials, the first four by name.
pub fn names(units: &[UnitId]) -> String {
    const SHOWN: usize = 4;
    let mut shown: Vec<String> = units.iter().take(SHOWN).map(ToString::to_string).collect();
    if units.len() > SHOWN {
        shown.push(format!("{} more", units.len() - SHOWN));
    }
    shown.join(", ")
}
