//! Tells a scan from keys by how fast they come, wherever no line of text waits for them.
//!
//! A scanner is a keyboard that types faster than any hand and ends with Enter or Tab. On the screens whose
//! letters are commands a scan must not run any of them; on the Bench the first letter of a scan must not. So
//! a letter waits a moment for a follower. What it turns out to be is told as [`Typed`]; nothing in here reads
//! a clock or knows the program: whoever calls says when a key came, and where it would go.

use super::scan::ends_scan;
use super::state::{Key, Message};
use std::time::Duration;

/// Keys of a scan come no further apart than this.
pub const GAP: Duration = Duration::from_millis(30);
/// So long a letter waits for a follower before it is a command.
pub const WAIT: Duration = Duration::from_millis(40);
/// A scan has at least so many letters.
pub const LEAST: usize = 6;
/// One letter this many times is a key held down: no serial begins so.
const HELD_DOWN: usize = 12;
/// Letters that only move: they act at once, since it does no harm where they belong to a scan.
const MOVES: [&str; 6] = ["h", "j", "k", "l", "g", "G"];

/// Where a key would go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Letters are commands.
    Commands,
    /// The scan line of the Bench while it is empty: a letter alone is a command, several are text.
    EmptyScanLine,
    /// A line of text, which takes whatever comes.
    Text,
    /// Letters are commands, and this key opens a line of text: as the first of a run it does so at once, so
    /// that what follows it is text however fast it comes. No serial begins with it.
    OpensText,
}

/// What keys turned out to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Typed {
    /// A key.
    Key(Key),
    /// Letters for the scan line.
    Text(String),
    /// A whole scan.
    Scan(String),
    /// As fast as a scan, but without its end: none of it is to be run.
    Stray(String),
}

impl From<Typed> for Message {
    fn from(typed: Typed) -> Self {
        match typed {
            Typed::Key(key) => Self::Key(key),
            Typed::Text(text) => Self::Text(text),
            Typed::Scan(text) => Self::Scan(text),
            Typed::Stray(text) => Self::Stray(text),
        }
    }
}

/// A letter that waits, or that belongs to the run of those that wait.
#[derive(Clone, Debug)]
struct Letter {
    key: Key,
    /// It acted already.
    ran: bool,
}

/// Letters that came fast one after another and are not decided yet.
#[derive(Clone, Debug, Default)]
pub struct Burst {
    run: Vec<Letter>,
    /// When the last key came.
    last: Duration,
    /// The run began in the empty scan line.
    in_scan_line: bool,
    /// A scan ended by CR has just been told: an LF right after it belongs to it.
    ended: bool,
}

impl Burst {
    /// When [`Burst::lapse`] is to be called at the latest, where something waits.
    pub fn due(&self) -> Option<Duration> {
        (!self.run.is_empty()).then_some(self.last + WAIT)
    }

    /// Decides what waits where nothing has followed in time. To be called before each key with the time at
    /// which it came, and when [`Burst::due`] has come.
    pub fn lapse(&mut self, at: Duration) -> Vec<Typed> {
        let since = at.saturating_sub(self.last);
        let over = if self.in_scan_line {
            since >= WAIT
        } else {
            since > GAP
        };
        if over { self.decide() } else { Vec::new() }
    }

    /// Takes in a key that came at `at` and would go to `place`.
    pub fn key(&mut self, key: &str, at: Duration, place: Place) -> Vec<Typed> {
        let rest_of_end = self.ended && key == "Ctrl-j" && at.saturating_sub(self.last) <= GAP;
        self.ended = false;
        self.last = at;
        if rest_of_end {
            return Vec::new();
        }
        match place {
            Place::Text => self.after_all(key),
            Place::EmptyScanLine => self.on_scan_line(key),
            Place::OpensText if self.run.is_empty() => self.after_all(key),
            Place::Commands | Place::OpensText => self.on_commands(key),
        }
    }

    fn on_commands(&mut self, key: &str) -> Vec<Typed> {
        if ends_scan(key) && self.run.len() >= LEAST && !self.is_one_letter() {
            self.ended = key == "Enter";
            return vec![Typed::Scan(self.take())];
        }
        if !is_letter(key) {
            return self.after_all(key);
        }
        let ran = MOVES.contains(&key);
        self.run.push(Letter {
            key: key.to_owned(),
            ran,
        });
        if ran {
            return vec![Typed::Key(key.to_owned())];
        }
        if self.run.len() >= HELD_DOWN && self.is_one_letter() {
            return self.run_all();
        }
        Vec::new()
    }

    fn on_scan_line(&mut self, key: &str) -> Vec<Typed> {
        self.in_scan_line = true;
        match (self.run.is_empty(), is_letter(key)) {
            (true, true) => {
                self.run.push(Letter {
                    key: key.to_owned(),
                    ran: false,
                });
                Vec::new()
            }
            (false, true) => vec![Typed::Text(self.take() + key)],
            (false, false) if ends_scan(key) => {
                vec![Typed::Text(self.take()), Typed::Key(key.to_owned())]
            }
            _ => self.after_all(key),
        }
    }

    /// What waits, then the key.
    fn after_all(&mut self, key: &str) -> Vec<Typed> {
        let mut typed = self.decide();
        typed.push(Typed::Key(key.to_owned()));
        typed
    }

    /// What waits is over: commands, or a scan without its end.
    fn decide(&mut self) -> Vec<Typed> {
        let waits = self.run.iter().any(|letter| !letter.ran);
        if waits && self.run.len() >= LEAST && !self.is_one_letter() {
            return vec![Typed::Stray(self.take())];
        }
        let typed = self.run_all();
        self.take();
        typed
    }

    /// Runs what has not run, and keeps it as the run so far.
    fn run_all(&mut self) -> Vec<Typed> {
        let waiting = self.run.iter_mut().filter(|letter| !letter.ran);
        waiting
            .map(|letter| {
                letter.ran = true;
                Typed::Key(letter.key.clone())
            })
            .collect()
    }

    fn take(&mut self) -> String {
        self.in_scan_line = false;
        self.run.drain(..).map(|letter| letter.key).collect()
    }

    fn is_one_letter(&self) -> bool {
        let first = self.run.first();
        self.run
            .iter()
            .all(|letter| first.is_some_and(|first| first.key == letter.key))
    }
}

fn is_letter(key: &str) -> bool {
    key.chars().count() == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What keys turn out to be that come `gap` milliseconds apart, and then nothing.
    fn typed(keys: &[&str], gap: u64, place: Place) -> Vec<Typed> {
        let (mut burst, mut told, mut at) = (Burst::default(), Vec::new(), Duration::ZERO);
        for key in keys {
            told.extend(burst.lapse(at));
            told.extend(burst.key(key, at, place));
            at += Duration::from_millis(gap);
        }
        if let Some(due) = burst.due() {
            told.extend(burst.lapse(due));
        }
        assert_eq!(burst.due(), None);
        told
    }

    fn letters(word: &str) -> Vec<String> {
        word.chars().map(String::from).collect()
    }

    fn run(word: &str, end: &[&str], gap: u64, place: Place) -> Vec<Typed> {
        let letters = letters(word);
        let keys: Vec<&str> = letters
            .iter()
            .map(String::as_str)
            .chain(end.iter().copied())
            .collect();
        typed(&keys, gap, place)
    }

    fn keys(names: &[&str]) -> Vec<Typed> {
        names
            .iter()
            .map(|name| Typed::Key((*name).to_owned()))
            .collect()
    }

    #[test]
    fn t62_a_fast_run_with_an_end_is_a_scan_and_runs_no_command() {
        for end in [&["Enter"][..], &["Ctrl-j"], &["Enter", "Ctrl-j"], &["Tab"]] {
            for gap in [0, 2, 30] {
                let told = run("qux1%c", end, gap, Place::Commands);
                assert_eq!(told, [Typed::Scan("qux1%c".to_owned())], "{end:?} {gap}");
            }
        }
        // Letters that only move act at once and still belong to the scan.
        let told = run("R-hjkl", &["Enter"], 2, Place::Commands);
        let mut wanted = keys(&["h", "j", "k", "l"]);
        wanted.push(Typed::Scan("R-hjkl".to_owned()));
        assert_eq!(told, wanted);
    }

    #[test]
    fn t62_a_hand_is_no_scanner() {
        // Slower than a scanner, each letter is what it is.
        let told = run("qux1%c", &["Enter"], 31, Place::Commands);
        assert_eq!(told, keys(&["q", "u", "x", "1", "%", "c", "Enter"]));
        // Too short for a scan.
        let told = run("qux1c", &["Enter"], 1, Place::Commands);
        assert_eq!(told, keys(&["q", "u", "x", "1", "c", "Enter"]));
    }

    #[test]
    fn t62_a_key_held_down_is_no_scan() {
        let told = run("jjjjjjjjj", &["Enter"], 20, Place::Commands);
        assert_eq!(
            told,
            keys(&["j", "j", "j", "j", "j", "j", "j", "j", "j", "Enter"])
        );
        let told = run("uuuuuu", &["Enter"], 20, Place::Commands);
        assert_eq!(told, keys(&["u", "u", "u", "u", "u", "u", "Enter"]));
        // Held for long it acts while it is held: nothing waits for the release.
        let mut burst = Burst::default();
        let told: Vec<Typed> = (0..30)
            .flat_map(|at| burst.key("+", Duration::from_millis(at * 20), Place::Commands))
            .collect();
        assert_eq!(told, keys(&["+"; 30]));
    }

    #[test]
    fn t62_a_run_without_its_end_is_told_and_not_run() {
        let told = run("qux1%c", &[], 2, Place::Commands);
        assert_eq!(told, [Typed::Stray("qux1%c".to_owned())]);
        let told = run("qux1%c", &["Down"], 2, Place::Commands);
        let stray = Typed::Stray("qux1%c".to_owned());
        assert_eq!(told, [stray, Typed::Key("Down".to_owned())]);
        // Where nothing waits there is nothing to tell.
        assert_eq!(
            run("jkjkjk", &[], 2, Place::Commands),
            keys(&["j", "k", "j", "k", "j", "k"])
        );
    }

    #[test]
    fn t64_on_the_empty_scan_line_a_letter_is_a_command_only_alone() {
        let place = Place::EmptyScanLine;
        assert_eq!(run("p", &[], 0, place), keys(&["p"]));
        assert_eq!(typed(&["p", "f"], 40, place), keys(&["p", "f"]));
        assert_eq!(
            typed(&["p", "f"], 39, place),
            [Typed::Text("pf".to_owned())]
        );
        let told = typed(&["p", "Enter"], 5, place);
        assert_eq!(
            told,
            [Typed::Text("p".to_owned()), Typed::Key("Enter".to_owned())]
        );
        assert_eq!(typed(&["p", "Down"], 5, place), keys(&["p", "Down"]));
        // A letter waits no longer than it must.
        let mut burst = Burst::default();
        assert_eq!(burst.key("p", Duration::from_millis(7), place), []);
        assert_eq!(burst.due(), Some(Duration::from_millis(47)));
        assert_eq!(burst.lapse(Duration::from_millis(46)), []);
        assert_eq!(burst.lapse(Duration::from_millis(47)), keys(&["p"]));
    }

    #[test]
    fn t62_a_key_that_opens_a_line_of_text_does_so_at_once_but_not_within_a_scan() {
        let mut burst = Burst::default();
        let told = burst.key("/", Duration::ZERO, Place::OpensText);
        assert_eq!(told, keys(&["/"]));
        assert_eq!(burst.due(), None);
        let mut burst = Burst::default();
        let mut told = Vec::new();
        for (at, key) in (0..).zip(["R", "-", "3", "0", "8", "/", "1", "Enter"]) {
            let place = if key == "/" {
                Place::OpensText
            } else {
                Place::Commands
            };
            told.extend(burst.key(key, Duration::from_millis(at), place));
        }
        assert_eq!(told, [Typed::Scan("R-308/1".to_owned())]);
    }

    #[test]
    fn a_line_of_text_takes_everything_as_it_comes() {
        let told = run("qux1%c", &["Enter"], 1, Place::Text);
        assert_eq!(told, keys(&["q", "u", "x", "1", "%", "c", "Enter"]));
    }
}
