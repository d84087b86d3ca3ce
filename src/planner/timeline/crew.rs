//! Free people of one crew over time, a bit a minute: 64 minutes change, or are looked at, at once.

use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::Spans;
use crate::problem::People;
use std::collections::BTreeMap;

/// Minutes in a word of bits.
const WORD: usize = 64;

/// People on shift less people taken, between two minutes; nobody is free outside.
#[derive(Clone, Debug)]
pub(super) struct CrewLine {
    origin: Minute,
    /// Bit of a minute: somebody is free.
    free: Vec<u64>,
    /// By word: how many more than one are free in each of its minutes, the lowest binary digits first.
    more: Vec<u64>,
    /// Binary digits of a minute in `more`; none for a crew of one.
    digits: usize,
    /// By word: minutes in which somebody was taken where nobody was free, as facts do; a set for each who was.
    owed: BTreeMap<usize, Vec<u64>>,
}

impl CrewLine {
    /// Everybody on shift is free; only minutes of `span` count.
    pub(super) fn new(people: &People, span: Span) -> Self {
        let length = usize::try_from(span.length().get()).unwrap_or(0);
        let words = length / WORD + 1;
        let more = people.most().saturating_sub(1);
        let digits = (u32::BITS - more.leading_zeros()) as usize;
        let mut line = Self {
            origin: span.start,
            free: vec![0; words],
            more: vec![0; words * digits],
            digits,
            owed: BTreeMap::new(),
        };
        for pair in people.steps().windows(2) {
            let (from, to) = (pair[0].0, pair[1].0);
            line.set(Span::new(from.max(span.start), to.min(span.end)), pair[0].1);
        }
        line
    }

    /// That many are free in all of `span`, in which nobody was.
    fn set(&mut self, span: Span, people: u32) {
        let Some(more) = people.checked_sub(1) else {
            return;
        };
        for (word, bits) in self.words(span) {
            self.free[word] |= bits;
            for digit in (0..self.digits).filter(|digit| more >> digit & 1 > 0) {
                self.more[word * self.digits + digit] |= bits;
            }
        }
    }

    /// Takes one person for `span`.
    pub(super) fn take(&mut self, span: Span) {
        for (word, bits) in self.words(span) {
            let missing = bits & !self.free[word];
            if missing != 0 {
                self.owed.entry(word).or_default().push(missing);
            }
            let more = &mut self.more[word * self.digits..(word + 1) * self.digits];
            let several = more.iter().fold(0, |any, digit| any | *digit);
            self.free[word] &= several | !bits;
            let mut borrow = bits & several;
            for digit in more {
                *digit ^= borrow;
                borrow &= *digit;
            }
        }
    }

    /// Gives one person back for `span`.
    pub(super) fn give(&mut self, span: Span) {
        for (word, bits) in self.words(span) {
            let bits = self.less_owed(word, bits);
            let mut carry = bits & self.free[word];
            self.free[word] |= bits;
            for digit in &mut self.more[word * self.digits..(word + 1) * self.digits] {
                *digit ^= carry;
                carry &= !*digit;
            }
        }
    }

    /// Pays what is owed in those minutes; the others.
    fn less_owed(&mut self, word: usize, bits: u64) -> u64 {
        let mut left = bits;
        if let Some(owed) = self.owed.get_mut(&word) {
            for own in owed.iter_mut() {
                let paid = *own & left;
                *own ^= paid;
                left ^= paid;
            }
            owed.retain(|own| *own != 0);
        }
        left
    }

    /// Longest spans of `window` in which at least one person is free, cut to the window.
    pub(super) fn free(&self, window: Span) -> Spans {
        let mut found = Spans::new();
        let end = self.offset(window.end);
        let mut at = self.next(self.offset(window.start), true, end);
        while at < end {
            let until = self.next(at, false, end);
            found.push(Span::new(self.minute(at), self.minute(until)));
            at = self.next(until, true, end);
        }
        found
    }

    /// The first minute from `at` on from which at least one person is free for `length` minutes, one above
    /// zero; `None` where there is none before `until`.
    pub(super) fn first_free(&self, at: Minute, length: Minutes, until: Minute) -> Option<Minute> {
        let length = usize::try_from(length.get()).unwrap_or(0);
        let until = self.offset(until);
        let mut at = self.offset(at);
        loop {
            let start = self.next(at, true, until);
            if start >= until {
                return None;
            }
            let end = self.next(start, false, start + length);
            if end >= start + length {
                return Some(self.minute(start));
            }
            at = end;
        }
    }

    /// Until when at least one person is free, from a minute on in which one is, at most until `until`.
    pub(super) fn free_until(&self, at: Minute, until: Minute) -> Minute {
        let end = self.next(self.offset(at), false, self.offset(until));
        self.minute(end).min(until)
    }

    /// How many people are free, from each minute on; nobody after the last.
    pub(super) fn steps(&self) -> impl Iterator<Item = (Minute, i32)> + '_ {
        let all = 0..self.free.len() * WORD;
        let mut last = None;
        let steps = all.filter_map(move |at| {
            let people = self.people(at);
            let changed = last != Some(people);
            last = Some(people);
            changed.then(|| (self.minute(at), people))
        });
        let end = self.minute(self.free.len() * WORD);
        steps.chain(std::iter::once((end, 0)))
    }

    /// People free in the minute `at`; zero outside the line.
    #[cfg(test)]
    pub(super) fn at(&self, at: Minute) -> i32 {
        let since = usize::try_from((at - self.origin).get());
        since.map_or(0, |since| self.people(since))
    }

    fn people(&self, at: usize) -> i32 {
        let (word, bit) = (at / WORD, at % WORD);
        let set = |bits: u64| i32::from(bits >> bit & 1 > 0);
        let Some(free) = self.free.get(word) else {
            return 0;
        };
        let digits =
            (0..self.digits).map(|digit| set(self.more[word * self.digits + digit]) << digit);
        set(*free) + digits.sum::<i32>()
    }

    /// The first minute from `from` on in which somebody is free, or in which nobody is; `until` where there is none
    /// before.
    fn next(&self, from: usize, free: bool, until: usize) -> usize {
        let turned = if free { 0 } else { u64::MAX };
        let mut word = from / WORD;
        let mut cut = u64::MAX << (from % WORD);
        while word * WORD < until {
            let bits = (self.free.get(word).copied().unwrap_or(0) ^ turned) & cut;
            if bits != 0 {
                return until.min(word * WORD + bits.trailing_zeros() as usize);
            }
            if word >= self.free.len() {
                break;
            }
            (word, cut) = (word + 1, u64::MAX);
        }
        until
    }

    /// The words of a span, and which of their bits are in it.
    fn words(&self, span: Span) -> impl Iterator<Item = (usize, u64)> + use<> {
        let last = self.free.len() * WORD;
        let (from, to) = (self.offset(span.start), self.offset(span.end).min(last));
        (from / WORD..to.div_ceil(WORD)).map(move |word| {
            let first = word * WORD;
            let after = (first + WORD).saturating_sub(to);
            let bits = u64::MAX << from.saturating_sub(first);
            (word, bits & (u64::MAX >> after))
        })
    }

    fn offset(&self, at: Minute) -> usize {
        usize::try_from((at - self.origin).get()).unwrap_or(0)
    }

    fn minute(&self, offset: usize) -> Minute {
        self.origin + Minutes::new(i64::try_from(offset).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::random::Random;

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
        assert!(line.steps().eq(before.steps()));
    }

    #[test]
    fn a_crew_of_many_is_counted_minute_by_minute() {
        let minute = |at: usize| Minute::new(i64::try_from(at).expect("a small number"));
        let people = People::new(&[(span(0, 300), 5), (span(300, 400), 2), (span(500, 600), 9)]);
        let mut line = CrewLine::new(&people, span(0, 700));
        let mut count: Vec<i32> = (0..700).map(|at| line.at(minute(at))).collect();
        let mut random = Random::new(7);
        let mut taken: Vec<(usize, usize)> = Vec::new();
        for _ in 0..2000 {
            if taken.len() > 8 || (!taken.is_empty() && random.below(2) == 0) {
                let (from, to) = taken.swap_remove(random.below(taken.len()));
                line.give(Span::new(minute(from), minute(to)));
                count[from..to].iter_mut().for_each(|own| *own += 1);
            } else {
                let from = random.below(650);
                let to = from + 1 + random.below(49);
                line.take(Span::new(minute(from), minute(to)));
                count[from..to].iter_mut().for_each(|own| *own -= 1);
                taken.push((from, to));
            }
            for (at, people) in count.iter().enumerate() {
                assert_eq!(line.at(minute(at)), (*people).max(0), "minute {at}");
            }
            let (from, length) = (random.below(700), 1 + random.below(80));
            let free = |at: usize| count.get(at).is_some_and(|own| *own > 0);
            let first = (from..700).find(|at| (*at..at + length).all(free));
            let wanted = Minutes::new(i64::try_from(length).expect("a small number"));
            let found = line.first_free(minute(from), wanted, minute(700));
            assert_eq!(found, first.map(minute));
        }
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
