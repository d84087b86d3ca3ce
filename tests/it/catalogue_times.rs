//! Every built-in method has the time that its own entry says, on a reference rig and on the rigs of the
//! demo's lab.
//!
//! The times are worked out once more from the text of the catalogue, by arithmetic of this file alone.

use crate::support::parts::{request, sequence, step};
use crate::support::{check_clean, demo_lab, lab_from_files};
use rigday::domain::lab::{Lab, Rest};
use rigday::domain::steps::{WalkStep, own_amount};
use rigday::domain::{Facts, Minute};
use rigday::lab::{CATALOGUE, catalogue, parse_duration};
use rigday::planner::{Rounds, solve};
use rigday::problem::{compile, time_on};
use std::collections::BTreeSet;
use toml::{Table, Value};

/// Monday 2027-03-01 08:00 UTC.
const START: i64 = 30_064_320 + 480;
const AMBIENT_C: f64 = 23.0;
const HEAT: f64 = 20.0;
const COOL: f64 = 16.0;
const CYCLES: f64 = 12.5;
const TRANSFER_S: f64 = 30.0;
/// Thermal time constant of the load, in minutes.
const TAU: f64 = 25.0;

/// The entries of the catalogue as they stand in its file.
fn entries() -> Vec<Table> {
    let file: Table = CATALOGUE.parse().expect("TOML");
    let methods = file["method"].as_array().expect("methods");
    methods
        .iter()
        .map(|own| own.as_table().expect("a method").clone())
        .collect()
}

fn text<'t>(table: &'t Table, key: &str) -> &'t str {
    table[key].as_str().expect("text")
}

fn number(value: &Value) -> f64 {
    let whole = |value: &Value| value.as_integer().map(|number| number as f64);
    value.as_float().or_else(|| whole(value)).expect("a number")
}

fn minutes(value: &Value) -> f64 {
    parse_duration(value.as_str().expect("a duration"))
        .expect("a duration")
        .get() as f64
}

/// A rig that can do everything there is; `settles` where it says how its load settles.
fn reference(settles: bool) -> Lab {
    let entries = entries();
    let does: BTreeSet<&str> = entries.iter().map(|own| text(own, "does")).collect();
    let does: Vec<&str> = does.into_iter().collect();
    let names = entries
        .iter()
        .filter_map(|own| own.get("severity")?.as_table());
    let mut limits: BTreeSet<&str> = names
        .flat_map(|own| own.keys().map(String::as_str))
        .collect();
    limits.extend(["temperature_c", "humidity_rh"]);
    let limits: Vec<String> = limits
        .iter()
        .map(|name| format!("{name} = [-1e6, 1e6]"))
        .collect();
    let settle = if settles {
        format!("time_constant = \"{TAU}m\"\n")
    } else {
        String::new()
    };
    let mut lab = lab_from_files(&[
        (
            "lab.toml",
            format!(
                "format = 1\n[lab]\nname = \"reference\"\nzone = \"UTC\"\nhorizon = \"200d\"\n\
                 ambient_c = {AMBIENT_C:?}\n[[crew]]\nid = \"bench\"\n[[rig]]\nid = \"all\"\ndoes = {does:?}\n\
                 loading = \"together\"\nheat_k_per_min = {HEAT:?}\ncool_k_per_min = {COOL:?}\n\
                 cycles_per_min = {CYCLES:?}\ntransfer_s = {TRANSFER_S:?}\n{settle}limits = {{ {} }}\n",
                limits.join(", ")
            ),
        ),
        ("sequences.toml", String::new()),
        ("requests.toml", String::new()),
    ]);
    ask_for_all(
        &mut lab,
        &catalogue()
            .methods
            .keys()
            .map(ToString::to_string)
            .collect::<Vec<_>>(),
    );
    lab
}

/// A request of one unit for each method.
fn ask_for_all(lab: &mut Lab, methods: &[String]) {
    lab.sequences.clear();
    lab.requests.clear();
    lab.pins.clear();
    for id in methods {
        lab.sequences.push(sequence(id, vec![step(id)]));
        lab.requests
            .push(request(&format!("R {id}"), id, 1, Minute::new(START)));
    }
}

/// The chamber on its way, by the text of an entry.
struct Walk {
    at: f64,
    total: f64,
    settles: bool,
    moved: bool,
}

impl Walk {
    fn pass(&mut self, segments: &Value) {
        for segment in segments.as_array().expect("segments") {
            let segment = segment.as_table().expect("a segment");
            if let Some(to) = segment.get("to_c").map(number) {
                self.go(to, segment);
            }
            self.total += segment.get("hold").map_or(0.0, minutes);
        }
    }

    fn go(&mut self, to: f64, segment: &Table) {
        let step = (to - self.at).abs();
        let own = if to > self.at { HEAT } else { COOL };
        let change = match (segment.get("over"), segment.get("transfer_s")) {
            (Some(time), _) => minutes(time),
            (_, Some(_)) => TRANSFER_S / 60.0,
            _ => step / segment.get("rate_k_per_min").map_or(own, number),
        };
        self.moved = segment.contains_key("transfer_s");
        self.total += change;
        if self.settles && step > 3.0 {
            let lag = step / change * TAU * (1.0 - (-change / TAU).exp());
            self.total += (TAU * (lag / 3.0).ln()).max(0.0);
        }
        self.at = to;
    }
}

/// The time of an entry on the reference rig, rounded up once.
#[expect(clippy::cast_possible_truncation, reason = "minutes of a test are few")]
fn by_hand(entry: &Table, settles: bool) -> i64 {
    let exact = if let Some(hold) = entry.get("hold") {
        minutes(hold)
    } else if let Some(cycles) = entry.get("cycles") {
        number(cycles) / CYCLES
    } else {
        let stable = entry.get("counts_from").and_then(Value::as_str) == Some("stable");
        let mut walk = Walk {
            at: AMBIENT_C,
            total: 0.0,
            settles: settles && stable,
            moved: false,
        };
        if let Some(before) = entry.get("before") {
            walk.pass(before);
        }
        let repeat = entry
            .get("repeat")
            .map_or(1, |own| own.as_integer().expect("a count"));
        for _ in 0..repeat {
            walk.pass(&entry["profile"]);
        }
        let back = if AMBIENT_C > walk.at { HEAT } else { COOL };
        let way_back = (AMBIENT_C - walk.at).abs() / back;
        walk.total + if walk.moved { 0.0 } else { way_back }
    };
    // An excess below a millionth of a minute does not count.
    (exact - 1e-6).ceil() as i64
}

#[test]
fn every_built_in_method_has_the_time_that_its_entry_says() {
    for settles in [false, true] {
        let lab = reference(settles);
        let problem = compile(&lab, &Facts::default(), Minute::new(START));
        let entries = entries();
        assert_eq!(entries.len(), problem.requests.len());
        for entry in &entries {
            let id = text(entry, "id");
            let name = format!("R {id}");
            let own = problem.requests.iter().find(|own| own.id.as_str() == name);
            let own = own.expect("a request");
            let [(_, exposure)] = problem.rigs_for(&own.steps[0]) else {
                panic!("{id}: {:?}", own.impossible);
            };
            assert_eq!(
                exposure.get(),
                by_hand(entry, settles),
                "{id}, settling {settles}"
            );
        }
    }
}

#[test]
fn a_stable_load_is_waited_for_by_the_methods_that_count_from_it_alone() {
    let (at_once, later) = (reference(false), reference(true));
    let on = |lab: &Lab, id: &str| {
        let method = &lab.methods[&rigday::domain::MethodId::new(id)];
        time_on(lab, &lab.rigs[0], &plain(method))
            .expect("it can")
            .get()
    };
    for id in [
        "cold-minus-40-16h",
        "dry-heat-85-96h",
        "cold-810-c1",
        "heat-810-constant-71",
    ] {
        assert!(on(&later, id) > on(&at_once, id), "{id}");
    }
    for id in [
        "temperature-change-3k",
        "damp-heat-steady-40-93-4d",
        "damp-heat-cyclic-55",
    ] {
        assert_eq!(on(&later, id), on(&at_once, id), "{id}");
    }
}

fn plain(method: &rigday::domain::lab::Method) -> WalkStep {
    WalkStep {
        method: method.id.clone(),
        amount: own_amount(&method.length),
        severity: method.severity.clone(),
        rest: Rest::ANY,
    }
}

/// What each built-in method takes on the rigs of the demo's lab, or what is missing there.
fn on_the_demo_lab(lab: &Lab) -> Vec<String> {
    let mut lines = Vec::new();
    for id in catalogue().methods.keys() {
        let method = &lab.methods[id];
        let able = lab
            .rigs
            .iter()
            .filter(|rig| rig.does.contains(&method.does));
        let said: Vec<String> = able
            .map(|rig| match time_on(lab, rig, &plain(method)) {
                Ok(time) => format!("{} {}", rig.id, time.get()),
                Err(why_not) => format!("not {why_not}"),
            })
            .collect();
        lines.push(if said.is_empty() {
            format!("{id} | missing: no rig does {}", method.does)
        } else {
            format!("{id} | {}", said.join("; "))
        });
    }
    lines
}

#[test]
fn every_built_in_method_can_be_planned_in_the_demo_lab_or_says_what_is_missing() {
    let mut lab = demo_lab();
    let found = on_the_demo_lab(&lab);
    let file = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/catalogue_on_demo_lab.txt"
    );
    let expected = std::fs::read_to_string(file).expect("the list");
    let differs: Vec<&String> = found
        .iter()
        .filter(|line| !expected.lines().any(|own| own == *line))
        .collect();
    assert!(differs.is_empty(), "not in {file}:\n{differs:#?}");
    assert_eq!(found.len(), expected.lines().count());
    let can = |line: &&String| {
        let said = line.split(" | ").nth(1).unwrap_or_default();
        said.split("; ")
            .any(|own| !own.starts_with("not ") && !own.starts_with("missing"))
    };
    let able = found
        .iter()
        .filter(can)
        .filter_map(|line| line.split(" | ").next());
    let able: Vec<String> = able.map(str::to_owned).collect();
    assert!(able.len() >= 100, "{} can be planned", able.len());
    ask_for_all(&mut lab, &able);
    // A rig's calibration ends long before methods of 56 days would.
    for rig in &mut lab.rigs {
        rig.calibration_due = None;
    }
    lab.outages.clear();
    lab.horizon = rigday::domain::Minutes::DAY * 3000;
    let problem = compile(&lab, &Facts::default(), Minute::new(START));
    let solved = solve(&problem, 1, &Rounds(0), &mut |_| {});
    let left: Vec<String> = solved
        .plan
        .left
        .iter()
        .map(|own| problem.requests[own.request.ix()].id.to_string())
        .collect();
    assert_eq!(left, [""; 0], "planned, all of them");
    check_clean(&problem, &solved.plan);
}
