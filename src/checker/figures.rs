//! The figures of a plan file: cost, finishes and bound must be those of its visits.

use super::{Clash, Rule};
use crate::domain::plan;
use crate::domain::zone::utc_text;
use crate::problem::{Plan, Problem, RequestIx};
use std::collections::BTreeMap;

/// Every figure of `said` that is not that of `plan`.
pub fn check_figures(problem: &Problem, plan: &Plan, said: &plan::Plan) -> Vec<Clash> {
    let mut texts = Vec::new();
    if said.lab != problem.lab {
        texts.push(format!(
            "the plan is of the lab {:?}, not of {:?}",
            said.lab, problem.lab
        ));
    }
    let left = |ix: usize| plan.left.iter().any(|left| left.request.ix() == ix);
    let mut finishes: BTreeMap<_, _> = BTreeMap::new();
    let mut cost = 0;
    for (ix, finish) in plan.finishes(problem).into_iter().enumerate() {
        if let Some(finish) = finish.filter(|_| !left(ix)) {
            cost += problem.cost_at(RequestIx::from(ix), finish);
            finishes.insert(problem.requests[ix].id.clone(), (ix, finish));
        }
    }
    if said.cost != cost {
        texts.push(format!(
            "the plan says it costs {}; it costs {cost}",
            said.cost
        ));
    }
    if let Some(bound) = said.bound.filter(|bound| *bound > cost) {
        texts.push(format!(
            "the plan says nothing costs less than {bound}; it costs {cost} itself"
        ));
    }
    for own in &said.requests {
        let Some((ix, finish)) = finishes.remove(&own.request) else {
            texts.push(format!(
                "{} is listed twice, or it is not planned",
                own.request
            ));
            continue;
        };
        let late = Plan::late(problem, RequestIx::from(ix), finish);
        let flow = finish - problem.requests[ix].ready;
        if (own.finish, own.late, own.flow) != (finish, late, flow) {
            texts.push(format!(
                "{} finishes at {}, {} min late, after {} min; the plan says otherwise",
                own.request,
                utc_text(finish),
                late.get(),
                flow.get()
            ));
        }
    }
    texts.extend(
        finishes
            .keys()
            .map(|id| format!("{id} is planned, but not in the list of requests")),
    );
    let clash = |text| Clash {
        rule: Rule::Figures,
        unit: None,
        step: None,
        rig: None,
        span: None,
        text,
    };
    texts.into_iter().map(clash).collect()
}
