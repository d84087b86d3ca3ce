//! How many units of one request fit into a rig, or share a run.
//!
//! A run is from door to door: all its units come out in one minute. Where the next step must follow
//! within a largest rest, all of them must load there within the same few hours, and only so many can:
//! one person who is busy for `h` minutes with each begins at most `w ÷ h + 1` of them (rounded down) in a
//! window of `w` minutes, and a position that is taken for `s` minutes at most `w ÷ s + 1`. Where there are more units
//! than positions, the first must have been unloaded before the last loads, by the same people: `n` units on `P`
//! positions cost `p` people `n - p` times `h` minutes and `n - P` times the unload before that. The least of these
//! counts and the rig's positions is the number of units that a run can carry.
//!
//! Example: a chamber of 12 positions, a check of 30 minutes by one person after a rest of 1 to 2 hours, 5 minutes to
//! unload it. 60 ÷ 30 + 1 is 3; but on a bench of two positions one of the three must be out before the last loads,
//! after 30 + 5 + 30 minutes: two fit, and five units need three runs.

use super::ahead::Ahead;
use crate::domain::Minutes;
use crate::domain::lab::Loading;
use crate::problem::{Problem, Request, Step, in_turn, shortest_stay};

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
    let problem = ahead.problem;
    let rigs = problem.rigs_for(step).iter();
    let rigs = rigs.map(|(rig, _)| &problem.rigs[rig.ix()]);
    if rigs.clone().any(|rig| rig.loading == Loading::Together) {
        // One person loads a run, however many units are in it.
        return usize::MAX;
    }
    let places = rigs.map(|rig| rig.positions as usize);
    let kind = ahead.kind(step);
    let hands = kind.ways.iter().map(|way| kind.hands(way));
    let unload = kind.ways.iter().map(|way| way.unload);
    let crew = Crew {
        people: kind.people.most() as usize,
        hands: hands.min().unwrap_or(Minutes::ZERO),
        unload: unload.min().unwrap_or(Minutes::ZERO),
    };
    crew.begins(window, places.fold(0, usize::saturating_add))
}

/// People, and how long each unit takes one of them.
struct Crew {
    people: usize,
    /// From the load on.
    hands: Minutes,
    unload: Minutes,
}

impl Crew {
    /// How many units they can begin with in a window, its last minute included, on so many places.
    fn begins(&self, window: Minutes, places: usize) -> usize {
        let most = in_turn(self.people, self.hands, window);
        let each = usize::try_from((self.hands + self.unload).get()).unwrap_or(0);
        if most <= places || each == 0 {
            return most;
        }
        let minutes = |length: Minutes| usize::try_from(length.get()).unwrap_or(usize::MAX);
        let all = minutes(window + self.hands).saturating_mul(self.people);
        let in_time = all.saturating_add(places.saturating_mul(minutes(self.unload))) / each;
        most.min(in_time.max(places))
    }
}

fn by_positions(problem: &Problem, step: &Step, window: Minutes) -> usize {
    let rigs = problem.rigs_for(step).iter();
    let begun = rigs.map(|(rig, exposure)| {
        let own = &problem.rigs[rig.ix()];
        let stay = shortest_stay(own, *exposure);
        in_turn(own.positions as usize, stay, window)
    });
    begun.fold(0, usize::saturating_add)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_is_in_the_way_must_be_out_before_the_last_loads() {
        let crew = |people, hands, unload| Crew {
            people,
            hands: Minutes::new(hands),
            unload: Minutes::new(unload),
        };
        let hour = Minutes::new(60);
        // At 0, 30 and 60; on two places the third has to wait until 65.
        assert_eq!(crew(1, 30, 5).begins(hour, 3), 3);
        assert_eq!(crew(1, 30, 5).begins(hour, 2), 2);
        assert_eq!(crew(1, 30, 5).begins(Minutes::new(65), 2), 3);
        // On one place nobody loads before the other is out: at 0 and at 35.
        assert_eq!(crew(1, 30, 5).begins(hour, 1), 2);
        // Two people at 0, 0, 30, 30, 60, 60; on four places at 0, 0, 30, 60, and at 35 where the first was.
        assert_eq!(crew(2, 30, 5).begins(hour, 6), 6);
        assert_eq!(crew(2, 30, 5).begins(hour, 4), 5);
        // Nobody's hands are needed.
        assert_eq!(crew(1, 0, 0).begins(hour, 1), usize::MAX);
    }
}
