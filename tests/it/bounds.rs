//! No plan beats the bound: of tiny labs every plan is tried.
//!
//! `TEST_FULL=1` tries twenty thousand labs; `TEST_SEED=n` repeats the lab of one seed.

use crate::support::check_clean;
use crate::support::exact::{Exact, best_below};
use crate::support::tiny_lab::tiny_lab;
use rigday::planner::{Rounds, solve};
use rigday::problem::compile;

/// Rounds that the planner is given: far fewer than it makes in a fifth of a second.
const ROUNDS: u64 = 1500;

#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the tests says how many"
)]
fn seeds() -> Vec<u64> {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse().ok());
    match (number("TEST_SEED"), number("TEST_FULL")) {
        (Some(seed), _) => vec![seed],
        (None, Some(1)) => (0..20_000).collect(),
        (None, _) => (0..250).collect(),
    }
}

/// How the planner and its bound did on one lab.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    /// The cost is the least of all plans.
    Best,
    /// Some plan costs less.
    Worse,
    /// Too many plans to try, or no room for all.
    Unknown,
    /// Some plan costs less than the bound, or the enumerator does not find what the planner found.
    Wrong { bound: i64, best: Option<i64> },
}

fn judge(seed: u64) -> Outcome {
    let (lab, facts, now) = tiny_lab(seed);
    let problem = compile(&lab, &facts, now);
    let solved = solve(&problem, seed, &Rounds(ROUNDS), &mut |_| {});
    if !rigday::checker::check(&problem, &solved.plan).is_empty() {
        // Only where the others leave no room within the horizon: then no plan is known to judge by.
        return Outcome::Unknown;
    }
    check_clean(&problem, &solved.plan);
    match best_below(&problem, &solved.plan.left, solved.cost + 1) {
        Exact::TooLarge => Outcome::Unknown,
        Exact::Best(best) if best < solved.bound => Outcome::Wrong {
            bound: solved.bound,
            best: Some(best),
        },
        Exact::Best(best) if best == solved.cost => Outcome::Best,
        Exact::Best(_) => Outcome::Worse,
        Exact::NoneBelow => Outcome::Wrong {
            bound: solved.bound,
            best: None,
        },
    }
}

#[test]
fn no_plan_of_a_tiny_lab_beats_the_bound_and_the_planner_mostly_finds_the_best() {
    let seeds = seeds();
    let half = seeds.len().div_ceil(2);
    let outcomes: Vec<(u64, Outcome)> = std::thread::scope(|scope| {
        let threads: Vec<_> = seeds
            .chunks(half)
            .map(|part| {
                scope.spawn(move || {
                    part.iter()
                        .map(|seed| (*seed, judge(*seed)))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        let join = |thread: std::thread::ScopedJoinHandle<'_, Vec<_>>| thread.join();
        threads
            .into_iter()
            .flat_map(|thread| join(thread).expect("no panic on a tiny lab"))
            .collect()
    });
    let count = |what: Outcome| outcomes.iter().filter(|(_, own)| *own == what).count();
    for (seed, own) in &outcomes {
        if matches!(own, Outcome::Wrong { .. } | Outcome::Worse) {
            println!("TEST_SEED={seed} {own:?}");
        }
    }
    let (best, worse, unknown) = (
        count(Outcome::Best),
        count(Outcome::Worse),
        count(Outcome::Unknown),
    );
    println!("{best} best, {worse} not, {unknown} unknown");
    assert_eq!(best + worse + unknown, outcomes.len(), "a bound was wrong");
    assert!(
        unknown * 5 <= outcomes.len(),
        "too many labs are not judged"
    );
    assert!(
        best * 100 >= (best + worse) * 95,
        "the best plan is found too seldom"
    );
}
