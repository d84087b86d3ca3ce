//! What is on a rig, over time, and where there is room for more.

use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::Rig;

/// A stay on a rig: of a visit, or of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stay {
    span: Span,
    /// Fixture or condition.
    kind: u32,
}

/// The stays of a rig, by position where its positions are independent.
#[derive(Clone, Debug)]
pub(super) struct Lines {
    loading: Loading,
    changeover: Minutes,
    /// Units at one time, where all share one line.
    room: usize,
    /// Each sorted by start.
    lanes: Vec<Vec<Stay>>,
}

impl Lines {
    pub(super) fn new(rig: &Rig) -> Self {
        let (lanes, room) = match rig.loading {
            Loading::Each => (rig.positions, 1),
            Loading::Together => (1, 1),
            Loading::Held => (1, rig.positions as usize),
        };
        Self {
            loading: rig.loading,
            changeover: rig.changeover,
            room,
            lanes: vec![Vec::new(); lanes as usize],
        }
    }

    /// Nothing is on it any more.
    pub(super) fn clear(&mut self) {
        self.lanes.iter_mut().for_each(Vec::clear);
    }

    /// A lane that is free for the whole span, the wished one first; else the first minute that is worth trying.
    pub(super) fn free(&self, span: Span, kind: u32, wish: u32) -> Result<u32, Minute> {
        let wish = (wish as usize).min(self.lanes.len() - 1);
        let mut soonest = Minute::LAST;
        let others = (0..self.lanes.len()).filter(|lane| *lane != wish);
        for lane in std::iter::once(wish).chain(others) {
            match self.free_in(&self.lanes[lane], span, kind) {
                Ok(()) => return Ok(u32::try_from(lane).expect("positions are few")),
                Err(next) => soonest = soonest.min(next),
            }
        }
        Err(soonest)
    }

    fn free_in(&self, stays: &[Stay], span: Span, kind: u32) -> Result<(), Minute> {
        let gap = |stay: &Stay| {
            if stay.kind == kind {
                Minutes::ZERO
            } else {
                self.changeover
            }
        };
        let near = stays
            .iter()
            .take_while(|stay| stay.span.start < span.end + self.changeover);
        let mut inside: Vec<Span> = Vec::new();
        let mut free_after = None;
        for stay in near {
            let gap = gap(stay);
            let apart = stay.span.end + gap <= span.start || span.end + gap <= stay.span.start;
            if apart {
                continue;
            }
            if self.loading == Loading::Held && stay.kind == kind {
                inside.push(stay.span);
            } else {
                free_after = free_after.max(Some(stay.span.end + gap));
            }
        }
        match free_after {
            Some(next) => Err(next),
            None => self.room_among(&inside, span.start),
        }
    }

    /// Fewer than there is room for are inside at any minute from `from` on; else when the first of them is out.
    fn room_among(&self, inside: &[Span], from: Minute) -> Result<(), Minute> {
        if inside.len() < self.room {
            return Ok(());
        }
        let at_once = |at: Minute| inside.iter().filter(|own| own.contains(at)).count();
        let full = |own: &Span| at_once(own.start.max(from)) >= self.room;
        if !inside.iter().any(full) {
            return Ok(());
        }
        let outs = inside.iter().map(|own| own.end);
        Err(outs.min().unwrap_or(from).max(from + Minutes::new(1)))
    }

    /// Puts a stay in.
    pub(super) fn take(&mut self, lane: u32, span: Span, kind: u32) {
        let lane = (lane as usize).min(self.lanes.len() - 1);
        let stays = &mut self.lanes[lane];
        let at = stays.partition_point(|stay| stay.span.start <= span.start);
        stays.insert(at, Stay { span, kind });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::RigId;

    fn lines(loading: Loading, positions: u32) -> Lines {
        Lines::new(&Rig {
            id: RigId::new("rig"),
            positions,
            loading,
            load: Minutes::ZERO,
            unload: Minutes::ZERO,
            changeover: Minutes::new(5),
            usable: Vec::new(),
            outages: Vec::new(),
            calibrated_until: Minute::LAST,
        })
    }

    fn span(from: i64, to: i64) -> Span {
        Span::new(Minute::new(from), Minute::new(to))
    }

    #[test]
    fn positions_are_free_by_themselves_and_need_a_changeover_for_another_fixture() {
        let mut own = lines(Loading::Each, 2);
        own.take(0, span(10, 20), 1);
        assert_eq!(own.free(span(20, 30), 1, 0), Ok(0));
        assert_eq!(
            own.free(span(20, 30), 2, 0),
            Ok(1),
            "the other position needs none"
        );
        own.take(1, span(10, 18), 1);
        assert_eq!(own.free(span(20, 30), 2, 0), Err(Minute::new(23)));
        assert_eq!(own.free(span(0, 6), 2, 0), Err(Minute::new(23)));
        assert_eq!(own.free(span(0, 5), 2, 0), Ok(0));
    }

    #[test]
    fn runs_follow_one_another_with_a_changeover_between_conditions() {
        let mut own = lines(Loading::Together, 8);
        own.take(0, span(10, 20), 1);
        assert_eq!(own.free(span(20, 25), 1, 0), Ok(0));
        assert_eq!(own.free(span(20, 25), 2, 0), Err(Minute::new(25)));
        assert_eq!(own.free(span(15, 18), 1, 0), Err(Minute::new(20)));
    }

    #[test]
    fn an_oven_takes_as_many_as_it_holds_of_one_condition() {
        let mut own = lines(Loading::Held, 2);
        own.take(0, span(10, 20), 1);
        assert_eq!(own.free(span(12, 30), 1, 0), Ok(0));
        own.take(0, span(12, 30), 1);
        assert_eq!(own.free(span(15, 40), 1, 0), Err(Minute::new(20)));
        assert_eq!(own.free(span(20, 40), 1, 0), Ok(0));
        assert_eq!(own.free(span(20, 40), 2, 0), Err(Minute::new(35)));
        // Two that follow one another take one place.
        own.take(0, span(30, 50), 1);
        assert_eq!(own.free(span(25, 45), 1, 0), Ok(0));
    }
}
