//! What the plots of a leg show: points that were seen, the fit and its bounds.

use super::leg::Leg;
use super::shown::Evidence;
use super::weibull::End;

/// The fitted fraction surviving at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The time.
    pub t: f64,
    /// Best estimate.
    pub best: f64,
    /// Lower bound, by likelihood ratio.
    pub lower: f64,
    /// Upper bound, by likelihood ratio.
    pub upper: f64,
}

/// The fraction surviving at a check without a distribution: least and most that fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observed {
    /// The check.
    pub t: f64,
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
}

/// What a leg's plots show.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Picture {
    /// Times from the first to the last of the plot.
    pub span: (f64, f64),
    /// At each check that was reached.
    pub observed: Vec<Observed>,
    /// The fit at even steps of ln t; empty where there is none.
    pub fitted: Vec<Fitted>,
}

/// The plot of a fraction failed over ln t in which a Weibull distribution is a straight line.
pub fn weibull_scale(surviving: f64) -> f64 {
    (-surviving.ln()).ln()
}

impl Picture {
    /// Of a leg, with the fit at `steps` times.
    pub fn of(leg: &Leg, evidence: &Evidence, steps: usize) -> Self {
        let lives = leg.inspections();
        let last = leg.axis.whole().max(leg.mission());
        let first = lives.first().copied().unwrap_or(last) / 2.0;
        let observed = evidence.turnbull.iter().flat_map(|turnbull| {
            lives.iter().map(|t| {
                let (least, most) = turnbull.survival(*t);
                Observed { t: *t, least, most }
            })
        });
        Self {
            span: (first, last),
            observed: observed.collect(),
            fitted: fitted(evidence, first, last, steps),
        }
    }
}

fn fitted(evidence: &Evidence, first: f64, last: f64, steps: usize) -> Vec<Fitted> {
    let Ok(fit) = &evidence.fit else {
        return Vec::new();
    };
    let c = evidence.confidence;
    let at = |step: usize| {
        let t = first * (last / first).powf(step as f64 / (steps.max(2) - 1) as f64);
        Some(Fitted {
            t,
            best: fit.r(t).ok()?,
            lower: fit.r_lr(t, c, End::Lower).ok()?,
            upper: fit.r_lr(t, c, End::Upper).ok()?,
        })
    };
    (0..steps).filter_map(at).collect()
}
