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
use super::rig_work::{RigWork, rig_work};
use super::walk::{state_word, task_word};
use crate::checker::Clash;
use crate::domain::steps::step_of;
use crate::domain::{Minute, Minutes, RequestId, UnitId, Verdict};
use crate::floor::{Due, UnitRecord, UnitState};
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
    /// The same by rig: what goes on, what comes off, and what stays with it.
    pub work: Vec<RigWork>,
    /// Requests that the published plan finishes late.
    pub late: usize,
    /// Requests that no plan in force knows: new overnight.
    pub unplanned: usize,
    /// Requests that the plan in force leaves out.
    pub left: usize,
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
    /// The method of the step that it is on or goes to next; empty where there is none.
    pub method: String,
    /// Reasons of its failures and holds and of its withdrawal, and the notes about it.
    pub said: String,
    /// How many steps it walks.
    pub steps: usize,
    /// Where it is, or where it goes next.
    pub rig: String,
    /// When it goes on: its next load, or when its exposure ends.
    pub next: Option<Minute>,
    /// Every rig that it is booked on.
    pub booked: String,
}

impl UnitLine {
    /// True where each word of the lower-case text is in serial, request, product, build, rig, a rig that it is
    /// booked on, method, state, a reason or a note.
    pub fn matches(&self, find: &str) -> bool {
        holds_all(
            find,
            &[
                self.unit.as_str(),
                &self.request,
                &self.product,
                &self.rig,
                &self.booked,
                &self.method,
                state_word(self.state),
                &self.said,
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
            left: published.map_or(&[][..], |plan| &plan.unplannable[..]),
            offers: &offers,
        });
        let due = desk
            .floor
            .due(&desk.lab, &desk.walks, now, now + Minutes::hours(8));
        Self {
            rigs: timeline.rigs,
            crews: timeline.crews,
            clashes: timeline.clashes,
            units: units(desk, now),
            work: rig_work(desk, &due),
            due,
            late: published.map_or(0, |plan| {
                plan.finishes
                    .iter()
                    .filter(|own| own.late > Minutes::ZERO)
                    .count()
            }),
            unplanned: unplanned.len(),
            left: published.map_or(0, |plan| plan.unplannable.len()),
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
            let state = desk.floor.unit_state(&desk.lab, &desk.walks, unit, now);
            let is_over = matches!(
                state,
                UnitState::Passed | UnitState::Failed | UnitState::Out
            );
            // Whose walk is over keeps its bookings until it is planned anew, and goes nowhere.
            let last = if is_over { 0 } else { steps };
            let last = u32::try_from(last).unwrap_or(u32::MAX);
            let booked = (done + 1..=last).filter_map(|step| desk.floor.booking(unit, step));
            let booked: Vec<&str> = booked.map(|own| own.rig.as_str()).collect();
            let ahead = desk.floor.booking(unit, done + 1).filter(|_| !is_over);
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
                state,
                step: running.map_or(done, |(step, _)| step),
                method: method.map_or(String::new(), |own| own.method.to_string()),
                said: record.map_or(String::new(), said),
                steps,
                rig: rig
                    .or(ahead.map(|own| format!("> {}", own.rig)))
                    .unwrap_or_default(),
                next,
                booked: booked.join(" "),
            });
        }
    }
    lines
}

/// Every reason that was given about a unit, and every note.
fn said(record: &UnitRecord) -> String {
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
    let notes = record.notes.iter().map(String::as_str);
    let all = verdicts.chain(withdrawn).chain(notes);
    all.collect::<Vec<_>>().join(" ")
}
