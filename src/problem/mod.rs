//! The compiled problem: dense indexes, whole minutes, calendars as step functions.
//!
//! [`compile`] turns a checked lab, the facts and an instant into a [`Problem`]; text becomes an
//! index here once, and becomes text again only when a plan leaves ([`Problem::resolve`],
//! [`Problem::words`]). This room knows no file, no ledger and no planner, and judges no plan.

pub mod calendar;
mod compile;
pub mod course;
mod exposure;
mod facts;
mod nearest;
pub mod network;
mod plan;
mod together;
mod words;

pub use calendar::{OnTime, People};
pub use compile::{compile, crews as crews_on};
pub use exposure::{course_on, time_on};
pub use facts::facts_of_plan;
pub use plan::{Left, Place, Plan, Visit};
pub(crate) use together::in_turn;
pub use words::{Figures, Unresolved};

use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{CrewId, MethodId, Minute, Minutes, RequestId, RigId, Span, UnitId, Zone};
use std::ops::Range;

macro_rules! index {
    ($(#[$doc:meta] $name:ident),+ $(,)?) => {$(
        #[$doc]
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub u32);

        impl $name {
            /// The index as a `usize`, for looking into a list.
            pub const fn ix(self) -> usize {
                self.0 as usize
            }
        }

        impl From<usize> for $name {
            fn from(ix: usize) -> Self {
                Self(u32::try_from(ix).expect("a problem has fewer than four billion of anything"))
            }
        }
    )+};
}

index! {
    /// Place of a crew in [`Problem::crews`].
    CrewIx,
    /// Place of a rig in [`Problem::rigs`].
    RigIx,
    /// Place of a request in [`Problem::requests`].
    RequestIx,
    /// Place of a unit in [`Problem::units`].
    UnitIx,
    /// Place of a condition in [`Problem::conditions`]: method, severity and length.
    CondIx,
    /// A pair of product and method: what a position must be fitted for.
    FixtureIx,
    /// Place of a list of eligible rigs in [`Problem::eligible`].
    EligibleIx,
}

/// Everything that planner and checker need to know.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The lab's name.
    pub lab: String,
    /// The lab's zone, for words only.
    pub zone: Zone,
    /// The instant to plan from.
    pub now: Minute,
    /// Everything ends by then: now plus horizon (R11).
    pub end: Minute,
    /// Published bookings that start before this keep rig and time (R10).
    pub frozen_before: Minute,
    /// Crews, in the order of the lab.
    pub crews: Vec<Crew>,
    /// Minutes at which anybody of any crew is on shift.
    pub site: OnTime,
    /// Rigs, in the order of the lab.
    pub rigs: Vec<Rig>,
    /// Conditions: every distinct method, severity and length of a planned step.
    pub conditions: Vec<Condition>,
    /// Lists of eligible rigs with the minutes of exposure there, each sorted by rig.
    pub eligible: Vec<Vec<(RigIx, Minutes)>>,
    /// Requests, in the order of the lab.
    pub requests: Vec<Request>,
    /// Units, those of a request next to each other, in the order of the lab.
    pub units: Vec<Unit>,
    /// How many distinct fixtures there are.
    pub fixtures: usize,
}

/// A crew with its people over time.
#[derive(Clone, Debug)]
pub struct Crew {
    /// Its id.
    pub id: CrewId,
    /// How many people are on shift.
    pub people: People,
    /// When at least one is.
    pub on: OnTime,
}

/// A rig as the planner sees it.
#[derive(Clone, Debug)]
pub struct Rig {
    /// Its id.
    pub id: RigId,
    /// Units it holds at once.
    pub positions: u32,
    /// How it takes units in.
    pub loading: Loading,
    /// Hands-on time at the start.
    pub load: Minutes,
    /// Hands-on time at the end.
    pub unload: Minutes,
    /// Idle time between different fixtures or conditions.
    pub changeover: Minutes,
    /// Sorted, disjoint spans in which a visit may lie: outages and the time after its calibration
    /// date are taken off (R5). The first begins at or before now, the last may end at
    /// [`Minute::LAST`].
    pub usable: Vec<Span>,
    /// Outages with their reasons, sorted by start, for words only.
    pub outages: Vec<(Span, String)>,
    /// The minute after its last calibrated day, or [`Minute::LAST`].
    pub calibrated_until: Minute,
}

/// A method at a severity and length.
#[derive(Clone, Debug)]
pub struct Condition {
    /// The method.
    pub method: MethodId,
    /// Its words for people: `dry-heat, temperature_c 70, 16h`.
    pub label: String,
    /// Who must be there while it runs.
    pub watch: Watch,
    /// May pause where its watch ends; counts only on rigs loaded each and with a watch:
    /// see [`Problem::pauses`].
    pub pausable: bool,
    /// Longest wait in the rig after the exposure; [`Minutes::FOREVER`] without a limit.
    pub max_wait: Minutes,
    /// Who loads, unloads and watches.
    pub crew: CrewIx,
    /// True where a verdict is due.
    pub verdict: bool,
}

/// One expanded step of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Its condition.
    pub condition: CondIx,
    /// Product and method, for changeovers on rigs loaded each.
    pub fixture: FixtureIx,
    /// Rigs that can do it (R3, and the size rule of R9), with the minutes of exposure there.
    pub eligible: EligibleIx,
    /// Smallest gap since the step before.
    pub rest_min: Minutes,
    /// Largest gap since the step before; [`Minutes::FOREVER`] without a limit.
    pub rest_max: Minutes,
}

/// A request.
#[derive(Clone, Debug)]
pub struct Request {
    /// Its id.
    pub id: RequestId,
    /// Nothing before this (R2).
    pub ready: Minute,
    /// Due date, if any.
    pub due: Option<Minute>,
    /// 1 to 9.
    pub priority: i64,
    /// All its units of a step in one run (R9).
    pub keep_together: bool,
    /// Its expanded steps, the same for each of its units.
    pub steps: Vec<Step>,
    /// Its units.
    pub units: Range<u32>,
    /// The first step, from 0, that no rig can do, or before which not all units that stay together can keep the
    /// rest, with the reason; the request is then left out.
    pub impossible: Option<(usize, String)>,
}

impl Request {
    /// How many visits its units make in all.
    pub fn visits(&self) -> usize {
        self.units.len() * self.steps.len()
    }
}

/// A unit.
#[derive(Clone, Debug)]
pub struct Unit {
    /// Its serial.
    pub id: UnitId,
    /// Its request.
    pub request: RequestIx,
    /// Steps below this one (from 0) must be in the plan; fewer than the request's steps where the
    /// unit failed, was withdrawn or is held.
    pub wanted: usize,
    /// Visits that have started: for steps 0, 1, … in order, each with how it stands. A plan holds
    /// them as they are.
    pub facts: Vec<Fact>,
    /// Pins of steps that have not started, sorted by step (R10).
    pub pins: Vec<Pin>,
    /// Published bookings of steps that have not started, sorted by step; for keeping what starts
    /// within freeze, and for counting differences.
    pub published: Vec<Visit>,
}

/// A visit that has started. Its times are known or, while it runs, foreseen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fact {
    /// The visit; `visit.times` are final where `over`, else foreseen by [`compile`].
    pub visit: Visit,
    /// True once it has been unloaded.
    pub over: bool,
}

/// A booking that must start on that rig at that minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pin {
    /// The step, from 0.
    pub step: usize,
    /// The rig.
    pub rig: RigIx,
    /// When load starts.
    pub load: Minute,
}

impl Problem {
    /// The request of a unit.
    pub fn request_of(&self, unit: UnitIx) -> &Request {
        &self.requests[self.units[unit.ix()].request.ix()]
    }

    /// The step (from 0) that a visit of `unit` is for.
    pub fn step(&self, unit: UnitIx, step: usize) -> &Step {
        &self.request_of(unit).steps[step]
    }

    /// The condition of a step.
    pub fn condition(&self, step: &Step) -> &Condition {
        &self.conditions[step.condition.ix()]
    }

    /// Rigs that can do a step, with the minutes of exposure there, pauses excluded.
    pub fn rigs_for(&self, step: &Step) -> &[(RigIx, Minutes)] {
        &self.eligible[step.eligible.ix()]
    }

    /// Minutes of exposure of a step on a rig, pauses excluded, or `None` where it is not eligible.
    pub fn exposure(&self, step: &Step, rig: RigIx) -> Option<Minutes> {
        let rigs = self.rigs_for(step);
        rigs.binary_search_by_key(&rig, |(rig, _)| *rig)
            .ok()
            .map(|ix| rigs[ix].1)
    }

    /// True where an exposure stops while its watch is away and goes on when it is back (R7).
    pub fn pauses(&self, condition: &Condition, rig: RigIx) -> bool {
        condition.pausable
            && condition.watch != Watch::None
            && self.rigs[rig.ix()].loading == Loading::Each
    }

    /// The minutes in which an exposure may advance, or `None` where it may always.
    pub fn watch(&self, condition: &Condition) -> Option<&OnTime> {
        match condition.watch {
            Watch::None => None,
            Watch::Site => Some(&self.site),
            Watch::Full => Some(&self.crews[condition.crew.ix()].on),
        }
    }

    /// When an exposure of `length` that begins at `start` ends, pauses included; `None` where the
    /// watch never gives it that many minutes.
    pub fn exposure_end(
        &self,
        condition: &Condition,
        rig: RigIx,
        start: Minute,
        length: Minutes,
    ) -> Option<Minute> {
        match self.watch(condition) {
            Some(watch) if self.pauses(condition, rig) => watch.advance(start, length),
            _ => Some(start + length),
        }
    }

    /// The units of a request.
    pub fn units_of(&self, request: RequestIx) -> impl Iterator<Item = UnitIx> + use<> {
        self.requests[request.ix()].units.clone().map(UnitIx)
    }

    /// Cost of a request that finishes at `finish`: `priority × (10 × late + flow)`.
    pub fn cost_at(&self, request: RequestIx, finish: Minute) -> i64 {
        let request = &self.requests[request.ix()];
        let late = request
            .due
            .map_or(Minutes::ZERO, |due| (finish - due).at_least_zero());
        request.priority * (10 * late.get() + (finish - request.ready).get())
    }

    /// The last finish of a request at which it costs no more than `most`; before it is ready where that is
    /// below zero, [`Minute::LAST`] where it costs nothing.
    pub fn latest_finish(&self, request: RequestIx, most: i64) -> Minute {
        let request = &self.requests[request.ix()];
        if request.priority <= 0 {
            return Minute::LAST;
        }
        let worth = most.div_euclid(request.priority);
        let in_time = request.ready + Minutes::new(worth);
        match request.due {
            // Late, it costs ten times the minutes after the due date and once those after it is ready.
            Some(due) if in_time > due => {
                Minute::new((worth + 10 * due.get() + request.ready.get()).div_euclid(11))
            }
            _ => in_time,
        }
    }
}

impl Rig {
    /// The usable spans that own a minute of `window`, whole.
    pub fn usable_near(&self, window: Span) -> &[Span] {
        let from = self.usable.partition_point(|span| span.end <= window.start);
        let to = self.usable.partition_point(|span| span.start < window.end);
        &self.usable[from..to.max(from)]
    }
}

/// The stay that load, exposure and unload make when nothing waits or pauses: the shortest there is.
pub fn shortest_stay(rig: &Rig, exposure: Minutes) -> Minutes {
    rig.load + exposure + rig.unload
}

/// The five instants of a visit that neither pauses nor waits.
pub fn plain_times(rig: &Rig, load: Minute, exposure: Minutes) -> Times {
    let start = load + rig.load;
    let end = start + exposure;
    Times {
        load,
        start,
        end,
        unload: end,
        out: end + rig.unload,
    }
}
