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
            .filter(|visit| own.rigs.contains_key(&visit.rig))
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
