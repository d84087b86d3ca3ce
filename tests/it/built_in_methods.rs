//! The built-in methods: each says where its figures come from, and what of it can hurt somebody.

use rigday::domain::lab::{Length, Method};
use rigday::lab::catalogue;

/// Capabilities that hurt nobody: a check at the bench and a slow rub.
const HARMLESS: [&str; 2] = ["function", "abrade"];

/// A capability, and a word that a caution of each method that asks for it must have.
const DANGERS: [(&str, &str); 24] = [
    ("absorption", "near field"),
    ("bend", "Pinch"),
    ("cold", "Frostbite"),
    ("damp-heat", "condense|Steam"),
    ("damp-heat-composite", "Steam"),
    ("damp-heat-cyclic", "Steam"),
    ("drip", "mains"),
    ("drop", "Falling"),
    ("dry-heat", "Burns"),
    ("dust", "lungs"),
    ("immersion", "mains"),
    ("impact", "hammer"),
    ("insert", "Pinch"),
    ("jet", "Keep clear"),
    ("micro-drop", "Pinch"),
    ("press", "Pinch"),
    ("pressure-humidity", "pressure vessel"),
    ("rain", "mains"),
    ("salt-mist", "Corrosive"),
    ("shock", "hearing"),
    ("slide", "Pinch"),
    ("thermal-cycling", "Burns"),
    ("thermal-shock", "basket"),
    ("tumble", "Falling"),
];

/// Every temperature that the method goes to, in °C.
fn temperatures(method: &Method) -> Vec<f64> {
    let severity = ["temperature_c", "low_c", "high_c"];
    let mut all: Vec<f64> = severity
        .iter()
        .filter_map(|name| method.severity.get(*name))
        .copied()
        .collect();
    if let Length::Profile { segments, .. } = &method.length {
        all.extend(segments.iter().filter_map(|segment| segment.to_c));
    }
    all
}

fn warns_of(method: &Method, words: &str) -> bool {
    let has = |word: &str| method.cautions.iter().any(|caution| caution.contains(word));
    words.split('|').any(has)
}

#[test]
fn every_built_in_method_has_a_source() {
    let methods = catalogue().methods;
    assert!(methods.len() >= 30, "{} methods", methods.len());
    for method in methods.values() {
        let names_a_text = ["IEC", "ISO", "EIA", "JESD", "MIL-STD", "ASTM"];
        let named = names_a_text.iter().any(|name| method.source.contains(name));
        let habit = method.source.starts_with("common practice, no source");
        assert!(
            named != habit,
            "{}: a standard or a habit, not `{}`",
            method.id,
            method.source
        );
    }
}

#[test]
fn every_built_in_method_that_can_hurt_has_a_caution() {
    for method in catalogue().methods.values() {
        let harmless = HARMLESS.contains(&method.does.as_str());
        assert_eq!(method.cautions.is_empty(), harmless, "{}", method.id);
        for (_, words) in DANGERS.iter().filter(|(does, _)| *does == method.does) {
            assert!(
                warns_of(method, words),
                "{}: no caution says {words}",
                method.id
            );
        }
    }
}

#[test]
fn every_hot_or_cold_built_in_method_warns_of_cells_and_gases() {
    for method in catalogue().methods.values() {
        let temperatures = temperatures(method);
        let hot = temperatures.iter().any(|celsius| *celsius >= 55.0);
        let cold = temperatures.iter().any(|celsius| *celsius <= -40.0);
        assert!(
            !hot || warns_of(method, "Cells"),
            "{}: cells in heat",
            method.id
        );
        assert!(
            !cold || warns_of(method, "nitrogen"),
            "{}: gases that displace air",
            method.id
        );
    }
}

#[test]
fn every_capability_of_the_built_in_methods_is_judged() {
    let known =
        |does: &str| HARMLESS.contains(&does) || DANGERS.iter().any(|(danger, _)| *danger == does);
    for method in catalogue().methods.values() {
        assert!(
            known(&method.does),
            "{}: is {} dangerous?",
            method.id,
            method.does
        );
    }
}
