//! The names that a file gives, for finding those given twice and those that nobody gave.

use super::value::Site;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Names of one kind that stand in a file, those of faulty entries too: a reference to an entry that has
/// a fault of its own is no second fault.
#[derive(Default)]
pub(super) struct Names {
    /// The place of each name.
    places: BTreeMap<String, Place>,
    /// The first name, and its place, of those that look alike.
    alike: BTreeMap<String, (String, Place)>,
    /// Names that are no good ids.
    faulty: BTreeSet<String>,
}

/// Where a name stands.
#[derive(Clone, Default)]
struct Place {
    file: Rc<str>,
    line: usize,
}

impl Place {
    fn of(site: Site<'_>) -> Self {
        Self {
            file: Rc::from(site.doc.file.as_str()),
            line: site.line(),
        }
    }

    /// The place as seen from a file: its own lines need no name.
    fn from(&self, site: Site<'_>) -> String {
        if *self.file == *site.doc.file {
            format!("line {}", self.line)
        } else {
            format!("line {} of {}", self.line, self.file)
        }
    }
}

/// What a name is to those before it.
enum Seen {
    New,
    /// It looks like this one, which stands there.
    Like(String, Place),
    /// It stands there already.
    Taken(Place),
}

/// What a name looks like: the same for those that people take for each other, such as `l`, `1` and `I`, or
/// letters of two alphabets with one shape.
fn look(name: &str) -> String {
    unicode_security::skeleton(&name.to_lowercase()).collect()
}

impl Names {
    /// True where the name is new; a fault where it is taken, a warning where it looks like another.
    pub(super) fn add(&mut self, kind: &str, name: &str, site: Site<'_>) -> bool {
        let what = format!("{kind} {name}");
        match self.insert(name, &Place::of(site)) {
            Seen::New => true,
            Seen::Like(known, place) => {
                site.warn(
                    &what,
                    &format!("looks like {known} in {}", place.from(site)),
                );
                true
            }
            Seen::Taken(place) => {
                site.fault(&what, &format!("the name is taken in {}", place.from(site)));
                false
            }
        }
    }

    /// Adds names that stand at one place; true where all are new. Only the first that is taken is a
    /// fault, for the others are taken by the same cause.
    pub(super) fn add_all(&mut self, kind: &str, names: &[String], site: Site<'_>) -> bool {
        let own = Place::of(site);
        let mut first = None;
        for name in names {
            if let Seen::Taken(place) = self.insert(name, &own) {
                first = first.or(Some((name, place)));
            }
        }
        let none_taken = first.is_none();
        if let Some((name, place)) = first {
            let why = format!("the name is taken in {}", place.from(site));
            site.fault(&format!("{kind} {name}"), &why);
        }
        none_taken
    }

    fn insert(&mut self, name: &str, own: &Place) -> Seen {
        if let Some(place) = self.places.get(name) {
            return Seen::Taken(place.clone());
        }
        self.places.insert(name.to_owned(), own.clone());
        let look = look(name);
        if let Some((known, place)) = self.alike.get(&look) {
            return Seen::Like(known.clone(), place.clone());
        }
        self.alike.insert(look, (name.to_owned(), own.clone()));
        Seen::New
    }

    /// Makes a name from elsewhere known, which is not compared with those of the file.
    pub(super) fn note(&mut self, name: &str) {
        self.places.entry(name.to_owned()).or_default();
    }

    /// Makes a name known that is no good id.
    pub(super) fn note_faulty(&mut self, name: String) {
        self.faulty.insert(name);
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.places.contains_key(name) || self.faulty.contains(name)
    }

    /// Those that may be used, sorted.
    pub(super) fn iter(&self) -> impl Iterator<Item = &str> {
        self.places.keys().map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lab::value::{Doc, Sink};

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
        let texts = |all: &[crate::lab::Fault]| -> Vec<String> {
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
