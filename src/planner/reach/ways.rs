//! The ways to place one step, rig by rig.
//!
//! Rigs that are *alike* take the same times: what people and watch leave is worked out for all of them
//! once. A gap that lies within one looked at before, on an alike rig, opens no way that is not known
//! already, nor one that would be preferred, and is passed over: in a lab of a thousand rigs most are.

use super::{Link, Outs, Reach, RunRule, Way};
use crate::domain::lab::{Loading, Watch};
use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::{Spans, clip, holds, meet, point, shift, starts, union};
use crate::planner::timeline::{Alike, RigTimes, Slot, Timelines};
use crate::problem::{Condition, OnTime, RigIx, Step};

/// One step for which ways are sought.
pub(super) struct Asked<'a> {
    pub(super) lines: &'a Timelines<'a>,
    pub(super) step: &'a Step,
    pub(super) link: &'a Link,
    /// Minutes at which it may load as far as the steps before it are concerned.
    pub(super) loads: Spans,
    /// Everything lies in here.
    pub(super) window: Span,
    pub(super) runs: RunRule,
    pub(super) wanted: Outs,
}

/// What people and watch leave, for each length of time that is asked for.
#[derive(Default)]
struct Staff {
    /// Minutes in which somebody of the crew is free, once they are asked for.
    free: Option<Spans>,
    /// By minutes of hands at the load, and of an exposure during which somebody must be on site: loads.
    loads: Vec<((Minutes, Minutes), Spans)>,
    /// By minutes of the unload: when it can begin.
    unloads: Vec<(Minutes, Spans)>,
}

impl Asked<'_> {
    /// Every way, as far as it is asked for.
    pub(super) fn ways(mut self) -> Reach {
        let mut found = Reach::default();
        if self.loads.is_empty() {
            return found;
        }
        if self.runs.join {
            self.join(&mut found);
        }
        let mut staff = Staff::default();
        for alike in self.lines.alike(self.step) {
            self.open(alike, &mut staff, &mut found);
        }
        found.unite();
        found
    }

    /// Adds the runs that the unit could join.
    fn join(&mut self, found: &mut Reach) {
        let problem = self.lines.problem;
        let (first, last) = (self.loads[0], self.loads[self.loads.len() - 1]);
        let near = Span::new(first.start, last.end.min(self.window.end));
        for (rig, run) in self.lines.runs_of(self.step.condition, near) {
            let (load, out) = (run.times.load, run.times.out);
            let has_room = run.has_room(self.runs.room, problem.rigs[rig.ix()].positions);
            let in_time = out <= self.window.end && self.link.lets_out(out);
            let allowed = self.link.allows_rig(rig) && self.link.allows_loading(Loading::Together);
            if !has_room || !in_time || !allowed || !holds(&self.loads, load) {
                continue;
            }
            if let Some(exposure) = problem.exposure(self.step, rig) {
                found.spans.extend([point(load), point(out)]);
                let at = found.spans.len();
                found.add(Way {
                    rig,
                    slot: Slot::Run,
                    exposure,
                    first_load: load,
                    loads: at - 2..at - 1,
                    outs: at - 1..at,
                    joins: Some(run.times),
                });
                self.shrink(out);
            }
        }
    }

    /// Where only the first way out is asked for, nothing that comes out later is of interest.
    fn shrink(&mut self, out: Minute) {
        if self.wanted == Outs::First {
            self.window.end = self.window.end.min(out);
        }
    }

    /// Adds the gaps of rigs that are alike in which the unit could stay, or in which a new run could lie.
    fn open(&mut self, alike: &Alike, staff: &mut Staff, found: &mut Reach) {
        let times = alike.times;
        let mut open_from = Minute::FIRST;
        if times.loading == Loading::Together {
            let Some(from) = self.runs.open_from else {
                return;
            };
            open_from = from;
        }
        let problem = self.lines.problem;
        let (step, link) = (self.step, self.link);
        if !link.allows_loading(times.loading) {
            return;
        }
        let stay = staff.stay(self, alike, open_from);
        let Some(first) = stay.loads.first() else {
            return;
        };
        let first = first.start.max(open_from);
        let mut seen = Seen::default();
        for rig in alike.rigs.iter().filter(|rig| link.allows_rig(**rig)) {
            let room = Span::new(first, self.window.end);
            if room.length() < times.shortest() || seen.covers(room) {
                return;
            }
            let own = &problem.rigs[rig.ix()];
            let known = found.ways.len();
            let line = &self.lines.rigs[rig.ix()];
            line.gaps(own, step.fixture, step.condition, room, &mut |slot, gap| {
                if !link.allows_slot(slot) || gap.length() < times.shortest() || seen.covers(gap) {
                    return true;
                }
                let usable = own.usable_near(gap).iter();
                for piece in usable.map(|span| span.meet(gap)) {
                    if piece.length() >= times.shortest() && !seen.covers(piece) {
                        seen.add(piece);
                        stay.push_way(*rig, slot, piece, found);
                    }
                }
                true
            });
            for way in known..found.ways.len() {
                self.shrink(found.outs_of(way)[0].start);
            }
        }
    }
}

/// Gaps looked at, without those that lie within another: sorted by start, and so by end too.
#[derive(Default)]
struct Seen(Vec<Span>);

impl Seen {
    /// True where the gap lies within one looked at.
    fn covers(&self, gap: Span) -> bool {
        let after = self.0.partition_point(|known| known.start <= gap.start);
        let before = after.checked_sub(1).map(|ix| self.0[ix]);
        before.is_some_and(|known| known.covers(gap))
    }

    /// Adds a gap that is not covered.
    fn add(&mut self, gap: Span) {
        let from = self.0.partition_point(|known| known.start < gap.start);
        let within = self.0[from..].partition_point(|known| known.end <= gap.end);
        self.0.splice(from..from + within, [gap]);
    }
}

impl Staff {
    /// What rigs that are alike have in common.
    fn stay<'a>(&'a mut self, asked: &Asked<'a>, alike: &Alike, open_from: Minute) -> Stay<'a> {
        let (lines, step) = (asked.lines, asked.step);
        let problem = lines.problem;
        let condition = problem.condition(step);
        let pauses = problem.pauses(condition, alike.rigs[0]);
        let window = Span::new(asked.loads[0].start, asked.window.end);
        let free = self
            .free
            .get_or_insert_with(|| lines.free_people(condition.crew, window));
        let times = alike.times;
        let hands = match condition.watch {
            Watch::Full if !pauses => times.load + times.exposure,
            _ => times.load,
        };
        let on_site = match condition.watch {
            Watch::Site if !pauses => times.load + times.exposure,
            _ => Minutes::ZERO,
        };
        let loads = known(&mut self.loads, (hands, on_site), || {
            let mut fit = asked.loads.clone();
            if hands > Minutes::ZERO {
                fit = meet(&fit, &starts(free, hands));
            }
            if on_site > Minutes::ZERO {
                let on = starts(problem.site.near(window), times.exposure);
                fit = meet(&fit, &shift(on, -times.load));
            }
            fit
        });
        let unloads = known(&mut self.unloads, times.unload, || {
            starts(free, times.unload)
        });
        let from = loads.partition_point(|span| span.end <= open_from);
        Stay {
            lines,
            condition,
            times,
            pauses,
            open_from,
            only_out: asked.link.out,
            free,
            loads: &loads[from..],
            unloads,
        }
    }
}

/// The value for a key, worked out the first time it is asked for.
fn known<K: PartialEq, V>(all: &mut Vec<(K, V)>, key: K, value: impl FnOnce() -> V) -> &V {
    let ix = all.iter().position(|(known, _)| *known == key);
    let ix = ix.unwrap_or_else(|| {
        all.push((key, value()));
        all.len() - 1
    });
    &all[ix].1
}

/// A stay on any rig of some that are alike.
struct Stay<'a> {
    lines: &'a Timelines<'a>,
    condition: &'a Condition,
    times: RigTimes,
    pauses: bool,
    /// It loads no earlier.
    open_from: Minute,
    /// Minutes at which it may come out, where that is restricted.
    only_out: Option<Span>,
    /// Minutes in which somebody of its crew is free.
    free: &'a [Span],
    /// Loads for which people and watch are there, exposures that pause left to [`Self::paused`].
    loads: &'a [Span],
    /// Minutes at which somebody is free to begin the unload.
    unloads: &'a [Span],
}

impl Stay<'_> {
    /// Adds the way in a gap of a rig, where something fits.
    fn push_way(&self, rig: RigIx, slot: Slot, gap: Span, found: &mut Reach) {
        let first = found.spans.len();
        let last = gap.end - self.times.shortest() + Minutes::new(1);
        let cut = Span::new(gap.start.max(self.open_from), last);
        let loads = self.loads;
        let from = loads.partition_point(|span| span.end <= cut.start);
        let count = loads[from..].partition_point(|span| span.start < cut.end);
        let loads = loads[from..from + count].iter().map(|span| span.meet(cut));
        let middle = if self.pauses {
            let (loads, ends) = self.paused(loads.collect());
            found.spans.extend(loads);
            let middle = found.spans.len();
            self.push_outs(ends.into_iter(), gap, &mut found.spans);
            middle
        } else {
            found.spans.extend(loads.clone());
            let run = self.times.load + self.times.exposure;
            let ends = loads.map(|span| Span::new(span.start + run, span.end + run));
            let middle = found.spans.len();
            self.push_outs(ends, gap, &mut found.spans);
            middle
        };
        if found.spans.len() == middle {
            found.spans.truncate(first);
            return;
        }
        found.add(Way {
            rig,
            slot,
            exposure: self.times.exposure,
            first_load: found.spans[first].start,
            loads: first..middle,
            outs: middle..found.spans.len(),
            joins: None,
        });
    }

    /// Adds the ways out of a gap after ends of exposure.
    fn push_outs(&self, ends: impl Iterator<Item = Span>, gap: Span, outs: &mut Spans) {
        let last = gap.end - self.times.unload + Minutes::new(1);
        let limit = Span::new(gap.start, last);
        let mut wait: Option<Span> = None;
        for end in ends {
            let next = Span::new(end.start, end.end + self.condition.max_wait);
            wait = match wait {
                Some(before) if next.start <= before.end => {
                    Some(Span::new(before.start, before.end.max(next.end)))
                }
                before => {
                    self.push_unloads(before, limit, outs);
                    Some(next)
                }
            };
            if next.end >= limit.end {
                break;
            }
        }
        self.push_unloads(wait, limit, outs);
    }

    /// Adds the ways out of unloads that begin in `wait` and `limit`.
    fn push_unloads(&self, wait: Option<Span>, limit: Span, outs: &mut Spans) {
        let Some(wait) = wait.map(|wait| wait.meet(limit)) else {
            return;
        };
        let by = self.times.unload;
        let mut push = |span: Span| {
            let out = Span::new(span.start + by, span.end + by);
            let out = self.only_out.map_or(out, |only| out.meet(only));
            if !out.is_empty() {
                outs.push(out);
            }
        };
        if by == Minutes::ZERO {
            push(wait);
            return;
        }
        let from = self.unloads.partition_point(|span| span.end <= wait.start);
        let unloads = self.unloads[from..].iter();
        for span in unloads.take_while(|span| span.start < wait.end) {
            push(span.meet(wait));
        }
    }

    /// The loads that an exposure that pauses can have, and its ends.
    fn paused(&self, mut loads: Spans) -> (Spans, Spans) {
        let Some(watch) = self.lines.problem.watch(self.condition) else {
            return (Spans::new(), Spans::new());
        };
        let (load, exposure) = (self.times.load, self.times.exposure);
        if self.condition.watch == Watch::Full {
            let starts = shift(loads, load);
            loads = shift(self.undisturbed(watch, &starts), -load);
        }
        let starts = loads
            .iter()
            .map(|span| Span::new(span.start + load, span.end + load));
        let ends = starts.flat_map(|span| paused_ends(watch, span, exposure));
        let ends = union(ends.collect());
        (loads, ends)
    }

    /// Starts of a pausing exposure in which the person is free in every minute of the shift that it
    /// needs.
    fn undisturbed(&self, watch: &OnTime, exposure_starts: &[Span]) -> Spans {
        let Some((first, last)) = exposure_starts.first().zip(exposure_starts.last()) else {
            return Spans::new();
        };
        let exposure = self.times.exposure;
        let mut good = Spans::new();
        let mut from = first.start;
        let reach = watch.advance(last.end, exposure).unwrap_or(Minute::LAST);
        for taken in taken_on_shift(watch, self.free, Span::new(first.start, reach)) {
            push_starts(watch, exposure, from, taken.start, &mut good);
            from = taken.end;
        }
        push_starts(watch, exposure, from, Minute::LAST, &mut good);
        meet(exposure_starts, &union(good))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::random::Random;

    #[test]
    fn a_gap_is_covered_where_it_lies_within_one_gap_seen() {
        let mut random = Random::new(3);
        for _ in 0..200 {
            let (mut seen, mut all) = (Seen::default(), Vec::<Span>::new());
            for _ in 0..30 {
                let start = i64::try_from(random.below(40)).expect("small");
                let length = 1 + i64::try_from(random.below(20)).expect("small");
                let gap = Span::new(Minute::new(start), Minute::new(start + length));
                let covered = all.iter().any(|known| known.covers(gap));
                assert_eq!(seen.covers(gap), covered, "{gap:?} in {all:?}");
                if !covered {
                    seen.add(gap);
                    all.push(gap);
                }
            }
        }
    }
}
