//! What the lab's own record says about how often things go wrong and how long they take, and what is
//! believed where it says little.
//!
//! Every rate is a distribution, not a number: with few events it is wide, and each sample of a forecast draws
//! its own rates from it, so that the forecast knows how little is known. Each prior is worth a few events and is
//! stated at its constant; all of them are printed with the forecast ([`Rates::words`]).
//!
//! - A check fails with a chance of its own by what it checks (`function-check after button-life`): beta, around
//!   the rate of all checks of the lab.
//! - A rig breaks at a constant rate by calendar days: gamma, around the rate of all rigs.
//! - A repair lasts a lognormal time, one for the lab.
//! - A stay takes as long as planned times a lognormal factor, one for each rig and method.
//!
//! Conjugate updates: Gelman et al., Bayesian Data Analysis, 3rd edition, sections 2.4, 2.6 and 3.3.

use super::history::History;
use super::keys::Keys;
use super::random::Random;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Verdict};
use crate::floor::{RigRecord, VisitRecord};
use crate::problem::Problem;

/// All checks of a lab: half a failure in ten verdicts are believed before any is given.
const CHECKS_PRIOR: (f64, f64) = (0.5, 9.5);
/// A check of one kind begins with this many verdicts at the rate of all.
const CHECK_WEIGHT: f64 = 4.0;
/// All rigs: half a breakdown in that many days of one rig is believed before any is reported.
const RIGS_PRIOR: (f64, f64) = (0.5, 90.0);
/// A rig begins with this many breakdowns at the rate of all.
const RIG_WEIGHT: f64 = 0.5;
/// Repairs: a median of eight hours, worth one repair; a spread of a factor of two and a quarter.
const REPAIR_PRIOR: Prior = Prior {
    median: 480.0,
    worth: 1.0,
    sigma: 0.8,
};
/// Stays: as planned, worth two stays; a spread of five in a hundred.
const STAY_PRIOR: Prior = Prior {
    median: 1.0,
    worth: 2.0,
    sigma: 0.05,
};
/// What is believed about a spread is worth this many events.
const SPREAD_WORTH: f64 = 6.0;

/// What is believed about a lognormal size before anything is seen.
#[derive(Clone, Copy, Debug)]
struct Prior {
    median: f64,
    /// So many events is the median worth.
    worth: f64,
    sigma: f64,
}

/// A number of events out of a number of chances, or in a number of days.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Count {
    events: f64,
    out_of: f64,
}

/// Logarithms of sizes: how many, their sum, and the sum of their squares.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Logs {
    count: f64,
    sum: f64,
    squares: f64,
}

impl Logs {
    fn add(&mut self, log: f64) {
        self.count += 1.0;
        self.sum += log;
        self.squares += log * log;
    }

    /// Median and spread drawn from what these sizes leave open: normal-inverse-gamma.
    fn draw(&self, prior: Prior, random: &mut Random) -> Lognormal {
        let mean = if self.count > 0.0 {
            self.sum / self.count
        } else {
            0.0
        };
        let around = (self.squares - self.count * mean * mean).max(0.0);
        let (centre, worth) = (prior.median.ln(), prior.worth + self.count);
        let shape = SPREAD_WORTH / 2.0 + self.count / 2.0;
        // So that the mean of the variance is the square of the stated spread.
        let scale = prior.sigma.powi(2) * (SPREAD_WORTH / 2.0 - 1.0)
            + around / 2.0
            + prior.worth * self.count * (mean - centre).powi(2) / (2.0 * worth);
        let variance = scale / random.gamma(shape);
        let middle = (prior.worth * centre + self.sum) / worth;
        Lognormal {
            mu: middle + random.normal() * (variance / worth).sqrt(),
            sigma: variance.sqrt(),
        }
    }
}

/// A lognormal size: its logarithm is normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lognormal {
    /// Logarithm of the median.
    pub mu: f64,
    /// Spread of the logarithm, not negative.
    pub sigma: f64,
}

impl Lognormal {
    /// One size.
    pub(super) fn draw(&self, random: &mut Random) -> f64 {
        (self.mu + self.sigma * random.normal()).exp()
    }
}

/// How a lab really is, as far as a forecast asks: one draw of what is believed, or what a simulation knows.
#[derive(Clone, Debug, PartialEq)]
pub struct World {
    /// Chance of a bad verdict, by [`Keys::checks`].
    pub fails: Vec<f64>,
    /// Breakdowns a day, by rig.
    pub breakdowns: Vec<f64>,
    /// Minutes that a repair takes.
    pub repair: Lognormal,
    /// Actual over planned exposure, by [`Keys::stays`].
    pub stays: Vec<Lognormal>,
}

/// What a ledger says about rates.
#[derive(Clone, Debug, PartialEq)]
pub struct Rates {
    checks: Vec<Count>,
    rigs: Vec<Count>,
    repairs: Logs,
    stays: Vec<Logs>,
}

impl Rates {
    /// Nothing has happened yet.
    pub fn unknown(problem: &Problem, keys: &Keys) -> Self {
        Self {
            checks: vec![Count::default(); keys.checks.len()],
            rigs: vec![Count::default(); problem.rigs.len()],
            repairs: Logs::default(),
            stays: vec![Logs::default(); keys.stays.len()],
        }
    }

    /// What the ledger says up to the problem's now.
    pub fn learn(problem: &Problem, keys: &Keys, history: &History) -> Self {
        let mut rates = Self::unknown(problem, keys);
        rates.learn_rigs(problem, history);
        rates.learn_units(problem, keys, history);
        rates
    }

    fn learn_rigs(&mut self, problem: &Problem, history: &History) {
        let Some(began) = history.began else {
            return;
        };
        let now = problem.now;
        let whole = (now - began).at_least_zero();
        for (rig, count) in problem.rigs.iter().zip(&mut self.rigs) {
            let nothing = RigRecord::default();
            let record = history.now.rigs.get(&rig.id).unwrap_or(&nothing);
            let mut down = Minutes::ZERO;
            let over = record.spells();
            for own in &over {
                let length = own.length().max(Minutes::new(1));
                down += length;
                self.repairs.add((length.get() as f64).ln());
            }
            if let Some(own) = record.down() {
                down += (now - own.since).at_least_zero();
            }
            count.events = (over.len() + usize::from(record.is_down())) as f64;
            count.out_of = days((whole - down).at_least_zero());
        }
    }

    fn learn_units(&mut self, problem: &Problem, keys: &Keys, history: &History) {
        for unit in &problem.units {
            let Some(record) = history.now.units.get(&unit.id) else {
                continue;
            };
            for (step, own) in &record.verdicts {
                let Some(check) = keys.check(unit.request, step.wrapping_sub(1) as usize) else {
                    continue;
                };
                let bad = match own.verdict {
                    Verdict::Pass => 0.0,
                    Verdict::Fail { .. } => 1.0,
                    Verdict::Hold { .. } => continue,
                };
                self.checks[check].events += bad;
                self.checks[check].out_of += 1.0;
            }
            for (step, visit) in &record.visits {
                let Some(times) = history.planned.get(&(unit.id.clone(), *step)) else {
                    continue;
                };
                let ix = step.wrapping_sub(1) as usize;
                let steps = &problem.requests[unit.request.ix()].steps;
                let stay = steps
                    .get(ix)
                    .and_then(|own| keys.stay_named(problem, own, &visit.rig));
                let was_down = history.now.rigs.get(&visit.rig);
                if let (Some(stay), Some(ratio)) = (stay, ratio(visit, times, was_down)) {
                    self.stays[stay].add(ratio.ln());
                }
            }
        }
    }

    /// One lab as it may really be.
    pub(super) fn draw(&self, random: &mut Random) -> World {
        let sum = |all: &[Count]| {
            let add = |a: Count, b: &Count| Count {
                events: a.events + b.events,
                out_of: a.out_of + b.out_of,
            };
            all.iter().fold(Count::default(), add)
        };
        let (checks, rigs) = (sum(&self.checks), sum(&self.rigs));
        let good = checks.out_of - checks.events;
        let lab = random.beta(CHECKS_PRIOR.0 + checks.events, CHECKS_PRIOR.1 + good);
        let fails = self.checks.iter().map(|own| {
            let (bad, good) = (own.events, own.out_of - own.events);
            random.beta(CHECK_WEIGHT * lab + bad, CHECK_WEIGHT * (1.0 - lab) + good)
        });
        let fails = fails.collect();
        let lab = random.gamma(RIGS_PRIOR.0 + rigs.events) / (RIGS_PRIOR.1 + rigs.out_of);
        let prior_days = RIG_WEIGHT / lab.max(1e-9);
        let breakdowns = self
            .rigs
            .iter()
            .map(|own| random.gamma(RIG_WEIGHT + own.events) / (prior_days + own.out_of));
        World {
            fails,
            breakdowns: breakdowns.collect(),
            repair: self.repairs.draw(REPAIR_PRIOR, random),
            stays: self
                .stays
                .iter()
                .map(|own| own.draw(STAY_PRIOR, random))
                .collect(),
        }
    }

    /// What the rates rest on, in lines: events of the ledger, and what is believed beside them.
    pub fn words(&self) -> Vec<String> {
        let bad: f64 = self.checks.iter().map(|own| own.events).sum();
        let all: f64 = self.checks.iter().map(|own| own.out_of).sum();
        let broke: f64 = self.rigs.iter().map(|own| own.events).sum();
        let rig_days: f64 = self.rigs.iter().map(|own| own.out_of).sum();
        let stays: f64 = self.stays.iter().map(|own| own.count).sum();
        vec![
            format!(
                "checks: {bad:.0} of {all:.0} failed; believed beforehand {} of {}, and for each kind of check {CHECK_WEIGHT} verdicts at the lab's own rate",
                CHECKS_PRIOR.0,
                CHECKS_PRIOR.0 + CHECKS_PRIOR.1
            ),
            format!(
                "rigs: {broke:.0} breakdowns in {rig_days:.0} rig-days; believed beforehand {} in {}, and for each rig {RIG_WEIGHT} at the lab's own rate",
                RIGS_PRIOR.0, RIGS_PRIOR.1
            ),
            format!(
                "repairs: {:.0} seen; believed beforehand a median of {}, worth {} of them",
                self.repairs.count,
                Minutes::hours(8),
                REPAIR_PRIOR.worth
            ),
            format!(
                "stays: {stays:.0} compared with their plan; believed beforehand as planned, give or take 5 in 100, worth {} for each rig and method",
                STAY_PRIOR.worth
            ),
        ]
    }
}

fn days(length: Minutes) -> f64 {
    length.get() as f64 / Minutes::DAY.get() as f64
}

/// Actual over planned time of a visit that is over, planned waiting left out of both; nothing where its rig broke
/// meanwhile or nothing is left to compare.
fn ratio(visit: &VisitRecord, planned: &Times, rig: Option<&RigRecord>) -> Option<f64> {
    let out = visit.out?;
    let broke = rig.is_some_and(|rig| {
        let repaired = |(from, to, _): &(Minute, Minute, String)| *from < out && visit.loaded < *to;
        rig.repairs.iter().any(repaired) || rig.faults.iter().any(|own| own.since < out)
    });
    let waited = planned.unload - planned.end;
    let actual = (out - visit.loaded - waited).get();
    let whole = (planned.out - planned.load - waited).get();
    (!broke && actual > 0 && whole > 0).then(|| actual as f64 / whole as f64)
}
