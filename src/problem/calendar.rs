//! Calendars as step functions: people on shift, and sets of minutes with counting.

use crate::domain::{Minute, Minutes, Span};

/// A set of minutes as sorted, disjoint spans that do not touch, with running counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OnTime {
    spans: Vec<Span>,
    /// `before[i]`: minutes of all spans before the i-th; one more entry than spans.
    before: Vec<Minutes>,
}

impl OnTime {
    /// The union of `spans`, in any order.
    pub fn new(mut spans: Vec<Span>) -> Self {
        spans.retain(|span| !span.is_empty());
        let merged = Span::merged(spans);
        let mut before = vec![Minutes::ZERO];
        let mut sum = Minutes::ZERO;
        for span in &merged {
            sum += span.length();
            before.push(sum);
        }
        Self {
            spans: merged,
            before,
        }
    }

    /// Its spans, sorted.
    pub fn spans(&self) -> &[Span] {
        &self.spans
    }

    /// The spans that own a minute of `window` or touch it, whole.
    pub fn near(&self, window: Span) -> &[Span] {
        let from = self.spans.partition_point(|span| span.end <= window.start);
        let to = self.spans.partition_point(|span| span.start < window.end);
        &self.spans[from..to.max(from)]
    }

    /// Minutes of the set that lie before `at`.
    pub fn count_before(&self, at: Minute) -> Minutes {
        let after = self.spans.partition_point(|span| span.start <= at);
        match after.checked_sub(1) {
            None => Minutes::ZERO,
            Some(ix) => self.before[ix] + (self.spans[ix].end.min(at) - self.spans[ix].start),
        }
    }

    /// The smallest end such that `[start, end)` holds exactly `length` minutes of the set; `start`
    /// itself where `length` is zero; `None` past the last span.
    pub fn advance(&self, start: Minute, length: Minutes) -> Option<Minute> {
        if length <= Minutes::ZERO {
            return Some(start);
        }
        let wanted = self.count_before(start) + length;
        let ix = self.before.partition_point(|sum| *sum < wanted);
        let span = self.spans.get(ix.checked_sub(1)?)?;
        (ix < self.before.len()).then(|| span.start + (wanted - self.before[ix - 1]))
    }

    /// The largest start such that `advance(start, length) <= end`; `None` where there is none.
    ///
    /// `length` is above zero.
    pub fn latest_start(&self, end: Minute, length: Minutes) -> Option<Minute> {
        let allowed = self.count_before(end) - length;
        if allowed < Minutes::ZERO {
            return None;
        }
        // Starts with at most `allowed` minutes of the set before them; the last such start is the
        // minute at which the next one would be owned, that is the one after `allowed` are passed.
        let ix = self
            .before
            .partition_point(|sum| *sum <= allowed)
            .checked_sub(1)?;
        let span = self.spans.get(ix)?;
        Some(span.start + (allowed - self.before[ix]))
    }

    /// The first minute from `at` on from which `length` minutes lie in one span; `None` where there is none.
    pub fn first_whole(&self, at: Minute, length: Minutes) -> Option<Minute> {
        let from = self.spans.partition_point(|span| span.end <= at);
        let mut starts = self.spans[from..].iter();
        let span = starts.find(|span| span.end - span.start.max(at) >= length)?;
        Some(span.start.max(at))
    }

    /// True where every minute of `span` is in the set; an empty span always is.
    pub fn covers(&self, span: Span) -> bool {
        if span.is_empty() {
            return true;
        }
        let after = self.spans.partition_point(|own| own.start <= span.start);
        after
            .checked_sub(1)
            .is_some_and(|ix| span.end <= self.spans[ix].end)
    }

    /// True where the minute is in the set.
    pub fn contains(&self, at: Minute) -> bool {
        self.covers(Span::new(at, at + Minutes::new(1)))
    }

    /// The pieces of `span` that are in the set.
    pub fn within(&self, span: Span) -> impl Iterator<Item = Span> + '_ {
        self.near(span)
            .iter()
            .map(move |own| own.meet(span))
            .filter(|piece| !piece.is_empty())
    }
}

/// People on shift over time: a step function that is zero before its first and after its last step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct People {
    /// `(from, people)`: sorted, neighbours differ, the last is zero.
    steps: Vec<(Minute, u32)>,
}

impl People {
    /// The sum of shifts, each with its people.
    pub fn new(shifts: &[(Span, u32)]) -> Self {
        let mut changes: Vec<(Minute, i64)> = Vec::with_capacity(shifts.len() * 2);
        for (span, people) in shifts.iter().filter(|(span, _)| !span.is_empty()) {
            changes.push((span.start, i64::from(*people)));
            changes.push((span.end, -i64::from(*people)));
        }
        changes.sort_unstable();
        let mut steps: Vec<(Minute, u32)> = Vec::new();
        let mut now = 0_i64;
        for (ix, (at, change)) in changes.iter().enumerate() {
            now += change;
            let last_of_minute = changes.get(ix + 1).is_none_or(|(next, _)| next != at);
            let people = u32::try_from(now).unwrap_or(0);
            if last_of_minute && steps.last().map_or(0, |step| step.1) != people {
                steps.push((*at, people));
            }
        }
        Self { steps }
    }

    /// The steps: from each minute on, that many people; zero before the first.
    pub fn steps(&self) -> &[(Minute, u32)] {
        &self.steps
    }

    /// People on shift in the minute `at`.
    pub fn at(&self, at: Minute) -> u32 {
        let after = self.steps.partition_point(|(from, _)| *from <= at);
        after.checked_sub(1).map_or(0, |ix| self.steps[ix].1)
    }

    /// The most people that are ever on shift at once.
    pub fn most(&self) -> u32 {
        let people = self.steps.iter().map(|(_, people)| *people);
        people.max().unwrap_or(0)
    }

    /// When at least one is on shift.
    pub fn on(&self) -> OnTime {
        let spans = self.steps.windows(2).filter(|pair| pair[0].1 > 0);
        OnTime::new(spans.map(|pair| Span::new(pair[0].0, pair[1].0)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn m(at: i64) -> Minute {
        Minute::new(at)
    }

    fn on(spans: &[(i64, i64)]) -> OnTime {
        OnTime::new(spans.iter().map(|(a, b)| Span::new(m(*a), m(*b))).collect())
    }

    #[test]
    fn advance_and_latest_start_agree_with_counting_minute_by_minute() {
        let set = on(&[(10, 20), (30, 35), (35, 40), (50, 60)]);
        assert_eq!(set.spans().len(), 3);
        for start in 0..70 {
            for length in 1..32_u8 {
                let slow = (start..=70).find(|end| {
                    (start..*end).filter(|t| set.contains(m(*t))).count() == usize::from(length)
                });
                assert_eq!(
                    set.advance(m(start), Minutes::new(i64::from(length))),
                    slow.map(m)
                );
            }
        }
        for end in 0..70 {
            for length in 1..32_i64 {
                let slow = (0..70).rev().find(|start| {
                    set.advance(m(*start), Minutes::new(length))
                        .is_some_and(|e| e <= m(end))
                });
                let fast = set.latest_start(m(end), Minutes::new(length));
                assert_eq!(fast, slow.map(m), "end {end} length {length}");
            }
        }
    }

    #[test]
    fn overlapping_shifts_add_up() {
        let shifts = [(Span::new(m(0), m(10)), 2), (Span::new(m(5), m(15)), 1)];
        let people = People::new(&shifts);
        assert_eq!(
            [
                people.at(m(0)),
                people.at(m(7)),
                people.at(m(12)),
                people.at(m(15))
            ],
            [2, 3, 1, 0]
        );
        assert_eq!(people.on().spans(), [Span::new(m(0), m(15))]);
    }
}
