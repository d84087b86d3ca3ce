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
    use crate::domain::lab::{Pace, Segment};
    use crate::domain::parts::{empty_lab, every, method, request, sequence, step};
    use crate::domain::time::Minute;

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

    /// A lab with a check, a slide of 250 cycles, a heat of a day and a climate of five passes.
    fn lab() -> Lab {
        let segments = vec![Segment {
            to_c: Some(55.0),
            to_rh: None,
            pace: Pace::Own,
            hold: Minutes::hours(16),
        }];
        let climate = Length::Profile {
            segments,
            repeat: 5,
        };
        let mut slide = method("slide", "slide", Length::Cycles(250));
        slide.severity.insert("force_n".to_owned(), 8.0);
        slide.severity.insert("stroke_mm".to_owned(), 4.0);
        let mut lab = empty_lab();
        for own in [
            method("check", "look", Length::Hold(Minutes::new(20))),
            slide,
            method("heat", "heat", Length::Hold(Minutes::DAY)),
            method("climate", "climate", climate),
        ] {
            lab.methods.insert(own.id.clone(), own);
        }
        lab
    }

    fn walked(own: Step) -> Vec<(String, Amount)> {
        let steps = walk(&lab(), &sequence("s", vec![own]));
        let name = |own: &WalkStep| (own.method.to_string(), own.amount);
        steps.iter().map(name).collect()
    }

    #[test]
    fn every_puts_a_check_after_each_part_the_last_included() {
        let check = ("check".to_owned(), Amount::Hold(Minutes::new(20)));
        let expect = |own: &str, part: Amount, amounts: &[Amount]| {
            let mut split = step(own);
            split.every = Some(every(part, "check"));
            let expected: Vec<(String, Amount)> = amounts
                .iter()
                .flat_map(|amount| [(own.to_owned(), *amount), check.clone()])
                .collect();
            assert_eq!(walked(split), expected);
        };
        let cycles = Amount::Cycles;
        expect("slide", cycles(100), &[100, 100, 50].map(cycles));
        expect("slide", cycles(125), &[125, 125].map(cycles));
        expect("slide", cycles(250), &[cycles(250)]);
        expect("slide", cycles(1000), &[cycles(250)]);
        let hours = |hours| Amount::Hold(Minutes::hours(hours));
        expect("heat", hours(10), &[10, 10, 4].map(hours));
        let passes = Amount::Repeat;
        expect("climate", passes(2), &[2, 2, 1].map(passes));
    }

    #[test]
    fn a_step_overrides_the_length_and_merges_the_severity_by_name() {
        let mut own = step("slide");
        own.length = Some(Amount::Cycles(30));
        own.severity.insert("force_n".to_owned(), 9.5);
        own.severity.insert("angle_deg".to_owned(), 45.0);
        let steps = walk(&lab(), &sequence("s", vec![own]));
        assert_eq!(steps[0].amount, Amount::Cycles(30));
        let severity: Vec<(&str, f64)> = steps[0]
            .severity
            .iter()
            .map(|(name, value)| (name.as_str(), *value))
            .collect();
        let expected = [("angle_deg", 45.0), ("force_n", 9.5), ("stroke_mm", 4.0)];
        assert_eq!(severity, expected);
    }

    #[test]
    fn the_rest_of_a_split_step_stands_before_its_first_part_only() {
        let rest = |hours| Rest {
            min: Minutes::hours(hours),
            max: Some(Minutes::hours(hours + 1)),
        };
        let mut split = step("slide");
        split.rest = rest(4);
        let mut parts = every(Amount::Cycles(125), "check");
        parts.check_rest = rest(1);
        split.every = Some(parts);
        let steps = walk(&lab(), &sequence("s", vec![step("check"), split]));
        let rests: Vec<Rest> = steps.iter().map(|own| own.rest).collect();
        assert_eq!(rests, [Rest::ANY, rest(4), rest(1), Rest::ANY, rest(1)]);
    }

    #[test]
    fn walks_find_a_unit_its_request_and_its_steps() {
        let mut lab = lab();
        lab.sequences.push(sequence("s", vec![step("check")]));
        lab.requests.push(request("A", "s", 1, Minute::new(0)));
        lab.requests.push(request("B", "s", 2, Minute::new(0)));
        let walks = Walks::new(&lab);
        let of = |unit: &str| walks.request(&lab, &UnitId::new(unit));
        assert_eq!(of("B/2").map(|own| own.id.as_str()), Some("B"));
        assert!(of("B/3").is_none());
        let steps = walks.steps(&lab.requests[1]);
        assert_eq!(step_of(steps, 1), steps.first());
        assert_eq!((step_of(steps, 0), step_of(steps, 2)), (None, None));
        assert!(walks.request_of_id(&lab, &RequestId::new("C")).is_none());
    }
}
