//! People of a crew who are left, over time.

use crate::domain::{Minute, Minutes, Span};
use crate::problem::People;

/// How many people are free: each entry holds from its minute until the next one.
#[derive(Clone, Debug)]
pub(super) struct Hands {
    steps: Vec<(Minute, i32)>,
}

impl Hands {
    /// Everybody on shift from `from` on.
    pub(super) fn new(people: &People, from: Minute) -> Self {
        let mut steps = vec![(Minute::FIRST, 0)];
        let all = people.steps();
        let next = all.partition_point(|(at, _)| *at <= from);
        let count = |people: u32| i32::try_from(people).unwrap_or(i32::MAX);
        if let Some((_, people)) = next.checked_sub(1).and_then(|ix| all.get(ix)) {
            steps.push((from, count(*people)));
        }
        steps.extend(all[next..].iter().map(|(at, people)| (*at, count(*people))));
        Self { steps }
    }

    /// The place of the entry that holds at a minute.
    fn place(&self, at: Minute) -> usize {
        self.steps.partition_point(|(from, _)| *from <= at) - 1
    }

    /// The first minute at or after `from` from which somebody is free for `length`; nothing past the last shift.
    pub(super) fn earliest(&self, from: Minute, length: Minutes) -> Option<Minute> {
        if length <= Minutes::ZERO {
            return Some(from);
        }
        let mut ix = self.place(from);
        let mut start = from;
        loop {
            let (_, people) = self.steps[ix];
            let next = self.steps.get(ix + 1).map(|(at, _)| *at);
            if people <= 0 {
                start = next?;
            } else if next.is_none_or(|next| start + length <= next) {
                return Some(start);
            }
            ix += 1;
        }
    }

    /// When work that goes on only while somebody is free ends; nothing past the last shift.
    pub(super) fn advance(&self, from: Minute, length: Minutes) -> Option<Minute> {
        let (mut ix, mut at, mut left) = (self.place(from), from, length);
        while left > Minutes::ZERO {
            let next = self.steps.get(ix + 1).map(|(at, _)| *at)?;
            if self.steps[ix].1 > 0 {
                let piece = next - at;
                if piece >= left {
                    return Some(at + left);
                }
                left -= piece;
            }
            (ix, at) = (ix + 1, next);
        }
        Some(at)
    }

    /// Takes one person for a while, whether somebody is free or not.
    pub(super) fn take(&mut self, span: Span) {
        if span.is_empty() {
            return;
        }
        let first = self.cut(span.start);
        let last = self.cut(span.end);
        for step in &mut self.steps[first..last] {
            step.1 -= 1;
        }
    }

    /// Takes one person in those minutes of a while in which somebody is free.
    pub(super) fn take_free(&mut self, span: Span) {
        if span.is_empty() {
            return;
        }
        let first = self.cut(span.start);
        let last = self.cut(span.end);
        for step in self.steps[first..last].iter_mut().filter(|step| step.1 > 0) {
            step.1 -= 1;
        }
    }

    /// Makes an entry begin at a minute; its place.
    fn cut(&mut self, at: Minute) -> usize {
        let ix = self.place(at);
        if self.steps[ix].0 == at {
            return ix;
        }
        self.steps.insert(ix + 1, (at, self.steps[ix].1));
        ix + 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Minute {
        Minute::new(minute)
    }

    fn span(from: i64, to: i64) -> Span {
        Span::new(at(from), at(to))
    }

    /// One person from 10 to 20, two from 30 to 50.
    fn hands() -> Hands {
        Hands::new(&People::new(&[(span(10, 20), 1), (span(30, 50), 2)]), at(0))
    }

    #[test]
    fn a_task_finds_the_first_minute_at_which_somebody_has_time_for_all_of_it() {
        let hands = hands();
        let first = |from, length| {
            hands
                .earliest(at(from), Minutes::new(length))
                .map(Minute::get)
        };
        assert_eq!(first(0, 10), Some(10));
        assert_eq!(first(0, 11), Some(30));
        assert_eq!(first(15, 5), Some(15));
        assert_eq!(first(16, 5), Some(30));
        assert_eq!(first(16, 0), Some(16));
        assert_eq!(first(31, 20), None);
    }

    #[test]
    fn who_is_taken_is_not_there_for_others() {
        let mut hands = hands();
        hands.take(span(30, 40));
        assert_eq!(hands.earliest(at(30), Minutes::new(20)), Some(at(30)));
        hands.take(span(35, 45));
        assert_eq!(hands.earliest(at(30), Minutes::new(5)), Some(at(30)));
        assert_eq!(hands.earliest(at(30), Minutes::new(6)), Some(at(40)));
        // Before the first shift nobody is there to be taken; later work is not touched.
        hands.take_free(span(0, 12));
        assert_eq!(hands.earliest(at(0), Minutes::new(8)), Some(at(12)));
    }

    #[test]
    fn work_that_pauses_goes_on_when_somebody_is_back() {
        let hands = hands();
        let end = |from, length| {
            hands
                .advance(at(from), Minutes::new(length))
                .map(Minute::get)
        };
        assert_eq!(end(12, 8), Some(20));
        assert_eq!(end(12, 9), Some(31));
        assert_eq!(end(0, 30), Some(50));
        assert_eq!(end(0, 31), None);
        assert_eq!(end(3, 0), Some(3));
    }

    #[test]
    fn what_has_begun_before_counts_from_its_shift_on() {
        let hands = Hands::new(&People::new(&[(span(10, 20), 1)]), at(15));
        assert_eq!(hands.earliest(at(15), Minutes::new(5)), Some(at(15)));
        assert_eq!(hands.earliest(at(12), Minutes::new(3)), Some(at(15)));
    }
}
