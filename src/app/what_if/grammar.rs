//! Changes as lines: read from the words a person types, and put in words again.

use super::{Change, Days};
use crate::app::dates::Dates;
use crate::app::when::Asked;
use crate::domain::lab::Pin;
use crate::domain::text::shown;
use crate::domain::{CrewId, Minute, RequestId, RigId, SequenceId, Span, UnitId, Zone};
use crate::lab::{nearest, offset_text, parse_clock, parse_date, parse_duration};
use chrono::Weekday;
use std::fmt::Display;

/// Every form of a change with what it means.
pub const FORMS: [(&str, &str); 14] = [
    ("rig-down RIG FROM TO", "the rig is out of use"),
    ("rig-up RIG AT", "its outage at that time ends then"),
    ("rig-copy RIG NEW", "one more rig like it"),
    ("positions RIG N", "it has so many positions"),
    (
        "calibration RIG DATE|none",
        "its calibration is due on another date",
    ),
    (
        "shift CREW DAY FROM-TO N",
        "N more people; DAY is mon to sun, or a date",
    ),
    (
        "rush ID SEQUENCE N [due AT] [ready AT] [priority P]",
        "one more request of N units; priority 9 if none is given",
    ),
    ("drop REQUEST", "the request is dropped"),
    ("priority REQUEST P", "it has another priority, 1 to 9"),
    ("due REQUEST AT|none", "it is due at another time"),
    ("ready REQUEST AT", "it is ready at another time"),
    (
        "pin UNIT STEP RIG AT",
        "the step loads on that rig at that time",
    ),
    ("unpin UNIT STEP", "a pin is taken away"),
    ("horizon DURATION", "the plan may reach so far"),
];

impl Change {
    /// Reads one change from a line such as `rig-down drop-1 2027-03-23T06:00 2027-03-24T18:00`. A name or
    /// a time with spaces stands in double quotes.
    ///
    /// # Errors
    /// What cannot be read, why, and the form that is asked for.
    pub fn parse(line: &str, asked: &Asked) -> Result<Self, String> {
        let words = split(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let Some((verb, rest)) = words.split_first() else {
            return Err("a change is missing".to_owned());
        };
        let Some(form) = form_of(verb) else {
            let verbs = FORMS.iter().map(|(form, _)| verb_of(form));
            let near = nearest(verb, verbs.clone())
                .map_or(String::new(), |near| format!("; nearest: {near}"));
            let all: Vec<&str> = verbs.collect();
            return Err(format!(
                "`{}` is no change{near}; changes are {}",
                shown(verb),
                all.join(", ")
            ));
        };
        Reader {
            words: rest,
            form,
            line,
            asked,
        }
        .change(verb)
    }

    /// True where a line begins like a change.
    pub fn is_verb(word: &str) -> bool {
        form_of(word).is_some()
    }

    /// The line that reads as this change.
    pub fn text(&self, zone: &Zone) -> String {
        let at = |at: Minute| offset_text(zone, at);
        match self {
            Self::RigDown { rig, span } => {
                format!(
                    "rig-down {} {} {}",
                    named(rig),
                    at(span.start),
                    at(span.end)
                )
            }
            Self::RigUp { rig, at: back } => format!("rig-up {} {}", named(rig), at(*back)),
            Self::RigCopy { rig, copy } => format!("rig-copy {} {}", named(rig), named(copy)),
            Self::Positions { rig, positions } => format!("positions {} {positions}", named(rig)),
            Self::Calibration { rig, due } => {
                let due = due.map_or("none".to_owned(), |due| due.to_string());
                format!("calibration {} {due}", named(rig))
            }
            Self::Shift {
                crew,
                days,
                from,
                to,
                people,
            } => format!(
                "shift {} {} {}-{} {people}",
                named(crew),
                day_word(*days),
                from.format("%H:%M"),
                to.format("%H:%M")
            ),
            Self::Rush {
                request,
                sequence,
                units,
                ready,
                due,
                priority,
            } => {
                let (request, sequence) = (named(request), named(sequence));
                let due = due.map_or(String::new(), |due| format!(" due {}", at(due)));
                let ready = ready.map_or(String::new(), |own| format!(" ready {}", at(own)));
                format!("rush {request} {sequence} {units}{due}{ready} priority {priority}")
            }
            Self::Drop { request } => format!("drop {}", named(request)),
            Self::Priority { request, priority } => {
                format!("priority {} {priority}", named(request))
            }
            Self::Due { request, due } => {
                let due = due.map_or("none".to_owned(), at);
                format!("due {} {due}", named(request))
            }
            Self::Ready { request, ready } => format!("ready {} {}", named(request), at(*ready)),
            Self::Pin(pin) => {
                let (unit, rig) = (named(&pin.unit), named(&pin.rig));
                format!("pin {unit} {} {rig} {}", pin.step, at(pin.start))
            }
            Self::Unpin { unit, step } => format!("unpin {} {step}", named(unit)),
            Self::Horizon(horizon) => format!("horizon {horizon}"),
        }
    }

    /// The change in words for people.
    pub fn words(&self, zone: &Zone) -> String {
        let at = |at: Minute| Dates::default().short(zone.local(at));
        match self {
            Self::RigDown { rig, span } => {
                format!("{rig} down from {} to {}", at(span.start), at(span.end))
            }
            Self::RigUp { rig, at: back } => format!("{rig} back at {}", at(*back)),
            Self::RigCopy { rig, copy } => format!("one more rig like {rig}, called {copy}"),
            Self::Positions { rig, positions: 1 } => format!("{rig} with 1 position"),
            Self::Positions { rig, positions } => format!("{rig} with {positions} positions"),
            Self::Calibration {
                rig,
                due: Some(due),
            } => {
                format!(
                    "calibration of {rig} due on {}",
                    Dates::default().date(*due)
                )
            }
            Self::Calibration { rig, due: None } => format!("no calibration due for {rig}"),
            Self::Shift {
                crew,
                days,
                from,
                to,
                people,
            } => format!(
                "{people} more of crew {crew} {}, {} to {}",
                match days {
                    Days::Weekly(day) => format!("every {day}"),
                    Days::On(date) => format!("on {}", Dates::default().day(*date)),
                },
                from.format("%H:%M"),
                to.format("%H:%M")
            ),
            Self::Rush {
                request,
                sequence,
                units,
                due,
                ..
            } => format!(
                "rush request {request}: {units} on {sequence}{}",
                due.map_or(String::new(), |due| format!(", due {}", at(due)))
            ),
            Self::Drop { request } => format!("{request} dropped"),
            Self::Priority { request, priority } => format!("{request} at priority {priority}"),
            Self::Due {
                request,
                due: Some(due),
            } => format!("{request} due {}", at(*due)),
            Self::Due { request, due: None } => format!("{request} without a due date"),
            Self::Ready { request, ready } => format!("{request} ready {}", at(*ready)),
            Self::Pin(pin) => format!(
                "{} step {} on {} at {}",
                pin.unit,
                pin.step,
                pin.rig,
                at(pin.start)
            ),
            Self::Unpin { unit, step } => format!("{unit} step {step} no longer pinned"),
            Self::Horizon(horizon) => format!("a horizon of {horizon}"),
        }
    }

    /// Where the folder would have to say so for the change to be real; `None` where the plan alone says
    /// it.
    pub const fn file(&self) -> Option<&'static str> {
        match self {
            Self::RigDown { .. }
            | Self::RigUp { .. }
            | Self::RigCopy { .. }
            | Self::Positions { .. }
            | Self::Calibration { .. }
            | Self::Shift { .. }
            | Self::Horizon(_) => Some("lab.toml"),
            Self::Rush { .. }
            | Self::Drop { .. }
            | Self::Priority { .. }
            | Self::Due { .. }
            | Self::Ready { .. } => Some("requests.toml"),
            Self::Unpin { .. } => Some("pins.toml"),
            Self::Pin(_) => None,
        }
    }
}

/// The words of a line; what stands in double quotes is one.
fn split(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (ix, part) in line.split('"').enumerate() {
        if ix % 2 == 1 {
            words.push(part.to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}

/// A name as a line needs it.
fn named(id: impl Display) -> String {
    let id = id.to_string();
    if id.contains(' ') {
        format!("\"{id}\"")
    } else {
        id
    }
}

fn verb_of(form: &str) -> &str {
    form.split(' ').next().unwrap_or(form)
}

fn form_of(verb: &str) -> Option<&'static str> {
    let found = FORMS.iter().find(|(form, _)| verb_of(form) == verb);
    found.map(|(form, _)| *form)
}

fn day_word(days: Days) -> String {
    match days {
        Days::Weekly(day) => day.to_string().to_lowercase(),
        Days::On(date) => date.to_string(),
    }
}

/// The words after the verb.
struct Reader<'w> {
    words: &'w [&'w str],
    form: &'static str,
    line: &'w str,
    asked: &'w Asked<'w>,
}

impl Reader<'_> {
    fn change(&self, verb: &str) -> Result<Change, String> {
        let change = match (verb, self.words) {
            ("rig-down", [rig, from, to]) => Change::RigDown {
                rig: RigId::new(rig),
                span: Span::new(self.instant(from)?, self.instant(to)?),
            },
            ("rig-up", [rig, at]) => Change::RigUp {
                rig: RigId::new(rig),
                at: self.instant(at)?,
            },
            ("rig-copy", [rig, new]) => Change::RigCopy {
                rig: RigId::new(rig),
                copy: RigId::new(new),
            },
            ("positions", [rig, count]) => Change::Positions {
                rig: RigId::new(rig),
                positions: self.number(count)?,
            },
            ("calibration", [rig, date]) => Change::Calibration {
                rig: RigId::new(rig),
                due: or_none(date, |text| self.told(parse_date(text)))?,
            },
            ("shift", [crew, day, hours, people]) => self.shift(crew, day, hours, people)?,
            ("rush", [id, sequence, units, more @ ..]) => self.rush(id, sequence, units, more)?,
            ("drop", [request]) => Change::Drop {
                request: RequestId::new(request),
            },
            ("priority", [request, priority]) => Change::Priority {
                request: RequestId::new(request),
                priority: self.priority(priority)?,
            },
            ("due", [request, at]) => Change::Due {
                request: RequestId::new(request),
                due: or_none(at, |text| self.instant(text))?,
            },
            ("ready", [request, at]) => Change::Ready {
                request: RequestId::new(request),
                ready: self.instant(at)?,
            },
            ("pin", [unit, step, rig, at]) => Change::Pin(Pin {
                unit: UnitId::new(unit),
                step: self.number(step)?,
                rig: RigId::new(rig),
                start: self.instant(at)?,
            }),
            ("unpin", [unit, step]) => Change::Unpin {
                unit: UnitId::new(unit),
                step: self.number(step)?,
            },
            ("horizon", words) if !words.is_empty() => {
                Change::Horizon(self.told(parse_duration(&words.join(" ")))?)
            }
            _ => return Err(self.wrong("too few or too many words")),
        };
        Ok(change)
    }

    fn wrong(&self, why: &str) -> String {
        format!("`{}`: {why}; asked is: {}", shown(self.line), self.form)
    }

    fn told<T>(&self, read: Result<T, String>) -> Result<T, String> {
        read.map_err(|why| self.wrong(&why))
    }

    fn instant(&self, text: &str) -> Result<Minute, String> {
        self.told(self.asked.instant(text))
    }

    fn number(&self, text: &str) -> Result<u32, String> {
        text.parse()
            .map_err(|_| self.wrong(&format!("`{}` is no whole number", shown(text))))
    }

    fn priority(&self, text: &str) -> Result<u8, String> {
        let priority = text.parse().ok().filter(|own| (1..=9).contains(own));
        priority.ok_or_else(|| self.wrong(&format!("`{}` is none of 1 to 9", shown(text))))
    }

    fn shift(&self, crew: &str, day: &str, hours: &str, people: &str) -> Result<Change, String> {
        let days = match day.parse::<Weekday>() {
            Ok(day) => Days::Weekly(day),
            Err(_) => Days::On(parse_date(day).map_err(|_| {
                self.wrong(&format!(
                    "`{}` is no day such as sat or 2027-03-27",
                    shown(day)
                ))
            })?),
        };
        let Some((from, to)) = hours.split_once('-') else {
            return Err(self.wrong(&format!("`{}` is not like 08:00-16:00", shown(hours))));
        };
        Ok(Change::Shift {
            crew: CrewId::new(crew),
            days,
            from: self.told(parse_clock(from))?,
            to: self.told(parse_clock(to))?,
            people: self.number(people)?,
        })
    }

    fn rush(&self, id: &str, sequence: &str, units: &str, more: &[&str]) -> Result<Change, String> {
        let (mut own_due, mut own_ready, mut own_priority) = (None, None, 9);
        for pair in more.chunks(2) {
            match pair {
                ["due", at] => own_due = Some(self.instant(at)?),
                ["ready", at] => own_ready = Some(self.instant(at)?),
                ["priority", own] => own_priority = self.priority(own)?,
                [word, ..] => {
                    let why = format!(
                        "`{}` is not due, ready or priority with a value",
                        shown(word)
                    );
                    return Err(self.wrong(&why));
                }
                [] => {}
            }
        }
        Ok(Change::Rush {
            request: RequestId::new(id),
            sequence: SequenceId::new(sequence),
            units: self.number(units)?,
            ready: own_ready,
            due: own_due,
            priority: own_priority,
        })
    }
}

/// What is read, or nothing where the word is `none`.
fn or_none<T>(text: &str, read: impl Fn(&str) -> Result<T, String>) -> Result<Option<T>, String> {
    if text == "none" {
        Ok(None)
    } else {
        read(text).map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::dates::Dates;
    use crate::domain::zone::known::{lisbon, utc};

    fn asked(zone: &Zone) -> Asked<'_> {
        Asked {
            zone,
            now: utc("2027-03-22T06:50"),
            dates: Dates::default(),
        }
    }

    #[test]
    fn every_form_reads_back_from_its_own_text() {
        let lines = [
            "rig-down drop-1 2027-03-23T06:00 2027-03-24T18:00",
            "rig-up drop-1 2027-03-30T08:00",
            "rig-copy drop-1 drop-2",
            "positions dh-1 5",
            "calibration dh-1 2027-09-30",
            "calibration dh-1 none",
            "shift bench sat 08:00-16:00 2",
            "shift bench 2027-03-27 22:00-06:00 1",
            "rush R-900 dv-slide 6 due 2027-04-01T17:00 ready 2027-03-23T08:00 priority 8",
            "rush R-900 dv-slide 6",
            "drop R-301",
            "drop \"R 301\"",
            "priority R-301 9",
            "due R-301 2027-04-01T17:00",
            "due R-301 none",
            "ready R-301 2027-03-23T08:00",
            "pin R-301/2 4 dh-1 2027-03-23T08:00",
            "unpin R-301/2 4",
            "horizon 200days",
            "rig-down drop-1 14:30 \"tomorrow 8\"",
            "due R-301 w13",
            "ready R-301 +3d",
        ];
        let zone = lisbon();
        let asked = asked(&zone);
        for line in lines {
            let change = Change::parse(line, &asked).expect(line);
            let text = change.text(&zone);
            assert_eq!(Change::parse(&text, &asked), Ok(change), "{text}");
        }
        for (form, _) in FORMS {
            let verb = verb_of(form);
            assert!(lines.iter().any(|line| line.starts_with(verb)), "{verb}");
        }
    }

    #[test]
    fn what_cannot_be_read_says_why_and_what_is_asked() {
        let zone = lisbon();
        let wrong = |line: &str, said: &str| {
            let error = Change::parse(line, &asked(&zone)).expect_err(line);
            assert!(error.contains(said), "{error}");
        };
        wrong("", "a change is missing");
        wrong("rig-dwon drop-1", "nearest: rig-down");
        wrong("rig-down drop-1", "asked is: rig-down RIG FROM TO");
        wrong("rig-up drop-1 03/04", "write the year first");
        wrong("rig-up drop-1 2027-03-28T01:30", "skips");
        wrong("positions dh-1 many", "`many` is no whole number");
        wrong("priority R-1 10", "`10` is none of 1 to 9");
        wrong("shift bench someday 08:00-16:00 1", "`someday` is no day");
        wrong("shift bench sat 08:00 1", "`08:00` is not like 08:00-16:00");
        wrong("rush R-9 dv 2 soon", "`soon` is not due, ready or priority");
        wrong("calibration dh-1 03/04", "is no date");
        wrong("horizon", "asked is: horizon DURATION");
    }
}
