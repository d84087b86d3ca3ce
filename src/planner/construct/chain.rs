//! Placing one chain of one unit beside what is booked.

use super::{Builder, Fixed};
use crate::domain::{Minute, Minutes, Span};
use crate::planner::reach::{Link, OneByOne, RunRule};
use crate::planner::timeline::{Placed, Slot};
use crate::problem::UnitIx;
use std::ops::Range;

/// How often a chain is sought anew because two of its own steps come too close.
const CORRECTIONS: usize = 40;

/// The links with only rig and load of their fixed steps; `None` where that changes nothing.
fn loosened(links: &[Link]) -> Option<Vec<Link>> {
    let tight = |link: &Link| link.fixed.is_some() && (link.out.is_some() || link.lane.is_some());
    if !links.iter().any(tight) {
        return None;
    }
    let mut looser = links.to_vec();
    for link in looser.iter_mut().filter(|link| link.fixed.is_some()) {
        link.out = None;
        link.lane = None;
    }
    Some(looser)
}

impl Fixed {
    /// Binds a link to this booking.
    pub(super) fn bind(&self, link: &mut Link) {
        link.fixed = Some((self.rig, self.load));
        link.out = self.out.map(|out| Span::new(out, out + Minutes::new(1)));
        link.lane = self.lane;
    }
}

impl Builder<'_> {
    /// Places the steps so that the last comes out as early as it can, or says which step has no place.
    pub(in crate::planner) fn put_chain(
        &mut self,
        unit: UnitIx,
        steps: Range<usize>,
        runs: RunRule,
    ) -> Result<(), usize> {
        let links = self.links(unit, steps);
        self.put_links(unit, &links, runs)
    }

    /// The same with links that the caller has restricted.
    pub(super) fn put_links(
        &mut self,
        unit: UnitIx,
        links: &[Link],
        runs: RunRule,
    ) -> Result<(), usize> {
        let chain = self.find_kept_chain(unit, links, runs, Minute::LAST)?;
        self.place_chain(unit, chain);
        Ok(())
    }

    fn place_chain(&mut self, unit: UnitIx, chain: Vec<(usize, Placed)>) {
        for (step, placed) in chain {
            self.place(unit, step, placed);
        }
    }

    /// The chain that comes out earliest, by `until`; where bookings of the plan in force have become
    /// impossible at their times, one that keeps their rigs and loads.
    fn find_kept_chain(
        &self,
        unit: UnitIx,
        links: &[Link],
        runs: RunRule,
        until: Minute,
    ) -> Result<Vec<(usize, Placed)>, usize> {
        let chain = self.find_chain(unit, links, runs, until);
        chain.or_else(|step| match loosened(links) {
            Some(looser) => self.find_chain(unit, &looser, runs, until),
            None => Err(step),
        })
    }

    /// The chain's links, with what is fixed.
    pub(super) fn links(&self, unit: UnitIx, steps: Range<usize>) -> Vec<Link> {
        let fixed = self.fixed_of(unit);
        let link = |step| {
            let mut link = self.free_link(unit, step);
            if let Some(fixed) = fixed.iter().find(|fixed| fixed.step == step) {
                link.not_on = None;
                fixed.bind(&mut link);
            }
            link
        };
        steps.map(link).collect()
    }

    /// A step that keeps off the rig that is left out, where it has another.
    pub(super) fn free_link(&self, unit: UnitIx, step: usize) -> Link {
        let mut link = Link::free(step);
        let rigs = self.problem.rigs_for(self.problem.step(unit, step));
        link.not_on = self.style.avoid.filter(|_| rigs.len() > 1);
        link
    }

    /// Where a fixed booking would go if the rest of its unit did not matter.
    pub(super) fn fixed_alone(&self, unit: UnitIx, fixed: Fixed) -> Option<Placed> {
        let mut link = Link::free(fixed.step);
        fixed.bind(&mut link);
        let first = Span::new(fixed.load, fixed.load + Minutes::new(1));
        let window = Span::new(fixed.load, self.problem.end);
        let try_links = |links: &[Link]| {
            let found = self
                .lines
                .earliest_chain(unit, links, first, window, RunRule::ANY);
            found.ok().map(|chain| chain[0])
        };
        try_links(&[link.clone()]).or_else(|| try_links(&loosened(&[link])?))
    }

    /// The chain that comes out earliest. Where two of its steps would follow each other in one place
    /// without the changeover, more rest between them and other rigs are tried, one correction after
    /// another, until one chain keeps all its steps apart.
    fn find_chain(
        &self,
        unit: UnitIx,
        links: &[Link],
        runs: RunRule,
        until: Minute,
    ) -> Result<Vec<(usize, Placed)>, usize> {
        let first = self.first_loads(unit, links[0].step);
        let chain = self.in_growing_windows(unit, links, first, runs, until)?;
        match self.changeover_too_short(unit, links, &chain) {
            Some(pair) if !self.alone => {
                let ways = self.kept_apart(unit, links, pair, &chain);
                self.find_kept_apart(unit, links[pair.1].step, ways, runs, until)
            }
            _ => Ok(by_step(links, chain)),
        }
    }

    /// The first of the ways, or of those that correct them, that keeps all steps apart.
    fn find_kept_apart(
        &self,
        unit: UnitIx,
        mut fault: usize,
        ways: Vec<Vec<Link>>,
        runs: RunRule,
        until: Minute,
    ) -> Result<Vec<(usize, Placed)>, usize> {
        let mut attempts: Vec<Vec<Link>> = ways.into_iter().rev().collect();
        for _ in 0..CORRECTIONS {
            let Some(links) = attempts.pop() else { break };
            let first = self.first_loads(unit, links[0].step);
            let Ok(chain) = self.in_growing_windows(unit, &links, first, runs, until) else {
                continue;
            };
            let Some(pair) = self.changeover_too_short(unit, &links, &chain) else {
                return Ok(by_step(&links, chain));
            };
            fault = links[pair.1].step;
            let ways = self.kept_apart(unit, &links, pair, &chain);
            attempts.extend(ways.into_iter().rev());
        }
        Err(fault)
    }

    /// Searches near windows first: a chain that ends before a nearer end is found with that end too.
    fn in_growing_windows(
        &self,
        unit: UnitIx,
        links: &[Link],
        first: Span,
        runs: RunRule,
        until: Minute,
    ) -> Result<Vec<Placed>, usize> {
        let request = self.problem.units[unit.ix()].request;
        let last = links[links.len() - 1].step;
        let end = self.end_of_step(request, last).min(until);
        let mut reach = self.first_window(unit, links, first);
        if links.iter().all(Link::is_free) {
            let late = self.style.late;
            match self.lines.one_by_one(unit, links, first, end, runs, late) {
                OneByOne::Found(chain) => return Ok(chain),
                OneByOne::None(link) => return Err(links[link].step),
                OneByOne::NotBefore(out) => reach = reach.max(out - first.start),
            }
        }
        loop {
            let window = Span::new(first.start, end.min(first.start + reach));
            match self.lines.earliest_chain(unit, links, first, window, runs) {
                Ok(chain) => return Ok(chain),
                Err(link) if window.end >= end || window.is_empty() => return Err(links[link].step),
                Err(_) => reach = reach * 3,
            }
        }
    }

    /// Long enough for the chain at its fastest and for whatever is fixed in it, and some days more.
    fn first_window(&self, unit: UnitIx, links: &[Link], first: Span) -> Minutes {
        let request = self.problem.request_of(unit);
        let stays = links.iter().map(|link| {
            let step = &request.steps[link.step];
            step.rest_min + self.lines.shortest_stay(step)
        });
        let latest = links
            .iter()
            .filter_map(|link| link.fixed)
            .map(|(_, load)| load)
            .max();
        let fixed = latest.map_or(Minutes::ZERO, |load| (load - first.start).at_least_zero());
        stays.sum::<Minutes>() + fixed + Minutes::hours(8)
    }

    /// Two steps of the chain that follow each other in one place of one rig with less than the
    /// changeover between them; the sets of [`crate::planner::reach`] know only of other bookings.
    fn changeover_too_short(
        &self,
        unit: UnitIx,
        links: &[Link],
        chain: &[Placed],
    ) -> Option<(usize, usize)> {
        let request = self.problem.request_of(unit);
        let pairs = (0..chain.len()).flat_map(|late| (0..late).map(move |early| (early, late)));
        pairs.into_iter().find(|(early, late)| {
            let (a, b) = (&chain[*early], &chain[*late]);
            let (first, second) = (
                &request.steps[links[*early].step],
                &request.steps[links[*late].step],
            );
            let differ = match a.slot {
                Slot::Lane(_) => first.fixture != second.fixture,
                Slot::Run | Slot::Held => first.condition != second.condition,
            };
            let changeover = self.problem.rigs[a.rig.ix()].changeover;
            a.rig == b.rig && a.slot == b.slot && differ && b.times.load < a.times.out + changeover
        })
    }

    /// The chain's links with more rest before the later step, and with another rig for either step.
    fn kept_apart(
        &self,
        unit: UnitIx,
        links: &[Link],
        (early, late): (usize, usize),
        chain: &[Placed],
    ) -> Vec<Vec<Link>> {
        let rig = chain[early].rig;
        let changeover = self.problem.rigs[rig.ix()].changeover;
        let missing = chain[early].times.out + changeover - chain[late].times.load;
        let steps = &self.problem.request_of(unit).steps;
        let mut ways = Vec::new();
        // Any rest between the two may grow, the one before the later step first.
        for link in (early + 1..=late).rev() {
            let step = &steps[links[link].step];
            let gap = chain[link].times.load - chain[link - 1].times.out;
            let more = gap - step.rest_min + missing;
            if step.rest_min + more <= step.rest_max {
                let mut way = links.to_vec();
                way[link].more_rest = more;
                ways.push(way);
            }
        }
        for link in [late, early] {
            let rigs = self.problem.rigs_for(&steps[links[link].step]);
            if rigs.len() > 1 && links[link].not_on.is_none() && links[link].fixed.is_none() {
                let mut way = links.to_vec();
                way[link].not_on = Some(rig);
                ways.push(way);
            }
        }
        ways
    }

    /// Places the steps in the chain that comes out earliest, or in one that opens no run of its own where
    /// joining costs no more than the style allows; fails where that comes out after `until`.
    pub(super) fn put_joining(
        &mut self,
        unit: UnitIx,
        steps: Range<usize>,
        open_from: Minute,
        until: Minute,
    ) -> Result<(), usize> {
        let last = steps.end - 1;
        let links = self.links(unit, steps);
        let any = RunRule {
            open_from: Some(open_from),
            ..RunRule::ANY
        };
        let mut chain = self.find_kept_chain(unit, &links, any, Minute::LAST)?;
        if way_out(&chain) > until {
            return Err(last);
        }
        if self.opens_run(&chain) {
            let join_only = RunRule {
                open_from: None,
                ..RunRule::ANY
            };
            let latest = way_out(&chain) + self.style.join_wait;
            chain = self
                .find_kept_chain(unit, &links, join_only, latest)
                .unwrap_or(chain);
        }
        if way_out(&chain) > until {
            return Err(last);
        }
        self.place_chain(unit, chain);
        Ok(())
    }

    /// True where a step goes into a chamber run that does not exist yet.
    fn opens_run(&self, chain: &[(usize, Placed)]) -> bool {
        chain.iter().any(|(_, placed)| {
            placed.slot == Slot::Run && !self.lines.has_run(placed.rig, placed.times.load)
        })
    }
}

fn by_step(links: &[Link], chain: Vec<Placed>) -> Vec<(usize, Placed)> {
    links.iter().map(|link| link.step).zip(chain).collect()
}

/// When a chain comes out of its last step.
fn way_out(chain: &[(usize, Placed)]) -> Minute {
    chain.last().expect("a chain has a link").1.times.out
}
