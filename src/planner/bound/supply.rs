//! **Rig groups and crews.** What there is of each in every bucket of time.
//!
//! In any valid plan the visits of a rig take no more of a bucket than its positions times its minutes
//! in use there: outages, the time after its calibration date and visits that have started are taken off.
//! A rig loaded together gives one run at a time. The loads and full watches of a crew take no more than
//! its people times the bucket's minutes. A step that can be done on many rigs takes of them all as one.
//!
//! Example: a bench of 3 positions with an outage from 09:00 to 09:30 gives 90 minutes from 09:00 to 10:00.

use super::ahead::Ahead;
use super::grid::Grid;
use crate::domain::lab::Loading;
use crate::domain::{Minute, Span};
use crate::problem::{OnTime, People, Place};

/// Capacities by bucket: of every room of [`Ahead`], then of every crew.
pub(super) fn capacities(ahead: &Ahead<'_>, grid: &Grid) -> Vec<Vec<f64>> {
    let problem = ahead.problem;
    let mut all: Vec<Vec<f64>> = ahead
        .rooms()
        .map(|(positions, usable)| {
            let minutes = grid.minutes_in(usable).into_iter();
            minutes.map(|own| own * positions as f64).collect()
        })
        .collect();
    take_started(ahead, grid, &mut all);
    all.extend(problem.crews.iter().map(|crew| people(&crew.people, grid)));
    all
}

/// Takes off the positions of rigs loaded each that visits which have started still hold.
fn take_started(ahead: &Ahead<'_>, grid: &Grid, all: &mut [Vec<f64>]) {
    let problem = ahead.problem;
    let mut held: std::collections::BTreeMap<(usize, u32), Vec<Span>> =
        std::collections::BTreeMap::new();
    for fact in problem.units.iter().flat_map(|unit| &unit.facts) {
        let rig = &problem.rigs[fact.visit.rig.ix()];
        if let (Loading::Each, Place::Position(position)) = (rig.loading, fact.visit.place) {
            let stays = held.entry((fact.visit.rig.ix(), position)).or_default();
            stays.push(fact.visit.times.stay());
        }
    }
    for ((rig, _), stays) in held {
        let stays = OnTime::new(stays);
        let usable = problem.rigs[rig].usable.iter();
        let taken: Vec<Span> = usable.flat_map(|span| stays.within(*span)).collect();
        for (own, taken) in all[rig].iter_mut().zip(grid.minutes_in(&taken)) {
            *own = (*own - taken).max(0.0);
        }
    }
}

fn people(people: &People, grid: &Grid) -> Vec<f64> {
    let mut minutes = vec![0.0; grid.count()];
    let steps = people.steps();
    for (ix, (from, number)) in steps.iter().enumerate().filter(|(_, step)| step.1 > 0) {
        let until = steps.get(ix + 1).map_or(Minute::LAST, |next| next.0);
        let own = grid.minutes_in(&[Span::new(*from, until)]);
        for (sum, own) in minutes.iter_mut().zip(own) {
            *sum += own * f64::from(*number);
        }
    }
    minutes
}
