//! What the life of a leg's units is counted in.
//!
//! A leg walks different exposures, and time is any *one* unit: cycles of drops and hours of heat do not add
//! up. So one method of the walk is counted: the one that comes back between checks, or the only one there is.
//! A walk of different exposures, each once, has no such count; there only pass or fail is evidence.

use crate::domain::lab::{Amount, Lab, Length};
use crate::domain::steps::WalkStep;
use crate::domain::{MethodId, Minutes};
use std::collections::BTreeMap;

/// What a leg counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Cycles.
    Cycles,
    /// Hours.
    Hours,
    /// Passes of a profile.
    Passes,
    /// Exposures of different kinds: not a time.
    Exposures,
}

impl Unit {
    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Cycles => "cycles",
            Self::Hours => "hours",
            Self::Passes => "passes",
            Self::Exposures => "exposures",
        }
    }
}

/// The life of a unit along its walk.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// The method that is counted; `None` where none can be.
    pub method: Option<MethodId>,
    /// What it is counted in.
    pub unit: Unit,
    /// Life after each step.
    after: Vec<f64>,
    /// True for each step that has a verdict.
    checks: Vec<bool>,
}

impl Axis {
    /// Of a walk.
    pub fn of(lab: &Lab, steps: &[WalkStep]) -> Self {
        let is_check =
            |step: &WalkStep| lab.methods.get(&step.method).is_some_and(|own| own.verdict);
        let checks: Vec<bool> = steps.iter().map(is_check).collect();
        let exposures = || steps.iter().zip(&checks).filter(|(_, check)| !**check);
        let mut times: BTreeMap<&MethodId, usize> = BTreeMap::new();
        for (step, _) in exposures() {
            *times.entry(&step.method).or_default() += 1;
        }
        let most = times.values().max().copied().unwrap_or(0);
        let first = exposures()
            .map(|(step, _)| step)
            .find(|step| times[&step.method] == most);
        let counted = first.filter(|_| most > 1 || times.len() == 1);
        let mut life = 0.0;
        let mut after = Vec::new();
        for (step, check) in steps.iter().zip(&checks) {
            life += match counted {
                Some(own) if own.method == step.method => size(lab, step),
                None if !check => 1.0,
                _ => 0.0,
            };
            after.push(life);
        }
        let unit = counted.map_or(Unit::Exposures, |own| match own.amount {
            Amount::Cycles(_) => Unit::Cycles,
            Amount::Hold(_) => Unit::Hours,
            Amount::Repeat(_) if hours_a_pass(lab, &own.method).is_some() => Unit::Hours,
            Amount::Repeat(_) => Unit::Passes,
        });
        Self {
            method: counted.map(|own| own.method.clone()),
            unit,
            after,
            checks,
        }
    }

    /// Life of a unit that has walked to the end.
    pub fn whole(&self) -> f64 {
        self.after.last().copied().unwrap_or(0.0)
    }

    /// The checkpoints in order: step, from 1, and the life of a unit there.
    pub fn checkpoints(&self) -> impl Iterator<Item = (u32, f64)> {
        let steps = (1..).zip(&self.after).zip(&self.checks);
        steps
            .filter(|(_, check)| **check)
            .map(|((step, life), _)| (step, *life))
    }

    /// True where life is a time that a distribution may be fitted over.
    pub fn is_time(&self) -> bool {
        self.unit != Unit::Exposures
    }
}

/// The hours that one pass of a profile holds, where it has a single hold: that is what ages the unit.
pub fn hours_a_pass(lab: &Lab, method: &MethodId) -> Option<f64> {
    let Length::Profile { segments, .. } = &lab.methods.get(method)?.length else {
        return None;
    };
    let [only] = &segments[..] else { return None };
    (only.hold > Minutes::ZERO).then(|| hours(only.hold))
}

fn hours(time: Minutes) -> f64 {
    time.get() as f64 / Minutes::hours(1).get() as f64
}

/// An amount in cycles, hours or passes.
fn size(lab: &Lab, step: &WalkStep) -> f64 {
    match step.amount {
        Amount::Cycles(cycles) => cycles as f64,
        Amount::Hold(hold) => hours(hold),
        Amount::Repeat(passes) => {
            f64::from(passes) * hours_a_pass(lab, &step.method).unwrap_or(1.0)
        }
    }
}
