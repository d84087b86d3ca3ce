//! Priority rules: in which order requests are put in.
//!
//! The index is the apparent tardiness cost of Vepsalainen and Morton (1987), with the share of the
//! flow added, since every minute of flow costs too: `weight ÷ work`, where a request near its due date
//! weighs up to eleven times its priority.

use super::Style;
use crate::domain::Minutes;
use crate::planner::alone::Alone;
use crate::problem::{Problem, RequestIx};

/// A way to order requests, and how chambers are shared under it.
#[derive(Clone, Copy, Debug)]
pub(in crate::planner) struct Rule {
    /// How far ahead a due date is felt, in mean lengths of a request.
    look: f64,
    /// How chambers are shared.
    pub(in crate::planner) style: Style,
}

/// The rules in the order in which they are tried; the first gives the first plan.
pub(in crate::planner) fn rules() -> Vec<Rule> {
    let style = |hours| Style::sharing(Minutes::hours(hours));
    vec![
        Rule {
            look: 2.0,
            style: style(4),
        },
        Rule {
            look: 1.0,
            style: style(0),
        },
        Rule {
            look: 4.0,
            style: style(12),
        },
        Rule {
            look: 0.5,
            style: style(24),
        },
        Rule {
            look: 8.0,
            style: style(4),
        },
        Rule {
            look: 2.0,
            style: style(48),
        },
    ]
}

impl Rule {
    /// Requests, the most pressing first.
    pub(in crate::planner) fn order(&self, problem: &Problem, alone: &Alone) -> Vec<RequestIx> {
        let works: Vec<f64> = (0..problem.requests.len())
            .map(|ix| work(problem, alone, RequestIx::from(ix)))
            .collect();
        let mean = works.iter().sum::<f64>() / works.len().max(1) as f64;
        let mut keyed: Vec<(f64, RequestIx)> = works
            .iter()
            .enumerate()
            .map(|(ix, work)| {
                let request = RequestIx::from(ix);
                (-self.index(problem, alone, request, *work, mean), request)
            })
            .collect();
        keyed.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        keyed.into_iter().map(|(_, request)| request).collect()
    }

    fn index(&self, problem: &Problem, alone: &Alone, ix: RequestIx, work: f64, mean: f64) -> f64 {
        let request = &problem.requests[ix.ix()];
        let pressing = match (request.due, alone.finish(ix)) {
            (Some(due), Some(finish)) => {
                let slack = (due - finish).at_least_zero().get() as f64;
                10.0 * (-slack / (self.look * mean).max(1.0)).exp()
            }
            _ => 0.0,
        };
        request.priority as f64 * (1.0 + pressing) / work
    }
}

/// An order of requests, made anew after each plan: those that came out dear go further ahead.
///
/// After Joslin and Clements (1999): squeaky wheel optimization.
#[derive(Clone, Debug)]
pub(in crate::planner) struct Wheel {
    /// By request; by how many places one stands ahead of another, if nobody is between them.
    urgency: Vec<f64>,
}

impl Wheel {
    /// Nobody goes more places ahead at once, however dear.
    const MOST: f64 = 20.0;

    /// Begins with an order of all requests.
    pub(in crate::planner) fn new(order: &[RequestIx]) -> Self {
        let mut urgency = vec![0.0; order.len()];
        for (place, request) in order.iter().rev().enumerate() {
            urgency[request.ix()] = place as f64;
        }
        Self { urgency }
    }

    /// Hears by request what each cost more than it must: whoever was as dear as the mean goes one place ahead.
    pub(in crate::planner) fn turn(&mut self, dearer: &[i64]) {
        let mean = dearer.iter().sum::<i64>() as f64 / dearer.len().max(1) as f64;
        for (urgency, own) in self.urgency.iter_mut().zip(dearer) {
            *urgency += (*own as f64 / mean.max(1.0)).min(Self::MOST);
        }
    }

    /// The most urgent first.
    pub(in crate::planner) fn order(&self) -> Vec<RequestIx> {
        let mut order: Vec<RequestIx> = (0..self.urgency.len()).map(RequestIx::from).collect();
        order.sort_by(|a, b| self.urgency[b.ix()].total_cmp(&self.urgency[a.ix()]));
        order
    }
}

/// Minutes from when it could begin to its finish in an empty lab, with a share for each unit.
fn work(problem: &Problem, alone: &Alone, ix: RequestIx) -> f64 {
    let request = &problem.requests[ix.ix()];
    let begin = request.ready.max(problem.now);
    let alone = alone
        .finish(ix)
        .map_or(Minutes::DAY, |finish| finish - begin);
    let units = request.units.len() as f64;
    (alone.get().max(1) as f64) * units.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_came_out_dear_goes_ahead() {
        let order: Vec<RequestIx> = [2, 0, 1, 3].into_iter().map(RequestIx::from).collect();
        let mut wheel = Wheel::new(&order);
        assert_eq!(wheel.order(), order);
        // The mean is 25: the last goes four places ahead, past all three.
        wheel.turn(&[0, 0, 0, 100]);
        let ahead: Vec<usize> = wheel.order().iter().map(|request| request.ix()).collect();
        assert_eq!(ahead, [3, 2, 0, 1]);
        // Nobody was dear: nothing changes.
        wheel.turn(&[0, 0, 0, 0]);
        assert_eq!(wheel.order()[0].ix(), 3);
    }
}
