//! Breeding of orders where people are scarce: two orders are crossed, and the child is improved by a pass
//! backward and one forward.
//!
//! After Hartmann (1998), with forward-backward improvement as in Valls, Ballestin and Quintanilla (2008).

use super::decode::Decoder;
use super::moves::{Kind, Mover};
use super::reverse;
use super::shape::Shape;
use super::state::State;
use crate::planner::random::Random;

/// Orders kept at a time.
const POPULATION: usize = 300;

/// Orders that are bred from.
pub(super) struct Breed<'s, 'n> {
    decoder: Decoder<'s, 'n>,
    backward: Decoder<'s, 'n>,
    mover: Mover<'s, 'n>,
    random: Random,
    all: Vec<State>,
    child: State,
    taken: Vec<bool>,
}

impl<'s, 'n> Breed<'s, 'n> {
    pub(super) fn new(shape: &'s Shape<'n>, back: &'s Shape<'n>, start: &State, seed: u64) -> Self {
        let mut breed = Self {
            decoder: Decoder::new(shape),
            backward: Decoder::new(back),
            mover: Mover::new(shape),
            random: Random::new(seed),
            all: Vec::new(),
            child: start.clone(),
            taken: vec![false; shape.net.tasks.len()],
        };
        breed.people(start);
        breed
    }

    /// A population around a start: more and more shuffled.
    fn people(&mut self, start: &State) {
        self.all.clear();
        for ix in 0..POPULATION {
            self.child.copy(start);
            for _ in 0..ix * 20 * self.child.order.len() / POPULATION {
                self.mover
                    .make(Kind::Shift, &mut self.child, &mut self.random);
            }
            if self.improve().is_some() {
                self.all.push(self.child.clone());
            }
        }
    }

    /// The best order.
    pub(super) fn best(&self) -> Option<&State> {
        self.all.iter().min_by_key(|state| state.cost)
    }

    /// Takes in an order found elsewhere.
    pub(super) fn take(&mut self, state: &State) {
        self.child.copy(state);
        self.enter();
    }

    /// Breeds one child.
    pub(super) fn step(&mut self) {
        if self.all.len() < 2 {
            return;
        }
        let (mother, father) = (self.parent(), self.parent());
        self.cross(mother, father);
        let changes = self.random.below(3);
        for _ in 0..changes {
            self.mover
                .make(Kind::Shift, &mut self.child, &mut self.random);
        }
        if self.improve().is_some() {
            self.enter();
        }
    }

    fn parent(&mut self) -> usize {
        let one = self.random.below(self.all.len());
        let other = self.random.below(self.all.len());
        if self.all[one].cost <= self.all[other].cost {
            one
        } else {
            other
        }
    }

    /// The child has a stretch in the father's order, the rest in the mother's.
    fn cross(&mut self, mother: usize, father: usize) {
        let n = self.all[mother].order.len();
        let (one, other) = (self.random.below(n + 1), self.random.below(n + 1));
        let (from, to) = (one.min(other), one.max(other));
        let (mother, father) = (&self.all[mother], &self.all[father]);
        self.child.copy(mother);
        self.taken.fill(false);
        for node in &mother.order[..from] {
            self.taken[*node as usize] = true;
        }
        let mut at = from;
        for node in &father.order {
            if at < to && !self.taken[*node as usize] {
                self.taken[*node as usize] = true;
                self.child.order[at] = *node;
                at += 1;
            }
        }
        for node in &mother.order[from..] {
            if !self.taken[*node as usize] {
                self.child.order[at] = *node;
                at += 1;
            }
        }
        self.child.number(0, n);
    }

    /// Forward, backward, and forward again; the order is then that of the starts.
    fn improve(&mut self) -> Option<i64> {
        self.decoder.decode(&mut self.child, 0, i64::MAX).cost()?;
        // Ties stay in the order in which one may wait for the other.
        reverse::sort_by_key(&mut self.child, |state, node| state.end[node as usize]);
        self.child.order.reverse();
        self.child.number(0, self.child.order.len());
        self.backward.decode(&mut self.child, 0, i64::MAX).cost()?;
        self.child.order.reverse();
        reverse::sort_by_key(&mut self.child, |state, node| -state.end[node as usize]);
        self.decoder.decode(&mut self.child, 0, i64::MAX).cost()
    }

    /// The child takes the place of the worst, unless one as good is there already.
    fn enter(&mut self) {
        let cost = self.child.cost;
        let worst = (0..self.all.len()).max_by_key(|ix| self.all[*ix].cost);
        let Some(worst) = worst else { return };
        if cost > self.all[worst].cost {
            return;
        }
        let twin = self
            .all
            .iter()
            .position(|state| state.cost == cost && state.start == self.child.start);
        let place = twin.unwrap_or(worst);
        self.all[place].copy(&self.child);
    }
}
