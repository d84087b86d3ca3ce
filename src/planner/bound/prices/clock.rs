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
use std::ops::Range;

/// Minutes from tick to tick: the least that makes few ticks, or the last.
const MINUTES: [i64; 7] = [1, 2, 5, 10, 15, 20, 30];

/// How finely time is looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grain {
    /// So many ticks are few.
    few: i64,
    /// Ticks for which a price, or a share, is the same.
    bucket: usize,
    /// Blocks of ticks that are enough; each lies in two buckets at most.
    blocks: usize,
}

impl Grain {
    pub(super) const ROUGH: Self = Self {
        few: 6000,
        bucket: 8,
        blocks: 800,
    };
    pub(super) const MIDDLE: Self = Self {
        few: 18_000,
        bucket: 24,
        blocks: 2500,
    };
    pub(super) const FINE: Self = Self {
        few: 36_000,
        bucket: 24,
        blocks: 2500,
    };
}

/// Ticks from `now` on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    origin: Minute,
    /// Minutes from tick to tick.
    length: i64,
    /// How many there are.
    pub(super) ticks: usize,
    /// See [`Grain::bucket`].
    pub(super) bucket: usize,
    /// Ticks that are looked at as one where nothing but a lowest price is sought.
    pub(super) block: usize,
}

impl Clock {
    /// A clock that goes until `last`.
    pub(super) fn new(problem: &Problem, last: Minute, grain: Grain) -> Self {
        let all = (last - problem.now).get();
        let length = MINUTES.iter().find(|length| all / **length <= grain.few);
        let mut clock = Self {
            origin: problem.now,
            length: *length.unwrap_or(&MINUTES[MINUTES.len() - 1]),
            ticks: 0,
            bucket: grain.bucket,
            block: 1,
        };
        clock.ticks = clock.tick(last) + 1;
        clock.block = clock.ticks.div_ceil(grain.blocks).min(grain.bucket);
        clock
    }

    #[cfg(test)]
    pub(super) fn of(origin: Minute, length: i64, ticks: usize) -> Self {
        Self {
            origin,
            length,
            ticks,
            bucket: Grain::FINE.bucket,
            block: 1,
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

    /// A minute in the middle of a bucket.
    pub(super) fn middle_of(&self, bucket: usize) -> Minute {
        self.minute(bucket * self.bucket + self.bucket / 2)
    }

    /// By tick, what is there at its last minute; nothing before the first of the steps.
    fn there(&self, steps: impl Iterator<Item = (Minute, u32)>) -> Vec<u32> {
        let mut steps = steps.peekable();
        let mut now = 0;
        let at_last_minute = |tick: usize| {
            let last = self.minute(tick + 1) - Minutes::new(1);
            while let Some((_, there)) = steps.next_if(|(from, _)| *from <= last) {
                now = there;
            }
            now
        };
        (0..self.ticks).map(at_last_minute).collect()
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

impl Offer {
    /// By block of ticks the number of the first stay that loads in it or later, and one more.
    fn firsts(&self, clock: &Clock, blocks: usize) -> Vec<usize> {
        let before = |tick: usize| self.stays.partition_point(|stay| stay.load < tick);
        (0..=blocks)
            .map(|block| before(block * clock.block))
            .collect()
    }

    /// Leaves out the stays between two others of their block that never cost less than both: prices are the same for
    /// a bucket of ticks, so what a stay costs rises or falls evenly while its load and its ends move on evenly.
    pub(super) fn thin(&mut self, clock: Clock, lines: &[Line]) {
        let pace = |one: &Stay, other: &Stay| self.pace(clock, lines, one, other);
        let stays = &self.stays;
        let kept = |ix: usize| {
            let (Some(before), Some(after)) = (ix.checked_sub(1), stays.get(ix + 1)) else {
                return true;
            };
            let first = pace(&stays[before], &stays[ix]);
            first.is_none() || first != pace(&stays[ix], after)
        };
        let kept: Vec<bool> = (0..stays.len()).map(kept).collect();
        let mut kept = kept.into_iter();
        self.stays.retain(|_| kept.next().unwrap_or(true));
    }

    /// By how much load, hands and way out move on from one stay to the next; `None` where they are not in one block, or
    /// where a price may change between them.
    fn pace(&self, clock: Clock, lines: &[Line], one: &Stay, other: &Stay) -> Option<[usize; 3]> {
        let crew = &lines[self.crew];
        let rig = self.rig.map(|rig| &lines[rig]);
        let even = |line: &Line, from: usize, to: usize| line.is_even(from, to);
        let all_even = even(crew, one.load, other.load)
            && even(crew, one.hands, other.hands)
            && rig
                .is_none_or(|rig| even(rig, one.load, other.load) && even(rig, one.out, other.out));
        let same_block = one.load / clock.block == other.load / clock.block;
        (all_even && same_block && other.hands >= one.hands && other.out >= one.out).then(|| {
            [
                other.load - one.load,
                other.hands - one.hands,
                other.out - one.out,
            ]
        })
    }

    /// What a stay costs at the prices of the lines.
    pub(super) fn cost(&self, lines: &[Line], stay: &Stay) -> f64 {
        let rig = self
            .rig
            .map_or(0.0, |rig| lines[rig].cost(stay.load, stay.out));
        rig + lines[self.crew].cost(stay.load, stay.hands)
    }
}

/// The last loads of a kind of step, by tick.
#[derive(Clone, Debug)]
pub(super) struct Latest {
    /// One more than the last load that is out by then; zero where there is none.
    out: Vec<u32>,
    /// The same of those whose hands are free by then.
    hands: Vec<u32>,
}

impl Latest {
    pub(super) fn new(offers: &[Offer], clock: &Clock) -> Self {
        let loads = |end: fn(&Stay) -> usize| {
            let mut loads: Vec<u32> = vec![0; clock.ticks + 1];
            for stay in offers.iter().flat_map(|own| &own.stays) {
                let load = u32::try_from(stay.load + 1).unwrap_or(u32::MAX);
                loads[end(stay)] = loads[end(stay)].max(load);
            }
            for tick in 1..loads.len() {
                loads[tick] = loads[tick].max(loads[tick - 1]);
            }
            loads
        };
        Self {
            out: loads(|stay| stay.out),
            hands: loads(|stay| stay.hands),
        }
    }

    /// The last tick at which a visit loads that is out by a tick.
    pub(super) fn load_out_by(&self, tick: usize) -> Option<usize> {
        (self.out[tick] as usize).checked_sub(1)
    }

    /// The last tick at which a visit loads whose person is free by a tick.
    pub(super) fn load_hands_by(&self, tick: usize) -> Option<usize> {
        (self.hands[tick] as usize).checked_sub(1)
    }
}

/// What the stays of a kind of step cost at the present prices.
#[derive(Clone, Debug)]
pub(super) struct Costs {
    /// By offer and block: the least of those that load in it; infinite where none does.
    pub(super) by_offer: Vec<Vec<f64>>,
    /// By offer: see [`Offer::firsts`].
    firsts: Vec<Vec<usize>>,
    /// True where none costs anything.
    pub(super) free: bool,
}

impl Costs {
    pub(super) fn new(offers: &[Offer], clock: &Clock) -> Self {
        let blocks = clock.ticks.div_ceil(clock.block);
        let firsts = offers.iter().map(|offer| offer.firsts(clock, blocks));
        Self {
            by_offer: vec![vec![f64::INFINITY; blocks]; offers.len()],
            firsts: firsts.collect(),
            free: false,
        }
    }

    /// The stays of an offer that load in a block.
    pub(super) fn in_block(&self, offer: usize, block: usize) -> Range<usize> {
        self.firsts[offer][block]..self.firsts[offer][block + 1]
    }

    /// Looks at the prices of the lines.
    pub(super) fn look(&mut self, offers: &[Offer], lines: &[Line]) {
        let free = |line: usize| lines[line].is_free();
        let all_free = |own: &Offer| free(own.crew) && own.rig.is_none_or(free);
        let was_free = std::mem::replace(&mut self.free, offers.iter().all(all_free));
        if was_free && self.free {
            return;
        }
        let known = self.by_offer.iter_mut().zip(&self.firsts);
        for ((costs, firsts), offer) in known.zip(offers) {
            for (cost, both) in costs.iter_mut().zip(firsts.windows(2)) {
                let stays = offer.stays[both[0]..both[1]].iter();
                let all = stays.map(|stay| offer.cost(lines, stay));
                *cost = all.fold(f64::INFINITY, f64::min);
            }
        }
    }
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
    /// Ticks of a bucket.
    bucket: usize,
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
    fn new(there: &[u32], bucket: usize) -> Self {
        let sum = |bucket: &[u32]| f64::from(bucket.iter().sum::<u32>());
        let there_by_bucket: Vec<f64> = there.chunks(bucket).map(sum).collect();
        let zeros = vec![0.0; there_by_bucket.len()];
        let most = there_by_bucket.iter().copied().fold(1.0, f64::max);
        Self {
            bucket,
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

    /// True where every tick from one to before another costs the same.
    fn is_even(&self, from: usize, to: usize) -> bool {
        from == to
            || from / self.bucket == (to - 1) / self.bucket
                && self.open[from..to]
                    .iter()
                    .all(|own| (*own > 0.0) == (self.open[from] > 0.0))
    }

    /// True where it costs nothing.
    pub(super) fn is_free(&self) -> bool {
        self.before.last().is_none_or(|all| *all <= 0.0)
    }

    /// Takes that much of it.
    pub(super) fn take(&mut self, from: usize, to: usize, weight: f64) {
        for tick in from..to {
            self.taken[tick / self.bucket] += weight * self.open[tick];
        }
    }

    /// What all of it costs.
    pub(super) fn paid_back(&self) -> f64 {
        let both = self.price.iter().zip(&self.there);
        both.map(|(price, there)| price * there).sum()
    }

    /// Adds prices up, and forgets what was taken.
    pub(super) fn add_up(&mut self) {
        self.taken.fill(0.0);
        let mut sum = 0.0;
        let free = self.price.iter().all(|price| *price <= 0.0);
        if free && self.is_free() {
            return;
        }
        for (tick, open) in self.open.iter().enumerate() {
            sum += self.price[tick / self.bucket] * open;
            self.before[tick + 1] = sum;
        }
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

    /// Asks by `own` what `other` asks by `theirs`.
    pub(super) fn ask_as(&mut self, own: &Clock, other: &Self, theirs: &Clock) {
        let pace = own.length as f64 / theirs.length as f64;
        for (bucket, price) in self.price.iter_mut().enumerate() {
            let middle = own.middle_of(bucket);
            let asked = other.price.get(theirs.tick(middle) / theirs.bucket);
            *price = asked.map_or(0.0, |asked| asked * pace);
        }
    }

    /// Sets the price of the first ticks, whole buckets of them.
    #[cfg(test)]
    pub(super) fn set_price(&mut self, ticks: usize, price: f64) {
        self.price[..ticks / self.bucket].fill(price);
    }
}

/// All rigs, then all crews.
pub(super) fn lines(problem: &Problem, clock: &Clock) -> Vec<Line> {
    let rigs = problem.rigs.iter().map(|rig| {
        let places = match rig.loading {
            Loading::Together => 1,
            Loading::Each | Loading::Held => rig.positions,
        };
        let spans = rig.usable.iter();
        let steps = spans.flat_map(|span| [(span.start, places), (span.end, 0)]);
        Line::new(&clock.there(steps), clock.bucket)
    });
    let crews = problem.crews.iter();
    let crews = crews.map(|crew| {
        let steps = crew.people.steps().iter().copied();
        Line::new(&clock.there(steps), clock.bucket)
    });
    rigs.chain(crews).collect()
}
