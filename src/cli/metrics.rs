//! `rigday metrics`: the lab's gauges for whoever collects them.

use super::Answer;
use super::Exit;
use super::env::Env;
use super::place::{LedgerFile, folder, look};
use crate::app::desk::Desk;
use crate::app::load_view::LoadKnown;
use crate::app::view::View;
use crate::app::walk::state_word;
use crate::domain::{Minute, Minutes, Span};
use crate::floor::{RigState, Task, UnitState};
use crate::report::openmetrics::{Family, Kind, exposition};
use crate::usage::State;
use crate::usage::table::{Grain, intervals};
use clap::Args;
use std::path::PathBuf;

/// Options of `metrics`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
}

/// Prints the lab's gauges in the OpenMetrics text format.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = look(&folder(arguments.lab.as_ref(), env), &arguments.ledger, env)?;
    let now = desk.now();
    let (view, known) = (View::of(&desk, now), LoadKnown::of(&desk, now));
    let mut families = about_the_lab(&desk, now);
    families.extend(about_units(&desk, &view, now));
    families.extend(about_rigs(&desk, &view, &known));
    families.extend(about_people(&desk, &known));
    families.extend(about_the_plan(&desk, &view, &known));
    env.print(&exposition(&families))?;
    Ok(Exit::Done)
}

/// Seconds since 1970-01-01T00:00Z.
fn timestamp(at: Minute) -> f64 {
    (at.get() * 60) as f64
}

fn seconds(length: Minutes) -> f64 {
    (length.get() * 60) as f64
}

fn count(of: usize) -> f64 {
    of as f64
}

fn about_the_lab(desk: &Desk, now: Minute) -> Vec<Family> {
    let labels = [
        ("name", desk.lab.name.as_str()),
        ("zone", desk.lab.zone.name()),
        ("version", env!("CARGO_PKG_VERSION")),
    ];
    vec![
        Family::new(
            "rigday_lab",
            Kind::Info,
            "",
            "The lab, and the program's version.",
        )
        .with(&labels, 1.0),
        Family::gauge(
            "rigday_lab_time_timestamp_seconds",
            "seconds",
            "The instant that these figures are of.",
        )
        .with(&[], timestamp(now)),
        Family::gauge("rigday_ledger_events", "", "Events in the ledger.")
            .with(&[], count(desk.floor.events.len())),
    ]
}

fn about_units(desk: &Desk, view: &View, now: Minute) -> Vec<Family> {
    // Who has no record is no unit of the ledger.
    let states = UnitState::ALL.into_iter();
    let states = states.filter(|state| *state != UnitState::Unknown);
    let mut units = Family::gauge("rigday_units", "", "Units of the lab folder, by state.");
    for state in states {
        let own = view.units.iter().filter(|line| line.state == state).count();
        units.push(&[("state", state_word(state))], count(own));
    }
    let mut due = Family::gauge("rigday_due_tasks", "", "What can be done at the bench now.");
    let tasks = desk.floor.due(&desk.lab, &desk.walks, now, now);
    for (task, word) in [
        (Task::Load, "load"),
        (Task::Unload, "unload"),
        (Task::Verdict, "verdict"),
        (Task::Decide, "decide"),
    ] {
        let own = tasks.iter().filter(|own| own.task == task).count();
        due.push(&[("task", word)], count(own));
    }
    vec![units, due]
}

/// The words of a rig's states.
const RIG_STATES: [(RigState, &str); 5] = [
    (RigState::Idle, "idle"),
    (RigState::Busy, "busy"),
    (RigState::Service, "service"),
    (RigState::Down, "down"),
    (RigState::Closed, "closed"),
];

fn about_rigs(desk: &Desk, view: &View, known: &LoadKnown) -> Vec<Family> {
    let mut state = Family::new(
        "rigday_rig_state",
        Kind::StateSet,
        "",
        "How each rig stands now.",
    );
    let mut positions = Family::gauge("rigday_rig_positions", "", "Units that a rig holds.");
    let mut inside = Family::gauge("rigday_rig_units", "", "Units on a rig now.");
    let mut today = Family::gauge(
        "rigday_rig_today_seconds",
        "seconds",
        "Time of a rig since local midnight, by what it did; adds up to the time since then.",
    );
    let mut backlog = Family::gauge(
        "rigday_rig_backlog_seconds",
        "seconds",
        "Booked work of a rig that has not started.",
    );
    let day = today_up_to_now(desk, known);
    let work = known.usage.backlog(&desk.lab);
    for (ix, rig) in desk.lab.rigs.iter().enumerate() {
        let name = rig.id.as_str();
        for (own, word) in RIG_STATES {
            let is_on = view.rigs[ix].state == own;
            state.push(
                &[("rig", name), ("rigday_rig_state", word)],
                f64::from(u8::from(is_on)),
            );
        }
        positions.push(&[("rig", name)], f64::from(rig.positions));
        inside.push(&[("rig", name)], count(desk.floor.on_rig(&rig.id).count()));
        let minutes = known.usage.rig(ix, day);
        for own in State::ALL {
            today.push(
                &[("rig", name), ("state", own.word())],
                seconds(minutes.states[own]),
            );
        }
        backlog.push(&[("rig", name)], seconds(work[ix]));
    }
    vec![state, positions, inside, today, backlog]
}

/// From local midnight to now.
fn today_up_to_now(desk: &Desk, known: &LoadKnown) -> Span {
    let now = known.usage.now;
    let zone = &desk.lab.zone;
    let today = intervals(zone, zone.local(now).date(), 1, Grain::Day);
    Span::new(today[0].span.start, now)
}

fn about_people(desk: &Desk, known: &LoadKnown) -> Vec<Family> {
    let mut on_shift = Family::gauge(
        "rigday_crew_today_on_shift_seconds",
        "seconds",
        "Time on shift since local midnight, summed over the people of a crew.",
    );
    let mut hands_on = Family::gauge(
        "rigday_crew_today_hands_on_seconds",
        "seconds",
        "Time of loading, unloading and watching since local midnight, summed over the people of a crew.",
    );
    let day = today_up_to_now(desk, known);
    for (ix, crew) in desk.lab.crews.iter().enumerate() {
        let own = known.usage.crew(ix, day);
        on_shift.push(&[("crew", crew.id.as_str())], seconds(own.on_shift));
        hands_on.push(&[("crew", crew.id.as_str())], seconds(own.hands_on));
    }
    vec![on_shift, hands_on]
}

fn about_the_plan(desk: &Desk, view: &View, known: &LoadKnown) -> Vec<Family> {
    let mut families = vec![
        Family::gauge(
            "rigday_requests_unplanned",
            "",
            "Requests that no plan in force knows.",
        )
        .with(&[], count(view.unplanned)),
    ];
    let Some(plan) = &desk.floor.now.published else {
        return families;
    };
    let mut finish = Family::gauge(
        "rigday_request_finish_timestamp_seconds",
        "seconds",
        "When a request finishes by the plan in force.",
    );
    let mut late = Family::gauge(
        "rigday_request_late_seconds",
        "seconds",
        "How late a request finishes by the plan in force.",
    );
    for own in &plan.finishes {
        finish.push(&[("request", own.request.as_str())], timestamp(own.finish));
        late.push(&[("request", own.request.as_str())], seconds(own.late));
    }
    families.extend([
        Family::gauge(
            "rigday_plan_published_timestamp_seconds",
            "seconds",
            "When the plan in force was published.",
        )
        .with(&[], timestamp(plan.at)),
        Family::gauge(
            "rigday_plan_cost",
            "",
            "The cost of the plan in force when it was made.",
        )
        .with(&[], plan.cost as f64),
        Family::gauge(
            "rigday_plan_clashes",
            "",
            "Rules that what is left of the plan in force breaks by now.",
        )
        .with(&[], count(view.clashes.len())),
        Family::gauge(
            "rigday_requests_late",
            "",
            "Requests that the plan in force finishes late.",
        )
        .with(&[], count(known.late.len())),
        Family::gauge(
            "rigday_requests_unplannable",
            "",
            "Requests that the plan in force leaves out.",
        )
        .with(&[], count(plan.unplannable.len())),
        finish,
        late,
    ]);
    families
}
