//! Sections that several papers have.

use super::stays::{Stay, out_of_use, strips};
use super::words::{clock, when};
use crate::app::desk::Desk;
use crate::app::walk::{event_words, verdict_word};
use crate::domain::standard::PREVAIL;
use crate::domain::{Event, EventBody, MethodId, Minute, Minutes, Seq, Span, Verdict};
use crate::floor::UnitState;
use crate::report::chart::Chart;
use crate::report::paper::{Cell, Figure, Grid, Look, Part, Section, Tone};
use std::collections::{BTreeMap, BTreeSet};

/// Marks of visits with their meaning.
const LEGEND: [(Look, &str); 5] = [
    (Look::Done, "over"),
    (Look::Running, "in the rig"),
    (Look::Booked, "booked"),
    (Look::Late, "should have begun"),
    (Look::Down, "out of use"),
];

/// The rigs over a stretch of time, with what was and what is booked.
pub(super) fn rigs_figure(
    desk: &Desk,
    now: Minute,
    window: Span,
    marks: Vec<(Minute, String)>,
    stays: &[Stay<'_>],
) -> Part {
    let strips = strips(desk, now, stays);
    let chart = Chart {
        title: "Rigs over time",
        window,
        marks,
        now,
        strips: &strips,
    };
    Part::Figure(Figure {
        svg: chart.svg(),
        caption: "A strip a rig, a lane a position; +2 is two more units in the same run. \
            The upright line is the moment that the paper tells of."
            .to_owned(),
        legend: LEGEND.to_vec(),
    })
}

/// Events of a stretch of time, by when they happened.
pub(super) fn events_in(desk: &Desk, window: Span) -> Vec<&Event> {
    let within = |own: &&Event| window.contains(own.happened);
    let mut events: Vec<&Event> = desk.floor.events.iter().filter(within).collect();
    events.sort_by_key(|own| (own.happened, own.seq));
    events
}

/// A text, struck where its event does not count any more.
pub(super) fn counted(desk: &Desk, seq: Seq, tone: Tone, text: &str) -> Cell {
    let void = desk.floor.voided.contains(&seq);
    Cell::of(if void { Tone::Void } else { tone }, text)
}

/// How a verdict is meant.
pub(super) const fn tone(verdict: &Verdict) -> Tone {
    match verdict {
        Verdict::Pass => Tone::Good,
        Verdict::Fail { .. } => Tone::Bad,
        Verdict::Hold { .. } => Tone::Look,
    }
}

/// The verdicts among the events, those that were taken back struck.
pub(super) fn verdicts(desk: &Desk, events: &[&Event], with_day: bool) -> Grid {
    let mut rows = Vec::new();
    for event in events {
        let EventBody::VerdictGiven {
            unit,
            step,
            verdict,
        } = &event.body
        else {
            continue;
        };
        let method = desk.walks.request(&desk.lab, unit).and_then(|request| {
            let steps = desk.walks.steps(request);
            crate::domain::steps::step_of(steps, *step).map(|own| own.method.to_string())
        });
        let reason = match verdict {
            Verdict::Fail { reason } | Verdict::Hold { reason } => reason.as_str(),
            Verdict::Pass => "",
        };
        let at = if with_day { when } else { clock };
        rows.push(vec![
            Cell::text(at(&desk.lab.zone, event.happened)),
            Cell::text(unit),
            Cell::number(step),
            Cell::text(method.unwrap_or_default()),
            counted(desk, event.seq, tone(verdict), verdict_word(verdict)),
            Cell::text(reason),
            Cell::text(&event.actor.person),
            Cell::number(event.seq.0),
        ]);
    }
    Grid {
        caption: "Verdicts, in the order in which they were given".to_owned(),
        head: vec![
            "when", "unit", "step", "method", "verdict", "reason", "by", "event",
        ],
        rows,
        lead: 0,
    }
}

/// Pass, fail and hold among the events that count.
pub(super) fn verdict_counts(desk: &Desk, events: &[&Event]) -> [usize; 3] {
    let mut counts = [0; 3];
    for event in events
        .iter()
        .filter(|own| !desk.floor.voided.contains(&own.seq))
    {
        if let EventBody::VerdictGiven { verdict, .. } = &event.body {
            let place = match verdict {
                Verdict::Pass => 0,
                Verdict::Fail { .. } => 1,
                Verdict::Hold { .. } => 2,
            };
            counts[place] += 1;
        }
    }
    counts
}

/// What else was recorded: everything but visits, verdicts and the parts of plans.
pub(super) fn other_events(desk: &Desk, events: &[&Event], with_day: bool) -> Grid {
    let is_other = |own: &&Event| {
        !matches!(
            own.body,
            EventBody::VisitStarted { .. }
                | EventBody::VisitEnded { .. }
                | EventBody::VerdictGiven { .. }
                | EventBody::PlanBookings { .. }
        )
    };
    let caption = "Plans, notes, corrections and whatever else was recorded";
    told(
        desk,
        events.iter().copied().filter(is_other),
        caption,
        with_day,
    )
}

/// Events in words, with who and when; those taken back struck.
pub(super) fn told<'e>(
    desk: &Desk,
    events: impl Iterator<Item = &'e Event>,
    caption: &str,
    with_day: bool,
) -> Grid {
    let at = if with_day { when } else { clock };
    let row = |event: &Event| {
        vec![
            Cell::text(at(&desk.lab.zone, event.happened)),
            counted(desk, event.seq, Tone::Plain, &event_words(event)),
            Cell::text(&event.actor.person),
            Cell::number(event.seq.0),
        ]
    };
    Grid {
        caption: caption.to_owned(),
        head: vec!["when", "what", "by", "event"],
        rows: events.map(row).collect(),
        lead: 0,
    }
}

/// Rigs that are out of use in the window.
pub(super) fn rigs_out(desk: &Desk, now: Minute, window: Span) -> Grid {
    let mut rows = Vec::new();
    for rig in &desk.lab.rigs {
        for (span, why) in out_of_use(desk, &rig.id, now) {
            let piece = span.meet(window);
            if piece.is_empty() {
                continue;
            }
            let until = if span.end == Minute::LAST {
                "open".to_owned()
            } else {
                when(&desk.lab.zone, span.end)
            };
            rows.push(vec![
                Cell::text(&rig.id),
                Cell::text(&rig.name),
                Cell::text(when(&desk.lab.zone, span.start)),
                Cell::text(until),
                Cell::text(why),
            ]);
        }
    }
    Grid {
        caption: "Rigs out of use, an end ahead as it is expected".to_owned(),
        head: vec!["rig", "name", "from", "until", "why"],
        rows,
        lead: 0,
    }
}

/// How the requests stand that have units in the lab or are still to come.
pub(super) fn requests(desk: &Desk, now: Minute) -> Grid {
    let published = desk.floor.now.published.as_ref();
    let mut rows = Vec::new();
    for request in &desk.lab.requests {
        let mut states: BTreeMap<UnitState, usize> = BTreeMap::new();
        for unit in &request.units {
            let state = desk.floor.unit_state(&desk.lab, &desk.walks, unit, now);
            *states.entry(state).or_default() += 1;
        }
        let over = |state: &UnitState| {
            matches!(
                state,
                UnitState::Passed | UnitState::Failed | UnitState::Out
            )
        };
        if states.keys().all(over) {
            continue;
        }
        let states: Vec<String> = states
            .iter()
            .map(|(state, count)| format!("{count} {}", crate::app::walk::state_word(*state)))
            .collect();
        let finish =
            published.and_then(|plan| plan.finishes.iter().find(|own| own.request == request.id));
        let left = published.and_then(|plan| {
            plan.unplannable
                .iter()
                .find(|own| own.request == request.id)
        });
        let late = finish.map_or(Minutes::ZERO, |own| own.late);
        let by_plan = match (finish, left) {
            (Some(own), _) => Cell::text(when(&desk.lab.zone, own.finish)),
            (None, Some(_)) => Cell::of(Tone::Bad, "left out"),
            (None, None) => Cell::of(Tone::Look, "not planned"),
        };
        rows.push(vec![
            Cell::text(&request.id),
            Cell::text(format!("{} {}", request.product, request.build)),
            Cell::text(&request.sequence),
            Cell::text(states.join(", ")),
            Cell::text(
                request
                    .due
                    .map_or(String::new(), |at| when(&desk.lab.zone, at)),
            ),
            by_plan,
            if late > Minutes::ZERO {
                Cell::of(Tone::Bad, late)
            } else {
                Cell::text("")
            },
        ]);
    }
    Grid {
        caption: "Requests that are not over".to_owned(),
        head: vec![
            "request",
            "product",
            "sequence",
            "units",
            "due",
            "finish by plan",
            "late",
        ],
        rows,
        lead: 0,
    }
}

/// The cautions of the methods, each once, and who prevails; `None` where there is none.
pub(super) fn cautions(desk: &Desk, methods: &BTreeSet<&MethodId>) -> Option<Section> {
    let mut said: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for id in methods {
        let method = desk.lab.methods.get(*id);
        for caution in method.into_iter().flat_map(|own| &own.cautions) {
            said.entry(caution).or_default().push(id.as_str());
        }
    }
    if said.is_empty() {
        return None;
    }
    let caution = |(words, methods): (&&str, &Vec<&str>)| {
        Part::Caution(format!("{words} ({})", methods.join(", ")))
    };
    let mut parts: Vec<Part> = said.iter().map(caution).collect();
    parts.push(Part::Text(PREVAIL.to_owned()));
    Some(Section::new("Cautions", parts))
}
