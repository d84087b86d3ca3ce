//! Whose units may share a run: the method says, the planner keeps it, the checker sees it.

use crate::support::{check_clean, lab_from_files};
use rigday::domain::{Facts, Minute};
use rigday::planner::{Rounds, solve};
use rigday::problem::{Place, compile};
use std::collections::BTreeSet;

/// Monday 2027-03-01 08:00 UTC.
const START: i64 = 30_064_320 + 480;

/// How many runs three requests of two products need in a chamber that would hold all their units.
fn runs(share: &str) -> usize {
    let request = |id: &str, product: &str| {
        format!(
            "[[request]]\nid = \"{id}\"\nproduct = \"{product}\"\nbuild = \"b\"\nsequence = \"s\"\n\
             units = 2\nready = \"2027-03-01T08:00\"\n"
        )
    };
    let lab = lab_from_files(&[
        (
            "lab.toml",
            "format = 1\n[lab]\nname = \"trial\"\nzone = \"UTC\"\n[[crew]]\nid = \"bench\"\n\
             [[crew.shift]]\ndays = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\"]\nfrom = \"07:00\"\n\
             to = \"15:00\"\npeople = 1\n[[rig]]\nid = \"dust\"\ndoes = [\"dust\"]\n\
             loading = \"together\"\npositions = 12\nload = \"15m\"\nunload = \"15m\"\nchangeover = \"30m\"\n"
                .to_owned(),
        ),
        (
            "methods.toml",
            format!("[[method]]\nid = \"own-dust\"\ndoes = \"dust\"\nhold = \"8h\"\n{share}\n"),
        ),
        (
            "sequences.toml",
            "[[sequence]]\nid = \"s\"\n[[sequence.step]]\nmethod = \"own-dust\"\n".to_owned(),
        ),
        (
            "requests.toml",
            [request("A", "latch"), request("B", "latch"), request("C", "hinge")].concat(),
        ),
    ]);
    let problem = compile(&lab, &Facts::default(), Minute::new(START));
    let solved = solve(&problem, 1, &Rounds(20), &mut |_| {});
    check_clean(&problem, &solved.plan);
    assert_eq!(solved.plan.visits.len(), 6);
    let run = |place: Place| match place {
        Place::Run(run) => run,
        other => panic!("no run: {other:?}"),
    };
    let runs: BTreeSet<u32> = solved
        .plan
        .visits
        .iter()
        .map(|own| run(own.place))
        .collect();
    runs.len()
}

#[test]
fn units_share_a_run_as_the_method_allows() {
    assert_eq!(runs(""), 1);
    assert_eq!(runs("share = \"any\""), 1);
    assert_eq!(runs("share = \"product\""), 2);
    assert_eq!(runs("share = \"request\""), 3);
}
