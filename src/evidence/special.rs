//! Sums of probabilities, quantiles and the few special functions that the rest needs.
//!
//! Binomial and Poisson sums are formed in logarithms from ratios of neighbouring terms, so no factorial
//! appears and nothing overflows. Quantiles are searched by bisection on a monotone function, which cannot
//! diverge. The error function, the gamma function and the incomplete beta function come from a crate;
//! `tests/it/special_functions.rs` measures how good they are.

use statrs::function::{beta, erf, gamma};

/// Standard normal quantile Φ⁻¹(c); `c` strictly between 0 and 1.
pub fn normal_quantile(c: f64) -> f64 {
    -std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * c)
}

/// ln Γ(x); `x` above zero.
pub fn ln_gamma(x: f64) -> f64 {
    gamma::ln_gamma(x)
}

/// Quantile of the beta distribution: the x with `I_x(a, b) = c`; `a`, `b` above zero, `c` strictly between
/// 0 and 1.
pub fn beta_quantile(c: f64, a: f64, b: f64) -> f64 {
    bisect(0.0, 1.0, |x| beta::beta_reg(a, b, x) >= c)
}

/// The smallest x of `[low, high]` from which on `reached` holds; `low` is 0 or more.
///
/// It halves the representable numbers between the ends, so a tiny answer is as exact as a large one.
pub fn bisect(low: f64, high: f64, reached: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (low.to_bits(), high.to_bits());
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if reached(f64::from_bits(middle)) {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::from_bits(high)
}

/// A sum of numbers that are given by their logarithms.
struct LogSum {
    largest: f64,
    scaled: f64,
}

impl LogSum {
    const EMPTY: Self = Self {
        largest: f64::NEG_INFINITY,
        scaled: 0.0,
    };

    fn add(&mut self, ln_term: f64) {
        if ln_term == f64::NEG_INFINITY {
            return;
        }
        if ln_term > self.largest {
            self.scaled *= (self.largest - ln_term).exp();
            self.largest = ln_term;
        }
        self.scaled += (ln_term - self.largest).exp();
    }

    fn ln(&self) -> f64 {
        self.largest + self.scaled.ln()
    }
}

/// The logarithms of a unit's chances in one trial.
#[derive(Clone, Copy, Debug)]
pub struct Chances {
    /// ln of the chance to survive.
    pub ln_good: f64,
    /// ln of the chance to fail.
    pub ln_bad: f64,
}

impl Chances {
    /// From the chance to survive, strictly between 0 and 1.
    pub fn of_good(r: f64) -> Self {
        Self {
            ln_good: r.ln(),
            ln_bad: (-r).ln_1p(),
        }
    }

    /// From the chance to fail, strictly between 0 and 1.
    pub fn of_bad(p: f64) -> Self {
        Self {
            ln_good: (-p).ln_1p(),
            ln_bad: p.ln(),
        }
    }

    /// From ln of the chance to survive, below zero.
    pub fn of_ln_good(ln_good: f64) -> Self {
        Self {
            ln_good,
            ln_bad: (-ln_good.exp_m1()).ln(),
        }
    }
}

/// ln P(at most `k` of `n` fail); 0 where `k` is `n` or more.
pub fn ln_at_most(k: u64, n: f64, unit: Chances) -> f64 {
    if k as f64 >= n {
        return 0.0;
    }
    let mut term = n * unit.ln_good;
    let mut sum = LogSum::EMPTY;
    sum.add(term);
    for i in 0..k {
        let i = i as f64;
        term += ((n - i) / (i + 1.0)).ln() + unit.ln_bad - unit.ln_good;
        sum.add(term);
    }
    sum.ln().min(0.0)
}

/// P(more than `k` of `n` fail), exact to the last digits also where it is small; 0 where `k` is `n` or more.
pub fn more_than(k: u64, n: u64, unit: Chances) -> f64 {
    if k >= n {
        return 0.0;
    }
    let at_most = ln_at_most(k, n as f64, unit);
    if at_most < -0.7 {
        return -at_most.exp_m1();
    }
    // The other side of the sum: at most n - k - 1 survive.
    let other = Chances {
        ln_good: unit.ln_bad,
        ln_bad: unit.ln_good,
    };
    ln_at_most(n - k - 1, n as f64, other).exp()
}

/// The chance to survive at which P(at most `k` of `n` fail) is `p`; `k` below `n`, `p` strictly between 0 and 1.
pub fn good_where_at_most(k: u64, n: u64, p: f64) -> f64 {
    if k == 0 {
        return (p.ln() / n as f64).exp();
    }
    let ln_p = p.ln();
    bisect(0.0, 1.0, |r| {
        ln_at_most(k, n as f64, Chances::of_good(r)) >= ln_p
    })
}

/// The chance to fail at which P(at most `k` of `n` fail) is `p`; `k` below `n`, `p` strictly between 0 and 1.
pub fn bad_where_at_most(k: u64, n: u64, p: f64) -> f64 {
    if k == 0 {
        return -(p.ln() / n as f64).exp_m1();
    }
    let ln_p = p.ln();
    bisect(0.0, 1.0, |q| {
        ln_at_most(k, n as f64, Chances::of_bad(q)) <= ln_p
    })
}

/// ln P(at most `k` events) of a Poisson count with that mean, which is above zero.
fn ln_poisson_at_most(k: u64, mean: f64) -> f64 {
    let mut term = -mean;
    let mut sum = LogSum::EMPTY;
    sum.add(term);
    for i in 1..=k {
        term += mean.ln() - (i as f64).ln();
        sum.add(term);
    }
    sum.ln().min(0.0)
}

/// P(at most `k` events) of a Poisson count with that mean; the mean is 0 or more.
///
/// The chi-square distribution of even degrees is this sum: P(χ²₂ₖ₊₂ > 2m) = P(at most k | m).
pub fn poisson_at_most(k: u64, mean: f64) -> f64 {
    if mean > 0.0 {
        ln_poisson_at_most(k, mean).exp()
    } else {
        1.0
    }
}

/// The mean at which P(at most `k` events) is `p`: half of the chi-square quantile `1 − p` of 2k+2 degrees;
/// `p` strictly between 0 and 1.
pub fn poisson_mean(k: u64, p: f64) -> f64 {
    let ln_p = p.ln();
    if k == 0 {
        return -ln_p;
    }
    bisect(0.0, f64::MAX, |mean| ln_poisson_at_most(k, mean) <= ln_p)
}

/// Rounds up to a whole number; what a product of doubles exceeds it by does not count.
pub fn ceil_guarded(x: f64) -> f64 {
    (x - (x.abs() * 1e-13).max(1e-9)).ceil()
}

/// Rounds down to a whole number; what a product of doubles falls short of it does not count.
pub fn floor_guarded(x: f64) -> f64 {
    -ceil_guarded(-x)
}
