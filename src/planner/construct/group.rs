//! Units that must share their chamber runs (R9): one place for all at a chamber step, then the steps
//! before it backwards from the run's load, and those after it forwards from its way out.

use super::{Builder, RequestIx, tries};
use crate::domain::{Minute, Minutes, Span};
use crate::planner::reach::{Outs, RunRule};
use crate::planner::spans::{Spans, clip, meet, stretch};
use crate::planner::timeline::Placed;
use crate::problem::UnitIx;
use std::ops::Range;

type Chains = [(UnitIx, Range<usize>)];

impl Builder<'_> {
    /// Places the chains of a request whose units stay together.
    pub(super) fn put_group(&mut self, request: RequestIx, chains: &Chains) -> Result<(), usize> {
        let Some(chamber) = self.first_chamber(request, chains) else {
            return self.put_apart(chains, None);
        };
        let units: Vec<UnitIx> = self.problem.units_of(request).collect();
        if units
            .iter()
            .any(|unit| self.problem.units[unit.ix()].facts.len() > chamber)
        {
            // What has happened has parted them already.
            return self.put_apart(chains, None);
        }
        let mark = self.log.len();
        if self.style.apart {
            if self.put_apart(chains, Some(chamber)).is_ok() {
                return Ok(());
            }
            self.undo_to(mark);
        }
        let together = self.put_through_chamber(request, chains, chamber);
        together.or_else(|step| {
            self.undo_to(mark);
            self.put_apart(chains, Some(chamber)).map_err(|_| step)
        })
    }

    fn first_chamber(&self, request: RequestIx, chains: &Chains) -> Option<usize> {
        let steps = chains.iter().flat_map(|(_, steps)| steps.clone());
        steps
            .filter(|step| self.is_chamber_step(request, *step))
            .min()
    }

    /// Each unit for itself; `outside` a step that then goes to rigs that are no chambers, for all.
    fn put_apart(&mut self, chains: &Chains, outside: Option<usize>) -> Result<(), usize> {
        for (unit, steps) in chains.iter().filter(|(_, steps)| !steps.is_empty()) {
            let mut links = self.links(*unit, steps.clone());
            for link in &mut links {
                link.together = outside.is_some().then_some(false);
            }
            let closes = self.first_loads(*unit, steps.start).end;
            if self.style.linger && closes < Minute::LAST {
                let own = self
                    .lines
                    .shortest_stay(self.problem.step(*unit, steps.start));
                let late = Span::new(closes + own, Minute::LAST);
                links[0].out = Some(links[0].out.map_or(late, |own| own.meet(late)));
            }
            self.put_links(*unit, &links, RunRule::ANY)?;
        }
        Ok(())
    }

    fn put_through_chamber(
        &mut self,
        request: RequestIx,
        chains: &Chains,
        chamber: usize,
    ) -> Result<(), usize> {
        let arrived = self.all_arrived(chains, chamber);
        let after = arrived.map_or(Err(chamber), |arrived| {
            self.put_run(request, chains, chamber, arrived)
        });
        after.or_else(|_| self.put_run(request, chains, chamber, Minute::FIRST))
    }

    /// When all units can be at the chamber if each comes as early as it can, one put in after the other.
    fn all_arrived(&mut self, chains: &Chains, chamber: usize) -> Option<Minute> {
        let mark = self.log.len();
        let mut arrived = Minute::FIRST;
        let mut complete = true;
        for (unit, steps) in chains {
            if steps.start < chamber {
                let links = self.links(*unit, steps.start..chamber);
                complete &= self.put_links(*unit, &links, RunRule::ANY).is_ok();
            }
            arrived = arrived.max(self.first_loads(*unit, chamber).start);
        }
        self.undo_to(mark);
        complete.then_some(arrived)
    }

    /// The first run loading at or after `from` around which everything else finds a place.
    fn put_run(
        &mut self,
        request: RequestIx,
        chains: &Chains,
        chamber: usize,
        from: Minute,
    ) -> Result<(), usize> {
        let (leader, _) = chains[0].clone();
        let mut link = self.free_link(leader, chamber);
        link.together = Some(true);
        let mut fixed = chains.iter().flat_map(|(unit, _)| self.fixed_of(*unit));
        let fixed = fixed.find(|fixed| fixed.step == chamber);
        if let Some(fixed) = fixed {
            link.not_on = None;
            fixed.bind(&mut link);
        }
        let room = u32::try_from(chains.len()).unwrap_or(u32::MAX);
        let runs = RunRule {
            join: true,
            open_from: Some(Minute::FIRST),
            room,
        };
        let start = chains
            .iter()
            .map(|(unit, steps)| self.first_loads(*unit, steps.start).start);
        let start = start.min().unwrap_or(self.problem.now);
        let mut reach = Minutes::DAY * 8;
        let end = self.end_of_step(request, chamber);
        let mut tried_until = Minute::FIRST;
        loop {
            let window = Span::new(start, end.min(start + reach));
            let loads = self.common_loads(chains, chamber, window);
            let loads = clip(&loads, Span::new(from, Minute::LAST));
            let found = self.lines.reach_from(leader, &link, &loads, window, runs);
            let outs = clip(&found.outs, Span::new(tried_until, Minute::LAST));
            for out in tries(&outs) {
                self.tries = self.tries.checked_sub(1).ok_or(chamber)?;
                let placed = self.lines.choose_out(leader, chamber, &found, out);
                let mark = self.log.len();
                if self.put_around(request, chains, chamber, placed).is_ok() {
                    return Ok(());
                }
                self.undo_to(mark);
            }
            if window.end >= end {
                return Err(chamber);
            }
            tried_until = outs.last().map_or(tried_until, |span| span.end);
            reach = reach * 3;
        }
    }

    /// Minutes at which every unit could load at the chamber step, each looked at for itself.
    fn common_loads(&self, chains: &Chains, chamber: usize, window: Span) -> Spans {
        let mut common = vec![window];
        for (unit, steps) in chains {
            let first = self.first_loads(*unit, steps.start);
            let own = if steps.start == chamber {
                clip(&[first], window)
            } else {
                let links = self.links(*unit, steps.start..chamber);
                let reached =
                    self.lines
                        .forward(*unit, &links, first, window, RunRule::ANY, Outs::All);
                let step = self.problem.step(*unit, chamber);
                reached.map_or_else(
                    |_| Spans::new(),
                    |all| {
                        all.last().map_or_else(Spans::new, |last| {
                            stretch(&last.outs, step.rest_min, step.rest_max)
                        })
                    },
                )
            };
            common = meet(&common, &own);
        }
        common
    }

    /// The run for all, then each unit's steps before it, then what comes after.
    fn put_around(
        &mut self,
        request: RequestIx,
        chains: &Chains,
        chamber: usize,
        placed: Placed,
    ) -> Result<(), usize> {
        for (unit, _) in chains {
            self.place(*unit, chamber, placed);
        }
        for (unit, steps) in chains.iter().filter(|(_, steps)| steps.start < chamber) {
            self.put_before(*unit, steps.start..chamber, placed.times.load)?;
        }
        let after: Vec<(UnitIx, Range<usize>)> = chains
            .iter()
            .map(|(unit, steps)| (*unit, chamber + 1..steps.end))
            .filter(|(_, steps)| !steps.is_empty())
            .collect();
        if after.is_empty() {
            Ok(())
        } else {
            self.put_group(request, &after)
        }
    }

    /// Steps that must come out in time for the load of the run.
    fn put_before(&mut self, unit: UnitIx, steps: Range<usize>, load: Minute) -> Result<(), usize> {
        let run = self.problem.step(unit, steps.end);
        let out = Span::new(load - run.rest_max, load - run.rest_min + Minutes::new(1));
        let mut links = self.links(unit, steps.clone());
        if let Some(last) = links.last_mut() {
            last.out = Some(last.out.map_or(out, |own| own.meet(out)));
        }
        self.put_links(unit, &links, RunRule::ANY)?;
        let last = self.lines.placed(unit, steps.end - 1);
        match last {
            Some(last) if out.contains(last.times.out) => Ok(()),
            _ => Err(steps.end - 1),
        }
    }
}
