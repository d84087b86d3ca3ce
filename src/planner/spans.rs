//! Sets of minutes as sorted, disjoint, non-empty spans, and the few operations the planner needs.

use crate::domain::{Minute, Minutes, Span};

/// Sorted, disjoint, non-empty spans.
pub(super) type Spans = Vec<Span>;

/// The single minute `at`.
pub(super) fn point(at: Minute) -> Span {
    Span::new(at, at + Minutes::new(1))
}

/// Minutes that are in both sets.
pub(super) fn meet(a: &[Span], b: &[Span]) -> Spans {
    let (mut i, mut j) = (
        0,
        b.partition_point(|span| a.first().is_some_and(|f| span.end <= f.start)),
    );
    let mut both = Spans::with_capacity(a.len() + b.len() - j);
    while i < a.len() && j < b.len() {
        let common = a[i].meet(b[j]);
        if !common.is_empty() {
            both.push(common);
        }
        if a[i].end < b[j].end { i += 1 } else { j += 1 }
    }
    both
}

/// Minutes of `a` that lie in `window`.
pub(super) fn clip(a: &[Span], window: Span) -> Spans {
    let from = a.partition_point(|span| span.end <= window.start);
    let count = a[from..].partition_point(|span| span.start < window.end);
    a[from..from + count]
        .iter()
        .map(|span| span.meet(window))
        .collect()
}

/// The union of spans in any order; empty ones are dropped.
pub(super) fn union(mut spans: Spans) -> Spans {
    spans.retain(|span| !span.is_empty());
    if spans.is_sorted_by(|a, b| a.end < b.start) {
        return spans;
    }
    spans.sort_unstable();
    let mut kept = 0;
    for ix in 1..spans.len() {
        if spans[ix].start <= spans[kept].end {
            spans[kept].end = spans[kept].end.max(spans[ix].end);
        } else {
            kept += 1;
            spans[kept] = spans[ix];
        }
    }
    spans.truncate(if spans.is_empty() { 0 } else { kept + 1 });
    spans
}

/// Every minute moved by `by`.
pub(super) fn shift(mut spans: Spans, by: Minutes) -> Spans {
    for span in &mut spans {
        *span = Span::new(span.start + by, span.end + by);
    }
    spans
}

/// All minutes that lie `least` to `most` after a minute of the set.
pub(super) fn stretch(spans: &[Span], least: Minutes, most: Minutes) -> Spans {
    union(
        spans
            .iter()
            .map(|span| Span::new(span.start + least, span.end + most))
            .collect(),
    )
}

/// The minutes from which `length` minutes on lie within one span of the set.
pub(super) fn starts(spans: &[Span], length: Minutes) -> Spans {
    let mut all = Spans::with_capacity(spans.len());
    let long_enough = spans.iter().filter(|span| span.length() >= length);
    all.extend(long_enough.map(|span| Span::new(span.start, span.end - length + Minutes::new(1))));
    all
}

/// The first minute of the set at or after `at`.
pub(super) fn first_from(spans: &[Span], at: Minute) -> Option<Minute> {
    let ix = spans.partition_point(|span| span.end <= at);
    spans.get(ix).map(|span| span.start.max(at))
}

/// True where the minute is in the set.
pub(super) fn holds(spans: &[Span], at: Minute) -> bool {
    first_from(spans, at) == Some(at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(spans: &[(i64, i64)]) -> Spans {
        spans
            .iter()
            .map(|(a, b)| Span::new(Minute::new(*a), Minute::new(*b)))
            .collect()
    }

    #[test]
    fn sets_meet_and_unite_as_sets_of_minutes() {
        let (a, b) = (set(&[(0, 5), (10, 20)]), set(&[(3, 12), (19, 30)]));
        assert_eq!(meet(&a, &b), set(&[(3, 5), (10, 12), (19, 20)]));
        assert_eq!(
            union(set(&[(5, 9), (0, 5), (8, 10), (12, 12), (20, 21)])),
            set(&[(0, 10), (20, 21)])
        );
        assert_eq!(
            clip(&a, Span::new(Minute::new(4), Minute::new(11))),
            set(&[(4, 5), (10, 11)])
        );
        assert_eq!(union(set(&[(3, 3)])), set(&[]));
    }

    #[test]
    fn a_start_leaves_room_for_the_whole_length() {
        let room = set(&[(0, 5), (10, 12)]);
        assert_eq!(starts(&room, Minutes::new(3)), set(&[(0, 3)]));
        assert_eq!(starts(&room, Minutes::new(2)), set(&[(0, 4), (10, 11)]));
        assert_eq!(first_from(&room, Minute::new(6)), Some(Minute::new(10)));
        assert!(holds(&room, Minute::new(4)) && !holds(&room, Minute::new(5)));
    }
}
