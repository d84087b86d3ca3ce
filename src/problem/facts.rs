//! What has happened, put in indexes, and what can be foreseen of visits that still run.

use super::{Fact, Place, Problem, RigIx, UnitIx, Visit};
use crate::domain::facts::{FactVisit, Progress, Stop};
use crate::domain::lab::{Lab, Loading};
use crate::domain::plan::{Booking, Times};
use crate::domain::{Facts, Minute, Minutes, RigId, Span, UnitId};
use std::collections::{BTreeMap, HashMap};

/// What tells runs apart: the recorded number, else the minute of loading.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum RunKey {
    Number(u32),
    Load(Minute),
}

/// Facts by unit.
pub(super) struct FactsOf<'f> {
    visits: HashMap<&'f UnitId, BTreeMap<u32, &'f FactVisit>>,
    stops: HashMap<&'f UnitId, &'f Stop>,
    published: HashMap<&'f UnitId, BTreeMap<u32, &'f Booking>>,
    rigs: HashMap<RigId, RigIx>,
}

impl<'f> FactsOf<'f> {
    pub(super) fn new(lab: &Lab, facts: &'f Facts) -> Self {
        let rigs = lab.rigs.iter().enumerate();
        let mut own = Self {
            visits: HashMap::new(),
            stops: facts.stops.iter().map(|stop| (&stop.unit, stop)).collect(),
            published: HashMap::new(),
            rigs: rigs
                .map(|(ix, rig)| (rig.id.clone(), RigIx::from(ix)))
                .collect(),
        };
        for visit in facts
            .visits
            .iter()
            .filter(|visit| visit.step > 0 && own.rigs.contains_key(&visit.rig))
        {
            own.visits
                .entry(&visit.unit)
                .or_default()
                .insert(visit.step, visit);
        }
        for booking in facts.published.iter().filter(|booking| booking.step > 0) {
            own.published
                .entry(&booking.unit)
                .or_default()
                .insert(booking.step, booking);
        }
        own
    }

    pub(super) fn stop(&self, unit: &UnitId) -> Option<&Stop> {
        self.stops.get(unit).copied()
    }

    /// How many steps have started without a gap; a visit after a gap does not count.
    pub(super) fn contiguous(&self, unit: &UnitId, steps: usize) -> usize {
        let Some(visits) = self.visits.get(unit) else {
            return 0;
        };
        let started = (1..)
            .zip(visits.keys())
            .take_while(|(want, have)| *want == **have);
        started.count().min(steps)
    }
}

/// The facts of a plan that was followed to the minute: whatever loaded before `now` has started, and
/// has its planned times.
pub fn facts_of_plan(bookings: &[Booking], now: Minute) -> Facts {
    let started = bookings
        .iter()
        .filter(|booking| booking.step > 0 && booking.times.load < now);
    let visit = |booking: &Booking| FactVisit {
        unit: booking.unit.clone(),
        step: booking.step,
        rig: booking.rig.clone(),
        position: booking.position,
        run: booking.run,
        progress: if booking.times.out <= now {
            Progress::Done {
                times: booking.times,
            }
        } else {
            Progress::Running {
                load: booking.times.load,
            }
        },
    };
    Facts {
        visits: started.map(visit).collect(),
        published: bookings.to_vec(),
        ..Facts::default()
    }
}

/// Fills in the facts and published bookings of every unit.
pub(super) fn foresee(problem: &mut Problem, facts: &FactsOf<'_>) {
    let mut runs: BTreeMap<(RigIx, RunKey), (Place, Times)> = BTreeMap::new();
    let mut next_run: BTreeMap<RigIx, u32> = BTreeMap::new();
    for ix in 0..problem.units.len() {
        let unit = UnitIx::from(ix);
        let id = problem.units[ix].id.clone();
        let steps = problem.request_of(unit).steps.len();
        let started = facts.contiguous(&id, steps);
        let published = facts.published.get(&id);
        for step in 0..started {
            let number = u32::try_from(step + 1).expect("steps are few");
            let fact = facts.visits[&id][&number];
            let booked = published.and_then(|all| all.get(&number)).copied();
            let own = build(
                problem,
                facts,
                unit,
                step,
                fact,
                booked,
                &mut runs,
                &mut next_run,
            );
            problem.units[ix].facts.push(own);
        }
        let wanted = problem.units[ix].wanted;
        let ahead = published.into_iter().flatten().map(|(_, booking)| *booking);
        let ahead =
            ahead.filter(|booking| (started..wanted).contains(&(booking.step as usize - 1)));
        let ahead = ahead
            .filter_map(|booking| visit_of(problem, facts, unit, booking))
            .collect();
        problem.units[ix].published = ahead;
    }
}

/// A published booking in indexes; `None` where its rig or place is not of this lab any more.
fn visit_of(
    problem: &Problem,
    facts: &FactsOf<'_>,
    unit: UnitIx,
    booking: &Booking,
) -> Option<Visit> {
    let rig = *facts.rigs.get(&booking.rig)?;
    let place = match problem.rigs[rig.ix()].loading {
        Loading::Each => Place::Position(booking.position?),
        Loading::Together => Place::Run(booking.run?),
        Loading::Held => Place::Held,
    };
    let step = booking.step as usize - 1;
    Some(Visit {
        unit,
        step,
        rig,
        place,
        times: booking.times,
    })
}

#[expect(
    clippy::too_many_arguments,
    reason = "the two tables of runs are filled on the way"
)]
fn build(
    problem: &Problem,
    facts: &FactsOf<'_>,
    unit: UnitIx,
    step: usize,
    fact: &FactVisit,
    booked: Option<&Booking>,
    runs: &mut BTreeMap<(RigIx, RunKey), (Place, Times)>,
    next_run: &mut BTreeMap<RigIx, u32>,
) -> Fact {
    let rig = facts.rigs[&fact.rig];
    let (over, times) = match fact.progress {
        Progress::Done { times } => (true, times),
        Progress::Running { load } => (
            false,
            running(
                problem,
                unit,
                step,
                rig,
                load,
                booked.filter(|b| b.rig == fact.rig),
            ),
        ),
    };
    let place = match problem.rigs[rig.ix()].loading {
        Loading::Held => Place::Held,
        Loading::Each => Place::Position(
            fact.position
                .unwrap_or(1)
                .clamp(1, problem.rigs[rig.ix()].positions),
        ),
        Loading::Together => {
            let key = fact.run.map_or(RunKey::Load(times.load), RunKey::Number);
            let next = next_run.entry(rig).or_insert(1_000_000);
            let number = fact.run.unwrap_or(*next);
            if over {
                *next += u32::from(fact.run.is_none());
                Place::Run(number)
            } else {
                // Units of one running run come out together, whatever minute each was loaded.
                let (place, shared) = *runs.entry((rig, key)).or_insert_with(|| {
                    *next += u32::from(fact.run.is_none());
                    (Place::Run(number), times)
                });
                return Fact {
                    visit: Visit {
                        unit,
                        step,
                        rig,
                        place,
                        times: shared,
                    },
                    over,
                };
            }
        }
    };
    Fact {
        visit: Visit {
            unit,
            step,
            rig,
            place,
            times,
        },
        over,
    }
}

/// The five instants of a visit that still runs: as published while that is possible, else as early as
/// somebody can unload it on a rig that is not out of use.
fn running(
    problem: &Problem,
    unit: UnitIx,
    step: usize,
    rig: RigIx,
    load: Minute,
    booked: Option<&Booking>,
) -> Times {
    let own = &problem.rigs[rig.ix()];
    let what = problem.step(unit, step);
    let condition = problem.condition(what);
    let start = load + own.load;
    let length = problem.exposure(what, rig);
    let length = length
        .or(booked.map(|b| b.times.end - b.times.start))
        .unwrap_or(Minutes::ZERO);
    let end = problem
        .exposure_end(condition, rig, start, length)
        .unwrap_or(start + length);
    let from = end.max(problem.now);
    let in_use = |times: &Times| {
        let ahead = Span::new(problem.now, times.out);
        own.usable.iter().any(|span| span.covers(ahead))
    };
    if let Some(booked) = booked
        && booked.times.load == load
        && booked.times.out > problem.now
        && in_use(&booked.times)
    {
        return booked.times;
    }
    let usable = |unload: &Minute| {
        let span = Span::new(*unload, *unload + own.unload);
        own.usable
            .iter()
            .any(|room| room.start <= span.start && span.end <= room.end)
    };
    let planned = booked
        .map(|b| b.times.unload)
        .filter(|unload| *unload >= from)
        .filter(usable);
    let unload = planned.unwrap_or_else(|| first_unload(problem, unit, step, rig, from));
    Times {
        load,
        start,
        end,
        unload,
        out: unload + own.unload,
    }
}

/// The first minute at or after `from` from which the crew is on shift for the whole unload and the rig
/// is in use; `from` itself where there is none.
fn first_unload(problem: &Problem, unit: UnitIx, step: usize, rig: RigIx, from: Minute) -> Minute {
    let own = &problem.rigs[rig.ix()];
    let condition = problem.condition(problem.step(unit, step));
    let on = &problem.crews[condition.crew.ix()].on;
    let fits = |span: &Span| span.length() >= own.unload;
    for usable in own.usable.iter().filter(|span| span.end > from) {
        let room = Span::new(usable.start.max(from), usable.end);
        if own.unload == Minutes::ZERO {
            return room.start;
        }
        let pieces = on.spans().iter().map(|span| span.meet(room));
        if let Some(piece) = pieces.filter(|piece| !piece.is_empty()).find(fits) {
            return piece.start;
        }
    }
    from
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::facts::StopReason;
    use crate::domain::lab::{Length, Outage};
    use crate::domain::parts::{
        WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
    };
    use crate::domain::zone::known::utc;
    use crate::domain::{MethodId, RequestId};
    use crate::problem::compile;

    /// A crew from Monday to Friday 08:00–16:00, a bench of two positions that loads and unloads in five
    /// minutes, a chamber of four that does in ten, and an oven. Request A has two units that walk a look
    /// of 20 minutes, 20 hours of heat, another look and a bake of an hour.
    fn lab() -> Lab {
        let mut lab = empty_lab();
        lab.crews = vec![crew("bench", vec![shift(&WORK_WEEK, (8, 0), (16, 0), 1)])];
        let timed = |id: &str, does: &str, loading, positions, minutes| {
            let mut own = rig(id, &[does], loading, positions);
            own.load = Minutes::new(minutes);
            own.unload = Minutes::new(minutes);
            own
        };
        lab.rigs = vec![
            timed("bench", "look", Loading::Each, 2, 5),
            timed("heat", "heat", Loading::Together, 4, 10),
            timed("oven", "bake", Loading::Held, 4, 0),
        ];
        for (id, minutes) in [("look", 20), ("heat", 1200), ("bake", 60)] {
            let own = method(id, id, Length::Hold(Minutes::new(minutes)));
            lab.methods.insert(own.id.clone(), own);
        }
        let steps = ["look", "heat", "look", "bake"].map(step).to_vec();
        lab.sequences = vec![sequence("s", steps)];
        lab.requests = vec![request("A", "s", 2, utc("2027-03-01T08:00"))];
        lab
    }

    /// Five instants of March 2027 as `day hour:minute`.
    fn times(texts: [&str; 5]) -> Times {
        let at = |text: &str| utc(&format!("2027-03-{}", text.replace(' ', "T")));
        let [load, start, end, unload, out] = texts.map(at);
        Times {
            load,
            start,
            end,
            unload,
            out,
        }
    }

    fn visit(unit: &str, step: u32, rig: &str, progress: Progress) -> FactVisit {
        FactVisit {
            unit: UnitId::new(unit),
            step,
            rig: RigId::new(rig),
            position: None,
            run: None,
            progress,
        }
    }

    fn looked(unit: &str, step: u32) -> FactVisit {
        let times = times(["01 08:00", "01 08:05", "01 08:25", "01 08:25", "01 08:30"]);
        visit(unit, step, "bench", Progress::Done { times })
    }

    fn heating(unit: &str, load: &str) -> FactVisit {
        let load = utc(load);
        visit(unit, 2, "heat", Progress::Running { load })
    }

    fn booking(unit: &str, step: u32, method: &str, rig: &str, times: Times) -> Booking {
        Booking {
            request: RequestId::new("A"),
            unit: UnitId::new(unit),
            step,
            method: MethodId::new(method),
            rig: RigId::new(rig),
            position: (rig == "bench").then_some(1),
            run: (rig == "heat").then_some(7),
            times,
            because: String::new(),
        }
    }

    /// A heat that somebody takes out at 10:00 on Tuesday although it could come out at 08:00.
    fn booked_heat() -> Booking {
        let times = times(["01 09:00", "01 09:10", "02 05:10", "02 10:00", "02 10:10"]);
        booking("A/1", 2, "heat", "heat", times)
    }

    /// The second fact of A/1, which heats since `load`.
    fn foreseen(load: &str, booked: Option<Booking>, outages: &[(&str, &str)], now: &str) -> Times {
        let outages = outages.iter().map(|(from, until)| {
            let span = Span::new(utc(from), utc(until));
            outage("heat", span)
        });
        let facts = Facts {
            visits: vec![looked("A/1", 1), heating("A/1", load)],
            outages: outages.collect::<Vec<Outage>>(),
            published: booked.into_iter().collect(),
            ..Facts::default()
        };
        let problem = compile(&lab(), &facts, utc(now));
        let [done, running] = problem.units[0].facts[..] else {
            panic!("two facts");
        };
        assert!(done.over && !running.over);
        running.visit.times
    }

    const LOADED: &str = "2027-03-01T09:00";
    const MONDAY_NOON: &str = "2027-03-01T12:00";

    #[test]
    fn what_is_over_keeps_its_times_and_its_place() {
        let mut high = looked("A/2", 1);
        high.position = Some(9);
        let mut second = looked("A/1", 1);
        second.position = Some(2);
        let facts = Facts {
            visits: vec![high, second, looked("A/1", 3)],
            ..Facts::default()
        };
        let problem = compile(&lab(), &facts, utc(MONDAY_NOON));
        let own = problem.units[0].facts[0];
        assert!(own.over);
        let expected = times(["01 08:00", "01 08:05", "01 08:25", "01 08:25", "01 08:30"]);
        assert_eq!(own.visit.times, expected);
        assert_eq!(own.visit.place, Place::Position(2));
        // A position that the rig does not have is taken as its last.
        assert_eq!(problem.units[1].facts[0].visit.place, Place::Position(2));
        // Step 3 without step 2 is a gap: it does not count.
        assert_eq!(problem.units[0].facts.len(), 1);
    }

    #[test]
    fn what_runs_comes_out_when_somebody_is_there_after_its_end() {
        let expected = times(["01 09:00", "01 09:10", "02 05:10", "02 08:00", "02 08:10"]);
        assert_eq!(foreseen(LOADED, None, &[], MONDAY_NOON), expected);
        // Long over: now, while the whole unload fits into the shift.
        let out = |now| foreseen(LOADED, None, &[], now).out;
        assert_eq!(out("2027-03-02T15:50"), utc("2027-03-02T16:00"));
        assert_eq!(out("2027-03-02T15:51"), utc("2027-03-03T08:10"));
        // Over the weekend.
        let friday = foreseen("2027-03-05T15:00", None, &[], "2027-03-05T15:30");
        assert_eq!(friday.end, utc("2027-03-06T11:10"));
        assert_eq!(friday.unload, utc("2027-03-08T08:00"));
    }

    #[test]
    fn what_runs_as_published_keeps_its_published_times() {
        let booked = booked_heat();
        let kept = foreseen(LOADED, Some(booked.clone()), &[], MONDAY_NOON);
        assert_eq!(kept, booked.times);
        // Loaded late, it still comes out as booked.
        let late = foreseen("2027-03-01T09:30", Some(booked.clone()), &[], MONDAY_NOON);
        let expected = times(["01 09:30", "01 09:40", "02 05:40", "02 10:00", "02 10:10"]);
        assert_eq!(late, expected);
        // The booked time has passed: now.
        let over = foreseen(LOADED, Some(booked.clone()), &[], "2027-03-02T11:00");
        assert_eq!(over.unload, utc("2027-03-02T11:00"));
        // A booking on another rig says nothing.
        let mut elsewhere = booked;
        elsewhere.rig = RigId::new("oven");
        let own = foreseen(LOADED, Some(elsewhere), &[], MONDAY_NOON);
        assert_eq!(own.unload, utc("2027-03-02T08:00"));
    }

    #[test]
    fn a_rig_that_is_down_pushes_the_unload_after_its_outage() {
        let down = ("2027-03-02T04:00", "2027-03-02T13:00");
        for booked in [None, Some(booked_heat())] {
            let own = foreseen(LOADED, booked, &[down], MONDAY_NOON);
            assert_eq!(own.end, utc("2027-03-02T05:10"));
            assert_eq!(own.unload, utc("2027-03-02T13:00"));
        }
        // Back when the shift is nearly over: the next morning.
        let down = ("2027-03-02T04:00", "2027-03-02T15:55");
        let own = foreseen(LOADED, Some(booked_heat()), &[down], MONDAY_NOON);
        assert_eq!(own.unload, utc("2027-03-03T08:00"));
        // An outage after it is out, or one that was over before now, changes nothing.
        let after = ("2027-03-02T10:10", "2027-03-02T13:00");
        let before = ("2027-03-01T10:00", "2027-03-01T12:00");
        let own = foreseen(LOADED, Some(booked_heat()), &[before, after], MONDAY_NOON);
        assert_eq!(own, booked_heat().times);
    }

    #[test]
    fn an_unload_that_takes_no_time_waits_for_the_rig_and_for_nobody() {
        let mut own = lab();
        let bake = ["look", "bake"].map(step).to_vec();
        own.sequences = vec![sequence("s", bake)];
        let load = utc("2027-03-01T15:30");
        let baking = visit("A/1", 2, "oven", Progress::Running { load });
        let mut facts = Facts {
            visits: vec![looked("A/1", 1), baking],
            ..Facts::default()
        };
        let out = |facts: &Facts| {
            let problem = compile(&own, facts, utc("2027-03-01T15:45"));
            let fact = problem.units[0].facts[1];
            assert_eq!(fact.visit.place, Place::Held);
            fact.visit.times.out
        };
        assert_eq!(out(&facts), utc("2027-03-01T16:30"));
        let down = Span::new(utc("2027-03-01T16:00"), utc("2027-03-01T20:00"));
        facts.outages = vec![outage("oven", down)];
        assert_eq!(out(&facts), utc("2027-03-01T20:00"));
    }

    fn run_of(unit: &str, load: &str, run: Option<u32>) -> [FactVisit; 2] {
        let mut own = heating(unit, load);
        own.run = run;
        [looked(unit, 1), own]
    }

    /// The running visits of A/1 and A/2.
    fn two_running(first: [FactVisit; 2], second: [FactVisit; 2]) -> (Visit, Visit) {
        let facts = Facts {
            visits: first.into_iter().chain(second).collect(),
            ..Facts::default()
        };
        let problem = compile(&lab(), &facts, utc(MONDAY_NOON));
        let fact = |unit: usize| problem.units[unit].facts[1].visit;
        (fact(0), fact(1))
    }

    #[test]
    fn units_of_one_running_run_come_out_together() {
        let later = "2027-03-01T09:05";
        let (a, b) = two_running(
            run_of("A/1", LOADED, Some(3)),
            run_of("A/2", later, Some(3)),
        );
        assert_eq!((a.place, a.times), (b.place, b.times));
        assert_eq!(a.place, Place::Run(3));
        // Without a number the minute of loading tells runs apart.
        let (a, b) = two_running(run_of("A/1", LOADED, None), run_of("A/2", LOADED, None));
        assert_eq!((a.place, a.times), (b.place, b.times));
        let (a, b) = two_running(run_of("A/1", LOADED, None), run_of("A/2", later, None));
        assert_ne!(a.place, b.place);
        let (a, b) = two_running(run_of("A/1", LOADED, Some(3)), run_of("A/2", LOADED, None));
        assert_ne!(a.place, b.place);
    }

    fn wanted(visits: Vec<FactVisit>, after_step: u32) -> usize {
        let stop = Stop {
            unit: UnitId::new("A/1"),
            after_step,
            why: StopReason::Failed,
        };
        let facts = Facts {
            visits,
            stops: vec![stop],
            ..Facts::default()
        };
        let problem = compile(&lab(), &facts, utc(MONDAY_NOON));
        assert_eq!(problem.units[1].wanted, 4);
        problem.units[0].wanted
    }

    #[test]
    fn a_stopped_unit_walks_up_to_its_stop_or_what_has_started() {
        assert_eq!(wanted(vec![], 0), 0);
        assert_eq!(wanted(vec![looked("A/1", 1)], 1), 1);
        let two = vec![looked("A/1", 1), heating("A/1", LOADED)];
        assert_eq!(wanted(two, 1), 2);
        assert_eq!(wanted(vec![], 99), 4);
    }

    #[test]
    fn what_is_published_ahead_is_what_has_not_started_and_is_still_wanted() {
        let when = times(["03 08:00", "03 08:05", "03 08:25", "03 08:25", "03 08:30"]);
        let look = |step| booking("A/1", step, "look", "bench", when);
        let bake = booking("A/1", 4, "bake", "oven", when);
        let mut facts = Facts {
            visits: vec![looked("A/1", 1), heating("A/1", LOADED)],
            published: vec![bake, look(3), booked_heat(), look(1), look(0), look(5)],
            ..Facts::default()
        };
        let ahead = |facts: &Facts| -> Vec<(usize, u32, Place)> {
            let problem = compile(&lab(), facts, utc(MONDAY_NOON));
            let own = problem.units[0].published.iter();
            own.map(|visit| (visit.step, visit.rig.0, visit.place))
                .collect()
        };
        let both = [(2, 0, Place::Position(1)), (3, 2, Place::Held)];
        assert_eq!(ahead(&facts), both);
        facts.stops = vec![Stop {
            unit: UnitId::new("A/1"),
            after_step: 3,
            why: StopReason::Withdrawn,
        }];
        assert_eq!(ahead(&facts), both[..1]);
        // On a rig that the lab has no more, or without the position it needs, it is no booking.
        facts.stops.clear();
        facts.published[0].rig = RigId::new("sold");
        facts.published[1].position = None;
        assert_eq!(ahead(&facts), []);
    }

    #[test]
    fn a_visit_of_step_zero_or_on_an_unknown_rig_is_ignored() {
        let count = |visits| {
            let facts = Facts {
                visits,
                ..Facts::default()
            };
            compile(&lab(), &facts, utc(MONDAY_NOON)).units[0]
                .facts
                .len()
        };
        assert_eq!(count(vec![looked("A/1", 0), looked("A/1", 1)]), 1);
        let mut sold = looked("A/1", 1);
        sold.rig = RigId::new("sold");
        assert_eq!(count(vec![sold, heating("A/1", LOADED)]), 0);
        assert_eq!(count(vec![looked("B/1", 1)]), 0);
    }

    #[test]
    fn a_plan_that_was_followed_has_started_what_loaded_before_now() {
        let when = times(["01 08:00", "01 08:05", "01 08:25", "01 08:25", "01 08:30"]);
        let look = booking("A/1", 1, "look", "bench", when);
        let plan = [look, booked_heat()];
        let progress = |now: &str| -> Vec<Progress> {
            let facts = facts_of_plan(&plan, utc(now));
            assert_eq!(facts.published, plan);
            facts.visits.iter().map(|visit| visit.progress).collect()
        };
        let running = |load: &str| Progress::Running { load: utc(load) };
        let done = Progress::Done { times: when };
        assert_eq!(progress("2027-03-01T08:00"), []);
        assert_eq!(progress("2027-03-01T08:29"), [running("2027-03-01T08:00")]);
        assert_eq!(progress("2027-03-01T08:30"), [done]);
        assert_eq!(progress(LOADED), [done]);
        assert_eq!(progress("2027-03-01T09:01"), [done, running(LOADED)]);
    }
}
