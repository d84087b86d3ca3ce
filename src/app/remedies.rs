//! The smallest single changes that would make a late request on time, each found by planning a changed lab.
//!
//! Candidates come from the request's chain of reasons ([`crate::planner::why`]): a taken place asks for one
//! more position, an absent crew for one more shift, and so on. Each is made in a copy of the lab, which is
//! planned with the same small number of rounds from the same plan as the lab without it; so the answer is the
//! same on any machine, and nothing is said that was not tried.

use super::desk::Planning;
use super::what_if::{Change, Days};
use crate::domain::lab::{Crew, Lab, Pin, Shift};
use crate::domain::plan::{Finish, Plan};
use crate::domain::{CrewId, Minute, Minutes, RequestId, RigId, UnitId, Zone};
use crate::planner::Rounds;
use crate::planner::why::{Because, Link, chain, held_up};
use crate::problem::{self, Problem, RequestIx};
use chrono::{Datelike, Days as CountOfDays, NaiveDate, Timelike};

/// Rounds that every trial is given: few, as it begins from a good plan.
pub const REMEDY_ROUNDS: u64 = 60;
/// Most candidates that are tried for one request.
const MOST: usize = 24;

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
    /// How many single changes were tried.
    pub tried: usize,
    /// Those that make it on time, the smallest first.
    pub on_time: Vec<Remedy>,
    /// The one that saves most where none makes it on time but a later due date.
    pub best: Option<Remedy>,
}

/// A change of one kind, from the smallest to the largest worth trying: the first that helps is enough.
type Family = Vec<Change>;

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
        tried: 0,
        on_time: Vec::new(),
        best: None,
    };
    if found.late == Minutes::ZERO {
        return found;
    }
    let mut families = candidates(planning, plan, request);
    families.sort_by_key(|family| size(&family[0], planning));
    families.truncate(MOST);
    let all = families.len();
    for (done, family) in families.into_iter().enumerate() {
        if !news(done, all) {
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
        let unchanged = base.run(1, &mut Rounds(rounds), &mut |_| {}).plan;
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
        let proposal = changed.run(1, &mut Rounds(self.rounds), &mut |_| {});
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

/// What is worth trying, taken from the chain of reasons.
fn candidates(planning: &Planning, plan: &Plan, request: &RequestId) -> Vec<Family> {
    let problem = planning.problem();
    let (visits, _) = problem.resolve(&plan.bookings);
    let own = problem::Plan {
        visits,
        left: Vec::new(),
    };
    let Some(ix) = problem.requests.iter().position(|own| own.id == *request) else {
        return Vec::new();
    };
    let ix = RequestIx::from(ix);
    let links = chain(&problem, &own, ix);
    let mut search = Search {
        problem: &problem,
        plan: &own,
        lab: planning.lab(),
        ix,
        found: Vec::new(),
    };
    search.about_request(finish_of(plan, request), planning.now());
    for (at, link) in links.iter().enumerate() {
        search.about_place(link, links.get(at + 1));
        search.about_people(link);
        search.about_dates(link);
    }
    let held = held_up(&problem, &links).into_iter();
    if let Some(rig) = held.filter_map(|(holder, _)| holder.rig()).next() {
        let rig = problem.rigs[rig.ix()].id.clone();
        let copy = RigId::new(&format!("{rig}-more"));
        search.add(vec![Change::RigCopy { rig, copy }]);
    }
    search.found
}

/// Gathers candidates.
struct Search<'s> {
    problem: &'s Problem,
    plan: &'s problem::Plan,
    lab: &'s Lab,
    ix: RequestIx,
    found: Vec<Family>,
}

impl Search<'_> {
    fn add(&mut self, family: Family) {
        if !family.is_empty() && !self.found.contains(&family) {
            self.found.push(family);
        }
    }

    /// A higher priority, an earlier ready date, and how much later it would have to be due.
    fn about_request(&mut self, finish: Option<&Finish>, now: Minute) {
        let own = &self.problem.requests[self.ix.ix()];
        let request = own.id.clone();
        if own.priority < 9 {
            self.add(vec![Change::Priority {
                request: request.clone(),
                priority: 9,
            }]);
        }
        let Some(finish) = finish else { return };
        let earlier = (own.ready - finish.late).max(now);
        if own.ready > now && earlier < own.ready {
            self.add(vec![Change::Ready {
                request: request.clone(),
                ready: earlier,
            }]);
        }
        self.add(vec![Change::Due {
            request,
            due: Some(finish.finish),
        }]);
    }

    /// One more position; the competing request put behind; the booking right behind its rest.
    fn about_place(&mut self, link: &Link, next: Option<&Link>) {
        let visit = &link.visit;
        if let Some(rig) = link.because.taken_rig() {
            let rig = &self.problem.rigs[rig.ix()];
            let positions = rig.positions + 1;
            self.add(vec![Change::Positions {
                rig: rig.id.clone(),
                positions,
            }]);
        }
        let waits_for_others = link.because.taken_rig().is_some()
            || matches!(
                link.because,
                Because::CrewBusy { .. } | Because::NoUnload { .. }
            );
        if let Some(next) = next.filter(|_| waits_for_others) {
            let other = self.problem.units[next.visit.unit.ix()].request;
            let competitor = &self.problem.requests[other.ix()];
            if other != self.ix && competitor.priority > 1 {
                let request = competitor.id.clone();
                self.add(vec![Change::Priority {
                    request,
                    priority: 1,
                }]);
            }
        }
        if waits_for_others && self.problem.units[visit.unit.ix()].request == self.ix {
            self.add(self.right_behind(link).into_iter().collect());
        }
    }

    /// The booking at the lower end of its rest, where it loads later than that.
    fn right_behind(&self, link: &Link) -> Option<Change> {
        let visit = &link.visit;
        let lowest = self.lowest(link)?;
        if lowest >= visit.times.load {
            return None;
        }
        Some(Change::Pin(Pin {
            unit: self.problem.units[visit.unit.ix()].id.clone(),
            step: u32::try_from(visit.step + 1).ok()?,
            rig: self.problem.rigs[visit.rig.ix()].id.clone(),
            start: lowest,
        }))
    }

    /// The earliest load that the step before and its rest allow.
    fn lowest(&self, link: &Link) -> Option<Minute> {
        let visit = &link.visit;
        let before = visit.step.checked_sub(1)?;
        let key = (visit.unit, before);
        let before = self
            .plan
            .visits
            .iter()
            .find(|own| (own.unit, own.step) == key)?;
        let rest = self.problem.step(visit.unit, visit.step).rest_min;
        Some((before.times.out + rest).max(self.problem.now))
    }

    /// One more shift, a longer one, or one more in it, on the days through which the visit waits for people.
    fn about_people(&mut self, link: &Link) {
        let condition = self
            .problem
            .step(link.visit.unit, link.visit.step)
            .condition;
        let crew = self.problem.conditions[condition.ix()].crew;
        let crew = self.problem.crews[crew.ix()].id.clone();
        let times = &link.visit.times;
        let for_load = matches!(
            link.because,
            Because::NoShift { .. }
                | Because::CrewBusy { .. }
                | Because::NoUnload { .. }
                | Because::OnlyWaits
                | Because::NoSite
        );
        if for_load {
            let from = self.lowest(link).unwrap_or(self.problem.now);
            self.shifts(&crew, from, times.load);
        }
        if link.pauses > Minutes::ZERO {
            self.shifts(&crew, times.start, times.end);
        }
        if link.waits > Minutes::ZERO {
            self.shifts(&crew, times.end, times.unload);
        }
    }

    /// Extra shifts on the last days before `until`.
    fn shifts(&mut self, crew: &CrewId, from: Minute, until: Minute) {
        const DAYS: usize = 4;
        let Some(own) = self.lab.crews.iter().find(|own| own.id == *crew) else {
            return;
        };
        let (first, last) = (
            self.lab.zone.local(from).date(),
            self.lab.zone.local(until).date(),
        );
        let dates = std::iter::successors(Some(last), NaiveDate::pred_opt);
        for date in dates.take_while(|date| *date >= first).take(DAYS) {
            if !self.lab.closed.contains(&date) {
                for family in shifts_on(own, date) {
                    self.add(family);
                }
            }
        }
    }

    /// An outage that ends earlier, a later calibration, a pin taken away.
    fn about_dates(&mut self, link: &Link) {
        match &link.because {
            Because::RigOut { rig, until } => {
                let own = &self.problem.rigs[rig.ix()];
                let spans = own.outages.iter().map(|(span, _)| *span);
                if let Some(span) = spans.filter(|span| span.end == *until).min() {
                    self.add(self.ended_earlier(&own.id, span.start, span.end));
                }
            }
            Because::RigOutAhead { rig, from } => {
                let own = &self.problem.rigs[rig.ix()];
                if own.calibrated_until == *from {
                    self.add(self.calibrated_longer(&own.id));
                } else if own.outages.iter().any(|(span, _)| span.start == *from) {
                    self.add(vec![Change::RigUp {
                        rig: own.id.clone(),
                        at: *from,
                    }]);
                }
            }
            Because::Pinned => {
                let unit: UnitId = self.problem.units[link.visit.unit.ix()].id.clone();
                let step = u32::try_from(link.visit.step + 1).unwrap_or(u32::MAX);
                self.add(vec![Change::Unpin { unit, step }]);
            }
            _ => {}
        }
    }

    /// A quarter, half, three quarters and the whole of what is left of an outage off its end.
    fn ended_earlier(&self, rig: &RigId, start: Minute, end: Minute) -> Family {
        let start = start.max(self.problem.now);
        let left = (end - start).get();
        let back = (1..=4).map(|quarter| end - Minutes::new(left * quarter / 4));
        let change = |at| Change::RigUp {
            rig: rig.clone(),
            at,
        };
        back.filter(|at| *at < end).map(change).collect()
    }

    fn calibrated_longer(&self, rig: &RigId) -> Family {
        let own = self.lab.rigs.iter().find(|own| own.id == *rig);
        let Some(due) = own.and_then(|own| own.calibration_due) else {
            return Vec::new();
        };
        let later = [1, 3, 7, 14, 30].map(|days| due.checked_add_days(CountOfDays::new(days)));
        let change = |due| Change::Calibration {
            rig: rig.clone(),
            due: Some(due),
        };
        later.into_iter().flatten().map(change).collect()
    }
}

/// What one more person could do on a date: a shift where the crew has none, else four hours after its last
/// shift, or the same hours as one of its shifts.
fn shifts_on(crew: &Crew, date: NaiveDate) -> Vec<Family> {
    let begins =
        |shift: &&Shift| shift.days.contains(&date.weekday()) || shift.dates.contains(&date);
    let that_day: Vec<&Shift> = crew.shifts.iter().filter(begins).collect();
    let one_more = |shift: &Shift| {
        vec![Change::Shift {
            crew: crew.id.clone(),
            days: Days::On(date),
            from: shift.from,
            to: shift.to,
            people: 1,
        }]
    };
    let mut families: Vec<Family> = Vec::new();
    if that_day.is_empty() {
        return crew.shifts.first().map(one_more).into_iter().collect();
    }
    let last = that_day
        .iter()
        .max_by_key(|shift| (shift.to > shift.from, shift.to));
    if let Some(last) = last.filter(|shift| shift.to > shift.from && shift.to.hour() < 20) {
        families.push(vec![Change::Shift {
            crew: crew.id.clone(),
            days: Days::On(date),
            from: last.to,
            to: last.to + chrono::TimeDelta::hours(4),
            people: 1,
        }]);
    }
    families.extend(that_day.into_iter().map(one_more));
    families
}

impl Remedies {
    /// What was found, in short lines.
    pub fn lines(&self, zone: &Zone) -> Vec<String> {
        let at = |at: Minute| zone.local(at).format("%a %d %b %H:%M").to_string();
        if self.late == Minutes::ZERO {
            return vec!["planned a little longer it is on time; no change is needed".to_owned()];
        }
        let words = |own: &Remedy| {
            let mut text = match &own.change {
                Change::Priority {
                    priority: 1,
                    request,
                } if *request != self.request => {
                    format!("{request} put behind (priority 1)")
                }
                Change::Due { due: Some(due), .. } => {
                    format!("a due date {} later, {}", self.late, at(*due))
                }
                change => change.words(zone),
            };
            text.push_str(&format!(": finishes {}", at(own.finish)));
            for (other, more) in &own.others {
                text.push_str(&format!("; then {other} is {more} more late"));
            }
            text
        };
        let mut lines: Vec<String> = Vec::new();
        if self.on_time.iter().all(Remedy::gives_up) {
            let best = self.best.as_ref().map_or(String::new(), |best| {
                format!("; the best is {}, which saves {}", words(best), best.saves)
            });
            let tried = self.tried.saturating_sub(self.on_time.len());
            lines.push(format!(
                "none of the {tried} single changes tried makes it on time{best}"
            ));
        }
        lines.extend(
            self.on_time
                .iter()
                .map(|own| format!("on time with {}", words(own))),
        );
        lines
    }
}
