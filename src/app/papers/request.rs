//! A request: what was asked, how hard, what every unit went through, who said what and when, and what
//! it proves.

use super::Made;
use super::shared::{cautions, counted, told, tone};
use super::words::{amount, crew_of, place, severity, standard, when};
use crate::app::desk::Desk;
use crate::app::evidence::{LegEvidence, percent};
use crate::app::walk::{StepProgress, WalkLine, event_words, state_word, verdict_word, walk_of};
use crate::domain::event::{Change, Subject};
use crate::domain::lab::{OnFailure, Request, Rest};
use crate::domain::{Event, EventBody, MethodId, Minutes, Seq, UnitId};
use crate::evidence::leg::Leg;
use crate::evidence::picture::Picture;
use crate::evidence::shown::Evidence;
use crate::report::evidence_svg::evidence_svg;
use crate::report::paper::{Cell, Figure, Grid, Paper, Part, Section, Tone};
use std::collections::BTreeSet;

/// Points of a curve in a plot.
const STEPS: usize = 200;

/// The test report of a request.
pub fn request(desk: &Desk, request: &Request, made: &Made) -> Paper {
    let events = events_of(desk, request);
    let mut sections = vec![
        Section::new("What was asked", asked(desk, request)),
        Section::new("Walk", vec![Part::Grid(steps(desk, request))]),
        Section::new("Units", vec![Part::Grid(units(desk, request))]),
    ];
    sections.extend(evidence(desk, request));
    for unit in &request.units {
        sections.push(Section::new(
            format!("Walk of {unit}"),
            unit_parts(desk, unit, &events),
        ));
    }
    sections.push(Section::new(
        "Corrections, notes and the rest",
        vec![Part::grid_or(
            others(desk, &events),
            "Nothing was corrected, noted or entered besides.",
        )],
    ));
    let walk = desk.walks.steps(request);
    let methods: BTreeSet<&MethodId> = walk.iter().map(|own| &own.method).collect();
    sections.extend(cautions(desk, &methods));
    sections.push(Section::new(
        "Signatures",
        vec![
            Part::Text(
                "The ledger line at the foot names the record that this report was made from; \
             rigday verify --against compares it with the ledger."
                    .to_owned(),
            ),
            Part::Sign(vec!["Name", "Date", "Signature"]),
        ],
    ));
    Paper {
        title: format!("Test report {}", request.id),
        about: format!(
            "{} {}, {} units through sequence {}.",
            request.product,
            request.build,
            request.units.len(),
            request.sequence
        ),
        stamp: made.stamp(desk),
        sections,
    }
}

/// Everything recorded about the request or its units, corrections included, in order.
fn events_of<'d>(desk: &'d Desk, request: &Request) -> Vec<&'d Event> {
    let subjects: BTreeSet<Subject> = std::iter::once(Subject::Request(request.id.clone()))
        .chain(request.units.iter().cloned().map(Subject::Unit))
        .collect();
    let mut known: BTreeSet<Seq> = BTreeSet::new();
    let about = |event: &&Event| {
        let about = event
            .body
            .corrects()
            .is_some_and(|own| known.contains(&own))
            || event
                .body
                .subjects()
                .iter()
                .any(|own| subjects.contains(own));
        if about {
            known.insert(event.seq);
        }
        about
    };
    desk.floor.events.iter().filter(about).collect()
}

fn asked(desk: &Desk, request: &Request) -> Vec<Part> {
    let zone = &desk.lab.zone;
    let taken = desk.floor.now.requests.get(&request.id);
    let taken = taken.and_then(|seq| desk.floor.event(*seq));
    let mut facts = vec![
        ("Request", request.id.to_string()),
        ("Product", request.product.clone()),
        ("Build", request.build.clone()),
        ("Sequence", request.sequence.to_string()),
        ("Units", request.units.len().to_string()),
        ("Priority", format!("{} of 9", request.priority)),
        ("Ready", when(zone, request.ready)),
        (
            "Due",
            request
                .due
                .map_or("no date".to_owned(), |at| when(zone, at)),
        ),
        (
            "After a failure",
            match request.on_failure {
                OnFailure::Stop => "the unit stops".to_owned(),
                OnFailure::Continue => "the unit goes on, failure noted".to_owned(),
            },
        ),
        (
            "Taken in",
            taken.map_or("not yet".to_owned(), |event| {
                format!(
                    "{} by {}, event {}",
                    when(zone, event.happened),
                    event.actor.person,
                    event.seq.0
                )
            }),
        ),
    ];
    if request.keep_together {
        facts.push(("Together", "all units of a step share one run".to_owned()));
    }
    let plan = desk.floor.now.published.as_ref();
    let finish = plan.and_then(|plan| plan.finishes.iter().find(|own| own.request == request.id));
    if let Some(finish) = finish {
        let late = if finish.late > Minutes::ZERO {
            format!(", {} late", finish.late)
        } else {
            String::new()
        };
        facts.push(("Finish by the plan", when(zone, finish.finish) + &late));
    }
    let goal = match &request.show {
        None => "No goal was agreed beforehand: what the results show is told as it is.".to_owned(),
        Some(show) => format!(
            "To be shown, agreed beforehand: reliability {} at {} % one-sided confidence, with {} failures allowed.",
            show.reliability,
            percent(show.confidence),
            show.failures
        ),
    };
    vec![Part::Facts(facts), Part::Text(goal)]
}

/// The steps as every unit walks them, with standard and severities.
fn steps(desk: &Desk, request: &Request) -> Grid {
    let rest = |rest: &Rest| match (rest.min, rest.max) {
        (Minutes::ZERO, None) => String::new(),
        (min, None) => format!("at least {min}"),
        (Minutes::ZERO, Some(max)) => format!("at most {max}"),
        (min, Some(max)) => format!("{min} to {max}"),
    };
    let row = |(number, own): (u32, &crate::domain::steps::WalkStep)| {
        let method = desk.lab.methods.get(&own.method);
        let checkpoint = method.is_some_and(|method| method.verdict);
        let source = method.map_or(String::new(), |own| own.source.clone());
        vec![
            Cell::number(number),
            Cell::text(&own.method),
            Cell::text(amount(own.amount)),
            Cell::text(severity(&own.severity)),
            Cell::text(rest(&own.rest)),
            Cell::text(if checkpoint { "pass or fail" } else { "" }),
            Cell::text(
                method
                    .and_then(|own| crew_of(&desk.lab, own))
                    .map_or(String::new(), ToString::to_string),
            ),
            Cell::text(method.map_or(String::new(), |own| standard(&desk.lab, own))),
            Cell::text(source),
        ]
    };
    Grid {
        caption: "Steps, their lengths and severities, and the rest before each".to_owned(),
        head: vec![
            "step",
            "method",
            "length",
            "severity",
            "rest before",
            "verdict",
            "crew",
            "standard",
            "source",
        ],
        rows: (1..).zip(desk.walks.steps(request)).map(row).collect(),
        lead: 3,
    }
}

fn units(desk: &Desk, request: &Request) -> Grid {
    let row = |unit: &UnitId| {
        let state = desk
            .floor
            .unit_state(&desk.lab, &desk.walks, unit, desk.now());
        let record = desk.floor.now.units.get(unit);
        let done = record.map_or(0, crate::floor::UnitRecord::steps_done);
        let verdicts = record.map(|own| &own.verdicts);
        let bad = verdicts
            .into_iter()
            .flatten()
            .find_map(|(step, own)| match &own.verdict {
                crate::domain::Verdict::Pass => None,
                verdict @ (crate::domain::Verdict::Fail { reason }
                | crate::domain::Verdict::Hold { reason }) => {
                    Some(format!("step {step} {}: {reason}", verdict_word(verdict)))
                }
            });
        let withdrawn = record.and_then(|own| own.withdrawn.as_ref());
        let withdrawn =
            withdrawn.map(|(_, at, why)| format!("withdrawn {}: {why}", when(&desk.lab.zone, *at)));
        let passed = verdicts
            .into_iter()
            .flatten()
            .filter(|(_, own)| own.verdict == crate::domain::Verdict::Pass);
        let tone = match state {
            crate::floor::UnitState::Passed => Tone::Good,
            crate::floor::UnitState::Failed => Tone::Bad,
            crate::floor::UnitState::Held | crate::floor::UnitState::Late => Tone::Look,
            _ => Tone::Plain,
        };
        vec![
            Cell::text(unit),
            Cell::of(tone, state_word(state)),
            Cell::number(format!("{done} of {}", desk.walks.steps(request).len())),
            Cell::number(passed.count()),
            Cell::text(
                bad.into_iter()
                    .chain(withdrawn)
                    .collect::<Vec<String>>()
                    .join("; "),
            ),
        ]
    };
    Grid {
        caption: "Units as they stand".to_owned(),
        head: vec!["unit", "state", "steps over", "checks passed", "why"],
        rows: request.units.iter().map(row).collect(),
        lead: 0,
    }
}

/// What the results show, with the plots where there is something to plot.
fn evidence(desk: &Desk, request: &Request) -> Option<Section> {
    let leg = Leg::of(&desk.lab, &desk.walks, &desk.floor, request);
    if leg.axis.whole() <= 0.0 {
        return None;
    }
    let evidence = Evidence::of(&leg);
    let own = LegEvidence { leg, evidence };
    let picture = Picture::of(&own.leg, &own.evidence, STEPS);
    let mut parts = vec![Part::List(own.lines())];
    if !picture.observed.is_empty() {
        let unit = own.leg.axis.unit.word();
        parts.push(Part::Figure(Figure {
            svg: evidence_svg(&picture, unit, request.id.as_str(), &[]),
            caption: "Left: fraction failed on a Weibull scale. Right: fraction surviving. Dots and upright \
                bars are what was seen at the checks, the line is the fit, broken lines its one-sided bounds."
                .to_owned(),
            legend: Vec::new(),
        }));
    }
    Some(Section::new("What the results show", parts))
}

/// A unit's walk as it was and as it is booked, and the verdicts that were taken back.
fn unit_parts(desk: &Desk, unit: &UnitId, events: &[&Event]) -> Vec<Part> {
    let walk = walk_of(&desk.lab, &desk.walks, &desk.floor, unit);
    let mut parts = vec![Part::Grid(Grid {
        caption: format!("{unit}: as it was, and as it is booked"),
        head: vec![
            "step",
            "method",
            "rig",
            "place",
            "load",
            "out",
            "state",
            "verdict",
            "who and when",
            "events",
        ],
        rows: walk.iter().map(|line| walk_row(desk, unit, line)).collect(),
        lead: 0,
    })];
    let void: Vec<Vec<Cell>> = events
        .iter()
        .filter(|own| desk.floor.voided.contains(&own.seq))
        .filter(|own| own.body.subjects().contains(&Subject::Unit(unit.clone())))
        .map(|own| void_row(desk, own, events))
        .collect();
    if !void.is_empty() {
        parts.push(Part::Grid(Grid {
            caption: format!("{unit}: recorded and corrected; both stay in the ledger"),
            head: vec!["when", "was recorded", "by", "event", "corrected"],
            rows: void,
            lead: 0,
        }));
    }
    parts
}

/// A step of a unit's walk with the events that tell of it.
fn walk_row(desk: &Desk, unit: &UnitId, line: &WalkLine) -> Vec<Cell> {
    let zone = &desk.lab.zone;
    let record = desk.floor.now.units.get(unit);
    let visit = record.and_then(|own| own.visits.get(&line.step));
    let given = record.and_then(|own| own.verdicts.get(&line.step));
    let at = |at: Option<_>| at.map_or(String::new(), |at| when(zone, at));
    let verdict = match &line.verdict {
        Some(verdict) => Cell::of(tone(verdict), verdict_word(verdict)),
        None => Cell::text(""),
    };
    let events = [
        visit.map(|own| own.started_by),
        visit.and_then(|own| own.ended_by),
        given.map(|own| own.seq),
    ];
    let events: Vec<String> = events
        .iter()
        .flatten()
        .map(|own| own.0.to_string())
        .collect();
    vec![
        Cell::number(line.step),
        Cell::text(&line.method),
        Cell::text(line.rig.as_ref().map_or(String::new(), ToString::to_string)),
        Cell::text(visit.map_or(String::new(), |own| place(own.position, own.run))),
        Cell::text(at(line.load)),
        Cell::text(at(line.out)),
        Cell::of(
            if line.progress == StepProgress::Running {
                Tone::Good
            } else {
                Tone::Plain
            },
            line.progress.word(),
        ),
        verdict,
        Cell::text(given.map_or(String::new(), |own| {
            format!("{}, {}", own.person, when(zone, own.at))
        })),
        Cell::text(events.join(", ")),
    ]
}

/// An event that does not count any more, with what voided it.
fn void_row(desk: &Desk, event: &Event, events: &[&Event]) -> Vec<Cell> {
    let voids = events.iter().rev().find(|own| {
        let void = matches!(&own.body, EventBody::Correction { corrects, change: Change::Void, .. } if *corrects == event.seq);
        void && !desk.floor.voided.contains(&own.seq)
    });
    let by = voids.map(|own| {
        let EventBody::Correction { reason, .. } = &own.body else {
            return String::new();
        };
        format!(
            "{} by {}, event {}: {reason}",
            when(&desk.lab.zone, own.happened),
            own.actor.person,
            own.seq.0
        )
    });
    vec![
        Cell::text(when(&desk.lab.zone, event.happened)),
        counted(desk, event.seq, Tone::Plain, &event_words(event)),
        Cell::text(&event.actor.person),
        Cell::number(event.seq.0),
        Cell::text(by.unwrap_or_default()),
    ]
}

/// Notes, corrections and withdrawals.
fn others(desk: &Desk, events: &[&Event]) -> Grid {
    let is_other = |own: &&Event| {
        matches!(
            own.body,
            EventBody::Note { .. } | EventBody::Correction { .. } | EventBody::UnitWithdrawn { .. }
        )
    };
    let caption = "Corrections name the event that they correct";
    told(desk, events.iter().copied().filter(is_other), caption, true)
}
