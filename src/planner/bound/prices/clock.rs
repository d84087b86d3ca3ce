//! A clock that shows only every few minutes, and what can be taken of rigs and crews by it.
//!
//! A visit from one minute to another is, by that clock, one from the tick at or before the first to the tick at or
//! before the second. Spans that do not overlap still do not, since the order of two minutes is never
//! turned round; and a span owns a tick where it owns that tick's last minute. So whatever holds of a plan minute
//! by minute holds by the clock, with the rigs and people that are there at the last minute of each tick.
//!
//! Example: ticks of 10 minutes from 08:00. A visit from 08:05 to 08:40 owns the ticks 08:00, 08:10, 08:20 and
//! 08:30; one from 08:40 to 08:45 owns none.

use super::super::ahead::{Ahead, Kind, Way};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::Problem;

/// Minutes from tick to tick: the least that makes few ticks, or the last.
const MINUTES: [i64; 5] = [1, 2, 5, 10, 15];
const FEW: i64 = 9000;
/// Ticks for which a price is the same: four hours where one is ten minutes.
const BUCKET: usize = 24;

/// Ticks from `now` on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    origin: Minute,
    /// Minutes from tick to tick.
    length: i64,
    /// How many there are.
    pub(super) ticks: usize,
}

impl Clock {
    /// A clock that goes until `last`.
    pub(super) fn new(problem: &Problem, last: Minute) -> Self {
        let all = (last - problem.now).get();
        let length = MINUTES.iter().find(|length| all / **length <= FEW);
        let mut clock = Self {
            origin: problem.now,
            length: *length.unwrap_or(&MINUTES[MINUTES.len() - 1]),
            ticks: 0,
        };
        clock.ticks = clock.tick(last) + 1;
        clock
    }

    #[cfg(test)]
    pub(super) fn of(origin: Minute, length: i64, ticks: usize) -> Self {
        Self {
            origin,
            length,
            ticks,
        }
    }

    /// What it shows at a minute; the first tick before it begins to go.
    pub(super) fn tick(&self, at: Minute) -> usize {
        usize::try_from((at - self.origin).get() / self.length).unwrap_or(0)
    }

    /// The first minute of a tick.
    pub(super) fn minute(&self, tick: usize) -> Minute {
        self.origin + Minutes::new(self.length * i64::try_from(tick).unwrap_or(0))
    }

    /// Whole ticks in a length: it takes no fewer.
    pub(super) fn whole(&self, length: Minutes) -> usize {
        usize::try_from(length.get() / self.length).unwrap_or(0)
    }
}

/// The least that a visit takes which loads within a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stay {
    pub(super) load: usize,
    /// Its person is taken until then.
    pub(super) hands: usize,
    pub(super) out: usize,
}

/// A rig for a kind of step.
#[derive(Clone, Debug)]
pub(super) struct Offer {
    /// The line of its rig; none where several rigs are seen as one.
    pub(super) rig: Option<usize>,
    /// The line of its crew.
    pub(super) crew: usize,
    /// True where a run is paid for by shares.
    pub(super) together: bool,
    /// Sorted by load.
    pub(super) stays: Vec<Stay>,
}

/// By kind of step and way: the visits there are.
pub(super) fn offers(ahead: &Ahead<'_>, clock: &Clock) -> Vec<Vec<Offer>> {
    let rigs = &ahead.problem.rigs;
    let offer = |kind: &Kind<'_>, way: &Way| {
        let rig = Some(way.room).filter(|room| *room < rigs.len());
        Offer {
            rig,
            crew: rigs.len() + kind.condition.crew.ix(),
            together: rig.is_some_and(|rig| rigs[rig].loading == Loading::Together),
            stays: stays(ahead, clock, kind, way),
        }
    };
    let of_kind = |kind: &Kind<'_>| kind.ways.iter().map(|way| offer(kind, way)).collect();
    ahead.kinds.iter().map(of_kind).collect()
}

fn stays(ahead: &Ahead<'_>, clock: &Clock, kind: &Kind<'_>, way: &Way) -> Vec<Stay> {
    let mut stays = Vec::new();
    let mut tick = 0;
    while tick < clock.ticks {
        let from = clock.minute(tick);
        let Some(own) = ahead.on_way(kind, way, from, Minute::FIRST) else {
            break;
        };
        let load = clock.tick(own.load);
        if load == tick {
            let hands = clock.tick(kind.hands_end_on(way, own.load));
            stays.push(Stay {
                load,
                hands: hands.min(clock.ticks),
                out: clock.tick(own.out),
            });
        }
        tick = load.max(tick + 1);
    }
    stays.retain(|stay| stay.out < clock.ticks);
    stays
}

/// A rig or a crew: what there is of it, what it costs, and what is taken.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// By bucket: ticks × places, or ticks × people.
    there: Vec<f64>,
    /// By tick: 1 where it is to be had, else nobody takes it.
    open: Vec<f64>,
    /// By bucket: of a place, or a person, for a tick.
    price: Vec<f64>,
    taken: Vec<f64>,
    direction: Vec<f64>,
    /// One by the most there is in a bucket: prices move by the share that is taken too much, else those of a
    /// crew of one would hardly move beside those of a rig of ten positions.
    ease: f64,
    /// By tick: the price of all ticks before it.
    before: Vec<f64>,
}

impl Line {
    /// `there` by tick.
    fn new(there: &[u32]) -> Self {
        let sum = |bucket: &[u32]| f64::from(bucket.iter().sum::<u32>());
        let there_by_bucket: Vec<f64> = there.chunks(BUCKET).map(sum).collect();
        let zeros = vec![0.0; there_by_bucket.len()];
        let most = there_by_bucket.iter().copied().fold(1.0, f64::max);
        Self {
            open: there.iter().map(|own| f64::from((*own).min(1))).collect(),
            there: there_by_bucket,
            price: zeros.clone(),
            taken: zeros.clone(),
            direction: zeros,
            ease: 1.0 / most,
            before: vec![0.0; there.len() + 1],
        }
    }

    /// Price of one place from a tick to another.
    pub(super) fn cost(&self, from: usize, to: usize) -> f64 {
        self.before[to] - self.before[from]
    }

    /// Takes that much of it.
    pub(super) fn take(&mut self, from: usize, to: usize, weight: f64) {
        for tick in from..to {
            self.taken[tick / BUCKET] += weight * self.open[tick];
        }
    }

    /// What all of it costs.
    pub(super) fn paid_back(&self) -> f64 {
        let both = self.price.iter().zip(&self.there);
        both.map(|(price, there)| price * there).sum()
    }

    /// Adds prices up, and forgets what was taken.
    pub(super) fn add_up(&mut self) {
        let mut sum = 0.0;
        for (tick, open) in self.open.iter().enumerate() {
            sum += self.price[tick / BUCKET] * open;
            self.before[tick + 1] = sum;
        }
        self.taken.fill(0.0);
    }

    /// Turns to where more is taken than there is, `kept` of the last direction staying; the square of its
    /// length, by the line's ease.
    pub(super) fn turn(&mut self, kept: f64) -> f64 {
        let mut length = 0.0;
        for (bucket, own) in self.direction.iter_mut().enumerate() {
            let free = self.price[bucket] <= 0.0;
            let mut more = self.taken[bucket] - self.there[bucket];
            if free {
                more = more.max(0.0);
            }
            *own = (1.0 - kept) * more + kept * *own;
            if free {
                *own = own.max(0.0);
            }
            length += self.ease * *own * *own;
        }
        length
    }

    /// Changes the prices, none below zero.
    pub(super) fn step(&mut self, length: f64) {
        for (price, direction) in self.price.iter_mut().zip(&self.direction) {
            *price = (*price + length * self.ease * direction).max(0.0);
        }
    }

    /// Sets the price of the first ticks, whole buckets of them.
    #[cfg(test)]
    pub(super) fn set_price(&mut self, ticks: usize, price: f64) {
        self.price[..ticks / BUCKET].fill(price);
    }
}

/// All rigs, then all crews.
pub(super) fn lines(problem: &Problem, clock: &Clock) -> Vec<Line> {
    let last_minutes = (0..clock.ticks).map(|tick| clock.minute(tick + 1) - Minutes::new(1));
    let last_minutes: Vec<Minute> = last_minutes.collect();
    let rigs = problem.rigs.iter().map(|rig| {
        let places = match rig.loading {
            Loading::Together => 1,
            Loading::Each | Loading::Held => rig.positions,
        };
        let there = |at: &Minute| {
            let next = rig.usable.partition_point(|span| span.end <= *at);
            let open = rig.usable.get(next).is_some_and(|span| span.start <= *at);
            if open { places } else { 0 }
        };
        Line::new(&last_minutes.iter().map(there).collect::<Vec<u32>>())
    });
    let crews = problem.crews.iter().map(|crew| {
        let steps = crew.people.steps();
        let there = |at: &Minute| {
            let next = steps.partition_point(|(from, _)| from <= at);
            next.checked_sub(1).map_or(0, |now| steps[now].1)
        };
        Line::new(&last_minutes.iter().map(there).collect::<Vec<u32>>())
    });
    rigs.chain(crews).collect()
}
