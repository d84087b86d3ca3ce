//! The log-likelihood with its first and second derivatives, and its maximum.

use crate::evidence::turnbull::Intervals;

/// One kind of observation, with x = ln t in the sample's own unit.
#[derive(Clone, Copy, Debug)]
enum Seen {
    /// Failed exactly at x.
    At(f64),
    /// Failed by x, at the first check.
    By(f64),
    /// Failed between x and x + the second number.
    Between(f64, f64),
    /// Whole at x.
    Whole(f64),
}

/// A sample's likelihood.
#[derive(Clone, Debug)]
pub(super) struct Likelihood {
    seen: Vec<(Seen, f64)>,
    /// ln of the time that the sample takes as its unit.
    pub(super) ln_unit: f64,
    /// What exact failure times add whatever the parameters.
    constant: f64,
}

/// Shape β, and b = β ln η with η in the sample's own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) beta: f64,
    pub(super) b: f64,
}

/// A value with its derivatives by (β, b).
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Terms {
    pub(super) value: f64,
    pub(super) by_beta: f64,
    pub(super) by_b: f64,
    pub(super) by_beta_beta: f64,
    pub(super) by_beta_b: f64,
    pub(super) by_b_b: f64,
}

impl Terms {
    /// Adds a term that depends on z = βx − b, with its first and second derivative by z.
    fn add(&mut self, n: f64, x: f64, value: f64, first: f64, second: f64) {
        self.value += n * value;
        self.by_beta += n * x * first;
        self.by_b -= n * first;
        self.by_beta_beta += n * x * x * second;
        self.by_beta_b -= n * x * second;
        self.by_b_b += n * second;
    }

    /// Adds ln(S(lo) − S(hi)): with the hazard H at lo and D up to hi it is −H + ln(1 − e^−D).
    fn add_between(&mut self, n: f64, at: Point, x: f64, width: f64) {
        let hazard = (at.beta * x - at.b).exp();
        let more = hazard * (at.beta * width).exp_m1();
        let after = hazard + more;
        let (value, slope, bend) = failed_within(more);
        // ∂D/∂z = D and ∂D/∂(βΔ) = H + D, so that βΔ never cancels.
        let by_z = slope - hazard;
        let (by_width, by_z_width, by_width_width) = if more > FAR {
            (0.0, 0.0, 0.0)
        } else {
            let b = 1.0 / more.exp_m1();
            let a = 1.0 + b;
            (
                b * after,
                b * after * (1.0 - a * more),
                b * after * (1.0 - a * after),
            )
        };
        self.add(n, x, value - hazard, by_z, bend - hazard);
        self.by_beta += n * width * by_width;
        self.by_beta_beta += n * width * (2.0 * x * by_z_width + width * by_width_width);
        self.by_beta_b -= n * width * by_z_width;
    }
}

/// A hazard from which on a survivor is one in more than 10^300.
const FAR: f64 = 690.0;

/// ln(1 − e^−D) with its first and second derivative by ln D.
fn failed_within(d: f64) -> (f64, f64, f64) {
    if d > FAR {
        return (0.0, 0.0, 0.0);
    }
    let b = 1.0 / d.exp_m1();
    let slope = b * d;
    ((-(-d).exp_m1()).ln(), slope, slope * (1.0 - (1.0 + b) * d))
}

impl Likelihood {
    /// Of checked data.
    pub(super) fn of(data: Intervals) -> Self {
        let times = data.lo.iter().chain(data.hi).copied();
        let unit = times
            .filter(|t| t.is_finite())
            .fold(f64::MIN_POSITIVE, f64::max);
        let ln_unit = unit.ln();
        let mut own = Self {
            seen: Vec::new(),
            ln_unit,
            constant: 0.0,
        };
        for ((lo, hi), n) in data.lo.iter().zip(data.hi).zip(data.n) {
            let n = *n as f64;
            let x = |t: &f64| t.ln() - ln_unit;
            let seen = match (lo, hi) {
                _ if n == 0.0 || (*lo == 0.0 && hi.is_infinite()) => continue,
                (lo, hi) if lo == hi => {
                    own.constant -= n * hi.ln();
                    Seen::At(x(hi))
                }
                (lo, hi) if hi.is_infinite() => Seen::Whole(x(lo)),
                (lo, hi) if *lo == 0.0 => Seen::By(x(hi)),
                (lo, hi) => Seen::Between(x(lo), (hi / lo).ln()),
            };
            own.seen.push((seen, n));
        }
        own
    }

    /// Value and derivatives at a point with a shape above zero.
    pub(super) fn terms(&self, at: Point) -> Terms {
        let mut sum = Terms {
            value: self.constant,
            ..Terms::default()
        };
        for (seen, n) in &self.seen {
            let n = *n;
            match *seen {
                Seen::At(x) => {
                    let z = at.beta * x - at.b;
                    let hazard = z.exp();
                    sum.add(n, x, at.beta.ln() + z - hazard, 1.0 - hazard, -hazard);
                    sum.by_beta += n / at.beta;
                    sum.by_beta_beta -= n / (at.beta * at.beta);
                }
                Seen::By(x) => {
                    let (value, slope, bend) = failed_within((at.beta * x - at.b).exp());
                    sum.add(n, x, value, slope, bend);
                }
                Seen::Between(x, width) => sum.add_between(n, at, x, width),
                Seen::Whole(x) => {
                    let hazard = (at.beta * x - at.b).exp();
                    sum.add(n, x, -hazard, -hazard, -hazard);
                }
            }
        }
        sum
    }

    /// The maximum; `None` where it was not reached.
    pub(super) fn maximum(&self) -> Option<(Point, Terms)> {
        const STEPS: usize = 500;
        let mut at = self.start();
        let mut terms = self.terms(at);
        for _ in 0..STEPS {
            let (d_beta, d_b) = newton_step(&terms)?;
            let gain = d_beta * terms.by_beta + d_b * terms.by_b;
            let moved = |length: f64| Point {
                beta: at.beta + length * d_beta,
                b: at.b + length * d_b,
            };
            // Near the maximum values differ in their last digits only: the full step is right then.
            let near = gain < 1e-9 * (1.0 + terms.value.abs());
            let length = if near {
                Some(1.0).filter(|_| moved(1.0).beta > 0.0)
            } else {
                self.gaining(terms.value, gain, moved)
            };
            at = moved(length?);
            terms = self.terms(at);
            if gain < 1e-20 {
                return Some((at, terms));
            }
        }
        let (d_beta, d_b) = newton_step(&terms)?;
        let settled = d_beta.abs() <= 1e-9 * at.beta && d_b.abs() <= 1e-9 * (1.0 + at.b.abs());
        settled.then_some((at, terms))
    }

    /// The longest of 1, 1/2, 1/4, … that gains a fair share of what the slope promises.
    fn gaining(&self, value: f64, gain: f64, moved: impl Fn(f64) -> Point) -> Option<f64> {
        let lengths = (0..60).map(|halved| 0.5_f64.powi(halved));
        lengths.into_iter().find(|length| {
            let to = moved(*length);
            to.beta > 0.0 && self.terms(to).value >= value + 1e-4 * length * gain
        })
    }

    /// The exponential fit of the interval ends, with shape 1.
    fn start(&self) -> Point {
        let (mut failed, mut time) = (0.0, 0.0);
        for (seen, n) in &self.seen {
            let (x, fails) = match *seen {
                Seen::At(x) | Seen::By(x) => (x, 1.0),
                Seen::Between(x, width) => (x + width / 2.0, 1.0),
                Seen::Whole(x) => (x, 0.0),
            };
            failed += n * fails;
            time += n * x.exp();
        }
        Point {
            beta: 1.0,
            b: (time / failed).ln(),
        }
    }
}

/// −H⁻¹g; `None` where the curvature does not turn down.
fn newton_step(terms: &Terms) -> Option<(f64, f64)> {
    let determinant = terms.by_beta_beta * terms.by_b_b - terms.by_beta_b * terms.by_beta_b;
    let down = terms.by_b_b < 0.0 && determinant > 0.0 && determinant.is_finite();
    down.then(|| {
        let d_beta = (terms.by_beta_b * terms.by_b - terms.by_b_b * terms.by_beta) / determinant;
        let d_b = (terms.by_beta_b * terms.by_beta - terms.by_beta_beta * terms.by_b) / determinant;
        (d_beta, d_b)
    })
}
