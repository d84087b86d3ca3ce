//! Who pays which share of a run.
//!
//! All visits of a run have the same condition and load in the same minute. So let every step of a condition
//! have a share of the runs that load at a time, and let the shares of each condition and time add up to at most
//! one: then all who are in a run pay no more for it than it costs, however many they are. Where `k` units of a request
//! do the step and `q` of them at most are in one run, each of them pays one `q`-th of the step's share.
//! (The dual of facility location: who uses a facility pays for part of its opening. Erlenkotter 1978, from memory.)
//!
//! Any such shares are right. Good ones fall to who is likely to load then: at first those whose units
//! can be there since not long ago, later those who did load at about that time in the rounds before.
//!
//! Example: two steps of one condition, of which only the first can be there by 10:00: its share of a run at 10:00
//! is nearly one.

use super::clock::Clock;
use crate::domain::Minute;
use crate::problem::CondIx;
use std::collections::BTreeMap;

/// Likelihood of whoever cannot be there, or never was: nobody's share is nothing.
const UNLIKELY: f64 = 1e-6;
/// The likelihood falls to a quarter in so many buckets after the first load.
const LONG_AGO: f64 = 9.0;
/// What a round adds, and what is left of it a round later.
const ADDED: f64 = 0.1;
const LEFT: f64 = 0.97;
/// Buckets to each side of a load that count as the same time.
const NEAR: usize = 6;

/// Shares of steps, by time.
#[derive(Clone, Debug, Default)]
pub(super) struct Shares {
    /// When each step's units can first load.
    first: Vec<Minute>,
    conditions: BTreeMap<CondIx, Vec<usize>>,
    /// By step and bucket, to be multiplied by the step's scale.
    likely: Vec<Vec<f64>>,
    /// What is left of what was likely before the last loads.
    scale: Vec<f64>,
    /// Ticks of a bucket.
    bucket: usize,
    share: Vec<Vec<f64>>,
}

impl Shares {
    /// A step that takes part; its number.
    pub(super) fn add(&mut self, condition: CondIx, first: Minute) -> usize {
        let number = self.first.len();
        self.first.push(first);
        self.conditions.entry(condition).or_default().push(number);
        number
    }

    /// When all steps are there: the first shares.
    pub(super) fn open(&mut self, clock: &Clock) {
        self.bucket = clock.bucket;
        let buckets = clock.ticks / clock.bucket + 1;
        let likely = |first: &Minute| {
            let first = clock.tick(*first) / clock.bucket;
            let at = |bucket: usize| match bucket.checked_sub(first) {
                Some(since) => {
                    let ago = 1.0 + since as f64 / LONG_AGO;
                    UNLIKELY + 1.0 / (ago * ago)
                }
                None => UNLIKELY,
            };
            (0..buckets).map(at).collect()
        };
        self.likely = self.first.iter().map(likely).collect();
        self.scale = vec![1.0; self.first.len()];
        self.share = vec![vec![0.0; buckets]; self.first.len()];
        self.divide();
    }

    /// What `other` has learned by `theirs` of the same steps, by `own` clock.
    pub(super) fn learn_from(&mut self, own: &Clock, other: &Self, theirs: &Clock) {
        let steps = self
            .likely
            .iter_mut()
            .zip(other.likely.iter().zip(&other.scale));
        for (likely, (known, scale)) in steps {
            for (bucket, likely) in likely.iter_mut().enumerate() {
                let middle = own.middle_of(bucket);
                let known = known.get(theirs.tick(middle) / theirs.bucket);
                *likely = known.map_or(UNLIKELY, |known| (known * scale).max(UNLIKELY));
            }
        }
        self.divide();
    }

    /// Divides every time anew, by likelihood.
    pub(super) fn divide(&mut self) {
        for (likely, scale) in self.likely.iter_mut().zip(&mut self.scale) {
            for own in likely {
                *own = (*own * *scale).max(UNLIKELY);
            }
            *scale = 1.0;
        }
        for steps in self.conditions.values() {
            let buckets = steps.first().map_or(0, |step| self.likely[*step].len());
            for bucket in 0..buckets {
                let all: f64 = steps.iter().map(|step| self.likely[*step][bucket]).sum();
                for step in steps {
                    self.share[*step][bucket] = self.likely[*step][bucket] / all;
                }
            }
        }
    }

    /// The share that a step has of a run that loads at a tick.
    pub(super) fn of(&self, step: usize, tick: usize) -> f64 {
        self.share[step][tick / self.bucket]
    }

    /// A step's units did load at a tick.
    pub(super) fn loaded(&mut self, step: usize, tick: usize) {
        let bucket = tick / self.bucket;
        let (likely, scale) = (&mut self.likely[step], &mut self.scale[step]);
        *scale *= LEFT;
        let near = bucket.saturating_sub(NEAR)..(bucket + NEAR + 1).min(likely.len());
        for own in near {
            likely[own] += ADDED / (1.0 + own.abs_diff(bucket) as f64 / 2.0) / *scale;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::parts::empty_lab;
    use crate::domain::{Facts, Minutes};
    use crate::planner::bound::prices::clock::Grain;
    use crate::problem::compile;

    #[test]
    fn the_shares_of_a_run_add_up_to_one_and_fall_to_who_is_there() {
        let now = Minute::new(0);
        let problem = compile(&empty_lab(), &Facts::default(), now);
        let clock = Clock::new(&problem, now + Minutes::DAY, Grain::ROUGH);
        let mut shares = Shares::default();
        let early = shares.add(CondIx(0), now);
        let late = shares.add(CondIx(0), now + Minutes::hours(12));
        let other = shares.add(CondIx(1), now);
        let mut finer = shares.clone();
        shares.open(&clock);
        let sum = |shares: &Shares, tick: usize| shares.of(early, tick) + shares.of(late, tick);
        assert!(shares.of(early, 0) > 0.99);
        for tick in [0, 800, 1400] {
            assert!((sum(&shares, tick) - 1.0).abs() < 1e-9);
            assert!((shares.of(other, tick) - 1.0).abs() < 1e-9);
        }
        let before = shares.of(late, 1400);
        for _ in 0..20 {
            shares.loaded(late, 1400);
        }
        shares.divide();
        assert!(shares.of(late, 1400) > before);
        assert!((sum(&shares, 1400) - 1.0).abs() < 1e-9);
        let fine = Clock::new(&problem, now + Minutes::DAY, Grain::FINE);
        finer.open(&fine);
        finer.learn_from(&fine, &shares, &clock);
        assert!(finer.of(late, 1400) > before);
        assert!((sum(&finer, 1400) - 1.0).abs() < 1e-9);
    }
}
