//! Orders: which goes first on each rig, who shares a run, and which rig does it.
//!
//! A plan is an order of nodes (runs, or single tasks); decoding places each as early as it can be after those
//! before it. The search changes orders where cost arises (`critical`, `moves`) and anneals: worse orders are
//! accepted ever more rarely (Kirkpatrick and others 1983; van Laarhoven, Aarts and Lenstra 1992 for
//! shops). Several searches with seeds of their own run side by side;
//! the best of them counts.

mod bound;
mod breed;
mod critical;
mod decode;
mod first;
mod moves;
mod reverse;
mod shape;
mod site;
mod state;
mod supply;
mod tabu;

use super::random::Random;
use crate::problem::network::{Network, Tick};
use breed::Breed;
use decode::{Decoder, Outcome};
use moves::{Kind, Mover};
use shape::Shape;
use state::State;
use tabu::Tabu;

/// Where and when a task is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Place of the rig.
    pub rig: u32,
    /// Number of its run: the same for all that share it.
    pub run: u32,
    /// When it starts.
    pub start: Tick,
    /// When it ends.
    pub end: Tick,
}

/// The best order found.
#[derive(Clone, Debug)]
pub struct Ordered {
    /// Its cost.
    pub cost: i64,
    /// Where and when each task is done.
    pub placed: Vec<Placed>,
    /// Rounds that each thread did.
    pub rounds: u64,
}

/// An order to begin with: runs by start, each with its tasks and the place of their rig among the first's modes.
pub(super) struct Outline {
    pub(super) runs: Vec<(Vec<u32>, u32)>,
}

/// A task's stay.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    pub(super) rig: u32,
    pub(super) lane: u32,
    pub(super) load: Tick,
    pub(super) unload: Tick,
    pub(super) out: Tick,
}

/// Improves an order until the share reaches 1, the rounds being counted from `rounds` on: the cost, and where each
/// task then is; `None` where the order as it is cannot be kept, or
/// not for `most`.
pub(super) fn improve(
    net: &Network,
    outline: &Outline,
    most: i64,
    seed: u64,
    rounds: u64,
    share: Share<'_>,
) -> Option<(i64, Vec<Run>)> {
    let shape = Shape::new(net);
    let start = State::of_runs(&shape, &outline.runs);
    let mut decoder = Decoder::new(&shape);
    let mut decoded = start.clone();
    decoder
        .decode_patiently(&mut decoded)
        .cost()
        .filter(|cost| *cost <= most)?;
    let mut line = Line::new(&shape, None, &decoded, seed, WARM);
    line.run(rounds, u64::MAX, share);
    let run = |task: usize| {
        let node = line.best.node[task] as usize;
        let rig = line.best.rig[node];
        Run {
            rig,
            lane: line.best.lane[node].saturating_sub(shape.lanes[rig as usize]),
            load: line.best.start[node],
            unload: line.best.unload[node],
            out: line.best.end[node],
        }
    };
    let runs = (0..net.tasks.len()).map(run).collect();
    Some((line.best.cost, runs))
}

/// How far the work is: the share of the budget that is used up after so many rounds, from 0 to 1.
pub type Share<'a> = &'a (dyn Fn(u64) -> f64 + Sync);

/// Moves in a round.
const MOVES: usize = 50;
/// Rounds after which the lines look whether one of them cannot be beaten.
const EPOCH: u64 = 400;
/// Iterations without progress after which tabu search begins anew from the best.
const PATIENCE: u64 = 3000;
/// Orders tried where no rule keeps every largest gap.
const SHUFFLES: usize = 200;
/// Shares of dearer orders that are accepted: at first, at first where there is much to do, and in the end.
const HOT: f64 = 0.3;
const WARM: f64 = 0.03;
const COLD: f64 = 0.001;
/// So few tasks are searched hot by every thread.
const FEW_TASKS: usize = 150;
/// What counts of a round in the next, and how fast the heat follows.
const MEMORY: f64 = 0.97;
const COOLING: f64 = 0.97;
/// Moves tried for a first guess of the heat.
const GUESSES: usize = 30;

/// Searches for the order of the lowest cost with that many threads; the same number of rounds gives the same
/// order. `None` where no order was found that keeps every gap.
#[expect(clippy::missing_panics_doc, reason = "there is one line at least")]
pub fn search(net: &Network, seed: u64, threads: u64, share: Share<'_>) -> Option<Ordered> {
    let shape = Shape::new(net);
    let reversed = breed::suits(&shape).then(|| reverse::reversed(net));
    let back = reversed.as_ref().map(Shape::new);
    let start = first_state(&shape, seed)?;
    let mut lines: Vec<Line<'_, '_>> = (0..threads.max(1))
        .map(|thread| {
            let hot = if thread % 2 == 0 || net.tasks.len() <= FEW_TASKS {
                HOT
            } else {
                WARM
            };
            Line::new(
                &shape,
                back.as_ref(),
                &start,
                seed.wrapping_add(thread * 7919),
                hot,
            )
        })
        .collect();
    let mut rounds = 0;
    while share(rounds) < 1.0 && lines.iter().all(|line| line.best.cost > line.floor) {
        let until = rounds + EPOCH;
        std::thread::scope(|scope| {
            let mut lines = lines.iter_mut();
            let own = lines.next().expect("there is one line at least");
            for line in lines {
                scope.spawn(move || line.run(rounds, until, share));
            }
            own.run(rounds, until, share);
        });
        rounds = until;
    }
    let best = lines
        .iter()
        .map(|line| &line.best)
        .min_by_key(|best| best.cost)
        .expect("there is one line at least");
    Some(Ordered {
        cost: best.cost,
        placed: placed(net, best),
        rounds: lines[0].rounds,
    })
}

/// No plan costs less.
pub fn lower_bound(net: &Network) -> i64 {
    bound::lower(&Shape::new(net))
}

/// True where the gaps alone cannot all be kept, whatever is shared.
pub fn contradicts_itself(net: &Network) -> bool {
    !shape::keep_gaps(net, &mut vec![0; net.tasks.len()])
}

fn placed(net: &Network, state: &State) -> Vec<Placed> {
    let one = |task: usize| {
        let node = state.node[task];
        Placed {
            rig: state.rig[node as usize],
            run: node,
            start: state.start[node as usize],
            end: state.end[node as usize],
        }
    };
    (0..net.tasks.len()).map(one).collect()
}

/// The best of the orders by priority rules; where none of them keeps every largest gap, the first shuffled one
/// that does.
fn first_state(shape: &Shape<'_>, seed: u64) -> Option<State> {
    let mut decoder = Decoder::new(shape);
    let mut best: Option<State> = None;
    let mut last = None;
    for rule in first::rules(shape) {
        let mut state = first::order(shape, rule);
        if decoder.decode_patiently(&mut state).cost().is_some()
            && best.as_ref().is_none_or(|best| state.cost < best.cost)
        {
            best = Some(state);
        } else {
            last = Some(state);
        }
    }
    best.or_else(|| shuffled(shape, &mut decoder, &last?, seed))
}

fn shuffled(
    shape: &Shape<'_>,
    decoder: &mut Decoder<'_, '_>,
    from: &State,
    seed: u64,
) -> Option<State> {
    let mut random = Random::new(seed);
    let mut mover = Mover::new(shape);
    let mut state = from.clone();
    for attempt in 0..SHUFFLES {
        state.copy(from);
        for _ in 0..attempt * state.order.len() / SHUFFLES {
            mover.make(Kind::Shift, &mut state, &mut random);
        }
        if decoder.decode_patiently(&mut state).cost().is_some() {
            return Some(state);
        }
    }
    None
}

/// One search.
struct Line<'s, 'n> {
    decoder: Decoder<'s, 'n>,
    mover: Mover<'s, 'n>,
    random: Random,
    kinds: Vec<(Kind, f64)>,
    current: State,
    trial: State,
    best: State,
    floor: i64,
    tabu: Option<Tabu<'s, 'n>>,
    breed: Option<Breed<'s, 'n>>,
    heat: f64,
    /// Share of dearer orders accepted at first.
    hot: f64,
    /// Dearer orders met and accepted of late.
    worse: f64,
    taken: f64,
    rounds: u64,
}

impl<'s, 'n> Line<'s, 'n> {
    fn new(
        shape: &'s Shape<'n>,
        back: Option<&'s Shape<'n>>,
        start: &State,
        seed: u64,
        hot: f64,
    ) -> Self {
        let mover = Mover::new(shape);
        let mut line = Self {
            decoder: Decoder::new(shape),
            kinds: mover.kinds(),
            mover,
            random: Random::new(seed),
            current: start.clone(),
            trial: start.clone(),
            best: start.clone(),
            floor: bound::lower(shape),
            tabu: tabu::suits(shape).then(|| Tabu::new(shape, start, seed)),
            breed: back.map(|back| Breed::new(shape, back, start, seed)),
            heat: 1.0,
            hot,
            worse: 0.0,
            taken: 0.0,
            rounds: 0,
        };
        line.heat = line.mean_rise();
        line
    }

    /// The mean rise of the cost of moves from the start that make it dearer.
    fn mean_rise(&mut self) -> f64 {
        let mut sum = 0.0;
        let mut count = 0.0;
        for _ in 0..GUESSES {
            let before = self.current.cost;
            if let Some(cost) = self.attempt(i64::MAX).cost()
                && cost > before
            {
                sum += (cost - before) as f64;
                count += 1.0;
            }
        }
        if count > 0.0 { sum / count } else { 1.0 }
    }

    /// Works from one round to another, or until the share is used up or the best cannot be beaten.
    fn run(&mut self, from: u64, until: u64, share: Share<'_>) {
        for round in from..until {
            let used = share(round);
            if used >= 1.0 || self.best.cost <= self.floor {
                return;
            }
            if self.tabu.is_some() {
                self.tabu_round();
            } else if self.breed.is_some() {
                self.breed_round();
            } else {
                self.anneal_round(used);
            }
            self.rounds = round + 1;
        }
    }

    /// A round of annealing. The heat follows from the share of dearer orders that should be accepted by now, so
    /// that no scale of costs needs to be known.
    fn anneal_round(&mut self, used: f64) {
        self.worse *= MEMORY;
        self.taken *= MEMORY;
        for _ in 0..MOVES {
            let limit = self.limit();
            match self.attempt(limit) {
                Outcome::Never => {}
                Outcome::Dear => self.worse += 1.0,
                Outcome::Cost(cost) => {
                    if cost > self.current.cost {
                        self.worse += 1.0;
                        self.taken += 1.0;
                    }
                    self.accept();
                }
            }
        }
        let target = self.hot * (COLD / self.hot).powf(used);
        if self.taken > target * self.worse {
            self.heat *= COOLING;
        } else {
            self.heat /= COOLING;
        }
    }

    /// The trial becomes the current order.
    fn accept(&mut self) {
        std::mem::swap(&mut self.current, &mut self.trial);
        self.decoder.keep();
        if self.current.cost < self.best.cost {
            self.best.copy(&self.current);
        }
    }

    /// A round of tabu search.
    fn tabu_round(&mut self) {
        let Some(tabu) = &mut self.tabu else { return };
        if tabu.run(MOVES, PATIENCE) {
            tabu.give(&mut self.trial);
            let outcome = self.decoder.decode(&mut self.trial, 0, i64::MAX);
            if outcome.cost().is_some_and(|cost| cost < self.best.cost) {
                self.best.copy(&self.trial);
            }
        }
    }

    /// Makes a move on a copy and works it out; what comes of it.
    fn attempt(&mut self, limit: i64) -> Outcome {
        self.trial.copy(&self.current);
        let kind = self.draw();
        match self.mover.make(kind, &mut self.trial, &mut self.random) {
            Some(from) => self.decoder.decode(&mut self.trial, from, limit),
            None => Outcome::Never,
        }
    }

    fn draw(&mut self) -> Kind {
        let total: f64 = self.kinds.iter().map(|(_, weight)| weight).sum();
        let mut drawn = self.random.fraction() * total;
        for (kind, weight) in &self.kinds {
            drawn -= weight;
            if drawn < 0.0 {
                return *kind;
            }
        }
        self.kinds[0].0
    }

    /// The highest cost that is accepted this time.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a float beyond it becomes the largest number"
    )]
    fn limit(&mut self) -> i64 {
        (self.current.cost as f64 - self.heat * (1.0 - self.random.fraction()).ln()) as i64
    }

    /// A round of breeding.
    fn breed_round(&mut self) {
        let Some(breed) = &mut self.breed else { return };
        for _ in 0..MOVES / 5 {
            breed.step();
        }
        if let Some(best) = breed.best()
            && best.cost < self.best.cost
        {
            self.best.copy(best);
        }
    }
}
