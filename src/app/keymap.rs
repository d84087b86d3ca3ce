//! Which key does what on which screen: the keys built in, and those that a user's file changes.
//!
//! A screen's own keys go before those that work everywhere. What in a user's file cannot hold is a fault with
//! file, line and name, and the action that it is about keeps the keys built in.

use super::actions::{ACTIONS, Action, Entry, Kind, Where, entry_of, works_on};
use super::config::{Fault, File, Value};
use super::state::Screen;
use crate::lab::nearest;

/// The keys built in.
const BUILT_IN: &str = include_str!("../../config/keys.toml");

/// Keys that move and choose whatever a file says, so that nobody can lock himself out.
const FIXED: [(&str, Action); 12] = [
    ("Up", Action::Up),
    ("Down", Action::Down),
    ("Left", Action::Left),
    ("Right", Action::Right),
    ("PgUp", Action::PageUp),
    ("PgDn", Action::PageDown),
    ("Home", Action::First),
    ("End", Action::Last),
    ("Enter", Action::Open),
    ("Esc", Action::Back),
    ("Tab", Action::NextScreen),
    ("Shift-Tab", Action::LastScreen),
];

/// Keys with a name besides those that are fixed.
const NAMED: [&str; 4] = ["Space", "Backspace", "Delete", "Insert"];

/// What the end of an arrow key's sequence looks like where its beginning came too early.
const TORN: [&str; 8] = ["[", "]", "O", "A", "B", "C", "D", "~"];

/// The keys of one action, everywhere or on one screen.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Row {
    on: Where,
    action: Action,
    keys: Vec<String>,
    /// The line of the user's file that says so.
    line: Option<usize>,
}

/// The keys in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyMap {
    rows: Vec<Row>,
}

impl Default for KeyMap {
    fn default() -> Self {
        Self::built_in()
    }
}

impl KeyMap {
    /// The keys built in.
    pub fn built_in() -> Self {
        let (map, _faults) = Self { rows: Vec::new() }.with("config/keys.toml", BUILT_IN);
        let built_in = |row: Row| Row { line: None, ..row };
        Self {
            rows: map.rows.into_iter().map(built_in).collect(),
        }
    }

    /// What a key does on a screen.
    pub fn action(&self, key: &str, screen: Screen) -> Option<Action> {
        let key = if key == " " { "Space" } else { key };
        let has = |row: &&Row| row.keys.iter().any(|own| own == key);
        let own = self
            .rows
            .iter()
            .filter(has)
            .find(|row| row.on == Where::On(screen));
        let everywhere =
            |row: &&Row| row.on == Where::Everywhere && !self.is_changed_on(row.action, screen);
        let row = own.or_else(|| self.rows.iter().filter(has).find(everywhere));
        let fixed = || {
            FIXED
                .iter()
                .find(|(own, _)| *own == key)
                .map(|(_, action)| *action)
        };
        row.map(|row| row.action).or_else(fixed)
    }

    /// The keys of an action on a screen, the one to show first at the front.
    pub fn keys(&self, action: Action, screen: Screen) -> Vec<&str> {
        let row = self
            .row(Where::On(screen), action)
            .or_else(|| self.row(Where::Everywhere, action));
        let mut keys = keys_of(row, action);
        // On the Bench the letters that move are typed into the scan line.
        let is_text = |key: &str| {
            screen == Screen::Bench
                && entry_of(action).kind == Kind::Moves
                && key.chars().count() == 1
        };
        keys.retain(|key| self.action(key, screen) == Some(action) && !is_text(key));
        keys
    }

    /// The keys of an action that works everywhere, whatever single screens make of them.
    pub fn keys_everywhere(&self, action: Action) -> Vec<&str> {
        keys_of(self.row(Where::Everywhere, action), action)
    }

    /// The key of an action on a screen that is shown first.
    pub fn key(&self, action: Action, screen: Screen) -> Option<&str> {
        self.keys(action, screen).first().copied()
    }

    /// The keys as a user's file changes them, and what of the file cannot hold.
    #[must_use]
    pub fn with(&self, file: &str, text: &str) -> (Self, Vec<Fault>) {
        let file = File::new(file, text);
        let table = match file.table() {
            Ok(table) => table,
            Err(fault) => return (self.clone(), vec![fault]),
        };
        let (mut map, mut faults) = (self.clone(), Vec::new());
        for section in file.values(&table) {
            match section_of(&section) {
                Ok((on, rows)) => {
                    for value in file.values(rows) {
                        match row_of(on, &value) {
                            Ok(row) => map.put(row),
                            Err(why) => faults.push(file.fault(value.line, value.name, &why)),
                        }
                    }
                }
                Err(why) => faults.push(file.fault(section.line, section.name, &why)),
            }
        }
        while let Some((at, why)) = map.clash() {
            let row = map.rows[at].clone();
            let line = row.line.unwrap_or(0);
            let before = self.row(row.on, row.action).cloned();
            let keeps = before
                .as_ref()
                .map_or("no key here".to_owned(), |own| own.keys.join(" "));
            faults.push(file.fault(
                line,
                &entry_of(row.action).id(),
                &format!("{why}; it keeps {keeps}"),
            ));
            match before {
                Some(before) => map.put(before),
                None => drop(map.rows.remove(at)),
            }
        }
        faults.sort_by_key(|fault| fault.line);
        (map, faults)
    }

    fn row(&self, on: Where, action: Action) -> Option<&Row> {
        self.rows
            .iter()
            .find(|row| row.on == on && row.action == action)
    }

    /// True where an action has keys of its own on a screen.
    fn is_changed_on(&self, action: Action, screen: Screen) -> bool {
        self.row(Where::On(screen), action).is_some()
    }

    /// Puts a row in the place of the one that it replaces.
    fn put(&mut self, row: Row) {
        let same = |own: &&mut Row| own.on == row.on && own.action == row.action;
        match self.rows.iter_mut().find(same) {
            Some(own) => *own = row,
            None => self.rows.push(row),
        }
    }

    /// A row of the user's file that cannot hold beside the others, and why: the last one first.
    fn clash(&self) -> Option<(usize, String)> {
        let of_user = self
            .rows
            .iter()
            .enumerate()
            .filter(|(_, row)| row.line.is_some());
        let mut of_user: Vec<(usize, &Row)> = of_user.collect();
        of_user.sort_by_key(|(_, row)| std::cmp::Reverse(row.line));
        of_user
            .into_iter()
            .find_map(|(at, row)| Some((at, self.why_not(row)?)))
    }

    fn why_not(&self, row: &Row) -> Option<String> {
        for other in self
            .rows
            .iter()
            .filter(|own| own.on == row.on && own.action != row.action)
        {
            if let Some(key) = row.keys.iter().find(|key| other.keys.contains(key)) {
                let line = other
                    .line
                    .map_or(String::new(), |line| format!(" (line {line})"));
                return Some(format!(
                    "`{key}` is already the key of {}{line}",
                    entry_of(other.action).id()
                ));
            }
        }
        let Where::On(screen) = row.on else {
            return None;
        };
        let takes_last = |entry: &&Entry| {
            let keys = self
                .row(Where::Everywhere, entry.action)
                .map_or(&[][..], |own| &own.keys[..]);
            let taken = keys.iter().any(|key| row.keys.contains(key));
            entry.action != row.action && taken && self.key(entry.action, screen).is_none()
        };
        let robbed = ACTIONS
            .iter()
            .filter(|entry| entry.works == Where::Everywhere)
            .find(takes_last)?;
        Some(format!(
            "it takes the last key of {} on this screen",
            robbed.id()
        ))
    }
}

/// The keys of an action by its row, then those that it always has.
fn keys_of(row: Option<&Row>, action: Action) -> Vec<&str> {
    let mut keys: Vec<&str> = row.map_or(Vec::new(), |row| {
        row.keys.iter().map(String::as_str).collect()
    });
    for (key, own) in FIXED {
        if own == action && !keys.contains(&key) {
            keys.push(key);
        }
    }
    keys
}

/// Where the rows of a table count, and the rows.
fn section_of<'a>(section: &Value<'a>) -> Result<(Where, &'a toml::de::DeTable<'a>), String> {
    let name = |screen: &Screen| screen.name().to_lowercase();
    let screen = Screen::ALL
        .into_iter()
        .find(|own| name(own) == section.name);
    let on = match screen {
        Some(screen) => Where::On(screen),
        None if section.name == "everywhere" => Where::Everywhere,
        None => {
            let all: Vec<String> = Screen::ALL.iter().map(name).collect();
            return Err(format!(
                "no such table; there are everywhere, {}",
                all.join(", ")
            ));
        }
    };
    let rows = section
        .table()
        .ok_or("it is to be a table of actions with their keys")?;
    Ok((on, rows))
}

fn row_of(on: Where, value: &Value) -> Result<Row, String> {
    let entry = entry_named(value.name)?;
    let fits = match on {
        Where::Everywhere => entry.works == Where::Everywhere,
        Where::On(screen) => works_on(entry, screen),
    };
    if !fits {
        let Where::On(screen) = entry.works else {
            return Err("it works everywhere".to_owned());
        };
        return Err(format!("it works on the {} screen only", screen.name()));
    }
    let keys = value
        .texts()
        .ok_or("a key or a list of keys is wanted, in quotes; its keys stay")?;
    for key in &keys {
        if let Some(why) = key_fault(key, entry) {
            return Err(format!("{why}; its keys stay"));
        }
    }
    Ok(Row {
        on,
        action: entry.action,
        keys: keys.into_iter().map(str::to_owned).collect(),
        line: Some(value.line),
    })
}

fn entry_named(name: &str) -> Result<&'static Entry, String> {
    if let Some(entry) = ACTIONS.iter().find(|entry| entry.id() == name) {
        return Ok(entry);
    }
    let ids: Vec<String> = ACTIONS.iter().map(Entry::id).collect();
    let near = nearest(name, ids.iter().map(String::as_str));
    let near = near.map_or(String::new(), |near| format!("; nearest: {near}"));
    Err(format!("no such action{near}"))
}

/// Why a key cannot be the key of an action.
fn key_fault(key: &str, entry: &Entry) -> Option<String> {
    let shown = crate::domain::text::shown(key);
    if !is_key(key) {
        return Some(format!("`{shown}` is no key that a terminal tells apart"));
    }
    if key == "Ctrl-z" {
        return Some("`Ctrl-z` suspends the program".to_owned());
    }
    let fixed = FIXED
        .iter()
        .find(|(own, _)| *own == key)
        .map(|(_, action)| *action);
    if fixed.is_some_and(|action| action != entry.action) && !is_lift(key, entry) {
        return Some(format!("`{shown}` always moves or chooses"));
    }
    if entry.kind == Kind::Records && TORN.contains(&key) {
        return Some(format!(
            "`{shown}` can be the rest of an arrow key that came in two parts, and this records"
        ));
    }
    None
}

/// Enter may also choose something of a screen's own.
fn is_lift(key: &str, entry: &Entry) -> bool {
    key == "Enter" && entry.works != Where::Everywhere && entry.kind != Kind::Records
}

/// True for a key that a terminal can send and that is not another one's second name.
fn is_key(key: &str) -> bool {
    let mut letters = key.chars();
    if let (Some(letter), None) = (letters.next(), letters.next()) {
        return letter != ' ' && !crate::domain::text::is_hidden(letter);
    }
    let function = key
        .strip_prefix('F')
        .and_then(|number| number.parse::<u8>().ok());
    // Ctrl-h, -i, -j and -m are Backspace, Tab, the end of a scan and Enter.
    let control = key.strip_prefix("Ctrl-").is_some_and(|letter| {
        letter.len() == 1
            && letter
                .chars()
                .all(|own| own.is_ascii_lowercase() && !"hijm".contains(own))
    });
    let named = NAMED.contains(&key) || FIXED.iter().any(|(own, _)| *own == key);
    named || control || function.is_some_and(|number| (1..=12).contains(&number))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults_of(text: &str) -> (KeyMap, Vec<String>) {
        let (map, faults) = KeyMap::built_in().with("keys.toml", text);
        (map, faults.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn the_keys_built_in_have_no_fault_and_name_every_action() {
        let empty = KeyMap { rows: Vec::new() };
        assert_eq!(empty.with("config/keys.toml", BUILT_IN).1, []);
        let map = KeyMap::built_in();
        for entry in ACTIONS {
            let row = map.row(entry.works, entry.action);
            assert!(
                row.is_some_and(|row| !row.keys.is_empty()),
                "{} has no key",
                entry.id()
            );
        }
    }

    #[test]
    fn t16_no_key_needs_alt_a_function_key_or_what_multiplexers_take() {
        let shifted_digits = ["!", "@", "#", "$", "%", "^", "&", "*", "(", ")"];
        for row in KeyMap::built_in().rows {
            for key in &row.keys {
                assert!(!key.starts_with("Alt-") && !key.starts_with("F1"), "{key}");
                let taken = ["Ctrl-a", "Ctrl-b", "Ctrl-s", "Ctrl-q", "Ctrl-z"];
                assert!(!taken.contains(&key.as_str()), "{key}");
                let control_digit = key
                    .strip_prefix("Ctrl-")
                    .is_some_and(|own| own.chars().all(|c| c.is_ascii_digit()));
                assert!(!control_digit, "{key}");
                // Signs that need AltGr on QWERTZ or AZERTY, and those on Shift and a digit.
                let hard = ["[", "]", "{", "}", "\\", "|", "~", "`"];
                assert!(
                    !hard.contains(&key.as_str()) && !shifted_digits.contains(&key.as_str()),
                    "{key}"
                );
            }
        }
    }

    #[test]
    fn t17_nothing_that_records_is_on_a_key_that_a_torn_arrow_sends() {
        let map = KeyMap::built_in();
        for screen in Screen::ALL {
            for key in TORN {
                let action = map.action(key, screen);
                assert!(
                    action.is_none_or(|own| entry_of(own).kind != Kind::Records),
                    "{key}"
                );
            }
        }
        let (_, told) = faults_of("[bench]\npass = \"A\"");
        assert!(
            told[0].starts_with("keys.toml:2: pass: `A` can be the rest of an arrow key"),
            "{told:?}"
        );
    }

    #[test]
    fn t15_a_users_keys_count_and_what_cannot_hold_is_told_with_its_line() {
        let (map, told) = faults_of(
            "[everywhere]\nundo = [\"z\", \"F2\"]\n\n[plan]\nundo = \"Z\"\nplan = \"P\"\n",
        );
        assert_eq!(told, [""; 0]);
        assert_eq!(map.keys(Action::Undo, Screen::Load), ["z", "F2"]);
        assert_eq!(map.keys(Action::Undo, Screen::Plan), ["Z"]);
        assert_eq!(map.action("u", Screen::Load), None);
        assert_eq!(map.action("P", Screen::Plan), Some(Action::MakePlan));

        let wrong = "[plan]\nassign = \"p\"\nasign = \"y\"\nwhat-if = [\"Ctrl-Alt-x\"]\npass = \"y\"\n\
                     now = \"Up\"\nzoom-in = 3\n[everywhere]\nplan = \"y\"\n[plann]\n";
        let (map, told) = faults_of(wrong);
        let expected = [
            "keys.toml:2: assign: `p` is already the key of plan; it keeps a",
            "keys.toml:3: asign: no such action; nearest: assign",
            "keys.toml:4: what-if: `Ctrl-Alt-x` is no key that a terminal tells apart; its keys stay",
            "keys.toml:5: pass: it works on the Bench screen only",
            "keys.toml:6: now: `Up` always moves or chooses; its keys stay",
            "keys.toml:7: zoom-in: a key or a list of keys is wanted, in quotes; its keys stay",
            "keys.toml:9: plan: it works on the Plan screen only",
            "keys.toml:10: plann: no such table; there are everywhere, plan, bench, load, units, evidence",
        ];
        assert_eq!(told, expected);
        assert_eq!(map, KeyMap::built_in());
    }

    #[test]
    fn two_keys_can_change_places_and_no_screen_loses_its_help() {
        let (map, told) = faults_of("[plan]\nassign = \"p\"\nplan = \"a\"\n");
        assert_eq!(told, [""; 0]);
        assert_eq!(map.action("p", Screen::Plan), Some(Action::Assign));
        assert_eq!(map.action("a", Screen::Plan), Some(Action::MakePlan));
        let (map, told) = faults_of("[plan]\nassign = \"?\"\n");
        assert_eq!(
            told,
            ["keys.toml:2: assign: it takes the last key of help on this screen; it keeps a"]
        );
        assert_eq!(map, KeyMap::built_in());
        let (map, told) = faults_of("[everywhere]\nup = \"w\"\nundo = []\n");
        assert_eq!(told, [""; 0]);
        assert_eq!(map.keys(Action::Up, Screen::Units), ["w", "Up"]);
        assert_eq!(map.key(Action::Undo, Screen::Plan), None);
    }

    #[test]
    fn a_file_that_is_no_toml_changes_nothing() {
        let (map, told) = faults_of("[plan]\nassign = = 3\n");
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("keys.toml:2: ") && told[0].ends_with("passed over"),
            "{told:?}"
        );
        assert_eq!(map, KeyMap::built_in());
    }
}
