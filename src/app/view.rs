//! What the screens show, worked out once for each change of the ledger or of the minute.

use super::desk::Desk;
use super::evidence::{LegEvidence, legs};
use super::line_samples::{LineSamples, line_samples};
use super::morning::{Item, Sources, sheet};
use super::offers::{Offer, offers};
use super::plan::crews::CrewRow;
use super::plan::draft::Draft;
use super::plan::hand::{Hand, plan_visits};
pub use super::plan::rows::{PlanEntry, RigRow};
use super::plan::timeline::Timeline;
use super::walk::state_word;
use crate::checker::Clash;
use crate::domain::{Minute, Minutes, RequestId, UnitId};
use crate::floor::{Due, UnitState};
use crate::problem::{Plan, Problem};
use std::collections::BTreeSet;

/// Everything the screens show of a lab at a moment.
#[derive(Clone, Debug)]
pub struct View {
    /// Rigs in the order of the lab.
    pub rigs: Vec<RigRow>,
    /// Crews in the order of the lab.
    pub crews: Vec<CrewRow>,
    /// Rules that the plan on the screen breaks from now on.
    pub clashes: Vec<Clash>,
    /// What is to be acted on this morning.
    pub morning: Vec<Item>,
    /// Units in the order of the lab.
    pub units: Vec<UnitLine>,
    /// What is due within a shift.
    pub due: Vec<Due>,
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
        Self::with(desk, now, None, None)
    }

    /// Of a desk at a moment, with what is changed or in hand on the Plan screen.
    pub fn with(desk: &Desk, now: Minute, draft: Option<&Draft>, hand: Option<&Hand>) -> Self {
        let timeline = Timeline::of(desk, now, draft, hand);
        let legs = legs(desk);
        let lines = line_samples(&legs);
        let offers = offers(desk, &legs, &lines);
        let published = desk.floor.now.published.as_ref();
        let planned: BTreeSet<&str> = published
            .iter()
            .flat_map(|plan| {
                let planned = plan.finishes.iter().map(|own| own.request.as_str());
                planned.chain(plan.unplannable.iter().map(|own| own.request.as_str()))
            })
            .collect();
        let requests = desk.lab.requests.iter().map(|own| &own.id);
        let unplanned: Vec<&RequestId> = requests
            .filter(|id| !planned.contains(id.as_str()))
            .collect();
        let morning = sheet(&Sources {
            lab: &desk.lab,
            walks: &desk.walks,
            floor: &desk.floor,
            now,
            crews: &timeline.crews,
            clashes: timeline.clashes.len(),
            unplanned: &unplanned,
            offers: &offers,
        });
        Self {
            rigs: timeline.rigs,
            crews: timeline.crews,
            clashes: timeline.clashes,
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
            unplanned: unplanned.len(),
            morning,
            offers,
            legs,
            lines,
        }
    }
}

/// What is left of the published plan, with what has happened; `None` where none is in force.
pub(super) fn plan_in_force(desk: &Desk) -> Option<(Problem, Plan)> {
    let published = desk.floor.now.published.as_ref()?;
    let problem = desk.planning().problem();
    let visits = plan_visits(&problem, &published.bookings);
    let left = Vec::new();
    Some((problem, Plan { visits, left }))
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
