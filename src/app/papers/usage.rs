//! Utilisation: what rigs and people did over some days, what requests waited for, and what exposures took.

use super::words::{long_date, when};
use super::{Made, days_from, hours, percent};
use crate::app::desk::Desk;
use crate::domain::{Minute, Minutes, Span};
use crate::report::chart::{Bar, Chart, Strip};
use crate::report::paper::{Cell, Figure, Grid, Look, Paper, Part, Section, Tone};
use crate::usage::late::late;
use crate::usage::{Cause, CrewMinutes, LateRequest, Rate, RequestTime, RigMinutes, State, Usage};
use chrono::NaiveDate;

/// Marks of the states with their meaning.
const LEGEND: [(Look, &str); 7] = [
    (Look::Done, "exposure"),
    (Look::Running, "loading"),
    (Look::Between, "changeover"),
    (Look::Held, "paused"),
    (Look::Late, "waiting to be taken out"),
    (Look::Ready, "empty while there was work"),
    (Look::Down, "down or in calibration"),
];

/// The paper of the days from `first` to `last`, both included.
pub fn usage(desk: &Desk, first: NaiveDate, last: NaiveDate, made: &Made) -> Paper {
    let days = (last - first).num_days().unsigned_abs() + 1;
    let interval = days_from(desk, first, days);
    let usage = Usage::of(&desk.lab, &desk.walks, &desk.floor, desk.now());
    let rigs = desk.lab.rigs.iter().enumerate();
    let rigs: Vec<(String, RigMinutes)> = rigs
        .map(|(ix, rig)| (rig.id.to_string(), usage.rig(ix, interval)))
        .collect();
    let sections = vec![
        Section::new("In short", vec![short(desk, &usage, interval, &rigs)]),
        Section::new(
            "Rigs",
            vec![figure(&rigs, interval), Part::Grid(rig_grid(&rigs))],
        ),
        Section::new(
            "Crews",
            vec![Part::grid_or(
                crew_grid(desk, &usage, interval),
                "The lab has no crew.",
            )],
        ),
        Section::new(
            "Requests",
            vec![Part::grid_or(
                request_grid(&usage.requests(&desk.lab)),
                "No unit has a time yet.",
            )],
        ),
        Section::new(
            "Late by the plan in force",
            vec![Part::grid_or(
                late_grid(desk, &late(&desk.floor)),
                "No request is late by the plan in force.",
            )],
        ),
        Section::new(
            "What exposures took",
            vec![Part::grid_or(
                rate_grid(&usage.rates(&desk.lab)),
                "No visit tells what its exposure took: none is over, or nobody was there when it ended.",
            )],
        ),
    ];
    Paper {
        title: "Utilisation".to_owned(),
        about: format!(
            "{} to {}: up to now what happened, from now on the plan in force.",
            long_date(first),
            long_date(last)
        ),
        stamp: made.stamp(desk),
        sections,
    }
}

fn short(desk: &Desk, usage: &Usage, interval: Span, rigs: &[(String, RigMinutes)]) -> Part {
    let sum = |of: fn(&RigMinutes) -> Minutes| rigs.iter().map(|(_, own)| of(own)).sum::<Minutes>();
    let share = |part: Minutes, whole: Minutes| {
        percent((whole > Minutes::ZERO).then(|| part.get() * 100 / whole.get()))
    };
    let calendar = sum(RigMinutes::calendar);
    let crews = usage.crews(interval);
    let (hands, shift) = crews
        .iter()
        .fold((Minutes::ZERO, Minutes::ZERO), |(a, b), own| {
            (a + own.hands_on, b + own.on_shift)
        });
    let known = usage.known.meet(interval);
    let told = if known.is_empty() {
        "nothing is recorded or planned in these days".to_owned()
    } else {
        let zone = &desk.lab.zone;
        format!("{} to {}", when(zone, known.start), when(zone, known.end))
    };
    Part::Facts(vec![
        ("Rigs", rigs.len().to_string()),
        ("In use", share(sum(RigMinutes::occupied), calendar)),
        (
            "Positions filled",
            share(sum(|own| own.filled), sum(RigMinutes::open)),
        ),
        ("Out of use", share(sum(RigMinutes::out), calendar)),
        ("Hands-on of time on shift", share(hands, shift)),
        ("Something is known of", told),
    ])
}

const fn look(state: State) -> Option<Look> {
    match state {
        State::Down | State::Calibration => Some(Look::Down),
        State::Exposure => Some(Look::Done),
        State::Loading => Some(Look::Running),
        State::Paused => Some(Look::Held),
        State::Waiting => Some(Look::Late),
        State::Changeover => Some(Look::Between),
        State::HeldBack | State::NoPeople | State::NoUnits => Some(Look::Ready),
        State::Idle => None,
    }
}

/// The share of each state, a strip a rig.
fn figure(rigs: &[(String, RigMinutes)], interval: Span) -> Part {
    let strip = |(name, own): &(String, RigMinutes)| {
        let mut at = Minute::new(0);
        let mut bars: Vec<Bar> = Vec::new();
        for state in ORDER {
            let Some(look) = look(state) else { continue };
            let span = Span::new(at, at + own.states[state]);
            at = span.end;
            match bars.last_mut().filter(|bar| bar.look == look) {
                Some(bar) => bar.span.end = at,
                None => bars.push(Bar {
                    span,
                    look,
                    label: String::new(),
                }),
            }
        }
        let whole = interval.length().get().max(1);
        bars.retain(|bar| !bar.span.is_empty());
        for bar in &mut bars {
            bar.label = format!("{} %", bar.span.length().get() * 100 / whole);
        }
        Strip {
            name: name.clone(),
            bars,
        }
    };
    let strips: Vec<Strip> = rigs.iter().map(strip).collect();
    let length = interval.length();
    let mark = |quarter: i64| {
        let at = Minute::new(length.get() * quarter / 4);
        (at, format!("{} %", quarter * 25))
    };
    let chart = Chart {
        title: "Share of each state in the time of each rig",
        window: Span::new(Minute::new(0), Minute::new(0) + length),
        marks: (0..=4).map(mark).collect(),
        now: Minute::LAST,
        strips: &strips,
    };
    Part::Figure(Figure {
        svg: chart.svg(),
        caption: "Share of each state in the time of each rig; what is left was idle.".to_owned(),
        legend: LEGEND.to_vec(),
    })
}

/// The states as they follow each other in the picture: work first, then what stands in its way.
const ORDER: [State; 11] = [
    State::Exposure,
    State::Loading,
    State::Changeover,
    State::Paused,
    State::Waiting,
    State::HeldBack,
    State::NoPeople,
    State::NoUnits,
    State::Down,
    State::Calibration,
    State::Idle,
];

fn rig_grid(rigs: &[(String, RigMinutes)]) -> Grid {
    let row = |(name, own): &(String, RigMinutes)| {
        let mut cells = vec![Cell::text(name)];
        cells.extend(ORDER.map(|state| Cell::number(hours(own.states[state]))));
        cells.push(Cell::number(percent(own.filled_percent())));
        cells
    };
    let mut head = vec!["rig"];
    head.extend(ORDER.map(|state| match state {
        State::HeldBack => "held back",
        State::NoPeople => "no people",
        State::NoUnits => "no units",
        other => other.word(),
    }));
    head.push("filled");
    Grid {
        caption:
            "Hours by state, which add up to the calendar; and positions filled of those offered"
                .to_owned(),
        head,
        rows: rigs.iter().map(row).collect(),
        lead: 0,
    }
}

fn crew_grid(desk: &Desk, usage: &Usage, interval: Span) -> Grid {
    let row = |(crew, own): (&crate::domain::lab::Crew, CrewMinutes)| {
        vec![
            Cell::text(&crew.id),
            Cell::number(hours(own.on_shift)),
            Cell::number(hours(own.hands_on)),
            Cell::number(percent(own.percent())),
        ]
    };
    Grid {
        caption: "Hours of people on shift, and of these hands-on".to_owned(),
        head: vec!["crew", "on shift", "hands-on", "share"],
        rows: desk
            .lab
            .crews
            .iter()
            .zip(usage.crews(interval))
            .map(row)
            .collect(),
        lead: 0,
    }
}

fn request_grid(requests: &[RequestTime]) -> Grid {
    let row = |own: &RequestTime| {
        let mut cells = vec![Cell::text(&own.request), Cell::number(own.units)];
        cells.extend(Cause::ALL.map(|cause| Cell::number(hours(own[cause]))));
        cells
    };
    let mut head = vec!["request", "units"];
    head.extend(Cause::ALL.map(Cause::word));
    Grid {
        caption: "Hours of their units, over their whole walk: touched, and waiting by cause"
            .to_owned(),
        head,
        rows: requests.iter().map(row).collect(),
        lead: 0,
    }
}

fn late_grid(desk: &Desk, late: &[LateRequest]) -> Grid {
    let row = |own: &LateRequest| {
        vec![
            Cell::text(&own.request),
            Cell::text(when(&desk.lab.zone, own.finish)),
            Cell::of(Tone::Bad, own.late),
            Cell::text(own.cause()),
        ]
    };
    Grid {
        caption: "Requests that finish late, the latest first".to_owned(),
        head: vec!["request", "finish", "late", "cause"],
        rows: late.iter().map(row).collect(),
        lead: 0,
    }
}

fn rate_grid(rates: &[Rate]) -> Grid {
    let row = |own: &Rate| {
        vec![
            Cell::text(&own.rig),
            Cell::text(&own.method),
            Cell::number(own.visits),
            Cell::number(format!("{:.0}", own.planned)),
            Cell::number(format!("{:.2}", own.median)),
            Cell::number(format!("{:.2} to {:.2}", own.lower, own.upper)),
            Cell::text(
                own.offer
                    .as_ref()
                    .map_or(String::new(), crate::usage::rates::Offer::words),
            ),
        ]
    };
    Grid {
        caption: "Actual by planned exposure: median, and the middle half; a rate is offered, never changed"
            .to_owned(),
        head: vec!["rig", "method", "visits", "planned min", "median", "middle half", "offer"],
        rows: rates.iter().map(row).collect(),
        lead: 0,
    }
}
