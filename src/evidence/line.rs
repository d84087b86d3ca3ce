//! Is production changing? Two months compared, every month watched, and the trend of a repairable system.

use super::cannot::{
    CannotSay, Said, above_zero, check, fraction, not_negative, same_length, some,
};
use super::demonstration::whole;
use super::mtbf::Ended;
use super::sampling::{hypergeometric, oc_binomial, two_samples};
use super::special::poisson_at_most;

/// Which way two samples may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The second is worse.
    SecondWorse,
    /// Either is worse.
    TwoSided,
}

/// Fisher's exact test of `k1` failures of `n1` against `k2` of `n2`: the chance of what was seen or worse
/// where both months are alike.
///
/// Given k1 + k2, K1 is hypergeometric. Second worse: P(K1 ≤ k1). Two-sided: the sum over all tables no
/// likelier than the one seen. No failure at all gives 1. Small samples have little power: 0 of 20 and then
/// 4 of 20 give 0.053. Source: Fisher, Statistical Methods for Research Workers, §21.02.
///
/// # Errors
/// `out_of_range`.
pub fn fisher_exact(k1: u64, n1: u64, k2: u64, n2: u64, side: Side) -> Said<f64> {
    two_samples(k1, n1, k2, n2)?;
    let (first, chances) = hypergeometric(n1 + n2, k1 + k2, n1);
    let tables = || (first..).zip(&chances);
    let seen = tables()
        .find(|(own, _)| *own == k1)
        .map_or(0.0, |(_, chance)| *chance);
    let p: f64 = match side {
        Side::SecondWorse => tables()
            .filter(|(own, _)| *own <= k1)
            .map(|(_, chance)| chance)
            .sum(),
        Side::TwoSided => {
            let no_likelier = |chance: &&f64| **chance <= seen * (1.0 + 1e-7);
            chances.iter().filter(no_likelier).sum()
        }
    };
    Ok(p.min(1.0))
}

/// Reference value of a binomial CUSUM for samples of `n`: n·ln[(1−p0)/(1−p1)] / ln[p1(1−p0)/(p0(1−p1))].
///
/// `p0` is the fraction failing in control, `p1` the one to catch; `0 < p0 < p1 < 1`, `n ≥ 1`. Source:
/// Hawkins and Olwell, Cumulative Sum Charts (1998), ch. 5.
///
/// # Errors
/// `out_of_range`.
pub fn cusum_binomial_k(n: u64, p0: f64, p1: f64) -> Said<f64> {
    some("n", n)?;
    fraction("p0", p0)?;
    fraction("p1", p1)?;
    check(p0 < p1, "p1", p1, "it must be above p0")?;
    let good = (-p0).ln_1p() - (-p1).ln_1p();
    Ok(n as f64 * good / ((p1 / p0).ln() + good))
}

/// The sums of a CUSUM: S = max(0, S + x − k) from S = 0, one for each sample; it does not reset.
///
/// # Errors
/// `out_of_range`.
pub fn cusum(x: &[f64], k: f64, h: f64) -> Said<Vec<f64>> {
    same_length("x", x.len(), x.len())?;
    above_zero("k", k)?;
    above_zero("h", h)?;
    let mut sum = 0.0_f64;
    let mut sums = Vec::new();
    for count in x {
        not_negative("x", *count)?;
        sum = (sum + count - k).max(0.0);
        sums.push(sum);
    }
    Ok(sums)
}

/// The first sample, from 1, at which S > h; none where there is none.
///
/// # Errors
/// `out_of_range`.
pub fn cusum_signal(x: &[f64], k: f64, h: f64) -> Said<Option<u64>> {
    let sums = cusum(x, k, h)?;
    let first = sums.iter().position(|sum| *sum > h + 1e-9);
    Ok(first.map(|at| at as u64 + 1))
}

/// The last sum of a CUSUM.
///
/// # Errors
/// `out_of_range`.
pub fn cusum_last(x: &[f64], k: f64, h: f64) -> Said<f64> {
    Ok(cusum(x, k, h)?.last().copied().unwrap_or(0.0))
}

/// Samples until a signal on average, from S = 0, with samples of `n` and fraction failing `p`: exact.
///
/// The sums are multiples of the common denominator of `k` and `h`, so they form a Markov chain with h·d + 1
/// states; its mean time to absorption is found by eliminating one state after another without any
/// subtraction (Grassmann, Taksar and Heyman 1985). `0 < p < 1`.
///
/// # Errors
/// `out_of_range`, also where `k` and `h` need more than 1500 states.
pub fn cusum_binomial_arl(n: u64, p: f64, k: f64, h: f64) -> Said<f64> {
    some("n", n)?;
    fraction("p", p)?;
    above_zero("k", k)?;
    above_zero("h", h)?;
    let steps = Steps::of(k, h).ok_or(CannotSay::OutOfRange {
        what: "k",
        got: k,
        allowed: "k and h must have a common denominator that gives at most 1500 states",
    })?;
    // Failures beyond those that signal from zero need not be told apart.
    let enough = n.min(steps.limit as u64 + steps.down as u64 + 1);
    let chance = |x: u64| oc_binomial(n, x, p);
    let mut chances = vec![chance(0)?];
    for x in 1..enough {
        chances.push(chance(x)? - chance(x - 1)?);
    }
    chances.push((1.0 - chance(enough - 1)?).max(0.0));
    Ok(mean_time_to_signal(&chances, steps))
}

/// A CUSUM in whole steps of one over the common denominator of its reference and limit.
#[derive(Clone, Copy, Debug)]
struct Steps {
    /// Steps of one failure.
    up: usize,
    /// Steps of the reference value.
    down: usize,
    /// Steps of the limit.
    limit: usize,
}

impl Steps {
    fn of(k: f64, h: f64) -> Option<Self> {
        const MOST_STATES: u32 = 1500;
        let near_whole = |x: f64| (x - x.round()).abs() < 1e-9 * x.max(1.0);
        let fits = |d: &u32| {
            let d = f64::from(*d);
            h * d < f64::from(MOST_STATES) && near_whole(k * d) && near_whole(h * d)
        };
        let d = (1..=MOST_STATES).find(fits)?;
        let steps = |x: f64| usize::try_from(whole((x * f64::from(d)).round().min(1e9))).ok();
        Some(Self {
            up: usize::try_from(d).ok()?,
            down: steps(k)?,
            limit: steps(h)?,
        })
    }
}

/// Mean number of samples until the sum passes the limit, from 0; `chances[x]` is that of x failures.
fn mean_time_to_signal(chances: &[f64], steps: Steps) -> f64 {
    let states = steps.limit + 1;
    let mut move_to = vec![vec![0.0; states]; states];
    let mut signal = vec![0.0; states];
    for from in 0..states {
        for (x, chance) in chances.iter().enumerate() {
            let to = (from + x * steps.up).saturating_sub(steps.down);
            if to < states {
                move_to[from][to] += chance;
            } else {
                signal[from] += chance;
            }
        }
    }
    let mut stay = vec![1.0; states];
    for gone in (1..states).rev() {
        let leaves = move_to[gone][..gone].iter().sum::<f64>() + signal[gone];
        let (others, own) = move_to.split_at_mut(gone);
        for (from, row) in others.iter_mut().enumerate() {
            let share = row[gone] / leaves;
            if share > 0.0 {
                for (to, chance) in row[..gone].iter_mut().zip(&own[0][..gone]) {
                    *to += share * chance;
                }
                signal[from] += share * signal[gone];
                stay[from] += share * stay[gone];
            }
        }
    }
    stay[0] / signal[0]
}

/// Failure times of a repairable system and when it was last seen.
#[derive(Clone, Copy, Debug)]
pub struct History<'t> {
    /// Failure times, any order, above zero.
    pub t: &'t [f64],
    /// The end of the observation, in the same unit.
    pub end: f64,
    /// How it ended; at a failure, `end` is the last time.
    pub kind: Ended,
}

impl History<'_> {
    /// Number of failures and Σ ln(T/tᵢ), checked.
    fn sums(&self) -> Said<(f64, f64)> {
        if self.t.is_empty() {
            return Err(CannotSay::NoFailures);
        }
        above_zero("end", self.end)?;
        for t in self.t {
            above_zero("t", *t)?;
            check(*t <= self.end, "t", *t, "it must not be after the end")?;
        }
        let last = self.t.iter().fold(0.0, |last: f64, t| last.max(*t));
        let n = self.t.len() as f64;
        if self.kind == Ended::Failure {
            check(
                n >= 2.0,
                "t",
                n,
                "a history that ends at a failure needs 2 or more",
            )?;
            check(
                last == self.end,
                "end",
                self.end,
                "it must be the last failure",
            )?;
        }
        let sum: f64 = self.t.iter().map(|t| (self.end / t).ln()).sum();
        if sum <= 0.0 {
            let why = "every failure came at the very end";
            return Err(CannotSay::NoFiniteMle { why });
        }
        Ok((n, sum))
    }
}

/// Growth exponent β of the power law E N(t) = λ t^β: N/Σ ln(T/tᵢ). Below 1 failures grow rarer.
///
/// Source: Crow, AMSAA TR-138 (1974); NIST/SEMATECH e-Handbook 8.4.5.2.
///
/// # Errors
/// `no_failures`, `no_finite_mle` where all failures came at the end, `out_of_range`.
pub fn crow_beta(history: History) -> Said<f64> {
    let (n, sum) = history.sums()?;
    Ok(n / sum)
}

/// Scale λ = N/T^β of the power law.
///
/// # Errors
/// As [`crow_beta`].
pub fn crow_lambda(history: History) -> Said<f64> {
    let (n, sum) = history.sums()?;
    Ok(n / history.end.powf(n / sum))
}

/// Unbiased growth exponent: β(N−1)/N where the time ended, β(N−2)/N where a failure did.
///
/// # Errors
/// As [`crow_beta`]; `out_of_range` with too few failures.
pub fn crow_beta_unbiased(history: History) -> Said<f64> {
    let (n, sum) = history.sums()?;
    let lost = match history.kind {
        Ended::Time => 1.0,
        Ended::Failure => 2.0,
    };
    check(
        n > lost,
        "t",
        n,
        "too few failures for an unbiased estimate",
    )?;
    Ok((n - lost) / sum)
}

/// MTBF at the end of the history: T/(Nβ), in the unit of its times.
///
/// # Errors
/// As [`crow_beta`].
pub fn crow_mtbf_inst(history: History) -> Said<f64> {
    let (n, sum) = history.sums()?;
    Ok(history.end * sum / (n * n))
}

/// Chance of so much growth without a trend: upper tail of χ² at 2Σ ln(T/tᵢ), with 2N degrees where the time
/// ended, 2(N−1) where a failure did. Small means growth.
///
/// # Errors
/// As [`crow_beta`].
pub fn crow_growth_p(history: History) -> Said<f64> {
    let (_, sum) = history.sums()?;
    let pairs = match history.kind {
        Ended::Time => history.t.len(),
        Ended::Failure => history.t.len() - 1,
    };
    Ok(poisson_at_most(pairs as u64 - 1, sum))
}

/// Laplace's trend test: (mean tᵢ − T/2)/(T√(1/12N)), approximately standard normal without a trend.
///
/// A history that ends at a failure drops it. Negative means growth. Source: Cox and Lewis, The Statistical
/// Analysis of Series of Events (1966).
///
/// # Errors
/// As [`crow_beta`].
pub fn laplace_u(history: History) -> Said<f64> {
    let (all, _) = history.sums()?;
    let total: f64 = history.t.iter().sum();
    let (n, sum) = match history.kind {
        Ended::Time => (all, total),
        Ended::Failure => (all - 1.0, total - history.end),
    };
    Ok((sum / n - history.end / 2.0) / (history.end * (1.0 / (12.0 * n)).sqrt()))
}
