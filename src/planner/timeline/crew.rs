//! Free people of one crew over time, in pieces of a day so that a change touches little.

use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::Spans;
use crate::problem::People;

const DAY: i64 = Minutes::DAY.get();

/// People on shift less people taken, as a step function between two minutes; none outside.
#[derive(Clone, Debug)]
pub(super) struct CrewLine {
    origin: i64,
    days: Vec<Day>,
}

/// One day: `(minute of the day, people free from there on)`, sorted, the first at 0. Below zero where
/// facts took more people than there were.
#[derive(Clone, Debug)]
struct Day {
    steps: Vec<(i32, i32)>,
}

impl CrewLine {
    /// Everybody on shift is free; only minutes of `span` count.
    pub(super) fn new(people: &People, span: Span) -> Self {
        let origin = span.start.get().div_euclid(DAY) * DAY;
        let count = (span.end.get() - origin).div_euclid(DAY) + 1;
        let days = (0..count)
            .map(|_| Day {
                steps: vec![(0, 0)],
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
        let mut open: Option<Minute> = None;
        let first = (window.start.get() - self.origin).div_euclid(DAY).max(0);
        let last = (window.end.get() - self.origin).div_euclid(DAY);
        for (ix, day) in self
            .days
            .iter()
            .enumerate()
            .skip(usize::try_from(first).unwrap_or(0))
        {
            let ix = i64::try_from(ix).unwrap_or(i64::MAX);
            if ix > last {
                break;
            }
            for (offset, free) in &day.steps {
                let at = Minute::new(self.origin + ix * DAY + i64::from(*offset));
                match (open, *free > 0) {
                    (None, true) => open = Some(at),
                    (Some(start), false) => {
                        push_cut(&mut found, Span::new(start, at), window);
                        open = None;
                    }
                    _ => {}
                }
            }
        }
        if let Some(start) = open {
            push_cut(&mut found, Span::new(start, window.end), window);
        }
        found
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
        for step in &mut self.steps[first..after] {
            step.1 += by;
        }
        for ix in [after, first] {
            if ix > 0 && ix < self.steps.len() && self.steps[ix].1 == self.steps[ix - 1].1 {
                self.steps.remove(ix);
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

fn push_cut(found: &mut Spans, span: Span, window: Span) {
    let cut = span.meet(window);
    if !cut.is_empty() {
        found.push(cut);
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
