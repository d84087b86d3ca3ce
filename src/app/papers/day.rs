//! A day: what happened, what is booked, what is out of use, what was said.

use super::shared::{
    cautions, events_in, other_events, requests, rigs_figure, rigs_out, verdict_counts, verdicts,
};
use super::stays::{Stay, stays};
use super::words::{clock, how_hard, long_date, place, when};
use super::{Made, days_from};
use crate::app::desk::Desk;
use crate::domain::steps::step_of;
use crate::domain::{EventBody, MethodId, Minute, Minutes, Span};
use crate::report::paper::{Cell, Grid, Look, Paper, Part, Section, Tone};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The paper of a local day.
pub fn day(desk: &Desk, date: NaiveDate, made: &Made) -> Paper {
    let now = desk.now();
    let window = days_from(desk, date, 1);
    let events = events_in(desk, window);
    let stays = stays(desk, now, window);
    let marks = (window.start.get()..window.end.get())
        .step_by(120)
        .map(|at| (Minute::new(at), clock(&desk.lab.zone, Minute::new(at))));
    let mut sections = vec![
        Section::new("In short", vec![short(desk, &stays, &events, window)]),
        Section::new(
            "Rigs",
            vec![rigs_figure(desk, now, window, marks.collect(), &stays)],
        ),
        Section::new(
            "Verdicts",
            vec![Part::grid_or(
                verdicts(desk, &events, false),
                "No verdict was given on this day.",
            )],
        ),
        Section::new(
            "Visits",
            vec![Part::grid_or(
                visits(desk, &stays, window),
                "Nothing was or is on a rig on this day.",
            )],
        ),
        Section::new(
            "Out of use",
            vec![Part::grid_or(
                rigs_out(desk, now, window),
                "No rig is out of use on this day.",
            )],
        ),
        Section::new(
            "Also recorded",
            vec![Part::grid_or(
                other_events(desk, &events, false),
                "Nothing else was recorded.",
            )],
        ),
        Section::new(
            "Requests",
            vec![Part::grid_or(requests(desk, now), "No request is open.")],
        ),
    ];
    let methods: BTreeSet<&MethodId> = stays.iter().filter_map(|own| method(desk, own)).collect();
    sections.extend(cautions(desk, &methods));
    Paper {
        title: format!("Day: {}", long_date(date)),
        about: "What happened on the rigs, what was found, and what is booked.".to_owned(),
        stamp: made.stamp(desk),
        sections,
    }
}

fn method<'d>(desk: &'d Desk, stay: &Stay<'_>) -> Option<&'d MethodId> {
    let request = desk.walks.request(&desk.lab, stay.unit)?;
    step_of(desk.walks.steps(request), stay.step).map(|own| &own.method)
}

fn short(desk: &Desk, stays: &[Stay<'_>], events: &[&crate::domain::Event], window: Span) -> Part {
    let counts = |kind: fn(&EventBody) -> bool| {
        let count = events
            .iter()
            .filter(|own| kind(&own.body) && !desk.floor.voided.contains(&own.seq));
        count.count().to_string()
    };
    let [pass, fail, hold] = verdict_counts(desk, events);
    let booked = stays.iter().filter(|own| {
        matches!(own.look, Look::Booked | Look::Late) && window.contains(own.span.start)
    });
    let late = desk
        .floor
        .now
        .published
        .iter()
        .flat_map(|plan| &plan.finishes);
    let late = late.filter(|own| own.late > Minutes::ZERO).count();
    Part::Facts(vec![
        (
            "Loaded",
            counts(|body| matches!(body, EventBody::VisitStarted { .. })),
        ),
        (
            "Came out",
            counts(|body| matches!(body, EventBody::VisitEnded { .. })),
        ),
        ("Verdicts", format!("{pass} pass, {fail} fail, {hold} hold")),
        ("Still to load", booked.count().to_string()),
        ("Requests late by the plan", late.to_string()),
        ("Events recorded", events.len().to_string()),
    ])
}

/// Every visit of the day, a row each.
fn visits(desk: &Desk, stays: &[Stay<'_>], window: Span) -> Grid {
    let row = |own: &Stay<'_>| {
        let step = desk
            .walks
            .request(&desk.lab, own.unit)
            .and_then(|request| step_of(desk.walks.steps(request), own.step));
        let at = |at: Minute| {
            let today = window.contains(at);
            if today {
                clock(&desk.lab.zone, at)
            } else {
                when(&desk.lab.zone, at)
            }
        };
        let (word, tone) = match own.look {
            Look::Done => ("over", Tone::Plain),
            Look::Running => ("in the rig", Tone::Good),
            Look::Late => ("should have begun", Tone::Look),
            _ => ("booked", Tone::Plain),
        };
        let planned = own
            .booking
            .filter(|_| own.look != Look::Booked)
            .map(|booking| {
                let off = own.span.start - booking.times.load;
                if off == Minutes::ZERO {
                    "as planned".to_owned()
                } else {
                    format!("{off} off")
                }
            });
        vec![
            Cell::text(own.rig),
            Cell::text(place(own.position, own.run)),
            Cell::text(own.unit),
            Cell::number(own.step),
            Cell::text(step.map_or(String::new(), |own| own.method.to_string())),
            Cell::text(step.map_or(String::new(), how_hard)),
            Cell::text(at(own.span.start)),
            Cell::text(at(own.span.end)),
            Cell::of(tone, word),
            Cell::text(
                planned
                    .filter(|_| own.look != Look::Late)
                    .unwrap_or_default(),
            ),
        ]
    };
    Grid {
        caption: "Visits by rig; times ahead are those of the plan in force".to_owned(),
        head: vec![
            "rig",
            "place",
            "unit",
            "step",
            "method",
            "how hard",
            "load",
            "out",
            "state",
            "load against plan",
        ],
        rows: stays.iter().map(row).collect(),
        lead: 0,
    }
}
