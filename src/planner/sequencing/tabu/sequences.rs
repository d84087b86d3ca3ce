//! Sequences on rigs, with the heads and tails of their tasks.

use crate::planner::sequencing::state::NONE;
use crate::problem::network::Tick;

/// Sequences on rigs, with heads and tails.
#[derive(Clone, Default)]
pub(super) struct Sequences {
    pub(super) rigs: Vec<Vec<u32>>,
    pub(super) mode: Vec<u32>,
    pub(super) rig: Vec<u32>,
    pub(super) place: Vec<u32>,
    pub(super) length: Vec<Tick>,
    pub(super) head: Vec<Tick>,
    pub(super) tail: Vec<Tick>,
    pub(super) order: Vec<u32>,
    pub(super) finish: Tick,
}

/// One thing less that a task waits for.
#[inline]
pub(super) fn release(now: &mut Sequences, waits: &mut [u32], task: u32, from: Tick) {
    let at = task as usize;
    now.head[at] = now.head[at].max(from);
    waits[at] -= 1;
    if waits[at] == 0 {
        now.order.push(task);
    }
}

impl Sequences {
    pub(super) fn number(&mut self, rig: usize) {
        for (place, task) in self.rigs[rig].iter().enumerate() {
            self.place[*task as usize] = u32::try_from(place).expect("places are few");
        }
    }

    #[inline]
    pub(super) fn before(&self, task: usize) -> u32 {
        let place = self.place[task] as usize;
        if place == 0 {
            NONE
        } else {
            self.rigs[self.rig[task] as usize][place - 1]
        }
    }

    #[inline]
    pub(super) fn after(&self, task: usize) -> u32 {
        let sequence = &self.rigs[self.rig[task] as usize];
        sequence
            .get(self.place[task] as usize + 1)
            .copied()
            .unwrap_or(NONE)
    }

    #[inline]
    pub(super) fn end(&self, task: u32) -> Tick {
        self.head[task as usize] + self.length[task as usize]
    }

    /// From a task's start to the finish.
    #[inline]
    pub(super) fn through(&self, task: u32) -> Tick {
        self.length[task as usize] + self.tail[task as usize]
    }
}
