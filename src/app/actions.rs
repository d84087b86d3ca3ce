//! The one table of actions: it feeds the key line, the help, the palette and the keys themselves.

use super::state::Screen;

/// What a user can ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Move the selection up.
    Up,
    /// Move the selection down.
    Down,
    /// Move the selection left.
    Left,
    /// Move the selection right.
    Right,
    /// A page up, or a screen's width back in time.
    PageUp,
    /// A page down, or a screen's width on in time.
    PageDown,
    /// To the first.
    First,
    /// To the last.
    Last,
    /// Open what is selected.
    Open,
    /// Back one step.
    Back,
    /// The Plan screen.
    Plan,
    /// The Bench screen.
    Bench,
    /// The Load screen.
    Load,
    /// The Units screen.
    Units,
    /// The Evidence screen.
    Evidence,
    /// Plan a leg from what it is to show.
    Size,
    /// The next screen.
    NextScreen,
    /// The screen before.
    LastScreen,
    /// Make a plan.
    MakePlan,
    /// Plan a changed lab beside the plan in force.
    WhatIf,
    /// Why a request is late, and what would help.
    WhyLate,
    /// The next clash.
    NextClash,
    /// To now.
    Now,
    /// See less time, larger.
    ZoomIn,
    /// See more time, smaller.
    ZoomOut,
    /// Put a unit's next step on another rig.
    Assign,
    /// Take the selected booking in hand.
    Lift,
    /// Take the whole run of the selected booking in hand.
    LiftRun,
    /// Unload what is in hand earlier.
    Shorter,
    /// Unload what is in hand later.
    Longer,
    /// Take the selected booking off its rig.
    TakeOff,
    /// Show what the changes make different, to put them in force.
    Commit,
    /// What this morning asks for.
    Morning,
    /// The whole walk of the selected unit.
    Walk,
    /// Report a rig down.
    RigDown,
    /// Report a rig back.
    RigUp,
    /// The checkpoint is good.
    Pass,
    /// The checkpoint is bad.
    Fail,
    /// Stop the unit until somebody decides.
    Hold,
    /// Put the unit on its rig.
    LoadUnit,
    /// Take the unit off its rig.
    UnloadUnit,
    /// Add a note.
    Note,
    /// Take the unit out of the lab.
    Withdraw,
    /// Narrow the list.
    Search,
    /// Undo the last mark.
    Undo,
    /// Redo what was undone.
    Redo,
    /// Read the ledger again.
    Refresh,
    /// All actions with their keys.
    Help,
    /// Find an action by name.
    Palette,
    /// Leave.
    Quit,
}

/// Where an action works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// On every screen.
    Everywhere,
    /// On one screen.
    On(Screen),
}

/// One line of the table.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// The action.
    pub action: Action,
    /// Its name.
    pub name: &'static str,
    /// What it does, in a sentence.
    pub sentence: &'static str,
    /// Other words somebody may look for.
    pub synonyms: &'static str,
    /// Its keys, the one to show first.
    pub keys: &'static [&'static str],
    /// Where it works.
    pub works: Where,
    /// How soon it is dropped from the key line: the smaller, the later; 0 is not in the line.
    pub rank: u8,
}

const fn entry(
    action: Action,
    name: &'static str,
    sentence: &'static str,
    synonyms: &'static str,
    keys: &'static [&'static str],
    works: Where,
    rank: u8,
) -> Entry {
    Entry {
        action,
        name,
        sentence,
        synonyms,
        keys,
        works,
        rank,
    }
}

const ALL: Where = Where::Everywhere;
const PLAN: Where = Where::On(Screen::Plan);
const BENCH: Where = Where::On(Screen::Bench);
const UNITS: Where = Where::On(Screen::Units);
const EVIDENCE: Where = Where::On(Screen::Evidence);

/// Every action.
pub const ACTIONS: &[Entry] = &[
    entry(
        Action::MakePlan,
        "plan",
        "Plan from now and show what would change",
        "make replan schedule optimise",
        &["p"],
        PLAN,
        1,
    ),
    entry(
        Action::Assign,
        "assign",
        "Choose a waiting unit and a rig for its next step, each with its earliest time",
        "move book rig waiting",
        &["a"],
        PLAN,
        3,
    ),
    entry(
        Action::WhatIf,
        "what-if",
        "Plan with a rig down, one more shift, a rush request, beside the plan in force",
        "change scenario rush extra shift try",
        &["w"],
        PLAN,
        2,
    ),
    entry(
        Action::Lift,
        "lift",
        "Take the selected booking in hand; arrows move it, Enter drops it, Esc puts it back",
        "drop grab drag move booking",
        &["Enter", " "],
        PLAN,
        1,
    ),
    entry(
        Action::LiftRun,
        "lift run",
        "Take the whole run of the selected booking in hand",
        "chamber together move",
        &["L"],
        PLAN,
        8,
    ),
    entry(
        Action::Shorter,
        "shorter",
        "Unload what is in hand earlier; the exposure itself is as long as its method says",
        "wait length",
        &["<"],
        PLAN,
        0,
    ),
    entry(
        Action::Longer,
        "longer",
        "Let what is in hand wait longer in its rig, where its method allows",
        "wait length",
        &[">"],
        PLAN,
        0,
    ),
    entry(
        Action::TakeOff,
        "take off",
        "Take the selected booking and the unit's later ones off their rigs",
        "remove unbook free",
        &["x"],
        PLAN,
        6,
    ),
    entry(
        Action::Commit,
        "commit",
        "Show what your changes make different, to put them in force",
        "publish what-if",
        &["c"],
        PLAN,
        3,
    ),
    entry(
        Action::Morning,
        "morning sheet",
        "What happened since the last plan and overnight, and what to do first",
        "overnight today news start",
        &["s"],
        PLAN,
        2,
    ),
    entry(
        Action::Walk,
        "walk",
        "The whole walk and history of the selected unit",
        "details unit history",
        &["o"],
        PLAN,
        9,
    ),
    entry(
        Action::WhyLate,
        "why late",
        "Follow the selected unit's request back to what holds it up, and try what would help",
        "reason cause chain remedy remedies",
        &["v"],
        PLAN,
        7,
    ),
    entry(
        Action::NextClash,
        "next clash",
        "Go to the next broken rule of the published plan",
        "error conflict problem",
        &["e"],
        PLAN,
        4,
    ),
    entry(
        Action::RigDown,
        "rig down",
        "Report the selected rig down",
        "broken breakdown fault",
        &["d"],
        PLAN,
        5,
    ),
    entry(
        Action::RigUp,
        "rig back",
        "Report the selected rig back",
        "repaired up",
        &["b"],
        PLAN,
        6,
    ),
    entry(
        Action::ZoomIn,
        "zoom in",
        "See less time, larger",
        "bigger",
        &["+", "="],
        PLAN,
        7,
    ),
    entry(
        Action::ZoomOut,
        "zoom out",
        "See more time, smaller",
        "smaller",
        &["-"],
        PLAN,
        7,
    ),
    entry(Action::Now, "now", "Go to now", "today", &["t"], PLAN, 8),
    entry(
        Action::Pass,
        "pass",
        "The checkpoint of the scanned unit is good",
        "good ok verdict",
        &["p"],
        BENCH,
        1,
    ),
    entry(
        Action::Fail,
        "fail",
        "The checkpoint of the scanned unit is bad; asks why",
        "bad verdict reason",
        &["f"],
        BENCH,
        1,
    ),
    entry(
        Action::Hold,
        "hold",
        "Stop the scanned unit until somebody decides",
        "stop pause",
        &["h"],
        BENCH,
        2,
    ),
    entry(
        Action::LoadUnit,
        "load",
        "Put the scanned unit on its booked rig",
        "start begin",
        &["l"],
        BENCH,
        2,
    ),
    entry(
        Action::UnloadUnit,
        "unload",
        "Take the scanned unit off its rig",
        "end off out",
        &["o"],
        BENCH,
        2,
    ),
    entry(
        Action::Note,
        "note",
        "Add a note about the unit",
        "remark comment",
        &["e"],
        BENCH,
        5,
    ),
    entry(
        Action::Search,
        "search",
        "Narrow the list as you type",
        "find filter",
        &["/"],
        UNITS,
        1,
    ),
    entry(
        Action::Withdraw,
        "withdraw",
        "Take the selected unit out of the lab; asks why",
        "remove out",
        &["x"],
        UNITS,
        3,
    ),
    entry(
        Action::Size,
        "size a leg",
        "Say how many units, for how long, show a reliability",
        "sample new request weibayes",
        &["s"],
        EVIDENCE,
        1,
    ),
    entry(
        Action::Open,
        "open",
        "Open what is selected",
        "details walk history",
        &["Enter"],
        ALL,
        9,
    ),
    entry(
        Action::Undo,
        "undo",
        "Undo your last mark by an opposite record",
        "back take back",
        &["u"],
        ALL,
        10,
    ),
    entry(
        Action::Redo,
        "redo",
        "Redo what you undid",
        "again",
        &["U", "Ctrl-r"],
        ALL,
        0,
    ),
    entry(
        Action::Plan,
        "Plan screen",
        "Rigs over time: what runs where, and when",
        "timeline coordinator",
        &["1"],
        ALL,
        12,
    ),
    entry(
        Action::Bench,
        "Bench screen",
        "Scan a unit, see what is due, give verdicts",
        "technician due",
        &["2"],
        ALL,
        12,
    ),
    entry(
        Action::Load,
        "Load screen",
        "How rigs are used, the backlog, what is late",
        "manager utilisation",
        &["3"],
        ALL,
        12,
    ),
    entry(
        Action::Units,
        "Units screen",
        "Every unit, and the whole walk of each",
        "list search",
        &["4"],
        ALL,
        12,
    ),
    entry(
        Action::Evidence,
        "Evidence screen",
        "What the results prove, leg by leg",
        "reliability weibull proof",
        &["5"],
        ALL,
        12,
    ),
    entry(
        Action::NextScreen,
        "next screen",
        "Go to the next screen",
        "",
        &["Tab"],
        ALL,
        0,
    ),
    entry(
        Action::LastScreen,
        "screen before",
        "Go to the screen before",
        "",
        &["Shift-Tab"],
        ALL,
        0,
    ),
    entry(Action::Up, "up", "Move up", "", &["Up", "k"], ALL, 0),
    entry(
        Action::Down,
        "down",
        "Move down",
        "",
        &["Down", "j"],
        ALL,
        0,
    ),
    entry(
        Action::Left,
        "left",
        "Move left, or back in time",
        "",
        &["Left", "h"],
        ALL,
        0,
    ),
    entry(
        Action::Right,
        "right",
        "Move right, or on in time",
        "",
        &["Right", "l"],
        ALL,
        0,
    ),
    entry(
        Action::PageUp,
        "page up",
        "A page up",
        "",
        &["PgUp"],
        ALL,
        0,
    ),
    entry(
        Action::PageDown,
        "page down",
        "A page down",
        "",
        &["PgDn"],
        ALL,
        0,
    ),
    entry(
        Action::First,
        "first",
        "To the first",
        "home top",
        &["Home", "g"],
        ALL,
        0,
    ),
    entry(
        Action::Last,
        "last",
        "To the last",
        "end bottom",
        &["End", "G"],
        ALL,
        0,
    ),
    entry(
        Action::Back,
        "back",
        "Back one step",
        "cancel close",
        &["Esc"],
        ALL,
        0,
    ),
    entry(
        Action::Refresh,
        "refresh",
        "Read the ledger again",
        "reload",
        &["r"],
        ALL,
        0,
    ),
    entry(
        Action::Palette,
        "palette",
        "Find an action by name",
        "command",
        &[":", "Ctrl-p"],
        ALL,
        11,
    ),
    entry(
        Action::Quit,
        "quit",
        "Leave the program",
        "exit close",
        &["q", "Ctrl-c"],
        ALL,
        13,
    ),
    entry(
        Action::Help,
        "help",
        "Every action with its key; typing narrows, Enter runs",
        "keys",
        &["?"],
        ALL,
        14,
    ),
];

/// True where the entry works on the screen.
pub fn works_on(entry: &Entry, screen: Screen) -> bool {
    entry.works == Where::Everywhere || entry.works == Where::On(screen)
}

/// The action of a key on a screen; the screen's own keys go before those that work everywhere.
pub fn action_of(key: &str, screen: Screen) -> Option<Action> {
    let has = |entry: &&Entry| entry.keys.contains(&key);
    let own = ACTIONS
        .iter()
        .filter(has)
        .find(|entry| entry.works == Where::On(screen));
    let any = ACTIONS
        .iter()
        .filter(has)
        .find(|entry| entry.works == Where::Everywhere);
    own.or(any).map(|entry| entry.action)
}

/// Entries that work on the screen and match what was typed, best first: every letter typed must come in
/// order in the name or its synonyms.
pub fn matching(typed: &str, screen: Screen) -> Vec<&'static Entry> {
    let typed = typed.to_lowercase();
    let mut found: Vec<(usize, usize, &Entry)> = ACTIONS
        .iter()
        .enumerate()
        .filter(|(_, entry)| works_on(entry, screen))
        .filter_map(|(ix, entry)| Some((distance(&typed, entry)?, ix, entry)))
        .collect();
    found.sort_by_key(|(far, ix, _)| (*far, *ix));
    found.into_iter().map(|(_, _, entry)| entry).collect()
}

/// How far the entry is from what was typed: 0 the name begins so, 1 it holds it, 2 a synonym holds it, 3 its
/// letters come in order.
fn distance(typed: &str, entry: &Entry) -> Option<usize> {
    let name = entry.name.to_lowercase();
    if name.starts_with(typed) {
        return Some(0);
    }
    if name.contains(typed) {
        return Some(1);
    }
    if entry.synonyms.contains(typed) {
        return Some(2);
    }
    let mut letters = name.chars();
    typed
        .chars()
        .all(|wanted| letters.any(|letter| letter == wanted))
        .then_some(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_action_is_in_the_table_once_and_can_be_found_by_its_name() {
        for entry in ACTIONS {
            let same = ACTIONS
                .iter()
                .filter(|other| other.action == entry.action)
                .count();
            assert_eq!(same, 1, "{}", entry.name);
            let screen = match entry.works {
                Where::On(screen) => screen,
                Where::Everywhere => Screen::Load,
            };
            assert_eq!(
                matching(entry.name, screen)[0].action,
                entry.action,
                "{}",
                entry.name
            );
        }
    }

    #[test]
    fn nothing_that_records_is_on_a_key_that_a_torn_arrow_or_a_slip_can_send() {
        for entry in ACTIONS {
            for key in entry.keys {
                assert!(
                    !["[", "]", "O", "A", "B", "C", "D", "~"].contains(key),
                    "{key}"
                );
                assert!(!key.starts_with("Alt-") && !key.starts_with('F'), "{key}");
                assert!(
                    !["Ctrl-a", "Ctrl-b", "Ctrl-s", "Ctrl-q", "Ctrl-z"].contains(key),
                    "{key}"
                );
            }
        }
    }

    #[test]
    fn no_two_actions_of_one_screen_share_a_key_but_for_the_screens_own() {
        for screen in Screen::ALL {
            for entry in ACTIONS
                .iter()
                .filter(|entry| entry.works == Where::On(screen))
            {
                for key in entry.keys {
                    assert_eq!(action_of(key, screen), Some(entry.action));
                }
            }
        }
    }
}
