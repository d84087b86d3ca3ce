//! What is allowed, but makes no sense, is told at its place and with what would; nothing of it blocks.

use crate::support::demo_lab;
use rigday::domain::lab::Amount;
use rigday::lab::{Fault, ReadLab, catalogue, read};
use std::path::Path;

/// Somebody at the bench in the day, somebody at the chambers in the night.
const LAB: &str = r#"format = 1
[lab]
name = "trial"
zone = "UTC"
[[crew]]
id = "bench"
[[crew.shift]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "07:00"
to = "15:00"
people = 1
[[crew]]
id = "night"
[[crew.shift]]
days = ["mon", "tue", "wed", "thu"]
from = "22:00"
to = "02:00"
people = 1
[[rig]]
id = "bench-1"
does = ["function", "absorption"]
load = "10m"
unload = "10m"
[[rig]]
id = "chamber"
does = ["cold", "dry-heat", "damp-heat-cyclic", "dust", "drop", "thermal-cycling"]
loading = "together"
positions = 9
load = "15m"
unload = "15m"
heat_k_per_min = 5.0
cool_k_per_min = 5.0
cycles_per_min = 1.0
limits = { temperature_c = [-70, 200], humidity_rh = [10, 100], height_mm = [10, 3000] }
"#;

/// A lab of these methods, steps and units, read through the real reader.
fn read_trial(methods: &str, steps: &[&str], units: usize) -> ReadLab {
    let steps = steps
        .iter()
        .map(|step| format!("[[sequence.step]]\n{step}\n"));
    let sequences = format!("[[sequence]]\nid = \"s\"\n{}", steps.collect::<String>());
    let requests = format!(
        "[[request]]\nid = \"R\"\nproduct = \"p\"\nbuild = \"b\"\nsequence = \"s\"\nunits = {units}\n\
         ready = \"2027-03-01T08:00\"\n"
    );
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in [
        ("lab.toml", LAB),
        ("methods.toml", methods),
        ("sequences.toml", &sequences),
        ("requests.toml", &requests),
    ] {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    read(folder.path()).unwrap_or_else(|faults| panic!("it has faults:\n{faults}"))
}

fn texts(warnings: &[Fault]) -> Vec<String> {
    warnings.iter().map(ToString::to_string).collect()
}

/// The warnings are these: each begins with a place and has the words in it.
#[track_caller]
fn expect(read: &ReadLab, expected: &[(&str, &str)]) {
    let found = texts(&read.warnings);
    let fits = |(text, (place, words)): (&String, &(&str, &str))| {
        text.starts_with(&format!("{place}: ")) && text.contains(words)
    };
    let all = found.len() == expected.len() && found.iter().zip(expected).all(fits);
    assert!(all, "expected {expected:#?}\nfound {found:#?}");
}

#[track_caller]
fn steps(steps: &[&str], expected: &[(&str, &str)]) {
    expect(&read_trial("", steps, 1), expected);
}

fn method(more: &str) -> ReadLab {
    let text = format!("[[method]]\nid = \"own\"\n{more}\n");
    read_trial(&text, &["method = \"own\""], 1)
}

#[test]
fn the_catalogue_and_the_labs_that_come_with_the_program_make_sense() {
    assert_eq!(texts(&catalogue().warnings), [""; 0]);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for folder in ["demo-lab", "src/cli/first_lab"] {
        let read = read(&root.join(folder)).expect("a good lab");
        assert_eq!(texts(&read.warnings), [""; 0], "{folder}");
    }
    assert!(demo_lab().standards.len() >= 40);
}

#[test]
fn a_severity_that_the_standard_lists_is_no_warning() {
    for good in [
        r#"profile = [ { to_c = -33, hold = "96h" } ]"#,
        // The same temperature held four times is one hold.
        "repeat = 6\nprofile = [ { to_c = -40, hold = \"16h\" } ]",
    ] {
        let text = format!("does = \"cold\"\nstandard = \"cold\"\n{good}");
        expect(&method(&text), &[]);
    }
    let change = r#"profile = [ { to_c = -7, rate_k_per_min = 3.0, hold = "1h" }, { to_c = 66, rate_k_per_min = 3.0, hold = "1h" } ]"#;
    let text = format!("does = \"thermal-cycling\"\nstandard = \"temperature-change\"\n{change}");
    expect(&method(&text), &[]);
}

#[test]
fn a_severity_that_the_standard_does_not_list_names_the_nearest() {
    let cold = |profile: &str| method(&format!("does = \"cold\"\nstandard = \"cold\"\n{profile}"));
    expect(
        &cold(r#"profile = [ { to_c = -22, hold = "16h" } ]"#),
        &[(
            "methods.toml:1:1",
            "method own: IEC 60068-2-1, test A: cold does not list to_c -22; the nearest it lists is \
             hold 16h, to_c -20 (read)",
        )],
    );
    expect(
        &cold(r#"profile = [ { to_c = -40, hold = "24h" } ]"#),
        &[(
            "methods.toml:1:1",
            "does not list hold 1d; the nearest it lists is hold 16h, to_c -40",
        )],
    );
    let pulse = "does = \"drop\"\nstandard = \"shock\"\nhold = \"1h\"\nseverity = { acceleration_g = 50, pulse_ms = 6 }";
    expect(
        &method(pulse),
        &[(
            "methods.toml:1:1",
            "does not list pulse_ms 6; the nearest it lists is acceleration_g 50, pulse_ms 11 (read)",
        )],
    );
}

#[test]
fn a_step_that_leaves_the_listed_severities_is_told_where_it_stands() {
    steps(&["method = \"damp-heat-cyclic-55\"\nhold = \"144h\""], &[]);
    steps(
        &[
            "method = \"function-check\"",
            "method = \"damp-heat-cyclic-55\"\nhold = \"96h\"",
        ],
        &[(
            "sequences.toml:5:1",
            "sequence s step 2: IEC 60068-2-30, test Db: damp heat, cyclic (12 h + 12 h) does not list \
             hold 4d; the nearest it lists is hold 6d, temperature_c 55 (read)",
        )],
    );
    steps(
        &["method = \"free-fall-1000\"\nseverity = { height_mm = 900 }"],
        &[(
            "sequences.toml:3:1",
            "does not list height_mm 900; the nearest it lists is height_mm 1000",
        )],
    );
}

#[test]
fn a_measurement_needs_its_recovery() {
    let heat = "method = \"dry-heat-55-16h\"";
    let check = |rest: &str| format!("method = \"function-check\"\n{rest}");
    steps(&[heat, &check("rest = \"1h\"")], &[]);
    steps(&[heat, &check("rest = \"1h..8h\"")], &[]);
    let missing = [(
        "sequences.toml:5:1",
        "sequence s step 2: IEC 60068-2-2, test B: dry heat has the measurement 1h or more after the \
         exposure (from memory), and the rest here is 0m or more; `rest = \"1h\"` keeps it",
    )];
    steps(&[heat, &check("")], &missing);
    // Nothing is measured between two exposures.
    steps(
        &[
            heat,
            "method = \"cold-minus-20-16h\"",
            &check("rest = \"1h\""),
        ],
        &[],
    );
}

#[test]
fn a_measurement_has_its_window() {
    let damp = "method = \"damp-heat-cyclic-55\"";
    let check = |rest: &str| format!("method = \"function-check\"\nrest = \"{rest}\"");
    steps(&[damp, &check("1h..2h")], &[]);
    for rest in ["1h", "1h..8h", "30m..2h"] {
        steps(
            &[damp, &check(rest)],
            &[(
                "sequences.toml:5:1",
                "has the measurement 1h to 2h after the exposure (read)",
            )],
        );
    }
    let parts = "method = \"damp-heat-cyclic-55\"\nhold = \"144h\"\nevery = \"48h\"\ncheck = \"function-check\"";
    steps(
        &[parts],
        &[("sequences.toml:3:1", "`rest = \"1h..2h\"` keeps it")],
    );
    steps(&[&format!("{parts}\ncheck_rest = \"1h..2h\"")], &[]);
}

#[test]
fn a_rest_that_no_shift_can_keep_is_told() {
    // Out of the chamber from 07:15 to 15:00; a check of 10 + 20 minutes ends by 15:00.
    let look = "method = \"function-check\"\n";
    let after = |rest: &str| format!("{look}rest = \"{rest}\"");
    let cold = "method = \"cold-minus-20-16h\"";
    // From 07:15 on, the last check begins at 14:30; the next day's at 07:00, 16 h after 15:00.
    steps(&[cold, &after("7h 15m..15h")], &[]);
    steps(&[cold, &after("15h..16h")], &[]);
    for rest in ["7h 16m..15h", "8h..15h 59m"] {
        steps(
            &[cold, &after(rest)],
            &[(
                "sequences.toml:5:1",
                "no shift can meet the rest: nobody can begin function-check within",
            )],
        );
    }
    let night =
        "[[method]]\nid = \"night-look\"\ndoes = \"function\"\ncrew = \"night\"\nhold = \"5m\"\n";
    let own = |rest: &str| {
        let step = format!("method = \"night-look\"\nrest = \"{rest}\"");
        read_trial(
            night,
            &[
                "method = \"drop\""
                    .replace("drop", "free-fall-500")
                    .as_str(),
                &step,
            ],
            1,
        )
    };
    expect(&own("7h..8h"), &[]);
    expect(
        &own("0m..6h 59m"),
        &[("sequences.toml:5:1", "no shift can meet the rest")],
    );
}

#[test]
fn a_unit_is_not_measured_after_what_spoils_it() {
    let (dust, check) = ("method = \"dust-ip6x\"", "method = \"function-check\"");
    let measure = "method = \"absorption-measurement\"";
    steps(&[check, measure, dust, check], &[]);
    steps(
        &[dust, check, check],
        &[(
            "sequences.toml:7:1",
            "sequence s step 3: it measures a unit that dust-ip6x in step 1 may have spoiled",
        )],
    );
}

#[test]
fn an_order_that_a_standard_fixes_is_kept() {
    let (heat, damp, cold) = (
        "method = \"dry-heat-55-16h\"",
        "method = \"damp-heat-cyclic-55\"",
        "method = \"cold-minus-20-16h\"",
    );
    steps(&[heat, damp, cold, damp], &[]);
    // Two of three are no climatic sequence.
    steps(&[cold, heat], &[]);
    steps(
        &[cold, heat, damp],
        &[(
            "sequences.toml:7:1",
            "the climatic sequence of IEC 60068-1 has damp-heat-cyclic-55 before cold-minus-20-16h, \
             which is step 1 here (from memory)",
        )],
    );
    let (check, measure) = (
        "method = \"absorption-set-up\"",
        "method = \"absorption-measurement\"",
    );
    steps(&[check, &format!("{measure}\nrest = \"0m..24h\"")], &[]);
    steps(
        &[check, measure],
        &[(
            "sequences.toml:5:1",
            "has the measurement within 1d after the exposure",
        )],
    );
    steps(
        &[measure, check],
        &[(
            "sequences.toml:5:1",
            "IEC/IEEE 62209-1528 has absorption-set-up before",
        )],
    );
}

#[test]
fn a_unit_takes_no_more_than_its_standard_allows() {
    let drop = "method = \"tactical-drop\"";
    steps(&[drop], &[]);
    steps(
        &[drop, "method = \"tactical-drop\"\ncycles = 1"],
        &[(
            "sequences.toml:5:1",
            "allows one unit at most 2; with this step it comes to 3",
        )],
    );
    let shared = "method = \"tactical-drop\"\ncycles = 5\nshared_by = 3";
    expect(&read_trial("", &[shared], 3), &[]);
}

#[test]
fn a_count_is_shared_by_units_and_each_takes_the_largest_share() {
    let shared = |by: u32| format!("method = \"transit-drop-26-122cm\"\nshared_by = {by}");
    for (by, most) in [(1, 26), (2, 13), (3, 9), (4, 7), (5, 6)] {
        let read = read_trial("", &[&shared(by)], by as usize);
        expect(&read, &[]);
        let step = &read.lab.sequences[0].steps[0];
        assert_eq!(step.length, Some(Amount::Cycles(most)), "26 over {by}");
    }
    expect(
        &read_trial("", &[&shared(6)], 12),
        &[(
            "sequences.toml:3:1",
            "lets at most 5 units share the count, not 6",
        )],
    );
    expect(
        &read_trial("", &[&shared(5)], 7),
        &[(
            "requests.toml:1:1",
            "request R: its sequence shares 26 cycles over 5 units each time, and it has 7",
        )],
    );
}
