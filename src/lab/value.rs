//! TOML with places: tables and values that know their file, line and column, and getters that note a
//! fault instead of failing.

use super::fault::{Fault, nearest};
use super::names::Names;
use super::text::{parse_clock, parse_date, parse_duration, parse_instant, parse_rest};
use crate::domain::lab::Rest;
use crate::domain::text::{NAME_MAX, id_fault, line_fault, normal, shown};
use crate::domain::{Minute, Minutes, Zone};
use chrono::{NaiveDate, NaiveTime};
use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Faults and warnings found so far, over all files.
#[derive(Default)]
pub(super) struct Sink {
    faults: RefCell<Vec<Fault>>,
    warnings: RefCell<Vec<Fault>>,
}

impl Sink {
    pub(super) fn fault(&self, fault: Fault) {
        self.faults.borrow_mut().push(fault);
    }

    pub(super) fn warn(&self, warning: Fault) {
        self.warnings.borrow_mut().push(warning);
    }

    /// All faults, then all warnings, each sorted by file and place.
    pub(super) fn into_sorted(self) -> (Vec<Fault>, Vec<Fault>) {
        let sorted = |cell: RefCell<Vec<Fault>>| {
            let mut all = cell.into_inner();
            all.sort();
            all.dedup();
            all
        };
        (sorted(self.faults), sorted(self.warnings))
    }
}

/// A file's name and text.
pub(super) struct Doc {
    pub(super) file: String,
    pub(super) text: String,
    /// The file as it lies on disk.
    pub(super) bytes: Vec<u8>,
    /// Byte offset at which each line begins.
    lines: Vec<usize>,
}

impl Doc {
    pub(super) fn new(file: &str, text: String) -> Self {
        let breaks = text.match_indices('\n').map(|(ix, _)| ix + 1);
        let lines = std::iter::once(0).chain(breaks).collect();
        Self {
            file: file.to_owned(),
            text,
            bytes: Vec::new(),
            lines,
        }
    }

    /// Line and column, in characters from 1, of a byte offset.
    pub(super) fn place(&self, offset: usize) -> (usize, usize) {
        let offset = offset.min(self.text.len());
        let line = self.lines.partition_point(|start| *start <= offset);
        let start = self.lines[line - 1];
        let before = self.text.get(start..offset).unwrap_or("");
        (line, before.chars().count() + 1)
    }
}

/// What is optional is there, but has a fault, which is noted.
#[derive(Debug)]
pub(super) struct Faulty;

/// Where a thing stands: for faults about it.
#[derive(Clone, Copy)]
pub(super) struct Site<'a> {
    pub(super) doc: &'a Doc,
    pub(super) sink: &'a Sink,
    offset: usize,
}

impl<'a> Site<'a> {
    pub(super) fn start(doc: &'a Doc, sink: &'a Sink) -> Self {
        Self {
            doc,
            sink,
            offset: 0,
        }
    }

    pub(super) fn at(self, offset: usize) -> Self {
        Self { offset, ..self }
    }

    pub(super) fn line(self) -> usize {
        self.doc.place(self.offset).0
    }

    fn build(self, what: &str, why: &str, nearest: Option<String>) -> Fault {
        let (line, column) = self.doc.place(self.offset);
        let file = shown(&self.doc.file);
        Fault {
            file,
            line,
            column,
            what: shown(what),
            why: shown(why),
            nearest,
        }
    }

    pub(super) fn fault(self, what: &str, why: &str) {
        self.sink.fault(self.build(what, why, None));
    }

    pub(super) fn fault_near(self, what: &str, why: &str, nearest: Option<String>) {
        self.sink.fault(self.build(what, why, nearest));
    }

    pub(super) fn warn(self, what: &str, why: &str) {
        self.sink.warn(self.build(what, why, None));
    }
}

/// A table with its place and what people call it.
#[derive(Clone)]
pub(super) struct Table<'a> {
    keys: &'a DeTable<'a>,
    pub(super) site: Site<'a>,
    pub(super) what: String,
}

/// A value with its place and what people call it.
#[derive(Clone)]
pub(super) struct Value<'a> {
    found: &'a DeValue<'a>,
    pub(super) site: Site<'a>,
    pub(super) what: String,
}

impl<'a> Table<'a> {
    pub(super) fn root(table: &'a Spanned<DeTable<'a>>, site: Site<'a>) -> Self {
        Self {
            keys: table.get_ref(),
            site,
            what: site.doc.file.clone(),
        }
    }

    /// Notes every field that is not in `known`.
    pub(super) fn only(&self, known: &[&str]) {
        for (key, _) in self.keys {
            let name: &str = key.get_ref();
            if !known.contains(&name) {
                let site = self.site.at(key.span().start);
                let what = format!("{}, {name}", self.what);
                site.fault_near(&what, "unknown field", nearest(name, known.iter().copied()));
            }
        }
    }

    pub(super) fn get(&self, key: &str) -> Option<Value<'a>> {
        let value = self.keys.get(key)?;
        let what = format!("{}, {key}", self.what);
        Some(Value {
            found: value.get_ref(),
            site: self.site.at(value.span().start),
            what,
        })
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.keys.contains_key(key)
    }

    /// The value, or a fault that it is missing.
    pub(super) fn need(&self, key: &str) -> Option<Value<'a>> {
        let value = self.get(key);
        if value.is_none() {
            self.site.fault(&self.what, &format!("`{key}` is missing"));
        }
        value
    }

    /// What an optional field says: nothing where it is absent, a value where it is good.
    pub(super) fn maybe<T>(
        &self,
        key: &str,
        read: impl FnOnce(&Value<'a>) -> Option<T>,
    ) -> Result<Option<T>, Faulty> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => read(&value).map(Some).ok_or(Faulty),
        }
    }

    /// The tables of an array of tables; none where the key is missing.
    pub(super) fn tables(&self, key: &str) -> Vec<Table<'a>> {
        let Some(value) = self.get(key) else {
            return Vec::new();
        };
        let Some(values) = value.list() else {
            return Vec::new();
        };
        values
            .into_iter()
            .filter_map(|value| value.table(key))
            .collect()
    }

    /// All entries with a good id as key, in the order of their keys; every other key is noted.
    pub(super) fn entries(&self) -> Vec<(String, Value<'a>)> {
        let mut entries = Vec::new();
        for (key, value) in self.keys {
            let name = normal(key.get_ref());
            let what = format!("{}, {name}", self.what);
            if let Some(why) = id_fault(&name) {
                self.site.at(key.span().start).fault(&what, &why);
                continue;
            }
            let site = self.site.at(value.span().start);
            let found = value.get_ref();
            entries.push((name, Value { found, site, what }));
        }
        entries
    }

    /// Reads `id` and adds it to `names`; from then on the table is called `kind id`. `None` where the
    /// id is missing, faulty or taken.
    pub(super) fn identify(&mut self, kind: &str, names: &mut Names) -> Option<String> {
        kind.clone_into(&mut self.what);
        let value = self.need("id")?;
        let Some(id) = value.id() else {
            if let Some(text) = value.found.as_str() {
                names.note_faulty(normal(text));
            }
            return None;
        };
        self.what = format!("{kind} {id}");
        names.add(kind, &id, value.site).then_some(id)
    }
}

impl<'a> Value<'a> {
    pub(super) fn fault(&self, why: &str) {
        self.site.fault(&self.what, why);
    }

    fn wrong(&self, wanted: &str) {
        self.fault(&format!("{wanted} is asked, not {}", kind_of(self.found)));
    }

    pub(super) fn is_text(&self) -> bool {
        self.found.is_str()
    }

    pub(super) fn text(&self) -> Option<&'a str> {
        let text = self.found.as_str();
        if text.is_none() {
            let quotes = matches!(self.found, DeValue::Datetime(_));
            self.wrong(if quotes { "text in quotes" } else { "text" });
        }
        text
    }

    /// An id or a serial.
    pub(super) fn id(&self) -> Option<String> {
        let id = normal(self.text()?);
        match id_fault(&id) {
            None => Some(id),
            Some(why) => {
                self.fault(&why);
                None
            }
        }
    }

    /// A line of text for people.
    pub(super) fn name(&self) -> Option<String> {
        let name = normal(self.text()?);
        match line_fault(&name, NAME_MAX) {
            None => Some(name),
            Some(why) => {
                self.fault(&why);
                None
            }
        }
    }

    pub(super) fn truth(&self) -> Option<bool> {
        let truth = self.found.as_bool();
        if truth.is_none() {
            self.wrong("true or false");
        }
        truth
    }

    /// A whole number in `range`.
    pub(super) fn whole(&self, range: RangeInclusive<i64>) -> Option<i64> {
        let DeValue::Integer(number) = self.found else {
            self.wrong("a whole number");
            return None;
        };
        let parsed = i64::from_str_radix(number.as_str(), number.radix()).ok();
        let allowed = parsed.filter(|value| range.contains(value));
        if allowed.is_none() {
            self.fault(&format!("{} to {} is allowed", range.start(), range.end()));
        }
        allowed
    }

    /// A finite number.
    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers too large to be exact are refused"
    )]
    pub(super) fn number(&self) -> Option<f64> {
        let parsed = match self.found {
            DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
                .ok()
                .map(|value| value as f64),
            DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
            _ => {
                self.wrong("a number");
                return None;
            }
        };
        let sane = parsed.filter(|value| value.is_finite() && value.abs() <= 1e12);
        if sane.is_none() {
            self.fault("it is no finite number below a million million");
        }
        sane
    }

    /// A finite number above zero.
    pub(super) fn rate(&self) -> Option<f64> {
        let rate = self.number()?;
        if rate <= 0.0 {
            self.fault("it must be above zero");
            return None;
        }
        Some(rate)
    }

    pub(super) fn list(&self) -> Option<Vec<Value<'a>>> {
        let DeValue::Array(values) = self.found else {
            self.wrong("a list");
            return None;
        };
        let value = |value: &'a Spanned<DeValue<'a>>| {
            let site = self.site.at(value.span().start);
            Value {
                found: value.get_ref(),
                site,
                what: self.what.clone(),
            }
        };
        Some(values.iter().map(value).collect())
    }

    pub(super) fn table(&self, what: &str) -> Option<Table<'a>> {
        let DeValue::Table(table) = self.found else {
            self.wrong("a table");
            return None;
        };
        Some(Table {
            keys: table,
            site: self.site,
            what: what.to_owned(),
        })
    }

    /// The same, called what the value is called.
    pub(super) fn inner_table(&self) -> Option<Table<'a>> {
        let what = self.what.clone();
        self.table(&what)
    }

    /// One of a few words.
    pub(super) fn word(&self, words: &[&'static str]) -> Option<&'static str> {
        let text = self.text()?;
        let found = words.iter().find(|word| **word == text);
        if found.is_none() {
            let why = format!("`{text}` is none of {}", words.join(", "));
            self.site
                .fault_near(&self.what, &why, nearest(text, words.iter().copied()));
        }
        found.copied()
    }

    fn parsed<T>(&self, parse: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        match parse(self.text()?) {
            Ok(value) => Some(value),
            Err(why) => {
                self.fault(&why);
                None
            }
        }
    }

    /// A duration of zero or more.
    pub(super) fn duration(&self) -> Option<Minutes> {
        self.parsed(parse_duration)
    }

    /// A duration above zero.
    pub(super) fn length(&self) -> Option<Minutes> {
        let length = self.duration()?;
        if length == Minutes::ZERO {
            self.fault("a length must be above zero");
            return None;
        }
        Some(length)
    }

    pub(super) fn rest(&self) -> Option<Rest> {
        self.parsed(parse_rest)
    }

    pub(super) fn instant(&self, zone: Option<&Zone>) -> Option<Minute> {
        self.parsed(|text| parse_instant(text, zone))
    }

    pub(super) fn date(&self) -> Option<NaiveDate> {
        self.parsed(parse_date)
    }

    pub(super) fn clock(&self) -> Option<NaiveTime> {
        self.parsed(parse_clock)
    }

    /// A name that must be in `names`; any good id where they are not known.
    pub(super) fn reference(&self, kind: &str, names: Option<&Names>) -> Option<String> {
        let Some(names) = names else {
            return self.id();
        };
        let name = normal(self.text()?);
        if names.has(&name) {
            return Some(name);
        }
        self.unknown(kind, &name, names.iter());
        None
    }

    /// Notes that there is no such name.
    pub(super) fn unknown<'n>(
        &self,
        kind: &str,
        name: &str,
        known: impl IntoIterator<Item = &'n str>,
    ) {
        let why = format!("there is no {kind} `{name}`");
        self.site.fault_near(&self.what, &why, nearest(name, known));
    }
}

fn kind_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date without quotes",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// Parses a document; every syntax fault is noted. `None` where there was one.
pub(super) fn parse<'a>(doc: &'a Doc, sink: &'a Sink) -> Option<Spanned<DeTable<'a>>> {
    let (table, errors) = DeTable::parse_recoverable(&doc.text);
    for error in &errors {
        let span: Range<usize> = error.span().unwrap_or(0..0);
        let site = Site::start(doc, sink).at(span.start);
        let message = error.message().replace('\n', ", ");
        site.fault("syntax", &message);
    }
    errors.is_empty().then_some(table)
}
