//! What the screens show, worked out once for each change of the ledger or of the minute.

use super::desk::{Desk, Planning};
use super::evidence::{LegEvidence, legs_again};
use super::line_samples::{LineSamples, line_samples};
use super::offers::{Offer, offers};
use super::rig_work::{RigWork, rig_work};
use super::walk::{state_word, task_word};
use crate::checker::{Clash, check};
use crate::domain::steps::step_of;
use crate::domain::{Minute, Minutes, RigId, Span, UnitId, Verdict};
use crate::floor::{Due, RigState, UnitRecord, UnitState};
use crate::problem::{Plan, Problem, UnitIx};
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
    /// The same by rig: what goes on, what comes off, and what stays with it.
    pub work: Vec<RigWork>,
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
    /// The method of the step that it is on or goes to next; empty where there is none.
    pub method: String,
    /// Reasons of its failures and holds, and of its withdrawal.
    pub reasons: String,
    /// How many steps it walks.
    pub steps: usize,
    /// Where it is, or where it goes next.
    pub rig: String,
    /// When it goes on: its next load, or when its exposure ends.
    pub next: Option<Minute>,
}

impl UnitLine {
    /// True where each word of the lower-case text is in serial, request, product, build, rig, method, state
    /// or a reason.
    pub fn matches(&self, find: &str) -> bool {
        holds_all(
            find,
            &[
                self.unit.as_str(),
                &self.request,
                &self.product,
                &self.rig,
                &self.method,
                state_word(self.state),
                &self.reasons,
            ],
        )
    }
}

/// True where each word of the lower-case `find` is in one of the texts.
fn holds_all(find: &str, texts: &[&str]) -> bool {
    let in_any = |word: &str| texts.iter().any(|text| text.to_lowercase().contains(word));
    find.split_whitespace().all(in_any)
}

impl View {
    /// The line of a unit.
    pub fn unit(&self, unit: &UnitId) -> Option<&UnitLine> {
        self.units.iter().find(|line| line.unit == *unit)
    }

    /// True where each word of the lower-case text is in the task, its rig, or the unit's own words.
    pub fn matches_due(&self, due: &Due, find: &str) -> bool {
        let line = || self.unit(&due.unit);
        let alone = |word: &str| {
            holds_all(word, &[task_word(due.task), due.rig.as_str()])
                || line().is_some_and(|line| line.matches(word))
        };
        find.split_whitespace().all(alone)
    }

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
        let due = desk
            .floor
            .due(&desk.lab, &desk.walks, now, now + Minutes::hours(8));
        Self {
            rigs: desk
                .lab
                .rigs
                .iter()
                .map(|rig| rig_row(desk, &rig.id, now, &broken))
                .collect(),
            units: units(desk, now),
            work: rig_work(desk, &due),
            due,
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
    let (problem, plan) = plan_ahead(planning);
    let all = check(&problem, &plan);
    let about_a_visit = |clash: &Clash| clash.unit.is_some() && clash.step.is_some();
    all.into_iter().filter(about_a_visit).collect()
}

/// What is left of the published plan, with what has happened; `None` where none is in force.
pub(super) fn plan_in_force(desk: &Desk) -> Option<(Problem, Plan)> {
    desk.floor.now.published.as_ref()?;
    Some(plan_ahead(&desk.planning()))
}

/// The same, of plain data.
fn plan_ahead(planning: &Planning) -> (Problem, Plan) {
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
    let left = Vec::new();
    (problem, Plan { visits, left })
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
            let at = running.map_or(done + 1, |(step, _)| step);
            let method = step_of(desk.walks.steps(request), at);
            lines.push(UnitLine {
                unit: unit.clone(),
                request: request.id.to_string(),
                product: format!("{} {}", request.product, request.build),
                state: desk.floor.unit_state(&desk.lab, &desk.walks, unit, now),
                step: running.map_or(done, |(step, _)| step),
                method: method.map_or(String::new(), |own| own.method.to_string()),
                reasons: record.map_or(String::new(), reasons),
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

/// Every reason that was given about a unit.
fn reasons(record: &UnitRecord) -> String {
    let verdicts = record
        .verdicts
        .values()
        .filter_map(|own| match &own.verdict {
            Verdict::Fail { reason } | Verdict::Hold { reason } => Some(reason.as_str()),
            Verdict::Pass => None,
        });
    let withdrawn = record
        .withdrawn
        .iter()
        .map(|(_, _, reason)| reason.as_str());
    verdicts.chain(withdrawn).collect::<Vec<_>>().join(" ")
}
