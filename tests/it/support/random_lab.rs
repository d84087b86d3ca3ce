//! Small random labs in which every rule of planning has something to say.
//!
//! The same seed gives the same lab. Every unit that can be planned alone can also be planned beside the
//! others: rigs whose calibration ends soon have a twin, pins are taken from a valid plan, and requests
//! that keep together have wide rests.

use super::parts::{
    ALL_WEEK, Fri, Mon, Sat, Sun, Thu, WORK_WEEK, Wed, crew, empty_lab, every, method, outage,
    request, rig, sequence, shift, step,
};
use super::random::Random;
use rigday::domain::facts::{Stop, StopReason};
use rigday::domain::lab::{Amount, Crew, Length, Limit, Loading, Method, Pin, Rest, Rig};
use rigday::domain::lab::{Pace, Segment, Step, Watch};
use rigday::domain::time::Span;
use rigday::domain::{Facts, Lab, Minute, Minutes, UnitId, Zone};
use rigday::planner::{Rounds, solve};
use rigday::problem::{compile, facts_of_plan};
use std::sync::LazyLock;

/// Monday 2027-03-01 00:00 UTC.
const MONDAY: i64 = 30_064_320;

/// Zones whose clocks change by an hour, by half an hour, or never.
static ZONES: LazyLock<Vec<Zone>> = LazyLock::new(|| {
    let names = [
        "UTC",
        "Europe/Lisbon",
        "America/New_York",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
    ];
    let zone = |name: &&str| rigday::clock::zone(name).expect("a known zone");
    names.iter().map(zone).collect()
});

/// A lab, what has happened in it, and the instant to plan from.
pub(crate) fn random_lab(seed: u64) -> (Lab, Facts, Minute) {
    let mut random = Random::new(seed);
    let start = Minute::new(MONDAY + random.range(0, 365 * 1440));
    let mut maker = Maker {
        lab: empty_lab(),
        start,
        random: &mut random,
    };
    maker.frame();
    maker.crews();
    maker.rigs();
    maker.methods();
    maker.outages();
    maker.requests();
    maker.hopeless();
    let mut lab = maker.lab;
    if random.chance(25) {
        pins(&mut lab, start, &mut random);
    }
    if random.chance(34) {
        return later(lab, start, &mut random);
    }
    (lab, Facts::default(), start)
}

struct Maker<'r> {
    lab: Lab,
    start: Minute,
    random: &'r mut Random,
}

impl Maker<'_> {
    fn frame(&mut self) {
        let random = &mut *self.random;
        self.lab.zone = random.pick(&ZONES);
        self.lab.horizon = Minutes::DAY * random.range(90, 120);
        self.lab.freeze = Minutes::hours(random.pick(&[0, 4, 24, 72]));
        let today = self.lab.zone.local(self.start).date();
        for _ in 0..random.range(0, 4) {
            let days = random.range(0, 30).unsigned_abs();
            self.lab.closed.insert(today + chrono::Days::new(days));
        }
    }

    fn crews(&mut self) {
        let people = self.random.count(1, 3);
        let from = (self.random.count(6, 9), self.random.pick(&[0, 30]));
        let first = shift(&WORK_WEEK, from, (from.0 + 8, from.1), people);
        self.lab.crews.push(crew("crew-0", vec![first]));
        for ix in 1..self.random.range(1, 3) {
            let odd = odd_crew(&format!("crew-{ix}"), self.random);
            self.lab.crews.push(odd);
        }
    }

    fn rigs(&mut self) {
        self.lab.rigs.push(bench(0, self.random));
        for ix in 1..self.random.below(4) + 2 {
            let make = self
                .random
                .pick(&[bench, slide, chamber, oven, chamber, oven]);
            let own = make(ix, self.random);
            self.lab.rigs.push(own);
        }
        self.calibration();
    }

    /// A date that cuts the plan short only where a twin of the rig goes on.
    fn calibration(&mut self) {
        let today = self.lab.zone.local(self.start).date();
        let after = |days: i64| today + chrono::Days::new(days.unsigned_abs());
        for ix in 0..self.lab.rigs.len() {
            if !self.random.chance(25) {
                continue;
            }
            let twin = self.random.chance(60) && self.lab.rigs.len() < 5;
            let days = if twin {
                self.random.range(0, 12)
            } else {
                self.random.range(50, 100)
            };
            if twin {
                let mut twin = self.lab.rigs[ix].clone();
                twin.id = rigday::domain::RigId::new(&format!("{}-twin", twin.id));
                self.lab.rigs.push(twin);
            }
            self.lab.rigs[ix].calibration_due = Some(after(days));
        }
    }

    fn methods(&mut self) {
        let mut methods = vec![look(self.random), try_out(self.random)];
        if self.has("slide") {
            methods.extend(["slide-a", "slide-b"].map(|id| slide_method(id, self.random)));
        }
        if self.has("heat") {
            methods.extend(
                [("heat-60", 60.0), ("heat-85", 85.0)]
                    .map(|(id, at)| heat_method(id, at, self.random)),
            );
        }
        if self.has("climate") {
            methods.extend(["cycle-a", "cycle-b"].map(|id| climate_method(id, self.random)));
        }
        for mut own in methods {
            let crew = self.random.below(self.lab.crews.len());
            own.crew =
                (crew > 0 || self.random.chance(50)).then(|| self.lab.crews[crew].id.clone());
            self.lab.methods.insert(own.id.clone(), own);
        }
    }

    fn has(&self, word: &str) -> bool {
        self.lab.rigs.iter().any(|rig| rig.does.contains(word))
    }

    fn outages(&mut self) {
        for _ in 0..self.random.range(0, 3) {
            let rig = self.random.pick(&self.lab.rigs).id;
            let from = self.start + Minutes::new(self.random.range(-600, 20 * 1440));
            let until = from + Minutes::new(self.random.range(30, 3 * 1440));
            self.lab
                .outages
                .push(outage(rig.as_str(), Span::new(from, until)));
        }
    }

    fn requests(&mut self) {
        for ix in 0..self.random.range(2, 6) {
            let together = self.random.chance(30);
            let id = format!("R-{ix}");
            let steps = self.steps(together);
            self.lab.sequences.push(sequence(&id, steps));
            let units = if together {
                self.random.below(2) + 2
            } else {
                self.random.below(4) + 1
            };
            let ready = self.start + Minutes::new(self.random.range(-2 * 1440, 8 * 1440));
            let mut own = request(&id, &id, units, ready);
            self.random
                .pick(&["latch", "strut"])
                .clone_into(&mut own.product);
            own.priority = u8::try_from(self.random.range(1, 9)).expect("small");
            own.keep_together = together;
            own.due = self
                .random
                .chance(70)
                .then(|| ready + Minutes::new(self.random.range(1, 20 * 1440)));
            self.lab.requests.push(own);
        }
    }

    fn steps(&mut self, together: bool) -> Vec<Step> {
        let names: Vec<String> = self.lab.methods.keys().map(ToString::to_string).collect();
        let mut steps: Vec<Step> = (0..self.random.range(1, 6))
            .map(|_| step(&self.random.pick(&names)))
            .collect();
        for (ix, own) in steps.iter_mut().enumerate() {
            if self.lab.methods[&own.method].does == "slide" && self.random.chance(20) {
                own.every = Some(every(Amount::Cycles(3_000), "look"));
            }
            if self.lab.methods[&own.method].does == "heat" && self.random.chance(20) {
                own.length = Some(Amount::Hold(Minutes::hours(self.random.range(2, 30))));
            }
            if ix > 0 {
                own.rest = rest(together, self.random);
            }
        }
        steps
    }

    /// In one lab of four, one more request, which mostly nobody can do.
    fn hopeless(&mut self) {
        if !self.random.chance(25) {
            return;
        }
        let id = "R-hopeless";
        let mut last = step("hopeless");
        let mut own = request(id, id, 1, self.start);
        let mut bad = method("hopeless", "look", Length::Hold(Minutes::new(10)));
        match self.random.below(8) {
            0 => "nothing-here".clone_into(&mut bad.does),
            1 => drop(bad.severity.insert("force_n".to_owned(), 5_000.0)),
            2 => bad.length = Length::Cycles(100),
            3 => (bad.watch, bad.length) = (Watch::Full, Length::Hold(Minutes::hours(60))),
            4 => bad.length = Length::Hold(self.lab.horizon + Minutes::DAY),
            5 => {
                last.rest = Rest {
                    min: self.lab.horizon,
                    max: None,
                }
            }
            6 => {
                own.ready = self.start + Minutes::DAY;
                self.lab.pins.push(Pin {
                    unit: UnitId::new(&format!("{id}/1")),
                    step: 1,
                    rig: self.lab.rigs[0].id.clone(),
                    start: self.start + Minutes::hours(20),
                });
            }
            _ => {
                let mut small = rig("small", &["small"], Loading::Together, 2);
                small.heat_k_per_min = Some(2.0);
                self.lab.rigs.push(small);
                "small".clone_into(&mut bad.does);
                own = request(id, id, 3, self.start);
                own.keep_together = true;
            }
        }
        self.lab.methods.insert(bad.id.clone(), bad);
        self.lab
            .sequences
            .push(sequence(id, vec![step("look"), last]));
        self.lab.requests.push(own);
    }
}

fn odd_crew(id: &str, random: &mut Random) -> Crew {
    let people = random.count(1, 3);
    let shifts = match random.below(7) {
        0 => vec![shift(&WORK_WEEK, (22, 0), (6, 0), people)],
        1 => vec![
            shift(&ALL_WEEK, (20, 0), (23, 30), people),
            shift(&ALL_WEEK, (1, 0), (5, 0), people),
        ],
        2 => vec![shift(&[Mon, Wed, Fri], (9, 0), (14, 0), people)],
        3 => vec![
            shift(&[Sat, Sun], (8, 0), (18, 0), people),
            shift(&[Thu], (12, 0), (20, 0), 1),
        ],
        4 => vec![shift(&ALL_WEEK, (0, 0), (0, 0), people)],
        5 => vec![
            shift(&WORK_WEEK, (6, 0), (14, 0), people),
            shift(&WORK_WEEK, (13, 30), (22, 0), people),
        ],
        _ => vec![
            shift(&WORK_WEEK, (8, 0), (12, 0), people),
            shift(&WORK_WEEK, (12, 45), (17, 15), people),
        ],
    };
    crew(id, shifts)
}

fn times(own: &mut Rig, load: (i64, i64), changeover: (i64, i64), random: &mut Random) {
    own.load = Minutes::new(random.range(load.0, load.1));
    own.unload = Minutes::new(random.range(load.0, load.1));
    if random.chance(70) {
        own.changeover = Minutes::new(random.range(changeover.0, changeover.1));
    }
}

fn limit(own: &mut Rig, name: &str, min: f64, max: f64) {
    own.limits.insert(name.to_owned(), Limit { min, max });
}

fn bench(ix: usize, random: &mut Random) -> Rig {
    let positions = random.count(1, 4);
    let mut own = rig(&format!("bench-{ix}"), &["look"], Loading::Each, positions);
    times(&mut own, (0, 8), (5, 40), random);
    own
}

fn slide(ix: usize, random: &mut Random) -> Rig {
    let positions = random.count(1, 2);
    let mut own = rig(&format!("slide-{ix}"), &["slide"], Loading::Each, positions);
    times(&mut own, (5, 25), (10, 120), random);
    own.cycles_per_min = Some(random.pick(&[12.5, 20.0, 37.0]));
    limit(&mut own, "force_n", 0.0, 1_000.0);
    own
}

fn chamber(ix: usize, random: &mut Random) -> Rig {
    let positions = random.count(3, 6);
    let words: &[&str] = random.pick(&[&["climate"][..], &["climate", "heat"][..]]);
    let mut own = rig(
        &format!("chamber-{ix}"),
        words,
        Loading::Together,
        positions,
    );
    times(&mut own, (5, 30), (20, 180), random);
    own.heat_k_per_min = Some(random.pick(&[1.5, 3.0]));
    own.cool_k_per_min = Some(random.pick(&[1.0, 2.0]));
    limit(&mut own, "temperature_c", -40.0, 130.0);
    limit(&mut own, "humidity_rh", 10.0, 98.0);
    own
}

fn oven(ix: usize, random: &mut Random) -> Rig {
    let positions = random.count(2, 6);
    let mut own = rig(&format!("oven-{ix}"), &["heat"], Loading::Held, positions);
    times(&mut own, (0, 10), (30, 240), random);
    limit(&mut own, "temperature_c", 30.0, 150.0);
    own
}

fn look(random: &mut Random) -> Method {
    let hold = Length::Hold(Minutes::new(random.range(5, 40)));
    let mut own = method("look", "look", hold);
    own.watch = random.pick(&[Watch::Full, Watch::Full, Watch::None]);
    own.verdict = true;
    own
}

/// A long bench trial that pauses over night.
fn try_out(random: &mut Random) -> Method {
    let hold = Length::Hold(Minutes::new(random.range(60, 540)));
    let mut own = method("try-out", "look", hold);
    own.watch = random.pick(&[Watch::Full, Watch::Site]);
    own.pausable = true;
    own
}

fn slide_method(id: &str, random: &mut Random) -> Method {
    let cycles = random.range(500, 8_000).unsigned_abs();
    let mut own = method(id, "slide", Length::Cycles(cycles));
    own.severity.insert("force_n".to_owned(), 200.0);
    (own.watch, own.pausable) = random.pick(&[
        (Watch::None, false),
        (Watch::Site, true),
        (Watch::Full, true),
        (Watch::Site, false),
    ]);
    own.max_wait = max_wait(random);
    own
}

fn heat_method(id: &str, at: f64, random: &mut Random) -> Method {
    let hold = Minutes::new(random.range(60, 30 * 60));
    let mut own = method(id, "heat", Length::Hold(hold));
    own.severity.insert("temperature_c".to_owned(), at);
    own.watch = random.pick(&[Watch::None, Watch::None, Watch::None, Watch::Site]);
    own.max_wait = max_wait(random);
    own
}

fn climate_method(id: &str, random: &mut Random) -> Method {
    let segment = |random: &mut Random| Segment {
        to_c: random.chance(80).then(|| random.range(-30, 90) as f64),
        to_rh: random.chance(40).then(|| random.range(20, 95) as f64),
        pace: if random.chance(30) {
            Pace::Rate(0.8)
        } else {
            Pace::Own
        },
        hold: Minutes::new(random.range(10, 400)),
    };
    let segments = (0..random.range(1, 3)).map(|_| segment(random)).collect();
    let length = Length::Profile {
        segments,
        repeat: random.count(1, 4),
    };
    let mut own = method(id, "climate", length);
    own.max_wait = max_wait(random);
    own
}

fn max_wait(random: &mut Random) -> Option<Minutes> {
    random
        .chance(40)
        .then(|| Minutes::hours(random.pick(&[4, 16, 24, 72])))
}

fn rest(together: bool, random: &mut Random) -> Rest {
    let min = Minutes::new(random.pick(&[0, 0, 30, 60, 240, 1440]));
    let spread = if together {
        Minutes::DAY * random.range(8, 15)
    } else {
        Minutes::new(random.range(120, 5 * 1440))
    };
    Rest {
        min,
        max: random.chance(45).then(|| min + spread),
    }
}

/// Pins one or two visits of a valid plan where they are.
fn pins(lab: &mut Lab, start: Minute, random: &mut Random) {
    let problem = compile(lab, &Facts::default(), start);
    let plan = solve(&problem, 1, &Rounds(0), &mut |_| {}).plan;
    let bookings = problem.words(&plan.visits, &[]);
    if bookings.is_empty() {
        return;
    }
    for _ in 0..random.range(1, 2) {
        let booking = random.pick(&bookings);
        let known = |pin: &Pin| (&pin.unit, pin.step) == (&booking.unit, booking.step);
        if !lab.pins.iter().any(known) {
            lab.pins.push(Pin {
                unit: booking.unit,
                step: booking.step,
                rig: booking.rig,
                start: booking.times.load,
            });
        }
    }
}

/// The lab some hours or days on: a published plan was followed, and mostly something has come between.
fn later(lab: Lab, start: Minute, random: &mut Random) -> (Lab, Facts, Minute) {
    let now = start + Minutes::new(random.range(60, 15 * 1440));
    let mut then = lab.clone();
    if random.chance(30) {
        let last = then.requests.pop().expect("there are at least two");
        then.pins.retain(|pin| !last.units.contains(&pin.unit));
    }
    let problem = compile(&then, &Facts::default(), start);
    let plan = solve(&problem, 1, &Rounds(1), &mut |_| {}).plan;
    let mut facts = facts_of_plan(&problem.words(&plan.visits, &[]), now);
    if random.chance(25) {
        let rig = random.pick(&lab.rigs).id;
        let until = now + Minutes::new(random.range(30, 2 * 1440));
        facts
            .outages
            .push(outage(rig.as_str(), Span::new(now, until)));
    }
    if random.chance(20) {
        let request = random.pick(&lab.requests);
        facts.stops.push(Stop {
            unit: random.pick(&request.units),
            after_step: random.count(0, 2),
            why: random.pick(&[StopReason::Withdrawn, StopReason::Failed, StopReason::Held]),
        });
    }
    (lab, facts, now)
}
