//! Where a visit, or a chain of visits bound by rests, can go.
//!
//! For one unit and a chain of its steps the sets of all minutes at which each step can come out are
//! computed forward, exactly, beside what is already booked: rests with a largest value, waits in the
//! rig, watches that pause, and pins are nothing special then. The earliest way out of the last step
//! is traced back to a booking for each step. In an empty lab the same routine says whether a unit can
//! be planned at all, and how early it could finish.

mod first;
mod ways;

use super::spans::{Spans, clip, first_from, holds, meet, point, stretch, union};
use super::timeline::{Placed, Slot, Timelines};
use crate::domain::lab::Loading;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{Condition, RigIx, Step, UnitIx};
pub(super) use first::{Late, OneByOne};
use std::ops::Range;
use ways::Asked;

/// One step of a chain, with what restricts it beyond its own rules.
#[derive(Clone, Debug)]
pub(super) struct Link {
    /// The step, from 0.
    pub(super) step: usize,
    /// Where and when load must start, if that is fixed.
    pub(super) fixed: Option<(RigIx, Minute)>,
    /// Minutes at which it may come out, where that is restricted.
    pub(super) out: Option<Span>,
    /// The only position it may take, from 0, on rigs loaded each.
    pub(super) lane: Option<u32>,
    /// Added to the smallest rest before it.
    pub(super) more_rest: Minutes,
    /// A rig it may not use.
    pub(super) not_on: Option<RigIx>,
    /// The only rig it may use.
    pub(super) only_on: Option<RigIx>,
    /// True: only on rigs loaded together. False: only on others.
    pub(super) together: Option<bool>,
}

impl Link {
    /// A step with no restriction of its own.
    pub(super) fn free(step: usize) -> Self {
        Self {
            step,
            fixed: None,
            out: None,
            lane: None,
            more_rest: Minutes::ZERO,
            not_on: None,
            only_on: None,
            together: None,
        }
    }

    /// True where nothing but places is ruled out.
    pub(super) fn is_free(&self) -> bool {
        self.fixed.is_none() && self.out.is_none()
    }

    /// True where it may come out at that minute.
    fn lets_out(&self, out: Minute) -> bool {
        self.out.is_none_or(|only| only.contains(out))
    }

    /// True where the step may use the rig as far as the link's own restrictions go.
    fn allows_rig(&self, rig: RigIx) -> bool {
        self.fixed.is_none_or(|(fixed, _)| fixed == rig)
            && self.not_on != Some(rig)
            && self.only_on.is_none_or(|only| only == rig)
    }

    /// True where the step may use rigs that are loaded so.
    fn allows_loading(&self, loading: Loading) -> bool {
        let together = loading == Loading::Together;
        self.together.is_none_or(|only| only == together)
    }

    /// True where the step may stand there.
    fn allows_slot(&self, slot: Slot) -> bool {
        match (slot, self.lane) {
            (Slot::Lane(lane), Some(only)) => lane == only,
            _ => true,
        }
    }
}

/// How runs of chambers may be used.
#[derive(Clone, Copy, Debug)]
pub(super) struct RunRule {
    /// Runs that exist may be joined.
    pub(super) join: bool,
    /// A run that does not exist yet loads no earlier than this; `None`: none is opened.
    pub(super) open_from: Option<Minute>,
    /// Positions that a run must have left.
    pub(super) room: u32,
}

impl RunRule {
    /// Join or open, whatever is earlier.
    pub(super) const ANY: Self = Self {
        join: true,
        open_from: Some(Minute::FIRST),
        room: 1,
    };
}

/// How much of a set of ways out is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outs {
    /// Every minute.
    All,
    /// The first minute, and every way that leads to it; later ones may be missing.
    First,
}

/// A way to place one step: every load in `loads` fits, and leads to outs in `outs`, which are spans of
/// the [`Reach`] that has the way.
#[derive(Clone, Debug)]
struct Way {
    rig: RigIx,
    slot: Slot,
    exposure: Minutes,
    first_load: Minute,
    loads: Range<usize>,
    outs: Range<usize>,
    joins: Option<Times>,
}

/// The sets for one step of a chain.
#[derive(Clone, Debug, Default)]
pub(super) struct Reach {
    ways: Vec<Way>,
    /// Loads and outs of the ways, one after the other.
    spans: Spans,
    /// All minutes at which the step can come out.
    pub(super) outs: Spans,
}

impl Reach {
    fn add(&mut self, way: Way) {
        debug_assert!(!way.outs.is_empty(), "a way leads out");
        self.ways.push(way);
    }

    fn outs_of(&self, way: usize) -> &[Span] {
        &self.spans[self.ways[way].outs.clone()]
    }

    /// Puts the outs of all ways together.
    fn unite(&mut self) {
        let count = self.ways.iter().map(|way| way.outs.len()).sum();
        let mut outs = Spans::with_capacity(count);
        for way in 0..self.ways.len() {
            outs.extend_from_slice(self.outs_of(way));
        }
        self.outs = union(outs);
    }
}

impl Timelines<'_> {
    /// Books nothing: the chain's bookings that come out earliest, for loads of its first step in
    /// `first`, all within `window`; or the number of the link that has no place.
    pub(super) fn earliest_chain(
        &self,
        unit: UnitIx,
        links: &[Link],
        first: Span,
        window: Span,
        runs: RunRule,
    ) -> Result<Vec<Placed>, usize> {
        let reaches = self.forward(unit, links, first, window, runs, Outs::First)?;
        let last = reaches.last().expect("a chain has a link");
        let out = last.outs[0].start;
        Ok(self.trace(unit, links, &reaches, out))
    }

    /// The sets of every link; or the number of the link that has no place in the window. `wanted` says
    /// how much of the last set is asked for.
    pub(super) fn forward(
        &self,
        unit: UnitIx,
        links: &[Link],
        first: Span,
        window: Span,
        runs: RunRule,
        wanted: Outs,
    ) -> Result<Vec<Reach>, usize> {
        let mut loads = clip(&[first], window);
        let mut reaches: Vec<Reach> = Vec::with_capacity(links.len());
        let request = self.problem.request_of(unit);
        let after = self.time_after(unit, links, window);
        for (ix, link) in links.iter().enumerate() {
            let window = Span::new(window.start, window.end - after[ix]);
            if let Some(before) = reaches.last() {
                let step = &request.steps[link.step];
                loads = clip(&loads_after(step, link, &before.outs), window);
            }
            let is_last = ix + 1 == links.len();
            let wanted = if is_last { wanted } else { Outs::All };
            let reach = self.reach(unit, link, &loads, window, runs, wanted);
            if reach.outs.is_empty() {
                return Err(ix);
            }
            reaches.push(reach);
        }
        Ok(reaches)
    }

    /// What the links after each one take at least: it comes out so long before the window closes. None
    /// where the window is the horizon's: then the link that has no place should be the one at fault.
    fn time_after(&self, unit: UnitIx, links: &[Link], window: Span) -> Vec<Minutes> {
        let mut after = vec![Minutes::ZERO; links.len()];
        if window.end < self.problem.end {
            for ix in (1..links.len()).rev() {
                let step = self.problem.step(unit, links[ix].step);
                let rest = step.rest_min + links[ix].more_rest;
                after[ix - 1] = after[ix] + rest + self.shortest_stay(step);
            }
        }
        after
    }

    /// Every way to place one step for the given loads.
    pub(super) fn reach_from(
        &self,
        unit: UnitIx,
        link: &Link,
        loads: &[Span],
        window: Span,
        runs: RunRule,
    ) -> Reach {
        self.reach(unit, link, loads, window, runs, Outs::All)
    }

    /// The booking of one step that comes out at `out`.
    pub(super) fn choose_out(
        &self,
        unit: UnitIx,
        step: usize,
        reach: &Reach,
        out: Minute,
    ) -> Placed {
        self.choose(self.problem.step(unit, step), reach, out)
    }

    fn reach(
        &self,
        unit: UnitIx,
        link: &Link,
        loads: &[Span],
        window: Span,
        runs: RunRule,
        wanted: Outs,
    ) -> Reach {
        let step = self.problem.step(unit, link.step);
        let loads = match link.fixed {
            Some((_, at)) => meet(&[point(at)], loads),
            None => loads.to_vec(),
        };
        let lines = self;
        let asked = Asked {
            lines,
            step,
            link,
            loads,
            window,
            runs,
            wanted,
        };
        asked.ways()
    }

    /// Walks back from `out`, a minute at which the last link can come out.
    pub(super) fn trace(
        &self,
        unit: UnitIx,
        links: &[Link],
        reaches: &[Reach],
        out: Minute,
    ) -> Vec<Placed> {
        let request = self.problem.request_of(unit);
        let mut chain = Vec::with_capacity(links.len());
        let mut out = out;
        for (ix, (link, reach)) in links.iter().zip(reaches).enumerate().rev() {
            let step = &request.steps[link.step];
            let placed = self.choose(step, reach, out);
            chain.push(placed);
            if ix > 0 {
                let least = step.rest_min + link.more_rest;
                let from = placed.times.load - step.rest_max;
                out = first_from(&reaches[ix - 1].outs, from)
                    .expect("a load that was reached follows some out");
                debug_assert!(
                    out + least <= placed.times.load,
                    "the rest before a load is kept"
                );
            }
        }
        chain.reverse();
        chain
    }

    /// The booking for `out`: a run that exists before a new one, the earliest load that leads there.
    fn choose(&self, step: &Step, reach: &Reach, out: Minute) -> Placed {
        let fitting = (0..reach.ways.len()).filter(|way| holds(reach.outs_of(*way), out));
        let preferred = fitting.min_by_key(|way| {
            let way = &reach.ways[*way];
            (way.joins.is_none(), way.first_load, way.rig)
        });
        let option = &reach.ways[preferred.expect("an out that is reached has a way")];
        let (rig, slot) = (option.rig, option.slot);
        if let Some(times) = option.joins {
            return Placed { rig, slot, times };
        }
        let condition = self.problem.condition(step);
        let own = &self.problem.rigs[rig.ix()];
        let unload = out - own.unload;
        let pauses = self.problem.pauses(condition, rig);
        let range = self.exposure_starts(condition, pauses, option.exposure, unload);
        let load = first_from(&reach.spans[option.loads.clone()], range.start - own.load)
            .filter(|load| *load + own.load < range.end)
            .expect("an out that is reached has a load");
        let start = load + own.load;
        let end = self
            .problem
            .exposure_end(condition, rig, start, option.exposure)
            .expect("an exposure that was reached ends");
        Placed {
            rig,
            slot,
            times: Times {
                load,
                start,
                end,
                unload,
                out,
            },
        }
    }

    /// Starts of exposure that end at most `max_wait` before `unload`, and not after it.
    fn exposure_starts(
        &self,
        condition: &Condition,
        pauses: bool,
        exposure: Minutes,
        unload: Minute,
    ) -> Span {
        let too_early = unload - condition.max_wait - Minutes::new(1);
        match self.problem.watch(condition) {
            Some(watch) if pauses => {
                let latest = watch
                    .latest_start(unload, exposure)
                    .unwrap_or(Minute::FIRST);
                let before = watch
                    .latest_start(too_early, exposure)
                    .unwrap_or(Minute::FIRST);
                Span::new(before + Minutes::new(1), latest + Minutes::new(1))
            }
            _ => Span::new(
                too_early + Minutes::new(1) - exposure,
                unload - exposure + Minutes::new(1),
            ),
        }
    }
}

/// Minutes at which a step may load after the step before came out at one of `outs`.
fn loads_after(step: &Step, link: &Link, outs: &[Span]) -> Spans {
    let least = step.rest_min + link.more_rest;
    if least > step.rest_max {
        return Spans::new();
    }
    stretch(outs, least, step.rest_max)
}
