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

/// Columns of a row with the blocks that are drawn there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// First column.
    pub from: usize,
    /// The column after the last.
    pub to: usize,
    /// Places of its blocks in the list; several where they are too narrow to be told apart.
    pub blocks: Vec<usize>,
    /// It begins before what is shown.
    pub cut_left: bool,
    /// It ends after what is shown.
    pub cut_right: bool,
}

/// Lays blocks out so that no two share a column: where a block begins in the column in which the one before
/// ends, it is drawn from the next column on; where it has no column left, both are one piece. The list is
/// sorted by start and does not overlap.
pub fn pieces(blocks: &[Block], axis: &Axis) -> Vec<Piece> {
    let mut all: Vec<Piece> = Vec::new();
    let end = axis.start_of(axis.columns);
    for (ix, block) in blocks.iter().enumerate() {
        let Some((from, to)) = axis.columns_of(block.span) else {
            continue;
        };
        let (cut_left, cut_right) = (block.span.start < axis.from, block.span.end > end);
        match all.last_mut() {
            Some(last) if from < last.to && to <= last.to => {
                last.blocks.push(ix);
                last.cut_right |= cut_right;
            }
            last => {
                let from = last.map_or(from, |last| from.max(last.to));
                all.push(Piece {
                    from,
                    to,
                    blocks: vec![ix],
                    cut_left,
                    cut_right,
                });
            }
        }
    }
    all
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
    fn pieces_never_share_a_column_and_nothing_is_left_out() {
        let axis = Axis {
            from: Minute::new(0),
            scale: Minutes::new(10),
            columns: 6,
        };
        let spans = [
            span(-5, 12),
            span(12, 25),
            span(25, 27),
            span(27, 29),
            span(40, 99),
        ];
        let own = pieces(&blocks(&spans), &axis);
        let columns: Vec<(usize, usize, usize)> = own
            .iter()
            .map(|piece| (piece.from, piece.to, piece.blocks.len()))
            .collect();
        assert_eq!(columns, [(0, 2, 1), (2, 3, 3), (4, 6, 1)]);
        assert!(own[0].cut_left && !own[0].cut_right && own[2].cut_right);
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
