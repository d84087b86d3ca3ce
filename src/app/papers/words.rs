//! Times, lengths and severities as papers write them.

use crate::domain::lab::{Amount, Lab, Method};
use crate::domain::steps::WalkStep;
use crate::domain::zone::LocalTime;
use crate::domain::{CrewId, Minute, Zone};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Ends of severity names that are units, with how people write them.
const UNITS: [(&str, &str); 16] = [
    ("n", "N"),
    ("nm", "N m"),
    ("mm", "mm"),
    ("m", "m"),
    ("c", "°C"),
    ("rh", "% RH"),
    ("g", "g"),
    ("ms", "ms"),
    ("s", "s"),
    ("min", "min"),
    ("deg", "°"),
    ("kpa", "kPa"),
    ("hz", "Hz"),
    ("kv", "kV"),
    ("v", "V"),
    ("kg", "kg"),
];

/// `Mon 22 Mar 07:10`, the date in one piece; with its offset where the clocks show that time twice.
pub(super) fn when(zone: &Zone, at: Minute) -> String {
    zone.local(at)
        .format("%a\u{a0}%d\u{a0}%b %H:%M")
        .to_string()
        + &twice(zone, at)
}

/// `07:10`; with its offset where the clocks show that time twice.
pub(super) fn clock(zone: &Zone, at: Minute) -> String {
    zone.local(at).format("%H:%M").to_string() + &twice(zone, at)
}

/// `Monday 22 March 2027 06:50 +00:00`.
pub(super) fn long_when(zone: &Zone, at: Minute) -> String {
    let local = zone.local(at).format("%A %-d %B %Y %H:%M");
    format!("{local} {}", offset(zone, at))
}

/// `Monday 22 March 2027`.
pub(super) fn long_date(date: NaiveDate) -> String {
    date.format("%A %-d %B %Y").to_string()
}

fn twice(zone: &Zone, at: Minute) -> String {
    match zone.resolve(zone.local(at)) {
        LocalTime::Twice { .. } => format!(" {}", offset(zone, at)),
        LocalTime::Once(_) | LocalTime::Skipped { .. } => String::new(),
    }
}

fn offset(zone: &Zone, at: Minute) -> String {
    let minutes = zone.offset(at).get();
    let sign = if minutes < 0 { '-' } else { '+' };
    let minutes = minutes.abs();
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// `300 cycles`, `16h`, `5 passes`.
pub(super) fn amount(amount: Amount) -> String {
    let counted = |count: u64, one: &str, many: &str| {
        format!("{count} {}", if count == 1 { one } else { many })
    };
    match amount {
        Amount::Cycles(cycles) => counted(cycles, "cycle", "cycles"),
        Amount::Hold(hold) => hold.to_string(),
        Amount::Repeat(passes) => counted(passes.into(), "pass", "passes"),
    }
}

/// `force 40 N, stroke 4 mm`; empty where there is no severity.
pub(super) fn severity(severity: &BTreeMap<String, f64>) -> String {
    let one = |(name, value): (&String, &f64)| {
        let unit = name.rsplit_once('_').and_then(|(what, unit)| {
            let known = UNITS.iter().find(|(end, _)| *end == unit)?;
            Some((what, known.1))
        });
        match unit {
            Some((what, unit)) => format!("{} {value} {unit}", what.replace('_', " ")),
            None => format!("{} {value}", name.replace('_', " ")),
        }
    };
    severity.iter().map(one).collect::<Vec<String>>().join(", ")
}

/// How long and how hard a step is.
pub(super) fn how_hard(step: &WalkStep) -> String {
    let hard = severity(&step.severity);
    if hard.is_empty() {
        amount(step.amount)
    } else {
        format!("{}; {hard}", amount(step.amount))
    }
}

/// The standard that a method follows, in full; empty where it names none.
pub(super) fn standard(lab: &Lab, method: &Method) -> String {
    let standard = method.standard.as_ref();
    standard
        .and_then(|id| lab.standards.get(id))
        .map_or(String::new(), |own| own.name.clone())
}

/// The crew that does a method's work; `None` only in a lab without crews.
pub(super) fn crew_of<'l>(lab: &'l Lab, method: &'l Method) -> Option<&'l CrewId> {
    let first = || lab.crews.first().map(|crew| &crew.id);
    method.crew.as_ref().or_else(first)
}

/// `pos. 2`, `run 7`, or nothing.
pub(super) fn place(position: Option<u32>, run: Option<u32>) -> String {
    match (position, run) {
        (Some(position), _) => format!("pos.\u{a0}{position}"),
        (_, Some(run)) => format!("run\u{a0}{run}"),
        (None, None) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::zone::known::{lisbon, utc};

    #[test]
    fn severities_read_as_people_write_them() {
        let own = [("force_n", 40.0), ("stroke_mm", 4.5), ("grade", 2.0)];
        let own = own.map(|(name, value)| (name.to_owned(), value));
        let words = severity(&BTreeMap::from(own));
        assert_eq!(words, "force 40 N, grade 2, stroke 4.5 mm");
    }

    #[test]
    fn a_time_that_the_clocks_show_twice_has_its_offset() {
        let zone = lisbon();
        assert_eq!(clock(&zone, utc("2027-10-31T00:30")), "01:30 +01:00");
        assert_eq!(clock(&zone, utc("2027-10-31T01:30")), "01:30 +00:00");
        assert_eq!(
            when(&zone, utc("2027-10-31T02:30")),
            "Sun\u{a0}31\u{a0}Oct 02:30"
        );
    }
}
