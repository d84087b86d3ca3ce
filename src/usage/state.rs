//! The states of a rig, and which of several counts.

use crate::domain::{Minute, Minutes, Span};
use std::ops::Index;

/// What a rig does in a minute. Where several hold at once, as they can on a rig of several positions, the
/// first in this order counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Reported down, or in an outage of the lab folder that is not for calibration.
    Down,
    /// Past its calibration date, or in an outage whose reason speaks of calibration.
    Calibration,
    /// At least one exposure runs.
    Exposure,
    /// A unit is put in or taken out, and no exposure runs.
    Loading,
    /// An exposure stands still because its watch is away, and nothing else happens.
    Paused,
    /// Every unit inside is done and waits for somebody to take it out.
    Waiting,
    /// Empty; the last minutes before a load with another fixture or condition, as many as a changeover takes.
    Changeover,
    /// Empty; a unit stands ready for it and somebody of its crew is free, and yet it is not loaded: the plan
    /// or another rule holds it back.
    HeldBack,
    /// Empty; a unit stands ready for it, and nobody of its crew is free: starved of people.
    NoPeople,
    /// Empty; it has work in the lab, but every unit of that work is on another rig, rests, is on hold or
    /// waits with its run for others: starved of units.
    NoUnits,
    /// Empty, and no unit in the lab is to go on it.
    Idle,
}

impl State {
    /// All of them; the first that holds counts.
    pub const ALL: [Self; 11] = [
        Self::Down,
        Self::Calibration,
        Self::Exposure,
        Self::Loading,
        Self::Paused,
        Self::Waiting,
        Self::Changeover,
        Self::HeldBack,
        Self::NoPeople,
        Self::NoUnits,
        Self::Idle,
    ];

    /// Its word, as columns of tables have it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Down => "down",
            Self::Calibration => "calibration",
            Self::Exposure => "exposure",
            Self::Loading => "loading",
            Self::Paused => "paused",
            Self::Waiting => "waiting",
            Self::Changeover => "changeover",
            Self::HeldBack => "held_back",
            Self::NoPeople => "no_people",
            Self::NoUnits => "no_units",
            Self::Idle => "idle",
        }
    }

    /// True where the rig cannot be used.
    pub const fn is_out(self) -> bool {
        matches!(self, Self::Down | Self::Calibration)
    }

    /// True where a unit is inside and the rig can be used.
    pub const fn is_occupied(self) -> bool {
        matches!(
            self,
            Self::Exposure | Self::Loading | Self::Paused | Self::Waiting
        )
    }
}

/// Minutes by state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ByState([Minutes; State::ALL.len()]);

impl ByState {
    pub(super) fn add(&mut self, state: State, length: Minutes) {
        self.0[state as usize] += length;
    }

    /// The sum over all states.
    pub fn total(&self) -> Minutes {
        self.0.iter().copied().sum()
    }

    /// The sum over some states.
    pub fn of(&self, wanted: impl Fn(State) -> bool) -> Minutes {
        let own = State::ALL.into_iter().filter(|state| wanted(*state));
        own.map(|state| self[state]).sum()
    }
}

impl Index<State> for ByState {
    type Output = Minutes;
    fn index(&self, state: State) -> &Minutes {
        &self.0[state as usize]
    }
}

/// Spans in layers, of which the lowest numbered counts where several lie over a minute.
///
/// Example: layer 1 over minutes 0 to 9 and layer 0 over 3 to 4 make 1, 0, 1, and none after 9.
#[derive(Clone, Debug, Default)]
pub(super) struct Layers {
    /// When a span of a layer begins (+1) or ends (−1).
    edges: Vec<(Minute, usize, i32)>,
}

/// From when on a layer counts, and how many spans of the counted layer lie there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Top {
    pub(super) from: Minute,
    /// The lowest layer with a span; the number of layers where there is none.
    pub(super) layer: usize,
    /// How many spans of layer `counted` lie there.
    pub(super) count: u32,
}

impl Layers {
    pub(super) fn add(&mut self, layer: usize, span: Span) {
        if !span.is_empty() {
            self.edges.push((span.start, layer, 1));
            self.edges.push((span.end, layer, -1));
        }
    }

    /// The step function of the lowest layer among `layers`, from [`Minute::FIRST`] on; the spans of the layer
    /// of number `layers` only count.
    pub(super) fn tops(mut self, layers: usize) -> Vec<Top> {
        self.edges.sort_unstable();
        let mut open = vec![0_i32; layers + 1];
        let top = |open: &[i32], from| Top {
            from,
            layer: (0..layers).find(|ix| open[*ix] > 0).unwrap_or(layers),
            count: u32::try_from(open[layers]).unwrap_or(0),
        };
        let mut tops = vec![top(&open, Minute::FIRST)];
        for (ix, (at, layer, change)) in self.edges.iter().enumerate() {
            open[*layer] += change;
            let is_last = self.edges.get(ix + 1).is_none_or(|next| next.0 != *at);
            let next = top(&open, *at);
            let before = tops[tops.len() - 1];
            if is_last && (before.layer, before.count) != (next.layer, next.count) {
                tops.push(next);
            }
        }
        tops
    }
}

/// The pieces of an interval, with what counts in each.
pub(super) fn pieces(tops: &[Top], interval: Span) -> impl Iterator<Item = (Span, Top)> + '_ {
    let first = tops.partition_point(|top| top.from <= interval.start);
    let first = first.saturating_sub(1);
    let ends = tops[first..].iter().skip(1).map(|top| top.from);
    let ends = ends.chain(std::iter::once(Minute::LAST));
    let own = tops[first..].iter().zip(ends);
    own.map(move |(top, end)| (Span::new(top.from, end).meet(interval), *top))
        .take_while(move |(span, _)| span.start < interval.end)
        .filter(|(span, _)| !span.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(start: i64, end: i64) -> Span {
        Span::new(Minute::new(start), Minute::new(end))
    }

    #[test]
    fn the_lowest_layer_counts_and_the_last_one_is_counted() {
        let mut layers = Layers::default();
        layers.add(1, span(0, 9));
        layers.add(0, span(3, 5));
        layers.add(2, span(4, 12));
        layers.add(2, span(4, 6));
        layers.add(0, span(7, 7));
        let tops = layers.tops(2);
        let got: Vec<(i64, i64, usize, u32)> = pieces(&tops, span(-2, 20))
            .map(|(own, top)| (own.start.get(), own.end.get(), top.layer, top.count))
            .collect();
        let expected = [
            (-2, 0, 2, 0),
            (0, 3, 1, 0),
            (3, 4, 0, 0),
            (4, 5, 0, 2),
            (5, 6, 1, 2),
            (6, 9, 1, 1),
            (9, 12, 2, 1),
            (12, 20, 2, 0),
        ];
        assert_eq!(got, expected);
        let inside: Vec<usize> = pieces(&tops, span(3, 4))
            .map(|(_, top)| top.layer)
            .collect();
        assert_eq!(inside, [0]);
        assert_eq!(pieces(&tops, span(4, 4)).count(), 0);
    }

    #[test]
    fn states_stand_in_the_order_in_which_they_count() {
        let places: Vec<usize> = State::ALL.iter().map(|own| *own as usize).collect();
        assert_eq!(places, (0..State::ALL.len()).collect::<Vec<usize>>());
        let mut own = ByState::default();
        own.add(State::Paused, Minutes::new(7));
        own.add(State::Down, Minutes::new(2));
        assert_eq!(own[State::Paused], Minutes::new(7));
        assert_eq!(own.total(), Minutes::new(9));
        assert_eq!(own.of(State::is_occupied), Minutes::new(7));
    }
}
