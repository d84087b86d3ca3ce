//! When requests and gates will be finished, and how sure that is.
//!
//! Monte Carlo on a plan: each sample draws how the lab may really be ([`Rates`]), then a course of things in
//! that lab (`walk`), and notes when each request finishes and what it waited for. [`forecast`] counts
//! samples; the same setting, seed and number of samples give the same forecast on any number of threads. Pure:
//! it reads no clock and asks whoever calls whether to go on.

mod breaks;
mod hands;
mod history;
mod keys;
mod lines;
mod random;
mod rates;
mod setting;
mod walk;

pub use history::History;
pub use keys::{Check, Keys};
pub use rates::{Lognormal, Rates, World};
pub use setting::Setting;

use crate::domain::lab::Lab;
use crate::domain::{CrewId, Minute, RequestId, RigId, Span};
use crate::problem::{RequestIx, RigIx, UnitIx, Visit};
use breaks::{Break, Mender};
use random::Random;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use walk::Waits;

/// Shares of samples for which a date is given.
pub const SURE: [f64; 3] = [0.5, 0.8, 0.95];

/// What the samples of a forecast say.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// How many samples there are; fewer than asked for where somebody said stop.
    pub samples: usize,
    /// Requests of which something is still to be done, in the order of the lab.
    pub requests: Vec<Outlook<RequestId>>,
    /// Builds of products that have such requests, by name.
    pub gates: Vec<Outlook<Gate>>,
    /// Requests that the plan leaves out; they are in no gate.
    pub left: Vec<RequestId>,
    /// How often a plan was repaired in a sample, on average.
    pub repairs: f64,
}

/// All requests of one build of a product: what a gate waits for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gate {
    /// The product.
    pub product: String,
    /// Its build.
    pub build: String,
}

/// When something will be finished.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook<Name> {
    /// What.
    pub name: Name,
    /// Its due date; of a gate the last one of its requests.
    pub due: Option<Minute>,
    /// When it finishes by the plan.
    pub planned: Option<Minute>,
    /// Finished by then in so many of the samples, by [`SURE`]; nothing where it is not within the horizon.
    pub by: [Option<Minute>; 3],
    /// Share of the samples that have finished by each of these dates. It is more than [`SURE`] where many
    /// samples finish in the same minute, as they do when a shift begins.
    pub reached: [f64; 3],
    /// Share of samples in which it makes its due date.
    pub chance: Option<f64>,
    /// What its last unit waited for longest, with the share of samples, most frequent first.
    pub decided: Vec<(Decides, f64)>,
}

/// What decides when something finishes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Decides {
    /// Its own steps: the last unit waited for nobody.
    OwnSteps,
    /// A rig: for room on it or for its repair.
    Rig(RigId),
    /// A crew: for people or for their shift.
    Crew(CrewId),
}

impl Decides {
    /// In a word or two.
    pub fn words(&self) -> String {
        match self {
            Self::OwnSteps => "its own steps".to_owned(),
            Self::Rig(rig) => rig.to_string(),
            Self::Crew(crew) => format!("crew {crew}"),
        }
    }
}

/// One sample, by open request.
#[derive(Clone, Debug)]
struct Sample {
    ends: Vec<(Option<Minute>, Waits)>,
    repairs: u32,
}

/// How many samples to draw, from which seed, on how many threads.
#[derive(Clone, Copy, Debug)]
pub struct Draws {
    /// Samples.
    pub samples: usize,
    /// The seed.
    pub seed: u64,
    /// Threads; the answer does not depend on it.
    pub threads: usize,
}

/// Draws samples and counts them. `going` is told how many are done and answers whether to go on; what is done
/// by then is counted. Nothing where there is no sample.
pub fn forecast(
    lab: &Lab,
    set: &Setting<'_>,
    rates: &Rates,
    draws: Draws,
    going: &(dyn Fn(usize) -> bool + Sync),
) -> Option<Forecast> {
    let open: Vec<RequestIx> = set.open_requests().collect();
    let (done, stopped) = (AtomicUsize::new(0), AtomicBool::new(false));
    let threads = draws.threads.clamp(1, draws.samples.max(1));
    let share = |first: usize| {
        let mut mender = Mender::new(set);
        let mut samples = Vec::new();
        for number in (first..draws.samples).step_by(threads) {
            if stopped.load(Ordering::Relaxed) {
                break;
            }
            samples.push((
                number,
                sample(set, rates, draws.seed, number, &open, &mut mender),
            ));
            if !going(done.fetch_add(1, Ordering::Relaxed) + 1) {
                stopped.store(true, Ordering::Relaxed);
            }
        }
        samples
    };
    let mut samples = std::thread::scope(|scope| {
        let share = &share;
        let others: Vec<_> = (1..threads)
            .map(|first| scope.spawn(move || share(first)))
            .collect();
        let mut all = share(0);
        for other in others {
            all.extend(
                other
                    .join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic)),
            );
        }
        all
    });
    samples.sort_unstable_by_key(|(number, _)| *number);
    let samples: Vec<Sample> = samples.into_iter().map(|(_, sample)| sample).collect();
    (!samples.is_empty()).then(|| count(lab, set, &open, &samples))
}

/// One sample.
fn sample(
    set: &Setting<'_>,
    rates: &Rates,
    seed: u64,
    number: usize,
    open: &[RequestIx],
    mender: &mut Mender,
) -> Sample {
    let mut random = Random::new(seed, &[number as u64]);
    let world = rates.draw(&mut random);
    let (walk, _) = breaks::walk(set, &world, seed.rotate_left(17) ^ number as u64, mender);
    Sample {
        ends: open
            .iter()
            .map(|own| (walk.finish(*own), walk.decided_by(*own)))
            .collect(),
        repairs: walk.repairs,
    }
}

fn count(lab: &Lab, set: &Setting<'_>, open: &[RequestIx], samples: &[Sample]) -> Forecast {
    let requests = open.iter().enumerate().map(|(at, request)| {
        let own = &set.problem.requests[request.ix()];
        outlook(set, own.id.clone(), &[(at, *request)], samples)
    });
    let mut builds: BTreeMap<Gate, Vec<(usize, RequestIx)>> = BTreeMap::new();
    for (at, request) in open.iter().enumerate() {
        let own = &lab.requests[request.ix()];
        let gate = Gate {
            product: own.product.clone(),
            build: own.build.clone(),
        };
        builds.entry(gate).or_default().push((at, *request));
    }
    let left = set.left.iter();
    let repairs: u32 = samples.iter().map(|own| own.repairs).sum();
    Forecast {
        samples: samples.len(),
        requests: requests.collect(),
        gates: builds
            .into_iter()
            .map(|(gate, members)| outlook(set, gate, &members, samples))
            .collect(),
        left: left
            .map(|own| set.problem.requests[own.ix()].id.clone())
            .collect(),
        repairs: f64::from(repairs) / samples.len() as f64,
    }
}

/// The last of some requests to finish, over all samples.
fn outlook<Name>(
    set: &Setting<'_>,
    name: Name,
    members: &[(usize, RequestIx)],
    samples: &[Sample],
) -> Outlook<Name> {
    let due = |request: RequestIx| set.problem.requests[request.ix()].due;
    let last = |sample: &Sample| {
        let ends = members.iter().map(|(at, _)| sample.ends[*at]);
        ends.max_by_key(|(finish, _)| finish.unwrap_or(Minute::LAST))
            .unwrap_or((None, Waits::Own))
    };
    let lasts: Vec<(Option<Minute>, Waits)> = samples.iter().map(last).collect();
    let mut finishes: Vec<Minute> = lasts
        .iter()
        .map(|(own, _)| own.unwrap_or(Minute::LAST))
        .collect();
    finishes.sort_unstable();
    let share = |count: usize| count as f64 / samples.len() as f64;
    let latest = members
        .iter()
        .filter_map(|(_, request)| due(*request))
        .max();
    let planned: Option<Vec<Minute>> = members
        .iter()
        .map(|(_, request)| set.planned[request.ix()])
        .collect();
    let by = SURE.map(|sure| quantile(&finishes, sure));
    let until = |date: Minute| finishes.partition_point(|finish| *finish <= date);
    Outlook {
        name,
        due: latest,
        planned: planned.and_then(|all| all.into_iter().max()),
        by,
        reached: by.map(|date| date.map_or(1.0, |date| share(until(date)))),
        chance: latest.map(|due| share(until(due))),
        decided: decided(set, &lasts)
            .into_iter()
            .map(|(own, count)| (own, share(count)))
            .collect(),
    }
}

/// The first of some sorted minutes by which so large a share of them has passed.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a count"
)]
fn quantile(sorted: &[Minute], share: f64) -> Option<Minute> {
    let rank = (sorted.len() as f64 * share - 1e-9).ceil().max(1.0) as usize;
    sorted
        .get(rank - 1)
        .copied()
        .filter(|own| *own < Minute::LAST)
}

fn decided(set: &Setting<'_>, lasts: &[(Option<Minute>, Waits)]) -> Vec<(Decides, usize)> {
    let mut counts: BTreeMap<Waits, usize> = BTreeMap::new();
    for (_, waits) in lasts {
        *counts.entry(*waits).or_default() += 1;
    }
    let name = |waits: Waits| match waits {
        Waits::Own => Decides::OwnSteps,
        Waits::Rig(rig) => Decides::Rig(set.problem.rigs[rig.ix()].id.clone()),
        Waits::Crew(crew) => Decides::Crew(set.problem.crews[crew.ix()].id.clone()),
    };
    let mut all: Vec<(Decides, usize)> = counts
        .into_iter()
        .map(|(waits, count)| (name(waits), count))
        .collect();
    all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all
}

/// One course of things in a world whose rates are known: for simulated histories.
#[derive(Clone, Debug)]
pub struct Course {
    /// Every visit, facts included, by load.
    pub visits: Vec<Visit>,
    /// Checks with their verdict, by unit and step (from 0); true is good.
    pub verdicts: Vec<(UnitIx, usize, bool)>,
    /// Breakdowns, by time.
    pub breakdowns: Vec<(RigIx, Span)>,
    /// When each request finishes; nothing where it never does.
    pub finishes: Vec<Option<Minute>>,
}

/// Lets things take their course in a world.
pub fn course(set: &Setting<'_>, world: &World, seed: u64) -> Course {
    let (walk, breaks) = breaks::walk(set, world, seed, &mut Mender::new(set));
    let mut visits = Vec::new();
    let mut verdicts = Vec::new();
    let problem = set.problem;
    for (ix, own) in problem.units.iter().enumerate() {
        let unit = UnitIx::from(ix);
        for step in 0..problem.requests[own.request.ix()].steps.len() {
            let Some(stay) = walk.stays[set.at(unit, step)] else {
                break;
            };
            visits.push(breaks::visit(unit, step, &stay));
            if set.keys.check(own.request, step).is_some() {
                verdicts.push((unit, step, !walk.fails(unit, step)));
            }
        }
    }
    visits.sort_by_key(|visit| (visit.times.load, visit.rig, visit.unit));
    let all = (0..problem.requests.len()).map(RequestIx::from);
    Course {
        visits,
        verdicts,
        breakdowns: breaks
            .iter()
            .map(|Break { span, rig }| (*rig, *span))
            .collect(),
        finishes: all.map(|request| walk.finish(request)).collect(),
    }
}

#[cfg(test)]
mod tests;
