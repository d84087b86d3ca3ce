//! The first way out of one step, without the sets of all of them.
//!
//! A step that binds no other needs only its earliest way out, and so does a chain whose steps, each put as
//! early as it can be after the one before, keep their largest rests. Rig by rig the first gap is sought in
//! which it fits; nothing that comes out later than what is known is looked at, and nothing is stored.

use super::{Link, RunRule};
use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::planner::timeline::{Alike, Placed, RigLine, RigTimes, Slot, Timelines};
use crate::problem::{Condition, CrewIx, RigIx, Step, UnitIx};

/// What came of placing the steps of a chain one after the other.
pub(in crate::planner) enum OneByOne {
    /// They keep their rests: no chain comes out earlier.
    Found(Vec<Placed>),
    /// One comes too late after the one before; no chain comes out before that minute.
    NotBefore(Minute),
    /// The link of that number has no place.
    None(usize),
}

/// Which visits that would wait in their rig load as late as their way out allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::planner) enum Late {
    /// None; nor does any other come out later than it could: for bounds.
    Never,
    /// Those whose exposure does not pause.
    UnlessPausing,
    /// All.
    Always,
}

/// How far a search in a held rig looks at first.
const NEAR: Minutes = Minutes::hours(8);
/// How often a step of a chain is put later for the sake of the one after it.
const REPAIRS: usize = 20;

impl Timelines<'_> {
    /// Each step as early as it can be after the one before, the first with a load in `first`, all out by
    /// `until`. A step comes out later where the one after it would come too late. Fixed places and
    /// ways out are not looked at: see [`Link::is_free`].
    ///
    /// A repaired chain is the earliest where the rigs of each step take the same times.
    pub(in crate::planner) fn one_by_one(
        &self,
        unit: UnitIx,
        links: &[Link],
        first: Span,
        until: Minute,
        runs: RunRule,
        late: Late,
    ) -> OneByOne {
        let request = self.problem.request_of(unit);
        let mut chain: Vec<Placed> = Vec::with_capacity(links.len());
        let mut repairs = 0;
        // The step that the last one placed must not come out before, so that the next is not too late.
        let mut not_before = Minute::FIRST;
        while let Some(link) = links.get(chain.len()) {
            let step = &request.steps[link.step];
            let loads = match chain.last() {
                None => first,
                Some(before) => {
                    let least = step.rest_min + link.more_rest;
                    Span::new(before.times.out + least, Minute::LAST)
                }
            };
            let asked = Asked {
                loads,
                not_before,
                until,
                late,
            };
            let Some(mut placed) = self.earliest(step, link, asked, runs) else {
                return match repairs {
                    0 => OneByOne::None(chain.len()),
                    _ => OneByOne::NotBefore(not_before),
                };
            };
            not_before = Minute::FIRST;
            let closes = chain.last().map(|before| before.times.out + step.rest_max);
            let closes = closes.filter(|closes| placed.times.load > *closes);
            if let Some(closes) = closes {
                // An earlier load may come out as early.
                let asked = Asked {
                    loads: Span::new(asked.loads.start, closes + Minutes::new(1)),
                    until: placed.times.out,
                    ..asked
                };
                if let Some(sooner) = self.earliest(step, link, asked, runs) {
                    placed = sooner;
                }
            }
            if closes.is_some_and(|closes| placed.times.load > closes) {
                if late == Late::Never || repairs == REPAIRS {
                    return OneByOne::NotBefore(placed.times.out);
                }
                repairs += 1;
                not_before = placed.times.load - step.rest_max;
                chain.pop();
            } else {
                chain.push(placed);
            }
        }
        OneByOne::Found(chain)
    }

    /// The booking with the same place and way out whose load is the first in `loads`; the visit itself is taken off.
    pub(in crate::planner) fn first_load_of(
        &self,
        unit: UnitIx,
        step: usize,
        placed: &Placed,
        loads: Span,
    ) -> Option<Placed> {
        let step = self.problem.step(unit, step);
        let mut link = Link::free(0);
        link.only_on = Some(placed.rig);
        if let Slot::Lane(lane) = placed.slot {
            link.lane = Some(lane);
        }
        let mut search = First {
            lines: self,
            step,
            condition: self.problem.condition(step),
            link: &link,
            loads,
            not_before: placed.times.out,
            until: placed.times.out,
            late: Late::Never,
            found: None,
        };
        for alike in self.alike(step) {
            search.open(alike, Some(Minute::FIRST));
        }
        search.found
    }

    /// The booking of a step that comes out earliest; a run that exists before a new one, an earlier load
    /// before a later one.
    fn earliest(&self, step: &Step, link: &Link, asked: Asked, runs: RunRule) -> Option<Placed> {
        let mut search = First {
            lines: self,
            step,
            condition: self.problem.condition(step),
            link,
            loads: asked.loads,
            not_before: asked.not_before,
            until: asked.until,
            late: asked.late,
            found: None,
        };
        if runs.join {
            search.join(runs.room);
        }
        for alike in self.alike(step) {
            search.open(alike, runs.open_from);
        }
        search.found
    }
}

/// When a step may load and come out.
#[derive(Clone, Copy)]
struct Asked {
    loads: Span,
    not_before: Minute,
    until: Minute,
    late: Late,
}

struct First<'a> {
    lines: &'a Timelines<'a>,
    step: &'a Step,
    condition: &'a Condition,
    link: &'a Link,
    /// Minutes at which it may load.
    loads: Span,
    /// It comes out no earlier.
    not_before: Minute,
    /// It comes out by then; never after what is found.
    until: Minute,
    late: Late,
    found: Option<Placed>,
}

impl First<'_> {
    fn join(&mut self, room: u32) {
        if !self.link.allows_loading(Loading::Together) {
            return;
        }
        let problem = self.lines.problem;
        let near = Span::new(self.loads.start, self.loads.end.min(self.until));
        for (rig, run) in self.lines.runs_of(self.step.condition, near) {
            if run.times.load >= self.until {
                break;
            }
            let positions = problem.rigs[rig.ix()].positions;
            let has_room = run.has_room(room, positions) && self.link.allows_rig(rig);
            let in_time = run.times.out >= self.not_before;
            if has_room
                && in_time
                && self.improves(&run.times)
                && problem.exposure(self.step, rig).is_some()
            {
                self.keep(rig, Slot::Run, run.times);
            }
        }
    }

    fn improves(&self, times: &Times) -> bool {
        times.out < self.until || (times.out == self.until && self.found.is_none())
    }

    fn keep(&mut self, rig: RigIx, slot: Slot, times: Times) {
        self.until = times.out;
        self.found = Some(Placed { rig, slot, times });
    }

    /// The first gaps of rigs that are alike.
    fn open(&mut self, alike: &Alike, open_from: Option<Minute>) {
        let times = alike.times;
        if !self.link.allows_loading(times.loading) {
            return;
        }
        let mut from = self.loads.start;
        if times.loading == Loading::Together {
            let Some(open_from) = open_from else { return };
            from = from.max(open_from);
        }
        let pauses = self.lines.problem.pauses(self.condition, alike.rigs[0]);
        let stay = Stay {
            lines: self.lines,
            condition: self.condition,
            times,
            pauses,
            loads: Span::new(from, self.loads.end),
            not_before: self.not_before,
            late: match self.late {
                Late::Never => false,
                Late::UnlessPausing => !pauses,
                Late::Always => true,
            },
        };
        // What people and watch allow on a rig that is free: none of them is earlier.
        let Some(free) = stay.first_in(Span::new(from, self.until)) else {
            return;
        };
        for rig in alike.rigs.iter().filter(|rig| self.link.allows_rig(**rig)) {
            if !self.improves(&free) {
                return;
            }
            self.look_at(*rig, &stay, free.load);
        }
    }

    /// The first gap of a rig in which the stay fits, position by position.
    fn look_at(&mut self, rig: RigIx, stay: &Stay<'_>, from: Minute) {
        let line = &self.lines.rigs[rig.ix()];
        let is_held = matches!(line, RigLine::Held(..));
        let mut reach = stay.times.shortest() + NEAR;
        loop {
            let window = Span::new(from, self.until);
            let cut = if is_held {
                Span::new(from, self.until.min(from + reach))
            } else {
                window
            };
            let known = self.found;
            self.look_within(rig, stay, cut);
            if cut.end >= window.end || self.found != known {
                return;
            }
            reach = reach * 3;
        }
    }

    fn look_within(&mut self, rig: RigIx, stay: &Stay<'_>, window: Span) {
        let own = &self.lines.problem.rigs[rig.ix()];
        let line = &self.lines.rigs[rig.ix()];
        let shortest = stay.times.shortest();
        let (fixture, condition) = (self.step.fixture, self.step.condition);
        line.gaps(own, fixture, condition, window, &mut |slot, gap| {
            if gap.start + shortest > self.until {
                return false;
            }
            if gap.length() < shortest || !self.link.allows_slot(slot) {
                return true;
            }
            for usable in own.usable_near(gap) {
                let piece = usable.meet(gap);
                if piece.length() < shortest {
                    continue;
                }
                if let Some(times) = stay.first_in(piece) {
                    if self.improves(&times) {
                        self.keep(rig, slot, times);
                    }
                    return false;
                }
            }
            true
        });
    }
}

/// A stay on any rig of some that are alike.
struct Stay<'a> {
    lines: &'a Timelines<'a>,
    condition: &'a Condition,
    times: RigTimes,
    pauses: bool,
    /// Minutes at which it may load.
    loads: Span,
    /// It comes out no earlier.
    not_before: Minute,
    /// It loads as late as its way out allows.
    late: bool,
}

impl Stay<'_> {
    /// The times of the first load from which the whole stay lies in `piece`. A later load never comes out
    /// earlier, so these are also the earliest way out.
    fn first_in(&self, piece: Span) -> Option<Times> {
        let RigTimes {
            load,
            exposure,
            unload,
            ..
        } = self.times;
        let crew = self.condition.crew;
        let last = (piece.end - self.times.shortest()).min(self.loads.end - Minutes::new(1));
        let mut at = piece.start.max(self.loads.start);
        loop {
            at = self.first_load(at, last)?;
            let start = at + load;
            let end = self.end_of(start, exposure)?;
            let from = end.max(self.not_before - unload);
            let leaves = if unload == Minutes::ZERO {
                from
            } else {
                self.lines.first_free(crew, from, unload, piece.end)?
            };
            let out = leaves + unload;
            if out > piece.end {
                return None;
            }
            if leaves <= end + self.condition.max_wait {
                let at = if self.late {
                    self.latest_load(at, leaves, last)
                } else {
                    at
                };
                let start = at + load;
                let end = self.end_of(start, exposure)?;
                return Some(Times {
                    load: at,
                    start,
                    end,
                    unload: leaves,
                    out,
                });
            }
            let next = self.starts_for(leaves).start - load;
            at = next.max(at + Minutes::new(1));
        }
    }

    /// The last load after `at` that still comes out at `leaves`, so that the rig is free until then; `at` itself
    /// where nobody could load then.
    fn latest_load(&self, at: Minute, leaves: Minute, last: Minute) -> Minute {
        let late = self.starts_for(leaves).end - Minutes::new(1) - self.times.load;
        if late > at && self.first_load(late, last) == Some(late) {
            late
        } else {
            at
        }
    }

    /// The first load from `at` to `last` for which people and watch are there until the exposure ends.
    fn first_load(&self, mut at: Minute, last: Minute) -> Option<Minute> {
        let RigTimes { load, exposure, .. } = self.times;
        let problem = self.lines.problem;
        let (hands, on_site) = match self.condition.watch {
            Watch::Full if !self.pauses => (load + exposure, Minutes::ZERO),
            Watch::Site if !self.pauses => (load, exposure),
            _ => (load, Minutes::ZERO),
        };
        let crew = self.condition.crew;
        while at <= last {
            let asked = at;
            if hands > Minutes::ZERO {
                at = self.lines.first_free(crew, at, hands, last + hands)?;
            }
            if on_site > Minutes::ZERO {
                at = problem.site.first_whole(at + load, on_site)? - load;
            }
            if self.pauses && self.condition.watch == Watch::Full {
                at = self.undisturbed(crew, at + load)? - load;
            }
            if at == asked {
                return Some(at);
            }
        }
        None
    }

    /// The start itself where the person is free in every minute on shift of an exposure that pauses; else
    /// the first minute after the one in which the person is not.
    fn undisturbed(&self, crew: CrewIx, start: Minute) -> Option<Minute> {
        let watch = self.lines.problem.watch(self.condition)?;
        let end = watch.advance(start, self.times.exposure)?;
        for on in watch.within(Span::new(start, end)) {
            let mut at = on.start;
            while at < on.end {
                let free = self.lines.first_free(crew, at, Minutes::new(1), on.end);
                if free != Some(at) {
                    return Some(free.unwrap_or(on.end).min(on.end));
                }
                at = self.lines.free_until(crew, at, on.end);
            }
        }
        Some(start)
    }

    fn end_of(&self, start: Minute, exposure: Minutes) -> Option<Minute> {
        match self.lines.problem.watch(self.condition) {
            Some(watch) if self.pauses => watch.advance(start, exposure),
            _ => Some(start + exposure),
        }
    }

    /// Starts of an exposure after which it leaves then.
    fn starts_for(&self, leaves: Minute) -> Span {
        let exposure = self.times.exposure;
        self.lines
            .exposure_starts(self.condition, self.pauses, exposure, leaves)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Facts;
    use crate::domain::lab::Watch;
    use crate::domain::parts::{
        ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
    };
    use crate::domain::zone::known::utc;
    use crate::planner::alone::Alone;
    use crate::planner::construct::{Builder, Style};
    use crate::planner::random::Random;
    use crate::problem::{Problem, compile};

    const WATCHES: [Watch; 3] = [Watch::None, Watch::Site, Watch::Full];
    const LOADINGS: [Loading; 3] = [Loading::Each, Loading::Together, Loading::Held];

    /// Nine methods, one for each watch and loading, some of which pause or may not wait, on eighteen rigs with one
    /// crew of two, which is away at night.
    fn problem(random: &mut Random) -> Problem {
        let mut lab = empty_lab();
        lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (8, 0), (16, 0), 2)])];
        let mut steps = Vec::new();
        for watch in WATCHES {
            for loading in LOADINGS {
                let id = format!("{watch:?}-{loading:?}").to_lowercase();
                let length = Minutes::new(10 + 40 * i64::try_from(random.below(10)).unwrap());
                let mut own = method(&id, &id, crate::domain::lab::Length::Hold(length));
                own.watch = watch;
                own.pausable = random.below(2) == 0;
                if random.below(3) == 0 {
                    own.max_wait = Some(Minutes::new(60));
                }
                lab.methods.insert(own.id.clone(), own);
                for number in 0..2 {
                    let mut own = rig(&format!("{id}-{number}"), &[&id], loading, 2);
                    own.load = Minutes::new(10);
                    own.unload = Minutes::new(5);
                    lab.rigs.push(own);
                }
                steps.push(step(&id));
            }
        }
        lab.sequences.push(sequence("S", steps));
        let now = utc("2027-03-01T08:00");
        for number in 0..6 {
            lab.requests
                .push(request(&format!("R{number}"), "S", 2, now));
        }
        compile(&lab, &Facts::default(), now)
    }

    #[test]
    fn the_first_way_out_is_that_of_all_ways() {
        let mut random = Random::new(11);
        let mut tried = 0;
        for _ in 0..12 {
            let problem = problem(&mut random);
            let alone = Alone::look(&problem);
            let mut builder = Builder::new(&problem, &alone, Style::sharing(Minutes::ZERO));
            for request in 0..problem.requests.len() {
                builder.put(request.into()).expect("there is room");
            }
            for _ in 0..60 {
                let unit = UnitIx::from(random.below(problem.units.len()));
                let link = Link::free(random.below(9));
                let from = problem.now + Minutes::new(i64::try_from(random.below(9000)).unwrap());
                let first = Span::new(from, Minute::LAST);
                let window = Span::new(from, problem.end);
                let links = [link];
                let known = builder
                    .lines
                    .earliest_chain(unit, &links, first, window, RunRule::ANY)
                    .map(|chain| chain[0].times.out);
                for late in [Late::Never, Late::Always] {
                    let found = builder.lines.one_by_one(
                        unit,
                        &links,
                        first,
                        problem.end,
                        RunRule::ANY,
                        late,
                    );
                    let OneByOne::Found(chain) = found else {
                        panic!("a free step has a place");
                    };
                    assert_eq!(
                        Ok(chain[0].times.out),
                        known,
                        "{:?} late {late:?}",
                        links[0]
                    );
                }
                tried += 1;
            }
        }
        assert_eq!(tried, 720);
    }
}
