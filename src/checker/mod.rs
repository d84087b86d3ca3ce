//! The judge: does a plan keep the rules?
//!
//! Written the slow and obvious way, one file a rule, from the compiled problem alone. It shares
//! nothing with the planner, gathers all clashes instead of stopping at the first, and words them
//! for a coordinator.
//!
//! What has happened is not on trial: a visit that has started is exempt from every rule about itself,
//! but it takes its place, its people and its run from the others.

mod alone;
mod complete;
mod figures;
mod r01_order;
mod r02_ready;
mod r03_eligible;
mod r04_capacity;
mod r05_outage;
mod r06_people;
mod r07_watch;
mod r08_wait;
mod r09_together;
mod r10_fixed;
mod r11_horizon;
mod together;

pub use figures::check_figures;

use crate::domain::{Minute, Span};
use crate::problem::{Plan, Problem, RigIx, UnitIx, Visit};
use std::collections::HashMap;

/// The rule that a clash breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// R1: a unit's steps run in order, with rests as prescribed.
    Order,
    /// R2: nothing before ready, nor before now.
    Ready,
    /// R3: an eligible rig, an exposure as long as computed.
    Eligible,
    /// R4: positions, runs, held conditions and changeovers.
    Capacity,
    /// R5: no outage, no lapsed calibration.
    Outage,
    /// R6: enough people.
    People,
    /// R7: watched as the method asks.
    Watch,
    /// R8: no longer in the rig than allowed.
    Wait,
    /// R9: units that belong together are together.
    Together,
    /// R10: pins, facts and frozen bookings stay.
    Fixed,
    /// R11: all within the horizon.
    Horizon,
    /// Everybody who can be planned is planned, and nobody else.
    Complete,
    /// The figures of a plan file are those of its visits.
    Figures,
}

impl Rule {
    /// Every rule, in order.
    pub const ALL: [Self; 13] = [
        Self::Order,
        Self::Ready,
        Self::Eligible,
        Self::Capacity,
        Self::Outage,
        Self::People,
        Self::Watch,
        Self::Wait,
        Self::Together,
        Self::Fixed,
        Self::Horizon,
        Self::Complete,
        Self::Figures,
    ];

    /// Its short name: `R1` to `R11`, `all` for completeness, `sum` for figures.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Order => "R1",
            Self::Ready => "R2",
            Self::Eligible => "R3",
            Self::Capacity => "R4",
            Self::Outage => "R5",
            Self::People => "R6",
            Self::Watch => "R7",
            Self::Wait => "R8",
            Self::Together => "R9",
            Self::Fixed => "R10",
            Self::Horizon => "R11",
            Self::Complete => "all",
            Self::Figures => "sum",
        }
    }
}

/// A broken rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The rule.
    pub rule: Rule,
    /// The unit, where the clash is about one.
    pub unit: Option<UnitIx>,
    /// The step of that unit, from 0.
    pub step: Option<usize>,
    /// The rig, where the clash is about one.
    pub rig: Option<RigIx>,
    /// When.
    pub span: Option<Span>,
    /// What is wrong, in words a coordinator understands.
    pub text: String,
}

impl Clash {
    /// The number of the rule, where it has one, and what is wrong.
    pub fn words(&self) -> String {
        match self.rule {
            Rule::Complete | Rule::Figures => self.text.clone(),
            rule => format!("{} {}", rule.name(), self.text),
        }
    }
}

/// Every clash of the plan, ordered by rule, then time.
pub fn check(problem: &Problem, plan: &Plan) -> Vec<Clash> {
    let mut court = Court::new(problem, plan);
    r01_order::check(&mut court);
    r02_ready::check(&mut court);
    r03_eligible::check(&mut court);
    r04_capacity::check(&mut court);
    r05_outage::check(&mut court);
    r06_people::check(&mut court);
    r07_watch::check(&mut court);
    r08_wait::check(&mut court);
    r09_together::check(&mut court);
    r10_fixed::check(&mut court);
    r11_horizon::check(&mut court);
    complete::check(&mut court);
    let mut clashes = court.clashes;
    clashes.sort_by_key(|clash| (clash.rule, clash.span.map(|span| span.start), clash.unit));
    clashes
}

/// The plan on trial, with its visits by unit and step.
struct Court<'a> {
    problem: &'a Problem,
    plan: &'a Plan,
    /// The first visit of each unit and step.
    by_step: HashMap<(UnitIx, usize), &'a Visit>,
    clashes: Vec<Clash>,
}

impl<'a> Court<'a> {
    fn new(problem: &'a Problem, plan: &'a Plan) -> Self {
        let mut by_step = HashMap::with_capacity(plan.visits.len());
        for visit in &plan.visits {
            by_step.entry((visit.unit, visit.step)).or_insert(visit);
        }
        Self {
            problem,
            plan,
            by_step,
            clashes: Vec::new(),
        }
    }

    /// Visits that are planned, not those that have started.
    fn planned(&self) -> Vec<&'a Visit> {
        self.plan
            .visits
            .iter()
            .filter(|visit| !self.is_fact(visit))
            .collect()
    }

    /// True where the visit has started.
    fn is_fact(&self, visit: &Visit) -> bool {
        visit.step < self.problem.units[visit.unit.ix()].facts.len()
    }

    /// Notes that a visit breaks a rule.
    fn against(&mut self, rule: Rule, visit: &Visit, why: &str) {
        let text = format!("{} {why}", self.name(visit));
        self.clashes.push(Clash {
            rule,
            unit: Some(visit.unit),
            step: Some(visit.step),
            rig: Some(visit.rig),
            span: Some(visit.times.stay()),
            text,
        });
    }

    /// `R-101/3 step 4 (dry-heat on dh-1)`.
    fn name(&self, visit: &Visit) -> String {
        let unit = &self.problem.units[visit.unit.ix()].id;
        let method = &self
            .problem
            .condition(self.problem.step(visit.unit, visit.step))
            .method;
        format!(
            "{unit} step {} ({method} on {})",
            visit.step + 1,
            self.rig(visit.rig)
        )
    }

    fn rig(&self, rig: RigIx) -> &str {
        self.problem.rigs[rig.ix()].id.as_str()
    }

    /// The lab's wall-clock time: `Tue 2027-03-02 10:00`.
    fn when(&self, at: Minute) -> String {
        self.problem
            .zone
            .local(at)
            .format("%a %Y-%m-%d %H:%M")
            .to_string()
    }
}
