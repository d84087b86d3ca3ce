//! Walks without chance are the plan; with chance they are what can be worked out by hand.

use super::*;
use crate::domain::Facts;
use crate::planner::{Rounds, solve};
use crate::problem::{Plan, Problem, compile};
use std::path::Path;

fn demo() -> (Lab, Problem, Plan) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    let lab = crate::lab::read(&folder)
        .expect("the demo lab has no fault")
        .lab;
    let now = crate::lab::parse_instant("2027-03-01T06:50", Some(&lab.zone)).expect("an instant");
    let problem = compile(&lab, &Facts::default(), now);
    let plan = solve(&problem, 1, &Rounds(20), &mut |_| {}).plan;
    (lab, problem, plan)
}

/// Nothing fails, nothing breaks, all takes as long as planned.
fn calm(set: &Setting<'_>) -> World {
    World {
        fails: vec![0.0; set.keys.checks.len()],
        breakdowns: vec![0.0; set.problem.rigs.len()],
        repair: Lognormal {
            mu: 6.0,
            sigma: 0.5,
        },
        stays: vec![
            Lognormal {
                mu: 0.0,
                sigma: 0.0
            };
            set.keys.stays.len()
        ],
    }
}

#[test]
fn where_nothing_happens_the_walk_is_the_plan() {
    let (lab, problem, plan) = demo();
    let set = Setting::new(&lab, &History::default(), &problem, &plan);
    let own = course(&set, &calm(&set), 1);
    assert_eq!(own.visits.len(), plan.visits.len());
    let mut later = 0;
    for (request, (finish, planned)) in own.finishes.iter().zip(plan.finishes(&problem)).enumerate()
    {
        let by = finish.expect("it finishes") - planned.expect("it is planned");
        println!("{} {by}", problem.requests[request].id);
        later += by.get().max(0);
    }
    let differ = own
        .visits
        .iter()
        .zip(&plan.visits)
        .filter(|(a, b)| a.times != b.times)
        .count();
    println!("{differ} of {} differ; later {later}", plan.visits.len());
    assert_eq!(later, 0);
}
