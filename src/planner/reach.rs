//! Where a visit, or a chain of visits bound by rests, can go.
//!
//! For one unit and a chain of its steps the sets of all minutes at which each step can come out are
//! computed forward, exactly, beside what is already booked: rests with a largest value, waits in the
//! rig, watches that pause, and pins are nothing special then. The earliest way out of the last step
//! is traced back to a booking for each step. In an empty lab the same routine says whether a unit can
//! be planned at all, and how early it could finish.

use super::spans::{Spans, clip, first_from, holds, meet, point, shift, starts, stretch, union};
use super::timeline::{Placed, Slot, Timelines};
use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{Condition, OnTime, RigIx, Step, UnitIx};

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

/// A way to place one step: every load in `loads` fits, and leads to outs in `outs`.
#[derive(Clone, Debug)]
pub(super) struct Way {
    rig: RigIx,
    slot: Slot,
    exposure: Minutes,
    loads: Spans,
    outs: Spans,
    joins: Option<Times>,
}

/// The sets for one step of a chain.
#[derive(Clone, Debug)]
pub(super) struct Reach {
    pub(super) options: Vec<Way>,
    /// All minutes at which the step can come out.
    pub(super) outs: Spans,
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
        let reaches = self.forward(unit, links, first, window, runs)?;
        let last = reaches.last().expect("a chain has a link");
        let out = last.outs[0].start;
        Ok(self.trace(unit, links, &reaches, out))
    }

    /// The sets of every link; or the number of the link that has no place in the window.
    pub(super) fn forward(
        &self,
        unit: UnitIx,
        links: &[Link],
        first: Span,
        window: Span,
        runs: RunRule,
    ) -> Result<Vec<Reach>, usize> {
        let mut loads = clip(&[first], window);
        let mut reaches: Vec<Reach> = Vec::with_capacity(links.len());
        let request = self.problem.request_of(unit);
        for (ix, link) in links.iter().enumerate() {
            if let Some(before) = reaches.last() {
                let step = &request.steps[link.step];
                loads = clip(&loads_after(step, link, &before.outs), window);
            }
            let reach = self.reach(unit, link, &loads, window, runs, links.len() == 1);
            if reach.outs.is_empty() {
                return Err(ix);
            }
            reaches.push(reach);
        }
        Ok(reaches)
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
        self.reach(unit, link, loads, window, runs, false)
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

    /// Every way to place one step for the given loads. With `earliest_only` later ways may be left
    /// out once an earlier one is known.
    fn reach(
        &self,
        unit: UnitIx,
        link: &Link,
        loads: &[Span],
        window: Span,
        runs: RunRule,
        earliest_only: bool,
    ) -> Reach {
        let problem = self.problem;
        let step = problem.step(unit, link.step);
        let condition = problem.condition(step);
        let mut options = Vec::new();
        let mut window = window;
        let free = self.free_people(condition.crew, window);
        for (rig, exposure) in problem.rigs_for(step) {
            let together = problem.rigs[rig.ix()].loading == Loading::Together;
            if link.not_on == Some(*rig)
                || link.only_on.is_some_and(|only| only != *rig)
                || link.together.is_some_and(|only| only != together)
            {
                continue;
            }
            let fixed_loads = match link.fixed {
                Some((fixed_rig, _)) if fixed_rig != *rig => continue,
                Some((_, at)) => meet(&[point(at)], loads),
                None => Spans::new(),
            };
            let loads = if link.fixed.is_some() {
                &fixed_loads[..]
            } else {
                loads
            };
            let visit = VisitRule {
                step,
                condition,
                rig: *rig,
                exposure: *exposure,
                free: &free,
            };
            let seen = options.len();
            self.reach_on(&visit, loads, window, runs, link, &mut options);
            if earliest_only {
                for option in &options[seen..] {
                    let out = option.outs[0].start;
                    window.end = window.end.min(out);
                }
            }
        }
        let outs = union(
            options
                .iter()
                .flat_map(|option| option.outs.iter().copied())
                .collect(),
        );
        Reach { options, outs }
    }

    fn reach_on(
        &self,
        visit: &VisitRule<'_>,
        loads: &[Span],
        window: Span,
        runs: RunRule,
        link: &Link,
        options: &mut Vec<Way>,
    ) {
        let Some((first, last)) = loads.first().zip(loads.last()) else {
            return;
        };
        let near = Span::new(first.start, last.end.min(window.end));
        let rig = &self.problem.rigs[visit.rig.ix()];
        let line = &self.rigs[visit.rig.ix()];
        let allowed = |outs: Spans| match link.out {
            Some(only) => clip(&outs, only),
            None => outs,
        };
        if runs.join {
            for run in line.joinable(rig.positions, runs.room, visit.step.condition, near) {
                let outs = allowed(vec![point(run.times.out)]);
                if holds(loads, run.times.load) && run.times.out <= window.end && !outs.is_empty() {
                    let loads = vec![point(run.times.load)];
                    let (rig, exposure) = (visit.rig, visit.exposure);
                    options.push(Way {
                        rig,
                        slot: Slot::Run,
                        exposure,
                        loads,
                        outs,
                        joins: Some(run.times),
                    });
                }
            }
        }
        let mut loads = visit.loads(self, loads, window);
        if matches!(line, super::timeline::RigLine::Together(_)) {
            let Some(from) = runs.open_from else { return };
            loads = clip(&loads, Span::new(from, Minute::LAST));
        }
        let Some(first) = loads.first() else { return };
        let room = Span::new(first.start, window.end);
        let usable = clip_whole(&rig.usable, room);
        let unloads = starts(visit.free, rig.unload);
        line.gaps(
            rig,
            visit.step.fixture,
            visit.step.condition,
            room,
            &mut |slot, gap| {
                if let (Slot::Lane(lane), Some(only)) = (slot, link.lane)
                    && lane != only
                {
                    return;
                }
                for piece in usable
                    .iter()
                    .map(|span| span.meet(gap))
                    .filter(|piece| !piece.is_empty())
                {
                    let option = visit.option(self, slot, piece, &loads, &unloads);
                    if let Some(mut option) = option {
                        option.outs = allowed(option.outs);
                        if !option.outs.is_empty() {
                            options.push(option);
                        }
                    }
                }
            },
        );
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
        let fitting = reach
            .options
            .iter()
            .filter(|option| holds(&option.outs, out));
        let option = fitting
            .min_by_key(|option| (option.joins.is_none(), option.loads[0].start))
            .expect("an out that is reached has an option");
        let (rig, slot) = (option.rig, option.slot);
        if let Some(times) = option.joins {
            return Placed { rig, slot, times };
        }
        let condition = self.problem.condition(step);
        let own = &self.problem.rigs[rig.ix()];
        let unload = out - own.unload;
        let range = self.exposure_starts(condition, rig, option.exposure, unload);
        let load = first_from(&option.loads, range.start - own.load)
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
        rig: RigIx,
        exposure: Minutes,
        unload: Minute,
    ) -> Span {
        let too_early = unload - condition.max_wait - Minutes::new(1);
        match self.problem.watch(condition) {
            Some(watch) if self.problem.pauses(condition, rig) => {
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

/// One step on one rig: what its rules ask for whatever else is on the rig.
struct VisitRule<'a> {
    step: &'a Step,
    condition: &'a Condition,
    rig: RigIx,
    exposure: Minutes,
    /// Minutes in which somebody of its crew is free.
    free: &'a [Span],
}

impl VisitRule<'_> {
    /// Loads for which people and watch are there, exposures that pause left to [`Self::ends`].
    fn loads(&self, lines: &Timelines<'_>, loads: &[Span], window: Span) -> Spans {
        let problem = lines.problem;
        let rig = &problem.rigs[self.rig.ix()];
        let pauses = problem.pauses(self.condition, self.rig);
        let watched = self.condition.watch == Watch::Full && !pauses;
        let hands = if watched {
            rig.load + self.exposure
        } else {
            rig.load
        };
        let mut fit = loads.to_vec();
        if hands > Minutes::ZERO {
            fit = meet(&fit, &starts(self.free, hands));
        }
        if self.condition.watch == Watch::Site && !pauses {
            let on = starts(problem.site.near(window), self.exposure);
            fit = meet(&fit, &shift(on, -rig.load));
        }
        fit
    }

    /// The option in a gap of the rig, or `None` where nothing fits.
    fn option(
        &self,
        lines: &Timelines<'_>,
        slot: Slot,
        gap: Span,
        loads: &[Span],
        unloads: &[Span],
    ) -> Option<Way> {
        let rig = &lines.problem.rigs[self.rig.ix()];
        let shortest = rig.load + self.exposure + rig.unload;
        if gap.length() < shortest {
            return None;
        }
        let mut loads = clip(
            loads,
            Span::new(gap.start, gap.end - shortest + Minutes::new(1)),
        );
        let ends = self.ends(lines, &mut loads);
        if ends.is_empty() {
            return None;
        }
        let waits = stretch(&ends, Minutes::ZERO, self.condition.max_wait);
        let within = clip(
            &waits,
            Span::new(gap.start, gap.end - rig.unload + Minutes::new(1)),
        );
        let ready = if rig.unload > Minutes::ZERO {
            meet(&within, unloads)
        } else {
            within
        };
        let outs = shift(ready, rig.unload);
        (!outs.is_empty()).then_some(Way {
            rig: self.rig,
            slot,
            exposure: self.exposure,
            loads,
            outs,
            joins: None,
        })
    }

    /// Ends of exposure for the loads; takes loads out that a pausing exposure cannot have.
    fn ends(&self, lines: &Timelines<'_>, loads: &mut Spans) -> Spans {
        let problem = lines.problem;
        let rig = &problem.rigs[self.rig.ix()];
        if !problem.pauses(self.condition, self.rig) {
            return shift(loads.clone(), rig.load + self.exposure);
        }
        let Some(watch) = problem.watch(self.condition) else {
            return Spans::new();
        };
        if self.condition.watch == Watch::Full {
            let starts = shift(std::mem::take(loads), rig.load);
            *loads = shift(self.undisturbed(watch, &starts), -rig.load);
        }
        let starts = loads
            .iter()
            .map(|span| Span::new(span.start + rig.load, span.end + rig.load));
        union(
            starts
                .flat_map(|span| paused_ends(watch, span, self.exposure))
                .collect(),
        )
    }

    /// Starts of a pausing exposure in which the person is free in every minute of the shift that it
    /// needs.
    fn undisturbed(&self, watch: &OnTime, exposure_starts: &[Span]) -> Spans {
        let Some((first, last)) = exposure_starts.first().zip(exposure_starts.last()) else {
            return Spans::new();
        };
        let mut good = Spans::new();
        let mut from = first.start;
        let reach = watch
            .advance(last.end, self.exposure)
            .unwrap_or(Minute::LAST);
        for taken in taken_on_shift(watch, self.free, Span::new(first.start, reach)) {
            push_starts(watch, self.exposure, from, taken.start, &mut good);
            from = taken.end;
        }
        push_starts(watch, self.exposure, from, Minute::LAST, &mut good);
        meet(exposure_starts, &union(good))
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

/// Adds the starts from `from` on whose exposure ends by `until`.
fn push_starts(watch: &OnTime, exposure: Minutes, from: Minute, until: Minute, good: &mut Spans) {
    if let Some(latest) = watch.latest_start(until, exposure)
        && latest >= from
    {
        good.push(Span::new(from, latest + Minutes::new(1)));
    }
}

/// Minutes of the window that are on shift but in which nobody is free.
fn taken_on_shift(watch: &OnTime, free: &[Span], window: Span) -> Spans {
    let mut taken = Spans::new();
    for on in watch.within(window) {
        let mut from = on.start;
        for span in clip(free, on) {
            if span.start > from {
                taken.push(Span::new(from, span.start));
            }
            from = span.end;
        }
        if from < on.end {
            taken.push(Span::new(from, on.end));
        }
    }
    taken
}

/// Ends that starts in `span` of a pausing exposure reach: each is a minute after one on watch.
fn paused_ends(watch: &OnTime, span: Span, exposure: Minutes) -> Spans {
    let one = Minutes::new(1);
    let Some(first) = watch.advance(span.start, exposure) else {
        return Spans::new();
    };
    let last = watch.advance(span.end - one, exposure);
    let last = last
        .or_else(|| watch.spans().last().map(|span| span.end))
        .unwrap_or(first);
    shift(watch.within(Span::new(first - one, last)).collect(), one)
}

/// The spans that meet `window`, whole.
fn clip_whole(spans: &[Span], window: Span) -> &[Span] {
    let from = spans.partition_point(|span| span.end <= window.start);
    let to = spans.partition_point(|span| span.start < window.end);
    &spans[from..to.max(from)]
}
