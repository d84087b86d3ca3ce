//! People: hands-on minutes of minutes on shift.
//!
//! A load and an unload take one person each, and an exposure that must be watched all the time takes one
//! while it advances; units that share a door from load to unload take one person together. Minutes on shift
//! are those of the lab's shifts, times their people. People work outside shifts too: hands-on minutes may
//! then be more than there were.

use super::stay::Stay;
use super::{Calendars, Usage};
use crate::domain::lab::{Lab, Loading};
use crate::domain::{Minutes, Span};
use crate::problem::{OnTime, People};
use std::collections::BTreeMap;

/// Person-minutes of a crew in an interval.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CrewMinutes {
    /// Minutes on shift, summed over people.
    pub on_shift: Minutes,
    /// Minutes of loading, unloading and watching, summed over people.
    pub hands_on: Minutes,
}

impl CrewMinutes {
    /// Hands-on in percent of on shift; `None` where nobody is on shift.
    pub fn percent(&self) -> Option<i64> {
        (self.on_shift > Minutes::ZERO).then(|| self.hands_on.get() * 100 / self.on_shift.get())
    }
}

/// A crew over time.
#[derive(Clone, Debug)]
pub(super) struct CrewUse {
    people: People,
    busy: People,
    /// When somebody on shift has nothing in hand.
    pub(super) free: OnTime,
}

impl CrewUse {
    pub(super) fn within(&self, interval: Span) -> CrewMinutes {
        CrewMinutes {
            on_shift: person_minutes(&self.people, interval),
            hands_on: person_minutes(&self.busy, interval),
        }
    }
}

impl Usage {
    /// By crew of the lab in an interval.
    pub fn crews(&self, interval: Span) -> Vec<CrewMinutes> {
        self.crews
            .iter()
            .map(|crew| crew.within(interval))
            .collect()
    }
}

/// The crews of the lab, with what takes their people.
pub(super) fn crews(lab: &Lab, stays: &[Stay], calendars: &Calendars) -> Vec<CrewUse> {
    let mut alone: Vec<Vec<Span>> = vec![Vec::new(); lab.crews.len()];
    let mut shared: BTreeMap<(usize, usize), Vec<Span>> = BTreeMap::new();
    for stay in stays {
        let Some(crew) = stay.crew() else { continue };
        let tasks = tasks(stay, calendars);
        if lab.rigs[stay.rig].loading == Loading::Together {
            shared.entry((stay.rig, crew)).or_default().extend(tasks);
        } else {
            alone[crew].extend(tasks);
        }
    }
    // Runs of a rig do not overlap, so that what its units have in common is the union of their tasks.
    for ((_, crew), tasks) in shared {
        alone[crew].extend(OnTime::new(tasks).spans());
    }
    let crew = |(own, tasks): (&crate::problem::Crew, Vec<Span>)| {
        let one_each: Vec<(Span, u32)> = tasks.into_iter().map(|task| (task, 1)).collect();
        let busy = People::new(&one_each);
        CrewUse {
            free: free(&own.people, &busy),
            people: own.people.clone(),
            busy,
        }
    };
    calendars.crews.iter().zip(alone).map(crew).collect()
}

/// When a stay takes a person.
fn tasks(stay: &Stay, calendars: &Calendars) -> Vec<Span> {
    let times = &stay.times;
    let mut tasks = vec![
        Span::new(times.load, times.start),
        Span::new(times.unload, times.out),
    ];
    if stay.step_on.as_ref().is_some_and(|own| own.is_watched) {
        tasks.extend(stay.advancing(calendars));
    }
    tasks
}

/// The sum of people over the minutes of an interval.
fn person_minutes(people: &People, interval: Span) -> Minutes {
    let steps = people.steps();
    let first = steps
        .partition_point(|(from, _)| *from <= interval.start)
        .saturating_sub(1);
    let own = steps[first..].windows(2);
    let own = own.take_while(|pair| pair[0].0 < interval.end);
    own.map(|pair| {
        let span = Span::new(pair[0].0, pair[1].0).meet(interval);
        span.length().at_least_zero() * i64::from(pair[0].1)
    })
    .sum()
}

/// When there are more people than are busy.
fn free(people: &People, busy: &People) -> OnTime {
    let mut edges: Vec<_> = people
        .steps()
        .iter()
        .chain(busy.steps())
        .map(|step| step.0)
        .collect();
    edges.sort_unstable();
    edges.dedup();
    let (mut there, mut taken) = (Walker::of(people), Walker::of(busy));
    let spans = edges.windows(2).filter_map(|pair| {
        let is_free = there.at(pair[0]) > taken.at(pair[0]);
        is_free.then(|| Span::new(pair[0], pair[1]))
    });
    OnTime::new(spans.collect())
}

/// Reads a step function forward.
struct Walker<'p> {
    steps: &'p [(crate::domain::Minute, u32)],
    now: u32,
}

impl<'p> Walker<'p> {
    fn of(people: &'p People) -> Self {
        Self {
            steps: people.steps(),
            now: 0,
        }
    }

    /// People at a minute no earlier than the one before.
    fn at(&mut self, at: crate::domain::Minute) -> u32 {
        while let Some(((from, people), rest)) = self.steps.split_first() {
            if *from > at {
                break;
            }
            self.now = *people;
            self.steps = rest;
        }
        self.now
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Minute;

    fn span(start: i64, end: i64) -> Span {
        Span::new(Minute::new(start), Minute::new(end))
    }

    #[test]
    fn people_are_summed_over_the_minutes_of_an_interval() {
        let people = People::new(&[(span(0, 10), 2), (span(5, 15), 1)]);
        let sum = |start, end| person_minutes(&people, span(start, end)).get();
        assert_eq!(
            [sum(-5, 20), sum(4, 6), sum(10, 11), sum(15, 99)],
            [30, 5, 1, 0]
        );
    }

    #[test]
    fn somebody_is_free_while_there_are_more_people_than_tasks() {
        let people = People::new(&[(span(0, 20), 2)]);
        let busy = People::new(&[(span(-3, 5), 1), (span(2, 8), 1), (span(12, 30), 2)]);
        assert_eq!(free(&people, &busy).spans(), [span(0, 2), span(5, 12)]);
    }
}
