//! A published example by commands alone: a lab folder, verdicts given at the bench, and the figures printed.

use crate::support::program::Desk;

const LAB: &str = r#"
format = 1
[lab]
name = "Six units"
zone = "UTC"
[[crew]]
id = "bench"
[[crew.shift]]
days = ["mon"]
from = "07:00"
to = "20:00"
people = 5
[[rig]]
id = "press"
does = ["press"]
positions = 6
load = "1m"
unload = "1m"
cycles_per_min = 10000
[[rig]]
id = "look"
does = ["look"]
positions = 6
load = "1m"
unload = "1m"
"#;

const METHODS: &str = r#"
[[method]]
id = "life"
does = "press"
watch = "none"
cycles = 100000
source = "example"
[[method]]
id = "check"
does = "look"
watch = "none"
hold = "1m"
verdict = true
source = "example"
"#;

const REQUEST: &str = r#"
[[request]]
id = "R-1"
product = "part"
build = "DV"
sequence = "walk"
units = 6
ready = "2027-03-01T08:00"
show = { reliability = 0.9, confidence = 0.9, mission = 100000 }
"#;

/// Does the same with each unit at a minute after eight.
fn each(desk: &Desk, units: &[usize], minute: usize, line: impl Fn(usize) -> String) {
    let at = format!("2027-03-01T{:02}:{:02}", 8 + minute / 60, minute % 60);
    for unit in units {
        desk.at(&at, &format!("{} --lab lab", line(*unit))).good();
    }
}

/// Six units, checks each 100 000 cycles, one failed at 200 000, one at 300 000, four whole: shape 2.674, scale
/// 417 708, B10 180 058, R(100 000) 0.978 with a Fisher lower 90 % bound of 0.700 (worked with two programs).
#[test]
fn six_units_from_the_bench_to_the_printed_figures() {
    let desk = Desk::new();
    let walk =
        "[[sequence.step]]\nmethod = \"life\"\n[[sequence.step]]\nmethod = \"check\"\n".repeat(3);
    std::fs::create_dir(desk.path("lab")).expect("a folder");
    desk.write("lab/lab.toml", LAB);
    desk.write("lab/methods.toml", METHODS);
    desk.write(
        "lab/sequences.toml",
        &format!("[[sequence]]\nid = \"walk\"\n{walk}"),
    );
    desk.write("lab/requests.toml", REQUEST);
    desk.at("2027-03-01T07:00", "init lab").good();
    desk.at("2027-03-01T07:00", "plan lab --publish").good();
    let mut alive: Vec<usize> = (1..=6).collect();
    for check in 1..=3 {
        let from = 40 * (check - 1);
        each(&desk, &alive, from, |unit| {
            format!("start R-1/{unit} press")
        });
        each(&desk, &alive, from + 20, |unit| format!("end R-1/{unit}"));
        each(&desk, &alive, from + 25, |unit| {
            format!("start R-1/{unit} look")
        });
        // Unit 1 fails at the second check, unit 2 at the third.
        let fails = |unit: usize| check > 1 && unit == check - 1;
        each(&desk, &alive, from + 30, |unit| {
            if fails(unit) {
                format!("mark R-1/{unit} fail --reason broken")
            } else {
                format!("mark R-1/{unit} pass")
            }
        });
        alive.retain(|unit| !fails(*unit));
    }
    let now = "2027-03-01T12:00";
    let told = desk.at(now, "evidence R-1 --lab lab").good();
    for figure in [
        "Weibull fit of 6 units, 2 failed after the mission: shape 2.674",
        "scale 417708 cycles",
        "B10 180058 cycles; lower 90 % 61707 by likelihood ratio, 103208 by Fisher",
        "0.9783 survive a mission",
        "0.7003 by Fisher",
        "bounds on B10 held 99 (likelihood ratio), 85 (Fisher) times of 100",
    ] {
        assert!(told.contains(figure), "{figure} is not in:\n{told}");
    }
    let table = desk.at(now, "evidence --plain --lab lab").good();
    let rows: Vec<Vec<&str>> = table
        .lines()
        .map(|line| line.split('\t').collect())
        .collect();
    let cell = |name: &str| {
        let column = rows[0].iter().position(|own| *own == name);
        rows[1][column.expect("the column")]
    };
    assert!(cell("shape").starts_with("2.6742"), "{table}");
    assert!(cell("time_lower_fisher").starts_with("103208.1"), "{table}");
    assert_eq!(
        (
            cell("held_likelihood_ratio_percent"),
            cell("held_fisher_percent")
        ),
        ("99", "85")
    );
}
