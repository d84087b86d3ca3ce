//! Sums of probabilities, quantiles and the few special functions that the rest needs.
//!
//! Binomial and Poisson sums begin at one term and add ratios of neighbours, so no factorial appears, nothing
//! overflows and a million units take no longer than the width of their distribution. Quantiles are searched by
//! bisection on a monotone function, which cannot diverge. The error function and the gamma function come from a
//! crate; `tests/it/reliability/special_functions.rs` measures how good all of them are.

use statrs::function::{erf, gamma};

/// Standard normal quantile Φ⁻¹(c); `c` strictly between 0 and 1.
pub fn normal_quantile(c: f64) -> f64 {
    // Next to 1 the other tail keeps its digits.
    if c > 0.5 {
        return std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * (1.0 - c));
    }
    -std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * c)
}

/// ln Γ(x); `x` above zero.
pub fn ln_gamma(x: f64) -> f64 {
    gamma::ln_gamma(x)
}

/// Quantile of the beta distribution: the x with `I_x(a, b) = c`; `a`, `b` above zero, `c` strictly between
/// 0 and 1.
pub fn beta_quantile(c: f64, a: f64, b: f64) -> f64 {
    let share = Share::of(c);
    bisect(0.0, 1.0, |x| share.is_reached(beta_tails(a, b, x)))
}

/// ln of `I_x(a, b)` and of 1 less it, by the continued fraction on the side where it converges fast.
///
/// Source: Abramowitz and Stegun 26.5.8, with Lentz's method.
fn beta_tails(a: f64, b: f64, x: f64) -> (f64, f64) {
    let unit = Chances::of_bad(x);
    // x^a (1−x)^b / B(a, b)
    let front = ln_binomial(a, a + b, unit) + (a * b / (a + b)).ln();
    if x < (a + 1.0) / (a + b + 2.0) {
        let own = (front - a.ln() + beta_fraction(a, b, x).ln()).min(0.0);
        (own, ln_one_less(own))
    } else {
        let rest = (front - b.ln() + beta_fraction(b, a, 1.0 - x).ln()).min(0.0);
        (ln_one_less(rest), rest)
    }
}

/// The continued fraction of the incomplete beta function.
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    const STEPS: u32 = 1_000_000;
    const LEAST: f64 = 1e-300;
    let kept = |own: f64| if own.abs() < LEAST { LEAST } else { own };
    let (mut c, mut d) = (1.0, 1.0 / kept(1.0 - (a + b) * x / (a + 1.0)));
    let mut whole = d;
    for m in 1..STEPS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for part in [even, odd] {
            d = 1.0 / kept(1.0 + part * d);
            c = kept(1.0 + part / c);
            change *= c * d;
        }
        whole *= change;
        if (change - 1.0).abs() < 1e-16 {
            break;
        }
    }
    whole
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

/// ln P(at most `k` of `n` fail); 0 where `k` is `n` or more. `n` is a whole number.
pub fn ln_at_most(k: u64, n: f64, unit: Chances) -> f64 {
    binomial_tails(k, n, unit).0
}

/// ln P(more than `k` of `n` fail); minus infinity where `k` is `n` or more.
fn ln_more_than(k: u64, n: f64, unit: Chances) -> f64 {
    binomial_tails(k, n, unit).1
}

/// ln P(at most `k` of `n` fail) and ln P(more than `k` fail), each exact to the last digits.
///
/// The side of `k` that holds less is summed, beginning beside `k`: its terms only fall.
fn binomial_tails(k: u64, n: f64, unit: Chances) -> (f64, f64) {
    let (k, odds) = (k as f64, (unit.ln_bad - unit.ln_good).exp());
    if k >= n {
        return (0.0, f64::NEG_INFINITY);
    }
    if k == 0.0 {
        let none = n * unit.ln_good;
        return (none, ln_one_less(none));
    }
    if k < n * unit.ln_bad.exp() {
        let sum = falling(|at| (k - at) / ((n - k + 1.0 + at) * odds));
        let at_most = (ln_binomial(k, n, unit) + sum.ln()).min(0.0);
        (at_most, ln_one_less(at_most))
    } else {
        let sum = falling(|at| (n - k - 1.0 - at) / (k + 2.0 + at) * odds);
        let more = (ln_binomial(k + 1.0, n, unit) + sum.ln()).min(0.0);
        (ln_one_less(more), more)
    }
}

/// ln(1 − e^x); `x` is 0 or less.
fn ln_one_less(x: f64) -> f64 {
    if x > -std::f64::consts::LN_2 {
        (-x.exp_m1()).ln()
    } else {
        (-x.exp()).ln_1p()
    }
}

/// 1 + r₀ + r₀r₁ + …, until nothing more counts; the ratios must fall below 1.
fn falling(ratio: impl Fn(f64) -> f64) -> f64 {
    let (mut term, mut sum, mut at) = (1.0, 1.0, 0.0);
    while term > sum * 1e-17 {
        term *= ratio(at);
        sum += term;
        at += 1.0;
    }
    sum
}

/// ln P(exactly `k` of `n` fail), `k` from 0 to `n`; neither need be whole.
///
/// By Loader's expansion about the mean, which loses no digits for large `n`: C. Loader, Fast and accurate
/// computation of binomial probabilities (2000).
fn ln_binomial(k: f64, n: f64, unit: Chances) -> f64 {
    if k <= 0.0 {
        return n * unit.ln_good;
    }
    if k >= n {
        return n * unit.ln_bad;
    }
    let good = n - k;
    let off = deviance(k, n * unit.ln_bad.exp()) + deviance(good, n * unit.ln_good.exp());
    let size = (n / (std::f64::consts::TAU * k * good)).ln() / 2.0;
    stirling_error(n) - stirling_error(k) - stirling_error(good) - off + size
}

/// x ln(x/m) + m − x, without cancelling where x is near m; both above zero.
fn deviance(x: f64, m: f64) -> f64 {
    let v = (x - m) / (x + m);
    if v.abs() > 0.1 || !v.is_finite() {
        return if m > 0.0 {
            x * (x / m).ln() + m - x
        } else {
            f64::INFINITY
        };
    }
    let (mut sum, mut power, mut odd) = ((x - m) * v, 2.0 * x * v, 1.0);
    loop {
        power *= v * v;
        odd += 2.0;
        let next = sum + power / odd;
        if next == sum {
            return sum;
        }
        sum = next;
    }
}

/// ln Γ(x+1) − (x + ½) ln x + x − ½ ln 2π: what Stirling's formula lacks; `x` above zero.
fn stirling_error(x: f64) -> f64 {
    if x < 15.0 {
        let whole = (x + 0.5) * x.ln() - x + (std::f64::consts::TAU.ln()) / 2.0;
        return gamma::ln_gamma(x + 1.0) - whole;
    }
    let y = 1.0 / (x * x);
    let tail = 1.0 / 1680.0 - y * (1.0 / 1188.0 - y * (691.0 / 360_360.0 - y / 156.0));
    (1.0 / 12.0 - y * (1.0 / 360.0 - y * (1.0 / 1260.0 - y * tail))) / x
}

/// P(more than `k` of `n` fail), exact to the last digits also where it is small; 0 where `k` is `n` or more.
pub fn more_than(k: u64, n: u64, unit: Chances) -> f64 {
    ln_more_than(k, n as f64, unit).exp()
}

/// A share by itself and what it lacks to 1, so that neither loses digits.
#[derive(Clone, Copy, Debug)]
pub struct Share {
    /// The share.
    pub own: f64,
    /// 1 less the share.
    pub rest: f64,
}

impl Share {
    /// From a share strictly between 0 and 1.
    pub fn of(own: f64) -> Self {
        Self {
            own,
            rest: 1.0 - own,
        }
    }

    /// From what a share lacks to 1.
    pub fn all_but(rest: f64) -> Self {
        Self {
            own: 1.0 - rest,
            rest,
        }
    }

    /// True where a share, given by its logarithm and that of its rest, is this or more. The smaller side decides.
    fn is_reached(self, (ln_own, ln_rest): (f64, f64)) -> bool {
        if self.own < self.rest {
            ln_own >= self.own.ln()
        } else {
            ln_rest <= self.rest.ln()
        }
    }
}

/// The chance to survive at which P(at most `k` of `n` fail) is `share`; `k` below `n`.
pub fn good_where_at_most(k: u64, n: u64, share: Share) -> f64 {
    if k == 0 {
        return (share.ln() / n as f64).exp();
    }
    bisect(0.0, 1.0, |r| {
        share.is_reached(binomial_tails(k, n as f64, Chances::of_good(r)))
    })
}

/// The chance to fail at which P(at most `k` of `n` fail) is `share`; `k` below `n`.
pub fn bad_where_at_most(k: u64, n: u64, share: Share) -> f64 {
    if k == 0 {
        return -(share.ln() / n as f64).exp_m1();
    }
    bisect(0.0, 1.0, |q| {
        !share.is_reached(binomial_tails(k, n as f64, Chances::of_bad(q)))
    })
}

impl Share {
    /// The logarithm of the share.
    fn ln(self) -> f64 {
        if self.own < 0.5 {
            self.own.ln()
        } else {
            (-self.rest).ln_1p()
        }
    }
}

/// ln P(at most `k` events) of a Poisson count with that mean, which is above zero, and ln P(more than `k`).
fn poisson_tails(k: u64, mean: f64) -> (f64, f64) {
    let k = k as f64;
    if k == 0.0 {
        return (-mean, ln_one_less(-mean));
    }
    let exactly = |k: f64| {
        let size = (std::f64::consts::TAU * k).ln() / 2.0;
        -stirling_error(k) - deviance(k, mean) - size
    };
    if k < mean {
        let sum = falling(|at| (k - at) / mean);
        let at_most = (exactly(k) + sum.ln()).min(0.0);
        (at_most, ln_one_less(at_most))
    } else {
        let sum = falling(|at| mean / (k + 2.0 + at));
        let more = (exactly(k + 1.0) + sum.ln()).min(0.0);
        (ln_one_less(more), more)
    }
}

/// P(at most `k` events) of a Poisson count with that mean; the mean is 0 or more.
///
/// The chi-square distribution of even degrees is this sum: P(χ²₂ₖ₊₂ > 2m) = P(at most k | m).
pub fn poisson_at_most(k: u64, mean: f64) -> f64 {
    if mean > 0.0 {
        poisson_tails(k, mean).0.exp()
    } else {
        1.0
    }
}

/// The mean at which P(at most `k` events) is `share`: half of the chi-square quantile `1 − share` of 2k+2
/// degrees.
pub fn poisson_mean(k: u64, share: Share) -> f64 {
    if k == 0 {
        return -share.ln();
    }
    bisect(0.0, f64::MAX, |mean| {
        !share.is_reached(poisson_tails(k, mean))
    })
}

/// Rounds up to a whole number; what a product of doubles exceeds it by does not count.
pub fn ceil_guarded(x: f64) -> f64 {
    (x - (x.abs() * 1e-13).max(1e-9)).ceil()
}

/// Rounds down to a whole number; what a product of doubles falls short of it does not count.
pub fn floor_guarded(x: f64) -> f64 {
    -ceil_guarded(-x)
}
