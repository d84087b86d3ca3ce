//! Time cut in buckets: of about equal length while anybody is on shift, one while nobody is.

use crate::domain::{Minute, Minutes, Span};
use crate::problem::OnTime;

/// No bucket of a shift is shorter.
const SHORTEST: i64 = 15;

/// Consecutive buckets from a first minute to a last.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    /// One more than buckets.
    edges: Vec<Minute>,
}

/// A minute as a bucket and the minutes of it that have passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    pub(super) bucket: u32,
    pub(super) into: u32,
}

impl Grid {
    /// About `buckets` buckets over the minutes of `span` in which somebody is on `site`.
    pub(super) fn new(site: &OnTime, span: Span, buckets: usize) -> Self {
        let on: Vec<Span> = site.within(span).collect();
        let staffed: Minutes = on.iter().map(|piece| piece.length()).sum();
        let buckets = i64::try_from(buckets.max(1)).unwrap_or(i64::MAX);
        let length = (staffed.get() / buckets).max(SHORTEST);
        let mut edges = vec![span.start];
        let mut push = |at: Minute| {
            if edges.last().is_some_and(|last| *last < at) {
                edges.push(at);
            }
        };
        for piece in &on {
            push(piece.start);
            let parts = (piece.length().get() + length - 1) / length;
            for part in 1..=parts {
                push(piece.start + Minutes::new(piece.length().get() * part / parts));
            }
        }
        push(span.end);
        Self { edges }
    }

    /// How many buckets there are.
    pub(super) fn count(&self) -> usize {
        self.edges.len() - 1
    }

    /// The bucket of a minute: the first for what lies before, the number of buckets for what lies after.
    pub(super) fn bucket(&self, at: Minute) -> usize {
        self.edges
            .partition_point(|edge| *edge <= at)
            .saturating_sub(1)
    }

    /// The first minute of a bucket; that after the last for the number of buckets.
    pub(super) fn start(&self, bucket: usize) -> Minute {
        self.edges[bucket]
    }

    /// The first minute after a bucket.
    pub(super) fn end(&self, bucket: usize) -> Minute {
        self.edges[bucket + 1]
    }

    /// The buckets' edges strictly between two minutes.
    pub(super) fn edges_between(&self, from: Minute, to: Minute) -> &[Minute] {
        let first = self.edges.partition_point(|edge| *edge <= from);
        let last = self.edges.partition_point(|edge| *edge < to);
        &self.edges[first..last.max(first)]
    }

    /// A minute as bucket and rest; what lies outside is moved to the nearer end.
    pub(super) fn spot(&self, at: Minute) -> Spot {
        let at = at.clamp(self.edges[0], self.edges[self.count()]);
        let bucket = self.bucket(at).min(self.count() - 1);
        let into = (at - self.edges[bucket]).get();
        Spot {
            bucket: u32::try_from(bucket).expect("buckets are few"),
            into: u32::try_from(into).expect("a bucket is short"),
        }
    }

    /// Length of each bucket in minutes.
    pub(super) fn lengths(&self) -> Vec<f64> {
        let pairs = self.edges.windows(2);
        pairs.map(|pair| (pair[1] - pair[0]).get() as f64).collect()
    }

    /// For each bucket the minutes of `spans` in it.
    pub(super) fn minutes_in(&self, spans: &[Span]) -> Vec<f64> {
        let mut minutes = vec![0.0; self.count()];
        let all = Span::new(self.edges[0], self.edges[self.count()]);
        for span in spans.iter().map(|span| span.meet(all)) {
            if span.is_empty() {
                continue;
            }
            let mut bucket = self.bucket(span.start);
            while bucket < self.count() && self.edges[bucket] < span.end {
                let own = Span::new(self.edges[bucket], self.edges[bucket + 1]);
                minutes[bucket] += own.meet(span).length().get() as f64;
                bucket += 1;
            }
        }
        minutes
    }
}
