//! The ways to place one step, rig by rig.
//!
//! Rigs that take the same time for load, exposure and unload are *alike*: what people and watch leave is
//! worked out for all of them once. A gap that lies within one looked at before, on an alike rig, opens no
//! way that is not known already, nor one that would be preferred, and is passed over: in a lab of a
//! thousand rigs most are.

use super::{Link, RunRule, Way};
use crate::domain::lab::{Loading, Watch};
use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::{Spans, clip, holds, meet, point, shift, starts, stretch, union};
use crate::planner::timeline::{RigLine, Slot, Timelines};
use crate::problem::{Condition, OnTime, RigIx, Step};

/// One step for which ways are sought, and those found so far.
pub(super) struct Asked<'a> {
    lines: &'a Timelines<'a>,
    step: &'a Step,
    condition: &'a Condition,
    link: &'a Link,
    /// Minutes at which it may load as far as the steps before it are concerned.
    loads: Spans,
    /// Everything lies in here.
    pub(super) window: Span,
    runs: RunRule,
    /// Minutes in which somebody of its crew is free, once they are asked for.
    free: Option<Spans>,
    alike: Vec<Alike>,
    pub(super) ways: Vec<Way>,
}

/// What is the same on all rigs that take the same times.
struct Alike {
    key: Key,
    /// Loads for which people and watch are there, whatever else is on the rig.
    loads: Spans,
    /// Minutes at which somebody is free to begin an unload.
    unloads: Spans,
    /// Gaps looked at.
    seen: Vec<Span>,
}

/// What rigs must have in common to be alike for a step.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Key {
    load: Minutes,
    exposure: Minutes,
    unload: Minutes,
    loading: Loading,
}

impl Key {
    /// The stay that neither waits nor pauses.
    fn shortest(self) -> Minutes {
        self.load + self.exposure + self.unload
    }
}

impl<'a> Asked<'a> {
    pub(super) fn new(
        lines: &'a Timelines<'a>,
        step: &'a Step,
        link: &'a Link,
        loads: Spans,
        window: Span,
        runs: RunRule,
    ) -> Self {
        Self {
            lines,
            step,
            condition: lines.problem.condition(step),
            link,
            loads,
            window,
            runs,
            free: None,
            alike: Vec::new(),
            ways: Vec::new(),
        }
    }

    /// Adds the runs of the rig that the unit could join.
    pub(super) fn joins(&mut self, rig: RigIx, exposure: Minutes) {
        let Some((first, last)) = self.loads.first().zip(self.loads.last()) else {
            return;
        };
        if !self.runs.join {
            return;
        }
        let near = Span::new(first.start, last.end.min(self.window.end));
        let line = &self.lines.rigs[rig.ix()];
        let positions = self.lines.problem.rigs[rig.ix()].positions;
        for run in line.joinable(positions, self.runs.room, self.step.condition, near) {
            let (load, out) = (run.times.load, run.times.out);
            let allowed = self.link.out.is_none_or(|only| only.contains(out));
            if allowed && out <= self.window.end && holds(&self.loads, load) {
                self.ways.push(Way {
                    rig,
                    slot: Slot::Run,
                    exposure,
                    loads: vec![point(load)],
                    outs: vec![point(out)],
                    joins: Some(run.times),
                });
            }
        }
    }

    /// Adds the gaps of the rig in which the unit could stay, or in which a new run could lie.
    pub(super) fn opens(&mut self, rig: RigIx, exposure: Minutes) {
        let own = &self.lines.problem.rigs[rig.ix()];
        let line = &self.lines.rigs[rig.ix()];
        if matches!(line, RigLine::Together(_)) && self.runs.open_from.is_none() {
            return;
        }
        let key = Key {
            load: own.load,
            exposure,
            unload: own.unload,
            loading: own.loading,
        };
        let ix = self.alike(key, rig);
        let Some(first) = self.alike[ix].loads.first() else {
            return;
        };
        let room = Span::new(first.start, self.window.end);
        if room.length() < key.shortest() || self.alike[ix].has_seen(room) {
            return;
        }
        let near = own.usable.partition_point(|span| span.end <= room.start);
        let usable = own.usable[near..].iter();
        let usable = usable.take_while(|span| span.start < room.end);
        let (fixture, condition) = (self.step.fixture, self.step.condition);
        line.gaps(own, fixture, condition, room, &mut |slot, gap| {
            if matches!((slot, self.link.lane), (Slot::Lane(lane), Some(only)) if lane != only) {
                return;
            }
            for piece in usable.clone().map(|span| span.meet(gap)) {
                if piece.length() >= key.shortest() && self.alike[ix].is_new(piece) {
                    self.ways.extend(self.way(rig, slot, piece, ix));
                }
            }
        });
    }

    /// The place of what is known of rigs alike.
    fn alike(&mut self, key: Key, rig: RigIx) -> usize {
        if let Some(ix) = self.alike.iter().position(|alike| alike.key == key) {
            return ix;
        }
        let (lines, crew) = (self.lines, self.condition.crew);
        let start = self
            .loads
            .first()
            .map_or(self.window.end, |span| span.start);
        let window = Span::new(start, self.window.end);
        let free = self
            .free
            .get_or_insert_with(|| lines.free_people(crew, window));
        let unloads = starts(free, key.unload);
        let mut loads = self.staffed(key, rig);
        if key.loading == Loading::Together {
            let from = self.runs.open_from.unwrap_or(Minute::LAST);
            loads = clip(&loads, Span::new(from, Minute::LAST));
        }
        self.alike.push(Alike {
            key,
            loads,
            unloads,
            seen: Vec::new(),
        });
        self.alike.len() - 1
    }

    /// Loads for which people and watch are there, exposures that pause left to [`Self::ends`].
    fn staffed(&self, key: Key, rig: RigIx) -> Spans {
        let problem = self.lines.problem;
        let pauses = problem.pauses(self.condition, rig);
        let watched = self.condition.watch == Watch::Full && !pauses;
        let hands = if watched {
            key.load + key.exposure
        } else {
            key.load
        };
        let mut fit = if hands > Minutes::ZERO {
            meet(&self.loads, &starts(self.free(), hands))
        } else {
            self.loads.clone()
        };
        if self.condition.watch == Watch::Site && !pauses {
            let on = starts(problem.site.near(self.window), key.exposure);
            fit = meet(&fit, &shift(on, -key.load));
        }
        fit
    }

    fn free(&self) -> &[Span] {
        self.free.as_deref().unwrap_or_default()
    }

    /// The way in a gap of the rig, or `None` where nothing fits.
    fn way(&self, rig: RigIx, slot: Slot, gap: Span, alike: usize) -> Option<Way> {
        let alike = &self.alike[alike];
        let (unload, exposure) = (alike.key.unload, alike.key.exposure);
        let last = gap.end - alike.key.shortest() + Minutes::new(1);
        let mut loads = clip(&alike.loads, Span::new(gap.start, last));
        let ends = self.ends(rig, &alike.key, &mut loads);
        if ends.is_empty() {
            return None;
        }
        let waits = stretch(&ends, Minutes::ZERO, self.condition.max_wait);
        let last = gap.end - unload + Minutes::new(1);
        let within = clip(&waits, Span::new(gap.start, last));
        let ready = if unload > Minutes::ZERO {
            meet(&within, &alike.unloads)
        } else {
            within
        };
        let mut outs = shift(ready, unload);
        if let Some(only) = self.link.out {
            outs = clip(&outs, only);
        }
        (!outs.is_empty()).then_some(Way {
            rig,
            slot,
            exposure,
            loads,
            outs,
            joins: None,
        })
    }

    /// Ends of exposure for the loads; takes loads out that a pausing exposure cannot have.
    fn ends(&self, rig: RigIx, key: &Key, loads: &mut Spans) -> Spans {
        let problem = self.lines.problem;
        if !problem.pauses(self.condition, rig) {
            return shift(loads.clone(), key.load + key.exposure);
        }
        let Some(watch) = problem.watch(self.condition) else {
            return Spans::new();
        };
        if self.condition.watch == Watch::Full {
            let starts = shift(std::mem::take(loads), key.load);
            *loads = shift(self.undisturbed(watch, key, &starts), -key.load);
        }
        let starts = loads
            .iter()
            .map(|span| Span::new(span.start + key.load, span.end + key.load));
        union(
            starts
                .flat_map(|span| paused_ends(watch, span, key.exposure))
                .collect(),
        )
    }

    /// Starts of a pausing exposure in which the person is free in every minute of the shift that it
    /// needs.
    fn undisturbed(&self, watch: &OnTime, key: &Key, exposure_starts: &[Span]) -> Spans {
        let Some((first, last)) = exposure_starts.first().zip(exposure_starts.last()) else {
            return Spans::new();
        };
        let mut good = Spans::new();
        let mut from = first.start;
        let reach = watch
            .advance(last.end, key.exposure)
            .unwrap_or(Minute::LAST);
        for taken in taken_on_shift(watch, self.free(), Span::new(first.start, reach)) {
            push_starts(watch, key.exposure, from, taken.start, &mut good);
            from = taken.end;
        }
        push_starts(watch, key.exposure, from, Minute::LAST, &mut good);
        meet(exposure_starts, &union(good))
    }
}

impl Alike {
    /// True where a gap looked at covers this one.
    fn has_seen(&self, gap: Span) -> bool {
        self.seen.iter().any(|seen| seen.covers(gap))
    }

    /// True where no gap looked at covers this one; from now on it counts as looked at.
    fn is_new(&mut self, gap: Span) -> bool {
        let new = !self.has_seen(gap);
        if new {
            self.seen.push(gap);
        }
        new
    }
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
