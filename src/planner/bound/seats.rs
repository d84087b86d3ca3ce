//! How many units of one request fit into a rig, or share a run.
//!
//! A run is from door to door: all its units come out in one minute. Where the next step must follow
//! within a largest rest, all of them must load there within the same few hours, and only so many can:
//! one person who is busy for `h` minutes with each begins at most `w ÷ h + 1` of them (rounded down) in a
//! window of `w` minutes, and a position that is taken for `s` minutes at most `w ÷ s + 1`. The least of
//! these counts and the rig's positions is the number of units that a run can carry.
//!
//! Example: a chamber of 12 positions, a check of 35 minutes by one person after a rest of 1 to 2 hours.
//! 60 ÷ 35 + 1 is 2: five units need three runs.

use super::ahead::Ahead;
use crate::domain::Minutes;
use crate::domain::lab::Loading;
use crate::problem::{Problem, Request, Step};

/// Units of the request that can be in the rigs of a step at once, where a run carries at most `in_run`.
pub(super) fn room(problem: &Problem, step: &Step, in_run: usize) -> usize {
    let rooms = problem.rigs_for(step).iter().map(|(rig, _)| {
        let own = &problem.rigs[rig.ix()];
        match own.loading {
            Loading::Together => in_run.min(own.positions as usize),
            Loading::Each | Loading::Held => own.positions as usize,
        }
    });
    rooms.fold(0, usize::saturating_add)
}

/// The most units that can leave a run together and still begin the next step in time.
pub(super) fn units_in_a_run(
    ahead: &Ahead<'_>,
    request: &Request,
    step: usize,
    until: usize,
) -> usize {
    let next = Some(step + 1).filter(|next| *next < until);
    let Some(next) = next.map(|next| &request.steps[next]) else {
        return usize::MAX;
    };
    if next.rest_max >= Minutes::FOREVER {
        return usize::MAX;
    }
    let window = next.rest_max - next.rest_min;
    by_people(ahead, next, window).min(by_positions(ahead.problem, next, window))
}

fn by_people(ahead: &Ahead<'_>, step: &Step, window: Minutes) -> usize {
    let rigs = ahead.problem.rigs_for(step).iter();
    let mut loadings = rigs.map(|(rig, _)| ahead.problem.rigs[rig.ix()].loading);
    if loadings.any(|loading| loading == Loading::Together) {
        // One person loads a run, however many units are in it.
        return usize::MAX;
    }
    let kind = ahead.kind(step);
    let hands = kind.ways.iter().map(|way| kind.hands(way));
    let hands = hands.min().unwrap_or(Minutes::ZERO);
    times(window, hands).saturating_mul(kind.people.most() as usize)
}

fn by_positions(problem: &Problem, step: &Step, window: Minutes) -> usize {
    let rigs = problem.rigs_for(step).iter();
    let begun = rigs.map(|(rig, exposure)| {
        let own = &problem.rigs[rig.ix()];
        let stay = own.load + *exposure + own.unload;
        times(window, stay).saturating_mul(own.positions as usize)
    });
    begun.fold(0, usize::saturating_add)
}

/// How often something that takes `length` can begin in a window, its last minute included.
fn times(window: Minutes, length: Minutes) -> usize {
    if length <= Minutes::ZERO {
        return usize::MAX;
    }
    usize::try_from(window.get() / length.get() + 1).unwrap_or(0)
}
