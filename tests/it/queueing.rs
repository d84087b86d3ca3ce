//! A rig with one position is a queue: what the usage arithmetic says of waits is held against what queueing
//! theory knows.
//!
//! For Poisson arrivals at rate λ, any service time S, one server and ρ = λ E[S] below 1 the mean wait before service is
//!
//! ```text
//! W = λ E[S²] / (2 (1 − ρ))
//! ```
//!
//! (F. Pollaczek, Über eine Aufgabe der Wahrscheinlichkeitstheorie, 1930; A. Y. Khinchine, Mathematical theory of
//! a stationary queue, 1932; in the form above L. Kleinrock, Queueing Systems, volume 1, 1975, equation 5.66).

use crate::support::events::recorded;
use crate::support::parts::{
    ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
};
use crate::support::random::Random;
use rigday::domain::lab::{Lab, Length, Loading};
use rigday::domain::steps::Walks;
use rigday::domain::{Event, EventBody, Facts, Minute, Minutes, PlanId};
use rigday::floor::Floor;
use rigday::planner::{Rounds, solve};
use rigday::problem::{Figures, compile};
use rigday::usage::{Cause, Usage};

/// 2027-03-01T00:00Z.
const START: Minute = Minute::new(30_064_320);

/// One rig of one position, always staffed, with a request of one unit an arrival.
fn lab(arrivals: &[Minute], services: &[i64]) -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (0, 0), (0, 0), 1)])];
    lab.rigs = vec![rig("press", &["press"], Loading::Each, 1)];
    for minutes in services {
        let id = format!("press-{minutes}");
        let own = method(&id, "press", Length::Hold(Minutes::new(*minutes)));
        lab.sequences.push(sequence(&id, vec![step(&id)]));
        lab.methods.insert(own.id.clone(), own);
    }
    let requests = arrivals.iter().enumerate();
    lab.requests = requests
        .map(|(ix, ready)| {
            let service = services[ix % services.len()];
            request(&format!("R-{ix}"), &format!("press-{service}"), 1, *ready)
        })
        .collect();
    lab
}

/// Arrivals of a Poisson process with that mean gap, to the minute.
fn arrivals(count: usize, mean_gap: f64, random: &mut Random) -> Vec<Minute> {
    let mut at = 0.0;
    let mut next = || {
        at -= mean_gap * random.fraction().ln();
        #[expect(clippy::cast_possible_truncation, reason = "minutes of a few years")]
        let minutes = at.round() as i64;
        START + Minutes::new(minutes)
    };
    (0..count).map(|_| next()).collect()
}

/// When service begins where whoever came first is served first: D. V. Lindley, The theory of queues with a single
/// server, 1952.
fn first_come_first_served(arrivals: &[Minute], services: &[i64]) -> Vec<Minute> {
    let mut free = START;
    let serve = |(arrival, service): (&Minute, &i64)| {
        let begins = free.max(*arrival);
        free = begins + Minutes::new(*service);
        begins
    };
    arrivals.iter().zip(services).map(serve).collect()
}

fn event(before: usize, happened: Minute, body: EventBody) -> Event {
    recorded(before as u64 + 1, happened, body)
}

/// The waits of a lab where every unit was loaded at its minute, by the usage arithmetic.
fn waits_of_history(lab: &Lab, begins: &[Minute], services: &[i64]) -> Vec<f64> {
    let mut bodies = Vec::new();
    for ((own, begin), service) in lab.requests.iter().zip(begins).zip(services) {
        let (unit, rig) = (own.units[0].clone(), lab.rigs[0].id.clone());
        let taken = EventBody::RequestTaken {
            request: own.id.clone(),
            units: own.units.clone(),
        };
        bodies.push((START, taken));
        let started = EventBody::VisitStarted {
            unit: unit.clone(),
            step: 1,
            rig: rig.clone(),
            position: Some(1),
            run: None,
        };
        bodies.push((*begin, started));
        let ended = EventBody::VisitEnded { unit, step: 1, rig };
        bodies.push((*begin + Minutes::new(*service), ended));
    }
    let events = bodies.into_iter().enumerate();
    let floor = Floor::fold(events.map(|(ix, (at, body))| event(ix, at, body)));
    let now = floor.events.last().map_or(START, |event| event.happened);
    let usage = Usage::of(lab, &Walks::new(lab), &floor, now);
    let requests = usage.requests(lab);
    assert_eq!(requests.len(), lab.requests.len());
    let wait = |own: &rigday::usage::RequestTime| {
        // The server never idles while somebody waits, so that every wait is for the rig.
        assert_eq!(own.waits(), own[Cause::Rig], "{}", own.request);
        own.waits().get() as f64
    };
    requests.iter().map(wait).collect()
}

/// Mean and half width of the confidence interval of 99 % by batch means; Student's t of 19 degrees of freedom
/// leaves half a percent above 2.861.
fn by_batches(waits: &[f64]) -> (f64, f64) {
    const BATCHES: usize = 20;
    let means: Vec<f64> = waits
        .chunks_exact(waits.len() / BATCHES)
        .map(|batch| batch.iter().sum::<f64>() / batch.len() as f64)
        .collect();
    assert_eq!(means.len(), BATCHES);
    let mean = means.iter().sum::<f64>() / BATCHES as f64;
    let squares: f64 = means.iter().map(|own| (own - mean).powi(2)).sum();
    let error = (squares / (BATCHES - 1) as f64 / BATCHES as f64).sqrt();
    (mean, 2.861 * error)
}

#[test]
fn the_mean_wait_is_that_of_pollaczek_and_khinchine() {
    const WARM_UP: usize = 1_000;
    // A quarter of the units takes two hours, the others twenty minutes: E[S] = 45, E[S²] = 3900.
    let mix = [120, 20, 20, 20];
    let load = 0.7;
    let rate = load / 45.0;
    let expected = rate * 3900.0 / (2.0 * (1.0 - load));
    let if_all_were_alike = rate * 45.0 * 45.0 / (2.0 * (1.0 - load));
    for seed in [1, 2, 3] {
        let mut random = Random::new(seed);
        let arrivals = arrivals(21_000, 1.0 / rate, &mut random);
        let services: Vec<i64> = arrivals.iter().map(|_| random.pick(&mix)).collect();
        let mut lab = lab(&arrivals, &mix);
        for (own, service) in lab.requests.iter_mut().zip(&services) {
            own.sequence = rigday::domain::SequenceId::new(&format!("press-{service}"));
        }
        let begins = first_come_first_served(&arrivals, &services);
        let waits = waits_of_history(&lab, &begins, &services);
        let (mean, half) = by_batches(&waits[WARM_UP..]);
        let found = format!("seed {seed}: {mean:.1} ± {half:.1} minutes, {expected:.1} expected");
        assert!((mean - expected).abs() <= half, "{found}");
        assert!(half < 0.2 * expected, "{found}: too wide to say anything");
        assert!(
            (mean - if_all_were_alike).abs() > half,
            "{found}: it tells mixes apart"
        );
    }
}

#[test]
fn a_planned_queue_waits_as_long_as_one_that_is_served_as_it_comes() {
    // Where all take the same time, no order that keeps the rig busy waits longer or shorter in sum.
    let service = 45;
    for seed in 1..=10 {
        let mut random = Random::new(seed);
        let arrivals = arrivals(60, f64::from(service) / 0.8, &mut random);
        let lab = lab(&arrivals, &[i64::from(service)]);
        let problem = compile(&lab, &Facts::default(), START);
        let solved = solve(&problem, seed, &Rounds(3), &mut |_| {});
        let figures = Figures {
            bound: None,
            milliseconds: 0,
            seed,
        };
        let plan = problem.plan_in_words(&solved.plan, &solved.because, &figures);
        let bodies = EventBody::publish(&PlanId::new("P-1"), &plan, START);
        let events = bodies.into_iter().enumerate();
        let floor = Floor::fold(events.map(|(ix, body)| event(ix, START, body)));
        let usage = Usage::of(&lab, &Walks::new(&lab), &floor, START);
        let planned: i64 = usage
            .requests(&lab)
            .iter()
            .map(|own| own.waits().get())
            .sum();
        let services = vec![i64::from(service); arrivals.len()];
        let begins = first_come_first_served(&arrivals, &services);
        let waits = begins
            .iter()
            .zip(&arrivals)
            .map(|(begin, arrival)| (*begin - *arrival).get());
        assert_eq!(planned, waits.sum::<i64>(), "seed {seed}");
    }
}
