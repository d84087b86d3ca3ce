//! Bookings as a calendar (iCalendar, RFC 5545): what a calendar program takes in.
//!
//! Times are UTC, so that no zone data travels along. Lines are folded at 75 octets (section 3.1), texts
//! escaped (3.3.11), and every entry has an id of its own that stays when its booking moves.

use crate::domain::text::shown;
use crate::domain::zone::civil;
use crate::domain::{Minute, Span};

/// Octets of a line, its end not counted (RFC 5545, 3.1).
const LINE_MAX: usize = 75;

/// An entry of a calendar.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its id: letters, digits, `-` and `@` only; the same whenever the same thing is written.
    pub uid: String,
    /// When; of no length is a moment.
    pub span: Span,
    /// What, in a line.
    pub summary: String,
    /// Where.
    pub location: String,
    /// More of it, a sentence a line.
    pub description: Vec<String>,
}

/// A calendar.
#[derive(Clone, Debug)]
pub struct Calendar<'c> {
    /// What people call it.
    pub name: &'c str,
    /// Program and version, as the product id has it.
    pub program: &'c str,
    /// The end of the ledger's chain that it was made from, in one line.
    pub head: &'c str,
    /// When it was written, in milliseconds since 1970-01-01T00:00Z.
    pub written_ms: i64,
    /// Rises with every change of the bookings.
    pub sequence: u64,
    /// Its entries.
    pub entries: &'c [Entry],
}

impl Calendar<'_> {
    /// The calendar as text.
    pub fn text(&self) -> String {
        let stamp = seconds(self.written_ms);
        let mut text = String::new();
        put(&mut text, "BEGIN:VCALENDAR");
        put(&mut text, "VERSION:2.0");
        put(
            &mut text,
            &format!("PRODID:-//{}//EN", escaped(self.program)),
        );
        put(&mut text, "CALSCALE:GREGORIAN");
        put(&mut text, &format!("X-WR-CALNAME:{}", escaped(self.name)));
        put(
            &mut text,
            &format!("X-RIGDAY-LEDGER:{}", escaped(self.head)),
        );
        for entry in self.entries {
            self.entry(&mut text, entry, &stamp);
        }
        put(&mut text, "END:VCALENDAR");
        text
    }

    fn entry(&self, text: &mut String, entry: &Entry, stamp: &str) {
        put(text, "BEGIN:VEVENT");
        put(text, &format!("UID:{}", entry.uid));
        put(text, &format!("DTSTAMP:{stamp}"));
        put(text, &format!("DTSTART:{}", instant(entry.span.start)));
        if !entry.span.is_empty() {
            put(text, &format!("DTEND:{}", instant(entry.span.end)));
        }
        put(text, &format!("SEQUENCE:{}", self.sequence));
        put(text, &format!("SUMMARY:{}", escaped(&entry.summary)));
        put(text, &format!("LOCATION:{}", escaped(&entry.location)));
        let description: Vec<String> = entry.description.iter().map(|own| escaped(own)).collect();
        if !description.is_empty() {
            put(text, &format!("DESCRIPTION:{}", description.join("\\n")));
        }
        put(text, "END:VEVENT");
    }
}

/// A whole minute in UTC, as `20270322T065000Z`.
fn instant(at: Minute) -> String {
    civil(at).format("%Y%m%dT%H%M%SZ").to_string()
}

/// A moment in UTC to the second.
fn seconds(ms: i64) -> String {
    let minute = Minute::new(ms.div_euclid(60_000));
    let second = ms.rem_euclid(60_000) / 1000;
    format!("{}{second:02}Z", civil(minute).format("%Y%m%dT%H%M"))
}

/// A text with what the format reads as its own escaped (3.3.11), and nothing hidden.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for letter in shown(text).chars() {
        if matches!(letter, '\\' | ';' | ',') {
            out.push('\\');
        }
        out.push(letter);
    }
    out
}

/// Writes a content line: folded where it is too long, between letters and never inside one.
fn put(text: &mut String, line: &str) {
    let mut octets = 0;
    for letter in line.chars() {
        if octets + letter.len_utf8() > LINE_MAX {
            text.push_str("\r\n ");
            octets = 1;
        }
        text.push(letter);
        octets += letter.len_utf8();
    }
    text.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::known::utc;

    fn calendar(entries: &[Entry]) -> String {
        Calendar {
            name: "Lab; one, two",
            program: "rigday 1",
            head: "rigday 00 1 00",
            written_ms: utc("2027-03-22T06:50").get() * 60_000 + 7_999,
            sequence: 3,
            entries,
        }
        .text()
    }

    #[test]
    fn a_moment_has_no_end_and_a_stretch_has_one() {
        let entry = |until: &str| Entry {
            uid: "a@rigday".to_owned(),
            span: Span::new(utc("2027-03-28T00:59"), utc(until)),
            summary: "a\\b, c; d".to_owned(),
            location: "rig\u{202e}".to_owned(),
            description: vec!["one".to_owned(), "two,".to_owned()],
        };
        let text = calendar(&[entry("2027-03-28T00:59"), entry("2027-03-28T01:01")]);
        assert_eq!(text.matches("DTEND:").count(), 1);
        for line in [
            "X-WR-CALNAME:Lab\\; one\\, two\r\n",
            "DTSTAMP:20270322T065007Z\r\n",
            "DTSTART:20270328T005900Z\r\n",
            "DTEND:20270328T010100Z\r\n",
            "SUMMARY:a\\\\b\\, c\\; d\r\n",
            "LOCATION:rig?\r\n",
            "DESCRIPTION:one\\ntwo\\,\r\n",
        ] {
            assert!(text.contains(line), "{line} is not in\n{text}");
        }
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    }

    #[test]
    fn long_lines_are_folded_between_letters_at_75_octets() {
        for filler in ["x", "ü", "漢", "🧪"] {
            let mut text = String::new();
            let line = format!("SUMMARY:{}", filler.repeat(100));
            put(&mut text, &line);
            assert!(
                text.split("\r\n").all(|piece| piece.len() <= LINE_MAX),
                "{text}"
            );
            assert_eq!(text.replace("\r\n ", ""), format!("{line}\r\n"));
        }
    }
}
