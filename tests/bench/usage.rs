//! How long the usage arithmetic of a large lab takes: a year of a hundred rigs.
//!
//! `cargo bench --bench usage` has a hundred thousand visits' ends and more; a word such as `1000` sets another
//! number of units. Under `cargo test` it is a few units.

#![expect(clippy::print_stdout, reason = "its figures are what it is for")]

#[expect(dead_code, reason = "it holds parts for other tests too")]
#[path = "../it/support/parts.rs"]
mod parts;

use parts::{ALL_WEEK, WORK_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use rigday::app::desk::{Desk, Opening};
use rigday::app::{App, Screen};
use rigday::clock::{Clock, FakeClock, SystemClock};
use rigday::domain::lab::{Lab, Length, Loading, Watch};
use rigday::domain::plan::{Booking, Times};
use rigday::domain::steps::Walks;
use rigday::domain::{
    Actor, Event, EventBody, EventId, MethodId, Minute, Minutes, NewEvent, PlanId, Seq,
};
use rigday::floor::Floor;
use rigday::ledger::{Env, Ids, Ledger, MemoryLedger, Outcome};
use rigday::screens::draw;
use rigday::screens::theme::{Level, Theme};
use rigday::usage::Usage;
use rigday::usage::table::{Grain, intervals};
use std::sync::Arc;
use std::time::Duration;

const RIGS: usize = 100;
const STEPS: usize = 10;
/// 2027-01-01T00:00Z.
const START: Minute = Minute::new(29_979_360);
const YEAR: i64 = 365 * 1440;

/// A hundred rigs of four positions and ten methods, some watched; requests of ten units that walk ten steps.
fn lab(units: usize) -> Lab {
    let mut lab = empty_lab();
    lab.zone = rigday::clock::zone("Europe/Lisbon").expect("a known zone");
    lab.crews = vec![
        crew("day", vec![shift(&WORK_WEEK, (6, 0), (22, 0), 6)]),
        crew("round", vec![shift(&ALL_WEEK, (0, 0), (0, 0), 2)]),
    ];
    for ix in 0..RIGS {
        let loading = [
            Loading::Each,
            Loading::Each,
            Loading::Together,
            Loading::Held,
        ][ix % 4];
        let mut own = rig(&format!("rig-{ix}"), &["any"], loading, 4);
        (own.load, own.unload, own.changeover) =
            (Minutes::new(10), Minutes::new(5), Minutes::new(30));
        lab.rigs.push(own);
    }
    let steps: Vec<String> = (0..STEPS).map(|ix| format!("method-{ix}")).collect();
    for (ix, id) in (0_i64..).zip(&steps) {
        let mut own = method(id, "any", Length::Hold(Minutes::hours(6 + 2 * ix)));
        own.watch = if ix % 5 == 0 {
            Watch::Site
        } else {
            Watch::None
        };
        own.pausable = true;
        lab.methods.insert(own.id.clone(), own);
    }
    let steps = steps.iter().map(|id| step(id)).collect();
    lab.sequences = vec![sequence("walk", steps)];
    let requests = units.div_ceil(10);
    lab.requests = (0..requests)
        .map(|ix| request(&format!("R-{ix}"), "walk", 10, START))
        .collect();
    lab
}

/// Numbers that look drawn, the same each time: a multiplication modulo a prime (D. H. Lehmer, 1949).
struct Drawn(u64);

impl Drawn {
    fn below(&mut self, count: u64) -> u64 {
        self.0 = self.0 * 48_271 % 0x7fff_ffff;
        self.0 % count
    }
}

impl Drawn {
    fn minutes(&mut self, count: i64) -> Minutes {
        let drawn = self.below(count.unsigned_abs());
        Minutes::new(i64::try_from(drawn).expect("a small number"))
    }
}

/// What is told so far.
#[derive(Default)]
struct Told {
    events: Vec<(Minute, EventBody)>,
    bookings: Vec<Booking>,
}

impl Told {
    /// A unit walks its steps from `at` on: what begins before `now` has happened, the rest is booked.
    fn walk(&mut self, lab: &Lab, place: (usize, usize), mut at: Minute, drawn: &mut Drawn) {
        let now = START + Minutes::new(YEAR);
        let request = &lab.requests[place.0];
        let unit = request.units[place.1].clone();
        for step in (1_u32..).take(STEPS) {
            let rig = usize::try_from(drawn.below(RIGS as u64)).expect("a place");
            let rig = lab.rigs[rig].id.clone();
            let out = at + Minutes::hours(20) + drawn.minutes(300);
            let (unit, position) = (unit.clone(), Some(1 + step % 4));
            if at < now {
                let (own, on, run) = (unit.clone(), rig.clone(), None);
                let started = EventBody::VisitStarted {
                    unit: own,
                    step,
                    rig: on,
                    position,
                    run,
                };
                self.events.push((at, started));
                if out < now {
                    self.events
                        .push((out, EventBody::VisitEnded { unit, step, rig }));
                }
            } else {
                let (load, start, end, unload) = (at, at, out, out);
                self.bookings.push(Booking {
                    request: request.id.clone(),
                    unit,
                    step,
                    method: MethodId::new("method-0"),
                    rig,
                    position,
                    run: None,
                    times: Times {
                        load,
                        start,
                        end,
                        unload,
                        out,
                    },
                    because: "made for a bench".to_owned(),
                });
            }
            at = out + drawn.minutes(900);
        }
    }
}

/// What happened in a year, and what is booked for the weeks after it, by time.
fn story(lab: &Lab) -> Vec<(Minute, EventBody)> {
    let (mut drawn, mut told) = (Drawn(1), Told::default());
    for (ix, own) in lab.requests.iter().enumerate() {
        let (request, units) = (own.id.clone(), own.units.clone());
        let taken = EventBody::RequestTaken { request, units };
        told.events.push((START, taken));
        let begins = START + drawn.minutes(YEAR - 10 * 1440);
        for unit in 0..own.units.len() {
            let at = begins + drawn.minutes(600);
            told.walk(lab, (ix, unit), at, &mut drawn);
        }
    }
    let Told { events, bookings } = &mut told;
    let (now, plan) = (START + Minutes::new(YEAR), PlanId::new("P-1"));
    let published = EventBody::PlanPublished {
        plan: plan.clone(),
        cost: 0,
        bound: None,
        bookings: u32::try_from(bookings.len()).expect("few"),
        finishes: Vec::new(),
        unplannable: Vec::new(),
    };
    events.push((now, published));
    for part in bookings.chunks(500) {
        let (plan, bookings) = (plan.clone(), part.to_vec());
        events.push((now, EventBody::PlanBookings { plan, bookings }));
    }
    told.events.sort_by_key(|(at, _)| *at);
    told.events
}

fn actor() -> Actor {
    let text = |text: &str| text.to_owned();
    Actor {
        uid: 1000,
        login: text("bench"),
        person: text("bench"),
        host: text("bench-1"),
        session: text("s-1"),
    }
}

fn new_event((ix, (happened, body)): (usize, (Minute, EventBody))) -> NewEvent {
    let id = EventId((ix as u128 + 1).to_be_bytes());
    NewEvent {
        id,
        happened,
        actor: actor(),
        body,
    }
}

fn recorded(own: NewEvent, ix: usize) -> Event {
    Event {
        seq: Seq(ix as u64 + 1),
        id: own.id,
        happened: own.happened,
        recorded_ms: own.happened.get() * 60_000,
        clock_back: false,
        actor: own.actor.into(),
        body: own.body,
    }
}

/// How long it takes, and what comes of it.
fn timed<T>(clock: &SystemClock, run: impl FnOnce() -> T) -> (Duration, T) {
    let begun = clock.elapsed();
    let made = run();
    (clock.elapsed().saturating_sub(begun), made)
}

/// The program on the lab, with every event in a ledger in memory.
fn app(lab: Lab, events: &[NewEvent], now: Minute) -> App {
    let clock = Arc::new(FakeClock::at(now));
    let mut ledger = MemoryLedger::new(Env {
        clock: clock.clone(),
        ids: Ids::seeded(1),
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: None,
    });
    let outcome = ledger.append(&[], events);
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    let with = Opening {
        lab,
        ledger: Box::new(ledger),
        clock,
        ids: Ids::seeded(2),
        actor: actor(),
    };
    App::new(Desk::open(with).expect("a desk"), true)
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let asked: Option<usize> = words.iter().find_map(|word| word.parse().ok());
    let in_bench = words.iter().any(|word| word == "--bench");
    let units = asked.unwrap_or(if in_bench { 5_200 } else { 40 });
    let clock = SystemClock::default();
    let now = START + Minutes::new(YEAR);
    for part in [units / 2, units] {
        let lab = lab(part);
        let walks = Walks::new(&lab);
        let events: Vec<NewEvent> = story(&lab).into_iter().enumerate().map(new_event).collect();
        let count = events.len();
        let told = events
            .iter()
            .cloned()
            .zip(0..)
            .map(|(own, ix)| recorded(own, ix));
        let floor = Floor::fold(told);
        let (made, usage) = timed(&clock, || Usage::of(&lab, &walks, &floor, now));
        let weeks = || intervals(&lab.zone, lab.zone.local(START).date(), 53, Grain::Week);
        let (tabled, table) = timed(&clock, || usage.table(&lab, weeks()));
        let (asked, requests) = timed(&clock, || usage.requests(&lab));
        let (rated, rates) = timed(&clock, || usage.rates(&lab));
        assert_eq!(table.rows.len(), RIGS);
        println!(
            "{count} events: states {made:.1?}, table of {RIGS} rigs by 53 weeks {tabled:.1?}, \
             waits of {} requests {asked:.1?}, {} rates {rated:.1?}",
            requests.len(),
            rates.len()
        );
        let mut app = app(lab, &events, now);
        app.screen = Screen::Load;
        let area = Rect::new(0, 0, 160, 48);
        let theme = Theme::new(true, Level::Ansi16);
        let mut buffer = Buffer::empty(area);
        let (first, _) = timed(&clock, || draw(&app, &theme, area, &mut buffer));
        let (again, _) = timed(&clock, || draw(&app, &theme, area, &mut buffer));
        println!("Load screen: first {first:.1?}, then {again:.1?}");
        // What each minute and each record costs on whatever screen; the best of a few, since others work too.
        let anew = (0..7).map(|_| timed(&clock, || app.renew()).0).min();
        println!("all screens worked out anew: {:.1?}", anew.expect("some"));
    }
}
