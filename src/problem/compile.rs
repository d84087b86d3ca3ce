//! Lab, facts and an instant become a problem.

use super::calendar::{OnTime, People};
use super::exposure::exposure;
use super::facts::{FactsOf, foresee};
use super::nearest::nearest;
use super::together::note_too_many;
use super::{
    CondIx, Condition, Crew, CrewIx, EligibleIx, FixtureIx, Pin, Problem, Request, RequestIx, Rig,
    RigIx, Step, Unit,
};
use crate::domain::lab::{self, Amount, Lab, Loading, Outage, Sequence, Share};
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
    note_too_many(&mut problem);
    problem
}

/// The crews of a lab, with their people over a span and at least a day around it.
pub fn crews(lab: &Lab, span: Span) -> Vec<Crew> {
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
            .filter(|shift| shift.days.contains(&date.weekday()) || shift.dates.contains(&date))
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

/// What makes two conditions the same: method, severity (by the bits of its values), length, and the
/// product or request where its units share with no others.
type ConditionKey = (MethodId, Vec<(String, u64)>, Amount, Option<String>);

/// A sequence, and the product or request where some of its steps share with no others.
type WalkKey = (SequenceId, Option<String>);

/// Gives equal things one index, so that steps of thousands of units share what they have in common.
struct Interner<'l> {
    lab: &'l Lab,
    /// Each sequence with the narrowest sharing among its steps.
    sequences: BTreeMap<&'l SequenceId, (&'l Sequence, Share)>,
    walks: BTreeMap<WalkKey, Vec<(WalkStep, CondIx)>>,
    conditions: HashMap<ConditionKey, CondIx>,
    fixtures: HashMap<(String, MethodId), FixtureIx>,
    /// By condition and the number of units that must share a run (0: any).
    eligible: HashMap<(CondIx, u32), (EligibleIx, Option<String>)>,
}

impl<'l> Interner<'l> {
    fn new(lab: &'l Lab) -> Self {
        let with_share = |own: &'l Sequence| (&own.id, (own, narrowest(lab, own)));
        Self {
            lab,
            sequences: lab.sequences.iter().map(with_share).collect(),
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
        let walked = self.walk(problem, request);
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

    fn walk(&mut self, problem: &mut Problem, request: &lab::Request) -> Vec<(WalkStep, CondIx)> {
        let (sequence, share) = self.sequences[&request.sequence];
        let key = (sequence.id.clone(), among(share, request));
        if let Some(known) = self.walks.get(&key) {
            return known.clone();
        }
        let walked: Vec<(WalkStep, CondIx)> = walk(self.lab, sequence)
            .into_iter()
            .map(|step| {
                let condition = self.condition(problem, &step, request);
                (step, condition)
            })
            .collect();
        self.walks.insert(key, walked.clone());
        walked
    }

    fn condition(
        &mut self,
        problem: &mut Problem,
        step: &WalkStep,
        request: &lab::Request,
    ) -> CondIx {
        let severity = step
            .severity
            .iter()
            .map(|(name, value)| (name.clone(), value.to_bits()));
        let among = among(self.lab.methods[&step.method].share, request);
        let key = (
            step.method.clone(),
            severity.collect(),
            step.amount,
            among.clone(),
        );
        *self.conditions.entry(key).or_insert_with(|| {
            let ix = CondIx::from(problem.conditions.len());
            problem
                .conditions
                .push(condition(self.lab, step, among.as_deref()));
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

/// The narrowest sharing among the steps of a sequence.
fn narrowest(lab: &Lab, sequence: &Sequence) -> Share {
    let methods = sequence.steps.iter().flat_map(|step| {
        let check = step.every.as_ref().map(|every| &every.check);
        check.into_iter().chain([&step.method])
    });
    let shares = methods.map(|id| lab.methods[id].share);
    shares.max().unwrap_or_default()
}

/// Among which units a run is shared: those of a product or request, in words; `None` is all.
fn among(share: Share, request: &lab::Request) -> Option<String> {
    match share {
        Share::Any => None,
        Share::Product => Some(format!("{} only", request.product)),
        Share::Request => Some(format!("request {} only", request.id)),
    }
}

fn condition(lab: &Lab, step: &WalkStep, among: Option<&str>) -> Condition {
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
    if let Some(among) = among {
        label.push_str(&format!(", {among}"));
    }
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
        format!(
            "no rig does {}; one that lists it under `does` is needed",
            method.does
        )
    } else {
        if rigs.is_empty() {
            reasons.extend(nearest(lab, step, together));
        }
        reasons.join("; ")
    };
    (rigs, why_not)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::{Every, Length, Limit, Rest};
    use crate::domain::parts::{
        ALL_WEEK, Fri, Mon, Sat, Thu, WORK_WEEK, Wed, crew, empty_lab, every, method, outage,
        request, rig, sequence, shift, step,
    };
    use crate::domain::zone::known::{chicago, lisbon, utc};
    use crate::domain::{Facts, UnitId, Zone};

    fn span(from: &str, until: &str) -> Span {
        Span::new(utc(from), utc(until))
    }

    fn compiled(lab: &Lab, now: &str) -> Problem {
        compile(lab, &Facts::default(), utc(now))
    }

    /// When somebody is on shift in the window, by the shifts of one crew.
    fn on(zone: Zone, shifts: Vec<lab::Shift>, closed: &[&str], window: (&str, &str)) -> Vec<Span> {
        let mut lab = empty_lab();
        lab.zone = zone;
        lab.closed = closed
            .iter()
            .map(|day| lab.zone.local(utc(&format!("{day}T12:00"))).date())
            .collect();
        lab.crews.push(crew("bench", shifts));
        let problem = compiled(&lab, window.0);
        problem.crews[0]
            .on
            .within(span(window.0, window.1))
            .collect()
    }

    #[test]
    fn shifts_keep_their_wall_clock_times_over_the_change_in_lisbon() {
        let morning = vec![shift(&ALL_WEEK, (0, 30), (8, 30), 2)];
        let window = ("2027-03-26T12:00", "2027-03-29T12:00");
        assert_eq!(
            on(lisbon(), morning, &[], window),
            [
                span("2027-03-27T00:30", "2027-03-27T08:30"),
                span("2027-03-28T00:30", "2027-03-28T07:30"),
                span("2027-03-28T23:30", "2027-03-29T07:30"),
            ]
        );
        let morning = vec![shift(&ALL_WEEK, (0, 30), (8, 30), 2)];
        let window = ("2027-10-30T12:00", "2027-10-31T12:00");
        assert_eq!(
            on(lisbon(), morning, &[], window),
            [span("2027-10-30T23:30", "2027-10-31T08:30")]
        );
    }

    #[test]
    fn a_night_shift_over_the_change_in_chicago_is_an_hour_shorter_or_longer() {
        let night = || vec![shift(&ALL_WEEK, (22, 0), (6, 0), 1)];
        let window = ("2027-03-12T18:00", "2027-03-15T18:00");
        assert_eq!(
            on(chicago(), night(), &[], window),
            [
                span("2027-03-13T04:00", "2027-03-13T12:00"),
                span("2027-03-14T04:00", "2027-03-14T11:00"),
                span("2027-03-15T03:00", "2027-03-15T11:00"),
            ]
        );
        let window = ("2027-11-06T18:00", "2027-11-07T18:00");
        assert_eq!(
            on(chicago(), night(), &[], window),
            [span("2027-11-07T03:00", "2027-11-07T12:00")]
        );
    }

    #[test]
    fn an_edge_that_the_zone_skips_moves_on_and_of_a_double_one_the_first_counts() {
        let early = |from, to| vec![shift(&ALL_WEEK, from, to, 1)];
        let day = ("2027-03-28T00:00", "2027-03-28T12:00");
        let inside = on(lisbon(), early((1, 15), (1, 45)), &[], day);
        assert_eq!(inside, [span("2027-03-28T01:15", "2027-03-28T01:45")]);
        let into = on(lisbon(), early((0, 30), (1, 30)), &[], day);
        assert_eq!(into, [span("2027-03-28T00:30", "2027-03-28T01:30")]);
        // Moved on to 02:30 it would begin after its end at 02:00: nobody comes.
        assert_eq!(on(lisbon(), early((1, 30), (2, 0)), &[], day), []);
        let day = ("2027-10-31T00:00", "2027-10-31T12:00");
        let double = on(lisbon(), early((1, 0), (2, 0)), &[], day);
        assert_eq!(double, [span("2027-10-31T00:00", "2027-10-31T02:00")]);
    }

    #[test]
    fn no_shift_begins_on_a_closed_date_but_the_night_before_it_ends() {
        let night = vec![shift(&ALL_WEEK, (22, 0), (6, 0), 1)];
        let window = ("2027-03-02T12:00", "2027-03-05T12:00");
        assert_eq!(
            on(Zone::utc(), night, &["2027-03-03"], window),
            [
                span("2027-03-02T22:00", "2027-03-03T06:00"),
                span("2027-03-04T22:00", "2027-03-05T06:00"),
            ]
        );
    }

    #[test]
    fn a_shift_is_on_its_weekdays_and_one_that_ends_when_it_begins_lasts_a_day() {
        let some = vec![shift(&[Mon, Wed], (8, 0), (16, 0), 1)];
        let week = ("2027-03-01T00:00", "2027-03-08T00:00");
        assert_eq!(
            on(Zone::utc(), some, &[], week),
            [
                span("2027-03-01T08:00", "2027-03-01T16:00"),
                span("2027-03-03T08:00", "2027-03-03T16:00"),
            ]
        );
        let round = vec![shift(&[Sat], (7, 0), (7, 0), 1)];
        assert_eq!(
            on(
                Zone::utc(),
                round,
                &[],
                ("2027-03-05T00:00", "2027-03-08T00:00")
            ),
            [span("2027-03-06T07:00", "2027-03-07T07:00")]
        );
    }

    #[test]
    fn overlapping_shifts_add_up_and_nobody_is_nobody() {
        let mut lab = empty_lab();
        lab.crews = vec![
            crew(
                "bench",
                vec![
                    shift(&WORK_WEEK, (6, 0), (14, 0), 2),
                    shift(&WORK_WEEK, (13, 30), (22, 0), 1),
                    shift(&[Fri], (13, 45), (14, 15), 4),
                ],
            ),
            crew("nobody", vec![shift(&ALL_WEEK, (0, 0), (0, 0), 0)]),
            crew("saturday", vec![shift(&[Sat], (8, 0), (12, 0), 1)]),
        ];
        let problem = compiled(&lab, "2027-03-01T00:00");
        let people = |at: &str| problem.crews[0].people.at(utc(at));
        assert_eq!(
            [
                people("2027-03-04T05:59"),
                people("2027-03-04T06:00"),
                people("2027-03-04T13:30"),
                people("2027-03-04T14:00"),
                people("2027-03-04T22:00"),
                people("2027-03-05T13:50"),
                people("2027-03-05T14:00"),
            ],
            [0, 2, 3, 1, 0, 7, 5]
        );
        assert!(problem.crews[1].on.spans().is_empty());
        let site: Vec<Span> = problem
            .site
            .within(span("2027-03-05T00:00", "2027-03-08T00:00"))
            .collect();
        assert_eq!(
            site,
            [
                span("2027-03-05T06:00", "2027-03-05T22:00"),
                span("2027-03-06T08:00", "2027-03-06T12:00"),
            ]
        );
    }

    #[test]
    fn outages_and_the_time_after_calibration_are_taken_off() {
        let mut lab = empty_lab();
        lab.zone = lisbon();
        let mut own = rig("heat-1", &["heat"], Loading::Together, 4);
        own.calibration_due = chrono::NaiveDate::from_ymd_opt(2027, 3, 31);
        lab.rigs = vec![own, rig("heat-2", &["heat"], Loading::Together, 4)];
        lab.outages = vec![
            outage("heat-1", span("2027-03-29T08:00", "2027-03-29T16:00")),
            outage("heat-1", span("2027-03-31T20:00", "2027-04-02T00:00")),
            outage("heat-1", span("2027-04-05T08:00", "2027-04-06T08:00")),
        ];
        let facts = Facts {
            outages: vec![outage(
                "heat-1",
                span("2027-03-29T12:00", "2027-03-29T18:00"),
            )],
            ..Facts::default()
        };
        let problem = compile(&lab, &facts, utc("2027-03-28T00:00"));
        let own = &problem.rigs[0];
        // The 31st ends at 23:00 UTC, in the middle of the last outage.
        assert_eq!(own.calibrated_until, utc("2027-03-31T23:00"));
        assert_eq!(
            own.usable,
            [
                Span::new(Minute::FIRST, utc("2027-03-29T08:00")),
                span("2027-03-29T18:00", "2027-03-31T20:00"),
            ]
        );
        assert_eq!(own.outages.len(), 4);
        let free = [Span::new(Minute::FIRST, Minute::LAST)];
        assert_eq!(problem.rigs[1].usable, free);
    }

    /// Two chambers of two and four positions and a bench of one that all do heat.
    fn hot_lab() -> Lab {
        let mut lab = empty_lab();
        lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (8, 0), (16, 0), 1)])];
        lab.rigs = vec![
            rig("small", &["heat"], Loading::Together, 2),
            rig("big", &["heat"], Loading::Together, 4),
            rig("plate", &["heat"], Loading::Each, 1),
            rig("bench", &["look"], Loading::Each, 1),
        ];
        for own in [
            method("heat", "heat", Length::Hold(Minutes::hours(20))),
            method("look", "look", Length::Hold(Minutes::new(20))),
            method("x-ray", "x-ray", Length::Hold(Minutes::new(20))),
        ] {
            lab.methods.insert(own.id.clone(), own);
        }
        lab.sequences = vec![
            sequence("hot", vec![step("look"), step("heat")]),
            sequence("seen", vec![step("look"), step("x-ray"), step("x-ray")]),
        ];
        lab
    }

    fn eligible(problem: &Problem, request: usize, step: usize) -> Vec<&str> {
        let rigs = problem.rigs_for(&problem.requests[request].steps[step]);
        rigs.iter()
            .map(|(rig, _)| problem.rigs[rig.ix()].id.as_str())
            .collect()
    }

    #[test]
    fn r09_units_that_stay_together_need_a_chamber_that_takes_them_all() {
        let mut lab = hot_lab();
        let ready = utc("2027-03-01T08:00");
        for (id, units, together) in [("A", 3, true), ("B", 3, false), ("C", 2, true)] {
            let mut own = request(id, "hot", units, ready);
            own.keep_together = together;
            lab.requests.push(own);
        }
        let problem = compiled(&lab, "2027-03-01T08:00");
        assert_eq!(eligible(&problem, 0, 1), ["big", "plate"]);
        assert_eq!(eligible(&problem, 1, 1), ["small", "big", "plate"]);
        assert_eq!(eligible(&problem, 2, 1), ["small", "big", "plate"]);
        // A bench is no chamber: each unit goes there alone.
        assert_eq!(eligible(&problem, 0, 0), ["bench"]);
        assert!(problem.requests.iter().all(|own| own.impossible.is_none()));
        // All three share what they have in common.
        let condition = |request: usize| problem.requests[request].steps[1].condition;
        assert_eq!(condition(0), condition(2));
        assert_eq!((problem.conditions.len(), problem.fixtures), (2, 2));
        assert_eq!(problem.conditions[1].label, "heat, 20h");
    }

    #[test]
    fn the_first_step_that_no_rig_can_do_is_named_with_each_reason() {
        let mut lab = hot_lab();
        let ready = utc("2027-03-01T08:00");
        let mut own = request("A", "hot", 5, ready);
        own.keep_together = true;
        lab.requests = vec![own, request("B", "seen", 1, ready)];
        lab.rigs.retain(|rig| rig.id.as_str() != "plate");
        let problem = compiled(&lab, "2027-03-01T08:00");
        let why = "small has 2 positions for 5 units that stay together; \
                   big has 4 positions for 5 units that stay together; \
                   small with 5 positions would do";
        assert_eq!(problem.requests[0].impossible, Some((1, why.to_owned())));
        let why = "no rig does x-ray; one that lists it under `does` is needed".to_owned();
        assert_eq!(problem.requests[1].impossible, Some((1, why)));
    }

    #[test]
    fn r03_a_step_with_its_own_severity_is_another_condition_with_other_rigs() {
        let mut lab = hot_lab();
        for (rig, highest) in [(0, 85.0), (1, 70.0)] {
            let limit = Limit {
                min: 30.0,
                max: highest,
            };
            lab.rigs[rig]
                .limits
                .insert("temperature_c".to_owned(), limit);
        }
        let at = |celsius: f64| {
            let mut own = step("heat");
            own.severity.insert("temperature_c".to_owned(), celsius);
            own
        };
        lab.sequences = vec![sequence("hot", vec![at(70.0), at(85.0), at(70.0)])];
        lab.requests = vec![request("A", "hot", 1, utc("2027-03-01T08:00"))];
        let problem = compiled(&lab, "2027-03-01T08:00");
        assert_eq!(eligible(&problem, 0, 0), ["small", "big"]);
        assert_eq!(eligible(&problem, 0, 1), ["small"]);
        let steps = &problem.requests[0].steps;
        assert_eq!(steps[0].condition, steps[2].condition);
        assert_ne!(steps[0].condition, steps[1].condition);
        // One method on one product needs one fixture, whatever its severity.
        assert_eq!(problem.fixtures, 1);
    }

    #[test]
    fn every_is_expanded_with_its_rests_and_lengths() {
        let mut lab = hot_lab();
        let mut split = step("heat");
        let rest = Rest {
            min: Minutes::hours(1),
            max: Some(Minutes::hours(2)),
        };
        split.every = Some(Every {
            check_rest: rest,
            ..every(Amount::Hold(Minutes::hours(8)), "look")
        });
        lab.sequences = vec![sequence("hot", vec![step("look"), split])];
        lab.requests = vec![request("A", "hot", 1, utc("2027-03-01T08:00"))];
        let problem = compiled(&lab, "2027-03-01T08:00");
        let steps = &problem.requests[0].steps;
        let lengths: Vec<i64> = steps
            .iter()
            .map(|own| problem.rigs_for(own)[0].1.get())
            .collect();
        assert_eq!(lengths, [20, 480, 20, 480, 20, 240, 20]);
        assert_eq!(steps[1].rest_max, Minutes::FOREVER);
        let rests = [2, 4, 6].map(|ix| (steps[ix].rest_min.get(), steps[ix].rest_max.get()));
        assert_eq!(rests, [(60, 120); 3]);
    }

    #[test]
    fn r10_pins_are_sorted_by_step_and_end_where_the_unit_stops() {
        let mut lab = hot_lab();
        lab.sequences = vec![sequence(
            "hot",
            vec![step("look"), step("heat"), step("look")],
        )];
        lab.requests = vec![request("A", "hot", 2, utc("2027-03-01T08:00"))];
        let pin = |unit: &str, step, rig: &str| lab::Pin {
            unit: UnitId::new(unit),
            step,
            rig: RigId::new(rig),
            start: utc("2027-03-02T08:00"),
        };
        lab.pins = vec![
            pin("A/1", 3, "bench"),
            pin("A/1", 2, "big"),
            pin("A/2", 3, "bench"),
        ];
        let facts = Facts {
            stops: vec![crate::domain::facts::Stop {
                unit: UnitId::new("A/2"),
                after_step: 2,
                why: crate::domain::facts::StopReason::Held,
            }],
            ..Facts::default()
        };
        let problem = compile(&lab, &facts, utc("2027-03-01T08:00"));
        let pins = |unit: usize| -> Vec<(usize, u32)> {
            let pins = problem.units[unit].pins.iter();
            pins.map(|pin| (pin.step, pin.rig.0)).collect()
        };
        assert_eq!(pins(0), [(1, 1), (2, 3)]);
        assert_eq!(pins(1), []);
        assert_eq!(problem.units[1].wanted, 2);
    }

    #[test]
    fn the_frame_of_the_plan_is_now_freeze_and_horizon() {
        let mut lab = empty_lab();
        lab.freeze = Minutes::hours(2);
        let problem = compiled(&lab, "2027-03-01T08:00");
        assert_eq!(problem.frozen_before, utc("2027-03-01T10:00"));
        assert_eq!(problem.end, utc("2027-04-30T08:00"));
    }

    #[test]
    fn r07_a_pausable_exposure_waits_for_its_watch_over_the_weekend() {
        use crate::domain::lab::Watch;
        let mut lab = hot_lab();
        lab.crews = vec![
            crew("bench", vec![shift(&WORK_WEEK, (8, 0), (16, 0), 1)]),
            crew("saturday", vec![shift(&[Sat], (8, 0), (12, 0), 1)]),
        ];
        let heat = lab.methods.get_mut(&MethodId::new("heat")).expect("known");
        (heat.watch, heat.pausable) = (Watch::Full, true);
        lab.requests = vec![request("A", "hot", 1, utc("2027-03-01T08:00"))];
        let problem = compiled(&lab, "2027-03-01T08:00");
        let (bench_like, chamber) = (RigIx(2), RigIx(1));
        let full = problem.conditions[1].clone();
        let mut site = full.clone();
        site.watch = Watch::Site;
        let end = |condition: &Condition, rig, from: &str, hours| {
            problem.exposure_end(condition, rig, utc(from), Minutes::hours(hours))
        };
        let friday = "2027-03-05T15:00";
        let check = |found: Option<Minute>, at: &str| assert_eq!(found, Some(utc(at)));
        check(end(&full, bench_like, friday, 1), "2027-03-05T16:00");
        check(end(&full, bench_like, friday, 3), "2027-03-08T10:00");
        // Begun unwatched it stands until somebody comes.
        check(
            end(&full, bench_like, "2027-03-06T09:00", 1),
            "2027-03-08T09:00",
        );
        // On site for four hours of Saturday somebody of another crew is.
        check(end(&site, bench_like, friday, 3), "2027-03-06T10:00");
        check(end(&site, bench_like, friday, 6), "2027-03-08T09:00");
        // A chamber does not pause, nor does what nobody watches.
        check(end(&full, chamber, friday, 3), "2027-03-05T18:00");
        let mut alone = full.clone();
        alone.watch = Watch::None;
        check(end(&alone, bench_like, friday, 3), "2027-03-05T18:00");
        assert_eq!(end(&full, bench_like, friday, 10_000), None);
    }

    #[test]
    fn a_crew_that_works_on_thursdays_only_takes_weeks() {
        let weekly = vec![shift(&[Thu], (12, 0), (20, 0), 1)];
        let mut lab = empty_lab();
        lab.crews = vec![crew("bench", weekly)];
        let on = &compiled(&lab, "2027-03-01T08:00").crews[0].on;
        let end = on.advance(utc("2027-03-01T08:00"), Minutes::hours(20));
        assert_eq!(end, Some(utc("2027-03-18T16:00")));
        let start = on.latest_start(utc("2027-03-18T16:00"), Minutes::hours(20));
        assert_eq!(start, Some(utc("2027-03-04T12:00")));
    }
}
