//! The user's files, read with places: a fault names file, line and key, and the rest still counts.

use crate::domain::text::shown;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Something in a user's file that does not count, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The file.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The key that it is about; empty where the file cannot be read at all.
    pub name: String,
    /// Why, and what holds instead.
    pub why: String,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}: ", shown(&self.file), self.line)?;
        if !self.name.is_empty() {
            write!(f, "{}: ", shown(&self.name))?;
        }
        f.write_str(&self.why)
    }
}

/// A user's file as it was read.
pub struct File<'t> {
    name: &'t str,
    text: &'t str,
}

/// One value of a file, with its key and where that stands.
pub struct Value<'a> {
    /// The key.
    pub name: &'a str,
    /// Its line, from 1.
    pub line: usize,
    what: &'a DeValue<'a>,
}

impl<'t> File<'t> {
    /// A file of that name with that text.
    pub const fn new(name: &'t str, text: &'t str) -> Self {
        Self { name, text }
    }

    /// Its table.
    ///
    /// # Errors
    /// Where it is no TOML.
    pub fn table(&self) -> Result<DeTable<'t>, Fault> {
        let read = DeTable::parse(self.text).map(Spanned::into_inner);
        read.map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let why = format!("{}; the whole file is passed over", error.message());
            self.fault(self.line(at), "", &why)
        })
    }

    /// A fault in it.
    pub fn fault(&self, line: usize, name: &str, why: &str) -> Fault {
        Fault {
            file: self.name.to_owned(),
            line,
            name: name.to_owned(),
            why: why.to_owned(),
        }
    }

    /// The values of a table, in the order of the file.
    pub fn values<'a>(&self, table: &'a DeTable<'t>) -> Vec<Value<'a>> {
        let mut all: Vec<Value<'a>> = table
            .iter()
            .map(|(key, value)| Value {
                name: key.get_ref(),
                line: self.line(key.span().start),
                what: value.get_ref(),
            })
            .collect();
        all.sort_by_key(|own| own.line);
        all
    }

    fn line(&self, offset: usize) -> usize {
        let before = self.text.get(..offset).unwrap_or(self.text);
        before.matches('\n').count() + 1
    }
}

impl<'a> Value<'a> {
    /// The table, where it is one.
    pub fn table(&self) -> Option<&'a DeTable<'a>> {
        self.what.as_table()
    }

    /// The text, where it is one.
    pub fn text(&self) -> Option<&'a str> {
        self.what.as_str()
    }

    /// The truth value, where it is one.
    pub fn is_true(&self) -> Option<bool> {
        self.what.as_bool()
    }

    /// The texts, where it is a text or a list of texts.
    pub fn texts(&self) -> Option<Vec<&'a str>> {
        if let Some(text) = self.text() {
            return Some(vec![text]);
        }
        let list = self.what.as_array()?;
        list.iter().map(|own| own.get_ref().as_str()).collect()
    }
}
