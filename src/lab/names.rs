//! The names that a file gives, for finding those given twice and those that nobody gave.

use super::value::Site;
use std::collections::{BTreeMap, BTreeSet};

/// Names of one kind that stand in a file, those of faulty entries too: a reference to an entry that has
/// a fault of its own is no second fault.
#[derive(Default)]
pub(super) struct Names {
    /// The line of each name.
    lines: BTreeMap<String, usize>,
    /// The first name, and its line, of those that differ in upper and lower case alone.
    folded: BTreeMap<String, (String, usize)>,
    /// Names that are no good ids.
    faulty: BTreeSet<String>,
}

/// What a name is to those before it.
enum Seen {
    New,
    /// It differs from this one, in this line, in upper and lower case alone.
    Like(String, usize),
    /// It stands in this line already.
    Taken(usize),
}

impl Names {
    /// True where the name is new; a fault where it is taken, a warning where it looks like another.
    pub(super) fn add(&mut self, kind: &str, name: &str, site: Site<'_>) -> bool {
        let what = format!("{kind} {name}");
        match self.insert(name, site.line()) {
            Seen::New => true,
            Seen::Like(known, line) => {
                site.warn(&what, &format!("looks like {known} in line {line}"));
                true
            }
            Seen::Taken(line) => {
                site.fault(&what, &format!("the name is taken in line {line}"));
                false
            }
        }
    }

    /// Adds names that stand at one place; true where all are new. Only the first that is taken is a
    /// fault, for the others are taken by the same cause.
    pub(super) fn add_all(&mut self, kind: &str, names: &[String], site: Site<'_>) -> bool {
        let line = site.line();
        let mut first = None;
        for name in names {
            if let Seen::Taken(line) = self.insert(name, line) {
                first = first.or(Some((name, line)));
            }
        }
        if let Some((name, line)) = first {
            let why = format!("the name is taken in line {line}");
            site.fault(&format!("{kind} {name}"), &why);
        }
        first.is_none()
    }

    fn insert(&mut self, name: &str, line: usize) -> Seen {
        if let Some(line) = self.lines.get(name) {
            return Seen::Taken(*line);
        }
        self.lines.insert(name.to_owned(), line);
        let folded = name.to_lowercase();
        if let Some((known, line)) = self.folded.get(&folded) {
            return Seen::Like(known.clone(), *line);
        }
        self.folded.insert(folded, (name.to_owned(), line));
        Seen::New
    }

    /// Makes a name from elsewhere known, which is not compared with those of the file.
    pub(super) fn note(&mut self, name: &str) {
        self.lines.entry(name.to_owned()).or_default();
    }

    /// Makes a name known that is no good id.
    pub(super) fn note_faulty(&mut self, name: String) {
        self.faulty.insert(name);
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.lines.contains_key(name) || self.faulty.contains(name)
    }

    /// Those that may be used, sorted.
    pub(super) fn iter(&self) -> impl Iterator<Item = &str> {
        self.lines.keys().map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::super::value::{Doc, Sink};
    use super::*;

    #[test]
    fn a_name_is_taken_by_its_equal_and_warned_of_by_its_like() {
        let sink = Sink::default();
        let doc = Doc::new("lab.toml", "\n\n\n\n".to_owned());
        let site = |line: usize| Site::start(&doc, &sink).at(line - 1);
        let mut names = Names::default();
        assert!(names.add("rig", "A", site(1)));
        assert!(
            names.add("rig", "a", site(2)),
            "a look-alike is a name of its own"
        );
        assert!(!names.add("rig", "a", site(3)));
        assert!(!names.add("rig", "A", site(4)));
        let (faults, warnings) = sink.into_sorted();
        let texts = |all: &[super::super::Fault]| -> Vec<String> {
            all.iter().map(ToString::to_string).collect()
        };
        assert_eq!(
            texts(&warnings),
            ["lab.toml:2:1: rig a: looks like A in line 1"]
        );
        assert_eq!(
            texts(&faults),
            [
                "lab.toml:3:1: rig a: the name is taken in line 2",
                "lab.toml:4:1: rig A: the name is taken in line 1",
            ]
        );
    }

    #[test]
    fn many_names_at_one_place_are_one_fault() {
        let sink = Sink::default();
        let doc = Doc::new("requests.toml", String::new());
        let site = Site::start(&doc, &sink);
        let mut names = Names::default();
        let units = ["R/1", "R/2"].map(str::to_owned);
        assert!(names.add_all("unit", &units, site));
        assert!(!names.add_all("unit", &units, site));
        assert_eq!(sink.into_sorted().0.len(), 1);
    }
}
