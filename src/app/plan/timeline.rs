//! Rigs and crews over time, with the rules that the plan on the screen breaks.

use super::crews::{CrewRow, crew_rows};
use super::draft::{Draft, StepKey};
use super::hand::{Hand, plan_visits};
use super::rows::{Planned, RigRow, rig_rows};
use crate::app::desk::Desk;
use crate::checker::{Clash, check};
use crate::domain::{Booking, Minute, UnitId};
use crate::problem::{Plan, Problem};
use std::collections::{BTreeMap, BTreeSet};

/// What the Plan screen shows.
#[derive(Clone, Debug)]
pub struct Timeline {
    /// Rigs in the order of the lab.
    pub rigs: Vec<RigRow>,
    /// Crews in the order of the lab.
    pub crews: Vec<CrewRow>,
    /// Rules that what is left of the plan breaks, as things stand now. Units that no plan knows yet are no
    /// clash: they are to be planned.
    pub clashes: Vec<Clash>,
}

impl Timeline {
    /// Of the plan in force, or of the draft, with what is in hand where it is now.
    pub fn of(desk: &Desk, now: Minute, draft: Option<&Draft>, hand: Option<&Hand>) -> Self {
        let planned = planned(desk, draft, hand);
        let bookings: Vec<Booking> = planned.iter().map(|own| own.booking.clone()).collect();
        let compiled: Problem;
        let problem = if let Some(hand) = hand {
            hand.problem()
        } else {
            let pins = draft.map_or(Vec::new(), |draft| draft.pins(now));
            compiled = desk.planning().with_pins(&pins).problem();
            &compiled
        };
        let visits = plan_visits(problem, &bookings);
        let crews = crew_rows(problem, &visits);
        let clashes = match hand {
            Some(hand) => hand.clashes.clone(),
            None if bookings.is_empty() => Vec::new(),
            None => clashes(problem, visits),
        };
        let broken = broken(problem, &clashes);
        let was = was(desk, &planned);
        Self {
            rigs: rig_rows(desk, now, &planned, &broken, &was),
            crews,
            clashes,
        }
    }
}

/// Bookings that count, each with whether it is so in the plan in force.
fn planned(desk: &Desk, draft: Option<&Draft>, hand: Option<&Hand>) -> Vec<Planned> {
    let booked = desk.floor.now.booked();
    let force: BTreeMap<(&UnitId, u32), &Booking> =
        booked.map(|own| ((&own.unit, own.step), own)).collect();
    let keys: BTreeSet<StepKey> =
        hand.map_or(BTreeSet::new(), |hand| hand.keys().into_iter().collect());
    let own = |booking: &Booking, lifted| {
        let before = force.get(&(&booking.unit, booking.step));
        let same = |before: &&&Booking| {
            before.rig == booking.rig && before.times == booking.times && before.run == booking.run
        };
        Planned {
            booking: booking.clone(),
            changed: !before.is_some_and(|own| same(&own)),
            lifted,
        }
    };
    let stays = |booking: &&Booking| !keys.contains(&(booking.unit.clone(), booking.step));
    let mut all: Vec<Planned> = match draft {
        Some(draft) => draft
            .bookings()
            .filter(stays)
            .map(|b| own(b, false))
            .collect(),
        None => force
            .values()
            .copied()
            .filter(stays)
            .map(|b| own(b, false))
            .collect(),
    };
    if let Some(hand) = hand {
        all.extend(hand.bookings().iter().map(|booking| own(booking, true)));
    }
    all
}

/// Bookings in force that are elsewhere now, or nowhere, and have not started.
fn was(desk: &Desk, planned: &[Planned]) -> Vec<Booking> {
    let unchanged: BTreeSet<(&UnitId, u32)> = planned
        .iter()
        .filter(|own| !own.changed)
        .map(|own| (&own.booking.unit, own.booking.step))
        .collect();
    let floor = &desk.floor.now;
    floor
        .booked()
        .filter(|own| !unchanged.contains(&(&own.unit, own.step)) && !floor.has_begun(own))
        .cloned()
        .collect()
}

fn clashes(problem: &Problem, visits: Vec<crate::problem::Visit>) -> Vec<Clash> {
    let plan = Plan {
        visits,
        left: Vec::new(),
    };
    let about_a_visit = |clash: &Clash| clash.unit.is_some() && clash.step.is_some();
    check(problem, &plan)
        .into_iter()
        .filter(about_a_visit)
        .collect()
}

/// Units and steps, from 1, that break a rule.
fn broken(problem: &Problem, clashes: &[Clash]) -> BTreeSet<(String, u32)> {
    let step = |clash: &Clash| {
        let unit = &problem.units.get(clash.unit?.ix())?.id;
        Some((unit.to_string(), u32::try_from(clash.step? + 1).ok()?))
    };
    clashes.iter().filter_map(step).collect()
}
