//! The plan replayed from a minute on: whatever begins later is taken off and put in again in the order of its loads,
//! some of it sooner, later or in another run.
//!
//! Other rounds leave what comes after an early change where it is, so that the change alone must pay. Here all of it
//! moves up: a serial schedule in the order of the starts begins nothing later than before where no runs are shared
//! (Sprecher, Kolisch and Drexl 1995). Runs keep their members, and wait for them as they did.

use super::ruins::Piece;
use super::{Round, Search};
use crate::domain::{Minute, Minutes};
use crate::planner::construct::{Builder, Style, stage_ends};
use crate::planner::timeline::{Placed, Slot};
use crate::problem::{CondIx, RequestIx, RigIx, UnitIx};
use std::collections::BTreeMap;

/// So many bookings are taken off, and what belongs to the last of them.
const MOST: usize = 100;
/// So many requests are looked at for that, at most.
const LOOKS: usize = 100;
/// So much later than before a run still waits for one of its members.
const PATIENCE: Minutes = Minutes::hours(8);

/// Units, mostly one, that do the steps of one stage.
struct Turn {
    /// When it would load; turns are put in by this.
    load: Minute,
    request: RequestIx,
    units: Vec<UnitIx>,
    /// The end of the stage.
    end: usize,
    /// The run in which the first step is done, if any.
    run: Option<usize>,
}

/// A chamber run.
struct Run {
    load: Minute,
    condition: CondIx,
    /// Who is in it, for which step.
    members: Vec<(UnitIx, usize)>,
}

/// What is put in again.
#[derive(Default)]
pub(super) struct Replay {
    turns: Vec<Turn>,
    runs: Vec<Run>,
}

impl Replay {
    /// Everything that the pieces hold.
    fn of(builder: &Builder<'_>, pieces: &[Piece]) -> Self {
        let mut replay = Self::default();
        let mut known = BTreeMap::new();
        for piece in pieces {
            let steps = &builder.problem.requests[piece.request.ix()].steps;
            let mut from = piece.from;
            for end in stage_ends(steps).filter(|end| *end > piece.from) {
                let units = piece.units.iter();
                let placed = units.filter_map(|unit| builder.lines.placed(*unit, from));
                if let Some(first) = placed.min_by_key(|placed| placed.times.load) {
                    let shares = first.slot == Slot::Run && piece.units.len() == 1;
                    let member = (piece.units[0], from);
                    let condition = steps[from].condition;
                    let run = shares.then(|| replay.enter(&mut known, first, condition, member));
                    replay.turns.push(Turn {
                        load: first.times.load,
                        request: piece.request,
                        units: piece.units.clone(),
                        end,
                        run,
                    });
                }
                from = end;
            }
        }
        replay
    }

    /// Enters a member of a run, which is new where its rig and load are not `known`.
    fn enter(
        &mut self,
        known: &mut BTreeMap<(RigIx, Minute), usize>,
        placed: &Placed,
        condition: CondIx,
        member: (UnitIx, usize),
    ) -> usize {
        let load = placed.times.load;
        let run = *known.entry((placed.rig, load)).or_insert(self.runs.len());
        if run == self.runs.len() {
            self.runs.push(Run {
                load,
                condition,
                members: Vec::new(),
            });
        }
        self.runs[run].members.push(member);
        run
    }

    /// Puts a request's turns that load at or after `from` so much later, or earlier.
    fn shift(&mut self, request: RequestIx, from: Minute, by: Minutes) {
        let own = self
            .turns
            .iter_mut()
            .filter(|turn| turn.request == request && turn.load >= from);
        own.for_each(|turn| turn.load += by);
    }

    /// Puts a turn into another run.
    fn change_run(&mut self, turn: usize, to: usize) {
        let turn = &mut self.turns[turn];
        let Some(from) = turn.run.replace(to) else {
            return;
        };
        turn.load = self.runs[to].load;
        let members = &mut self.runs[from].members;
        let own = members.iter().position(|(unit, _)| *unit == turn.units[0]);
        let own = members.swap_remove(own.expect("a turn is in its run"));
        self.runs[to].members.push(own);
    }

    /// When a run can load: once its members can be there who are not much later than before.
    fn opens(&self, builder: &Builder<'_>, run: usize) -> Minute {
        let run = &self.runs[run];
        let arrivals = run
            .members
            .iter()
            .map(|(unit, step)| builder.first_loads(*unit, *step).start);
        let in_time = arrivals.filter(|arrival| *arrival <= run.load + PATIENCE);
        in_time.max().unwrap_or(Minute::FIRST)
    }
}

impl Search<'_, '_> {
    /// What begins after some minute of a request's way, of that request and of others until it is enough; what is
    /// bound to a place or a time stays.
    pub(super) fn all_after(&mut self, first: RequestIx) -> Vec<Piece> {
        let from = self.some_minute_of(first);
        let mut pieces = Vec::new();
        self.add_after(first, from, &mut pieces);
        for drawn in 0..self.movable.len().min(LOOKS) {
            if self.most_bookings(&pieces) > MOST {
                break;
            }
            let other = self.draw_other(drawn);
            if other != first {
                self.add_after(other, from, &mut pieces);
            }
        }
        pieces
    }

    /// So many steps do the units of the pieces have from there on.
    fn most_bookings(&self, pieces: &[Piece]) -> usize {
        let steps = |request: RequestIx| self.builder.problem.requests[request.ix()].steps.len();
        let own = |piece: &Piece| piece.units.len() * (steps(piece.request) - piece.from);
        pieces.iter().map(own).sum()
    }

    /// Draws a request that is not among those drawn before it in the round: these stand first in the list.
    fn draw_other(&mut self, drawn: usize) -> RequestIx {
        let at = drawn + self.random.below(self.movable.len() - drawn);
        self.movable.swap(drawn, at);
        self.movable[drawn]
    }

    /// The units of a request from the first stage on that begins at or after `from`: each for itself, or all where
    /// they stay together.
    fn add_after(&self, request: RequestIx, from: Minute, pieces: &mut Vec<Piece>) {
        let problem = self.builder.problem;
        let bound = |unit: UnitIx| self.builder.is_bound(unit);
        if problem.requests[request.ix()].keep_together {
            if !problem.units_of(request).any(bound) {
                pieces.extend(self.after(request, from));
            }
            return;
        }
        let stages = self.stages(request);
        for unit in problem.units_of(request).filter(|unit| !bound(*unit)) {
            let begins = |stage: &usize| self.begins_after(unit, *stage, from);
            let stage = stages.iter().copied().find(begins);
            pieces.extend(stage.map(|stage| self.part(request, unit, stage)));
        }
    }

    /// The turns of the pieces, a little otherwise: of `first` earlier, of another later, or in another run.
    pub(super) fn replay_of(&mut self, first: RequestIx, pieces: &[Piece]) -> Replay {
        let mut replay = Replay::of(self.builder, pieces);
        if replay.turns.is_empty() {
            return replay;
        }
        let hours = f64::from([2, 6, 12, 24, 48, 96][self.random.below(6)]);
        #[expect(clippy::cast_possible_truncation, reason = "some days in minutes")]
        let by = Minutes::new((-(1.0 - self.random.fraction()).ln() * hours * 60.0) as i64);
        let any = self.random.below(replay.turns.len());
        match self.random.below(8) {
            0 => {}
            1..=3 => replay.shift(first, Minute::FIRST, Minutes::ZERO - by),
            4 => replay.shift(first, replay.turns[any].load, Minutes::ZERO - by),
            5 => replay.shift(replay.turns[any].request, Minute::FIRST, by),
            _ => self.join_earlier(&mut replay, first),
        }
        replay.turns.sort_by_key(|turn| turn.load);
        replay
    }

    /// Puts one turn of a request, or all that it has in one run, into an earlier run of the condition.
    fn join_earlier(&mut self, replay: &mut Replay, request: RequestIx) {
        let turns = 0..replay.turns.len();
        let own: Vec<usize> = turns
            .filter(|turn| {
                replay.turns[*turn].request == request && replay.turns[*turn].run.is_some()
            })
            .collect();
        if own.is_empty() {
            return;
        }
        let turn = own[self.random.below(own.len())];
        let Some(from) = replay.turns[turn].run else {
            return;
        };
        let (load, condition) = (replay.runs[from].load, replay.runs[from].condition);
        let is_earlier =
            |run: &usize| replay.runs[*run].condition == condition && replay.runs[*run].load < load;
        let earlier: Vec<usize> = (0..replay.runs.len()).filter(is_earlier).collect();
        if earlier.is_empty() {
            return;
        }
        let to = earlier[self.random.below(earlier.len())];
        let all = self.random.below(2) == 0;
        let moved = own.into_iter().filter(|other| {
            if all {
                replay.turns[*other].run == Some(from)
            } else {
                *other == turn
            }
        });
        for turn in moved.collect::<Vec<_>>() {
            replay.change_run(turn, to);
        }
    }

    /// Puts the turns in, one after the other; false where one finds no place, or none at which the requests together
    /// cost no more than the round may.
    pub(super) fn put_turns(&mut self, replay: &Replay, round: &Round<'_>) -> bool {
        let hours = [0, 0, 2, 6, 12, 24][self.random.below(6)];
        self.builder.style = Style::sharing(Minutes::hours(hours));
        let mut least: Vec<i64> = round
            .requests
            .iter()
            .map(|request| self.least_cost(*request))
            .collect();
        let mut all: i64 = least.iter().sum();
        let mut complete = true;
        for turn in &replay.turns {
            let at = round.requests.binary_search(&turn.request);
            let at = at.expect("whoever has a turn is in the round");
            let most = least[at] + round.most - all;
            self.builder.latest = self.builder.problem.latest_finish(turn.request, most);
            let opens = turn
                .run
                .map_or(Minute::FIRST, |run| replay.opens(self.builder, run));
            complete = most >= least[at]
                && self
                    .builder
                    .put_turn(turn.request, &turn.units, turn.end, opens)
                    .is_ok();
            if !complete {
                break;
            }
            all -= least[at];
            least[at] = self.least_cost(turn.request);
            all += least[at];
        }
        self.builder.latest = Minute::LAST;
        self.builder.forget_log();
        complete
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Facts;
    use crate::domain::lab::{Length, Loading};
    use crate::domain::parts::{
        ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
    };
    use crate::domain::zone::known::utc;
    use crate::planner::alone::Alone;
    use crate::problem::{Problem, compile};

    /// Six requests of two units that look, heat in a chamber and look, on one bench of two positions and in one
    /// chamber of four.
    fn problem(middle: &str) -> Problem {
        let mut lab = empty_lab();
        lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (6, 0), (22, 0), 2)])];
        for (id, hours) in [("look", 1), ("heat", 5)] {
            let own = method(id, id, Length::Hold(Minutes::hours(hours)));
            lab.methods.insert(own.id.clone(), own);
        }
        lab.rigs = vec![
            rig("bench", &["look"], Loading::Each, 2),
            rig("chamber", &["heat"], Loading::Together, 4),
        ];
        for own in &mut lab.rigs {
            own.load = Minutes::new(10);
            own.unload = Minutes::new(10);
        }
        lab.sequences = vec![sequence("s", ["look", middle, "look"].map(step).to_vec())];
        let ready = utc("2027-03-01T06:00");
        let all = (0..6).map(|number| request(&format!("R{number}"), "s", 2, ready));
        lab.requests = all.collect();
        compile(&lab, &Facts::default(), ready)
    }

    fn planned<'p>(problem: &'p Problem, alone: &Alone) -> Builder<'p> {
        let mut builder = Builder::new(problem, alone, Style::sharing(Minutes::ZERO));
        for request in 0..problem.requests.len() {
            builder.put(request.into()).expect("there is room");
        }
        builder
    }

    /// Everything of everybody.
    fn everything(search: &Search<'_, '_>) -> Vec<Piece> {
        let mut pieces = Vec::new();
        for request in &search.movable {
            search.add_after(*request, search.builder.problem.now, &mut pieces);
        }
        pieces
    }

    #[test]
    fn replayed_as_it_was_nobody_finishes_later() {
        let problem = problem("look");
        let alone = Alone::look(&problem);
        let mut builder = planned(&problem, &alone);
        let least = alone.least_finishes(&problem);
        let finishes = |builder: &Builder<'_>| -> Vec<Option<Minute>> {
            let all = (0..problem.requests.len()).map(RequestIx::from);
            all.map(|request| builder.finish(request)).collect()
        };
        let before = finishes(&builder);
        let mut search = Search::new(&mut builder, &least, 1);
        let pieces = everything(&search);
        assert_eq!(pieces.len(), 12);
        let mut replay = Replay::of(search.builder, &pieces);
        replay.turns.sort_by_key(|turn| turn.load);
        assert_eq!((replay.turns.len(), replay.runs.len()), (36, 0));
        let (_, taken) =
            search.try_round(&pieces, |search, round| search.put_turns(&replay, round));
        assert_eq!(taken, 36);
        let after = finishes(search.builder);
        let pairs = after.iter().zip(&before);
        assert!(
            pairs
                .clone()
                .all(|(after, before)| after.is_some() && after <= before),
            "{after:?}, {before:?}"
        );
    }

    #[test]
    fn a_turn_in_another_run_loads_with_it_and_the_run_waits_for_it() {
        let problem = problem("heat");
        let alone = Alone::look(&problem);
        let mut builder = planned(&problem, &alone);
        let least = alone.least_finishes(&problem);
        let search = Search::new(&mut builder, &least, 1);
        let mut replay = Replay::of(search.builder, &everything(&search));
        let members = |replay: &Replay| {
            replay
                .runs
                .iter()
                .map(|run| run.members.len())
                .sum::<usize>()
        };
        assert_eq!(members(&replay), 12);
        let in_run = |run| replay.turns.iter().position(|turn| turn.run == Some(run));
        let last = replay
            .runs
            .iter()
            .enumerate()
            .max_by_key(|(_, run)| run.load)
            .map(|(run, _)| run);
        let first = replay
            .runs
            .iter()
            .enumerate()
            .min_by_key(|(_, run)| run.load)
            .map(|(run, _)| run);
        let (last, first) = (last.expect("a run"), first.expect("a run"));
        assert!(replay.runs[first].load < replay.runs[last].load);
        let turn = in_run(last).expect("a run has members");
        let unit = replay.turns[turn].units[0];
        let opened = replay.opens(search.builder, first);
        replay.change_run(turn, first);
        assert_eq!(replay.turns[turn].load, replay.runs[first].load);
        assert!(replay.runs[first].members.contains(&(unit, 1)));
        assert_eq!(members(&replay), 12);
        // It arrives after the others, and no later than the run waits; else the run goes without it.
        let arrives = search.builder.first_loads(unit, 1).start;
        let waits = arrives <= replay.runs[first].load + PATIENCE;
        let expected = if waits { opened.max(arrives) } else { opened };
        assert_eq!(replay.opens(search.builder, first), expected);
        assert!(waits && expected > opened, "{arrives:?} after {opened:?}");
    }
}
