//! The Weibull fit: failures at known times, or found between two checks, and survivors.
//!
//! R(t) = exp(−(t/η)^β). With x = ln t and b = β ln η every term of the log-likelihood depends on z = βx − b
//! alone and is concave in it, and so is the whole in (β, b) (Burridge, J. R. Stat. Soc. B 43 (1981) 41): Newton's
//! method with a step that is halved until it gains cannot end anywhere but at the one maximum. Whether there
//! is one is decided from the data beforehand (`exists`), never from the optimiser. `bounds` has the bounds.

mod bounds;
mod exists;
mod likelihood;
#[cfg(test)]
mod tests;

pub use bounds::End;

use super::cannot::{CannotSay, Said, above_zero, check, fraction, same_length};
use super::special::ln_gamma;
use super::turnbull::Intervals;
use likelihood::{Likelihood, Point, Terms};

/// Units as they were seen, ready to be fitted.
#[derive(Clone, Debug)]
pub struct Sample {
    likelihood: Likelihood,
    /// Units that failed.
    pub failures: u64,
    /// All units.
    pub units: u64,
}

impl Sample {
    /// Units that failed (`d`) or were still whole at times `t` above zero, `n` of each.
    ///
    /// # Errors
    /// `no_failures`; `no_finite_mle` where no unit outlasted any failure; `out_of_range`.
    pub fn timed(t: &[f64], d: &[bool], n: &[u64]) -> Said<Self> {
        same_length("d", d.len(), t.len())?;
        same_length("n", n.len(), t.len())?;
        for time in t {
            above_zero("t", *time)?;
        }
        let hi: Vec<f64> = t
            .iter()
            .zip(d)
            .map(|(t, d)| if *d { *t } else { f64::INFINITY })
            .collect();
        Self::between(Intervals { lo: t, hi: &hi, n })
    }

    /// Units that failed in (lo, hi], `n` of each; `hi` infinite for those still whole at `lo`, equal to `lo`
    /// for a known time.
    ///
    /// # Errors
    /// `no_failures`, `no_finite_mle`, `not_identifiable`, `out_of_range`.
    pub fn between(data: Intervals) -> Said<Self> {
        data.check()?;
        exists::finite_maximum(data)?;
        let failed = data.hi.iter().zip(data.n).filter(|(hi, _)| hi.is_finite());
        Ok(Self {
            likelihood: Likelihood::of(data),
            failures: failed.map(|(_, n)| n).sum(),
            units: data.n.iter().sum(),
        })
    }

    /// The best fit.
    ///
    /// # Errors
    /// `no_finite_mle` where the fit runs to a shape below 0.02.
    pub fn fit(&self) -> Said<Fit> {
        const LEAST_SHAPE: f64 = 0.02;
        let runs_off = CannotSay::NoFiniteMle {
            why: "the shape runs to 0: failures came early, and nothing tells when the rest would",
        };
        let (at, terms) = self.likelihood.maximum().ok_or(runs_off)?;
        if at.beta < LEAST_SHAPE {
            return Err(runs_off);
        }
        Ok(Fit {
            likelihood: self.likelihood.clone(),
            failures: self.failures,
            units: self.units,
            at,
            terms,
        })
    }
}

/// A fitted Weibull distribution.
#[derive(Clone, Debug)]
pub struct Fit {
    likelihood: Likelihood,
    /// Units that failed.
    pub failures: u64,
    /// All units.
    pub units: u64,
    at: Point,
    terms: Terms,
}

impl Fit {
    /// Shape β.
    pub fn beta(&self) -> f64 {
        self.at.beta
    }

    /// Scale η: 63.2 % have failed by then; in the unit of the times.
    pub fn eta(&self) -> f64 {
        (self.at.b / self.at.beta + self.likelihood.ln_unit).exp()
    }

    /// Log-likelihood at the maximum; an exactly timed failure counts with its density.
    pub fn loglik(&self) -> f64 {
        self.terms.value
    }

    /// Time by which the fraction `p` has failed: η(−ln(1−p))^(1/β); `0 < p < 1`.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn b(&self, p: f64) -> Said<f64> {
        fraction("p", p)?;
        Ok(self.eta() * (kappa(p) / self.beta()).exp())
    }

    /// Fraction surviving at a time above zero.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn r(&self, at: f64) -> Said<f64> {
        above_zero("at", at)?;
        Ok((-(self.z(at)).exp()).exp())
    }

    /// ln of the cumulative hazard at a time above zero.
    fn z(&self, at: f64) -> f64 {
        self.at.beta * (at.ln() - self.likelihood.ln_unit) - self.at.b
    }

    /// Mean time to failure: η Γ(1+1/β).
    pub fn mean(&self) -> f64 {
        self.eta() * ln_gamma(1.0 + 1.0 / self.beta()).exp()
    }

    /// Standard deviation: η √(Γ(1+2/β) − Γ(1+1/β)²).
    pub fn sd(&self) -> f64 {
        let first = ln_gamma(1.0 + 1.0 / self.beta());
        let second = ln_gamma(1.0 + 2.0 / self.beta());
        self.mean() * (second - 2.0 * first).exp_m1().max(0.0).sqrt()
    }
}

/// ln(−ln(1−p)).
fn kappa(p: f64) -> f64 {
    (-(-p).ln_1p()).ln()
}

/// A confidence that bounds can be given at.
fn confidence(c: f64) -> Said<()> {
    fraction("c", c)?;
    check(c < 1.0 - 1e-15, "c", c, "it is too close to 1")
}
