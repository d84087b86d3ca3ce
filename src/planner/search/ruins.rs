//! What a round takes off: whole requests, what several do after some minute, or single units.

use super::{Search, request_cost};
use crate::domain::{Minute, Minutes};
use crate::planner::construct::stage_ends;
use crate::problem::{RequestIx, UnitIx};

/// Bookings of one request that are taken off together: those of some units from a step on.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) request: RequestIx,
    pub(super) units: Vec<UnitIx>,
    pub(super) from: usize,
    /// All that is not fact is taken off.
    pub(super) whole: bool,
}

/// Ways to choose what is taken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ruin {
    Requests,
    Window,
    Units,
    Blockers,
    InTheWay,
    Replay,
}

/// All ways.
pub(super) const RUINS: [Ruin; 6] = [
    Ruin::Requests,
    Ruin::Window,
    Ruin::Units,
    Ruin::Blockers,
    Ruin::InTheWay,
    Ruin::Replay,
];

impl Search<'_, '_> {
    /// What to take off this time, for the sake of `first`.
    pub(super) fn choose(&mut self, ruin: Ruin, first: RequestIx) -> Vec<Piece> {
        match ruin {
            Ruin::Requests => {
                let most = 1 + self.random.below(4);
                let all = self.with_rivals(first, most);
                all.into_iter().map(|request| self.whole(request)).collect()
            }
            Ruin::Window => self.window(first),
            Ruin::Units => self.units(first),
            Ruin::Blockers => self.blockers(first),
            Ruin::InTheWay => self.in_the_way(first),
            Ruin::Replay => self.all_after(first),
        }
    }

    fn whole(&self, request: RequestIx) -> Piece {
        Piece {
            request,
            units: self.builder.problem.units_of(request).collect(),
            from: 0,
            whole: true,
        }
    }

    /// A request and its rivals from some minute of its way on.
    fn window(&mut self, first: RequestIx) -> Vec<Piece> {
        let from = self.some_minute_of(first);
        let most = 1 + self.random.below(6);
        let all = self.with_rivals(first, most);
        all.into_iter()
            .filter_map(|request| self.after(request, from))
            .collect()
    }

    /// A minute from when a request is ready to its finish, drawn.
    pub(super) fn some_minute_of(&mut self, request: RequestIx) -> Minute {
        let (ready, finish) = self.span_of(request);
        let length = usize::try_from((finish - ready).get()).unwrap_or(0).max(1);
        let after = i64::try_from(self.random.below(length)).expect("a length in minutes");
        ready + Minutes::new(after)
    }

    /// What all units of a request do from the first stage on that none of them begins before `from`.
    pub(super) fn after(&self, request: RequestIx, from: Minute) -> Option<Piece> {
        let units: Vec<UnitIx> = self.builder.problem.units_of(request).collect();
        let stage = self.stages(request).into_iter().find(|stage| {
            units
                .iter()
                .all(|unit| self.begins_after(*unit, *stage, from))
        })?;
        let piece = Piece {
            request,
            units,
            from: stage,
            whole: false,
        };
        self.has_bookings(&piece).then_some(piece)
    }

    /// The unit that finishes a request, from one of its stages on, with units of rivals at that time.
    fn units(&mut self, first: RequestIx) -> Vec<Piece> {
        let Some(last) = self.last_unit(first) else {
            return Vec::new();
        };
        let stages = self.stages(first);
        let stage = stages[self.random.below(stages.len())];
        let placed = self.builder.lines.placed(last, stage);
        let from = placed.map_or(self.builder.problem.now, |placed| placed.times.load);
        let most = self.random.below(4);
        let mut pieces = vec![self.part(first, last, stage)];
        for rival in self.with_rivals(first, most) {
            let count = 1 + self.random.below(3);
            for _ in 0..count {
                let units: Vec<UnitIx> = self.builder.problem.units_of(rival).collect();
                let unit = units[self.random.below(units.len())];
                let early = from - Minutes::hours([0, 2, 8, 24][self.random.below(4)]);
                let stage = self
                    .stages(rival)
                    .into_iter()
                    .find(|stage| self.begins_after(unit, *stage, early));
                if let Some(stage) = stage
                    && pieces.iter().all(|piece| !piece.units.contains(&unit))
                {
                    pieces.push(self.part(rival, unit, stage));
                }
            }
        }
        pieces.retain(|piece| self.has_bookings(piece));
        pieces
    }

    /// One unit from a stage on; all of them where they are kept together.
    pub(super) fn part(&self, request: RequestIx, unit: UnitIx, from: usize) -> Piece {
        let problem = self.builder.problem;
        let together = problem.requests[request.ix()].keep_together;
        Piece {
            request,
            units: if together {
                problem.units_of(request).collect()
            } else {
                vec![unit]
            },
            from,
            whole: false,
        }
    }

    pub(super) fn has_bookings(&self, piece: &Piece) -> bool {
        let problem = self.builder.problem;
        piece.units.iter().any(|unit| {
            let own = &problem.units[unit.ix()];
            (piece.from.max(own.facts.len())..own.wanted)
                .any(|step| self.builder.lines.placed(*unit, step).is_some())
        })
    }

    /// True where a unit's bookings from a step on begin at or after `from`; also where it has none.
    pub(super) fn begins_after(&self, unit: UnitIx, step: usize, from: Minute) -> bool {
        let facts = self.builder.problem.units[unit.ix()].facts.len();
        let placed = self.builder.lines.placed(unit, step.max(facts));
        placed.is_none_or(|placed| placed.times.load >= from)
    }

    pub(super) fn last_unit(&self, request: RequestIx) -> Option<UnitIx> {
        let problem = self.builder.problem;
        let out = |unit: &UnitIx| {
            let last = problem.units[unit.ix()].wanted.checked_sub(1)?;
            Some(self.builder.lines.placed(*unit, last)?.times.out)
        };
        problem
            .units_of(request)
            .max_by_key(|unit| (out(unit), *unit))
    }

    /// First steps of the stages of a request: those before which no largest rest binds.
    pub(super) fn stages(&self, request: RequestIx) -> Vec<usize> {
        let mut stages = vec![0];
        stages.extend(stage_ends(
            &self.builder.problem.requests[request.ix()].steps,
        ));
        stages.pop();
        stages
    }

    /// A request, and up to `most` that compete with it.
    fn with_rivals(&mut self, first: RequestIx, most: usize) -> Vec<RequestIx> {
        let span = self.span_of(first);
        let mut near: Vec<(f64, RequestIx)> = Vec::new();
        let tries = 24.min(self.movable.len());
        for _ in 0..tries {
            let other = self.movable[self.random.below(self.movable.len())];
            if other != first && near.iter().all(|(_, known)| *known != other) {
                let kinship = self.kinship(first, span, other);
                near.push((kinship * (0.3 + self.random.fraction()), other));
            }
        }
        near.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut all = vec![first];
        all.extend(near.into_iter().take(most).map(|(_, other)| other));
        all
    }

    /// The dearest of a few drawn at random.
    pub(super) fn seed_request(&mut self) -> RequestIx {
        let draws = 1 + self.random.below(4);
        let drawn: Vec<RequestIx> = (0..draws)
            .map(|_| self.movable[self.random.below(self.movable.len())])
            .collect();
        let dearest = drawn
            .into_iter()
            .max_by_key(|request| request_cost(self.builder, *request));
        dearest.expect("at least one is drawn")
    }
}
