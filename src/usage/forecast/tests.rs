//! Walks without chance are the plan; with chance they are what can be worked out by hand.

use super::*;
use crate::domain::{Facts, Minutes};
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
    assert!(own.verdicts.iter().all(|(_, _, good)| *good));
    let planned = plan.finishes(&problem);
    for (request, (finish, planned)) in own.finishes.iter().zip(&planned).enumerate() {
        let request = RequestIx::from(request);
        if set.left.contains(&request) {
            assert_eq!(*finish, None);
            continue;
        }
        // What comes earlier takes people that others had: nobody finishes an hour later for it.
        let by = finish.expect("it finishes") - planned.expect("it is planned");
        assert!(
            by <= Minutes::hours(1),
            "{} {by}",
            problem.requests[request.ix()].id
        );
    }
}

fn forecast_of(
    threads: usize,
    seed: u64,
    going: &(dyn Fn(usize) -> bool + Sync),
) -> Option<Forecast> {
    let (lab, problem, plan) = demo();
    let set = Setting::new(&lab, &History::default(), &problem, &plan);
    let rates = Rates::unknown(&problem, &set.keys);
    let draws = Draws {
        samples: 30,
        seed,
        threads,
    };
    forecast(&lab, &set, &rates, draws, going)
}

#[test]
fn a_forecast_depends_on_its_seed_and_not_on_threads() {
    let one = forecast_of(1, 1, &|_| true).expect("there are samples");
    assert_eq!(Some(&one), forecast_of(3, 1, &|_| true).as_ref());
    assert_ne!(Some(&one), forecast_of(1, 2, &|_| true).as_ref());
    assert_eq!(one.samples, 30);
    assert!(one.repairs > 0.0, "rigs break and plans are repaired");
    for own in &one.requests {
        let [half, most, nearly] = own.by.map(|by| by.unwrap_or(Minute::LAST));
        assert!(half <= most && most <= nearly, "{}", own.name);
        let shares: f64 = own.decided.iter().map(|(_, share)| share).sum();
        assert!((shares - 1.0).abs() < 1e-9, "{}: {shares}", own.name);
    }
}

#[test]
fn who_says_stop_gets_the_samples_there_are() {
    let some = forecast_of(1, 1, &|done| done < 7).expect("there are samples");
    assert_eq!(some.samples, 7);
}

/// A lab of one rig that is always open: request A of one unit looks, runs `hours` and looks again.
fn small(hours: i64) -> (Lab, Minute) {
    use crate::domain::lab::{Length, Loading};
    use crate::domain::parts::{
        ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
    };
    let begin = Minute::new(30_064_320);
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (0, 0), (0, 0), 2)])];
    lab.rigs = vec![rig("rig", &["look", "run"], Loading::Each, 1)];
    let held = |id: &str, hours| method(id, id, Length::Hold(Minutes::hours(hours)));
    let mut look = held("look", 1);
    look.verdict = true;
    for own in [look, held("run", hours)] {
        lab.methods.insert(own.id.clone(), own);
    }
    lab.sequences = vec![sequence("s", ["look", "run", "look"].map(step).to_vec())];
    let mut own = request("A", "s", 1, begin);
    own.due = Some(begin + Minutes::hours(hours + 2));
    lab.requests = vec![own];
    (lab, begin)
}

/// Courses of the small lab in a world, and how its plan finishes.
fn courses(hours: i64, change: impl Fn(&mut World)) -> Vec<Course> {
    let (lab, begin) = small(hours);
    let problem = compile(&lab, &Facts::default(), begin);
    let plan = solve(&problem, 1, &Rounds(0), &mut |_| {}).plan;
    let set = Setting::new(&lab, &History::default(), &problem, &plan);
    let mut world = calm(&set);
    change(&mut world);
    (0..4000).map(|seed| course(&set, &world, seed)).collect()
}

fn share(courses: &[Course], counts: impl Fn(&Course) -> bool) -> f64 {
    courses.iter().filter(|own| counts(own)).count() as f64 / courses.len() as f64
}

#[test]
fn a_unit_that_fails_at_its_first_check_is_out_after_it() {
    let all = courses(40, |world| world.fails = vec![0.3, 0.0]);
    let early = share(&all, |own| own.visits.len() == 1);
    // 0.3 with a standard error of 0.0072.
    assert!((early - 0.3).abs() < 0.03, "{early}");
    assert!(
        all.iter()
            .all(|own| own.visits.len() == 1 || own.visits.len() == 3)
    );
}

#[test]
fn breakdowns_come_at_their_rate_and_hold_up_what_is_on_the_rig() {
    let all = courses(46, |world| {
        world.breakdowns = vec![0.25];
        world.repair = Lognormal {
            mu: 600.0_f64.ln(),
            sigma: 0.0,
        };
    });
    // Two days without a breakdown at a quarter a day: e^-0.5.
    let calm = share(&all, |own| {
        own.finishes[0] == Some(Minute::new(30_064_320) + Minutes::hours(48))
    });
    assert!((calm - (-0.5_f64).exp()).abs() < 0.03, "{calm}");
    // Whoever was held up came out ten hours later for each breakdown.
    for own in &all {
        let finish = own.finishes[0].expect("it finishes") - Minute::new(30_064_320);
        let broken = (finish - Minutes::hours(48)).get();
        assert!(broken % 600 == 0 && broken >= 0, "{broken}");
    }
}

#[test]
fn exposures_take_as_long_as_their_rig_and_method_do() {
    let all = courses(46, |world| {
        world.stays = vec![
            Lognormal {
                mu: 0.1,
                sigma: 0.2
            };
            world.stays.len()
        ];
    });
    let longer = |own: &Course| {
        let run = own.visits[1].times;
        (run.end - run.start).get() as f64 / Minutes::hours(46).get() as f64
    };
    let logs: Vec<f64> = all.iter().map(|own| longer(own).ln()).collect();
    let mean = logs.iter().sum::<f64>() / logs.len() as f64;
    let spread =
        (logs.iter().map(|own| (own - mean).powi(2)).sum::<f64>() / logs.len() as f64).sqrt();
    assert!(
        (mean - 0.1).abs() < 0.015 && (spread - 0.2).abs() < 0.01,
        "{mean} {spread}"
    );
}
