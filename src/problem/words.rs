//! From names to indexes and back: the only crossing between a plan of the lab and a plan in indexes.

use super::{Left, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit};
use crate::domain::plan::{self, Booking, Finish};
use crate::domain::{RequestId, RigId, UnitId};
use std::collections::HashMap;

/// A booking that does not fit the lab: unknown unit, step or rig, or two places at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unresolved {
    /// The booking.
    pub booking: Booking,
    /// What does not fit, in words.
    pub why: String,
}

/// What a plan in words says beside its bookings.
#[derive(Clone, Debug)]
pub struct Figures {
    /// The proven bound, where there is one.
    pub bound: Option<i64>,
    /// How long the planner worked.
    pub milliseconds: u64,
    /// Its seed.
    pub seed: u64,
}

impl Problem {
    /// Turns bookings into visits, sorted as a plan's are; what does not fit is returned beside them.
    pub fn resolve(&self, bookings: &[Booking]) -> (Vec<Visit>, Vec<Unresolved>) {
        let names = Names::new(self);
        let (mut visits, mut unresolved) = (Vec::with_capacity(bookings.len()), Vec::new());
        for booking in bookings {
            match names.visit(self, booking) {
                Ok(visit) => visits.push(visit),
                Err(why) => unresolved.push(Unresolved {
                    booking: booking.clone(),
                    why,
                }),
            }
        }
        visits.sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
        (visits, unresolved)
    }

    /// Turns requests that were left out into indexes; unknown ones are named.
    pub fn resolve_left(&self, left: &[plan::Unplannable]) -> (Vec<Left>, Vec<RequestId>) {
        let names = Names::new(self);
        let (mut known, mut unknown) = (Vec::new(), Vec::new());
        for own in left {
            match names.requests.get(&own.request) {
                Some(request) => known.push(Left {
                    request: *request,
                    step: own.step.saturating_sub(1) as usize,
                    reason: own.reason.clone(),
                }),
                None => unknown.push(own.request.clone()),
            }
        }
        known.sort_by_key(|left| left.request);
        (known, unknown)
    }

    /// Turns visits into bookings, in their order; `because` gives the reason of each in words.
    pub fn words(&self, visits: &[Visit], because: &[String]) -> Vec<Booking> {
        let because = because
            .iter()
            .map(String::as_str)
            .chain(std::iter::repeat(""));
        visits
            .iter()
            .zip(because)
            .map(|(visit, why)| self.booking(visit, why))
            .collect()
    }

    /// The whole plan in the words of the lab.
    pub fn plan_in_words(&self, plan: &Plan, because: &[String], figures: &Figures) -> plan::Plan {
        let finishes = plan.finishes(self).into_iter().enumerate();
        let finish = |(ix, finish): (usize, Option<crate::domain::Minute>)| {
            let request = &self.requests[ix];
            let is_left = plan.left.iter().any(|left| left.request.ix() == ix);
            let finish = finish.filter(|_| !is_left)?;
            Some(Finish {
                request: request.id.clone(),
                finish,
                late: Plan::late(self, RequestIx::from(ix), finish),
                flow: finish - request.ready,
            })
        };
        let unplannable = plan.left.iter().map(|left| plan::Unplannable {
            request: self.requests[left.request.ix()].id.clone(),
            step: u32::try_from(left.step + 1).unwrap_or(u32::MAX),
            reason: left.reason.clone(),
        });
        plan::Plan {
            lab: self.lab.clone(),
            now: self.now,
            cost: plan.cost(self),
            bound: figures.bound,
            milliseconds: figures.milliseconds,
            seed: figures.seed,
            bookings: self.words(&plan.visits, because),
            requests: finishes.filter_map(finish).collect(),
            unplannable: unplannable.collect(),
        }
    }

    fn booking(&self, visit: &Visit, because: &str) -> Booking {
        let request = self.request_of(visit.unit);
        let (position, run) = match visit.place {
            Place::Position(position) => (Some(position), None),
            Place::Run(run) => (None, Some(run)),
            Place::Held => (None, None),
        };
        Booking {
            request: request.id.clone(),
            unit: self.units[visit.unit.ix()].id.clone(),
            step: u32::try_from(visit.step + 1).unwrap_or(u32::MAX),
            method: self.condition(&request.steps[visit.step]).method.clone(),
            rig: self.rigs[visit.rig.ix()].id.clone(),
            position,
            run,
            times: visit.times,
            because: because.to_owned(),
        }
    }
}

/// Indexes by name.
struct Names<'p> {
    units: HashMap<&'p UnitId, UnitIx>,
    rigs: HashMap<&'p RigId, RigIx>,
    requests: HashMap<&'p RequestId, RequestIx>,
}

impl<'p> Names<'p> {
    fn new(problem: &'p Problem) -> Self {
        let units = problem.units.iter().enumerate();
        let rigs = problem.rigs.iter().enumerate();
        let requests = problem.requests.iter().enumerate();
        Self {
            units: units
                .map(|(ix, unit)| (&unit.id, UnitIx::from(ix)))
                .collect(),
            rigs: rigs.map(|(ix, rig)| (&rig.id, RigIx::from(ix))).collect(),
            requests: requests
                .map(|(ix, own)| (&own.id, RequestIx::from(ix)))
                .collect(),
        }
    }

    fn visit(&self, problem: &Problem, booking: &Booking) -> Result<Visit, String> {
        let unit = *self
            .units
            .get(&booking.unit)
            .ok_or("the lab has no such unit")?;
        let request = problem.request_of(unit);
        if request.id != booking.request {
            return Err(format!(
                "the unit belongs to {}, not to {}",
                request.id, booking.request
            ));
        }
        let step = (booking.step as usize)
            .checked_sub(1)
            .filter(|ix| *ix < request.steps.len());
        let step = step.ok_or_else(|| format!("its steps are 1 to {}", request.steps.len()))?;
        let method = &problem.condition(&request.steps[step]).method;
        if *method != booking.method {
            return Err(format!(
                "the method of that step is {method}, not {}",
                booking.method
            ));
        }
        let rig = *self
            .rigs
            .get(&booking.rig)
            .ok_or_else(|| format!("the lab has no rig {}", booking.rig))?;
        // A place that the rig's loading does not have is the checker's business.
        let place = match (booking.position, booking.run) {
            (Some(position), None) => Place::Position(position),
            (None, Some(run)) => Place::Run(run),
            (None, None) => Place::Held,
            (Some(_), Some(_)) => return Err("it has a position and a run".to_owned()),
        };
        Ok(Visit {
            unit,
            step,
            rig,
            place,
            times: booking.times,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::{Length, Loading};
    use crate::domain::parts::{empty_lab, method, request, rig, sequence, step};
    use crate::domain::zone::known::utc;
    use crate::domain::{Facts, MethodId, Minutes};
    use crate::problem::{compile, plain_times};

    /// Two requests that look, heat and bake, on a bench, in a chamber and in an oven; C nobody can do.
    fn problem() -> Problem {
        let mut lab = empty_lab();
        lab.crews = vec![crate::domain::parts::crew("bench", Vec::new())];
        lab.rigs = vec![
            rig("bench", &["look"], Loading::Each, 2),
            rig("chamber", &["heat"], Loading::Together, 2),
            rig("oven", &["bake"], Loading::Held, 2),
        ];
        for id in ["look", "heat", "bake", "x-ray"] {
            let own = method(id, id, Length::Hold(Minutes::hours(1)));
            lab.methods.insert(own.id.clone(), own);
        }
        lab.sequences = vec![
            sequence("s", ["look", "heat", "bake"].map(step).to_vec()),
            sequence("none", vec![step("look"), step("x-ray")]),
        ];
        let ready = utc("2027-03-01T08:00");
        lab.requests = vec![
            request("A", "s", 2, ready),
            request("B", "s", 1, ready),
            request("C", "none", 1, ready),
        ];
        lab.requests[0].due = Some(utc("2027-03-01T10:30"));
        compile(&lab, &Facts::default(), ready)
    }

    /// Every unit of A and B on each rig in turn, one hour a step, sorted by (load, rig, unit).
    fn visits(problem: &Problem) -> Vec<Visit> {
        let places = [Place::Position(2), Place::Run(4), Place::Held];
        let mut visits = Vec::new();
        for (step, place) in places.into_iter().enumerate() {
            for unit in (0..3).map(UnitIx) {
                let rig = RigIx::from(step);
                let load = problem.now + Minutes::hours(step.try_into().expect("a few"));
                let own = &problem.rigs[rig.ix()];
                visits.push(Visit {
                    unit,
                    step,
                    rig,
                    place,
                    times: plain_times(own, load, Minutes::hours(1)),
                });
            }
        }
        visits
    }

    #[test]
    fn words_resolve_to_the_visits_they_were_made_of() {
        let problem = problem();
        let visits = visits(&problem);
        let mut words = problem.words(&visits, &["first in line".to_owned()]);
        assert_eq!(words[0].because, "first in line");
        assert_eq!(words[1].because, "");
        let place = |ix: usize| (words[ix].position, words[ix].run);
        assert_eq!(
            [place(0), place(3), place(6)],
            [(Some(2), None), (None, Some(4)), (None, None)]
        );
        words.reverse();
        let (found, unresolved) = problem.resolve(&words);
        assert_eq!(found, visits);
        assert_eq!(unresolved, []);
    }

    #[test]
    fn a_booking_that_does_not_fit_is_handed_back_with_its_reason() {
        let problem = problem();
        let good = problem.words(&visits(&problem), &[])[0].clone();
        let check = |change: fn(&mut Booking), why: &str| {
            let mut bad = good.clone();
            change(&mut bad);
            let (found, unresolved) = problem.resolve(&[good.clone(), bad.clone()]);
            assert_eq!(found.len(), 1, "{why}");
            let why = why.to_owned();
            assert_eq!(unresolved, [Unresolved { booking: bad, why }]);
        };
        check(
            |own| own.unit = UnitId::new("A/9"),
            "the lab has no such unit",
        );
        check(
            |own| own.request = RequestId::new("B"),
            "the unit belongs to A, not to B",
        );
        check(|own| own.step = 0, "its steps are 1 to 3");
        check(|own| own.step = 4, "its steps are 1 to 3");
        check(
            |own| own.method = MethodId::new("heat"),
            "the method of that step is look, not heat",
        );
        check(
            |own| own.rig = RigId::new("sold"),
            "the lab has no rig sold",
        );
        check(|own| own.run = Some(1), "it has a position and a run");
    }

    #[test]
    fn what_was_left_out_is_found_by_its_request() {
        let problem = problem();
        let left = |request: &str, step| plan::Unplannable {
            request: RequestId::new(request),
            step,
            reason: "no rig does x-ray".to_owned(),
        };
        let all = [left("C", 2), left("Z", 1), left("A", 0)];
        let (known, unknown) = problem.resolve_left(&all);
        let places: Vec<(u32, usize)> = known.iter().map(|own| (own.request.0, own.step)).collect();
        assert_eq!(places, [(0, 0), (2, 1)]);
        assert_eq!(unknown, [RequestId::new("Z")]);
    }

    #[test]
    fn a_plan_in_words_says_when_requests_finish_and_what_it_costs() {
        let problem = problem();
        let left = Left {
            request: RequestIx(2),
            step: 1,
            reason: "no rig does x-ray".to_owned(),
        };
        let plan = Plan {
            visits: visits(&problem),
            left: vec![left],
        };
        let figures = Figures {
            bound: Some(7),
            milliseconds: 12,
            seed: 3,
        };
        let words = problem.plan_in_words(&plan, &[], &figures);
        // Both finish at 11:00; A half an hour late: 5 × (10 × 30 + 180) + 5 × 180.
        let finish = utc("2027-03-01T11:00");
        let expected = [("A", 30), ("B", 0)].map(|(request, late)| Finish {
            request: RequestId::new(request),
            finish,
            late: Minutes::new(late),
            flow: Minutes::new(180),
        });
        assert_eq!(words.requests, expected);
        assert_eq!(words.cost, 3300);
        assert_eq!(
            (words.bound, words.milliseconds, words.seed),
            (Some(7), 12, 3)
        );
        assert_eq!(words.bookings.len(), 9);
        let unplannable = [plan::Unplannable {
            request: RequestId::new("C"),
            step: 2,
            reason: "no rig does x-ray".to_owned(),
        }];
        assert_eq!(words.unplannable, unplannable);
        let (known, unknown) = problem.resolve_left(&words.unplannable);
        assert_eq!((known, unknown.len()), (plan.left, 0));
    }
}
