//! Figures in the OpenMetrics text format, version 1.0.0 (the open standard of that name, published by the
//! Cloud Native Computing Foundation): families of samples with type, unit and help, and an end mark.
//!
//! Names are the program's own and are checked here; values of labels are anybody's, and are cleaned and escaped.

use crate::domain::text::shown;

/// What the samples of a family are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Values that go up and down.
    Gauge,
    /// Facts that seldom change, as labels; its samples are named `…_info` and are 1.
    Info,
    /// One of several states; the label that is named like the family says which, 1 is on, 0 is off.
    StateSet,
}

/// A family of samples.
#[derive(Clone, Debug)]
pub struct Family {
    name: &'static str,
    kind: Kind,
    unit: &'static str,
    help: &'static str,
    samples: Vec<(Vec<(&'static str, String)>, f64)>,
}

impl Family {
    /// A family without samples yet. `unit` is empty, or a base unit that the name ends with.
    ///
    /// # Panics
    /// If the name or the unit is not one that the standard allows: they are the program's own.
    pub fn new(name: &'static str, kind: Kind, unit: &'static str, help: &'static str) -> Self {
        let is_name = |text: &str| text.bytes().all(|c| c.is_ascii_lowercase() || c == b'_');
        assert!(
            is_name(name) && !name.is_empty(),
            "a name of lower-case letters"
        );
        let has_unit = unit.is_empty()
            || name
                .strip_suffix(unit)
                .is_some_and(|own| own.ends_with('_'));
        assert!(has_unit, "a name ends with its unit");
        assert!(
            unit.is_empty() || kind == Kind::Gauge,
            "only gauges have a unit"
        );
        Self {
            name,
            kind,
            unit,
            help,
            samples: Vec::new(),
        }
    }

    /// A gauge.
    pub fn gauge(name: &'static str, unit: &'static str, help: &'static str) -> Self {
        Self::new(name, Kind::Gauge, unit, help)
    }

    /// Adds a sample.
    #[must_use]
    pub fn with(mut self, labels: &[(&'static str, &str)], value: f64) -> Self {
        self.push(labels, value);
        self
    }

    /// Adds a sample.
    pub fn push(&mut self, labels: &[(&'static str, &str)], value: f64) {
        let own = labels.iter().map(|(name, text)| (*name, shown(text)));
        self.samples.push((own.collect(), value));
    }

    fn text(&self) -> String {
        let kind = match self.kind {
            Kind::Gauge => "gauge",
            Kind::Info => "info",
            Kind::StateSet => "stateset",
        };
        let name = self.name;
        let mut text = format!("# TYPE {name} {kind}\n");
        if !self.unit.is_empty() {
            text.push_str(&format!("# UNIT {name} {}\n", self.unit));
        }
        text.push_str(&format!("# HELP {name} {}\n", escaped(self.help)));
        let suffix = if self.kind == Kind::Info { "_info" } else { "" };
        for (labels, value) in &self.samples {
            let labels: Vec<String> = labels
                .iter()
                .map(|(name, own)| format!("{name}=\"{}\"", escaped(own)))
                .collect();
            let labels = if labels.is_empty() {
                String::new()
            } else {
                format!("{{{}}}", labels.join(","))
            };
            text.push_str(&format!("{name}{suffix}{labels} {value}\n"));
        }
        text
    }
}

/// Families as one exposition; those without samples are left out.
pub fn exposition(families: &[Family]) -> String {
    let mut text: String = families
        .iter()
        .filter(|family| !family.samples.is_empty())
        .map(Family::text)
        .collect();
    text.push_str("# EOF\n");
    text
}

/// Backslash, quote and line feed escaped, as help and values of labels are.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_family_has_type_unit_help_and_samples() {
        let own = Family::gauge("wait_seconds", "seconds", "A \"wait\".")
            .with(&[("rig", "a\\b\"c"), ("crew", "d")], 1.5)
            .with(&[], 60.0);
        let expected = "# TYPE wait_seconds gauge\n\
            # UNIT wait_seconds seconds\n\
            # HELP wait_seconds A \\\"wait\\\".\n\
            wait_seconds{rig=\"a\\\\b\\\"c\",crew=\"d\"} 1.5\n\
            wait_seconds 60\n\
            # EOF\n";
        let empty = Family::gauge("nothing", "", "Left out.");
        assert_eq!(exposition(&[own, empty]), expected);
    }

    #[test]
    #[should_panic(expected = "a name ends with its unit")]
    fn a_unit_that_the_name_does_not_end_with_is_refused() {
        Family::gauge("wait", "seconds", "");
    }
}
