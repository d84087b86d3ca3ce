//! One request, chain by chain over all its units, with chamber runs that may wait for its later units.

use super::{Builder, RequestIx};
use crate::domain::{Minute, Minutes};
use crate::planner::reach::RunRule;
use crate::planner::timeline::Placed;
use crate::problem::{Step, UnitIx};
use std::collections::BTreeSet;
use std::ops::Range;

/// How many places for runs of a whole request are tried before it is given up.
const TRIES: usize = 200;

/// Steps before which no largest rest binds, and the end.
pub(in crate::planner) fn stage_ends(steps: &[Step]) -> impl Iterator<Item = usize> + '_ {
    let loose = (1..steps.len()).filter(|step| steps[*step].rest_max == Minutes::FOREVER);
    loose.chain([steps.len()])
}

impl Builder<'_> {
    /// Puts the request in stage by stage.
    pub(super) fn put_stages(&mut self, request: RequestIx) -> Result<(), usize> {
        let units: Vec<UnitIx> = self.problem.units_of(request).collect();
        self.put_stages_of(request, &units)
    }

    /// The same for some of its units.
    pub(in crate::planner) fn put_stages_of(
        &mut self,
        request: RequestIx,
        units: &[UnitIx],
    ) -> Result<(), usize> {
        self.tries = TRIES;
        let steps = &self.problem.requests[request.ix()].steps;
        for end in stage_ends(steps) {
            let chains = self.chains_of(units, end);
            if !chains.is_empty() {
                self.put_stage(request, &chains)?;
            }
        }
        Ok(())
    }

    /// Puts units that have come so far through their next steps up to `end`; a run that one of them opens for itself
    /// loads at `open_from` or later.
    pub(in crate::planner) fn put_turn(
        &mut self,
        request: RequestIx,
        units: &[UnitIx],
        end: usize,
        open_from: Minute,
    ) -> Result<(), usize> {
        let chains = self.chains_of(units, end);
        match &chains[..] {
            [] => Ok(()),
            [(unit, steps)] => self.put_joining(*unit, steps.clone(), open_from, Minute::LAST),
            _ => {
                self.tries = TRIES;
                self.put_stage(request, &chains)
            }
        }
    }

    /// For each unit the steps that it has to place up to `end`; none where a fixed booking further on
    /// makes it one longer chain, for all units where they stay together.
    pub(in crate::planner) fn chains_of(
        &self,
        units: &[UnitIx],
        end: usize,
    ) -> Vec<(UnitIx, Range<usize>)> {
        let fixed_later = |unit: &UnitIx| {
            self.fixed_of(*unit)
                .last()
                .is_some_and(|fixed| fixed.step >= end)
        };
        let together = units
            .first()
            .is_some_and(|unit| self.problem.request_of(*unit).keep_together);
        let all_later = together && units.iter().any(fixed_later);
        let mut chains = Vec::new();
        for unit in units.iter().filter(|unit| !all_later && !fixed_later(unit)) {
            let own = &self.problem.units[unit.ix()];
            let to = end.min(own.wanted);
            let from = (own.facts.len()..to).find(|step| self.lines.placed(*unit, *step).is_none());
            chains.extend(from.map(|from| (*unit, from..to)));
        }
        chains
    }

    fn put_stage(
        &mut self,
        request: RequestIx,
        chains: &[(UnitIx, Range<usize>)],
    ) -> Result<(), usize> {
        let chamber = chains
            .iter()
            .flat_map(|(_, steps)| steps.clone())
            .filter(|step| self.is_chamber_step(request, *step))
            .min();
        let Some(chamber) = chamber else {
            return self.put_each(chains, None, Minute::LAST);
        };
        if self.problem.requests[request.ix()].keep_together && chains.len() > 1 {
            return self.put_group(request, chains);
        }
        self.put_each(chains, Some(Minute::FIRST), Minute::LAST)?;
        if self.style.look_ahead && chains.len() > 1 {
            self.wait_for_later_units(chains, chamber);
        }
        Ok(())
    }

    /// One unit after the other, those whose window closes first ahead, then those that can begin first;
    /// `runs_from` where a chamber is among the steps. Given up where one comes out after `until`.
    fn put_each(
        &mut self,
        chains: &[(UnitIx, Range<usize>)],
        runs_from: Option<Minute>,
        until: Minute,
    ) -> Result<(), usize> {
        let mut order: Vec<_> = chains
            .iter()
            .map(|chain| {
                let window = self.first_loads(chain.0, chain.1.start);
                (window.end.min(self.problem.end), window.start, chain)
            })
            .collect();
        order.sort_by_key(|(closes, opens, _)| (*closes, *opens));
        for (_, _, (unit, steps)) in order {
            match runs_from {
                Some(from) => self.put_joining(*unit, steps.clone(), from, until)?,
                None => self.put_chain(*unit, steps.clone(), RunRule::ANY)?,
            }
        }
        Ok(())
    }

    /// Tries again with new runs that load no earlier than the last, or the middle one, of the units
    /// arrives; keeps whatever comes out best for the request as a whole.
    fn wait_for_later_units(&mut self, chains: &[(UnitIx, Range<usize>)], chamber: usize) {
        let arrivals: BTreeSet<Minute> = chains
            .iter()
            .filter(|(_, steps)| steps.contains(&chamber))
            .map(|(unit, _)| self.first_loads(*unit, chamber).start)
            .collect();
        let arrivals: Vec<Minute> = arrivals.into_iter().collect();
        if arrivals.len() < 2 || self.loads_at(chains, chamber).len() < 2 {
            return;
        }
        let mut from = vec![arrivals[arrivals.len() - 1], arrivals[arrivals.len() / 2]];
        from.dedup();
        for from in from {
            let before = self.stage_value(chains, chamber);
            let taken = self.take_chains(chains);
            let mark = self.log.len();
            let again = self.put_each(chains, Some(from), before.0);
            if again.is_err() || self.stage_value(chains, chamber) >= before {
                self.undo_to(mark);
                for (unit, step, placed) in taken {
                    self.place(unit, step, placed);
                }
            }
        }
    }

    /// Smaller is better: the last way out, then runs, then all ways out.
    fn stage_value(
        &self,
        chains: &[(UnitIx, Range<usize>)],
        chamber: usize,
    ) -> (Minute, usize, i64) {
        let outs = chains
            .iter()
            .filter_map(|(unit, steps)| self.lines.placed(*unit, steps.end - 1));
        let outs: Vec<Minute> = outs.map(|placed| placed.times.out).collect();
        let last = outs.iter().copied().max().unwrap_or(Minute::FIRST);
        (
            last,
            self.loads_at(chains, chamber).len(),
            outs.iter().map(|out| out.get()).sum(),
        )
    }

    /// The distinct runs that the units use at the chamber step.
    fn loads_at(
        &self,
        chains: &[(UnitIx, Range<usize>)],
        chamber: usize,
    ) -> BTreeSet<(u32, Minute)> {
        let placed = chains
            .iter()
            .filter_map(|(unit, _)| self.lines.placed(*unit, chamber));
        placed
            .map(|placed| (placed.rig.0, placed.times.load))
            .collect()
    }

    /// Takes the chains off again, and out of the log.
    fn take_chains(&mut self, chains: &[(UnitIx, Range<usize>)]) -> Vec<(UnitIx, usize, Placed)> {
        let mut taken = Vec::new();
        for (unit, steps) in chains {
            for step in steps.clone() {
                if let Some(placed) = self.lines.remove(*unit, step) {
                    taken.push((*unit, step, placed));
                }
            }
        }
        self.log.retain(|(unit, step)| {
            !taken
                .iter()
                .any(|(other, at, _)| (other, at) == (unit, step))
        });
        taken
    }
}
