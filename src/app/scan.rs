//! What a scanner or a person puts into the scan line, taken apart.
//!
//! A serial only chooses a unit: no scan of a serial can give a verdict. A card code begins with `%`, which no
//! serial may hold, and does what its key does, so that a gloved hand needs no keyboard. Nothing in here knows
//! the lab's units, the ledger or the clock: times are handed in.

use crate::domain::lab::BenchRules;
use crate::domain::text::normal;
use std::time::Duration;

/// The same code again within this time is the scanner's or the hand's slip.
const AGAIN: Duration = Duration::from_secs(2);

/// True for a key that ends a scan: CR, LF (which arrives as Ctrl-j) and Tab; CR LF ends it once.
pub fn ends_scan(key: &str) -> bool {
    matches!(key, "Enter" | "Ctrl-j" | "Tab")
}

/// What a card code asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Card {
    /// The checkpoint is good.
    Pass,
    /// It is bad.
    Fail,
    /// Stop the unit.
    Hold,
    /// Put it on its rig.
    Load,
    /// Take it off its rig.
    Unload,
    /// Take back the last mark.
    Undo,
    /// Somebody is at the bench now.
    Who(String),
    /// The reason of a failure or a hold.
    Why(String),
}

impl Card {
    /// Codes without a word of their own, with the key of the Bench that does the same, and what they do.
    pub const PLAIN: [(&'static str, Self, &'static str, &'static str); 6] = [
        (
            "%PASS",
            Self::Pass,
            "p",
            "the checkpoint of the unit is good",
        ),
        (
            "%FAIL",
            Self::Fail,
            "f",
            "the checkpoint of the unit is bad; a reason comes next",
        ),
        (
            "%HOLD",
            Self::Hold,
            "h",
            "stop the unit until somebody decides",
        ),
        ("%LOAD", Self::Load, "l", "the unit goes on its booked rig"),
        ("%UNLOAD", Self::Unload, "o", "the unit comes off its rig"),
        ("%UNDO", Self::Undo, "u", "take back your last mark"),
    ];
    /// Begins the code of a person.
    pub const WHO: &'static str = "%WHO-";
    /// Begins the code of a reason.
    pub const WHY: &'static str = "%WHY-";

    /// The card of a code. Upper and lower case are the same, for a scanner may send either.
    fn of(code: &str) -> Option<Self> {
        let plain = Self::PLAIN
            .iter()
            .find(|(own, ..)| own.eq_ignore_ascii_case(code));
        if let Some((_, card, ..)) = plain {
            return Some(card.clone());
        }
        let after = |start: &str| {
            let head = code.get(..start.len())?;
            let word = code[start.len()..].trim();
            (head.eq_ignore_ascii_case(start) && !word.is_empty()).then(|| word.to_owned())
        };
        after(Self::WHO)
            .map(Self::Who)
            .or_else(|| after(Self::WHY).map(Self::Why))
    }
}

/// What came in through the scan line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scan {
    /// Nothing but control keys or blanks.
    Nothing,
    /// A serial, or what somebody took for one.
    Serial(String),
    /// A card code.
    Card(Card),
    /// It begins like a card code and is none.
    NoCard(String),
    /// The same as just before, within two seconds.
    Again(String),
}

/// Takes scans apart, and remembers the last one.
#[derive(Clone, Debug, Default)]
pub struct Scanner {
    rules: BenchRules,
    last: Option<(String, Duration)>,
}

impl Scanner {
    /// A scanner that sends what the lab says.
    pub fn new(rules: &BenchRules) -> Self {
        Self {
            rules: rules.clone(),
            last: None,
        }
    }

    /// Takes a line in that ended at `at`, by a clock that never goes back.
    pub fn take(&mut self, line: &str, at: Duration) -> Scan {
        let text = cleaned(line, &self.rules);
        if text.is_empty() {
            return Scan::Nothing;
        }
        let same = self.last.as_ref().filter(|(last, _)| *last == text);
        let again = same.is_some_and(|(_, before)| at.saturating_sub(*before) < AGAIN);
        self.last = Some((text.clone(), at));
        if again {
            return Scan::Again(text);
        }
        if !text.starts_with('%') {
            return Scan::Serial(text);
        }
        Card::of(&text).map_or(Scan::NoCard(text), Scan::Card)
    }

    /// Forgets the last scan: the next one counts, whatever it is.
    pub fn forget(&mut self) {
        self.last = None;
    }
}

/// The line without control characters, blanks at its ends, and what the scanner puts around a code.
pub fn cleaned(line: &str, rules: &BenchRules) -> String {
    let seen: String = line.chars().filter(|letter| !letter.is_control()).collect();
    let seen = normal(seen.trim());
    let inside = seen.strip_prefix(&rules.scan_prefix).unwrap_or(&seen);
    let inside = inside.strip_suffix(&rules.scan_suffix).unwrap_or(inside);
    inside.trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(milliseconds: u64) -> Duration {
        Duration::from_millis(milliseconds)
    }

    #[test]
    fn t60_control_keys_are_dropped_and_what_the_scanner_adds_is_taken_off() {
        let rules = BenchRules {
            scan_prefix: "]C1".to_owned(),
            scan_suffix: "*".to_owned(),
            ..BenchRules::default()
        };
        for (line, serial) in [
            ("R-403/2", "R-403/2"),
            ("\u{2}R-403/2\u{3}", "R-403/2"),
            ("]C1R-403\u{1d}/2*", "R-403/2"),
            ("  R-403/2 \t", "R-403/2"),
            ("]C1", ""),
            ("e\u{301}-1", "é-1"),
        ] {
            assert_eq!(cleaned(line, &rules), serial, "{line:?}");
        }
        assert_eq!(
            Scanner::new(&rules).take("\u{1d}\r\n", at(0)),
            Scan::Nothing
        );
    }

    #[test]
    fn t65_the_same_serial_counts_again_after_two_seconds_and_not_before() {
        let mut scanner = Scanner::default();
        let serial = || Scan::Serial("A-1".to_owned());
        assert_eq!(scanner.take("A-1", at(0)), serial());
        assert_eq!(scanner.take("A-1", at(1999)), Scan::Again("A-1".to_owned()));
        // A scanner that repeats itself stays without effect for as long as it does.
        assert_eq!(scanner.take("A-1", at(3998)), Scan::Again("A-1".to_owned()));
        assert_eq!(scanner.take("A-1", at(5998)), serial());
        assert_eq!(
            scanner.take("A-2", at(5999)),
            Scan::Serial("A-2".to_owned())
        );
        assert_eq!(scanner.take("A-1", at(6000)), serial());
        scanner.forget();
        assert_eq!(scanner.take("A-1", at(6001)), serial());
    }

    #[test]
    fn t63_every_card_code_is_known_in_either_case_and_no_serial_is_one() {
        let card = |line: &str| Scanner::default().take(line, at(0));
        for (code, own, ..) in Card::PLAIN {
            assert_eq!(card(code), Scan::Card(own.clone()));
            assert_eq!(card(&code.to_lowercase()), Scan::Card(own));
            assert!(crate::domain::text::id_fault(code).is_some(), "{code}");
        }
        let name = |text: &str| text.to_owned();
        assert_eq!(
            card("%WHO-Ana Reis"),
            Scan::Card(Card::Who(name("Ana Reis")))
        );
        assert_eq!(
            card("%why-water inside"),
            Scan::Card(Card::Why(name("water inside")))
        );
        for wrong in ["%", "%PAS", "%WHO-", "%WHO- ", "%WHÖ-x", "%PASS R-1"] {
            assert_eq!(card(wrong), Scan::NoCard(wrong.trim().to_owned()));
        }
        assert_eq!(card("PASS"), Scan::Serial(name("PASS")));
    }
}
