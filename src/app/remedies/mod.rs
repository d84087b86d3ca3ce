//! The smallest single changes that would make a late request on time, each found by planning a changed lab.
//!
//! Candidates come from the request's chain of reasons ([`crate::planner::why`]): a taken place asks for one
//! more position, an absent crew for one more shift, and so on. Each is made in a copy of the lab, which is
//! planned with the same small number of rounds from the same plan as the lab without it; so the answer is the
//! same on any machine, and nothing is said that was not tried.

mod candidates;

use super::desk::Planning;
use super::what_if::{Change, Days};
use crate::app::dates::Dates;
use crate::domain::plan::{Finish, Plan};
use crate::domain::{Minute, Minutes, RequestId, Zone};
use crate::planner::Rounds;
use candidates::candidates;
use chrono::Timelike;

/// Rounds that every trial is given: few, as it begins from a good plan.
pub const REMEDY_ROUNDS: u64 = 60;

/// One change and what it would do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remedy {
    /// The change.
    pub change: Change,
    /// When the request would finish.
    pub finish: Minute,
    /// How late that is; zero is on time.
    pub late: Minutes,
    /// By how much it would finish earlier than without the change; negative is later.
    pub saves: Minutes,
    /// Other requests that would be late, or later than without the change, and by how much more.
    pub others: Vec<(RequestId, Minutes)>,
}

impl Remedy {
    /// True where it gives the due date up.
    pub const fn gives_up(&self) -> bool {
        matches!(self.change, Change::Due { .. })
    }
}

/// What was found for one late request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remedies {
    /// The request.
    pub request: RequestId,
    /// How late it is without any change, after the same number of rounds.
    pub late: Minutes,
    /// How late it is in the plan that was asked about.
    pub was: Minutes,
    /// How many single changes were tried.
    pub tried: usize,
    /// True where it was stopped before all were tried.
    pub cut_short: bool,
    /// Those that make it on time, the smallest first.
    pub on_time: Vec<Remedy>,
    /// The one that saves most where none makes it on time but a later due date.
    pub best: Option<Remedy>,
}

/// Looks for remedies of a request that is late in `plan`; `rounds` are given to every trial, `news` hears how
/// many of how many are done, and says whether to go on.
pub fn remedies(
    planning: &Planning,
    plan: &Plan,
    request: &RequestId,
    rounds: u64,
    news: &mut dyn FnMut(usize, usize) -> bool,
) -> Remedies {
    let trial = Trial::new(planning, plan, request, rounds);
    let mut found = Remedies {
        request: request.clone(),
        late: trial.late(),
        was: finish_of(plan, request).map_or(Minutes::ZERO, |own| own.late),
        tried: 0,
        cut_short: false,
        on_time: Vec::new(),
        best: None,
    };
    if found.late == Minutes::ZERO {
        return found;
    }
    let mut families = candidates(planning, &trial.unchanged, request);
    families.sort_by_key(|family| size(&family[0], planning));
    let all = families.len();
    for (done, family) in families.into_iter().enumerate() {
        if !news(done, all) {
            found.cut_short = true;
            break;
        }
        for change in family {
            found.tried += 1;
            let Some(remedy) = trial.of(change) else {
                continue;
            };
            if remedy.late == Minutes::ZERO {
                found.on_time.push(remedy);
                break;
            }
            if found
                .best
                .as_ref()
                .is_none_or(|best| remedy.saves > best.saves)
            {
                found.best = Some(remedy);
            }
        }
    }
    found.on_time.sort_by_key(|own| size(&own.change, planning));
    let helped = found.on_time.iter().any(|own| !own.gives_up());
    found.best = found
        .best
        .filter(|best| !helped && best.saves > Minutes::ZERO);
    found
}

/// Plans with one change at a time.
struct Trial<'t> {
    base: Planning,
    request: &'t RequestId,
    rounds: u64,
    unchanged: Plan,
}

impl<'t> Trial<'t> {
    fn new(planning: &Planning, plan: &Plan, request: &'t RequestId, rounds: u64) -> Self {
        let base = planning.starting_from(plan);
        // Another plan of the same cost only makes somebody else late instead.
        let again = base.run(1, &Rounds(rounds), &mut |_| {}).plan;
        let unchanged = if again.cost < plan.cost {
            again
        } else {
            plan.clone()
        };
        Self {
            base,
            request,
            rounds,
            unchanged,
        }
    }

    fn late(&self) -> Minutes {
        finish_of(&self.unchanged, self.request).map_or(Minutes::ZERO, |own| own.late)
    }

    /// What the change does; `None` where it cannot be made, or where it leaves somebody out.
    fn of(&self, change: Change) -> Option<Remedy> {
        let changed = self.base.with_changes(std::slice::from_ref(&change)).ok()?;
        let proposal = changed.run(1, &Rounds(self.rounds), &mut |_| {});
        let plan = &proposal.plan;
        if !proposal.clashes.is_empty() || plan.unplannable.len() > self.unchanged.unplannable.len()
        {
            return None;
        }
        let own = finish_of(plan, self.request)?;
        let before = finish_of(&self.unchanged, self.request)?;
        let worse = plan.requests.iter().filter_map(|other| {
            let was = finish_of(&self.unchanged, &other.request)?;
            let more = other.late - was.late;
            (other.request != *self.request && more > Minutes::ZERO)
                .then(|| (other.request.clone(), more))
        });
        Some(Remedy {
            change,
            finish: own.finish,
            late: own.late,
            saves: before.finish - own.finish,
            others: worse.collect(),
        })
    }
}

fn finish_of<'p>(plan: &'p Plan, request: &RequestId) -> Option<&'p Finish> {
    plan.requests.iter().find(|own| own.request == *request)
}

/// How much a change asks of the lab: its kind, then its amount. A booking put right behind its rest asks
/// least, then a request given way, pins and dates, hours of people, earlier repairs, calibrations, positions,
/// rigs, and at last a later due date, which gives the date up.
fn size(change: &Change, planning: &Planning) -> (u8, i64) {
    match change {
        Change::Pin(_) => (0, 0),
        Change::Priority { priority, .. } => (1, i64::from(*priority)),
        Change::Unpin { .. } => (2, 0),
        Change::Ready { ready, .. } => (3, -ready.get()),
        Change::Shift {
            from,
            to,
            people,
            days,
            ..
        } => {
            let minutes = i64::from(to.num_seconds_from_midnight()) / 60
                - i64::from(from.num_seconds_from_midnight()) / 60;
            let weeks = if matches!(days, Days::On(_)) { 1 } else { 52 };
            (4, minutes.rem_euclid(1440) * i64::from(*people) * weeks)
        }
        Change::RigUp { at, .. } => (5, -at.get()),
        Change::Calibration { rig, due } => {
            let own = planning.lab().rigs.iter().find(|own| own.id == *rig);
            let was = own.and_then(|own| own.calibration_due);
            let days = due
                .zip(was)
                .map_or(i64::MAX, |(due, was)| (due - was).num_days());
            (6, days)
        }
        Change::Positions { positions, .. } => (7, i64::from(*positions)),
        Change::RigCopy { .. } => (8, 0),
        Change::Due { .. } => (10, 0),
        Change::RigDown { .. } | Change::Rush { .. } | Change::Drop { .. } | Change::Horizon(_) => {
            (9, 0)
        }
    }
}

impl Remedies {
    /// What was found, in short lines.
    pub fn lines(&self, zone: &Zone) -> Vec<String> {
        if self.late == Minutes::ZERO {
            return vec!["planned a little longer it is on time; no change is needed".to_owned()];
        }
        let words = |own: &Remedy| self.words(own, zone);
        let mut lines: Vec<String> = Vec::new();
        if self.late < self.was {
            lines.push(format!(
                "planned a little longer, without any change, it is late by {}",
                self.late
            ));
        }
        if self.on_time.iter().all(Remedy::gives_up) {
            let tried = self.tried.saturating_sub(self.on_time.len());
            let stopped = if self.cut_short {
                " (stopped before all were tried)"
            } else {
                ""
            };
            let best = match &self.best {
                Some(best) => format!("the best is {}", words(best)),
                None => "none of them saves anything".to_owned(),
            };
            lines.push(format!(
                "none of the {tried} single changes tried makes it on time; {best}{stopped}"
            ));
        }
        lines.extend(
            self.on_time
                .iter()
                .map(|own| format!("on time with {}", words(own))),
        );
        lines
    }

    fn words(&self, own: &Remedy, zone: &Zone) -> String {
        let at = |at: Minute| Dates::default().short(zone.local(at));
        let is_other = |request: &RequestId| *request != self.request;
        let what = match &own.change {
            Change::Priority {
                priority: 1,
                request,
            } if is_other(request) => {
                format!("{request} put behind (priority 1)")
            }
            Change::Due { due: Some(due), .. } => {
                return format!("a due date {} later, {}", self.late, at(*due));
            }
            change => change.words(zone),
        };
        let saves = format!("saves {}, finishes {}", own.saves, at(own.finish));
        let others = own
            .others
            .iter()
            .map(|(other, more)| format!("{other} by {more}"));
        let others: Vec<String> = others.collect();
        match &others[..] {
            [] => format!("{what}: {saves}"),
            _ => format!(
                "{what}: {saves}; later past their due dates: {}",
                others.join(", ")
            ),
        }
    }
}
