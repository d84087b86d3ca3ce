//! Free people of one crew over time, in pieces of a day so that a change touches little.

use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::Spans;
use crate::problem::People;

const DAY: i64 = Minutes::DAY.get();
/// The end of a day, as a minute of the day.
const LAST: i32 = 1440;

/// People on shift less people taken, as a step function between two minutes; none outside.
#[derive(Clone, Debug)]
pub(super) struct CrewLine {
    origin: i64,
    days: Vec<Day>,
}

/// One day, in minutes from its beginning.
#[derive(Clone, Debug)]
struct Day {
    /// `(minute, people free from there on)`, sorted, the first at 0. Below zero where facts took more
    /// people than there were.
    steps: Vec<(i32, i32)>,
    /// `[from, to)` in which somebody is free: sorted, apart from each other. Kept beside the steps because
    /// a large crew has thousands of them a day, and few times at which nobody is free.
    free: Vec<(i32, i32)>,
}

impl CrewLine {
    /// Everybody on shift is free; only minutes of `span` count.
    pub(super) fn new(people: &People, span: Span) -> Self {
        let origin = span.start.get().div_euclid(DAY) * DAY;
        let count = (span.end.get() - origin).div_euclid(DAY) + 1;
        let days = (0..count)
            .map(|_| Day {
                steps: vec![(0, 0)],
                free: Vec::new(),
            })
            .collect();
        let mut line = Self { origin, days };
        for pair in people.steps().windows(2) {
            let (from, to) = (pair[0].0, pair[1].0);
            line.change(
                Span::new(from, to),
                i32::try_from(pair[0].1).unwrap_or(i32::MAX),
            );
        }
        line
    }

    /// Takes one person for `span`.
    pub(super) fn take(&mut self, span: Span) {
        self.change(span, -1);
    }

    /// Gives one person back for `span`.
    pub(super) fn give(&mut self, span: Span) {
        self.change(span, 1);
    }

    /// Longest spans of `window` in which at least one person is free, cut to the window.
    pub(super) fn free(&self, window: Span) -> Spans {
        let mut found = Spans::new();
        let near = self.free_from(window.start);
        for span in near.take_while(|span| span.start < window.end) {
            push_cut(&mut found, span, window);
        }
        found
    }

    /// The first minute from `at` on from which at least one person is free for `length` minutes, one above
    /// zero; `None` where there is none before `until`.
    pub(super) fn first_free(&self, at: Minute, length: Minutes, until: Minute) -> Option<Minute> {
        let mut from: Option<Minute> = None;
        let mut end = at;
        for span in self.free_from(at) {
            let start = match from {
                Some(known) if span.start == end => known,
                _ => span.start.max(at),
            };
            if start >= until {
                return None;
            }
            if span.end - start >= length {
                return Some(start);
            }
            (from, end) = (Some(start), span.end);
        }
        None
    }

    /// Until when at least one person is free, from a minute on in which one is, at most until `until`.
    pub(super) fn free_until(&self, at: Minute, until: Minute) -> Minute {
        let mut end = at;
        for span in self.free_from(at) {
            if span.start > end || end >= until {
                break;
            }
            end = span.end;
        }
        end.min(until)
    }

    /// Spans in which somebody is free, day by day, from the first that ends after `at`.
    fn free_from(&self, at: Minute) -> impl Iterator<Item = Span> + '_ {
        let since = at.get() - self.origin;
        let first = usize::try_from(since.div_euclid(DAY)).unwrap_or(0);
        let mut base = self.origin + DAY * i64::try_from(first).unwrap_or(0);
        self.days.iter().skip(first).flat_map(move |day| {
            let begun = base;
            base += DAY;
            let from = day
                .free
                .partition_point(|(_, to)| begun + i64::from(*to) <= at.get());
            let free = day.free[from..].iter();
            free.map(move |(from, to)| {
                let minute = |offset: i32| Minute::new(begun + i64::from(offset));
                Span::new(minute(*from), minute(*to))
            })
        })
    }

    /// How many people are free, from each minute on; nobody after the last day.
    pub(super) fn steps(&self) -> impl Iterator<Item = (Minute, i32)> + '_ {
        let bases = (0..).map(|day| self.origin + DAY * day);
        let inside = self.days.iter().zip(bases).flat_map(|(day, base)| {
            let steps = day.steps.iter();
            steps.map(move |(from, people)| (Minute::new(base + i64::from(*from)), *people))
        });
        let end = self.origin + DAY * i64::try_from(self.days.len()).unwrap_or(0);
        inside.chain(std::iter::once((Minute::new(end), 0)))
    }

    /// People free in the minute `at`; zero outside the line.
    #[cfg(test)]
    pub(super) fn at(&self, at: Minute) -> i32 {
        let since = at.get() - self.origin;
        let Ok(day) = usize::try_from(since.div_euclid(DAY)) else {
            return 0;
        };
        let offset = since.rem_euclid(DAY);
        self.days.get(day).map_or(0, |day| {
            let after = day
                .steps
                .partition_point(|(from, _)| i64::from(*from) <= offset);
            day.steps[after - 1].1
        })
    }

    fn change(&mut self, span: Span, by: i32) {
        let end = self.origin + DAY * i64::try_from(self.days.len()).unwrap_or(0);
        let (from, to) = (span.start.get().max(self.origin), span.end.get().min(end));
        let mut at = from;
        while at < to {
            let day = (at - self.origin).div_euclid(DAY);
            let base = self.origin + day * DAY;
            let piece_end = to.min(base + DAY);
            if let Ok(day) = usize::try_from(day) {
                self.days[day].change(at - base, piece_end - base, by);
            }
            at = piece_end;
        }
    }
}

impl Day {
    fn change(&mut self, from: i64, to: i64, by: i32) {
        let first = self.cut(from);
        let after = if to < DAY {
            self.cut(to)
        } else {
            self.steps.len()
        };
        for ix in first..after {
            let (begin, people) = self.steps[ix];
            self.steps[ix].1 = people + by;
            if (people > 0) != (people + by > 0) {
                let end = self.steps.get(ix + 1).map_or(LAST, |next| next.0);
                self.set_free(begin, end, people + by > 0);
            }
        }
        for ix in [after, first] {
            if ix > 0 && ix < self.steps.len() && self.steps[ix].1 == self.steps[ix - 1].1 {
                self.steps.remove(ix);
            }
        }
    }

    /// From `from` to `to` somebody is free from now on where nobody was, or the other way round.
    fn set_free(&mut self, from: i32, to: i32, free: bool) {
        let ix = self.free.partition_point(|span| span.1 < from);
        if free {
            let joins = |span: Option<&(i32, i32)>, at: fn(&(i32, i32)) -> i32, edge| {
                span.is_some_and(|span| at(span) == edge)
            };
            let before = joins(self.free.get(ix), |span| span.1, from);
            let after = ix + usize::from(before);
            match (before, joins(self.free.get(after), |span| span.0, to)) {
                (true, true) => self.free[ix].1 = self.free.remove(after).1,
                (true, false) => self.free[ix].1 = to,
                (false, true) => self.free[after].0 = from,
                (false, false) => self.free.insert(ix, (from, to)),
            }
            return;
        }
        let ix = ix + usize::from(self.free[ix].1 == from);
        let whole = self.free[ix];
        match (whole.0 == from, whole.1 == to) {
            (true, true) => drop(self.free.remove(ix)),
            (true, false) => self.free[ix].0 = to,
            (false, true) => self.free[ix].1 = from,
            (false, false) => {
                self.free[ix].1 = from;
                self.free.insert(ix + 1, (to, whole.1));
            }
        }
    }

    /// Makes a step begin at `offset`; its place.
    fn cut(&mut self, offset: i64) -> usize {
        let offset = i32::try_from(offset).unwrap_or(0);
        match self.steps.binary_search_by_key(&offset, |(from, _)| *from) {
            Ok(ix) => ix,
            Err(ix) => {
                let free = self.steps[ix - 1].1;
                self.steps.insert(ix, (offset, free));
                ix
            }
        }
    }
}

/// Adds what of the span lies in the window, as one with the last where they touch.
fn push_cut(found: &mut Spans, span: Span, window: Span) {
    let cut = span.meet(window);
    match found.last_mut() {
        _ if cut.is_empty() => {}
        Some(last) if last.end == cut.start => last.end = cut.end,
        _ => found.push(cut),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(a: i64, b: i64) -> Span {
        Span::new(Minute::new(a), Minute::new(b))
    }

    #[test]
    fn taking_and_giving_back_leaves_the_line_as_it_was() {
        let people = People::new(&[(span(480, 990), 2), (span(1920, 2430), 1)]);
        let mut line = CrewLine::new(&people, span(0, 4000));
        let before = line.clone();
        line.take(span(500, 600));
        line.take(span(550, 2000));
        assert_eq!(
            line.free(span(0, 4000)),
            [span(480, 550), span(600, 990), span(2000, 2430)]
        );
        line.give(span(550, 2000));
        line.give(span(500, 600));
        assert_eq!(line.free(span(0, 4000)), before.free(span(0, 4000)));
        assert_eq!(
            line.days.iter().map(|d| d.steps.len()).collect::<Vec<_>>(),
            before
                .days
                .iter()
                .map(|d| d.steps.len())
                .collect::<Vec<_>>()
        );
    }

    #[test]
    fn a_night_shift_is_one_span_across_midnight() {
        let people = People::new(&[(span(1320, 1800), 1)]);
        let line = CrewLine::new(&people, span(0, 3000));
        assert_eq!(line.free(span(0, 3000)), [span(1320, 1800)]);
        assert_eq!(line.free(span(1400, 1500)), [span(1400, 1500)]);
        assert_eq!(
            [line.at(Minute::new(1320)), line.at(Minute::new(1800))],
            [1, 0]
        );
    }
}
