//! What `rigday metrics` prints, held against the grammar of the OpenMetrics text format, version 1.0.0: written
//! here from the standard, and sharing nothing with the program that writes.

use crate::support::program::Desk;
use std::collections::{BTreeMap, BTreeSet};

/// A sample: its name, its labels and its value.
#[derive(Debug, PartialEq)]
struct Sample {
    name: String,
    labels: BTreeMap<String, String>,
    value: f64,
}

/// A family: type, unit, help and samples.
#[derive(Debug, Default)]
struct Family {
    kind: Option<String>,
    unit: Option<String>,
    help: Option<String>,
    samples: Vec<Sample>,
}

/// Reads an exposition strictly; what is wrong with it, and where.
fn read(text: &str) -> Result<BTreeMap<String, Family>, String> {
    let body = text
        .strip_suffix("# EOF\n")
        .ok_or("it does not end with # EOF and a line feed")?;
    let mut families: BTreeMap<String, Family> = BTreeMap::new();
    let mut current = String::new();
    for (at, line) in body.split_terminator('\n').enumerate() {
        let wrong = |why: &str| format!("line {}: {why}: {line}", at + 1);
        if let Some(rest) = line.strip_prefix("# ") {
            let mut words = rest.splitn(3, ' ');
            let (word, name) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
            let value = words
                .next()
                .ok_or_else(|| wrong("a descriptor has three words"))?;
            if name != current {
                if families.contains_key(name) {
                    return Err(wrong("a family is interleaved with another"));
                }
                is_name(name, true)
                    .then_some(())
                    .ok_or_else(|| wrong("not a name"))?;
                name.clone_into(&mut current);
            }
            let own = families.entry(current.clone()).or_default();
            if !own.samples.is_empty() {
                return Err(wrong("a descriptor after samples"));
            }
            let place = match word {
                "TYPE" => &mut own.kind,
                "UNIT" => &mut own.unit,
                "HELP" => &mut own.help,
                _ => return Err(wrong("no such descriptor")),
            };
            let value = if word == "HELP" {
                unescaped(value).ok_or_else(|| wrong("help is not escaped"))?
            } else {
                value.to_owned()
            };
            if place.replace(value).is_some() {
                return Err(wrong("a descriptor twice"));
            }
        } else {
            let sample = sample(line).map_err(wrong)?;
            let own = families
                .get_mut(&current)
                .ok_or_else(|| wrong("a sample without family"))?;
            own.samples.push(sample);
        }
    }
    for (name, family) in &families {
        family_is_right(name, family).map_err(|why| format!("{name}: {why}"))?;
    }
    Ok(families)
}

/// `metricname` allows colons, `label-name` does not; neither begins with a digit.
fn is_name(text: &str, colons: bool) -> bool {
    let is_letter = |c: char| c.is_ascii_alphabetic() || c == '_' || (colons && c == ':');
    text.starts_with(is_letter) && text.chars().all(|c| is_letter(c) || c.is_ascii_digit())
}

/// Text in which every quote and backslash is escaped; `None` where one is not.
fn unescaped(text: &str) -> Option<String> {
    let mut plain = String::new();
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '"' | '\n' => return None,
            '\\' => plain.push(match letters.next()? {
                'n' => '\n',
                other @ ('"' | '\\') => other,
                _ => return None,
            }),
            other => plain.push(other),
        }
    }
    Some(plain)
}

/// `metricname [labels] SP number`.
fn sample(line: &str) -> Result<Sample, &'static str> {
    let name_ends = line.find(['{', ' ']).ok_or("a sample has a value")?;
    let (name, mut rest) = line.split_at(name_ends);
    is_name(name, true).then_some(()).ok_or("not a name")?;
    let mut labels = BTreeMap::new();
    if let Some(inner) = rest.strip_prefix('{') {
        rest = inner;
        while !rest.starts_with('}') {
            let (label, value) = rest.split_once("=\"").ok_or("a label has a quoted value")?;
            is_name(label, false)
                .then_some(())
                .ok_or("not a label's name")?;
            let closes = closing_quote(value).ok_or("a quote is not closed")?;
            let own = unescaped(&value[..closes]).ok_or("a value is not escaped")?;
            if labels.insert(label.to_owned(), own).is_some() {
                return Err("a label twice");
            }
            rest = &value[closes + 1..];
            rest = match rest.strip_prefix(',') {
                Some(next) if !next.starts_with('}') => next,
                Some(_) => return Err("a comma before the brace"),
                None => rest,
            };
        }
        rest = &rest[1..];
    }
    let value = rest.strip_prefix(' ').ok_or("one space before the value")?;
    let is_number = value
        .chars()
        .all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
    is_number.then_some(()).ok_or("not a number")?;
    let value = value.parse().map_err(|_| "not a number")?;
    Ok(Sample {
        name: name.to_owned(),
        labels,
        value,
    })
}

/// The place of the first quote that is not escaped.
fn closing_quote(text: &str) -> Option<usize> {
    let mut escapes = false;
    text.char_indices()
        .find_map(|(at, letter)| match (escapes, letter) {
            (false, '"') => Some(at),
            (false, '\\') => {
                escapes = true;
                None
            }
            _ => {
                escapes = false;
                None
            }
        })
}

fn family_is_right(name: &str, family: &Family) -> Result<(), String> {
    let kind = family.kind.as_deref().ok_or("no type")?;
    let help = family.help.as_deref().ok_or("no help")?;
    if help.is_empty() || family.samples.is_empty() {
        return Err("no help or no samples".to_owned());
    }
    if let Some(unit) = &family.unit {
        // Base units; info and statesets have none.
        if !name.ends_with(&format!("_{unit}")) || unit != "seconds" || kind != "gauge" {
            return Err(format!("unit {unit}"));
        }
    }
    let mut seen: BTreeSet<Vec<(&String, &String)>> = BTreeSet::new();
    let mut on: BTreeMap<Vec<(&String, &String)>, f64> = BTreeMap::new();
    for own in &family.samples {
        let labels: Vec<(&String, &String)> = own.labels.iter().collect();
        if !seen.insert(labels.clone()) {
            return Err(format!("twice: {labels:?}"));
        }
        let suffix = if kind == "info" { "_info" } else { "" };
        if own.name != format!("{name}{suffix}") {
            return Err(format!("sample {}", own.name));
        }
        match kind {
            "gauge" if own.value.is_finite() => {}
            "info" if (own.value - 1.0).abs() < f64::EPSILON => {}
            "stateset" if own.labels.contains_key(name) && [0.0, 1.0].contains(&own.value) => {
                let rest = labels.into_iter().filter(|(label, _)| *label != name);
                *on.entry(rest.collect()).or_insert(0.0) += own.value;
            }
            _ => return Err(format!("{kind} {own:?}")),
        }
    }
    let is_one = |sum: &f64| (sum - 1.0).abs() < f64::EPSILON;
    on.values()
        .all(is_one)
        .then_some(())
        .ok_or("not exactly one state is on".to_owned())
}

#[test]
fn the_reader_refuses_what_the_standard_does() {
    let good = "# TYPE a gauge\n# HELP a A \\\"b\\\".\na{b=\"c\\\\\\n\",d=\"}, \"} 1.5e3\n# EOF\n";
    let families = read(good).expect("it is good");
    let own = &families["a"].samples[0];
    assert_eq!(
        (own.labels["b"].as_str(), own.labels["d"].as_str()),
        ("c\\\n", "}, ")
    );
    assert!((own.value - 1500.0).abs() < f64::EPSILON);
    for (from, to) in [
        ("# EOF\n", ""),
        ("# EOF\n", "# EOF"),
        ("# EOF\n", "\n# EOF\n"),
        ("gauge", "gauge\n# TYPE a gauge"),
        ("\\\"b", "\"b"),
        ("a{", "1a{"),
        ("} 1.5e3", "}  1.5e3"),
        ("1.5e3", "1,5"),
        ("1.5e3", "NaN"),
        (",d", ",b"),
        ("\"} 1", "\",} 1"),
        ("c\\\\", "c\\x"),
        ("# EOF\n", "a{b=\"c\\\\\\n\",d=\"}, \"} 2\n# EOF\n"),
        ("# EOF\n", "b 2\n# EOF\n"),
        (
            "# EOF\n",
            "# TYPE b gauge\n# HELP b B\nb 1\n# UNIT a x\n# EOF\n",
        ),
        ("a gauge\n", "a gauge\n# UNIT a seconds\n"),
        ("a gauge", "a stateset"),
        ("a gauge", "a info"),
    ] {
        let bad = good.replacen(from, to, 1);
        assert_ne!(bad, good, "{from:?} is there");
        assert!(read(&bad).is_err(), "{from:?} as {to:?} is let through");
    }
}

#[test]
fn the_demos_metrics_keep_the_grammar_and_agree_with_its_commands() {
    let desk = Desk::demo();
    let now = "2027-03-22T06:50";
    let text = desk.at(now, "metrics lab").good();
    let families = read(&text).unwrap_or_else(|why| panic!("{why}\n{text}"));
    for name in [
        "rigday_lab",
        "rigday_rig_state",
        "rigday_rig_today_seconds",
        "rigday_units",
    ] {
        assert!(families.contains_key(name), "{name} is not in:\n{text}");
    }
    // Time since midnight adds up, for every rig.
    let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
    for own in &families["rigday_rig_today_seconds"].samples {
        *sums.entry(&own.labels["rig"]).or_default() += own.value;
    }
    let since_midnight = f64::from(6 * 3600 + 50 * 60);
    assert!(
        sums.values().all(|sum| (sum - since_midnight).abs() < 1e-6),
        "{sums:?}"
    );
    // As many units as the list of units has.
    let units: f64 = families["rigday_units"]
        .samples
        .iter()
        .map(|own| own.value)
        .sum();
    let listed = desk.at(now, "units --lab lab --plain").good();
    assert!(
        (units - (listed.lines().count() - 1) as f64).abs() < 1e-6,
        "{units}"
    );
    let load: serde_json::Value =
        serde_json::from_str(&desk.at(now, "load lab --json").good()).expect("JSON");
    let late = families["rigday_requests_late"].samples[0].value;
    let told = load["late"].as_array().expect("a list").len();
    assert!((late - told as f64).abs() < 1e-6, "{late} and {told}");
}

#[test]
fn a_lab_without_history_has_metrics_and_its_name_is_escaped() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let file = desk.read("lab/lab.toml");
    let line = file
        .lines()
        .find(|line| line.starts_with("name"))
        .expect("the lab's name");
    let named = file.replacen(line, "name = 'The \"north\" lab \\ annex'", 1);
    desk.write("lab/lab.toml", &named);
    let text = desk.run("metrics lab --now 2027-03-01T06:00").good();
    let families = read(&text).unwrap_or_else(|why| panic!("{why}\n{text}"));
    assert_eq!(
        families["rigday_lab"].samples[0].labels["name"],
        "The \"north\" lab \\ annex"
    );
    assert!(
        !families.contains_key("rigday_plan_cost"),
        "no plan is in force"
    );
}
