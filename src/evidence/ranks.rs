//! Plot positions of failures, and straight lines through them.
//!
//! For plotting and starting values; the lines ignore when suspensions happened.

use super::cannot::{CannotSay, Said, above_zero, check, fraction, same_length, some};
use super::special::beta_quantile;

/// Benard's approximation of the median rank: (i − 0.3)/(n + 0.4); `1 ≤ i ≤ n`, `i` need not be whole.
///
/// # Errors
/// `out_of_range`.
pub fn benard(i: f64, n: u64) -> Said<f64> {
    place(i, n)?;
    Ok((i - 0.3) / (n as f64 + 0.4))
}

/// Rank of the i-th of n at level `c`: BetaInv(c; i, n+1−i); the median rank at c = 0.5.
///
/// `1 ≤ i ≤ n`, `i` need not be whole, `0 < c < 1`. Source: Johnson, Ind. Math. 2 (1951) 1.
///
/// # Errors
/// `out_of_range`.
pub fn rank(i: f64, n: u64, c: f64) -> Said<f64> {
    place(i, n)?;
    fraction("c", c)?;
    Ok(beta_quantile(c, i, n as f64 + 1.0 - i))
}

fn place(i: f64, n: u64) -> Said<()> {
    some("n", n)?;
    check(
        (1.0..=n as f64).contains(&i),
        "i",
        i,
        "it must lie from 1 to n",
    )
}

/// Failure times in order, each with its rank adjusted for suspensions (Johnson).
///
/// i_j = i_{j−1} + (n+1−i_{j−1})/(1 + units at risk, this one included); a failure goes before a suspension of
/// the same time, and of equal failures each keeps its own rank.
///
/// # Errors
/// `out_of_range`.
pub fn johnson_ranks(t: &[f64], d: &[bool]) -> Said<Vec<(f64, f64)>> {
    same_length("d", d.len(), t.len())?;
    for time in t {
        above_zero("t", *time)?;
    }
    let mut units: Vec<(f64, bool)> = t.iter().copied().zip(d.iter().copied()).collect();
    units.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
    let n = units.len();
    let mut rank = 0.0;
    let mut ranks = Vec::new();
    for (at, (time, failed)) in units.iter().enumerate() {
        if *failed {
            rank += (n as f64 + 1.0 - rank) / (1 + n - at) as f64;
            ranks.push((*time, rank));
        }
    }
    Ok(ranks)
}

/// Adjusted rank of the `failure`-th failure in order of time, from 1.
///
/// # Errors
/// `out_of_range`, also for a failure that there is not.
pub fn johnson_rank(t: &[f64], d: &[bool], failure: u64) -> Said<f64> {
    let ranks = johnson_ranks(t, d)?;
    let at = usize::try_from(failure)
        .unwrap_or(usize::MAX)
        .checked_sub(1);
    let found = at.and_then(|at| ranks.get(at));
    found.map(|(_, rank)| *rank).ok_or(CannotSay::OutOfRange {
        what: "failure",
        got: failure as f64,
        allowed: "it must lie from 1 to the number of failures",
    })
}

/// How a rank becomes a fraction failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Positions {
    /// Benard's approximation.
    Benard,
    /// The exact median of the beta distribution.
    Exact,
}

/// Which distance a line keeps small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Regression {
    /// Times on positions, the usual choice.
    XOnY,
    /// Positions on times.
    YOnX,
}

/// A Weibull line through plot positions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RankLine {
    /// Shape.
    pub beta: f64,
    /// Scale, in the unit of the times.
    pub eta: f64,
}

/// Median-rank regression: the line through y = ln(−ln(1−F)) and x = ln t of the failures.
///
/// X on Y: x = a + y/β, η = e^a. Y on X gives other numbers: say which.
///
/// # Errors
/// `no_failures`; `not_identifiable` with one failure; `no_finite_mle` where all failed at one time;
/// `out_of_range`.
pub fn rank_regression(
    t: &[f64],
    d: &[bool],
    positions: Positions,
    on: Regression,
) -> Said<RankLine> {
    let ranks = johnson_ranks(t, d)?;
    let n = t.len() as u64;
    if ranks.is_empty() {
        return Err(CannotSay::NoFailures);
    }
    if ranks.len() == 1 {
        let why = "a line needs two failures";
        return Err(CannotSay::NotIdentifiable { why });
    }
    let mut points = Vec::new();
    for (time, own) in &ranks {
        let failed = match positions {
            Positions::Benard => benard(*own, n)?,
            Positions::Exact => rank(*own, n, 0.5)?,
        };
        points.push((time.ln(), (-(-failed).ln_1p()).ln()));
    }
    let count = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / count;
    let (x, y) = (mean(|point| point.0), mean(|point| point.1));
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        points
            .iter()
            .map(|point| of(point.0 - x, point.1 - y))
            .sum()
    };
    let (xx, yy, xy) = (sum(&|x, _| x * x), sum(&|_, y| y * y), sum(&|x, y| x * y));
    if xx <= 0.0 || xy <= 0.0 {
        let why = "every failure came at the same time";
        return Err(CannotSay::NoFiniteMle { why });
    }
    let beta = match on {
        Regression::XOnY => yy / xy,
        Regression::YOnX => xy / xx,
    };
    let eta = (x - y / beta).exp();
    Ok(RankLine { beta, eta })
}
