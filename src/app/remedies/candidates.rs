//! Which single changes are worth trying for a late request.

use super::finish_of;
use crate::app::desk::Planning;
use crate::app::what_if::{Change, Days};
use crate::domain::lab::{Crew, Lab, Pin, Shift};
use crate::domain::plan::{Finish, Plan};
use crate::domain::{CrewId, Minute, Minutes, RequestId, RigId, UnitId};
use crate::planner::why::{Because, Link, chain, held_up};
use crate::problem::{self, Problem, RequestIx};
use chrono::{Datelike, Days as CountOfDays, NaiveDate, Timelike};

/// Most extra shifts that are tried for one request: those that could end the longest waits.
const MOST_SHIFTS: usize = 10;
/// Most candidates of other kinds.
const MOST: usize = 24;

/// A change of one kind, from the smallest to the largest worth trying: the first that helps is enough.
pub(super) type Family = Vec<Change>;

/// What is worth trying, taken from the chain of reasons.
pub(super) fn candidates(planning: &Planning, plan: &Plan, request: &RequestId) -> Vec<Family> {
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
        extra: Vec::new(),
    };
    search.about_request(finish_of(plan, request), planning.now());
    for (at, link) in links.iter().enumerate() {
        search.about_place(link, links.get(at + 1));
        search.about_people(link);
        search.about_dates(link);
    }
    let mut held = held_up(&problem, &links).into_iter();
    if let Some(rig) = held.find_map(|(holder, _)| holder.rig()) {
        let rig = problem.rigs[rig.ix()].id.clone();
        let copy = RigId::new(&format!("{rig}-more"));
        search.add(vec![Change::RigCopy { rig, copy }]);
    }
    search.finish()
}

/// Gathers candidates.
struct Search<'s> {
    problem: &'s Problem,
    plan: &'s problem::Plan,
    lab: &'s Lab,
    ix: RequestIx,
    found: Vec<Family>,
    /// Extra shifts, each with the minutes of waiting that it could end.
    extra: Vec<(Minutes, Family)>,
}

impl Search<'_> {
    /// All candidates, with the extra shifts that could end the longest waits.
    fn finish(self) -> Vec<Family> {
        let mut all = self.found;
        all.truncate(MOST);
        let most = all.len() + MOST_SHIFTS;
        let mut extra = self.extra;
        extra.sort_by_key(|(wait, _)| -wait.get());
        for (_, family) in extra {
            if all.len() < most && !all.contains(&family) {
                all.push(family);
            }
        }
        all
    }

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
        let open = |date: &NaiveDate| !self.lab.closed.contains(date);
        let dates = dates
            .take_while(|date| *date >= first)
            .filter(open)
            .take(DAYS);
        let families = dates.flat_map(|date| shifts_on(own, date));
        self.extra
            .extend(families.map(|family| (until - from, family)));
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
