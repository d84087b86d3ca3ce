//! What rates are kept by: kinds of checks, and pairs of a rig and a method.

use crate::domain::{MethodId, RigId};
use crate::problem::{CondIx, Problem, RequestIx, RigIx, Step};
use std::collections::BTreeMap;

/// A kind of check: its method, and the exposure before it, where there is one.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Check {
    /// The method of the check.
    pub method: MethodId,
    /// The method of the last step before it that is no check.
    pub after: Option<MethodId>,
}

/// What a problem's rates are kept by.
#[derive(Clone, Debug)]
pub struct Keys {
    /// Kinds of checks.
    pub checks: Vec<Check>,
    /// Pairs of a rig and a method that it can do.
    pub stays: Vec<(RigIx, MethodId)>,
    /// By request and step the kind of check.
    check_at: Vec<Vec<Option<usize>>>,
    /// By condition and rig the pair.
    stay_at: BTreeMap<(CondIx, RigIx), usize>,
}

impl Keys {
    /// Of all steps of a problem.
    pub fn new(problem: &Problem) -> Self {
        let mut keys = Self {
            checks: Vec::new(),
            stays: Vec::new(),
            check_at: Vec::new(),
            stay_at: BTreeMap::new(),
        };
        let (mut checks, mut stays) = (BTreeMap::new(), BTreeMap::new());
        for request in &problem.requests {
            let mut after = None;
            let mut row = Vec::with_capacity(request.steps.len());
            for step in &request.steps {
                let condition = problem.condition(step);
                for (rig, _) in problem.rigs_for(step) {
                    let pair = (*rig, condition.method.clone());
                    let ix = place(&mut stays, &mut keys.stays, pair);
                    keys.stay_at.insert((step.condition, *rig), ix);
                }
                if !condition.verdict {
                    after = Some(condition.method.clone());
                    row.push(None);
                    continue;
                }
                let check = Check {
                    method: condition.method.clone(),
                    after: after.clone(),
                };
                row.push(Some(place(&mut checks, &mut keys.checks, check)));
            }
            keys.check_at.push(row);
        }
        keys
    }

    /// The kind of check of a step (from 0); none where it has no verdict.
    pub fn check(&self, request: RequestIx, step: usize) -> Option<usize> {
        *self.check_at[request.ix()].get(step)?
    }

    /// The pair of a step on a rig that can do it.
    pub(super) fn stay(&self, step: &Step, rig: RigIx) -> Option<usize> {
        self.stay_at.get(&(step.condition, rig)).copied()
    }

    /// The same of a rig by its name.
    pub(super) fn stay_named(&self, problem: &Problem, step: &Step, rig: &RigId) -> Option<usize> {
        let rigs = problem.rigs_for(step).iter();
        let mut rigs = rigs.map(|(own, _)| *own);
        let found = rigs.find(|own| problem.rigs[own.ix()].id == *rig)?;
        self.stay(step, found)
    }
}

/// The place of a thing in a list, which gets it where it does not have it yet.
fn place<T: Ord + Clone>(known: &mut BTreeMap<T, usize>, list: &mut Vec<T>, thing: T) -> usize {
    *known.entry(thing).or_insert_with_key(|thing| {
        list.push(thing.clone());
        list.len() - 1
    })
}
