//! The Bench without a screen: a line in, a line out, in plain letters.
//!
//! For screen readers, pipes and terminals that cannot draw. It is the same program as on the screen, with the
//! same rules: each line goes through the scan line, and what the Bench would show large is the answer.

use super::actions::Action;
use super::card::UnitCard;
use super::jobs::Jobs;
use super::recording::perform;
use super::state::{App, Effect, Message, Overlay, Purpose, Screen};
use super::walk::task_word;
use super::{card, desk::Desk};
use std::sync::mpsc::channel;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// What can be typed, in one line.
const HELP: &str = "a serial chooses a unit; then p pass, f REASON fail, h REASON hold, l load, o unload, \
    e TEXT note, t TIME the next of these happened earlier, i the unit again, d what is due (again: the next), u undo, U redo, w NAME who is there, q end; \
    cards: %PASS %FAIL %HOLD %LOAD %UNLOAD %UNDO %WHO-name %WHY-reason";

/// A bench that answers lines.
pub struct PlainBench {
    app: App,
    jobs: Jobs,
    /// The line of the due list that was told last.
    told: Option<usize>,
    /// Somebody said that it is over.
    over: bool,
}

impl PlainBench {
    /// The bench of a desk.
    pub fn new(desk: Desk) -> Self {
        let mut app = App::new(desk, false);
        app.screen = Screen::Bench;
        // Nobody listens: nothing that the bench does runs as a job.
        let (sender, _) = channel();
        Self {
            app,
            jobs: Jobs::new(sender),
            told: None,
            over: false,
        }
    }

    /// True once `q` was said.
    pub fn is_over(&self) -> bool {
        self.over
    }

    /// The answer to a line, one line of printable ASCII.
    pub fn answer(&mut self, line: &str) -> String {
        self.app.said = None;
        self.perform(vec![Effect::Refresh]);
        let line = line.trim();
        self.app.bench.answer = None;
        let effects = if let Some(Overlay::Ask(..)) = self.app.overlays.last() {
            self.reply(line)
        } else if self.is_serial(line) {
            self.scan(line)
        } else {
            match self.command(line) {
                Some(answer) => return ascii(&answer),
                None => self.scan(line),
            }
        };
        self.perform(effects);
        ascii(&self.outcome())
    }

    fn perform(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            perform(&mut self.app, effect, &mut self.jobs);
        }
        // Who was here first is told in the answer; there is no choice to make without a screen.
        if matches!(self.app.overlays.last(), Some(Overlay::Choice(_))) {
            self.app.overlays.pop();
        }
    }

    fn key(&mut self, key: &str) -> Vec<Effect> {
        self.app.update(Message::Key(key.to_owned()))
    }

    /// A serial of the lab goes before a command of the same letters.
    fn is_serial(&self, line: &str) -> bool {
        let find = self.app.desk.find_unit(line);
        find.is_ok_and(|unit| unit.as_str() == line)
    }

    fn scan(&mut self, line: &str) -> Vec<Effect> {
        self.app.bench.scan = line.into();
        self.key("Enter")
    }

    /// The reply to a question: a reason by its number or in words, a name; nothing takes the question back.
    fn reply(&mut self, line: &str) -> Vec<Effect> {
        let reasons = self.app.reasons().len();
        let Some(Overlay::Ask(purpose, field)) = self.app.overlays.last_mut() else {
            return Vec::new();
        };
        let is_who = matches!(purpose, Purpose::Who(_));
        match line.parse::<usize>() {
            Ok(number) if (1..=reasons).contains(&number) => field.selected = number,
            _ => field.input = line.into(),
        }
        if line.is_empty() && !is_who {
            self.app.overlays.pop();
            let words = "nothing was recorded".to_owned();
            self.app.said = Some((true, words));
            return Vec::new();
        }
        self.key("Enter")
    }

    /// Runs a command; its answer where it is no deed. `None` where the line is none and goes to the scanner.
    fn command(&mut self, line: &str) -> Option<String> {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let (action, takes_text) = match word {
            "p" | "pass" => (Action::Pass, false),
            "f" | "fail" => (Action::Fail, true),
            "h" | "hold" => (Action::Hold, true),
            "l" | "load" => (Action::LoadUnit, false),
            "o" | "unload" => (Action::UnloadUnit, false),
            "e" | "note" => (Action::Note, true),
            "u" | "undo" => (Action::Undo, false),
            "U" | "redo" => (Action::Redo, false),
            "w" | "who" => (Action::Who, true),
            "t" | "earlier" if !rest.is_empty() => return Some(self.earlier(rest)),
            "d" | "due" if rest.is_empty() => return Some(self.due()),
            "i" if rest.is_empty() => return Some(self.outcome()),
            "?" | "help" if rest.is_empty() => return Some(HELP.to_owned()),
            "q" | "quit" if rest.is_empty() => {
                self.over = true;
                return Some("end".to_owned());
            }
            "" => return Some("nothing was said; ? tells what can be".to_owned()),
            _ => return None,
        };
        if !takes_text && !rest.is_empty() {
            return None;
        }
        self.app.touched();
        let effects = self.app.run(action);
        self.perform(effects);
        // Text that came with the command answers the question that it asks.
        let asks_for = |overlay: Option<&Overlay>| match overlay {
            Some(Overlay::Ask(Purpose::Who(waits), _)) => waits.is_none(),
            Some(Overlay::Ask(..)) => true,
            _ => false,
        };
        if asks_for(self.app.overlays.last()) && !rest.is_empty() {
            let effects = self.reply(rest);
            self.perform(effects);
        } else if action == Action::Hold && asks_for(self.app.overlays.last()) {
            // A hold needs no reason.
            let effects = self.key("Enter");
            self.perform(effects);
        }
        Some(self.outcome())
    }

    /// What the Bench would show now.
    fn outcome(&self) -> String {
        if let Some(answer) = &self.app.bench.answer {
            return answer.line();
        }
        if let Some(Overlay::Ask(purpose, _)) = self.app.overlays.last() {
            return self.question(purpose);
        }
        match (&self.app.said, &self.app.bench.unit) {
            (Some((true, words)), _) => words.clone(),
            (Some((false, words)), _) => format!("REFUSED: {words}"),
            (None, Some(unit)) => {
                let settings = &self.app.settings;
                UnitCard::of(&self.app.desk, unit, self.app.now, settings).line()
            }
            (None, None) => "no unit is chosen: scan one, or type its serial".to_owned(),
        }
    }

    fn question(&self, purpose: &Purpose) -> String {
        let wrong = match &self.app.said {
            Some((false, words)) => format!("{words}; "),
            _ => String::new(),
        };
        let how = match purpose {
            Purpose::Fail(_) if !self.app.reasons().is_empty() => {
                let numbered = (1..).zip(self.app.reasons());
                let reasons = numbered.map(|(at, reason)| format!("{at} {reason}"));
                let reasons = reasons.collect::<Vec<String>>().join(", ");
                format!("a number, or words: {reasons}")
            }
            Purpose::Who(_) => format!(
                "a name; an empty line: still {}",
                self.app.desk.actor().person
            ),
            _ => "in words".to_owned(),
        };
        format!("{wrong}{} {how}", purpose.question())
    }

    /// Takes a time for the next deed about the unit on the card.
    fn earlier(&mut self, typed: &str) -> String {
        if self.app.bench.unit.is_none() {
            return "REFUSED: scan a unit first".to_owned();
        }
        match self.app.asked().past_instant(typed) {
            Ok(at) => {
                self.app.bench.happened = Some(at);
                self.app.bench.answer = None;
                let told = self.app.asked().words(at);
                format!("the next load, unload or verdict happened {told}")
            }
            Err(why) => format!("REFUSED: {why}"),
        }
    }

    /// The next line of what is due, with how many there are.
    fn due(&mut self) -> String {
        let all = self.app.view.due.len();
        if all == 0 {
            return "nothing is due in the next 8 h".to_owned();
        }
        let at = self.told.map_or(0, |at| (at + 1) % all);
        self.told = Some(at);
        let due = &self.app.view.due[at];
        let from = if due.from <= self.app.now {
            "now".to_owned()
        } else {
            format!("at {}", self.app.asked().near(due.from))
        };
        let left = due.closes.map_or(String::new(), |closes| {
            format!(", {}", card::left_words(closes, self.app.now))
        });
        let (task, place) = (task_word(due.task), at + 1);
        let (unit, step, rig) = (&due.unit, due.step, &due.rig);
        format!("due {place} of {all}: {task} {unit} step {step} on {rig} {from}{left}")
    }
}

/// The text in printable ASCII: letters lose their marks, signs become words, the rest is `?`.
fn ascii(text: &str) -> String {
    let mut plain = String::new();
    for letter in text.nfd().filter(|letter| !is_combining_mark(*letter)) {
        match letter {
            ' '..='~' => plain.push(letter),
            '°' => plain.push_str("deg "),
            'µ' | 'μ' => plain.push('u'),
            '×' => plain.push('x'),
            '–' | '—' | '−' => plain.push('-'),
            '≥' => plain.push_str(">="),
            '≤' => plain.push_str("<="),
            _ => plain.push('?'),
        }
    }
    plain
}
