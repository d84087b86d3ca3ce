//! What-if: every change does what it says to a copy of the lab, and nothing else changes.

use crate::support::parts::{
    WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use crate::support::{check_clean, lab_from_files};
use rigday::app::dates::Dates;
use rigday::app::desk::Planning;
use rigday::app::what_if::{Change, WhatIf};
use rigday::app::when::Asked;
use rigday::domain::lab::{Lab, Length, Loading};
use rigday::domain::time::Span;
use rigday::domain::{Facts, Minute, Minutes, RequestId};
use rigday::lab::{parse_date, parse_instant};
use rigday::planner::Rounds;
use rigday::problem::{Plan, facts_of_plan};
use std::sync::Arc;

/// Monday 2027-03-01 06:00 UTC.
const NOW: &str = "2027-03-01T06:00Z";

fn at(text: &str) -> Minute {
    parse_instant(text, None).expect("an instant")
}

/// A crew on shift from 06:00 to 14:00 on working days, a bench of one position and a chamber of two; A and B
/// look for an hour, then heat for a day; B is pinned.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&WORK_WEEK, (6, 0), (14, 0), 1)])];
    let mut bench = rig("bench", &["look"], Loading::Each, 1);
    bench.load = Minutes::new(10);
    lab.rigs = vec![bench, rig("dh-1", &["heat"], Loading::Together, 2)];
    for (id, hours) in [("look", 1), ("heat", 24)] {
        let own = method(id, id, Length::Hold(Minutes::hours(hours)));
        lab.methods.insert(own.id.clone(), own);
    }
    lab.sequences = vec![sequence("s", vec![step("look"), step("heat")])];
    lab.requests = vec![request("A", "s", 1, at(NOW)), request("B", "s", 2, at(NOW))];
    lab.requests[0].due = Some(at("2027-03-02T08:00Z"));
    lab
}

fn planning(lab: &Lab, facts: Facts) -> Planning {
    Planning::new(Arc::new(lab.clone()), facts, at(NOW))
}

fn parse(line: &str) -> Change {
    let asked = Asked {
        zone: &lab().zone,
        now: at(NOW),
        dates: Dates::default(),
    };
    Change::parse(line, &asked).expect(line)
}

fn compare(base: Planning, lines: &[&str]) -> WhatIf {
    let changes = lines.iter().map(|line| parse(line)).collect();
    let mut plan = |planning: &Planning| {
        let proposal = planning.run(1, &Rounds(10), &mut |_| {});
        assert_eq!(proposal.clashes, []);
        let problem = planning.problem();
        let (visits, unresolved) = problem.resolve(&proposal.plan.bookings);
        assert_eq!(unresolved, []);
        let (left, _) = problem.resolve_left(&proposal.plan.unplannable);
        check_clean(&problem, &Plan { visits, left });
        proposal
    };
    WhatIf::run(base, None, changes, &mut plan).expect("the changes can be made")
}

/// When a request finishes without the changes and with them.
fn finishes(what_if: &WhatIf, request: &str) -> (Option<Minute>, Option<Minute>) {
    let row = what_if
        .rows()
        .into_iter()
        .find(|own| own.request == RequestId::new(request));
    let row = row.expect("a row for each request");
    let minute = |own: &Option<rigday::domain::plan::Finish>| own.as_ref().map(|own| own.finish);
    (minute(&row.unchanged), minute(&row.changed))
}

#[test]
fn a_rig_that_is_down_delays_who_needs_it_and_nobody_else() {
    let down = "rig-down dh-1 2027-03-01T06:00Z 2027-03-04T06:00Z";
    let what_if = compare(planning(&lab(), Facts::default()), &[down]);
    let (before, after) = finishes(&what_if, "A");
    assert!(before < Some(at("2027-03-03T00:00Z")));
    assert!(
        after >= Some(at("2027-03-05T06:00Z")),
        "a day of heat after the outage"
    );
    assert!(what_if.changed.plan.cost > what_if.unchanged.plan.cost);
    // Back at once, nothing differs.
    let mut lab = lab();
    let span = Span::new(at("2027-03-01T06:00Z"), at("2027-03-04T06:00Z"));
    lab.outages = vec![outage("dh-1", span)];
    let back = compare(
        planning(&lab, Facts::default()),
        &["rig-up dh-1 2027-03-01T06:00Z"],
    );
    assert_eq!(finishes(&back, "A"), (after, before));
}

#[test]
fn more_of_something_never_hurts_the_whole_and_helps_who_waits() {
    let base = || planning(&lab(), Facts::default());
    for line in [
        "positions dh-1 3",
        "rig-copy bench bench-2",
        "shift bench 2027-03-01 14:00-22:00 1",
    ] {
        let what_if = compare(base(), &[line]);
        assert!(
            what_if.changed.plan.cost <= what_if.unchanged.plan.cost,
            "{line}"
        );
    }
    let more = compare(
        base(),
        &[
            "positions bench 3",
            "positions dh-1 3",
            "shift bench mon 06:00-14:00 2",
        ],
    );
    let (before, after) = (more.unchanged.plan.cost, more.changed.plan.cost);
    assert!(
        after < before,
        "{before} and {after}: three looks at once instead of one after another"
    );
}

#[test]
fn requests_come_go_and_change_places() {
    let base = || planning(&lab(), Facts::default());
    let rush = compare(
        base(),
        &["rush R s 2 due 2027-03-02T12:00Z", "priority A 1"],
    );
    let (before, after) = finishes(&rush, "R");
    assert!(before.is_none() && after.is_some(), "a rush request is new");
    let dropped = compare(base(), &["drop B"]);
    assert_eq!(finishes(&dropped, "B").1, None);
    assert!(dropped.changed.plan.cost < dropped.unchanged.plan.cost);
    let due = compare(base(), &["due A 2027-04-01T08:00Z"]);
    let late = due
        .changed
        .plan
        .requests
        .iter()
        .find(|own| own.request.as_str() == "A");
    assert_eq!(late.map(|own| own.late), Some(Minutes::ZERO));
    let ready = compare(base(), &["ready A 2027-03-03T06:00Z"]);
    assert!(finishes(&ready, "A").1 > Some(at("2027-03-04T06:00Z")));
    let pinned = compare(base(), &["pin A/1 1 bench 2027-03-02T08:00Z"]);
    let load = pinned
        .changed
        .plan
        .bookings
        .iter()
        .find(|own| own.unit.as_str() == "A/1");
    assert_eq!(
        load.map(|own| own.times.load),
        Some(at("2027-03-02T08:00Z"))
    );
    let both = compare(
        base(),
        &["pin A/1 1 bench 2027-03-02T08:00Z", "unpin A/1 1"],
    );
    assert_eq!(finishes(&both, "A").0, finishes(&both, "A").1);
    let short = compare(base(), &["horizon 20h"]);
    assert!(
        short.rows().iter().all(|row| row.left.is_some()),
        "a day of heat does not fit"
    );
}

#[test]
fn a_request_that_is_dropped_keeps_what_has_happened() {
    let lab = lab();
    let plan = planning(&lab, Facts::default())
        .run(1, &Rounds(5), &mut |_| {})
        .plan;
    let now = at("2027-03-01T10:00Z");
    let facts = facts_of_plan(&plan.bookings, now);
    let started = facts.visits.len();
    assert!(started > 0);
    let base = Planning::new(Arc::new(lab), facts, now);
    let what_if = compare(base, &["drop A", "drop B"]);
    assert_eq!(
        what_if.changed.plan.bookings.len(),
        started,
        "only what has started stays"
    );
}

#[test]
fn a_calibration_date_moves_the_end_of_use() {
    let mut lab = lab();
    lab.rigs[1].calibration_due = parse_date("2027-03-01").ok();
    let what_if = compare(
        planning(&lab, Facts::default()),
        &["calibration dh-1 2027-03-10"],
    );
    assert_eq!(what_if.unchanged.plan.unplannable.len(), 2);
    assert_eq!(what_if.changed.plan.unplannable, []);
    let never = compare(planning(&lab, Facts::default()), &["calibration dh-1 none"]);
    assert_eq!(never.changed.plan.unplannable, []);
}

#[test]
fn a_change_that_cannot_be_made_says_why_and_what_is_near() {
    let base = planning(&lab(), Facts::default());
    let wrong = |lines: &[&str], said: &str| {
        let changes: Vec<Change> = lines.iter().map(|line| parse(line)).collect();
        let error = base.with_changes(&changes).map(|_| ()).expect_err(said);
        assert!(error.contains(said), "{error}");
    };
    wrong(
        &["rig-down dh-2 2027-03-01T06:00Z 2027-03-01T07:00Z"],
        "no rig dh-2; nearest: dh-1",
    );
    wrong(
        &["rig-down dh-1 2027-03-01T08:00Z 2027-03-01T07:00Z"],
        "back before it is down",
    );
    wrong(
        &["rig-up dh-1 2027-03-01T06:00Z"],
        "dh-1 has no outage at that time",
    );
    wrong(&["rig-copy dh-1 bench"], "there is a rig bench already");
    wrong(&["positions dh-1 0"], "1 to 10000 positions");
    wrong(
        &["shift banch sat 06:00-14:00 1"],
        "no crew banch; nearest: bench",
    );
    wrong(&["shift bench sat 06:00-14:00 0"], "without people");
    wrong(&["rush A s 1"], "a request A already");
    wrong(&["rush R t 1"], "no sequence t");
    wrong(&["rush R s 1", "rush R s 1"], "a request R already");
    wrong(&["drop C"], "no request C");
    wrong(
        &["pin A/1 3 bench 2027-03-02T08:00Z"],
        "the steps of A/1 are 1 to 2",
    );
    wrong(&["unpin A/1 1"], "A/1 step 1 has no pin");
}

#[test]
fn a_plan_that_needs_the_changes_is_not_for_the_lab_as_it_is() {
    let base = || planning(&lab(), Facts::default());
    let down = compare(
        base(),
        &["rig-down dh-1 2027-03-02T06:00Z 2027-03-04T06:00Z"],
    );
    let own = down.as_it_is().expect("a rig left alone breaks no rule");
    assert_eq!(own.plan.bookings.len(), down.changed.plan.bookings.len());
    for (line, said) in [
        ("positions bench 3", "lab.toml"),
        ("rush R s 1", "R: 1 on s in requests.toml"),
        ("drop B", "B dropped in requests.toml"),
        ("rig-copy bench bench-2", "called bench-2 in lab.toml"),
    ] {
        let people = "shift bench mon 06:00-14:00 2";
        let why = compare(base(), &[line, people])
            .as_it_is()
            .map(|_| ())
            .expect_err(line);
        assert!(
            why.starts_with("first write into the folder: ") && why.contains(said),
            "{why}"
        );
    }
}

#[test]
fn a_shift_on_single_dates_can_stand_in_the_folder() {
    let lab = r#"
format = 1
[lab]
name = "dates"
zone = "UTC"
[[crew]]
id = "bench"
[[crew.shift]]
days = ["mon"]
from = "08:00"
to = "10:00"
people = 1
[[crew.shift]]
dates = ["2027-03-06", "2027-03-03"]
from = "09:00"
to = "11:00"
people = 2
[[rig]]
id = "bench"
does = ["look"]
"#;
    let files = [
        ("lab.toml", lab.to_owned()),
        ("sequences.toml", String::new()),
        ("requests.toml", String::new()),
    ];
    let read = lab_from_files(&files);
    let problem = rigday::problem::compile(&read, &Facts::default(), at(NOW));
    let week = Span::new(at(NOW), at("2027-03-08T00:00Z"));
    let on: Vec<Span> = problem.crews[0].on.within(week).collect();
    let day = |date: &str, from: &str, to: &str| {
        Span::new(
            at(&format!("2027-03-{date}T{from}Z")),
            at(&format!("2027-03-{date}T{to}Z")),
        )
    };
    let expected = [
        day("01", "08:00", "10:00"),
        day("03", "09:00", "11:00"),
        day("06", "09:00", "11:00"),
    ];
    assert_eq!(on, expected);
    // The same as a what-if.
    let mut weekly = read.clone();
    weekly.crews[0].shifts.pop();
    let changes = [
        "shift bench 2027-03-03 09:00-11:00 2",
        "shift bench 2027-03-06 09:00-11:00 2",
    ];
    let changes: Vec<Change> = changes.iter().map(|line| parse(line)).collect();
    let changed = planning(&weekly, Facts::default())
        .with_changes(&changes)
        .expect("they can be made");
    assert_eq!(changed.problem().crews[0].people, problem.crews[0].people);
}
