//! A sequence with `every` expanded: the steps that a unit really walks.

use super::ids::{MethodId, RequestId, SequenceId, UnitId};
use super::lab::{Amount, Lab, Length, Request, Rest, Sequence, Step};
use super::time::Minutes;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// One step that a unit walks.
#[derive(Clone, Debug, PartialEq)]
pub struct WalkStep {
    /// Its method.
    pub method: MethodId,
    /// Its length.
    pub amount: Amount,
    /// The method's severity with the step's own values merged over it.
    pub severity: BTreeMap<String, f64>,
    /// Gap since the step before.
    pub rest: Rest,
}

/// The steps of `sequence` in the order in which a unit walks them, `every` expanded.
///
/// # Panics
/// If the sequence names a method that the lab lacks; a checked lab has them all.
pub fn walk(lab: &Lab, sequence: &Sequence) -> Vec<WalkStep> {
    sequence
        .steps
        .iter()
        .flat_map(|step| expand(lab, step))
        .collect()
}

/// The walks of a lab's units, worked out once.
#[derive(Clone, Debug, Default)]
pub struct Walks {
    by_sequence: BTreeMap<SequenceId, Arc<[WalkStep]>>,
    /// For each unit the place of its request in the lab.
    requests: HashMap<UnitId, usize>,
}

impl Walks {
    /// Of every unit of the lab.
    pub fn new(lab: &Lab) -> Self {
        let walk_of = |sequence: &Sequence| (sequence.id.clone(), walk(lab, sequence).into());
        let units = lab.requests.iter().enumerate();
        let units =
            units.flat_map(|(ix, own)| own.units.iter().map(move |unit| (unit.clone(), ix)));
        Self {
            by_sequence: lab.sequences.iter().map(walk_of).collect(),
            requests: units.collect(),
        }
    }

    /// The request of a unit; `None` where the lab does not have the unit.
    pub fn request<'l>(&self, lab: &'l Lab, unit: &UnitId) -> Option<&'l Request> {
        lab.requests.get(*self.requests.get(unit)?)
    }

    /// The steps that the units of a request walk.
    pub fn steps(&self, request: &Request) -> &[WalkStep] {
        self.by_sequence
            .get(&request.sequence)
            .map_or(&[], |steps| &steps[..])
    }

    /// The request of that id.
    pub fn request_of_id<'l>(&self, lab: &'l Lab, id: &RequestId) -> Option<&'l Request> {
        lab.requests.iter().find(|request| request.id == *id)
    }
}

fn expand(lab: &Lab, step: &Step) -> Vec<WalkStep> {
    let method = &lab.methods[&step.method];
    let whole = step.length.unwrap_or_else(|| own_amount(&method.length));
    let mut severity = method.severity.clone();
    severity.extend(
        step.severity
            .iter()
            .map(|(name, value)| (name.clone(), *value)),
    );
    let part_of = |amount, rest| WalkStep {
        method: step.method.clone(),
        amount,
        severity: severity.clone(),
        rest,
    };
    let Some(every) = &step.every else {
        return vec![part_of(whole, step.rest)];
    };
    let check = &lab.methods[&every.check];
    let mut steps = Vec::new();
    for (ix, amount) in parts(whole, every.part).into_iter().enumerate() {
        steps.push(part_of(amount, if ix == 0 { step.rest } else { Rest::ANY }));
        steps.push(WalkStep {
            method: every.check.clone(),
            amount: own_amount(&check.length),
            severity: check.severity.clone(),
            rest: every.check_rest,
        });
    }
    steps
}

/// The step of a walk by its number, from 1.
pub fn step_of(steps: &[WalkStep], number: u32) -> Option<&WalkStep> {
    steps.get((number as usize).checked_sub(1)?)
}

/// The length that a method has where no step overrides it.
pub fn own_amount(length: &Length) -> Amount {
    match length {
        Length::Cycles(cycles) => Amount::Cycles(*cycles),
        Length::Hold(hold) => Amount::Hold(*hold),
        Length::Profile { repeat, .. } => Amount::Repeat(*repeat),
    }
}

/// `whole` cut into pieces of `part`, the last as small as needed. Both are above zero and of one kind.
fn parts(whole: Amount, part: Amount) -> Vec<Amount> {
    let size = |amount| match amount {
        Amount::Cycles(cycles) => cycles,
        Amount::Hold(hold) => hold.get().unsigned_abs(),
        Amount::Repeat(repeat) => u64::from(repeat),
    };
    let like_whole = |pieces: u64| match whole {
        Amount::Cycles(_) => Amount::Cycles(pieces),
        Amount::Hold(_) => Amount::Hold(Minutes::new(pieces.cast_signed())),
        Amount::Repeat(_) => Amount::Repeat(u32::try_from(pieces).unwrap_or(u32::MAX)),
    };
    let (mut left, step) = (size(whole), size(part).max(1));
    let mut pieces = Vec::new();
    while left > 0 {
        pieces.push(like_whole(left.min(step)));
        left -= left.min(step);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_part_may_be_smaller() {
        let cut = parts(Amount::Cycles(250), Amount::Cycles(100));
        assert_eq!(
            cut,
            [Amount::Cycles(100), Amount::Cycles(100), Amount::Cycles(50)]
        );
        let day = Amount::Hold(Minutes::DAY);
        assert_eq!(parts(day, Amount::Hold(Minutes::hours(16))).len(), 2);
    }
}
