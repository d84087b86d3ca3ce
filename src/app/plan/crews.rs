//! How many people the plan needs at each minute, and how many are on shift.

use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{CrewId, Minute, Span};
use crate::problem::{CrewIx, Place, Problem, RigIx, Visit};
use std::collections::{BTreeMap, BTreeSet};

/// A crew over time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CrewRow {
    /// The crew.
    pub crew: CrewId,
    /// From each minute on; sorted.
    steps: Vec<(Minute, People)>,
}

/// People of a crew at a minute.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct People {
    /// Needed by loads, unloads and full watches.
    pub need: u32,
    /// On shift.
    pub have: u32,
}

impl People {
    /// True where fewer are on shift than are needed.
    pub const fn short(self) -> bool {
        self.need > self.have
    }
}

impl CrewRow {
    /// The worst minute of a span: where most are missing, else where most are needed, else where most are there.
    pub fn worst(&self, span: Span) -> People {
        let key = |own: &People| (own.need.saturating_sub(own.have), own.need, own.have);
        let steps = self.within(span).map(|(_, people)| people);
        steps.max_by_key(key).unwrap_or_default()
    }

    /// Stretches of a span in which people are missing, with the most that are needed then.
    pub fn short(&self, span: Span) -> Vec<(Span, People)> {
        let mut all: Vec<(Span, People)> = Vec::new();
        for (piece, people) in self.within(span).filter(|(_, people)| people.short()) {
            match all.last_mut() {
                Some((last, most)) if last.end == piece.start => {
                    last.end = piece.end;
                    if people.need - people.have > most.need - most.have {
                        *most = people;
                    }
                }
                _ => all.push((piece, people)),
            }
        }
        all
    }

    fn within(&self, span: Span) -> impl Iterator<Item = (Span, People)> + '_ {
        let first = self.steps.partition_point(|(at, _)| *at <= span.start);
        let first = first.saturating_sub(1);
        let steps = self.steps[first..].iter().enumerate();
        steps
            .take_while(move |(_, (at, _))| *at < span.end)
            .map(move |(ix, (at, people))| {
                let next = self.steps.get(first + ix + 1);
                let end = next.map_or(Minute::LAST, |(end, _)| *end);
                (Span::new(*at, end).meet(span), *people)
            })
            .filter(|(piece, _)| !piece.is_empty())
    }
}

/// Every crew of the problem with what the visits need of it.
pub fn crew_rows(problem: &Problem, visits: &[Visit]) -> Vec<CrewRow> {
    let mut needs: BTreeMap<CrewIx, BTreeMap<Minute, i64>> = BTreeMap::new();
    let mut runs: BTreeSet<(RigIx, Place, Times)> = BTreeSet::new();
    for visit in visits {
        let shares = problem.rigs[visit.rig.ix()].loading == Loading::Together;
        if shares && !runs.insert((visit.rig, visit.place, visit.times)) {
            continue;
        }
        let condition = problem.condition(problem.step(visit.unit, visit.step));
        let own = needs.entry(condition.crew).or_default();
        for span in tasks(problem, visit) {
            *own.entry(span.start).or_default() += 1;
            *own.entry(span.end).or_default() -= 1;
        }
    }
    let row = |(ix, crew): (usize, &crate::problem::Crew)| CrewRow {
        crew: crew.id.clone(),
        steps: steps(crew, &needs.remove(&CrewIx::from(ix)).unwrap_or_default()),
    };
    problem.crews.iter().enumerate().map(row).collect()
}

/// When a visit takes a person.
fn tasks(problem: &Problem, visit: &Visit) -> Vec<Span> {
    let condition = problem.condition(problem.step(visit.unit, visit.step));
    let times = &visit.times;
    let mut spans = vec![
        Span::new(times.load, times.start),
        Span::new(times.unload, times.out),
    ];
    let exposure = Span::new(times.start, times.end);
    match problem.watch(condition) {
        Some(watch) if condition.watch == Watch::Full && problem.pauses(condition, visit.rig) => {
            spans.extend(watch.within(exposure));
        }
        Some(_) if condition.watch == Watch::Full => spans.push(exposure),
        _ => {}
    }
    spans.retain(|span| !span.is_empty());
    spans
}

fn steps(crew: &crate::problem::Crew, needs: &BTreeMap<Minute, i64>) -> Vec<(Minute, People)> {
    let mut moments: BTreeSet<Minute> = needs.keys().copied().collect();
    moments.extend(crew.people.steps().iter().map(|(at, _)| *at));
    let mut need = 0_i64;
    let mut step = |at: Minute| {
        need += needs.get(&at).copied().unwrap_or(0);
        let people = People {
            need: u32::try_from(need).unwrap_or(0),
            have: crew.people.at(at),
        };
        (at, people)
    };
    moments.into_iter().map(&mut step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> CrewRow {
        let step = |at, need, have| (Minute::new(at), People { need, have });
        CrewRow {
            crew: CrewId::new("bench"),
            steps: vec![
                step(0, 0, 2),
                step(10, 3, 2),
                step(20, 4, 2),
                step(30, 1, 2),
                step(40, 0, 0),
            ],
        }
    }

    fn span(a: i64, b: i64) -> Span {
        Span::new(Minute::new(a), Minute::new(b))
    }

    #[test]
    fn a_span_shows_its_worst_minute() {
        let worst = |a, b| {
            let own = row().worst(span(a, b));
            (own.need, own.have)
        };
        assert_eq!(worst(0, 10), (0, 2));
        assert_eq!(worst(0, 11), (3, 2));
        assert_eq!(worst(0, 100), (4, 2));
        assert_eq!(worst(30, 50), (1, 2));
        assert_eq!(worst(40, 50), (0, 0));
        assert_eq!(worst(-9, 0), (0, 0));
    }

    #[test]
    fn missing_people_are_told_once_a_stretch() {
        let own = row().short(span(12, 100));
        assert_eq!(own, [(span(12, 30), People { need: 4, have: 2 })]);
        assert!(row().short(span(30, 100)).is_empty());
    }
}
