//! The built-in methods: each says where its figures come from, and what of it can hurt somebody.

use rigday::domain::Minutes;
use rigday::domain::lab::{Length, Method, Pace, Segment};
use rigday::domain::standard::Known;
use rigday::lab::catalogue;

/// Capabilities that hurt nobody: a check at the bench and a slow rub.
const HARMLESS: [&str; 2] = ["function", "abrade"];

/// A capability, and a word that a caution of each method that asks for it must have.
const DANGERS: [(&str, &str); 42] = [
    ("abrade-wheel", "dust"),
    ("absorption", "near field"),
    ("bend", "Pinch"),
    ("board-drop", "Pinch"),
    ("bump", "hearing"),
    ("cold", "Frostbite"),
    ("component-shock", "hearing"),
    ("damp-heat", "condense|Steam"),
    ("damp-heat-composite", "Steam"),
    ("damp-heat-cyclic", "Steam"),
    ("drip", "mains"),
    ("drop", "Falling"),
    ("dry-heat", "Burns"),
    ("dust", "lungs"),
    ("dust-blown", "lungs"),
    ("dust-blowing", "lungs"),
    ("dust-settling", "lungs"),
    ("heat-cyclic", "Burns"),
    ("hinge", "Pinch"),
    ("immersion", "mains"),
    ("impact", "hammer"),
    ("insert", "Pinch"),
    ("jet", "Keep clear"),
    ("jet-hot", "scalds"),
    ("liquid-shock", "face shield"),
    ("mating-force", "Pinch"),
    ("micro-drop", "Pinch"),
    ("press", "Pinch"),
    ("pressure-humidity", "pressure vessel"),
    ("rain", "mains"),
    ("rain-blowing", "mains"),
    ("rain-exaggerated", "mains"),
    ("rain-nozzle", "mains"),
    ("salt-mist", "Corrosive"),
    ("sand-blowing", "lungs"),
    ("shock", "hearing"),
    ("slide", "Pinch"),
    ("thermal-cycling", "Burns"),
    ("thermal-shock", "basket"),
    ("topple", "Falling"),
    ("tumble", "Falling"),
    ("vibration", "hearing"),
];

/// Every temperature that the method goes to, in °C.
fn temperatures(method: &Method) -> Vec<f64> {
    let severity = ["temperature_c", "low_c", "high_c"];
    let mut all: Vec<f64> = severity
        .iter()
        .filter_map(|name| method.severity.get(*name))
        .copied()
        .collect();
    let profile = match &method.length {
        Length::Profile { segments, .. } => &segments[..],
        _ => &[],
    };
    let segments = profile.iter().chain(&method.before).chain(&method.shape);
    all.extend(segments.filter_map(|segment| segment.to_c));
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

#[test]
fn every_standard_says_how_its_figures_are_known_and_is_followed() {
    let catalogue = catalogue();
    for standard in catalogue.standards.values() {
        assert!(
            !standard.figures.is_empty(),
            "{} has no figure",
            standard.id
        );
        let followed = catalogue
            .methods
            .values()
            .any(|method| method.standard.as_ref() == Some(&standard.id));
        assert!(
            followed || standard.id.as_str() == "atmospheres",
            "{}",
            standard.id
        );
    }
    let known = |known: Known| {
        let figures = catalogue.standards.values().flat_map(|own| &own.figures);
        figures.filter(|figure| figure.known == known).count()
    };
    for kind in Known::ALL {
        assert!(known(kind) > 0, "no figure is known as {kind}");
    }
}

#[test]
fn methods_with_severities_stand_under_the_standard_that_lists_them() {
    let catalogue = catalogue();
    let free = |method: &&Method| method.standard.is_none();
    let free: Vec<&str> = catalogue
        .methods
        .values()
        .filter(free)
        .map(|own| own.id.as_str())
        .collect();
    assert_eq!(
        free,
        ["cold-minus-20-function", "dust-16h", "function-check"]
    );
}

/// A shape that is no whole part of its hold would be drawn as what no chamber does.
#[test]
fn shapes_fit_their_holds_a_whole_number_of_times() {
    let mut shapes = 0;
    for method in catalogue()
        .methods
        .values()
        .filter(|own| !own.shape.is_empty())
    {
        let Length::Hold(hold) = method.length else {
            panic!("{} has a shape and no hold", method.id);
        };
        let time = |segment: &Segment| {
            let over = match segment.pace {
                Pace::Over(time) => time,
                _ => Minutes::ZERO,
            };
            (over + segment.hold).get()
        };
        let cycle: i64 = method.shape.iter().map(time).sum();
        assert_eq!(
            hold.get() % cycle,
            0,
            "{}: {hold} in cycles of {cycle} min",
            method.id
        );
        shapes += 1;
    }
    assert!(shapes >= 15, "{shapes} have a shape");
}

/// Behind the word `caution: `, in a line of 80 columns.
#[test]
fn every_caution_of_the_catalogue_fits_a_line() {
    for method in catalogue().methods.values() {
        for caution in &method.cautions {
            let columns = caution.chars().count();
            assert!(columns <= 71, "{}: {columns} columns: {caution}", method.id);
        }
    }
}
