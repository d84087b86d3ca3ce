//! A week of three rigs, worked by hand, as the plan that must be found.
//!
//! Crew `bench`: one person, Monday to Friday 08:00–16:00, UTC; from Monday 2027-03-01 08:00.
//!
//! | rig | loading | load, unload | |
//! |---|---|---|---|
//! | bench-1 | each, 2 positions | 5m, 5m | check: 20m, watched in full, so 30m of the one person |
//! | heat-1 | together, 4 positions | 10m, 10m | heat: lights-out |
//! | slide-1 | each, 1 position | 15m, 15m | slide: 50 cycles a minute, lights-out |
//!
//! A (priority 5, 2 units): check · heat 20h · check after 1h..3h · heat 48h · check after 1h..3h.
//! B (priority 5, 1 unit): check · slide 30,000 (10h) · check · slide 180,000 (60h) · check.
//!
//! *A by hand.* The one person can check both units by 09:00, so the run that takes both loads 09:00–09:10
//! and its 20h end Tuesday 05:10; nobody is there before 08:00, so it comes out at 08:10. After the rest of
//! an hour the two checks need 09:10–10:10. Load 10:10–10:20, 48h until Thursday 10:20, out 10:30, and two
//! checks from 11:30: A cannot finish before **Thursday 12:30**, whatever else happens.
//!
//! *B by hand.* Its long slide ends in the night to Friday however early it begins, for 60h do not fit from
//! Tuesday 08:15 to Thursday 16:00; so unload is Friday 08:00–08:15, the check ends **Friday 08:45**, and
//! B needs the person on Monday and Tuesday only when A does not.
//!
//! Both at once: Monday A's checks 08:00–09:00, run 09:00–09:10, B's check and load after it; Tuesday the
//! run out 08:00–08:10, B out 08:10–08:25, B's check 08:25–08:55, B's load 08:55–09:10, A's checks
//! 09:10–10:10. So both finishes are reached, the cost is 5 × (4,590 + 5,805) = 51,975, and nothing is lower.

use crate::support::{check_clean, lab_from_files};
use rigday::domain::zone::utc_text;
use rigday::domain::{Facts, Minute};
use rigday::planner::{Rounds, solve};
use rigday::problem::compile;

/// Monday 2027-03-01 08:00 UTC.
const START: i64 = 30_064_320 + 480;

const LAB: &str = r#"
format = 1
[lab]
name = "three rigs"
zone = "UTC"
[[crew]]
id = "bench"
[[crew.shift]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "08:00"
to = "16:00"
people = 1
[[rig]]
id = "bench-1"
does = ["check"]
positions = 2
load = "5m"
unload = "5m"
[[rig]]
id = "heat-1"
does = ["heat"]
positions = 4
loading = "together"
load = "10m"
unload = "10m"
[[rig]]
id = "slide-1"
does = ["slide"]
load = "15m"
unload = "15m"
cycles_per_min = 50.0
"#;

const METHODS: &str = r#"
[[method]]
id = "check"
does = "check"
watch = "full"
verdict = true
hold = "20m"
source = "worked by hand"
[[method]]
id = "heat"
does = "heat"
hold = "20h"
source = "worked by hand"
[[method]]
id = "slide"
does = "slide"
cycles = 30000
source = "worked by hand"
"#;

const SEQUENCES: &str = r#"
[[sequence]]
id = "heat-twice"
[[sequence.step]]
method = "check"
[[sequence.step]]
method = "heat"
[[sequence.step]]
method = "check"
rest = "1h..3h"
[[sequence.step]]
method = "heat"
hold = "48h"
[[sequence.step]]
method = "check"
rest = "1h..3h"
[[sequence]]
id = "slide-twice"
[[sequence.step]]
method = "check"
[[sequence.step]]
method = "slide"
[[sequence.step]]
method = "check"
[[sequence.step]]
method = "slide"
cycles = 180000
[[sequence.step]]
method = "check"
"#;

const REQUESTS: &str = r#"
[[request]]
id = "A"
product = "p"
build = "DV"
sequence = "heat-twice"
units = 2
ready = "2027-03-01T08:00"
[[request]]
id = "B"
product = "p"
build = "DV"
sequence = "slide-twice"
units = 1
ready = "2027-03-01T08:00"
"#;

#[test]
fn the_week_worked_by_hand_is_found_and_nothing_is_lower() {
    let lab = lab_from_files(&[
        ("lab.toml", LAB.to_owned()),
        ("methods.toml", METHODS.to_owned()),
        ("sequences.toml", SEQUENCES.to_owned()),
        ("requests.toml", REQUESTS.to_owned()),
    ]);
    let problem = compile(&lab, &Facts::default(), Minute::new(START));
    let solved = solve(&problem, 1, &Rounds(300), &mut |_| {});
    check_clean(&problem, &solved.plan);
    let finishes: Vec<String> = solved
        .plan
        .finishes(&problem)
        .into_iter()
        .flatten()
        .map(utc_text)
        .collect();
    assert_eq!(finishes, ["2027-03-04T12:30:00Z", "2027-03-05T08:45:00Z"]);
    assert_eq!(solved.cost, 51_975);
    let runs: Vec<String> = solved
        .plan
        .visits
        .iter()
        .filter(|visit| visit.rig == rigday::problem::RigIx(1))
        .map(|visit| utc_text(visit.times.load))
        .collect();
    let both = |load: &str| [load.to_owned(), load.to_owned()];
    assert_eq!(runs[0], runs[1], "both units share the first run");
    // Loaded by 11:50 it has done its 20h when somebody is there again.
    assert!(
        ("2027-03-01T09:00:00Z"..="2027-03-01T11:50:00Z").contains(&runs[0].as_str()),
        "{}",
        runs[0]
    );
    assert_eq!(
        runs[2..],
        both("2027-03-02T10:10:00Z"),
        "and the second, right after their checks"
    );
}
