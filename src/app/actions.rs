//! The one table of actions: it feeds the key line, the help, the palette and the keys themselves. Their keys
//! are in `config/keys.toml`.

use super::state::Screen;
use strsim::damerau_levenshtein;

/// Where an action works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// On every screen.
    Everywhere,
    /// On one screen.
    On(Screen),
}

/// What comes of an action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The selection moves; held keys repeat it.
    Moves,
    /// Something else is shown.
    Shows,
    /// Something is recorded, or asked for and then recorded.
    Records,
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
    /// Where it works.
    pub works: Where,
    /// How soon it is dropped from the key line: the smaller, the later; 0 is not in the line.
    pub rank: u8,
    /// What comes of it.
    pub kind: Kind,
}

impl Entry {
    /// Its name in the file of keys: `rig-down`.
    pub fn id(&self) -> String {
        self.name.to_lowercase().replace(' ', "-")
    }
}

/// A line of the table is: variant, name, where it works, rank in the key line, what comes of it; then its
/// sentence, and other words for it.
macro_rules! actions {
    ($($action:ident $name:literal $works:ident $rank:literal $kind:ident: $sentence:literal, $synonyms:literal;)*) => {
        /// What a user can ask for.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Action {
            $(#[doc = $sentence] $action,)*
        }

        /// Every action.
        pub const ACTIONS: &[Entry] = &[$(Entry {
            action: Action::$action,
            name: $name,
            sentence: $sentence,
            synonyms: $synonyms,
            works: $works,
            rank: $rank,
            kind: Kind::$kind,
        }),*];
    };
}

const ALL: Where = Where::Everywhere;
const PLAN: Where = Where::On(Screen::Plan);
const BENCH: Where = Where::On(Screen::Bench);
const LOAD: Where = Where::On(Screen::Load);
const UNITS: Where = Where::On(Screen::Units);
const EVIDENCE: Where = Where::On(Screen::Evidence);

actions! {
    MakePlan "plan" PLAN 1 Shows: "Plan from now and show what would change", "make replan schedule optimise";
    Assign "assign" PLAN 3 Shows: "Choose a waiting unit and a rig for its next step, each with its earliest time", "move book rig waiting";
    Lift "lift" PLAN 1 Shows: "Take the selected booking in hand: arrows move it, Enter drops it, Esc puts it back", "drop grab drag move booking";
    LiftRun "lift run" PLAN 9 Shows: "Take the whole run of the selected booking in hand", "chamber together move";
    Shorter "shorter" PLAN 0 Moves: "Unload what is in hand earlier; the exposure is as long as its method says", "wait length less";
    Longer "longer" PLAN 0 Moves: "Let what is in hand wait longer in its rig, where its method allows", "wait length more";
    TakeOff "take off" PLAN 6 Shows: "Take the selected booking and the unit's later ones off their rigs, not in force yet", "remove unbook free";
    Commit "commit" PLAN 3 Shows: "Show what your changes make different, to put them in force", "publish difference";
    Morning "morning sheet" PLAN 2 Shows: "What happened since the last plan and overnight, and what to do first", "overnight today news start day";
    WhatIf "what-if" PLAN 2 Shows: "Plan with a rig down, one more shift, a rush request, beside the plan in force", "change scenario rush extra shift try";
    WhyLate "why late" PLAN 7 Shows: "Follow the selected unit's request back to what holds it up, and try what would help", "reason cause chain remedy remedies";
    NextClash "next clash" PLAN 4 Shows: "Go to the next rule that the plan on the screen breaks", "error conflict problem";
    RigDown "rig down" PLAN 5 Records: "Report the selected rig down", "broken breakdown fault";
    RigUp "rig back" PLAN 6 Records: "Report the selected rig back", "repaired up";
    ZoomIn "zoom in" PLAN 7 Moves: "See less time, larger", "bigger";
    ZoomOut "zoom out" PLAN 7 Moves: "See more time, smaller", "smaller";
    Now "now" PLAN 8 Moves: "Go to now", "today";
    Pass "pass" BENCH 1 Records: "The checkpoint of the scanned unit is good", "good ok verdict";
    Fail "fail" BENCH 1 Records: "The checkpoint of the scanned unit is bad; asks why", "bad verdict reason";
    Hold "hold" BENCH 2 Records: "Stop the scanned unit until somebody decides", "stop pause";
    LoadUnit "load" BENCH 2 Records: "Put the scanned unit on its booked rig", "start begin";
    UnloadUnit "unload" BENCH 2 Records: "Take the scanned unit off its rig", "end off out";
    Note "note" BENCH 5 Records: "Add a note about the unit", "remark comment";
    Earlier "happened at" BENCH 0 Shows: "Say when the next load, unload or verdict of the scanned unit happened", "late time past yesterday backdate when";
    Who "who" BENCH 6 Shows: "Say who is at the bench, for what is recorded from now on", "person badge name sign in";
    LoadDays "days" LOAD 1 Shows: "A column a local day", "daily";
    LoadWeeks "weeks" LOAD 1 Shows: "A column an ISO week", "weekly";
    LoadMeasure "figure" LOAD 2 Shows: "Show another figure in the cells: time in use, positions filled, down, setup", "measure cell use fill down setup";
    LoadSort "sort" LOAD 3 Shows: "Sort the rigs by the next column", "order column";
    LoadTurn "turn" LOAD 4 Shows: "Sort the rigs the other way round", "direction reverse descending ascending";
    LoadNow "today" LOAD 5 Moves: "Go to the days or weeks around today", "this week";
    Search "search" UNITS 1 Shows: "Narrow the list as you type", "find filter";
    Sort "sort units" UNITS 4 Shows: "Sort the list by its next column", "order column";
    SortBack "reverse" UNITS 8 Shows: "Turn the order of the list around", "direction turn back";
    Withdraw "withdraw" UNITS 3 Records: "Take the selected unit out of the lab; asks why", "remove out";
    Size "size a leg" EVIDENCE 1 Shows: "Say how many units, for how long, show a reliability", "sample new request weibayes";
    Open "open" ALL 9 Shows: "Open what is selected", "details walk history";
    Undo "undo" ALL 10 Records: "Undo the last change of the what-if, else your last deed by an opposite record", "back take back";
    Redo "redo" ALL 0 Records: "Redo what you undid", "again";
    Plan "Plan screen" ALL 12 Shows: "Rigs over time: what runs where, and when", "timeline coordinator";
    Bench "Bench screen" ALL 12 Shows: "Scan a unit, see what is due, give verdicts", "technician due";
    Load "Load screen" ALL 12 Shows: "How rigs are used, the backlog, what is late", "manager utilisation";
    Units "Units screen" ALL 12 Shows: "Every unit, and the whole walk of each", "list search";
    Evidence "Evidence screen" ALL 12 Shows: "What the results prove, leg by leg", "reliability weibull proof";
    NextScreen "next screen" ALL 0 Shows: "Go to the next screen; after the last one, to the list of actions", "tab";
    LastScreen "screen before" ALL 0 Shows: "Go to the screen before; before the first one, to the list of actions", "previous tab";
    Up "up" ALL 0 Moves: "Move up", "";
    Down "down" ALL 0 Moves: "Move down", "";
    Left "left" ALL 0 Moves: "Move left, or back in time", "";
    Right "right" ALL 0 Moves: "Move right, or on in time", "";
    PageUp "page up" ALL 0 Moves: "A page up, or a screen's width back in time", "";
    PageDown "page down" ALL 0 Moves: "A page down, or a screen's width on in time", "";
    First "first" ALL 0 Moves: "To the first", "home top";
    Last "last" ALL 0 Moves: "To the last", "end bottom";
    Back "back" ALL 0 Shows: "Back one step", "cancel close";
    Refresh "refresh" ALL 0 Shows: "Read the ledger again", "reload";
    Forecast "forecast" ALL 0 Shows: "When requests and gates will be finished, and how sure that is", "chance risk dates sure probability late";
    CopyRow "copy row" ALL 0 Shows: "Send the selected row to the terminal's clipboard", "yank clipboard";
    CopyTable "copy table" ALL 0 Shows: "Send the whole table to the terminal's clipboard", "yank all clipboard";
    Export "export" ALL 0 Shows: "Write the whole table into a file where the program was started", "save file tsv write";
    Mouse "mouse" ALL 0 Shows: "Click and scroll here, or leave the mouse to the terminal", "click wheel pointer";
    Palette "palette" ALL 11 Shows: "Find an action by name", "command";
    Quit "quit" ALL 13 Shows: "Close what lies in front, or leave the program", "exit close leave";
    Help "help" ALL 14 Shows: "Every action with its key; typing narrows, Enter runs", "keys";
}

/// The line of an action.
///
/// # Panics
/// Never: every variant comes from a line of the table.
pub fn entry_of(action: Action) -> &'static Entry {
    let found = ACTIONS.iter().find(|entry| entry.action == action);
    found.expect("every action is a line of the table")
}

/// True where the entry works on the screen.
pub fn works_on(entry: &Entry, screen: Screen) -> bool {
    entry.works == Where::Everywhere || entry.works == Where::On(screen)
}

/// Entries that match what was typed, best first. Those of the screen go before equally good ones of other
/// screens, which are left out where `here` is set.
pub fn matching(typed: &str, screen: Screen, here: bool) -> Vec<&'static Entry> {
    let typed = typed.trim().to_lowercase();
    let mut found: Vec<(Distance, bool, usize, &Entry)> = ACTIONS
        .iter()
        .enumerate()
        .map(|(ix, entry)| (ix, entry, works_on(entry, screen)))
        .filter(|(_, _, own)| *own || !here)
        .filter_map(|(ix, entry, own)| Some((distance(&typed, entry)?, !own, ix, entry)))
        .collect();
    found.sort_by_key(|(far, strange, ix, _)| (*far, *strange, *ix));
    found.into_iter().map(|(.., entry)| entry).collect()
}

/// How an entry matches, the best first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Distance {
    Name,
    NameBegins,
    WordBegins,
    NameHolds,
    /// The first letters of its words.
    Initials,
    SynonymBegins,
    SynonymHolds,
    /// Its letters come in order, so many others between them.
    Letters(usize),
    /// A word is so many slips away.
    Slips(usize),
    SentenceHolds,
}

fn distance(typed: &str, entry: &Entry) -> Option<Distance> {
    let name = entry.name.to_lowercase();
    let begins = |text: &str| text.split([' ', '-']).any(|word| word.starts_with(typed));
    let initials: String = name
        .split([' ', '-'])
        .filter_map(|word| word.chars().next())
        .collect();
    Some(match () {
        () if name == typed => Distance::Name,
        () if name.starts_with(typed) => Distance::NameBegins,
        () if begins(&name) => Distance::WordBegins,
        () if name.contains(typed) => Distance::NameHolds,
        () if initials == typed => Distance::Initials,
        () if begins(entry.synonyms) => Distance::SynonymBegins,
        () if entry.synonyms.contains(typed) => Distance::SynonymHolds,
        () => {
            let letters = between_letters(typed, &name).map(Distance::Letters);
            letters
                .or(slips(typed, &name, entry.synonyms))
                .or_else(|| {
                    let sentence = entry.sentence.to_lowercase();
                    sentence.contains(typed).then_some(Distance::SentenceHolds)
                })?
        }
    })
}

/// How many letters lie between those typed, where they come in order in the name.
fn between_letters(typed: &str, name: &str) -> Option<usize> {
    let mut places = name.chars().enumerate();
    let mut found = typed.chars().map(|wanted| {
        let place = places.find(|(_, letter)| *letter == wanted)?;
        Some(place.0)
    });
    let first = found.next()??;
    let last = found.try_fold(first, |_, place| place)?;
    Some(last + 1 - first - typed.chars().count())
}

/// The fewest slips of the finger from what was typed to a word of the entry; one for each four letters.
fn slips(typed: &str, name: &str, synonyms: &str) -> Option<Distance> {
    let allowed = typed.chars().count() / 4;
    let words = std::iter::once(name)
        .chain(name.split(' '))
        .chain(synonyms.split(' '));
    let fewest = words.map(|word| damerau_levenshtein(typed, word)).min()?;
    (fewest <= allowed).then_some(Distance::Slips(fewest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_action_is_in_the_table_once_and_can_be_found_by_its_name() {
        let ids: BTreeSet<String> = ACTIONS.iter().map(Entry::id).collect();
        assert_eq!(ids.len(), ACTIONS.len(), "two actions share a name");
        for entry in ACTIONS {
            for screen in Screen::ALL {
                let first = matching(entry.name, screen, false)[0].action;
                assert_eq!(first, entry.action, "{}", entry.name);
            }
            assert!(!entry.sentence.is_empty() && !entry.sentence.ends_with('.'));
        }
    }

    #[test]
    fn the_best_match_comes_first_and_slips_are_forgiven() {
        let first =
            |typed: &str, screen| matching(typed, screen, false).first().map(|own| own.action);
        assert_eq!(first("plan", Screen::Plan), Some(Action::MakePlan));
        assert_eq!(first("rd", Screen::Plan), Some(Action::RigDown));
        assert_eq!(first("breakdown", Screen::Load), Some(Action::RigDown));
        assert_eq!(first("wihtdraw", Screen::Plan), Some(Action::Withdraw));
        assert_eq!(first("zzzz", Screen::Plan), None);
        assert!(matching("withdraw", Screen::Plan, true).is_empty());
        assert_eq!(matching("", Screen::Plan, false).len(), ACTIONS.len());
    }
}
