//! Lab, facts and an instant become a problem.

use super::calendar::{OnTime, People};
use super::exposure::exposure;
use super::facts::{FactsOf, foresee};
use super::{
    CondIx, Condition, Crew, CrewIx, EligibleIx, FixtureIx, Pin, Problem, Request, RequestIx, Rig,
    RigIx, Step, Unit,
};
use crate::domain::lab::{self, Amount, Lab, Loading, Outage};
use crate::domain::steps::{WalkStep, walk};
use crate::domain::{Facts, MethodId, Minute, Minutes, RigId, SequenceId, Span};
use std::collections::{BTreeMap, HashMap};

/// Compiles the lab with what has happened, to be planned from `now`.
pub fn compile(lab: &Lab, facts: &Facts, now: Minute) -> Problem {
    let end = now + lab.horizon;
    let crews = crews(
        lab,
        Span::new(now - Minutes::DAY * 60, end + Minutes::DAY * 3),
    );
    let site = crews
        .iter()
        .flat_map(|crew| crew.on.spans().iter().copied())
        .collect();
    let mut problem = Problem {
        lab: lab.name.clone(),
        zone: lab.zone.clone(),
        now,
        end,
        frozen_before: now + lab.freeze,
        site: OnTime::new(site),
        crews,
        rigs: lab
            .rigs
            .iter()
            .map(|own| rig(lab, &facts.outages, own))
            .collect(),
        conditions: Vec::new(),
        eligible: Vec::new(),
        requests: Vec::new(),
        units: Vec::new(),
        fixtures: 0,
    };
    let mut interner = Interner::new(lab);
    let pins = pins_of(lab);
    let facts = FactsOf::new(lab, facts);
    for own in &lab.requests {
        add_request(&mut problem, &mut interner, own, &pins, &facts);
    }
    problem.fixtures = interner.fixtures.len();
    foresee(&mut problem, &facts);
    problem
}

fn crews(lab: &Lab, span: Span) -> Vec<Crew> {
    let crew = |crew: &lab::Crew| {
        let people = People::new(&shifts(lab, crew, span));
        Crew {
            id: crew.id.clone(),
            on: people.on(),
            people,
        }
    };
    lab.crews.iter().map(crew).collect()
}

/// Every shift of the crew that begins on a local date of the span, two days more at its start for
/// nights.
fn shifts(lab: &Lab, crew: &lab::Crew, span: Span) -> Vec<(Span, u32)> {
    use chrono::{Datelike, Days};
    let first = lab.zone.local(span.start).date() - Days::new(2);
    let last = lab.zone.local(span.end).date() + Days::new(1);
    let mut shifts = Vec::new();
    for date in first.iter_days().take_while(|date| *date <= last) {
        if lab.closed.contains(&date) {
            continue;
        }
        for shift in crew
            .shifts
            .iter()
            .filter(|shift| shift.days.contains(&date.weekday()))
        {
            let over_night = shift.to <= shift.from;
            let until = if over_night {
                date + Days::new(1)
            } else {
                date
            };
            let span = Span::new(
                lab.zone.edge(date, shift.from),
                lab.zone.edge(until, shift.to),
            );
            shifts.push((span, shift.people));
        }
    }
    shifts
}

fn rig(lab: &Lab, more: &[Outage], own: &lab::Rig) -> Rig {
    let all = lab
        .outages
        .iter()
        .chain(more)
        .filter(|outage| outage.rig == own.id);
    let mut outages: Vec<(Span, String)> = all
        .map(|outage| (outage.span, outage.reason.clone()))
        .collect();
    outages.sort();
    let calibrated_until = own
        .calibration_due
        .map_or(Minute::LAST, |date| lab.zone.end_of_day(date));
    let taken = OnTime::new(outages.iter().map(|(span, _)| *span).collect());
    let mut usable = Vec::new();
    let mut from = Minute::FIRST;
    for span in taken.spans() {
        usable.push(Span::new(from, span.start.min(calibrated_until)));
        from = span.end;
    }
    usable.push(Span::new(from, calibrated_until));
    usable.retain(|span| !span.is_empty());
    Rig {
        id: own.id.clone(),
        positions: own.positions,
        loading: own.loading,
        load: own.load,
        unload: own.unload,
        changeover: own.changeover,
        usable,
        outages,
        calibrated_until,
    }
}

type UnitPins = HashMap<crate::domain::UnitId, Vec<Pin>>;

fn pins_of(lab: &Lab) -> UnitPins {
    let rigs: HashMap<&RigId, RigIx> = lab
        .rigs
        .iter()
        .enumerate()
        .map(|(ix, rig)| (&rig.id, RigIx::from(ix)))
        .collect();
    let mut pins = UnitPins::new();
    for pin in &lab.pins {
        let step = pin.step as usize - 1;
        let own = Pin {
            step,
            rig: rigs[&pin.rig],
            load: pin.start,
        };
        let list = pins.entry(pin.unit.clone()).or_default();
        let at = list.partition_point(|other| other.step < step);
        list.insert(at, own);
    }
    pins
}

fn add_request(
    problem: &mut Problem,
    interner: &mut Interner<'_>,
    own: &lab::Request,
    pins: &UnitPins,
    facts: &FactsOf<'_>,
) {
    let (steps, impossible) = interner.steps(problem, own);
    let first = u32::try_from(problem.units.len()).expect("fewer than four billion units");
    let request = RequestIx::from(problem.requests.len());
    for id in &own.units {
        let started = facts.contiguous(id, steps.len());
        let wanted = match facts.stop(id) {
            Some(stop) => (stop.after_step as usize).min(steps.len()).max(started),
            None => steps.len(),
        };
        let pins = pins.get(id).map_or_else(Vec::new, |pins| {
            pins.iter()
                .filter(|pin| pin.step >= started && pin.step < wanted)
                .copied()
                .collect()
        });
        let (facts, published) = (Vec::new(), Vec::new());
        problem.units.push(Unit {
            id: id.clone(),
            request,
            wanted,
            facts,
            pins,
            published,
        });
    }
    let last = u32::try_from(problem.units.len()).expect("fewer than four billion units");
    problem.requests.push(Request {
        id: own.id.clone(),
        ready: own.ready,
        due: own.due,
        priority: i64::from(own.priority),
        keep_together: own.keep_together,
        steps,
        units: first..last,
        impossible,
    });
}

/// What makes two conditions the same: method, severity (by the bits of its values) and length.
type ConditionKey = (MethodId, Vec<(String, u64)>, Amount);

/// Gives equal things one index, so that steps of thousands of units share what they have in common.
struct Interner<'l> {
    lab: &'l Lab,
    walks: BTreeMap<SequenceId, Vec<(WalkStep, CondIx)>>,
    conditions: HashMap<ConditionKey, CondIx>,
    fixtures: HashMap<(String, MethodId), FixtureIx>,
    /// By condition and the number of units that must share a run (0: any).
    eligible: HashMap<(CondIx, u32), (EligibleIx, Option<String>)>,
}

impl<'l> Interner<'l> {
    fn new(lab: &'l Lab) -> Self {
        Self {
            lab,
            walks: BTreeMap::new(),
            conditions: HashMap::new(),
            fixtures: HashMap::new(),
            eligible: HashMap::new(),
        }
    }

    /// The expanded steps of a request, and the first of them that no rig can do, with the reason.
    fn steps(
        &mut self,
        problem: &mut Problem,
        request: &lab::Request,
    ) -> (Vec<Step>, Option<(usize, String)>) {
        let walked = self.walk(problem, &request.sequence);
        let together = if request.keep_together {
            request.units.len()
        } else {
            0
        };
        let together = u32::try_from(together).unwrap_or(u32::MAX);
        let mut impossible = None;
        let mut steps = Vec::with_capacity(walked.len());
        for (ix, (walk, condition)) in walked.iter().enumerate() {
            let (eligible, why_not) = self.eligible(problem, walk, *condition, together);
            if let (None, Some(reason)) = (&impossible, why_not) {
                impossible = Some((ix, reason));
            }
            steps.push(Step {
                condition: *condition,
                fixture: self.fixture(&request.product, &walk.method),
                eligible,
                rest_min: walk.rest.min,
                rest_max: walk.rest.max.unwrap_or(Minutes::FOREVER),
            });
        }
        (steps, impossible)
    }

    fn walk(&mut self, problem: &mut Problem, id: &SequenceId) -> Vec<(WalkStep, CondIx)> {
        if let Some(known) = self.walks.get(id) {
            return known.clone();
        }
        let sequences = &self.lab.sequences;
        let sequence = sequences
            .iter()
            .find(|sequence| sequence.id == *id)
            .expect("a checked lab has the sequence of each request");
        let walked: Vec<(WalkStep, CondIx)> = walk(self.lab, sequence)
            .into_iter()
            .map(|step| {
                let condition = self.condition(problem, &step);
                (step, condition)
            })
            .collect();
        self.walks.insert(id.clone(), walked.clone());
        walked
    }

    fn condition(&mut self, problem: &mut Problem, step: &WalkStep) -> CondIx {
        let severity = step
            .severity
            .iter()
            .map(|(name, value)| (name.clone(), value.to_bits()));
        let key = (step.method.clone(), severity.collect(), step.amount);
        *self.conditions.entry(key).or_insert_with(|| {
            let ix = CondIx::from(problem.conditions.len());
            problem.conditions.push(condition(self.lab, step));
            ix
        })
    }

    fn fixture(&mut self, product: &str, method: &MethodId) -> FixtureIx {
        let next = FixtureIx::from(self.fixtures.len());
        *self
            .fixtures
            .entry((product.to_owned(), method.clone()))
            .or_insert(next)
    }

    /// The list of rigs for a step; the reason in words where it is empty.
    fn eligible(
        &mut self,
        problem: &mut Problem,
        step: &WalkStep,
        condition: CondIx,
        together: u32,
    ) -> (EligibleIx, Option<String>) {
        let lab = self.lab;
        let entry = self
            .eligible
            .entry((condition, together))
            .or_insert_with(|| {
                let (rigs, why_not) = eligible_rigs(lab, step, together);
                let ix = EligibleIx::from(problem.eligible.len());
                let why_not = rigs.is_empty().then_some(why_not);
                problem.eligible.push(rigs);
                (ix, why_not)
            });
        entry.clone()
    }
}

fn condition(lab: &Lab, step: &WalkStep) -> Condition {
    let method = &lab.methods[&step.method];
    let crew = method.crew.as_ref().map_or(0, |id| {
        lab.crews
            .iter()
            .position(|crew| crew.id == *id)
            .expect("a checked lab has the crew")
    });
    let mut label = step.method.to_string();
    for (name, value) in &step.severity {
        label.push_str(&format!(", {name} {value}"));
    }
    label.push_str(", ");
    label.push_str(&match step.amount {
        Amount::Cycles(cycles) => format!("{cycles} cycles"),
        Amount::Hold(hold) => hold.to_string(),
        Amount::Repeat(1) => "one pass".to_owned(),
        Amount::Repeat(repeat) => format!("{repeat} passes"),
    });
    Condition {
        method: step.method.clone(),
        label,
        watch: method.watch,
        pausable: method.pausable,
        max_wait: method.max_wait.unwrap_or(Minutes::FOREVER),
        crew: CrewIx::from(crew),
        verdict: method.verdict,
    }
}

/// Rigs that can do the step, and why the others cannot. `together` units must share a chamber run.
fn eligible_rigs(lab: &Lab, step: &WalkStep, together: u32) -> (Vec<(RigIx, Minutes)>, String) {
    let method = &lab.methods[&step.method];
    let mut rigs = Vec::new();
    let mut reasons = Vec::new();
    for (ix, rig) in lab.rigs.iter().enumerate() {
        if !rig.does.contains(&method.does) {
            continue;
        }
        match exposure(lab.ambient_c, rig, method, step) {
            Ok(_) if rig.loading == Loading::Together && rig.positions < together => {
                reasons.push(format!(
                    "{} has {} positions for {together} units that stay together",
                    rig.id, rig.positions
                ));
            }
            Ok(minutes) => rigs.push((RigIx::from(ix), minutes)),
            Err(reason) => reasons.push(reason),
        }
    }
    let why_not = if reasons.is_empty() {
        format!("no rig does {}", method.does)
    } else {
        reasons.join("; ")
    };
    (rigs, why_not)
}
