//! What exposures really took, by rig and method, and the rate that would fit.
//!
//! Only the ends of a visit are recorded, so that its exposure is what is left after the rig's load and unload,
//! without the minutes in which its watch was away. A visit counts where somebody of its crew was on shift from
//! the planned end of the exposure to the unload: else nobody can tell a slow rig from a unit that waited.
//! A run behind one door counts once.
//!
//! A rate is offered where at least [`LEAST`] visits count, and the middle half of them lies on one side of the
//! plan by more than a minute. It is offered and never changed: the lab folder is the lab's own.

use super::stay::{Stage, Stay, runs};
use super::{Calendars, Usage};
use crate::domain::lab::{Lab, Length, Loading, Rig};
use crate::domain::{MethodId, Minutes, RigId, Span};
use std::collections::{BTreeMap, BTreeSet};

/// Fewest visits from which a rate is offered.
pub const LEAST: usize = 5;

/// What the exposures of a method on a rig took, against what they were planned to take.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    /// The rig.
    pub rig: RigId,
    /// The method.
    pub method: MethodId,
    /// How many visits count.
    pub visits: usize,
    /// Planned exposure: the median, in minutes.
    pub planned: f64,
    /// Actual by planned exposure: a quarter of the visits lies below.
    pub lower: f64,
    /// Actual by planned exposure: the median.
    pub median: f64,
    /// Actual by planned exposure: a quarter of the visits lies above.
    pub upper: f64,
    /// What is offered; `None` where the visits are too few, or agree with the plan.
    pub offer: Option<Offer>,
}

/// A figure of the lab folder that would fit what happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Offer {
    /// The rig's `cycles_per_min`: as written, and as it was.
    CyclesPerMinute {
        /// In the lab folder.
        written: f64,
        /// By the visits, to three digits.
        found: f64,
    },
    /// Nothing of the folder is a rate here: minutes that the visits took beyond the plan, to be added to the rig's
    /// load and unload or taken from them; negative where they took less.
    HandsOn {
        /// Load and unload together, in the lab folder.
        written: Minutes,
        /// What the visits say.
        found: Minutes,
    },
}

impl Offer {
    /// What to write, in words.
    pub fn words(&self) -> String {
        match self {
            Self::CyclesPerMinute { written, found } => {
                format!("cycles_per_min = {found} fits, not {written}")
            }
            Self::HandsOn { written, found } => {
                format!("load and unload of {found} together fit, not {written}")
            }
        }
    }
}

impl Usage {
    /// By rig and method, in the order of the lab.
    pub fn rates(&self, lab: &Lab) -> Vec<Rate> {
        let runs = runs(lab, &self.stays);
        let mut seen: BTreeSet<usize> = BTreeSet::new();
        let mut visits: BTreeMap<(usize, &MethodId), Vec<(f64, f64)>> = BTreeMap::new();
        for (stay, run) in self.stays.iter().zip(runs) {
            let Some(pair) = actual_and_planned(lab, stay, &self.calendars) else {
                continue;
            };
            if lab.rigs[stay.rig].loading == Loading::Together && !seen.insert(run) {
                continue;
            }
            if let Some(own) = &stay.step_on {
                visits
                    .entry((stay.rig, &own.method))
                    .or_default()
                    .push(pair);
            }
        }
        let rate = |((rig, method), own): ((usize, &MethodId), Vec<(f64, f64)>)| {
            rate(lab, &lab.rigs[rig], method, &own)
        };
        visits.into_iter().map(rate).collect()
    }
}

/// Minutes that the exposure of a visit took and was planned to take, where that can be told.
fn actual_and_planned(lab: &Lab, stay: &Stay, calendars: &Calendars) -> Option<(f64, f64)> {
    let own = stay
        .step_on
        .as_ref()
        .filter(|_| stay.stage == Stage::Over)?;
    let planned = own.exposure?;
    let rig = &lab.rigs[stay.rig];
    let start = stay.times.load + rig.load;
    let unload = stay.times.out - rig.unload;
    let watch = stay.watch(calendars);
    let planned_end = match watch {
        Some(watch) => watch.advance(start, planned)?,
        None => start + planned,
    };
    let attended = Span::new(planned_end.min(unload), stay.times.out);
    let on = &calendars.crews.get(own.crew?)?.on;
    let advanced = match watch {
        Some(watch) => watch.count_before(unload) - watch.count_before(start),
        None => unload - start,
    };
    let counts = on.covers(attended) && advanced > Minutes::ZERO;
    counts.then(|| (advanced.get() as f64, planned.get() as f64))
}

fn rate(lab: &Lab, rig: &Rig, method: &MethodId, visits: &[(f64, f64)]) -> Rate {
    let mut ratios: Vec<f64> = visits
        .iter()
        .map(|(actual, planned)| actual / planned)
        .collect();
    let mut lengths: Vec<f64> = visits.iter().map(|(_, planned)| *planned).collect();
    ratios.sort_by(f64::total_cmp);
    lengths.sort_by(f64::total_cmp);
    let planned = quantile(&lengths, 0.5);
    let [lower, median, upper] = [0.25, 0.5, 0.75].map(|share| quantile(&ratios, share));
    let off = |ratio: f64| (ratio - 1.0) * planned;
    let is_clear = off(lower) > 1.0 || off(upper) < -1.0;
    let offer =
        (visits.len() >= LEAST && is_clear).then(|| offer(lab, rig, method, median, off(median)));
    Rate {
        rig: rig.id.clone(),
        method: method.clone(),
        visits: visits.len(),
        planned,
        lower,
        median,
        upper,
        offer,
    }
}

/// What fits visits that took `median` of their planned exposure, which is `off` minutes more.
fn offer(lab: &Lab, rig: &Rig, method: &MethodId, median: f64, off: f64) -> Offer {
    let length = lab.methods.get(method).map(|own| &own.length);
    if let (Some(Length::Cycles(_)), Some(written)) = (length, rig.cycles_per_min) {
        let found = three_digits(written / median);
        return Offer::CyclesPerMinute { written, found };
    }
    let written = rig.load + rig.unload;
    let found = (written + whole(off)).at_least_zero();
    Offer::HandsOn { written, found }
}

/// A quantile of sorted values, which are not empty, by linear interpolation between the two nearest: position
/// (n − 1) × share, definition 7 of Hyndman and Fan, Sample quantiles in statistical packages, 1996.
pub(super) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = (sorted.len() - 1) as f64 * share;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in a list"
    )]
    let below = at as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (sorted[above] - sorted[below]) * (at - below as f64)
}

/// A figure above zero with three digits.
fn three_digits(value: f64) -> f64 {
    let scale = 10_f64.powf(2.0 - value.log10().floor());
    (value * scale).round() / scale
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "minutes of a visit are few"
)]
fn whole(minutes: f64) -> Minutes {
    Minutes::new(minutes.round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_near(found: &[f64], expected: &[f64]) {
        assert_eq!(found.len(), expected.len());
        let is_near = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-9;
        assert!(
            found.iter().zip(expected).all(is_near),
            "{found:?} is not {expected:?}"
        );
    }

    #[test]
    fn quantiles_lie_between_the_values_beside_them() {
        let values = [1.0, 2.0, 4.0, 8.0];
        let at = |share| quantile(&values, share);
        let found = [at(0.0), at(0.25), at(0.5), at(1.0), quantile(&[5.0], 0.75)];
        assert_near(&found, &[1.0, 1.75, 3.0, 8.0, 5.0]);
    }

    #[test]
    fn a_rate_is_told_with_three_digits() {
        let told = [37.035, 0.123_456, 1999.0].map(three_digits);
        assert_near(&told, &[37.0, 0.123, 2000.0]);
    }
}
