//! Without a distribution, failures found at checks: Turnbull's estimate.
//!
//! Probability can only sit on the innermost intervals: a left end directly followed by a right end.
//! Intervals are half-open, (lo, hi], so a unit that passed the check at 100 and one found failed at 100
//! share no time. EM steps and steps of the iterative convex minorant take turns, and the masses are accepted only
//! where the Kuhn-Tucker condition holds. Source: Turnbull, J. R. Stat. Soc. B 38 (1976) 290; Wellner and
//! Zhan, J. Am. Stat. Assoc. 92 (1997) 945.

use super::cannot::{CannotSay, Said, check, not_negative, same_length};

/// Failures known only to lie in intervals.
#[derive(Clone, Copy, Debug)]
pub struct Intervals<'i> {
    /// Last time each was known good; 0 where never.
    pub lo: &'i [f64],
    /// First time each was known bad; infinite where never, equal to `lo` where the time is exact.
    pub hi: &'i [f64],
    /// How many units are alike, for each pair.
    pub n: &'i [u64],
}

impl Intervals<'_> {
    /// Passes where the lists fit together and every interval is one.
    pub(super) fn check(&self) -> Said<()> {
        same_length("hi", self.hi.len(), self.lo.len())?;
        same_length("n", self.n.len(), self.lo.len())?;
        for (lo, hi) in self.lo.iter().zip(self.hi) {
            not_negative("lo", *lo)?;
            check(
                *hi >= *lo && *hi > 0.0,
                "hi",
                *hi,
                "it must not be before lo, and above 0",
            )?;
        }
        let units: u64 = self.n.iter().sum();
        check(
            units > 0,
            "n",
            units as f64,
            "there must be at least one unit",
        )
    }
}

/// A piece of time with the probability to fail in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mass {
    /// Where it begins, itself excluded unless it is also the end.
    pub from: f64,
    /// Where it ends, included; may be infinite.
    pub to: f64,
    /// The probability.
    pub p: f64,
}

/// Turnbull's estimate.
#[derive(Clone, Debug, PartialEq)]
pub struct Turnbull {
    /// The innermost intervals in order, masses adding up to 1.
    pub masses: Vec<Mass>,
}

/// The side of an end at its time; in this order they follow one another.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
enum End {
    /// Left end of an exact time: the time itself is inside.
    LeftClosed,
    /// Right end: the time itself is inside.
    Right,
    /// Left end of an interval: the time itself is outside.
    LeftOpen,
}

impl Turnbull {
    /// Fits the masses.
    ///
    /// # Errors
    /// `out_of_range`; `not_identifiable` where the fixed point was not reached.
    pub fn fit(data: Intervals) -> Said<Self> {
        data.check()?;
        let inner = innermost(data);
        let rows = rows(data, &inner);
        let p = masses(&rows, inner.len()).ok_or(CannotSay::NotIdentifiable {
            why: "the masses did not settle",
        })?;
        let with_mass = inner.iter().zip(p);
        let masses = with_mass.map(|((from, to), p)| Mass {
            from: *from,
            to: *to,
            p,
        });
        Ok(Self {
            masses: masses.collect(),
        })
    }

    /// Fraction surviving at a time: least and most that fits; equal outside the innermost intervals.
    pub fn survival(&self, at: f64) -> (f64, f64) {
        let gone = |of: &dyn Fn(&&Mass) -> bool| {
            self.masses.iter().filter(of).map(|own| own.p).sum::<f64>()
        };
        let surely = gone(&|own| own.to <= at);
        let perhaps = gone(&|own| own.from < at || own.to <= at);
        ((1.0 - perhaps).max(0.0), (1.0 - surely).max(0.0))
    }
}

/// Fraction surviving at `at` by Turnbull's estimate.
///
/// # Errors
/// `not_identifiable` inside an innermost interval, where only its ends are known; `out_of_range`.
pub fn turnbull_sf(data: Intervals, at: f64) -> Said<f64> {
    not_negative("at", at)?;
    let (least, most) = Turnbull::fit(data)?.survival(at);
    if most - least > 1e-9 {
        let why = "between two checks only the ends are known";
        return Err(CannotSay::NotIdentifiable { why });
    }
    Ok(most)
}

/// Probability on the innermost intervals that lie in (from, to].
///
/// # Errors
/// `out_of_range`; `not_identifiable` where the fixed point was not reached.
pub fn turnbull_mass(data: Intervals, from: f64, to: f64) -> Said<f64> {
    not_negative("from", from)?;
    check(to >= from, "to", to, "it must not be before from")?;
    let fit = Turnbull::fit(data)?;
    let inside = fit
        .masses
        .iter()
        .filter(|own| own.from >= from && own.to <= to);
    Ok(inside.map(|own| own.p).sum())
}

fn innermost(data: Intervals) -> Vec<(f64, f64)> {
    let mut ends = Vec::new();
    for ((lo, hi), n) in data.lo.iter().zip(data.hi).zip(data.n) {
        if *n > 0 {
            let left = if lo == hi {
                End::LeftClosed
            } else {
                End::LeftOpen
            };
            ends.push((*lo, left));
            ends.push((*hi, End::Right));
        }
    }
    ends.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
    let pairs = ends
        .windows(2)
        .filter(|pair| pair[0].1 != End::Right && pair[1].1 == End::Right);
    pairs.map(|pair| (pair[0].0, pair[1].0)).collect()
}

/// For each observation the innermost intervals in it, as a range, and how many units it stands for.
struct Row {
    first: usize,
    last: usize,
    n: f64,
}

fn rows(data: Intervals, inner: &[(f64, f64)]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for ((lo, hi), n) in data
        .lo
        .iter()
        .zip(data.hi)
        .zip(data.n)
        .filter(|(_, n)| **n > 0)
    {
        let inside = |(from, to): &(f64, f64)| {
            let begins = if lo == hi {
                from == lo && to == hi
            } else {
                from >= lo
            };
            // The point {lo} begins at lo but lies outside of (lo, hi].
            let outside = from == to && from == lo && lo != hi;
            begins && to <= hi && !outside
        };
        let first = inner.iter().position(inside).unwrap_or(0);
        let last = inner.iter().rposition(inside).unwrap_or(0);
        match rows
            .iter_mut()
            .find(|row| row.first == first && row.last == last)
        {
            Some(row) => row.n += *n as f64,
            None => rows.push(Row {
                first,
                last,
                n: *n as f64,
            }),
        }
    }
    rows
}

/// How much each mass would be multiplied by in an EM step, and the log-likelihood.
fn factors(rows: &[Row], p: &[f64]) -> (Vec<f64>, f64) {
    let all: f64 = rows.iter().map(|row| row.n).sum();
    let mut before = vec![0.0; p.len() + 1];
    for (at, own) in p.iter().enumerate() {
        before[at + 1] = before[at] + own;
    }
    let mut change = vec![0.0; p.len() + 1];
    let mut likelihood = 0.0;
    for row in rows {
        let seen = before[row.last + 1] - before[row.first];
        let share = row.n / (all * seen);
        change[row.first] += share;
        change[row.last + 1] -= share;
        likelihood += row.n * seen.ln();
    }
    let mut sum = 0.0;
    let running = change[..p.len()].iter().map(|own| {
        sum += own;
        sum
    });
    (running.collect(), likelihood)
}

/// One EM step.
fn em(rows: &[Row], p: &[f64]) -> Vec<f64> {
    let (factors, _) = factors(rows, p);
    p.iter()
        .zip(&factors)
        .map(|(p, factor)| p * factor)
        .collect()
}

/// The masses that make what was seen most likely; `None` where they did not settle.
fn masses(rows: &[Row], count: usize) -> Option<Vec<f64>> {
    const STEPS: usize = 5_000;
    const CLOSE: f64 = 1e-12;
    let mut p = vec![1.0 / count as f64; count];
    for _ in 0..STEPS {
        p = towards_isotonic(rows, &em(rows, &p));
        // The log-likelihood lacks no more than the number of units times what the largest factor exceeds 1 by.
        let (factors, _) = factors(rows, &p);
        if factors.iter().copied().fold(0.0, f64::max) < 1.0 + CLOSE {
            break;
        }
    }
    kuhn_tucker(rows, &p).then_some(p)
}

/// One step of the iterative convex minorant: Newton's step on the distribution function, with the curvature of
/// each value alone, brought back to a rising one by isotonic regression, and halved until it gains.
fn towards_isotonic(rows: &[Row], p: &[f64]) -> Vec<f64> {
    let count = p.len();
    let mut below = vec![0.0; count + 1];
    for (at, own) in p.iter().enumerate() {
        below[at + 1] = below[at] + own;
    }
    let (mut slope, mut bend) = (vec![0.0; count + 1], vec![0.0; count + 1]);
    for row in rows {
        let (first, last) = (row.first, row.last + 1);
        let seen = below[last] - below[first];
        slope[first] -= row.n / seen;
        slope[last] += row.n / seen;
        bend[first] += row.n / (seen * seen);
        bend[last] += row.n / (seen * seen);
    }
    let inner = 1..count;
    let wanted: Vec<(f64, f64)> = inner
        .map(|at| (below[at] + slope[at] / bend[at].max(1e-300), bend[at]))
        .collect();
    let mut next = vec![0.0];
    next.extend(isotonic(&wanted).into_iter().map(|own| own.clamp(0.0, 1.0)));
    next.push(1.0);
    let before = factors(rows, p).1;
    for halved in 0..30 {
        let share = 0.5_f64.powi(halved);
        let value = |at: usize| below[at] + share * (next[at] - below[at]);
        let tried: Vec<f64> = (0..count)
            .map(|at| (value(at + 1) - value(at)).max(0.0))
            .collect();
        if factors(rows, &tried).1 > before {
            return tried;
        }
    }
    p.to_vec()
}

/// The rising values nearest to those wanted, by weighted squares: pools of neighbours that would fall.
fn isotonic(wanted: &[(f64, f64)]) -> Vec<f64> {
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (value, weight) in wanted {
        let mut pool = (*value, weight.max(1e-300), 1);
        while let Some((before, own, count)) = pools.last().copied().filter(|last| last.0 >= pool.0)
        {
            let sum = own + pool.1;
            pool = ((before * own + pool.0 * pool.1) / sum, sum, count + pool.2);
            pools.pop();
        }
        pools.push(pool);
    }
    pools
        .iter()
        .flat_map(|(value, _, count)| std::iter::repeat_n(*value, *count))
        .collect()
}

/// No mass could be raised with profit: every factor is at most 1, and 1 where there is mass.
fn kuhn_tucker(rows: &[Row], p: &[f64]) -> bool {
    let (factors, _) = factors(rows, p);
    let held =
        |(p, factor): (&f64, &f64)| *factor < 1.0 + 1e-6 && (*p < 1e-7 || *factor > 1.0 - 1e-6);
    p.iter().zip(&factors).all(held)
}
