//! Minutes and columns, and what lies in a row of them.

use crate::domain::{Minute, Minutes, Span};

/// A stretch of time drawn over columns.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    /// The first minute of the first column.
    pub from: Minute,
    /// Minutes of a column.
    pub scale: Minutes,
    /// How many columns.
    pub columns: usize,
}

impl Axis {
    /// The column of a minute; `None` outside.
    pub fn column(&self, at: Minute) -> Option<usize> {
        let column = (at - self.from).get().div_euclid(self.scale.get());
        usize::try_from(column)
            .ok()
            .filter(|column| *column < self.columns)
    }

    /// The columns that a span touches, cut to what is shown; `None` where none is.
    pub fn columns_of(&self, span: Span) -> Option<(usize, usize)> {
        let scale = self.scale.get();
        let first = (span.start - self.from).get().div_euclid(scale).max(0);
        let last = (span.end - self.from).get().max(0);
        let last = (last + scale - 1).div_euclid(scale).max(first + 1);
        let first = usize::try_from(first).ok()?;
        let last = usize::try_from(last).ok()?.min(self.columns);
        let seen = span.end > self.from && first < self.columns && first < last;
        seen.then_some((first, last))
    }

    /// The minute at which a column begins.
    pub fn start_of(&self, column: usize) -> Minute {
        self.from + self.scale * i64::try_from(column).unwrap_or(0)
    }
}

/// Spans that touch, as one block with the places of its members in the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// From the first start to the last end.
    pub span: Span,
    /// Places in the list.
    pub members: Vec<usize>,
}

/// The most of the spans that hold one minute of `window` in common.
pub fn most_at_once(spans: &[Span], window: Span) -> usize {
    let inside: Vec<Span> = spans
        .iter()
        .map(|span| span.meet(window))
        .filter(|span| !span.is_empty())
        .collect();
    let at = |moment: Minute| inside.iter().filter(|span| span.contains(moment)).count();
    inside.iter().map(|span| at(span.start)).max().unwrap_or(0)
}

/// Blocks of spans that overlap; the list is sorted by start.
pub fn blocks(spans: &[Span]) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    for (ix, span) in spans.iter().enumerate() {
        match blocks.last_mut() {
            Some(block) if span.start < block.span.end => {
                block.span.end = block.span.end.max(span.end);
                block.members.push(ix);
            }
            _ => blocks.push(Block {
                span: *span,
                members: vec![ix],
            }),
        }
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(a: i64, b: i64) -> Span {
        Span::new(Minute::new(a), Minute::new(b))
    }

    #[test]
    fn columns_hold_their_minutes_and_the_ends_are_cut() {
        let axis = Axis {
            from: Minute::new(100),
            scale: Minutes::new(10),
            columns: 8,
        };
        assert_eq!(axis.column(Minute::new(99)), None);
        assert_eq!(axis.column(Minute::new(119)), Some(1));
        assert_eq!(axis.columns_of(span(90, 115)), Some((0, 2)));
        assert_eq!(axis.columns_of(span(110, 120)), Some((1, 2)));
        assert_eq!(axis.columns_of(span(170, 500)), Some((7, 8)));
        assert_eq!(axis.columns_of(span(50, 100)), None);
        assert_eq!(axis.columns_of(span(180, 190)), None);
    }

    #[test]
    fn what_overlaps_is_one_block() {
        let found = blocks(&[span(0, 10), span(5, 20), span(20, 30)]);
        assert_eq!(
            found
                .iter()
                .map(|block| block.members.len())
                .collect::<Vec<_>>(),
            [2, 1]
        );
        assert_eq!(found[0].span, span(0, 20));
        assert_eq!(
            most_at_once(&[span(0, 10), span(5, 20), span(9, 30)], span(0, 100)),
            3
        );
        assert_eq!(
            most_at_once(&[span(0, 10), span(5, 20), span(9, 30)], span(12, 100)),
            2
        );
    }
}
