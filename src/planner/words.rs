//! Every sentence of the planner, in one place.

use super::because::Because;
use super::why::{Holder, Link};
use crate::domain::{CrewId, Minute, Minutes};
use crate::problem::{CrewIx, Problem, RequestIx, RigIx, UnitIx};

/// The reason in words. `load` is when the booking loads.
pub(super) fn because(problem: &Problem, because: &Because, load: Minute) -> String {
    let when = |at| clock(problem, at, load);
    let from = clock(problem, load, load);
    match because {
        Because::Fact => "has started already".to_owned(),
        Because::Pinned => "is pinned to this rig and time".to_owned(),
        Because::Frozen => "starts within the freeze time and stays as published".to_owned(),
        Because::Now => "starts at once".to_owned(),
        Because::Ready => format!("its request is ready at {from}, not before"),
        Because::After { step, out, rest } => after(*step, &when(*out), *rest),
        Because::RunWaits { unit, out } => {
            let id = &problem.units[unit.ix()].id;
            match out {
                Some(out) => format!("its run waits for {id}, free at {}", when(*out)),
                None => format!("its run waits for {id}, which cannot load before {from}"),
            }
        }
        Because::RunFixed { unit } => {
            format!(
                "shares the run of {}, which is fixed",
                problem.units[unit.ix()].id
            )
        }
        Because::RigOut { rig, until } => {
            format!(
                "{} is out of use until {}{}",
                name(problem, *rig),
                when(*until),
                why_out(problem, *rig, *until)
            )
        }
        Because::RigOutAhead { rig, from } => format!(
            "begun earlier it would run into a time from {} when {} cannot be used",
            when(*from),
            name(problem, *rig)
        ),
        Because::Taken {
            rig,
            by,
            until,
            changeover,
        } => taken(problem, *rig, *by, &when(*until), *changeover),
        Because::GapTooShort { rig } => {
            format!(
                "the time free on {} before {from} is too short for it",
                name(problem, *rig)
            )
        }
        Because::NoShift { crew, for_watch } => no_shift(&problem.crews[crew.ix()].id, *for_watch),
        Because::CrewBusy { crew, for_watch } => {
            let crew = &problem.crews[crew.ix()].id;
            let what = if *for_watch { "watch it" } else { "load it" };
            format!("begun earlier, everybody of crew {crew} would be too busy to {what}")
        }
        Because::NoSite => {
            "begun earlier, a part of its exposure would run with nobody on site".to_owned()
        }
        Because::NoUnload { crew } => {
            let crew = &problem.crews[crew.ix()].id;
            format!("begun earlier, nobody of crew {crew} would be free to unload it in time")
        }
        Because::NextStep { rest_max } => {
            format!("begun earlier, its next step could not follow within {rest_max}")
        }
        Because::OnlyWaits => "begun earlier, it would come out no earlier".to_owned(),
        Because::Slack => "could begin earlier; its request would finish no earlier".to_owned(),
    }
}

fn after(step: usize, out: &str, rest: Minutes) -> String {
    let step = step + 1;
    if rest == Minutes::ZERO {
        format!("follows step {step}, which comes out at {out}")
    } else {
        format!("rests {rest} after step {step}, which comes out at {out}")
    }
}

fn no_shift(crew: &CrewId, for_watch: bool) -> String {
    let what = if for_watch {
        "watch it to its end"
    } else {
        "load it"
    };
    format!("begun earlier, nobody of crew {crew} would be on shift to {what}")
}

fn taken(
    problem: &Problem,
    rig: RigIx,
    by: Option<UnitIx>,
    until: &str,
    changeover: bool,
) -> String {
    let own = &problem.rigs[rig.ix()];
    let change = if changeover {
        format!(", then {} of changeover", own.changeover)
    } else {
        String::new()
    };
    match by {
        Some(unit) => {
            let id = &problem.units[unit.ix()].id;
            format!(
                "its place on {} is taken by {id} until {until}{change}",
                own.id
            )
        }
        None => format!("{} is taken until {until}{change}", own.id),
    }
}

/// Why a request that could be done in principle finds no place even alone.
pub(super) fn no_place(problem: &Problem, request: RequestIx, step: usize) -> String {
    let request = &problem.requests[request.ix()];
    let method = &problem.condition(&request.steps[step]).method;
    let rigs: Vec<String> = problem
        .rigs_for(&request.steps[step])
        .iter()
        .take(4)
        .map(|(rig, _)| name(problem, *rig))
        .collect();
    format!(
        "{method} finds no valid place on {} even in an empty lab: horizon, outages, calibration, \
         shifts, rests and pins leave none",
        rigs.join(", ")
    )
}

/// Why a request that is ready too late to be planned at all is left out.
pub(super) fn ready_after_horizon(problem: &Problem, request: RequestIx) -> String {
    let ready = problem.requests[request.ix()].ready;
    let days = (ready - problem.now).get().div_euclid(1440);
    format!(
        "R11: it is ready {}, after the plan's end {}; a horizon above {days}d would reach it",
        clock(problem, ready, problem.now),
        clock(problem, problem.end, problem.now)
    )
}

/// Why a request that would find a place alone finds none beside the others.
pub(super) fn no_room(problem: &Problem, request: RequestIx, step: usize) -> String {
    let request = &problem.requests[request.ix()];
    let method = &problem.condition(&request.steps[step]).method;
    format!(
        "{method} finds no place beside the other requests within the horizon; a longer horizon or fewer pins may help"
    )
}

/// A rig's name.
pub(super) fn name(problem: &Problem, rig: RigIx) -> String {
    problem.rigs[rig.ix()].id.to_string()
}

fn why_out(problem: &Problem, rig: RigIx, until: Minute) -> String {
    let outages = &problem.rigs[rig.ix()].outages;
    let reason = outages
        .iter()
        .find(|(span, _)| span.end == until)
        .map(|(_, reason)| reason);
    reason
        .filter(|reason| !reason.is_empty())
        .map_or_else(String::new, |reason| format!(" ({reason})"))
}

/// The time of day in the lab, with the date where it is not the day of `beside`.
pub(super) fn clock(problem: &Problem, at: Minute, beside: Minute) -> String {
    let (local, other) = (problem.zone.local(at), problem.zone.local(beside));
    let format = if local.date() == other.date() {
        "%H:%M"
    } else {
        "%a %d %b %H:%M"
    };
    local.format(format).to_string()
}

/// The local day of a minute.
pub(super) fn day(problem: &Problem, at: Minute) -> String {
    problem.zone.local(at).format("%a %d %b %Y").to_string()
}

/// A chain of reasons, a line a link; visits that follow each other on one rig share a line, and the middle
/// of a long chain is left out.
pub(super) fn chain(problem: &Problem, chain: &[Link]) -> Vec<String> {
    const SHOWN: usize = 12;
    let mut lines = Vec::new();
    let mut at = 0;
    while at < chain.len() {
        let holder = chain[at].because.holder();
        lines.push(link(problem, &chain[at]));
        // Those that only queue for the same rig or crew say nothing new.
        let same = |own: &&Link| holder.is_some() && own.because.holder() == holder;
        let queue: Vec<&Link> = chain[at + 1..].iter().take_while(same).collect();
        at += 1 + queue.len();
        match queue[..] {
            [] => {}
            [one] => lines.push(link(problem, one)),
            _ => lines.extend(holder.map(|holder| queued(problem, holder, &queue))),
        }
    }
    if lines.len() > SHOWN {
        let left_out = lines.len() - SHOWN + 1;
        let from = SHOWN / 2;
        let words = format!("({left_out} more links of the same kinds)");
        lines.splice(from..from + left_out, [words]);
    }
    if let Some(last) = chain.last() {
        lines.push(format!("cause: {}", cause(problem, chain, last)));
    }
    lines
}

/// One visit of a chain with its reason.
fn link(problem: &Problem, link: &Link) -> String {
    let visit = &link.visit;
    let times = &visit.times;
    let method = &problem
        .condition(problem.step(visit.unit, visit.step))
        .method;
    let mut text = format!(
        "{} step {} {method} on {}, {} to {}: {}",
        problem.units[visit.unit.ix()].id,
        visit.step + 1,
        name(problem, visit.rig),
        clock(problem, times.load, problem.now),
        clock(problem, times.out, times.load),
        because(problem, &link.because, times.load)
    );
    if link.pauses > Minutes::ZERO {
        text.push_str(&format!(
            "; it pauses {} while its watch is away",
            link.pauses
        ));
    }
    if link.waits > Minutes::ZERO {
        text.push_str(&format!(
            "; it waits {} in the rig to be unloaded",
            link.waits
        ));
    }
    text
}

/// Visits that follow each other on one rig or keep one crew busy.
fn queued(problem: &Problem, holder: Holder, queue: &[&Link]) -> String {
    const NAMED: usize = 4;
    let units: Vec<String> = queue
        .iter()
        .take(NAMED)
        .map(|own| problem.units[own.visit.unit.ix()].id.to_string())
        .collect();
    let more = match queue.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let first = queue[queue.len() - 1].visit;
    let place = match holder {
        Holder::Rig(rig) => format!("on {}", name(problem, rig)),
        Holder::Busy(crew) | Holder::Away(crew) => {
            format!("for crew {}", problem.crews[crew.ix()].id)
        }
    };
    format!(
        "before it {place}, one after another since {}: {}{more}",
        clock(problem, first.times.load, problem.now),
        units.join(", ")
    )
}

/// What a chain comes down to: what held it up longest, where anything did, and its last reason.
fn cause(problem: &Problem, chain: &[Link], last: &Link) -> String {
    let root = root(problem, last);
    let crew = |crew: &CrewIx| &problem.crews[crew.ix()].id;
    let held = super::why::held_up(problem, chain);
    let words = held.iter().take(2).map(|(holder, minutes)| match holder {
        Holder::Rig(rig) => format!("{} taken before for {minutes}", name(problem, *rig)),
        Holder::Busy(own) => format!("crew {} busy for {minutes}", crew(own)),
        Holder::Away(own) => format!("{minutes} of waiting for crew {}", crew(own)),
    });
    let words: Vec<String> = words.collect();
    if words.is_empty() {
        return root;
    }
    format!("{}; it begins where {root}", words.join(", "))
}

/// The last reason of a chain as a cause.
fn root(problem: &Problem, last: &Link) -> String {
    let visit = &last.visit;
    let id = &problem.units[visit.unit.ix()].id;
    let request = problem.request_of(visit.unit);
    let load = clock(problem, visit.times.load, problem.now);
    match &last.because {
        Because::Fact => format!("{id} is on {} since {load}", name(problem, visit.rig)),
        Because::Now => format!("{id} can start no earlier than now"),
        Because::Ready => format!("{} is ready at {load}, not before", request.id),
        Because::Pinned => format!(
            "{id} step {} is pinned to {} at {load}",
            visit.step + 1,
            name(problem, visit.rig)
        ),
        Because::Frozen => format!("{id} starts within the freeze time and stays as published"),
        Because::RigOut { rig, until } => format!(
            "{} is out of use until {}{}",
            name(problem, *rig),
            clock(problem, *until, problem.now),
            why_out(problem, *rig, *until)
        ),
        Because::RigOutAhead { rig, from } => {
            let own = &problem.rigs[rig.ix()];
            let what = if own.calibrated_until == *from {
                "its calibration ends"
            } else {
                "it is out of use"
            };
            format!(
                "{}: {what} from {}",
                own.id,
                clock(problem, *from, problem.now)
            )
        }
        other => format!("{id}: {}", because(problem, other, visit.times.load)),
    }
}
