//! Labs of a few minutes: small enough that every plan of them can be tried.

use super::parts::{
    ALL_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use super::random::Random;
use rigday::domain::lab::{Length, Loading, Pin, Rest, Shift, Watch};
use rigday::domain::time::Span;
use rigday::domain::{Facts, Lab, Minute, Minutes};
use rigday::planner::{Rounds, solve};
use rigday::problem::{compile, facts_of_plan};

/// Monday 2027-03-01 08:00 UTC.
const MORNING: i64 = 30_064_320 + 480;
/// Visits of a lab, at most.
const VISITS: usize = 6;

/// A lab, what has happened in it, and the instant to plan from.
pub(crate) fn tiny_lab(seed: u64) -> (Lab, Facts, Minute) {
    let mut random = Random::new(seed);
    let mut lab = empty_lab();
    let now = Minute::new(MORNING);
    lab.horizon = Minutes::new(random.range(40, 60));
    for ix in 0..random.range(1, 2) {
        let shifts = shifts(&mut random);
        lab.crews.push(crew(&format!("crew-{ix}"), shifts));
    }
    rigs(&mut lab, &mut random);
    methods(&mut lab, &mut random);
    requests(&mut lab, &mut random);
    if random.chance(30) {
        let from = now + Minutes::new(random.range(0, 20));
        let span = Span::new(from, from + Minutes::new(random.range(1, 10)));
        let rig = random.pick(&lab.rigs).id;
        lab.outages.push(outage(rig.as_str(), span));
    }
    match random.below(5) {
        0 => pin(&mut lab, now, &mut random),
        1 => return later(lab, now, &mut random),
        _ => (),
    }
    (lab, Facts::default(), now)
}

fn shifts(random: &mut Random) -> Vec<Shift> {
    let people = random.count(1, 2);
    if random.chance(50) {
        return vec![shift(&ALL_WEEK, (7, 30), (9, 30), people)];
    }
    let (end, next) = (random.count(8, 25), random.count(26, 34));
    vec![
        shift(&ALL_WEEK, (7, 50), (8, end), people),
        shift(&ALL_WEEK, (8, next), (9, 10), random.count(1, 2)),
    ]
}

fn rigs(lab: &mut Lab, random: &mut Random) {
    for ix in 0..random.range(1, 3) {
        let words: &[&str] = random.pick(&[&["a"][..], &["b"][..], &["a", "b"][..]]);
        let words = if ix == 0 { &["a", "b"][..] } else { words };
        let loading = random.pick(&[Loading::Each, Loading::Together, Loading::Held]);
        let mut own = rig(&format!("rig-{ix}"), words, loading, random.count(1, 3));
        own.load = Minutes::new(random.range(0, 2));
        own.unload = Minutes::new(random.range(0, 2));
        own.changeover = Minutes::new(random.pick(&[0, 0, 3]));
        lab.rigs.push(own);
    }
}

fn methods(lab: &mut Lab, random: &mut Random) {
    for ix in 0..3 {
        let word = random.pick(&["a", "b"]);
        let hold = Length::Hold(Minutes::new(random.range(2, 8)));
        let mut own = method(&format!("m-{ix}"), word, hold);
        own.watch = random.pick(&[Watch::None, Watch::None, Watch::Site, Watch::Full]);
        own.pausable = random.chance(40);
        own.max_wait = random.chance(40).then(|| Minutes::new(random.range(0, 4)));
        own.crew = Some(random.pick(&lab.crews).id);
        lab.methods.insert(own.id.clone(), own);
    }
}

fn requests(lab: &mut Lab, random: &mut Random) {
    let mut visits = 0;
    for ix in 0..random.range(1, 3) {
        let id = format!("R-{ix}");
        let steps = 1 + random.below(3);
        let units = (1 + random.below(3)).min((VISITS - visits) / steps);
        if units == 0 {
            continue;
        }
        visits += units * steps;
        let mut walk: Vec<_> = (0..steps)
            .map(|_| step(&format!("m-{}", random.below(3))))
            .collect();
        for own in &mut walk[1..] {
            let min = Minutes::new(random.pick(&[0, 0, 1, 3]));
            let spread = Minutes::new(random.range(0, 6));
            let max = random.chance(40).then(|| min + spread);
            own.rest = Rest { min, max };
        }
        lab.sequences.push(sequence(&id, walk));
        let ready = Minute::new(MORNING + random.range(-3, 6));
        let mut own = request(&id, &id, units, ready);
        own.priority = u8::try_from(random.range(1, 9)).expect("small");
        own.keep_together = random.chance(20);
        own.due = random
            .chance(60)
            .then(|| ready + Minutes::new(random.range(5, 30)));
        lab.requests.push(own);
    }
}

/// Pins one visit of a valid plan where it is.
fn pin(lab: &mut Lab, now: Minute, random: &mut Random) {
    let problem = compile(lab, &Facts::default(), now);
    let plan = solve(&problem, 1, &Rounds(0), &mut |_| {}).plan;
    let bookings = problem.words(&plan.visits, &[]);
    if bookings.is_empty() {
        return;
    }
    let booking = random.pick(&bookings);
    lab.pins.push(Pin {
        unit: booking.unit,
        step: booking.step,
        rig: booking.rig,
        start: booking.times.load,
    });
}

/// The lab some minutes on, a plan having been followed; nothing of it is in force any more.
fn later(lab: Lab, start: Minute, random: &mut Random) -> (Lab, Facts, Minute) {
    let now = start + Minutes::new(random.range(2, 12));
    let problem = compile(&lab, &Facts::default(), start);
    let plan = solve(&problem, 1, &Rounds(1), &mut |_| {}).plan;
    let mut facts = facts_of_plan(&problem.words(&plan.visits, &[]), now);
    facts.published.clear();
    (lab, facts, now)
}
