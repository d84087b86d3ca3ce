//! What a leg has shown so far, and what remains.
//!
//! The rule is the one that was agreed with the request; nothing here chooses a better one afterwards.

use super::cannot::{CannotSay, Said};
use super::demonstration::{binomial_n, cp_lower, demonstrated_confidence};
use super::leg::{Counts, Fate, Leg};
use super::sampling::{TwoPoints, two_point_plan};
use super::special::{Share, bisect, poisson_mean};
use super::sprt::{BinomialPlan, Decision, sprt_binomial_decide};
use super::turnbull::Turnbull;
use super::weibayes::weibayes_eta_lower;
use super::weibull::{Fit, Sample};
use crate::domain::lab::Show;

/// Confidence at which a leg without an agreed goal is told.
pub const USUAL_CONFIDENCE: f64 = 0.9;

/// How a leg stands against its goal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// No goal was agreed.
    NoGoal,
    /// The goal is shown.
    Shown,
    /// Not yet.
    Open,
    /// It cannot be shown any more, whatever the open units do.
    CannotPass,
}

/// What would still show the goal, where no more units fail.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Remains {
    /// More units through a whole mission, counting from those that are decided.
    pub clean_units: Option<u64>,
    /// More life on each unit that is not failed, with the assumed shape.
    pub life_each: Option<f64>,
}

/// A sequential decision, with the plan of fixed size at which it must end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sequential {
    /// What it says now.
    pub decision: Decision,
    /// Units of the fixed plan with the same risks.
    pub most_units: u64,
    /// Failures that the fixed plan accepts.
    pub accepts: u64,
}

/// Everything that a leg's verdicts say.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The counts over one mission.
    pub counts: Counts,
    /// The confidence of the figures.
    pub confidence: f64,
    /// Reliability over a mission shown by pass and fail alone; `None` where no unit is decided.
    pub by_units: Option<f64>,
    /// Confidence in the agreed reliability, by pass and fail alone.
    pub confidence_in_goal: Option<f64>,
    /// Reliability over a mission shown with assumed shapes: the agreed one, then half less and half more.
    pub by_shape: Vec<(f64, f64)>,
    /// Against the goal.
    pub standing: Standing,
    /// What is missing.
    pub remains: Remains,
    /// Units wanted beyond those there are, where only more of them can show the goal.
    pub spares: Option<u64>,
    /// The decision by the agreed sequential rule.
    pub sequential: Option<Sequential>,
    /// The fit, or why there is none.
    pub fit: Result<Fit, NoFit>,
    /// The estimate without a distribution, where anything was seen.
    pub turnbull: Option<Turnbull>,
}

/// Why nothing is fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoFit {
    /// The walk has no time.
    #[error("no fit: the exposures differ and are no common time; only pass or fail is evidence")]
    NoTime,
    /// The arithmetic has no answer.
    #[error(transparent)]
    Cannot(#[from] CannotSay),
}

impl Evidence {
    /// Of a leg.
    pub fn of(leg: &Leg) -> Self {
        let counts = leg.counts();
        let show = leg.request.show.as_ref();
        let confidence = show.map_or(USUAL_CONFIDENCE, |show| show.confidence);
        let by_units = cp_lower(counts.decided(), counts.failed, confidence).ok();
        let by_shape = show.map_or_else(Vec::new, |show| by_shape(leg, show));
        let sequential = show.and_then(|show| sequential(counts, show));
        let table = leg.intervals();
        let fit = if leg.axis.is_time() {
            Sample::between(table.as_intervals())
                .and_then(|own| own.fit())
                .map_err(NoFit::Cannot)
        } else {
            Err(NoFit::NoTime)
        };
        let in_goal = |show: &Show| {
            demonstrated_confidence(counts.decided(), counts.failed, show.reliability).ok()
        };
        let mut own = Self {
            counts,
            confidence,
            by_units,
            confidence_in_goal: show.and_then(in_goal),
            by_shape,
            standing: Standing::NoGoal,
            remains: Remains::default(),
            spares: None,
            sequential,
            fit: fit.map_err(told),
            turnbull: Turnbull::fit(table.as_intervals()).ok(),
        };
        if let Some(show) = show {
            own.standing = own.standing(leg, show);
            if own.standing == Standing::CannotPass {
                own.spares = own.spares(leg, show);
            }
            if own.standing == Standing::Open {
                own.remains = remains(leg, counts, show);
            }
        }
        own
    }

    /// Reliability shown by the way that was agreed: with the assumed shape where there is one.
    pub fn shown(&self) -> Option<f64> {
        self.by_shape
            .first()
            .map(|(_, shown)| *shown)
            .or(self.by_units)
    }

    /// How many more units would do: none can where more failed than allowed, or where the rule has rejected.
    fn spares(&self, leg: &Leg, show: &Show) -> Option<u64> {
        let rejected = self
            .sequential
            .is_some_and(|own| own.decision == Decision::Reject);
        let whole = leg.axis.whole() >= leg.mission() * (1.0 - 1e-9);
        if rejected || !whole || show.shape.is_some() || self.counts.failed > show.failures {
            return None;
        }
        let needed = binomial_n(show.reliability, show.confidence, self.counts.failed).ok()?;
        Some(needed.saturating_sub(self.counts.decided() + self.counts.open)).filter(|own| *own > 0)
    }

    fn standing(&self, leg: &Leg, show: &Show) -> Standing {
        if let Some(sequential) = self.sequential {
            match sequential.decision {
                Decision::Accept => return Standing::Shown,
                Decision::Reject => return Standing::CannotPass,
                Decision::Continue => {}
            }
        }
        let enough = |shown: f64| shown >= show.reliability - 1e-12;
        let allowed = self.counts.failed <= show.failures;
        if allowed && self.shown().is_some_and(enough) {
            Standing::Shown
        } else if !allowed || !best_case(leg, self.counts, show).is_some_and(enough) {
            Standing::CannotPass
        } else {
            Standing::Open
        }
    }
}

/// A walk with checks only has no data at all; say that nothing failed rather than that the list is empty.
fn told(why: NoFit) -> NoFit {
    match why {
        NoFit::Cannot(CannotSay::OutOfRange { .. }) => NoFit::Cannot(CannotSay::NoFailures),
        other => other,
    }
}

/// What would be shown where every open unit walks to its end without failing.
fn best_case(leg: &Leg, counts: Counts, show: &Show) -> Option<f64> {
    if let Some(shape) = show.shape {
        let mut best = leg.clone();
        for own in &mut best.units {
            if own.fate == Fate::Open {
                own.good_at = leg.axis.whole();
            }
        }
        return with_shape(&best, show, shape).ok();
    }
    let reaches = leg.axis.whole() >= leg.mission() * (1.0 - 1e-9);
    let more = if reaches { counts.open } else { 0 };
    cp_lower(counts.decided() + more, counts.failed, show.confidence).ok()
}

fn by_shape(leg: &Leg, show: &Show) -> Vec<(f64, f64)> {
    let Some(shape) = show.shape else {
        return Vec::new();
    };
    let shapes = [shape, shape - 0.5, shape + 0.5]
        .into_iter()
        .filter(|own| *own > 0.0);
    shapes
        .filter_map(|own| Some((own, with_shape(leg, show, own).ok()?)))
        .collect()
}

/// Life of every unit up to the last check that it passed. That a failed one ran on for a while is not
/// counted: it is on the safe side.
fn lives(leg: &Leg) -> Vec<f64> {
    leg.units
        .iter()
        .map(|own| own.good_at)
        .filter(|life| *life > 0.0)
        .collect()
}

fn failures(leg: &Leg) -> u64 {
    leg.units
        .iter()
        .filter(|own| matches!(own.fate, Fate::Failed { .. }))
        .count() as u64
}

/// Reliability over a mission with an assumed shape: exp(−(mission/η_L)^β).
fn with_shape(leg: &Leg, show: &Show, shape: f64) -> Said<f64> {
    let mut lives = lives(leg);
    let failed = failures(leg);
    // A unit that failed before its first good check adds no life, but it is one of the units.
    let least = leg.axis.whole() * 1e-9;
    while (lives.len() as u64) < failed {
        lives.push(least);
    }
    let eta = weibayes_eta_lower(&lives, shape, failed, show.confidence)?;
    Ok((-(leg.mission() / eta).powf(shape)).exp())
}

fn remains(leg: &Leg, counts: Counts, show: &Show) -> Remains {
    let needed = binomial_n(show.reliability, show.confidence, counts.failed).ok();
    Remains {
        clean_units: needed.map(|needed| needed.saturating_sub(counts.decided())),
        life_each: show.shape.and_then(|shape| life_each(leg, show, shape)),
    }
}

/// Life that each unit which is not failed or gone must still add, with an assumed shape.
fn life_each(leg: &Leg, show: &Show, shape: f64) -> Option<f64> {
    let whole = leg.axis.whole();
    let scaled = |life: f64| (life / whole).powf(shape);
    let goes_on = |fate: &Fate| matches!(fate, Fate::Open | Fate::Whole);
    let mission = scaled(leg.mission());
    let share = Share::all_but(show.confidence);
    let needed = mission * poisson_mean(failures(leg), share) / -show.reliability.ln();
    let sum = |more: f64| -> f64 {
        let life =
            |own: &super::leg::Seen| own.good_at + if goes_on(&own.fate) { more } else { 0.0 };
        leg.units.iter().map(|own| scaled(life(own))).sum()
    };
    let most = whole * 1e6;
    (sum(most) >= needed).then(|| bisect(0.0, most, |more| sum(more) >= needed))
}

/// The sequential decision, where one was agreed.
fn sequential(counts: Counts, show: &Show) -> Option<Sequential> {
    let rule = show.sequential?;
    let plan = BinomialPlan {
        p0: 1.0 - rule.good,
        p1: 1.0 - show.reliability,
        alpha: rule.risk,
        beta: 1.0 - show.confidence,
    };
    let fixed = two_point_plan(TwoPoints {
        p1: plan.p0,
        alpha: plan.alpha,
        p2: plan.p1,
        beta: plan.beta,
    });
    let (most_units, accepts) = fixed.ok()?;
    let (failed, units) = (counts.failed, counts.decided());
    let mut decision = sprt_binomial_decide(plan, failed, units).ok()?;
    if decision == Decision::Continue && failed > accepts {
        decision = Decision::Reject;
    } else if decision == Decision::Continue && units >= most_units {
        decision = Decision::Accept;
    }
    Some(Sequential {
        decision,
        most_units,
        accepts,
    })
}
