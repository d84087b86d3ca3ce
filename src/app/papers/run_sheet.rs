//! Run sheets: what a crew does in a shift, in order of time, to be ticked and signed.

use super::shared::cautions;
use super::stays::{Stay, stays};
use super::words::{clock, crew_of, how_hard, long_date, place, when};
use super::{Made, days_from};
use crate::app::desk::Desk;
use crate::domain::lab::{Crew, Method, Watch};
use crate::domain::steps::{WalkStep, step_of};
use crate::domain::{CrewId, MethodId, Minute, Minutes, RigId, Span, UnitId};
use crate::report::paper::{Cell, Grid, Look, Paper, Part, Section, Tone};
use chrono::{Datelike, Days, NaiveDate};
use std::collections::{BTreeMap, BTreeSet};

/// A shift of a crew.
struct Shift<'d> {
    crew: &'d CrewId,
    span: Span,
    people: u32,
}

/// What is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Deed {
    Unload,
    Verdict,
    Load,
}

impl Deed {
    const fn word(self) -> &'static str {
        match self {
            Self::Load => "load",
            Self::Unload => "unload",
            Self::Verdict => "check, unload",
        }
    }

    /// The boxes to tick.
    const fn boxes(self) -> &'static str {
        match self {
            Self::Load | Self::Unload => "done",
            Self::Verdict => "pass fail hold",
        }
    }
}

/// A line of the sheet: one deed for one unit, or for all units of a run.
struct Task<'d> {
    at: Minute,
    deed: Deed,
    rig: &'d RigId,
    place: String,
    units: Vec<&'d UnitId>,
    step: u32,
    walk: &'d WalkStep,
    closes: Option<Minute>,
    hands: Minutes,
    beside: Vec<&'d UnitId>,
}

/// The run sheets of a crew, or of all, for the shifts that begin on a local day.
pub fn run_sheet(desk: &Desk, crew: Option<&CrewId>, date: NaiveDate, made: &Made) -> Paper {
    let crews = desk.lab.crews.iter();
    let crews = crews.filter(|own| crew.is_none_or(|crew| own.id == *crew));
    let shifts: Vec<Shift<'_>> = crews.flat_map(|own| shifts_on(desk, own, date)).collect();
    let mut sections: Vec<Section> = Vec::new();
    let mut methods: BTreeSet<&MethodId> = BTreeSet::new();
    for (ix, shift) in shifts.iter().enumerate() {
        let earlier: Vec<Span> = shifts[..ix]
            .iter()
            .filter(|own| own.crew == shift.crew)
            .map(|own| own.span)
            .collect();
        let tasks = tasks(desk, shift, &earlier);
        methods.extend(tasks.iter().map(|own| &own.walk.method));
        sections.push(sheet(desk, shift, &tasks, ix > 0));
    }
    if sections.is_empty() {
        sections.push(Section::new(
            "No shift",
            vec![Part::Text("No shift begins on this day.".to_owned())],
        ));
    }
    sections.extend(cautions(desk, &methods));
    let whose = crew.map_or("all crews".to_owned(), |own| format!("crew {own}"));
    Paper {
        title: format!("Run sheet: {}, {whose}", long_date(date)),
        about: "In order of time, by the plan in force. What is ticked here is recorded with rigday or at \
            the Bench screen too."
            .to_owned(),
        stamp: made.stamp(desk),
        sections,
    }
}

/// The shifts of a crew that begin on a day, by their beginning.
fn shifts_on<'d>(desk: &Desk, crew: &'d Crew, date: NaiveDate) -> Vec<Shift<'d>> {
    if desk.lab.closed.contains(&date) {
        return Vec::new();
    }
    let begins = |own: &&crate::domain::lab::Shift| {
        own.days.contains(&date.weekday()) || own.dates.contains(&date)
    };
    let shift = |own: &crate::domain::lab::Shift| {
        let last = if own.to <= own.from {
            date + Days::new(1)
        } else {
            date
        };
        let zone = &desk.lab.zone;
        Shift {
            crew: &crew.id,
            span: Span::new(zone.edge(date, own.from), zone.edge(last, own.to)),
            people: own.people,
        }
    };
    let mut all: Vec<Shift<'d>> = crew.shifts.iter().filter(begins).map(shift).collect();
    all.retain(|own| own.people > 0 && !own.span.is_empty());
    all.sort_by_key(|own| own.span);
    all
}

/// What the crew does in the shift, and what is open from before where the shift is the one at hand; what
/// an earlier shift of the day has on its sheet is left to it.
fn tasks<'d>(desk: &'d Desk, shift: &Shift<'_>, earlier: &[Span]) -> Vec<Task<'d>> {
    let now = desk.now();
    let at_hand = shift.span.contains(now)
        || (now < shift.span.start
            && earlier.iter().all(|own| own.end <= now)
            && days_from(desk, desk.lab.zone.local(now).date(), 1).contains(shift.span.start));
    let all = stays(desk, now, Span::new(Minute::FIRST, Minute::LAST));
    let mut found: BTreeMap<(Minute, Deed, &RigId, u32, usize), Task<'d>> = BTreeMap::new();
    for (ix, stay) in all
        .iter()
        .enumerate()
        .filter(|(_, own)| own.look != Look::Done)
    {
        for task in deeds_of(desk, stay, shift.crew) {
            let mine =
                shift.span.contains(task.at) && !earlier.iter().any(|own| own.contains(task.at));
            let open = at_hand && task.at < shift.span.start && task.at <= now;
            if !mine && !open {
                continue;
            }
            // Units of a run go in and out as one.
            let key = match stay.run {
                Some(run) => (task.at, task.deed, task.rig, run, 0),
                None => (task.at, task.deed, task.rig, 0, ix + 1),
            };
            match found.get_mut(&key) {
                Some(run) => run.units.extend(task.units),
                None => {
                    found.insert(key, task);
                }
            }
        }
    }
    let mut tasks: Vec<Task<'d>> = found.into_values().collect();
    for task in &mut tasks {
        task.beside = beside(task, &all);
    }
    tasks
}

/// What is to be done for a visit that runs or is ahead.
fn deeds_of<'d>(desk: &'d Desk, stay: &Stay<'d>, crew: &CrewId) -> Vec<Task<'d>> {
    let request = desk.walks.request(&desk.lab, stay.unit);
    let walk = request.and_then(|own| step_of(desk.walks.steps(own), stay.step));
    let Some((walk, method)) = walk.and_then(|own| Some((own, desk.lab.methods.get(&own.method)?)))
    else {
        return Vec::new();
    };
    let (Some(booking), true) = (stay.booking, crew_of(&desk.lab, method) == Some(crew)) else {
        return Vec::new();
    };
    let times = &booking.times;
    let off = stay.span.start - times.load;
    let task = |deed, at: Minute, hands, closes| Task {
        at: at + off,
        deed,
        rig: stay.rig,
        place: place(stay.position, stay.run),
        units: vec![stay.unit],
        step: stay.step,
        walk,
        closes,
        hands,
        beside: Vec::new(),
    };
    let mut tasks = Vec::new();
    if stay.look != Look::Running {
        let watched = if method.watch == Watch::Full {
            times.end - times.start
        } else {
            Minutes::ZERO
        };
        let hands = (times.start - times.load) + watched;
        tasks.push(task(
            Deed::Load,
            times.load,
            hands,
            load_closes(desk, stay, walk),
        ));
    }
    let deed = if verdict_wanted(desk, stay, method) {
        Deed::Verdict
    } else {
        Deed::Unload
    };
    let closes = method.max_wait.map(|wait| times.end + off + wait);
    tasks.push(task(deed, times.unload, times.out - times.unload, closes));
    tasks
}

fn verdict_wanted(desk: &Desk, stay: &Stay<'_>, method: &Method) -> bool {
    let record = desk.floor.now.units.get(stay.unit);
    let given = record.is_some_and(|own| own.verdicts.contains_key(&stay.step));
    method.verdict && !given
}

/// When the largest rest before the visit's step ends, as its last step came or will come out.
fn load_closes(desk: &Desk, stay: &Stay<'_>, walk: &WalkStep) -> Option<Minute> {
    let most = walk.rest.max?;
    let before = stay.step.checked_sub(1)?;
    let record = desk.floor.now.units.get(stay.unit);
    let was = record.and_then(|own| own.visits.get(&before)?.out);
    let out = was.or_else(|| {
        desk.floor
            .booking(stay.unit, before)
            .map(|own| own.times.out)
    })?;
    Some(out + most)
}

/// The other units that are in the rig at that moment.
fn beside<'d>(task: &Task<'_>, all: &[Stay<'d>]) -> Vec<&'d UnitId> {
    let there = |own: &&Stay<'d>| {
        own.rig == task.rig
            && own.look != Look::Done
            && own.span.contains(task.at)
            && !task.units.contains(&own.unit)
    };
    all.iter().filter(there).map(|own| own.unit).collect()
}

/// What no time of the plan tells: verdicts that are missing of units that came out, and units on a rig
/// without a booking that says until when.
fn besides(desk: &Desk, crew: &CrewId) -> Vec<String> {
    let mut lines = Vec::new();
    for (unit, record) in &desk.floor.now.units {
        let Some(request) = desk.walks.request(&desk.lab, unit) else {
            continue;
        };
        let steps = desk.walks.steps(request);
        for (step, visit) in &record.visits {
            let method = step_of(steps, *step).and_then(|own| desk.lab.methods.get(&own.method));
            let Some(method) = method.filter(|own| crew_of(&desk.lab, own) == Some(crew)) else {
                continue;
            };
            let booked = desk.floor.booking(unit, *step);
            let wanted =
                record.withdrawn.is_none() && record.verdict_missing(&desk.lab, steps, *step);
            match visit.out {
                None if booked.is_none_or(|own| own.rig != visit.rig) => lines.push(format!(
                    "{unit} step {step} is on {} since {}, and no booking says until when",
                    visit.rig,
                    when(&desk.lab.zone, visit.loaded)
                )),
                Some(out) if wanted => lines.push(format!(
                    "{unit} step {step} {} came out of {} {}: its verdict is missing",
                    method.id,
                    visit.rig,
                    when(&desk.lab.zone, out)
                )),
                _ => {}
            }
        }
    }
    lines
}

/// The sheet of a shift.
fn sheet(desk: &Desk, shift: &Shift<'_>, tasks: &[Task<'_>], new_page: bool) -> Section {
    let zone = &desk.lab.zone;
    let mut parts = vec![sheet_facts(desk, shift, tasks)];
    parts.push(Part::grid_or(
        Grid {
            caption: "In order of time, with hands-on minutes; a check shows its three verdicts"
                .to_owned(),
            head: vec![
                "when",
                "do",
                "rig",
                "units",
                "step",
                "min",
                "tick",
                "method",
                "beside it",
                "window closes",
            ],
            rows: tasks
                .iter()
                .map(|task| task_row(desk, shift, task))
                .collect(),
            lead: 7,
        },
        "By the plan in force there is nothing to do for this crew in this shift.",
    ));
    let besides = besides(desk, shift.crew);
    if !besides.is_empty() {
        parts.push(Part::List(besides));
    }
    parts.push(Part::Sign(vec!["Done by", "Date", "Signature"]));
    Section {
        title: format!(
            "Crew {}, {} to {}",
            shift.crew,
            clock(zone, shift.span.start),
            clock(zone, shift.span.end)
        ),
        new_page,
        parts,
    }
}

/// What the shift comes to.
fn sheet_facts(desk: &Desk, shift: &Shift<'_>, tasks: &[Task<'_>]) -> Part {
    let zone = &desk.lab.zone;
    let hands: Minutes = tasks.iter().map(|own| own.hands).sum();
    let open = tasks.iter().filter(|own| own.at < shift.span.start).count();
    Part::Facts(vec![
        (
            "Shift",
            format!(
                "{} to {}",
                when(zone, shift.span.start),
                when(zone, shift.span.end)
            ),
        ),
        ("People", shift.people.to_string()),
        ("Lines", tasks.len().to_string()),
        ("Open from before", open.to_string()),
        (
            "Hands-on",
            format!(
                "{hands} of {}",
                shift.span.length() * i64::from(shift.people)
            ),
        ),
    ])
}

/// A line of the sheet.
fn task_row(desk: &Desk, shift: &Shift<'_>, task: &Task<'_>) -> Vec<Cell> {
    let zone = &desk.lab.zone;
    let open = task.at < shift.span.start;
    let at = if open {
        when(zone, task.at)
    } else {
        clock(zone, task.at)
    };
    let list = |units: &[&UnitId]| {
        units
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(", ")
    };
    vec![
        Cell::of(if open { Tone::Look } else { Tone::Plain }, at),
        Cell::text(task.deed.word()),
        Cell::text(format!("{} {}", task.rig, task.place).trim_end()),
        Cell::text(list(&task.units)),
        Cell::number(task.step),
        Cell::number(task.hands.get()),
        Cell::of(Tone::Tick, task.deed.boxes()),
        Cell::text(format!("{}: {}", task.walk.method, how_hard(task.walk))),
        Cell::text(list(&task.beside)),
        Cell::text(task.closes.map_or(String::new(), |at| when(zone, at))),
    ]
}
