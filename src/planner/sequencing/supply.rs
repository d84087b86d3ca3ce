//! What is left of a shared supply over time: a step function that tasks take from.

use crate::problem::network::{NEVER, Supply, Tick};

/// What is free from each step on.
#[derive(Clone, Debug)]
pub(super) struct Left {
    steps: Vec<Tick>,
    free: Vec<i32>,
}

impl Left {
    pub(super) fn new(supply: &Supply) -> Self {
        let (steps, free) = supply.steps.iter().copied().unzip();
        Self { steps, free }
    }

    pub(super) fn reset(&mut self, to: &Self) {
        self.steps.clone_from(&to.steps);
        self.free.clone_from(&to.free);
    }

    /// Place of the step that holds at `tick`.
    fn at(&self, tick: Tick) -> usize {
        self.steps
            .partition_point(|step| *step <= tick)
            .saturating_sub(1)
    }

    /// The first tick from `from` on at which `number` are free for `length`; [`NEVER`] where there is none.
    pub(super) fn fit(&self, from: Tick, length: Tick, number: i32) -> Tick {
        let mut start = from;
        let mut ix = self.at(from);
        loop {
            let next = self.steps.get(ix + 1).copied();
            if self.free[ix] < number {
                match next {
                    Some(tick) => start = tick,
                    None => return NEVER,
                }
            } else if next.is_none_or(|tick| tick >= start + length) {
                return start;
            }
            ix += 1;
        }
    }

    /// Takes `number` from `from` to `to`.
    pub(super) fn take(&mut self, from: Tick, to: Tick, number: i32) {
        if from >= to {
            return;
        }
        let mut ix = self.at(from);
        if self.steps[ix] < from {
            ix += 1;
            self.steps.insert(ix, from);
            self.free.insert(ix, self.free[ix - 1]);
        }
        while ix < self.steps.len() && self.steps[ix] < to {
            let end = self.steps.get(ix + 1).copied().unwrap_or(NEVER);
            if end > to {
                self.steps.insert(ix + 1, to);
                self.free.insert(ix + 1, self.free[ix]);
            }
            self.free[ix] -= number;
            ix += 1;
        }
    }
}
