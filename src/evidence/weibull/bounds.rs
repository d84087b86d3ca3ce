//! Bounds on a fitted Weibull: from the curvature (Fisher, Wald) and from the likelihood ratio.
//!
//! Both are approximate: with six units a nominal 90 % lower bound on B10 holds in some 71 % (Fisher) or 79 %
//! (likelihood ratio) of cases. Whoever prints one prints n and r beside it. Source: Meeker and Escobar,
//! Statistical Methods for Reliability Data (1998), ch. 8; Nelson, Applied Life Data Analysis (1982), ch. 9.

use super::likelihood::{Point, Terms};
use super::{Fit, confidence, kappa};
use crate::evidence::cannot::{Said, above_zero, fraction};
use crate::evidence::special::normal_quantile;

/// Which end of an interval a one-sided bound is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The lower bound.
    Lower,
    /// The upper bound.
    Upper,
}

impl End {
    fn sign(self) -> f64 {
        match self {
            Self::Lower => -1.0,
            Self::Upper => 1.0,
        }
    }
}

impl Fit {
    /// Standard error of a quantity with that gradient by (β, b), from the observed information.
    fn error(&self, by_beta: f64, by_b: f64) -> f64 {
        let t = &self.terms;
        let determinant = t.by_beta_beta * t.by_b_b - t.by_beta_b * t.by_beta_b;
        let variance = -(t.by_b_b * by_beta * by_beta - 2.0 * t.by_beta_b * by_beta * by_b
            + t.by_beta_beta * by_b * by_b)
            / determinant;
        variance.max(0.0).sqrt()
    }

    /// One-sided Fisher bound on B_p, on the scale of ln B_p.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn b_fm(&self, p: f64, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        let best = self.b(p)?;
        let beta = self.at.beta;
        let error = self.error(-(self.at.b + kappa(p)) / (beta * beta), 1.0 / beta);
        Ok(best * (end.sign() * normal_quantile(c) * error).exp())
    }

    /// One-sided Fisher bound on the fraction surviving at a time above zero, on the scale of ln(−ln R).
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn r_fm(&self, at: f64, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        above_zero("at", at)?;
        let error = self.error(at.ln() - self.likelihood.ln_unit, -1.0);
        let z = self.z(at) - end.sign() * normal_quantile(c) * error;
        Ok((-z.exp()).exp())
    }

    /// One-sided Fisher bound on the shape, on the scale of ln β.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn beta_fm(&self, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        let error = self.error(1.0 / self.at.beta, 0.0);
        Ok(self.at.beta * (end.sign() * normal_quantile(c) * error).exp())
    }

    /// One-sided likelihood-ratio bound on B_p: the end of {B_p : 2(ℓ̂ − ℓ(B_p)) ≤ z²}.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn b_lr(&self, p: f64, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        fraction("p", p)?;
        let kappa = kappa(p);
        let best = (self.at.b + kappa) / self.at.beta;
        // With ln B_p held at x: b = βx − κ.
        let x = self.ratio_end(best, end.sign() * normal_quantile(c), &|x, start| {
            let (at, terms) = self.along(
                Point {
                    beta: 0.0,
                    b: -kappa,
                },
                x,
                start,
            );
            (at, terms.value, terms.by_b * at.beta)
        });
        Ok((x + self.likelihood.ln_unit).exp())
    }

    /// One-sided likelihood-ratio bound on the fraction surviving at a time above zero.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn r_lr(&self, at: f64, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        above_zero("at", at)?;
        let x = at.ln() - self.likelihood.ln_unit;
        // With ln(−ln R) held at u: b = βx − u. A low R is a high u.
        let u = self.ratio_end(self.z(at), -end.sign() * normal_quantile(c), &|u, start| {
            let (at, terms) = self.along(Point { beta: 0.0, b: -u }, x, start);
            (at, terms.value, -terms.by_b)
        });
        Ok((-u.exp()).exp())
    }

    /// One-sided likelihood-ratio bound on the shape.
    ///
    /// # Errors
    /// `out_of_range`.
    pub fn beta_lr(&self, c: f64, end: End) -> Said<f64> {
        confidence(c)?;
        let best = self.at.beta.ln();
        let ln_beta = self.ratio_end(best, end.sign() * normal_quantile(c), &|ln_beta, start| {
            let (at, terms) = self.with_shape(ln_beta.exp(), start);
            (at, terms.value, terms.by_beta * at.beta)
        });
        Ok(ln_beta.exp())
    }

    /// Where the profile has fallen by z²/2, above `best` where z is positive, below where it is negative.
    ///
    /// `profile` gives, for a held value and a point to start from, the best point, its log-likelihood and the
    /// slope of the profile. √(2(ℓ̂ − ℓ)) is nearly straight in the held value, so Newton's steps on it are
    /// few; a bracket keeps them from going astray.
    fn ratio_end(
        &self,
        best: f64,
        z: f64,
        profile: &dyn Fn(f64, Point) -> (Point, f64, f64),
    ) -> f64 {
        const STEPS: usize = 200;
        if z == 0.0 {
            return best;
        }
        let (mut near, mut far) = (best, f64::NAN);
        let (mut start, mut value) = (self.at, best + 0.3 * z);
        for _ in 0..STEPS {
            let (at, height, slope) = profile(value, start);
            let fallen = (2.0 * (self.terms.value - height)).max(0.0).sqrt();
            if fallen.is_finite() {
                start = at;
            }
            if fallen < z.abs() {
                near = value;
            } else {
                far = value;
            }
            let newton = value + (z.abs() - fallen) * fallen / -slope;
            let next = if far.is_nan() {
                // Not reached yet: as Newton says, but not more than ten times as far.
                let most = best + 10.0 * (value - best);
                let ahead = (newton - value) * z > 0.0 && newton.is_finite();
                let towards = if ahead { newton } else { most };
                if (towards - most) * z > 0.0 {
                    most
                } else {
                    towards
                }
            } else if (newton - near) * (newton - far) < 0.0 {
                newton
            } else {
                f64::midpoint(near, far)
            };
            let settled = (next - value).abs() <= 1e-13 * (1.0 + value.abs());
            value = next;
            if settled {
                break;
            }
        }
        value
    }

    /// The best point on the line b = βx + c, where `offset.b` is c.
    fn along(&self, offset: Point, x: f64, start: Point) -> (Point, Terms) {
        let on_line = |beta: f64| Point {
            beta,
            b: beta * x + offset.b,
        };
        self.highest(
            on_line(start.beta),
            &|terms| {
                let slope = terms.by_beta + x * terms.by_b;
                let bend = terms.by_beta_beta + 2.0 * x * terms.by_beta_b + x * x * terms.by_b_b;
                (slope, bend)
            },
            &|at, step| on_line(at.beta + step),
        )
    }

    /// The best point with that shape.
    fn with_shape(&self, beta: f64, start: Point) -> (Point, Terms) {
        let b = start.b * beta / start.beta;
        self.highest(
            Point { beta, b },
            &|terms| (terms.by_b, terms.by_b_b),
            &|at, step| Point {
                b: at.b + step,
                ..at
            },
        )
    }

    /// The highest point of the concave likelihood on a line, by Newton's steps halved until they gain.
    fn highest(
        &self,
        start: Point,
        bent: &dyn Fn(&Terms) -> (f64, f64),
        moved: &dyn Fn(Point, f64) -> Point,
    ) -> (Point, Terms) {
        const STEPS: usize = 200;
        let mut at = start;
        let mut terms = self.likelihood.terms(at);
        for _ in 0..STEPS {
            let (slope, bend) = bent(&terms);
            let step = -slope / bend;
            let gain = slope * step;
            let near = gain < 1e-9 * (1.0 + terms.value.abs());
            let lengths = (0..60).map(|halved| step * 0.5_f64.powi(halved));
            let good = |to: Point, length: f64| {
                let value = self.likelihood.terms(to).value;
                near || value >= terms.value + 1e-4 * slope * length
            };
            let next = lengths
                .map(|length| (moved(at, length), length))
                .find(|(to, length)| to.beta > 0.0 && good(*to, *length));
            let Some((to, _)) = next else { break };
            at = to;
            terms = self.likelihood.terms(at);
            if gain.is_nan() || gain < 1e-18 {
                break;
            }
        }
        (at, terms)
    }
}
