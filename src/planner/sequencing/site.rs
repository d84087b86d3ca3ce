//! Stays in a lab: hands at both ends, watches, outages, and what is booked already.

use super::decode::{Decoder, Spot};
use super::state::{NONE, State};
use crate::domain::{Minute, Minutes, Span};
use crate::problem::calendar::OnTime;
use crate::problem::network::{Block, Mode, NEVER, Place, Site, Tick, ticks};

/// What a held rig has inside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Held {
    kind: u32,
    /// Nothing of this kind may start before, for the changeover from the kind before.
    from: Tick,
    until: Tick,
}

impl Default for Held {
    fn default() -> Self {
        Self {
            kind: u32::MAX,
            from: Tick::MIN / 4,
            until: Tick::MIN / 4,
        }
    }
}

/// How often a stay is pushed before it is given up.
const PUSHES: usize = 400;

impl Decoder<'_, '_> {
    /// The first place from `arrival` on, on the lane where it starts first.
    pub(super) fn spot_at_site(
        &self,
        site: &Site,
        task: usize,
        mode: Mode,
        arrival: Tick,
    ) -> Option<Spot> {
        let lanes = self.shape.lanes[mode.rig as usize]..self.shape.lanes[mode.rig as usize + 1];
        let kind = self.shape.kind(task, mode.rig);
        let floor = self.held_floor(site, mode.rig, kind).max(arrival);
        let held = matches!(self.shape.net.rigs[mode.rig as usize], Place::Held(_));
        let free = |lane: u32| {
            let ix = lane as usize;
            let setup = if held {
                0
            } else {
                self.shape.setup(mode.rig, self.now.lane_kind[ix], kind)
            };
            self.now.lane_end[ix] + setup
        };
        // Of the lanes with nothing booked the one that is free first will do, or of those free on arrival the one
        // that idles least.
        let blank = |lane: &u32| self.shape.blocks[*lane as usize].is_empty();
        let first = lanes.clone().filter(blank).min_by_key(|lane| {
            let free = free(*lane);
            (free.max(floor), -free)
        });
        let booked = lanes.filter(|lane| !blank(lane));
        let spots = first.into_iter().chain(booked).filter_map(|lane| {
            let mut spot = self.stay(site, task, mode, lane, free(lane).max(floor))?;
            spot.lane = lane;
            Some(spot)
        });
        spots.min_by_key(|spot| (spot.end, spot.lane))
    }

    /// From when on a held rig may take something of a kind.
    fn held_floor(&self, site: &Site, rig: u32, kind: u32) -> Tick {
        let held = &self.now.held[rig as usize];
        if held.kind == u32::MAX {
            Tick::MIN / 4
        } else if held.kind == kind {
            held.from
        } else {
            held.until + site.changeover[rig as usize]
        }
    }

    /// The first stay from `from` on that keeps outages, bookings, hands and watches.
    fn stay(&self, site: &Site, task: usize, mode: Mode, lane: u32, from: Tick) -> Option<Spot> {
        let own = &self.shape.net.tasks[task];
        let open = &site.open[mode.rig as usize];
        let mut load = from;
        for _ in 0..PUSHES {
            if load > own.latest_start || load + mode.length() > own.latest_end.min(site.end) {
                return None;
            }
            let span = open.get(open.partition_point(|span| span.1 < load + mode.length()))?;
            load = load.max(span.0);
            let spot = match self.hands_and_watch(site, task, mode, load) {
                Ok(spot) => spot,
                Err(later) => {
                    load = later;
                    continue;
                }
            };
            if spot.end > span.1 {
                // Waits and pauses do not fit here; the next span may be longer.
                load = span.1.max(load + 1);
                continue;
            }
            if let Some(later) = self.blocked(site, task, lane, &spot) {
                load = later;
                continue;
            }
            return (spot.end <= own.latest_end.min(site.end)).then_some(spot);
        }
        None
    }

    /// The stay that begins at `load`, or a later load before which there is none.
    fn hands_and_watch(
        &self,
        site: &Site,
        task: usize,
        mode: Mode,
        load: Tick,
    ) -> Result<Spot, Tick> {
        let own = &self.shape.net.tasks[task];
        let hands = |from: Tick, length: Tick| match own.hands {
            Some(crew) if length > 0 => self.now.left[crew as usize].fit(from, length, 1),
            _ => from,
        };
        let first = hands(load, mode.load);
        if first > load {
            return Err(first);
        }
        let start = load + mode.load;
        let (end, pausing) = self.exposure_end(site, task, mode, start)?;
        self.people_inside(site, task, mode, start, end, pausing)?;
        let unload = hands(end, mode.unload);
        if unload - end > own.max_wait {
            if unload >= NEVER {
                return Err(NEVER);
            }
            let wanted = unload - own.max_wait;
            return Err(match pausing {
                // The first start that ends late enough is the one after the last that does not.
                Some(watch) => latest_start(site, watch, wanted - 1, mode.exposure)
                    .map_or(load + 1, |start| (start + 1 - mode.load).max(load + 1)),
                None => load + (wanted - end),
            });
        }
        Ok(Spot {
            start: load,
            unload,
            end: unload + mode.unload,
            rig: mode.rig,
            lane: NONE,
        })
    }

    /// When an exposure ends, with its calendar where it pauses; or a later load.
    fn exposure_end<'s>(
        &self,
        site: &'s Site,
        task: usize,
        mode: Mode,
        start: Tick,
    ) -> Result<(Tick, Option<&'s OnTime>), Tick> {
        let own = &self.shape.net.tasks[task];
        let Some(watch) = own.watch else {
            return Ok((start + mode.exposure, None));
        };
        let watch = &site.watches[watch as usize];
        if own.pausable && matches!(self.shape.net.rigs[mode.rig as usize], Place::Each(_)) {
            let end = watch.advance(minute(site, start), length(mode.exposure));
            return end.map(|end| (tick(site, end), Some(watch))).ok_or(NEVER);
        }
        let end = start + mode.exposure;
        if mode.exposure == 0 || watch.covers(Span::new(minute(site, start), minute(site, end))) {
            return Ok((end, None));
        }
        let later = watch.spans().iter().find(|span| {
            span.length() >= length(mode.exposure)
                && span.end >= minute(site, start) + length(mode.exposure)
        });
        later.map_or(Err(NEVER), |span| {
            Err((tick(site, span.start).max(start) - mode.load).max(start - mode.load + 1))
        })
    }

    /// The people that the exposure takes are there throughout, or a later load.
    fn people_inside(
        &self,
        site: &Site,
        task: usize,
        mode: Mode,
        start: Tick,
        end: Tick,
        pausing: Option<&OnTime>,
    ) -> Result<(), Tick> {
        for used in self.shape.net.uses(task) {
            let left = &self.now.left[used.crew as usize];
            let free = |from: Tick, to: Tick| {
                let fits = left.fit(from, to - from, used.number);
                if fits > from {
                    Err((fits - mode.load).max(start - mode.load + 1))
                } else {
                    Ok(())
                }
            };
            match pausing {
                None if end > start => free(start, end)?,
                None => {}
                Some(watch) => {
                    for piece in watch.within(Span::new(minute(site, start), minute(site, end))) {
                        free(tick(site, piece.start), tick(site, piece.end))?;
                    }
                }
            }
        }
        Ok(())
    }

    /// The end of a booking, with its changeover, that a stay on a lane would hit.
    fn blocked(&self, site: &Site, task: usize, lane: u32, spot: &Spot) -> Option<Tick> {
        let rig = spot.rig;
        let kind = self.shape.kind(task, rig);
        let gap = |block: &Block| {
            if block.kind == kind {
                0
            } else {
                site.changeover[rig as usize]
            }
        };
        let hits = |block: &&Block| {
            spot.start < block.to + gap(block) && spot.end + gap(block) > block.from
        };
        let later = |block: &Block| block.to + gap(block);
        if let Place::Held(_) = self.shape.net.rigs[rig as usize] {
            let lanes = self.shape.lanes[rig as usize]..self.shape.lanes[rig as usize + 1];
            let all = lanes.flat_map(|other| {
                self.shape.blocks[other as usize]
                    .iter()
                    .map(move |block| (other, block))
            });
            let met =
                all.filter(|(other, block)| (*other == lane || block.kind != kind) && hits(block));
            return met.map(|(_, block)| later(block)).max();
        }
        self.shape.blocks[lane as usize]
            .iter()
            .filter(hits)
            .map(later)
            .max()
    }

    /// Takes the people of a placed stay, and notes what a held rig has inside.
    pub(super) fn occupy_site(&mut self, site: &Site, state: &State, node: u32) {
        let at = node as usize;
        let task = state.first[at] as usize;
        let shape = self.shape;
        let own = &shape.net.tasks[task];
        let mode = shape.mode_on(task, state.rig[at]);
        let start = state.start[at] + mode.load;
        if let Some(crew) = own.hands {
            let left = &mut self.now.left[crew as usize];
            left.take(state.start[at], start, 1);
            left.take(state.unload[at], state.end[at], 1);
        }
        for used in shape.net.uses(task) {
            match self.exposure_end(site, task, mode, start) {
                Ok((end, Some(watch))) => {
                    for piece in watch.within(Span::new(minute(site, start), minute(site, end))) {
                        self.now.left[used.crew as usize].take(
                            tick(site, piece.start),
                            tick(site, piece.end),
                            used.number,
                        );
                    }
                }
                _ => self.now.left[used.crew as usize].take(
                    start,
                    start + mode.exposure,
                    used.number,
                ),
            }
        }
        if let Place::Held(_) = shape.net.rigs[state.rig[at] as usize] {
            let changeover = site.changeover[state.rig[at] as usize];
            let held = &mut self.now.held[state.rig[at] as usize];
            if held.kind != own.family {
                held.from = if held.kind == u32::MAX {
                    held.from
                } else {
                    held.until + changeover
                };
                held.kind = own.family;
            }
            held.until = held.until.max(state.end[at]);
        }
    }
}

fn latest_start(site: &Site, watch: &OnTime, end: Tick, exposure: Tick) -> Option<Tick> {
    let start = watch.latest_start(minute(site, end), length(exposure))?;
    Some(tick(site, start))
}

/// The minute of a tick.
fn minute(site: &Site, tick: Tick) -> Minute {
    site.origin + length(tick)
}

/// The tick of a minute; far minutes are cut to what a tick holds.
fn tick(site: &Site, minute: Minute) -> Tick {
    ticks(minute - site.origin)
}

fn length(ticks: Tick) -> Minutes {
    Minutes::new(i64::from(ticks))
}
