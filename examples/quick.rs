use rigday::{
    checker,
    clock::{Clock, SystemClock},
    lab, planner, problem,
    report::plan_json,
};
use std::time::Duration;
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let clock = SystemClock::default();
    let folder = std::path::Path::new(&args[1]);
    let secs: f64 = args[2].parse().unwrap();
    let t0 = clock.elapsed();
    let read = match lab::read(folder) {
        Ok(r) => r,
        Err(f) => {
            println!("{f}");
            return;
        }
    };
    let at = std::fs::read_to_string(folder.join("at.txt")).unwrap();
    let now = lab::parse_instant(at.trim(), None).unwrap();
    let t1 = clock.elapsed();
    let pb = problem::compile(&read.lab, &rigday::domain::Facts::default(), now);
    let t2 = clock.elapsed();
    let el = || clock.elapsed();
    let mut b = planner::budget::Time {
        elapsed: &el,
        until: t2 + Duration::from_secs_f64(secs),
    };
    let mut first = None;
    let s = planner::solve(&pb, 1, &mut b, &mut |p| {
        if first.is_none() {
            first = Some((clock.elapsed(), p.cost));
        }
    });
    let t3 = clock.elapsed();
    let cl = checker::check(&pb, &s.plan);
    let t4 = clock.elapsed();
    println!(
        "{} read {:?} compile {:?} first {:?} cost {} total {:?} check {:?} visits {} cost {} bound {} gap {:.3} rounds {} left {} clashes {}",
        args[1],
        t1 - t0,
        t2 - t1,
        first.unwrap().0 - t2,
        first.unwrap().1,
        t3 - t2,
        t4 - t3,
        s.plan.visits.len(),
        s.cost,
        s.bound,
        (s.cost - s.bound) as f64 / s.cost.max(1) as f64,
        s.rounds,
        s.plan.left.len(),
        cl.len()
    );
    for c in cl.iter().take(8) {
        println!("  {} {}", c.rule.name(), c.text);
    }
    if args.len() > 3 {
        let p = pb.plan_in_words(
            &s.plan,
            &s.because,
            &problem::Figures {
                bound: Some(s.bound),
                milliseconds: 1,
                seed: 1,
            },
        );
        std::fs::write(&args[3], plan_json::to_json(&p)).unwrap();
    }
}
