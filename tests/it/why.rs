//! Chains of reasons: each link leads to the visit that it names, every chain ends, and it ends in a cause.

use crate::support::random_lab::random_lab;
use crate::support::{check_clean, demo_lab};
use rigday::domain::{Facts, Minutes};
use rigday::lab::parse_instant;
use rigday::planner::why::{Because, Link, chain, held_up, late_chains, lines};
use rigday::planner::{Rounds, solve};
use rigday::problem::{Plan, Problem, RequestIx, compile};
use std::collections::{BTreeMap, BTreeSet};

/// How chains of a problem end, by the kind of their last reason.
type Ends = BTreeMap<&'static str, usize>;

fn kind(because: &Because) -> &'static str {
    match because {
        own if own.is_cause() => "cause",
        Because::Taken { .. } | Because::GapTooShort { .. } => "rig",
        Because::CrewBusy { .. } | Because::NoUnload { .. } | Because::OnlyWaits => "crew",
        _ => "neither",
    }
}

/// The second link is what the first one's reason names.
fn leads(problem: &Problem, from: &Link, to: &Link) -> bool {
    let (own, next) = (&from.visit, &to.visit);
    match &from.because {
        Because::After { step, out, rest } => {
            (next.unit, next.step, next.times.out) == (own.unit, *step, *out)
                && own.times.load == *out + *rest
        }
        Because::RunWaits { unit, .. } | Because::RunFixed { unit } => {
            next.unit == *unit && next.rig == own.rig && next.times.load == own.times.load
        }
        Because::Taken { rig, by, until, .. } => {
            next.rig == *rig && next.times.out == *until && by.is_none_or(|by| by == next.unit)
        }
        Because::GapTooShort { rig } => next.rig == *rig && next.times.out <= own.times.load,
        Because::NextStep { .. } => {
            let run = own.rig;
            next.step > 0 && (next.unit == own.unit || problem.rigs[run.ix()].positions > 1)
        }
        Because::CrewBusy { .. } => {
            let ends = [next.times.start, next.times.end, next.times.out];
            ends.contains(&own.times.load)
        }
        Because::NoUnload { .. } | Because::OnlyWaits => {
            let ends = [next.times.start, next.times.end, next.times.out];
            ends.contains(&own.times.unload)
        }
        _ => false,
    }
}

fn every_chain_holds(problem: &Problem, plan: &Plan, ends: &mut Ends) {
    let finishes = plan.finishes(problem);
    for ix in (0..problem.requests.len()).map(RequestIx::from) {
        let links = chain(problem, plan, ix);
        assert_eq!(links.is_empty(), finishes[ix.ix()].is_none());
        let Some(last) = links.last() else { continue };
        assert_eq!(Some(links[0].visit.times.out), finishes[ix.ix()]);
        for pair in links.windows(2) {
            assert!(
                leads(problem, &pair[0], &pair[1]),
                "{:?}\n{:?}",
                pair[0],
                pair[1]
            );
            let own = &pair[0].visit.times;
            let latest = match pair[0].because {
                Because::NextStep { .. } => continue,
                // Whoever keeps it from being unloaded may have come after it.
                Because::NoUnload { .. } | Because::OnlyWaits => own.unload,
                _ => own.load,
            };
            assert!(pair[1].visit.times.load <= latest);
        }
        let passed: BTreeSet<_> = links
            .iter()
            .map(|own| (own.visit.unit, own.visit.step))
            .collect();
        assert!(
            links.len() <= 2 * passed.len(),
            "at most twice, the second time past its own steps"
        );
        *ends.entry(kind(&last.because)).or_insert(0) += 1;
        let words = lines(problem, &links);
        assert!(
            words.last().is_some_and(|line| line.starts_with("cause: ")),
            "{words:?}"
        );
        assert!(words.len() <= 13, "{words:?}");
    }
}

#[test]
fn chains_of_random_labs_lead_where_they_say_and_end_in_a_cause() {
    let mut ends = Ends::new();
    for seed in 0..300 {
        let (lab, facts, now) = random_lab(seed);
        let problem = compile(&lab, &facts, now);
        let solved = solve(&problem, seed, &Rounds(5), &mut |_| {});
        check_clean(&problem, &solved.plan);
        every_chain_holds(&problem, &solved.plan, &mut ends);
    }
    println!("{ends:?}");
    let all: usize = ends.values().sum();
    let causes = ends.get("cause").copied().unwrap_or(0);
    assert!(all > 500, "{ends:?}");
    assert!(
        causes * 10 >= all * 9,
        "nine of ten end in a cause: {ends:?}"
    );
    let neither = ends.get("neither").copied().unwrap_or(0);
    assert!(
        neither * 100 <= all,
        "nearly all others end at a rig or a crew: {ends:?}"
    );
}

#[test]
fn late_requests_of_the_demo_come_down_to_a_rig_a_crew_or_a_date() {
    let lab = demo_lab();
    let now = parse_instant("2027-03-22T06:50", Some(&lab.zone)).expect("an instant");
    let problem = compile(&lab, &Facts::default(), now);
    let solved = solve(&problem, 1, &Rounds(20), &mut |_| {});
    let late = late_chains(&problem, &solved.plan, usize::MAX);
    assert!(!late.is_empty());
    let finishes = solved.plan.finishes(&problem);
    let lateness: Vec<Minutes> = late
        .iter()
        .map(|(ix, _)| Plan::late(&problem, *ix, finishes[ix.ix()].expect("it is planned")))
        .collect();
    assert!(
        lateness.is_sorted_by(|a, b| a >= b),
        "the latest first: {lateness:?}"
    );
    assert_eq!(late_chains(&problem, &solved.plan, 1), late[..1]);
    for (_, links) in &late {
        for (_, minutes) in held_up(&problem, links) {
            assert!(minutes > Minutes::ZERO);
        }
    }
}
