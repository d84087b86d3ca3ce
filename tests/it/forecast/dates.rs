//! Whether a date that is said to be 80 % sure holds in 80 of 100 cases: on histories of a lab whose true rates
//! are known here and hidden from the forecast.
//!
//! A lab works for six weeks in a world of its own: checks fail, rigs break and are mended, exposures take longer
//! or shorter. What happened becomes a ledger. From that alone the lab plans on and forecasts; then the same
//! world goes on to the end, several times by other chances, and each finish is held against its dates.

use super::is_full;
use crate::support::events::new_event;
use crate::support::parts::{
    WORK_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
};
use crate::support::random::Random;
use rigday::domain::lab::{Length, Loading, Watch};
use rigday::domain::plan::Times;
use rigday::domain::steps::Walks;
use rigday::domain::{
    Booking, CrewId, Event, EventBody, Facts, Lab, Minute, Minutes, Plan, PlanId, Seq, Span,
    Verdict,
};
use rigday::floor::Floor;
use rigday::planner::{Rounds, solve};
use rigday::problem::{Problem, Visit, compile};
use rigday::usage::forecast::{
    Course, Draws, Forecast, History, Lognormal, Rates, SURE, Setting, World, course, forecast,
};

/// Monday 2027-03-01 07:30 UTC.
const BEGIN: Minute = Minute::new(30_064_770);
/// When the forecast is made: a Monday six weeks on.
const WEEKS: i64 = 6;

/// Two crews, a bench of two, three presses, a chamber of four and an oven; every three days a request of
/// four units that are checked, pressed, checked, heated and checked, or pressed twice.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.horizon = Minutes::DAY * 150;
    lab.crews = vec![
        crew("bench", vec![shift(&WORK_WEEK, (7, 0), (17, 0), 2)]),
        crew("mech", vec![shift(&WORK_WEEK, (8, 0), (16, 0), 1)]),
    ];
    let timed = |id: &str, does: &str, loading, positions, minutes| {
        let mut own = rig(id, &[does], loading, positions);
        (own.load, own.unload) = (Minutes::new(minutes), Minutes::new(minutes));
        own
    };
    lab.rigs = vec![
        timed("bench", "look", Loading::Each, 2, 5),
        timed("press-1", "press", Loading::Each, 2, 15),
        timed("press-2", "press", Loading::Each, 2, 15),
        timed("chamber", "heat", Loading::Together, 4, 20),
        timed("oven", "bake", Loading::Held, 8, 10),
    ];
    let held = |id: &str, does: &str, hours| method(id, does, Length::Hold(Minutes::hours(hours)));
    let mut look = held("look", "look", 1);
    (look.watch, look.verdict) = (Watch::Full, true);
    let mut press = held("press", "press", 30);
    press.crew = Some(CrewId::new("mech"));
    let (heat, bake) = (held("heat", "heat", 40), held("bake", "bake", 20));
    for own in [look, press, heat, bake] {
        lab.methods.insert(own.id.clone(), own);
    }
    let walk =
        |id: &str, methods: &[&str]| sequence(id, methods.iter().map(|own| step(own)).collect());
    lab.sequences = vec![
        walk("warm", &["look", "press", "look", "heat", "look"]),
        walk(
            "worn",
            &["look", "press", "look", "press", "look", "bake", "look"],
        ),
    ];
    for ix in 0..20 {
        let ready = BEGIN + Minutes::DAY * (3 * ix);
        let id = format!("R-{ix:02}");
        let mut own = request(&id, if ix % 2 == 0 { "warm" } else { "worn" }, 4, ready);
        own.due = Some(ready + Minutes::DAY * 14);
        if ix >= 14 { "PV" } else { "DV" }.clone_into(&mut own.build);
        lab.requests.push(own);
    }
    lab
}

/// A lab as it really is; other seeds are other labs.
fn world(set: &Setting<'_>, random: &mut Random) -> World {
    let mut between = |low: f64, high: f64| low + (high - low) * random.fraction();
    World {
        fails: set
            .keys
            .checks
            .iter()
            .map(|_| between(0.01, 0.12))
            .collect(),
        breakdowns: (0..5).map(|_| between(0.005, 0.04)).collect(),
        repair: Lognormal {
            mu: between(300.0, 1200.0).ln(),
            sigma: between(0.4, 0.9),
        },
        stays: set
            .keys
            .stays
            .iter()
            .map(|_| Lognormal {
                mu: between(-0.03, 0.08),
                sigma: between(0.02, 0.08),
            })
            .collect(),
    }
}

/// When a visit that loads as it did would have come out if its exposure had taken as long as planned.
fn planned(problem: &Problem, visit: &Visit) -> Times {
    let what = problem.step(visit.unit, visit.step);
    let condition = problem.condition(what);
    let length = problem
        .exposure(what, visit.rig)
        .expect("it was done there");
    let end = visit.times.start + length;
    let unload = problem.rigs[visit.rig.ix()].unload;
    let on = problem.crews[condition.crew.ix()].on.spans().iter();
    let mut rooms = on.map(|span| Span::new(span.start.max(end), span.end));
    let room = rooms
        .find(|room| room.length() >= unload)
        .expect("people come back");
    Times {
        end,
        unload: room.start,
        out: room.start + unload,
        ..visit.times
    }
}

/// What the ledger holds of a course of things up to `now`.
#[expect(
    clippy::too_many_lines,
    reason = "an event a kind, in the order in which they happen"
)]
fn ledger(lab: &Lab, problem: &Problem, course: &Course, now: Minute) -> Floor {
    let mut all: Vec<(Minute, u8, EventBody)> = Vec::new();
    for own in &lab.requests {
        let taken = EventBody::RequestTaken {
            request: own.id.clone(),
            units: own.units.clone(),
        };
        all.push((BEGIN, 0, taken));
    }
    let mut bookings: Vec<Booking> = problem.words(&course.visits, &[]);
    for (booking, visit) in bookings.iter_mut().zip(&course.visits) {
        booking.times = planned(problem, visit);
    }
    let plan = Plan {
        lab: lab.name.clone(),
        now: BEGIN,
        cost: 0,
        bound: None,
        milliseconds: 0,
        seed: 1,
        // What has not happened by now is not known to anybody.
        bookings: bookings
            .iter()
            .filter(|own| own.times.load < now)
            .cloned()
            .collect(),
        requests: Vec::new(),
        unplannable: Vec::new(),
    };
    let published = EventBody::publish(&PlanId::new("P"), &plan, BEGIN);
    all.extend(published.into_iter().map(|body| (BEGIN, 1, body)));
    for (booking, visit) in bookings.into_iter().zip(&course.visits) {
        let (unit, step, rig) = (booking.unit, booking.step, booking.rig);
        let ended = EventBody::VisitEnded {
            unit: unit.clone(),
            step,
            rig: rig.clone(),
        };
        let (position, run) = (booking.position, booking.run);
        all.push((
            visit.times.load,
            4,
            EventBody::VisitStarted {
                unit,
                step,
                rig,
                position,
                run,
            },
        ));
        all.push((visit.times.out, 2, ended));
    }
    for (unit, step, good) in &course.verdicts {
        let mut own = course.visits.iter();
        let visit = own
            .find(|own| own.unit == *unit && own.step == *step)
            .expect("it was checked");
        let verdict = if *good {
            Verdict::Pass
        } else {
            Verdict::Fail {
                reason: "broken".to_owned(),
            }
        };
        let unit = problem.units[unit.ix()].id.clone();
        let step = u32::try_from(step + 1).expect("few steps");
        all.push((
            visit.times.out,
            3,
            EventBody::VerdictGiven {
                unit,
                step,
                verdict,
            },
        ));
    }
    for (rig, span) in &course.breakdowns {
        let rig = problem.rigs[rig.ix()].id.clone();
        let down = EventBody::RigDown {
            rig: rig.clone(),
            reason: "belt".to_owned(),
            until: None,
        };
        all.push((span.start, 5, down));
        all.push((span.end, 1, EventBody::RigUp { rig }));
    }
    all.retain(|(at, ..)| *at <= now);
    all.sort_by_key(|(at, rank, _)| (*at, *rank));
    let event = |(seq, (happened, _, body)): (u64, (Minute, u8, EventBody))| {
        let new = new_event(u128::from(seq), body);
        Event {
            seq: Seq(seq),
            id: new.id,
            happened,
            recorded_ms: 0,
            clock_back: false,
            actor: new.actor.into(),
            body: new.body,
        }
    };
    Floor::fold((1..).zip(all).map(event))
}

/// How many finishes there were, how many lay by the dates of each sureness, and how many were foreseen to.
///
/// Many samples finish in one minute, when a shift begins: by the first date with half of the samples more than
/// half have finished. What is foreseen is the share of samples by that date. In full the date that is 50 % sure
/// held in 56.5 %, where 51.3 were foreseen: it is some five points too cautious.
#[derive(Clone, Copy, Debug, Default)]
struct Held {
    finishes: usize,
    by: [usize; 3],
    foreseen: [f64; 3],
}

impl Held {
    fn take(&mut self, own: &Forecast, problem: &Problem, really: &Course) {
        for request in &own.requests {
            let ix = problem
                .requests
                .iter()
                .position(|other| other.id == request.name);
            let finish = really.finishes[ix.expect("a request of the lab")];
            self.finishes += 1;
            for (held, by) in self.by.iter_mut().zip(request.by) {
                // A date beyond the horizon holds whatever happens.
                *held += usize::from(by.is_none_or(|by| finish.is_some_and(|finish| finish <= by)));
            }
            for (sum, share) in self.foreseen.iter_mut().zip(request.reached) {
                *sum += share;
            }
        }
    }

    fn percent(&self, at: usize) -> f64 {
        100.0 * self.by[at] as f64 / self.finishes.max(1) as f64
    }

    fn foreseen_percent(&self, at: usize) -> f64 {
        100.0 * self.foreseen[at] / self.finishes.max(1) as f64
    }
}

/// One history with its forecast, and several ways in which it may really go on.
fn history(seed: u64, samples: usize, futures: u64, held: &mut Held) {
    let lab = lab();
    let before = compile(&lab, &Facts::default(), BEGIN);
    let plan = solve(&before, 1, &Rounds(0), &mut |_| {}).plan;
    let nothing = History::default();
    let set = Setting::new(&lab, &nothing, &before, &plan);
    let world = world(&set, &mut Random::new(seed));
    let past = course(&set, &world, seed);
    let now = BEGIN + Minutes::DAY * (7 * WEEKS);
    let floor = ledger(&lab, &before, &past, now);
    let facts = floor.facts(&lab, &Walks::new(&lab), now);
    let problem = compile(&lab, &facts, now);
    let plan = solve(&problem, 1, &Rounds(0), &mut |_| {}).plan;
    let history = History::of(&floor);
    let set = Setting::new(&lab, &history, &problem, &plan);
    let rates = Rates::learn(&problem, &set.keys, &history);
    let draws = Draws {
        samples,
        seed,
        threads: 2,
    };
    let own = forecast(&lab, &set, &rates, draws, &|_| true).expect("there are samples");
    for future in 0..futures {
        let really = course(&set, &world, (seed << 20) + future + 1);
        held.take(&own, &problem, &really);
    }
}

#[test]
fn dates_hold_as_often_as_they_are_said_to() {
    let (histories, samples) = if is_full() { (400, 500) } else { (24, 200) };
    let mut held = Held::default();
    for seed in 0..histories {
        history(seed, samples, 5, &mut held);
    }
    println!("{histories} histories, {} finishes", held.finishes);
    for (at, sure) in SURE.iter().enumerate() {
        println!(
            "{:>3.0} % sure: held in {:.1} %, foreseen {:.1} %",
            sure * 100.0,
            held.percent(at),
            held.foreseen_percent(at)
        );
    }
    // Four of five dates hold, whatever was foreseen.
    let kept = held.percent(1);
    assert!(!is_full() || (75.0..=85.0).contains(&kept), "{kept}");
    // Finishes of one history hang together: it counts as one case of each future.
    let cases = histories as f64 * 5.0;
    for (at, sure) in SURE.iter().enumerate() {
        let off = 7.0
            + if is_full() {
                0.0
            } else {
                100.0 * 2.5 * (sure * (1.0 - sure) / cases).sqrt()
            };
        let (found, foreseen) = (held.percent(at), held.foreseen_percent(at));
        assert!(
            (found - foreseen).abs() <= off,
            "{sure}: {found} {foreseen}"
        );
        assert!(foreseen >= sure * 100.0 - 1e-9, "{sure}: {foreseen}");
    }
}
