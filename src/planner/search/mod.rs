//! Ruin and recreate: take a few requests off, put them in again in another order, keep what is better.
//!
//! After Shaw (1998) and Schrimpf and others (2000), with record-to-record acceptance (Dueck 1993). What
//! is taken off is chosen where cost arises: a late or long request with others that use its rigs at the
//! same time. A round changes only what it takes off, so its price does not grow with the plan.

mod blockers;
mod replay;
mod ruins;

use super::construct::{Builder, Style};
use super::random::Random;
use super::reach::Late;
use super::timeline::Placed;
use crate::domain::{Minute, Minutes};
use crate::problem::{RequestIx, RigIx, UnitIx};
use ruins::{Piece, RUINS, Ruin};
use std::collections::BTreeMap;

type Taken = Vec<(UnitIx, usize, Placed)>;

/// What a round did.
pub(super) struct Outcome {
    pub(super) improved: bool,
    pub(super) cost: i64,
}

/// By how many mean costs of a request an accepted plan is dearer on average, at first and in the end.
const HOT: f64 = 0.5;
const COLD: f64 = 0.004;
/// How often a rig is left out in a round, and how often units that stay together may keep off chambers.
const AVOID: f64 = 0.3;
const APART: f64 = 0.2;
/// How often the pieces go in again in any order, and one in so many times the first does not go ahead otherwise.
const SHUFFLED: f64 = 0.3;
const LATER: usize = 4;
/// How often nobody may count on it that those who go in after it come out better than before.
const WARY: f64 = 0.9;
/// How often a round is tried again with whoever found no place put in first.
const RETRIES: usize = 1;

/// What a round brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Gain {
    /// A new best plan.
    Best,
    /// A better plan than the one before.
    Better,
    Nothing,
}

/// What a way to ruin has brought in a round of late, and how many bookings it took off for that.
#[derive(Clone, Copy, Debug)]
struct Score {
    earned: f64,
    work: f64,
}

impl Score {
    /// Nobody is known to do better than another.
    const NEW: Self = Self {
        earned: 1.0,
        work: 1.0,
    };
    /// What a round counts for.
    const NEWS: f64 = 0.02;
    /// Nobody is given up.
    const LEAST: f64 = 0.05;
    /// A round that takes nothing off is work too, in bookings.
    const ROUND: f64 = 5.0;

    fn learn(&mut self, gain: Gain, taken: usize) {
        let earned = match gain {
            Gain::Best => 4.0,
            Gain::Better => 1.0,
            Gain::Nothing => 0.0,
        };
        let work = taken as f64 + Self::ROUND;
        self.earned = (self.earned + (earned - self.earned) * Self::NEWS).max(Self::LEAST);
        self.work += (work - self.work) * Self::NEWS;
    }

    /// What is earned for the work.
    fn rate(self) -> f64 {
        self.earned / self.work
    }
}

/// What a round has taken off, and what the plan may cost after it.
struct Round<'r> {
    /// Whose bookings, sorted.
    requests: &'r [RequestIx],
    /// What each of them cost.
    costs: &'r [i64],
    taken: &'r [Taken],
    /// They may cost so much together.
    most: i64,
}

/// A request of which a round takes something off, sorted by request.
struct Stake {
    request: RequestIx,
    /// Nobody counts on it that it costs less, as long as it is not whole again.
    floor: i64,
}

/// What a request costs at least, and how many of its pieces are still to be put in.
struct Hope {
    pieces: usize,
    least: i64,
}

/// A search in progress.
pub(super) struct Search<'b, 'p> {
    builder: &'b mut Builder<'p>,
    random: Random,
    /// Requests that may be taken off: those with bookings; what is fixed goes back where it must be.
    movable: Vec<RequestIx>,
    /// Rigs a request could use, as a set of bits by rig number modulo 64.
    rigs: Vec<u64>,
    /// The rigs on which each crew works.
    rigs_of_crews: Vec<Vec<RigIx>>,
    /// When each request finishes at the earliest.
    least: &'b [Minute],
    cost: i64,
    best_cost: i64,
    /// Where the current plan is worse than the best: what is booked otherwise in the best plan.
    best: BTreeMap<(UnitIx, usize), Placed>,
    /// How well each way to ruin has done of late.
    scores: [Score; RUINS.len()],
    /// The share of the work that is done, from 0 to 1.
    used: f64,
}

/// The cost of all requests that are planned.
pub(super) fn cost_of(builder: &Builder<'_>) -> i64 {
    let requests = (0..builder.problem.requests.len()).map(RequestIx::from);
    requests.map(|request| request_cost(builder, request)).sum()
}

fn request_cost(builder: &Builder<'_>, request: RequestIx) -> i64 {
    builder
        .finish(request)
        .map_or(0, |finish| builder.problem.cost_at(request, finish))
}

impl<'b, 'p> Search<'b, 'p> {
    pub(super) fn new(builder: &'b mut Builder<'p>, least: &'b [Minute], seed: u64) -> Self {
        let problem = builder.problem;
        let all = (0..problem.requests.len()).map(RequestIx::from);
        let movable = all.filter(|request| builder.can_move(*request)).collect();
        let rigs = (0..problem.requests.len())
            .map(|ix| rig_bits(builder, ix))
            .collect();
        let cost = cost_of(builder);
        builder.forget_log();
        Self {
            builder,
            random: Random::new(seed),
            movable,
            rigs_of_crews: blockers::rigs_of_crews(problem),
            rigs,
            least,
            cost,
            best_cost: cost,
            best: BTreeMap::new(),
            scores: [Score::NEW; RUINS.len()],
            used: 0.0,
        }
    }

    /// One round, that share of the work being done; `None` where there is nothing to move.
    pub(super) fn round(&mut self, used: f64) -> Option<Outcome> {
        self.used = used;
        if self.movable.is_empty() {
            return None;
        }
        let way = self.draw();
        let first = self.seed_request();
        let pieces = self.choose(RUINS[way], first);
        let (gain, taken) = if RUINS[way] == Ruin::Replay {
            let replay = self.replay_of(first, &pieces);
            self.try_round(&pieces, |search, round| search.put_turns(&replay, round))
        } else {
            self.try_round(&pieces, |search, round| search.put_pieces(&pieces, round))
        };
        self.scores[way].learn(gain, taken);
        Some(Outcome {
            improved: gain == Gain::Best,
            cost: self.best_cost,
        })
    }

    /// Takes the pieces off and puts what they held in again; undone where that is not accepted. The gain, and how
    /// many bookings were taken off.
    fn try_round(
        &mut self,
        pieces: &[Piece],
        put: impl FnOnce(&mut Self, &Round<'_>) -> bool,
    ) -> (Gain, usize) {
        let mut requests: Vec<RequestIx> = pieces.iter().map(|piece| piece.request).collect();
        requests.sort_unstable();
        requests.dedup();
        let costs = self.costs(&requests);
        let before: i64 = costs.iter().sum();
        let taken: Vec<Taken> = pieces
            .iter()
            .map(|piece| self.builder.take_off_from(&piece.units, piece.from))
            .collect();
        let bookings = taken.iter().map(Vec::len).sum();
        let round = Round {
            requests: &requests,
            costs: &costs,
            taken: &taken,
            most: before + self.allowance(),
        };
        let after = put(self, &round).then(|| self.costs(&requests).iter().sum::<i64>());
        let Some(after) = after.filter(|after| *after <= round.most) else {
            self.take_back(pieces, &taken);
            return (Gain::Nothing, bookings);
        };
        (self.accept(after - before, &taken), bookings)
    }

    /// Keeps the plan as it is now, which costs so much more than before that was taken off.
    fn accept(&mut self, change: i64, taken: &[Taken]) -> Gain {
        self.cost += change;
        let improved = self.cost < self.best_cost;
        if self.cost <= self.best_cost {
            self.best_cost = self.cost;
            self.best.clear();
        } else {
            for (unit, step, placed) in taken.iter().flatten() {
                if self.builder.lines.placed(*unit, *step) != Some(placed) {
                    self.best.entry((*unit, *step)).or_insert(*placed);
                }
            }
        }
        match (improved, change < 0) {
            (true, _) => Gain::Best,
            (false, true) => Gain::Better,
            (false, false) => Gain::Nothing,
        }
    }

    /// Puts the pieces in again in some order and style.
    fn put_pieces(&mut self, pieces: &[Piece], round: &Round<'_>) -> bool {
        let order = self.order(round.taken);
        let wary = self.random.fraction() < WARY;
        let stake = |(request, cost): (&RequestIx, &i64)| Stake {
            request: *request,
            floor: if wary { *cost } else { 0 },
        };
        let stakes: Vec<Stake> = round.requests.iter().zip(round.costs).map(stake).collect();
        self.recreate(pieces, order, &stakes, round.most)
    }

    fn costs(&self, requests: &[RequestIx]) -> Vec<i64> {
        let costs = requests
            .iter()
            .map(|request| request_cost(self.builder, *request));
        costs.collect()
    }

    /// A way to ruin, drawn by what each has earned for its work of late.
    fn draw(&mut self) -> usize {
        let total: f64 = self.scores.iter().map(|score| score.rate()).sum();
        let mut drawn = self.random.fraction() * total;
        for (way, score) in self.scores.iter().enumerate() {
            drawn -= score.rate();
            if drawn < 0.0 {
                return way;
            }
        }
        0
    }

    /// Leaves the best plan in the builder; its cost.
    pub(super) fn finish(self) -> i64 {
        for (unit, step) in self.best.keys() {
            self.builder.lines.remove(*unit, *step);
        }
        for ((unit, step), placed) in &self.best {
            self.builder.lines.place(*unit, *step, *placed);
        }
        self.best_cost
    }

    /// How much dearer a plan may become in this round; less and less as the work goes on: annealing.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "some mean costs of a request"
    )]
    fn allowance(&mut self) -> i64 {
        let request = self.best_cost as f64 / self.movable.len() as f64;
        let heat = request * HOT * (COLD / HOT).powf(self.used);
        (-heat * (1.0 - self.random.fraction()).ln()) as i64
    }

    /// What a request costs at least, the rest of it being put in as early as can be.
    fn least_cost(&self, request: RequestIx) -> i64 {
        let least = self.least[request.ix()];
        let finish = self
            .builder
            .finish(request)
            .map_or(least, |finish| finish.max(least));
        self.builder.problem.cost_at(request, finish)
    }

    fn span_of(&self, request: RequestIx) -> (Minute, Minute) {
        let own = &self.builder.problem.requests[request.ix()];
        (own.ready, self.builder.finish(request).unwrap_or(own.ready))
    }

    /// How much two requests compete: common rigs, common time.
    fn kinship(&self, first: RequestIx, span: (Minute, Minute), other: RequestIx) -> f64 {
        let (from, to) = self.span_of(other);
        let common = (span.1.min(to) - span.0.max(from)).at_least_zero().get() as f64;
        let longest = (span.1 - span.0).max(to - from).get().max(1) as f64;
        let rigs = (self.rigs[first.ix()] & self.rigs[other.ix()]).count_ones();
        f64::from(1 + rigs) * (0.1 + common / longest)
    }

    /// In which order the pieces go in again: any, or the first ahead of the others, now and then between them, which
    /// keep the order in which they began.
    fn order(&mut self, taken: &[Taken]) -> Vec<usize> {
        let mut order: Vec<usize> = (0..taken.len()).collect();
        if self.random.fraction() < SHUFFLED {
            self.shuffle(&mut order);
        } else if order.len() > 1 {
            let begin = |ix: &usize| {
                let loads = taken[*ix].iter().map(|(_, _, placed)| placed.times.load);
                loads.min()
            };
            order[1..].sort_by_key(begin);
            if self.random.below(LATER) == 0 {
                let at = self.random.below(order.len());
                order[..=at].rotate_left(1);
            }
        }
        order
    }

    fn shuffle<T>(&mut self, all: &mut [T]) {
        for ix in (1..all.len()).rev() {
            all.swap(ix, self.random.below(ix + 1));
        }
    }

    /// Puts the pieces in again, in that order; false where one finds no place, or none at which the requests
    /// together cost no more than `most`.
    fn recreate(
        &mut self,
        pieces: &[Piece],
        order: Vec<usize>,
        stakes: &[Stake],
        most: i64,
    ) -> bool {
        let mut order: Vec<&Piece> = order.into_iter().map(|ix| &pieces[ix]).collect();
        self.builder.style = self.style();
        let mut tries = 0;
        while let Err(failed) = self.put_in_order(&order, stakes, most) {
            tries += 1;
            if failed == 0 || tries > RETRIES {
                return false;
            }
            for piece in &order[..=failed] {
                self.builder.take_off_from(&piece.units, piece.from);
            }
            order[..=failed].rotate_right(1);
        }
        true
    }

    /// Puts the pieces in, one after the other; or says which finds no place.
    fn put_in_order(&mut self, order: &[&Piece], stakes: &[Stake], most: i64) -> Result<(), usize> {
        let whole = order.iter().filter(|piece| piece.whole);
        let whole: Vec<RequestIx> = whole.map(|piece| piece.request).collect();
        self.builder.cast_shadows(&whole);
        let mut hopes = self.hopes(order, stakes);
        let mut least: i64 = hopes.iter().map(|hope| hope.least).sum();
        let mut result = Ok(());
        for (ix, piece) in order.iter().enumerate() {
            if piece.whole {
                self.builder.lift_shadows_of(piece.request);
            }
            if result.is_err() {
                continue;
            }
            let at = stakes.binary_search_by_key(&piece.request, |stake| stake.request);
            let at = at.expect("whoever is put in has a stake");
            let own = hopes[at].least + most - least;
            self.builder.latest = self.builder.problem.latest_finish(piece.request, own);
            if least > most || !self.put(piece) {
                result = Err(ix);
                continue;
            }
            least -= hopes[at].least;
            hopes[at].pieces -= 1;
            hopes[at].least = self.least_of(&stakes[at], hopes[at].pieces);
            least += hopes[at].least;
        }
        self.builder.latest = Minute::LAST;
        self.builder.forget_log();
        result
    }

    /// What each request can hope for before anything is put in.
    fn hopes(&self, order: &[&Piece], stakes: &[Stake]) -> Vec<Hope> {
        let hope = |stake: &Stake| {
            let own = order.iter().filter(|piece| piece.request == stake.request);
            let pieces = own.count();
            Hope {
                pieces,
                least: self.least_of(stake, pieces),
            }
        };
        stakes.iter().map(hope).collect()
    }

    /// What a request costs at least with so many pieces still to be put in.
    fn least_of(&self, stake: &Stake, pieces: usize) -> i64 {
        let least = self.least_cost(stake.request);
        if pieces > 0 {
            least.max(stake.floor)
        } else {
            least
        }
    }

    fn put(&mut self, piece: &Piece) -> bool {
        let put = if piece.whole {
            self.builder.put(piece.request)
        } else {
            self.builder.put_stages_of(piece.request, &piece.units)
        };
        put.is_ok()
    }

    /// How chambers are shared in this round, and what is left out so that others can have it.
    fn style(&mut self) -> Style {
        let hours = [0, 2, 6, 12, 24, 72][self.random.below(6)];
        let mut style = Style::sharing(Minutes::hours(hours));
        style.look_ahead = self.random.below(2) > 0;
        if self.random.fraction() < AVOID {
            style.avoid = Some(self.random.below(self.builder.problem.rigs.len()).into());
        }
        style.apart = self.random.fraction() < APART;
        if self.random.below(2) > 0 {
            style.late = Late::Always;
        }
        style
    }

    fn take_back(&mut self, pieces: &[Piece], taken: &[Taken]) {
        for piece in pieces {
            self.builder.take_off_from(&piece.units, piece.from);
        }
        for bookings in taken {
            self.builder.put_back(bookings);
        }
        self.builder.forget_log();
    }
}

fn rig_bits(builder: &Builder<'_>, request: usize) -> u64 {
    let problem = builder.problem;
    let steps = problem.requests[request].steps.iter();
    let rigs = steps
        .flat_map(|step| problem.rigs_for(step))
        .map(|(rig, _)| rig.0 % 64);
    rigs.fold(0, |bits, rig| bits | 1 << rig)
}
