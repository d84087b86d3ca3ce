//! What the screens show, worked out once for each change of the ledger or of the minute.

use super::desk::{Desk, Planning};
use super::evidence::{LegEvidence, legs_again};
use super::line_samples::{LineSamples, line_samples};
use super::offers::{Offer, offers};
use super::walk::state_word;
use crate::checker::{Clash, check};
use crate::domain::{Minute, Minutes, RigId, Span, UnitId};
use crate::floor::{Due, RigState, UnitState};
use crate::problem::{Plan, UnitIx};
use std::collections::BTreeSet;

/// Everything the screens show of a lab at a moment.
#[derive(Clone, Debug)]
pub struct View {
    /// Rigs in the order of the lab.
    pub rigs: Vec<RigRow>,
    /// Units in the order of the lab.
    pub units: Vec<UnitLine>,
    /// What is due within a shift.
    pub due: Vec<Due>,
    /// Broken rules of the published plan from now on.
    pub clashes: Vec<Clash>,
    /// Requests that the published plan finishes late.
    pub late: usize,
    /// Requests that no plan in force knows: new overnight.
    pub unplanned: usize,
    /// What each request's verdicts show.
    pub legs: Vec<LegEvidence>,
    /// Lines with more than one sample.
    pub lines: Vec<LineSamples>,
    /// What the evidence offers the plan.
    pub offers: Vec<Offer>,
}

/// A rig with what is on it.
#[derive(Clone, Debug)]
pub struct RigRow {
    /// The rig.
    pub rig: RigId,
    /// How it stands.
    pub state: RigState,
    /// Visits, those that happened and those booked, by load.
    pub entries: Vec<PlanEntry>,
}

/// A visit on the Plan screen.
#[derive(Clone, Debug)]
pub struct PlanEntry {
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// From load to out.
    pub span: Span,
    /// How the unit stands in it: running, booked, passed (over) or late.
    pub state: UnitState,
    /// Why it is not earlier.
    pub because: String,
    /// It breaks a rule.
    pub clash: bool,
}

/// A line of the Units screen.
#[derive(Clone, Debug)]
pub struct UnitLine {
    /// The unit.
    pub unit: UnitId,
    /// Its request.
    pub request: String,
    /// Product and build.
    pub product: String,
    /// How it stands.
    pub state: UnitState,
    /// The step that it is on, or the last that is over.
    pub step: u32,
    /// How many steps it walks.
    pub steps: usize,
    /// Where it is, or where it goes next.
    pub rig: String,
    /// When it goes on: its next load, or when its exposure ends.
    pub next: Option<Minute>,
}

impl UnitLine {
    /// True where the lower-case text is in any of its words.
    pub fn matches(&self, find: &str) -> bool {
        let words = [
            self.unit.as_str(),
            &self.request,
            &self.product,
            &self.rig,
            state_word(self.state),
        ];
        find.is_empty() || words.iter().any(|word| word.to_lowercase().contains(find))
    }
}

impl View {
    /// Of a desk at a moment.
    pub fn of(desk: &Desk, now: Minute) -> Self {
        Self::with(desk, now, clashes_of(desk), &[])
    }

    /// Of a desk at a moment, with clashes that were found before; of the evidence that is known already
    /// what still holds is not worked out again.
    pub(super) fn with(
        desk: &Desk,
        now: Minute,
        clashes: Vec<Clash>,
        known: &[LegEvidence],
    ) -> Self {
        let legs = legs_again(desk, known);
        let lines = line_samples(&legs);
        let broken: BTreeSet<(String, u32)> = clashes_by_step(desk, &clashes);
        let published = desk.floor.now.published.as_ref();
        let planned: BTreeSet<&str> = published
            .iter()
            .flat_map(|plan| {
                let planned = plan.finishes.iter().map(|own| own.request.as_str());
                planned.chain(plan.unplannable.iter().map(|own| own.request.as_str()))
            })
            .collect();
        let unplanned = desk
            .lab
            .requests
            .iter()
            .filter(|own| !planned.contains(own.id.as_str()));
        Self {
            rigs: desk
                .lab
                .rigs
                .iter()
                .map(|rig| rig_row(desk, &rig.id, now, &broken))
                .collect(),
            units: units(desk, now),
            due: desk
                .floor
                .due(&desk.lab, &desk.walks, now, now + Minutes::hours(8)),
            late: published.map_or(0, |plan| {
                plan.finishes
                    .iter()
                    .filter(|own| own.late > Minutes::ZERO)
                    .count()
            }),
            unplanned: unplanned.count(),
            clashes,
            offers: offers(desk, &legs, &lines),
            legs,
            lines,
        }
    }
}

/// Rules that what is left of the published plan breaks, as things stand now. Units that the plan does not
/// know yet are no clash: they are to be planned.
pub(super) fn clashes_of(desk: &Desk) -> Vec<Clash> {
    let published = desk.floor.now.published.as_ref();
    published.map_or_else(Vec::new, |_| clashes(&desk.planning()))
}

/// The same, of plain data.
pub(super) fn clashes(planning: &Planning) -> Vec<Clash> {
    let problem = planning.problem();
    let started: BTreeSet<(UnitIx, usize)> = problem
        .units
        .iter()
        .enumerate()
        .flat_map(|(ix, unit)| {
            unit.facts
                .iter()
                .map(move |fact| (UnitIx::from(ix), fact.visit.step))
        })
        .collect();
    let (ahead, _) = problem.resolve(&planning.facts().published);
    let mut visits: Vec<_> = problem
        .units
        .iter()
        .flat_map(|unit| unit.facts.iter().map(|fact| fact.visit))
        .collect();
    visits.extend(
        ahead
            .into_iter()
            .filter(|visit| !started.contains(&(visit.unit, visit.step))),
    );
    let all = check(
        &problem,
        &Plan {
            visits,
            left: Vec::new(),
        },
    );
    let about_a_visit = |clash: &Clash| clash.unit.is_some() && clash.step.is_some();
    all.into_iter().filter(about_a_visit).collect()
}

fn clashes_by_step(desk: &Desk, clashes: &[Clash]) -> BTreeSet<(String, u32)> {
    let units: Vec<&UnitId> = desk
        .lab
        .requests
        .iter()
        .flat_map(|own| &own.units)
        .collect();
    let step = |clash: &Clash| {
        let unit = units.get(clash.unit?.ix())?;
        Some((unit.to_string(), u32::try_from(clash.step? + 1).ok()?))
    };
    clashes.iter().filter_map(step).collect()
}

fn rig_row(desk: &Desk, rig: &RigId, now: Minute, broken: &BTreeSet<(String, u32)>) -> RigRow {
    let floor = &desk.floor;
    let mut entries = Vec::new();
    for (unit, record) in &floor.now.units {
        for (step, visit) in record.visits.iter().filter(|(_, visit)| visit.rig == *rig) {
            let booked = floor.booking(unit, *step).filter(|own| own.rig == *rig);
            let foreseen = booked.map_or(now, |own| own.times.out).max(now);
            let state = match visit.out {
                Some(_) => UnitState::Passed,
                None => floor.unit_state(&desk.lab, &desk.walks, unit, now),
            };
            entries.push(PlanEntry {
                unit: unit.clone(),
                step: *step,
                span: Span::new(visit.loaded, visit.out.unwrap_or(foreseen)),
                state,
                because: "has started".to_owned(),
                clash: false,
            });
        }
    }
    for own in floor
        .now
        .published
        .iter()
        .flat_map(|plan| &plan.bookings)
        .filter(|own| own.rig == *rig)
    {
        let started = floor
            .now
            .units
            .get(&own.unit)
            .is_some_and(|r| r.visits.contains_key(&own.step));
        if !started {
            let late = own.times.load < now;
            entries.push(PlanEntry {
                unit: own.unit.clone(),
                step: own.step,
                span: own.times.stay(),
                state: if late {
                    UnitState::Late
                } else {
                    UnitState::Booked
                },
                because: own.because.clone(),
                clash: broken.contains(&(own.unit.to_string(), own.step)),
            });
        }
    }
    entries.sort_by_key(|entry| (entry.span.start, entry.unit.clone()));
    RigRow {
        rig: rig.clone(),
        state: floor.rig_state(&desk.lab, rig, now),
        entries,
    }
}

fn units(desk: &Desk, now: Minute) -> Vec<UnitLine> {
    let mut lines = Vec::new();
    for request in &desk.lab.requests {
        let steps = desk.walks.steps(request).len();
        for unit in &request.units {
            let record = desk.floor.now.units.get(unit);
            let running = record.and_then(|record| record.running());
            let done = record.map_or(0, super::super::floor::UnitRecord::steps_done);
            let ahead = desk.floor.booking(unit, done + 1);
            let next = match running {
                Some((step, visit)) => desk.floor.exposure_end(unit, step, visit),
                None => ahead.map(|own| own.times.load),
            };
            let rig = running.map(|(_, visit)| visit.rig.to_string());
            lines.push(UnitLine {
                unit: unit.clone(),
                request: request.id.to_string(),
                product: format!("{} {}", request.product, request.build),
                state: desk.floor.unit_state(&desk.lab, &desk.walks, unit, now),
                step: running.map_or(done, |(step, _)| step),
                steps,
                rig: rig
                    .or(ahead.map(|own| format!("> {}", own.rig)))
                    .unwrap_or_default(),
                next,
            });
        }
    }
    lines
}
