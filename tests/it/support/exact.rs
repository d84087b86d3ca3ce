//! The best plan of a tiny lab, by trying every minute.
//!
//! Shares nothing with the planner: unit by unit and step by step every rig, position, load and unload minute
//! is tried. A branch ends where it breaks a rule, or where its cost could not fall below the limit: what is
//! placed so far finishes when it does, and what is missing takes at least its shortest times. Waiting
//! longer than needed is tried as well, since largest rests can make it worth while. The checker judges
//! every complete plan.

use rigday::checker::check;
use rigday::domain::lab::{Loading, Watch};
use rigday::domain::plan::Times;
use rigday::domain::{Minute, Minutes, Span};
use rigday::problem::{Condition, Left, OnTime, Place, Plan, Problem, RigIx, UnitIx, Visit};

/// Branches after which a lab counts as too large.
const MOST: usize = 400_000;

/// What the search found.
pub(crate) enum Exact {
    /// No valid plan costs less.
    Best(i64),
    /// No valid plan costs less than the limit.
    NoneBelow,
    /// Too many branches.
    TooLarge,
}

/// The least cost below `limit` of a plan that leaves out what is in `left` and nothing else.
pub(crate) fn best_below(problem: &Problem, left: &[Left], limit: i64) -> Exact {
    let mut search = Search::new(problem, left, limit);
    search.go(0);
    match (search.branches > MOST, search.best) {
        (true, _) => Exact::TooLarge,
        (false, Some(best)) => Exact::Best(best),
        (false, None) => Exact::NoneBelow,
    }
}

struct Search<'p> {
    problem: &'p Problem,
    left: Vec<Left>,
    /// What is to be placed, in the order in which it is tried.
    wanted: Vec<(UnitIx, usize)>,
    /// Facts first.
    placed: Vec<Visit>,
    /// By crew and minute from now: people taken.
    taken: Vec<Vec<u32>>,
    /// Each unit comes out of its last step no earlier.
    least: Vec<Option<Minute>>,
    limit: i64,
    best: Option<i64>,
    branches: usize,
}

impl<'p> Search<'p> {
    fn new(problem: &'p Problem, left: &[Left], limit: i64) -> Self {
        let minutes = usize::try_from((problem.end - problem.now).get()).expect("a horizon ahead");
        let mut search = Self {
            problem,
            left: left.to_vec(),
            wanted: Vec::new(),
            placed: Vec::new(),
            taken: vec![vec![0; minutes + 1]; problem.crews.len()],
            least: Vec::new(),
            limit,
            best: None,
            branches: 0,
        };
        for (ix, unit) in problem.units.iter().enumerate() {
            for fact in &unit.facts {
                search.place(fact.visit);
            }
            let planned = left.iter().all(|left| left.request != unit.request);
            let unit_ix = UnitIx::from(ix);
            let last = unit.facts.last().map(|fact| fact.visit.times.out);
            if planned {
                let steps = unit.facts.len()..unit.wanted;
                search.wanted.extend(steps.map(|step| (unit_ix, step)));
            }
            let least = (planned && unit.wanted > 0).then(|| {
                let floor = search.floor(unit_ix, unit.facts.len(), last);
                search.shortest(unit_ix, unit.facts.len(), floor)
            });
            search.least.push(least);
        }
        search
    }

    /// The first minute at which a step may load after the unit came out of the one before.
    fn floor(&self, unit: UnitIx, step: usize, out: Option<Minute>) -> Minute {
        let request = self.problem.request_of(unit);
        let floor = request.ready.max(self.problem.now);
        match (out, request.steps.get(step)) {
            (Some(out), Some(own)) if step > 0 => floor.max(out + own.rest_min),
            _ => floor,
        }
    }

    /// The way out of the last step where every step from `step` on takes its shortest time.
    fn shortest(&self, unit: UnitIx, step: usize, from: Minute) -> Minute {
        let mut at = from;
        let wanted = self.problem.units[unit.ix()].wanted;
        if step >= wanted {
            let last = self.problem.units[unit.ix()].facts.last();
            return last.map_or(from, |fact| fact.visit.times.out);
        }
        for next in step..wanted {
            let own = self.problem.step(unit, next);
            if next > step {
                at += own.rest_min;
            }
            let rigs = self.problem.rigs_for(own).iter();
            let stays = rigs.map(|(rig, exposure)| {
                let rig = &self.problem.rigs[rig.ix()];
                rig.load + *exposure + rig.unload
            });
            at += stays.min().expect("a planned step has a rig");
        }
        at
    }

    /// No plan that goes on from here costs less.
    fn least_cost(&self) -> i64 {
        let problem = self.problem;
        let requests = problem.requests.iter();
        let costs = requests.filter_map(|request| {
            let units = request.units.start as usize..request.units.end as usize;
            let finish = self.least[units].iter().copied().flatten().max()?;
            let late = request.due.map_or(0, |due| (finish - due).get().max(0));
            Some(request.priority * (10 * late + (finish - request.ready).get()))
        });
        costs.sum()
    }

    fn go(&mut self, number: usize) {
        self.branches += 1;
        if self.branches > MOST {
            return;
        }
        let Some((unit, step)) = self.wanted.get(number).copied() else {
            return self.complete();
        };
        let problem = self.problem;
        let own = problem.step(unit, step);
        let before = self
            .placed
            .iter()
            .rev()
            .find(|visit| visit.unit == unit && visit.step + 1 == step);
        let before = before.map(|visit| visit.times.out);
        let floor = self
            .floor(unit, step, before)
            .max(self.twin_floor(unit, step));
        let fact = step == problem.units[unit.ix()].facts.len();
        let last = match before {
            Some(out) if !(fact && out + own.rest_max < problem.now) => out + own.rest_max,
            _ => problem.end,
        };
        let pin = problem.units[unit.ix()]
            .pins
            .iter()
            .find(|pin| pin.step == step);
        for (rig, exposure) in problem.rigs_for(own) {
            if pin.is_some_and(|pin| pin.rig != *rig) {
                continue;
            }
            let mut load = floor;
            while load <= last.min(problem.end) {
                if pin.is_none_or(|pin| pin.load == load)
                    && !self.loads_at(number, (unit, step), (*rig, *exposure), load)
                {
                    break;
                }
                load += Minutes::new(1);
            }
        }
    }

    /// Tries every way out for a load; false where a later load is no use either.
    fn loads_at(
        &mut self,
        number: usize,
        (unit, step): (UnitIx, usize),
        (rig_ix, exposure): (RigIx, Minutes),
        load: Minute,
    ) -> bool {
        let problem = self.problem;
        let rig = &problem.rigs[rig_ix.ix()];
        let condition = problem.condition(problem.step(unit, step));
        let start = load + rig.load;
        let Some(end) = end_of(problem, condition, rig_ix, start, exposure) else {
            return false;
        };
        let known = self.least[unit.ix()];
        let mut unload = end;
        let mut any = false;
        while unload <= end + condition.max_wait && unload + rig.unload <= problem.end {
            let out = unload + rig.unload;
            let from = self.floor(unit, step + 1, Some(out));
            let wanted = problem.units[unit.ix()].wanted;
            let least = if step + 1 < wanted {
                self.shortest(unit, step + 1, from)
            } else {
                out
            };
            self.least[unit.ix()] = Some(least);
            if self.least_cost() >= self.limit {
                break;
            }
            any = true;
            let times = Times {
                load,
                start,
                end,
                unload,
                out,
            };
            for place in self.places(rig_ix, load) {
                let visit = Visit {
                    unit,
                    step,
                    rig: rig_ix,
                    place,
                    times,
                };
                if self.fits(&visit) {
                    self.place(visit);
                    self.go(number + 1);
                    self.take_off();
                }
            }
            unload += Minutes::new(1);
        }
        self.least[unit.ix()] = known;
        any
    }

    /// Of units that differ in nothing the first loads first.
    fn twin_floor(&self, unit: UnitIx, step: usize) -> Minute {
        let problem = self.problem;
        let plain = |ix: usize| {
            let unit = &problem.units[ix];
            unit.facts.is_empty() && unit.pins.is_empty() && unit.published.is_empty()
        };
        let (ix, own) = (unit.ix(), &problem.units[unit.ix()]);
        let twin = step == 0
            && ix > 0
            && problem.units[ix - 1].request == own.request
            && problem.units[ix - 1].wanted == own.wanted
            && plain(ix)
            && plain(ix - 1);
        let first = self
            .placed
            .iter()
            .find(|visit| visit.unit.ix() + 1 == ix && visit.step == 0);
        first
            .filter(|_| twin)
            .map_or(Minute::FIRST, |visit| visit.times.load)
    }

    /// Where a visit can stand: free positions that nobody has had are all alike.
    fn places(&self, rig: RigIx, load: Minute) -> Vec<Place> {
        let own = &self.problem.rigs[rig.ix()];
        match own.loading {
            Loading::Held => vec![Place::Held],
            Loading::Together => {
                let ahead = (load - self.problem.now).get();
                vec![Place::Run(
                    2_000_000 + u32::try_from(ahead).expect("loads lie ahead"),
                )]
            }
            Loading::Each => {
                let used = |position: &u32| {
                    let place = Place::Position(*position);
                    self.placed
                        .iter()
                        .any(|visit| visit.rig == rig && visit.place == place)
                };
                let mut places: Vec<u32> = (1..=own.positions).filter(used).collect();
                places.extend((1..=own.positions).find(|position| !used(position)));
                places.into_iter().map(Place::Position).collect()
            }
        }
    }

    fn fits(&self, visit: &Visit) -> bool {
        let problem = self.problem;
        let rig = &problem.rigs[visit.rig.ix()];
        let stay = visit.times.stay();
        if !rig.usable.iter().any(|span| span.covers(stay)) || !watched(problem, visit) {
            return false;
        }
        let on_rig = || self.placed.iter().filter(|other| other.rig == visit.rig);
        if !on_rig().all(|other| self.side_by_side(visit, other)) {
            return false;
        }
        let in_run = on_rig().filter(|other| other.times == visit.times).count();
        match rig.loading {
            Loading::Together if in_run >= rig.positions as usize => return false,
            Loading::Held if !self.room_in(visit, rig.positions as usize) => return false,
            _ => (),
        }
        if !self.kept_together(visit) {
            return false;
        }
        if rig.loading == Loading::Together && in_run > 0 {
            return true;
        }
        let crew = problem.condition(problem.step(visit.unit, visit.step)).crew;
        let people = &problem.crews[crew.ix()].people;
        self.hands(visit).into_iter().all(|at| {
            let taken = self.taken[crew.ix()][self.minute(at)];
            taken < people.at(at)
        })
    }

    fn side_by_side(&self, visit: &Visit, other: &Visit) -> bool {
        let problem = self.problem;
        let rig = &problem.rigs[visit.rig.ix()];
        let (own, its) = (
            problem.step(visit.unit, visit.step),
            problem.step(other.unit, other.step),
        );
        let alike = match rig.loading {
            Loading::Each => own.fixture == its.fixture,
            Loading::Together | Loading::Held => own.condition == its.condition,
        };
        let shares = match rig.loading {
            Loading::Each => visit.place != other.place,
            Loading::Together => alike && visit.times == other.times,
            Loading::Held => alike,
        };
        let pad = if alike { Minutes::ZERO } else { rig.changeover };
        let stay = other.times.stay();
        let wide = Span::new(stay.start - pad, stay.end + pad);
        shares || !(wide.overlaps(visit.times.stay()))
    }

    fn room_in(&self, visit: &Visit, positions: usize) -> bool {
        let mut at = visit.times.load;
        while at < visit.times.out {
            let inside = self
                .placed
                .iter()
                .filter(|other| other.rig == visit.rig && other.times.stay().contains(at));
            if inside.count() >= positions {
                return false;
            }
            at += Minutes::new(1);
        }
        true
    }

    fn kept_together(&self, visit: &Visit) -> bool {
        let problem = self.problem;
        let request = problem.request_of(visit.unit);
        let facts = |unit: u32| problem.units[unit as usize].facts.len();
        if !request.keep_together || request.units.clone().any(|unit| facts(unit) > visit.step) {
            return true;
        }
        let chamber = |visit: &Visit| problem.rigs[visit.rig.ix()].loading == Loading::Together;
        let mut mates = self
            .placed
            .iter()
            .filter(|other| other.step == visit.step && request.units.contains(&other.unit.0));
        mates.all(|mate| {
            let same = (mate.rig, mate.times) == (visit.rig, visit.times);
            same || !(chamber(mate) || chamber(visit))
        })
    }

    /// The minutes ahead in which the visit takes a person.
    fn hands(&self, visit: &Visit) -> Vec<Minute> {
        let problem = self.problem;
        let condition = problem.condition(problem.step(visit.unit, visit.step));
        let times = &visit.times;
        let mut all = minutes(times.load, times.start);
        all.extend(minutes(times.unload, times.out));
        if condition.watch == Watch::Full {
            let pauses = problem.pauses(condition, visit.rig);
            let on = &problem.crews[condition.crew.ix()].on;
            let exposed = minutes(times.start, times.end).into_iter();
            all.extend(exposed.filter(|at| !pauses || on.contains(*at)));
        }
        all.retain(|at| (problem.now..=problem.end).contains(at));
        all
    }

    fn minute(&self, at: Minute) -> usize {
        usize::try_from((at - self.problem.now).get()).expect("hands ahead")
    }

    /// True where the visit needs people of its own: always but for the later units of a run.
    fn brings_hands(&self, visit: &Visit, others: &[Visit]) -> bool {
        let together = self.problem.rigs[visit.rig.ix()].loading == Loading::Together;
        !together
            || !others
                .iter()
                .any(|other| (other.rig, other.times) == (visit.rig, visit.times))
    }

    fn place(&mut self, visit: Visit) {
        if self.brings_hands(&visit, &self.placed) {
            self.count_hands(&visit, true);
        }
        self.placed.push(visit);
    }

    fn take_off(&mut self) {
        let visit = self.placed.pop().expect("what was placed");
        if self.brings_hands(&visit, &self.placed) {
            self.count_hands(&visit, false);
        }
    }

    fn count_hands(&mut self, visit: &Visit, more: bool) {
        let problem = self.problem;
        let crew = problem.condition(problem.step(visit.unit, visit.step)).crew;
        for at in self.hands(visit) {
            let minute = self.minute(at);
            let taken = &mut self.taken[crew.ix()][minute];
            *taken = if more { *taken + 1 } else { *taken - 1 };
        }
    }

    fn complete(&mut self) {
        let mut plan = Plan {
            visits: self.placed.clone(),
            left: self.left.clone(),
        };
        plan.visits
            .sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
        // The limit may have fallen since this branch was begun.
        let cost = plan.cost(self.problem);
        if cost < self.limit && check(self.problem, &plan).is_empty() {
            self.limit = cost;
            self.best = Some(cost);
        }
    }
}

/// When an exposure ends, counted minute by minute; `None` where it does not within the horizon.
fn end_of(
    problem: &Problem,
    condition: &Condition,
    rig: RigIx,
    start: Minute,
    exposure: Minutes,
) -> Option<Minute> {
    let watch: Option<&OnTime> = problem
        .watch(condition)
        .filter(|_| problem.pauses(condition, rig));
    let mut left = exposure;
    let mut at = start;
    while left > Minutes::ZERO {
        if at > problem.end {
            return None;
        }
        if watch.is_none_or(|watch| watch.contains(at)) {
            left -= Minutes::new(1);
        }
        at += Minutes::new(1);
    }
    Some(at)
}

/// The watch is there throughout an exposure that may not pause.
fn watched(problem: &Problem, visit: &Visit) -> bool {
    let condition = problem.condition(problem.step(visit.unit, visit.step));
    let watch = problem
        .watch(condition)
        .filter(|_| !problem.pauses(condition, visit.rig));
    let exposed = minutes(visit.times.start, visit.times.end);
    watch.is_none_or(|watch| exposed.iter().all(|at| watch.contains(*at)))
}

fn minutes(from: Minute, until: Minute) -> Vec<Minute> {
    (from.get()..until.get()).map(Minute::new).collect()
}
