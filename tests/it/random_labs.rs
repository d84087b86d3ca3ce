//! Thousands of random labs: whatever the planner plans, the checker accepts.
//!
//! `TEST_FULL=1` tries ten times as many labs; `TEST_SEED=n` repeats the lab of one seed.

use crate::support::random_lab::random_lab;
use rigday::checker::{check, check_figures};
use rigday::planner::{Rounds, Solved, solve};
use rigday::problem::{Figures, Problem, compile};

/// The seeds to try.
#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the tests says how many"
)]
fn seeds() -> Vec<u64> {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse().ok());
    match (number("TEST_SEED"), number("TEST_FULL")) {
        (Some(seed), _) => vec![seed],
        (None, Some(1)) => (0..20_000).collect(),
        (None, _) => (0..2_000).collect(),
    }
}

/// Everything that is wrong with what the planner found, in words.
fn faults(problem: &Problem, solved: &Solved) -> Vec<String> {
    let clashes = check(problem, &solved.plan);
    let said = problem.plan_in_words(
        &solved.plan,
        &solved.because,
        &Figures {
            bound: Some(solved.bound),
            milliseconds: 0,
            seed: 0,
        },
    );
    let figures = check_figures(problem, &solved.plan, &said);
    let mut faults: Vec<String> = clashes
        .iter()
        .chain(&figures)
        .map(|clash| format!("{}: {}", clash.rule.name(), clash.text))
        .collect();
    let cost = cost_by_hand(problem, solved);
    if solved.cost != cost {
        faults.push(format!("says it costs {}; it costs {cost}", solved.cost));
    }
    if solved.bound > solved.cost {
        faults.push(format!("bound {} above cost {}", solved.bound, solved.cost));
    }
    if solved.because.len() != solved.plan.visits.len()
        || solved.because.iter().any(|why| why.trim().is_empty())
    {
        faults.push("a visit has no reason".to_owned());
    }
    faults
}

/// The cost, once more from the visits alone: `Σ priority × (10 × late + flow)`.
fn cost_by_hand(problem: &Problem, solved: &Solved) -> i64 {
    let mut cost = 0;
    for (ix, request) in problem.requests.iter().enumerate() {
        let own = solved
            .plan
            .visits
            .iter()
            .filter(|visit| problem.units[visit.unit.ix()].request.ix() == ix);
        let is_left = solved.plan.left.iter().any(|left| left.request.ix() == ix);
        if let (false, Some(finish)) = (is_left, own.map(|visit| visit.times.out.get()).max()) {
            let late = request.due.map_or(0, |due| (finish - due.get()).max(0));
            cost += request.priority * (10 * late + finish - request.ready.get());
        }
    }
    cost
}

fn faults_of_seed(seed: u64) -> Vec<String> {
    let (lab, facts, now) = random_lab(seed);
    let problem = compile(&lab, &facts, now);
    let solved = solve(&problem, seed, &Rounds(5), &mut |_| {});
    faults(&problem, &solved)
}

#[test]
fn every_plan_of_a_random_lab_keeps_every_rule() {
    let seeds = seeds();
    let half = seeds.len().div_ceil(2);
    let failed: Vec<(u64, Vec<String>)> = std::thread::scope(|scope| {
        let work = |part: &[u64]| -> Vec<_> {
            part.iter()
                .map(|seed| (*seed, faults_of_seed(*seed)))
                .filter(|(_, faults)| !faults.is_empty())
                .collect()
        };
        let threads: Vec<_> = seeds
            .chunks(half)
            .map(|part| scope.spawn(move || work(part)))
            .collect();
        let join = |thread: std::thread::ScopedJoinHandle<'_, Vec<_>>| thread.join();
        threads
            .into_iter()
            .flat_map(|thread| join(thread).expect("no panic on a random lab"))
            .collect()
    });
    for (seed, faults) in &failed {
        println!("TEST_SEED={seed}\n  {}", faults.join("\n  "));
    }
    let tried = seeds.len();
    assert!(failed.is_empty(), "{} of {tried} labs failed", failed.len());
}
