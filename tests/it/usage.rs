//! Whatever happened in a lab, the minutes of its rigs and units add up.
//!
//! `TEST_SEED=n` repeats the history of one seed.

use crate::support::events::recorded;
use crate::support::random::Random;
use crate::support::random_lab::random_lab;
use rigday::domain::lab::{Lab, Loading};
use rigday::domain::steps::Walks;
use rigday::domain::{Event, EventBody, Facts, Minute, Minutes, PlanId, Seq, Span, Verdict};
use rigday::floor::Floor;
use rigday::planner::{Rounds, solve};
use rigday::problem::{Figures, compile};
use rigday::usage::table::{Grain, Interval, intervals};
use rigday::usage::{Cause, Stage, State, Stay, Usage};

/// Histories to try.
const HISTORIES: u64 = 1_000;

/// Tells a story of a lab: its plan, and what became of it.
struct Story {
    lab: Lab,
    random: Random,
    events: Vec<(Minute, EventBody)>,
}

impl Story {
    /// A lab, what happened in it up to an instant, and that instant.
    fn tell(seed: u64) -> (Lab, Floor, Minute) {
        let (lab, _, start) = random_lab(seed);
        let mut own = Self {
            lab,
            random: Random::new(seed ^ 0x5eed),
            events: Vec::new(),
        };
        let now = start + Minutes::new(own.random.range(0, 20 * 1440));
        own.plan(start, now);
        own.breakdowns(start);
        let Self {
            lab,
            mut random,
            mut events,
        } = own;
        events.sort_by_key(|(at, _)| *at);
        let mut said: Vec<Event> = Vec::new();
        for (at, body) in events.into_iter().filter(|(at, _)| *at <= now) {
            said.push(event(said.len(), at, body));
            if random.chance(3) {
                let corrects = Seq(said.len() as u64);
                let change = rigday::domain::event::Change::Void;
                let reason = "mistaken".to_owned();
                let body = EventBody::Correction {
                    corrects,
                    change,
                    reason,
                };
                said.push(event(said.len(), at, body));
            }
        }
        (lab, Floor::fold(said), now)
    }

    fn say(&mut self, at: Minute, body: EventBody) {
        self.events.push((at, body));
    }

    /// Takes requests in, plans them, and does what the plan says, more or less.
    fn plan(&mut self, start: Minute, now: Minute) {
        for own in self.lab.requests.clone() {
            let (request, units) = (own.id, own.units);
            let at = start - Minutes::new(self.random.range(0, 600));
            self.say(at, EventBody::RequestTaken { request, units });
        }
        let problem = compile(&self.lab, &Facts::default(), start);
        let solved = solve(&problem, 1, &Rounds(0), &mut |_| {});
        let figures = Figures {
            bound: None,
            milliseconds: 0,
            seed: 1,
        };
        let plan = problem.plan_in_words(&solved.plan, &solved.because, &figures);
        for body in EventBody::publish(&PlanId::new("P-1"), &plan, start) {
            self.say(start, body);
        }
        for own in &plan.bookings {
            if own.times.load > now || self.random.chance(8) {
                continue;
            }
            let load = own.times.load + Minutes::new(self.random.range(-30, 120));
            let out = own.times.out + Minutes::new(self.random.range(-400, 700));
            let elsewhere = self.random.chance(5);
            let rig = if elsewhere {
                self.random.pick(&self.lab.rigs).id
            } else {
                own.rig.clone()
            };
            let (unit, step) = (own.unit.clone(), own.step);
            let position = own.position.filter(|_| !elsewhere);
            let run = own.run;
            let body = EventBody::VisitStarted {
                unit: unit.clone(),
                step,
                rig: rig.clone(),
                position,
                run,
            };
            self.say(load, body);
            self.say(
                out,
                EventBody::VisitEnded {
                    unit: unit.clone(),
                    step,
                    rig,
                },
            );
            self.verdict(out, &unit, step);
        }
    }

    fn verdict(&mut self, out: Minute, unit: &rigday::domain::UnitId, step: u32) {
        let reason = "looks odd".to_owned();
        let verdict = match self.random.range(0, 19) {
            0 => Verdict::Fail { reason },
            1 | 2 => Verdict::Hold { reason },
            _ => return,
        };
        let was_held = matches!(verdict, Verdict::Hold { .. });
        let given = |verdict| EventBody::VerdictGiven {
            unit: unit.clone(),
            step,
            verdict,
        };
        self.say(out, given(verdict));
        if was_held && self.random.chance(60) {
            let later = out + Minutes::new(self.random.range(5, 2000));
            self.say(later, given(Verdict::Pass));
        }
    }

    fn breakdowns(&mut self, start: Minute) {
        for _ in 0..self.random.range(0, 5) {
            let rig = self.random.pick(&self.lab.rigs).id;
            let at = start + Minutes::new(self.random.range(-1440, 20 * 1440));
            let back = at + Minutes::new(self.random.range(1, 3000));
            let until = self.random.chance(50).then_some(back);
            let reason = "belt".to_owned();
            self.say(
                at,
                EventBody::RigDown {
                    rig: rig.clone(),
                    reason,
                    until,
                },
            );
            if self.random.chance(80) {
                self.say(back, EventBody::RigUp { rig });
            }
        }
    }
}

fn event(before: usize, happened: Minute, body: EventBody) -> Event {
    recorded(before as u64 + 1, happened, body)
}

#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the tests says which"
)]
fn seeds() -> Vec<u64> {
    let seed = std::env::var("TEST_SEED")
        .ok()
        .and_then(|text| text.parse().ok());
    seed.map_or_else(|| (0..HISTORIES).collect(), |seed| vec![seed])
}

/// Days around the history, and a year of them in zones whose clocks change.
fn days(lab: &Lab, usage: &Usage) -> Vec<Interval> {
    let first = lab.zone.local(usage.known.start).date() - chrono::Days::new(2);
    let near = (usage.known.end - usage.known.start).get() / 1440 + 5;
    let near = usize::try_from(near).expect("a positive number of days");
    let mut days = intervals(&lab.zone, first, near, Grain::Day);
    let year = intervals(&lab.zone, first, 366, Grain::Day);
    days.extend(
        year.into_iter()
            .skip(near)
            .filter(|own| own.span.length() != Minutes::DAY),
    );
    days
}

/// Minutes of a local day, by asking of each minute what date it is.
fn minutes_of_day(lab: &Lab, day: &Interval) -> i64 {
    let from = day.span.start.get() - 200;
    let on_day = |at: &i64| lab.zone.local(Minute::new(*at)).date() == day.first;
    let count = (from..from + 2_000).filter(on_day).count();
    i64::try_from(count).expect("a day")
}

#[test]
fn the_states_of_each_rig_add_up_to_each_local_day_of_1000_histories() {
    let (mut short, mut long, mut cells) = (0, 0, 0_u64);
    for seed in seeds() {
        let (lab, floor, now) = Story::tell(seed);
        let usage = Usage::of(&lab, &Walks::new(&lab), &floor, now);
        let days = days(&lab, &usage);
        for day in &days {
            let length = day.span.length();
            if length != Minutes::DAY {
                assert_eq!(
                    minutes_of_day(&lab, day),
                    length.get(),
                    "seed {seed}, {}",
                    day.first
                );
                if length < Minutes::DAY {
                    short += 1;
                } else {
                    long += 1;
                }
            }
            for (ix, rig) in lab.rigs.iter().enumerate() {
                let own = usage.rig(ix, day.span);
                assert_eq!(
                    own.states.total(),
                    length,
                    "seed {seed}, {} {}",
                    rig.id,
                    day.first
                );
                assert!(
                    State::ALL
                        .iter()
                        .all(|state| own.states[*state] >= Minutes::ZERO)
                );
                cells += 1;
            }
        }
        by_the_minute(seed, &lab, &floor, &usage, &days);
        weeks_are_seven_days(&lab, &usage);
        units_add_up(seed, &lab, &usage);
    }
    assert!(cells > 50_000 || seeds().len() == 1, "{cells} rig-days");
    assert!(
        (short > 300 && long > 300) || seeds().len() == 1,
        "{short} short, {long} long days"
    );
}

/// What was before some day and is not in the lab folder any more changes nothing of that day and those after it.
#[test]
fn a_usage_without_its_past_says_the_same_of_later_days() {
    let mut left_out = 0;
    for seed in seeds() {
        let (mut lab, floor, now) = Story::tell(seed);
        let mut random = Random::new(seed);
        lab.requests.retain(|_| random.chance(40));
        let walks = Walks::new(&lab);
        let whole = Usage::of(&lab, &walks, &floor, now);
        let days = days(&lab, &whole);
        let since = random.pick(&days).span.start.min(now);
        let near = Usage::since(&lab, &walks, &floor, now, since);
        left_out += whole.stays.len() - near.stays.len();
        for day in days.iter().filter(|day| day.span.start >= since) {
            for (ix, rig) in lab.rigs.iter().enumerate() {
                let (own, all) = (near.rig(ix, day.span), whole.rig(ix, day.span));
                assert_eq!(own, all, "seed {seed}, {} on {}", rig.id, day.first);
            }
            assert_eq!(near.crews(day.span), whole.crews(day.span), "seed {seed}");
            assert_eq!(near.is_known(day.span), whole.is_known(day.span));
        }
        assert_eq!(near.backlog(&lab), whole.backlog(&lab), "seed {seed}");
    }
    assert!(left_out > 1_000 || seeds().len() == 1, "{left_out} stays");
}

/// A rig's day once more, minute by minute.
fn by_the_minute(seed: u64, lab: &Lab, floor: &Floor, usage: &Usage, days: &[Interval]) {
    let mut random = Random::new(seed);
    let (day, ix) = (random.pick(days), random.below(lab.rigs.len()));
    let rig = &lab.rigs[ix];
    let mut out: Vec<Span> = Vec::new();
    out.extend(
        lab.outages
            .iter()
            .filter(|own| own.rig == rig.id)
            .map(|own| own.span),
    );
    if let Some(record) = floor.now.rigs.get(&rig.id) {
        out.extend(
            record
                .repairs
                .iter()
                .map(|(from, to, _)| Span::new(*from, *to)),
        );
        out.extend(
            record
                .faults
                .iter()
                .map(|own| Span::new(own.since, usage.now)),
        );
        let down = record.down();
        out.extend(down.map(|down| Span::new(down.since, down.back(usage.now).0)));
    }
    let calibrated = rig.calibration_due.map(|date| lab.zone.end_of_day(date));
    let on_rig: Vec<&Stay> = usage.stays.iter().filter(|stay| stay.rig == ix).collect();
    let (mut is_out, mut exposed, mut handled, mut inside, mut filled) = (0, 0, 0, 0, 0);
    for at in day.span.start.get()..day.span.end.get() {
        let at = Minute::new(at);
        if out.iter().any(|own| own.contains(at)) || calibrated.is_some_and(|from| at >= from) {
            is_out += 1;
            continue;
        }
        let mut here = on_rig
            .iter()
            .filter(|stay| stay.times.stay().contains(at))
            .peekable();
        inside += i64::from(here.peek().is_some());
        let is_in = |from, to| Span::new(from, to).contains(at);
        let (mut exposes, mut handles) = (false, false);
        for stay in here {
            let times = &stay.times;
            filled += 1;
            exposes |= is_in(times.start, times.end);
            handles |= is_in(times.load, times.start) || is_in(times.unload, times.out);
        }
        exposed += i64::from(exposes);
        handled += i64::from(handles && !exposes);
    }
    let own = usage.rig(ix, day.span);
    let states = |wanted: &[State]| own.states.of(|state| wanted.contains(&state)).get();
    let what = format!("seed {seed}, {} on {}", rig.id, day.first);
    assert_eq!(own.out().get(), is_out, "{what}: out");
    assert_eq!(own.occupied().get(), inside, "{what}: occupied");
    assert_eq!(own.filled.get(), filled, "{what}: filled");
    // A paused exposure gives way to a load at the position beside it.
    let paused = states(&[State::Paused]);
    assert!(states(&[State::Exposure]) <= exposed, "{what}: exposed");
    assert!(
        states(&[State::Exposure]) + paused <= exposed,
        "{what}: exposed and paused"
    );
    assert!(states(&[State::Loading]) >= handled, "{what}: handled");
    assert_eq!(
        states(&[State::Exposure, State::Paused, State::Loading]),
        exposed + handled,
        "{what}: exposed or handled"
    );
    assert!(own.filled.get() == 0 || rig.loading == Loading::Together || filled >= inside);
}

fn weeks_are_seven_days(lab: &Lab, usage: &Usage) {
    let first = Grain::Week.first(lab.zone.local(usage.now).date());
    let weeks = usage.table(lab, intervals(&lab.zone, first, 2, Grain::Week));
    let days = usage.table(lab, intervals(&lab.zone, first, 14, Grain::Day));
    for (week, day) in weeks.rows.iter().zip(&days.rows) {
        assert_eq!(week.total(), day.total(), "{}", week.rig);
    }
    for (week, day) in weeks.crews.iter().zip(&days.crews) {
        assert_eq!(week.total(), day.total(), "{}", week.crew);
    }
}

/// Touch and waits of a request are the time of its units from release to the end of their last stays.
fn units_add_up(seed: u64, lab: &Lab, usage: &Usage) {
    for own in usage.requests(lab) {
        let place = lab
            .requests
            .iter()
            .position(|request| request.id == own.request);
        let of_request: Vec<&Stay> = usage
            .stays
            .iter()
            .filter(|stay| stay.request == place)
            .collect();
        let stays: Minutes = of_request
            .iter()
            .map(|stay| stay.times.stay().length())
            .sum();
        let waits_inside: Minutes = of_request
            .iter()
            .map(|stay| stay.times.unload - stay.times.end)
            .sum();
        assert!(
            own[Cause::Touch] <= stays - waits_inside,
            "seed {seed}, {}",
            own.request
        );
        assert!(own.total() >= stays, "seed {seed}, {}", own.request);
        assert!(Cause::ALL.iter().all(|cause| own[*cause] >= Minutes::ZERO));
        let first = of_request
            .iter()
            .map(|stay| &stay.unit)
            .collect::<std::collections::BTreeSet<_>>();
        assert_eq!(own.units, first.len());
    }
    for stay in &usage.stays {
        let times = [
            stay.times.load,
            stay.times.start,
            stay.times.end,
            stay.times.unload,
            stay.times.out,
        ];
        assert!(
            times.is_sorted(),
            "seed {seed}, {} step {}",
            stay.unit,
            stay.step
        );
        assert!(
            stay.stage == Stage::Over || stay.times.out >= usage.now,
            "seed {seed}, {}",
            stay.unit
        );
    }
}
