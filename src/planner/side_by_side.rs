//! Two searches on two threads, that exchange the better plan at fixed points of the work.
//!
//! One ruins and recreates requests on the timelines; the other moves single runs in an order. A lab with too many
//! visits for the second has the first on both threads.

use super::budget::Budget;
use super::construct::Builder;
use super::orders::Orders;
use super::search::Search;
use super::sequencing;
use crate::domain::Minute;

/// How often plans are exchanged.
const EXCHANGES: u64 = 4;

/// Improves the plan in the builder until the budget is used up, given when each request finishes at the earliest;
/// the rounds done since `rounds`, included.
pub(super) fn improve<'p>(
    builder: &mut Builder<'p>,
    least: &[Minute],
    seed: u64,
    mut rounds: u64,
    budget: &dyn Budget,
    news: &mut dyn FnMut(u64, i64),
) -> u64 {
    let first = budget.used(rounds);
    let mut by_order = true;
    for exchange in 1..=EXCHANGES {
        let from = budget.used(rounds);
        if from >= 1.0 {
            break;
        }
        let until = (first + (1.0 - first) * exchange as f64 / EXCHANGES as f64).min(1.0);
        let share =
            |rounds: u64| (budget.used(rounds) - from) / (until - from).max(f64::MIN_POSITIVE);
        let seed = seed.wrapping_mul(31).wrapping_add(exchange);
        let start: Builder<'p> = builder.clone();
        let begun = rounds;
        let (found, cost) = std::thread::scope(|scope| {
            let other = scope.spawn(|| second(start, least, by_order, seed, begun, budget, &share));
            let mut search = Search::new(builder, least, seed);
            while share(rounds) < 1.0 {
                rounds += 1;
                let Some(outcome) = search.round(budget.used(rounds)) else {
                    break;
                };
                if outcome.improved {
                    news(rounds, outcome.cost);
                }
            }
            let cost = search.finish();
            (other.join(), cost)
        });
        let (found, theirs) = match found {
            Ok(found) => found,
            Err(panic) => std::panic::resume_unwind(panic),
        };
        by_order &= theirs < cost;
        if theirs < cost {
            *builder = found;
            news(rounds, theirs);
        }
    }
    rounds
}

/// The second thread's search: what it found, and its cost.
fn second<'p>(
    mut builder: Builder<'p>,
    least: &[Minute],
    by_order: bool,
    seed: u64,
    begun: u64,
    budget: &dyn Budget,
    share: &(dyn Fn(u64) -> f64 + Sync),
) -> (Builder<'p>, i64) {
    if by_order && let Some(orders) = Orders::of(&builder) {
        // An order that costs much more when placed anew is a poor place to begin.
        let most = orders.cost(&builder) + orders.cost(&builder) / 50;
        let found = sequencing::improve(&orders.net, &orders.outline, most, seed, begun, share);
        if let Some((cost, runs)) = found {
            if cost < orders.cost(&builder) {
                orders.book(&mut builder, &runs);
            }
            let cost = super::search::cost_of(&builder);
            return (builder, cost);
        }
    }
    let mut search = Search::new(&mut builder, least, seed ^ 0x5eed);
    let mut rounds = begun;
    while share(rounds) < 1.0 {
        rounds += 1;
        if search.round(budget.used(rounds)).is_none() {
            break;
        }
    }
    let cost = search.finish();
    (builder, cost)
}
