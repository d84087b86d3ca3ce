//! A wide lab for measuring: 60 rigs, 500 units of 9 steps, 90 days; its files, made by rule.

use std::fmt::Write;

/// When its plan begins.
pub(crate) const AT: &str = "2027-03-01T06:00";
/// Units in all.
pub(crate) const UNITS: usize = 500;
/// Rigs of each of the three kinds.
const RIGS: usize = 20;
/// Units of a request.
const EACH: usize = 10;

/// Name and text of each file.
pub(crate) fn files() -> [(&'static str, String); 4] {
    [
        ("lab.toml", lab()),
        ("methods.toml", METHODS.to_owned()),
        ("sequences.toml", sequences()),
        ("requests.toml", requests()),
    ]
}

const METHODS: &str = r#"
[[method]]
id = "look"
does = "look"
crew = "bench"
watch = "full"
verdict = true
hold = "20m"
source = "made up for measuring"

[[method]]
id = "soak"
does = "soak"
crew = "climate"
hold = "40h"
max_wait = "4days"
source = "made up for measuring"

[[method]]
id = "press"
does = "press"
crew = "mech"
hold = "20h"
max_wait = "4days"
source = "made up for measuring"
"#;

fn lab() -> String {
    let mut text = String::from(
        "format = 1\n[lab]\nname = \"Wide lab\"\nzone = \"Europe/Lisbon\"\nambient_c = 23.0\nfreeze = \"2h\"\nhorizon = \"90d\"\nfail_reasons = [\"cracked\"]\n",
    );
    for crew in ["bench", "climate", "mech"] {
        let days = r#"["mon", "tue", "wed", "thu", "fri", "sat", "sun"]"#;
        write!(text, "[[crew]]\nid = \"{crew}\"\n").expect("a string takes it");
        for (from, to) in [("06:00", "18:00"), ("18:00", "06:00")] {
            write!(
                text,
                "[[crew.shift]]\ndays = {days}\nfrom = \"{from}\"\nto = \"{to}\"\npeople = 12\n"
            )
            .expect("a string takes it");
        }
    }
    for at in 1..=RIGS {
        write!(
            text,
            "[[rig]]\nid = \"fb-{at}\"\nname = \"Bench {at}\"\ndoes = [\"look\"]\npositions = 3\nload = \"5m\"\nunload = \"5m\"\n\
             [[rig]]\nid = \"ch-{at}\"\nname = \"Chamber {at}\"\ndoes = [\"soak\"]\npositions = 12\nloading = \"together\"\nload = \"20m\"\nunload = \"20m\"\nchangeover = \"30m\"\n\
             [[rig]]\nid = \"pr-{at}\"\nname = \"Press {at}\"\ndoes = [\"press\"]\npositions = 4\nload = \"15m\"\nunload = \"10m\"\n"
        )
        .expect("a string takes it");
    }
    text
}

fn sequences() -> String {
    let steps = [
        "look", "soak", "look", "press", "look", "soak", "look", "press", "look",
    ];
    let mut text = String::from("[[sequence]]\nid = \"walk\"\n");
    for method in steps {
        writeln!(text, "[[sequence.step]]\nmethod = \"{method}\"").expect("a string takes it");
    }
    text
}

/// A request comes each day and a half.
fn requests() -> String {
    let mut text = String::new();
    for at in 0..UNITS / EACH {
        let (month, day) = match at * 3 / 2 {
            day @ 0..=30 => (3, day + 1),
            day @ 31..=60 => (4, day - 30),
            day => (5, day - 60),
        };
        write!(
            text,
            "[[request]]\nid = \"W-{:02}\"\nproduct = \"meter\"\nbuild = \"EV\"\nsequence = \"walk\"\nunits = {EACH}\nready = \"2027-{month:02}-{day:02}T08:00\"\npriority = 5\n",
            at + 1
        )
        .expect("a string takes it");
    }
    text
}
