//! Month by month the same leg: is the line changing?
//!
//! The newest sample is compared with all earlier ones by Fisher's exact test, every month is watched by a
//! binomial CUSUM whose limit is chosen for a rare false alarm, and the trend of failures over the units
//! tested is that of a repairable system.

use super::cannot::Said;
use super::line::{
    History, Side, crow_beta, crow_growth_p, cusum_binomial_arl, cusum_binomial_k, fisher_exact,
    laplace_u,
};
use super::mtbf::Ended;

/// One sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Month {
    /// Units that are decided.
    pub units: u64,
    /// Of them failed.
    pub failed: u64,
}

/// What the samples are watched for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watched {
    /// Fraction failing in control.
    pub in_control: f64,
    /// Fraction failing that must be caught, above that.
    pub to_catch: f64,
}

/// What the samples say.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Chance that the newest sample looks so much worse than the earlier ones where nothing changed.
    pub newest_p: Option<f64>,
    /// The CUSUM.
    pub cusum: Said<Cusum>,
    /// The trend over the units tested, where two or more failed.
    pub trend: Option<Trend>,
}

/// A CUSUM over months.
#[derive(Clone, Debug, PartialEq)]
pub struct Cusum {
    /// The sums after each month, in failures.
    pub sums: Vec<f64>,
    /// The reference value for a month as large as the newest.
    pub reference: f64,
    /// The limit.
    pub limit: f64,
    /// Months between false alarms on average, for months as large as the newest.
    pub false_alarm_months: f64,
    /// Months until a line at the fraction to catch signals, on average.
    pub catch_months: f64,
    /// The first month, from 1, whose sum passes the limit.
    pub signal: Option<u64>,
}

/// The trend of failures over the units tested.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Growth exponent: below 1 failures grow rarer.
    pub beta: f64,
    /// Chance of so much growth without a trend.
    pub growth_p: f64,
    /// Laplace's statistic; about 1.64 and above is a worsening at 5 %.
    pub laplace: f64,
}

/// The chance below which a newest month counts as worse.
pub const WORSE_BELOW: f64 = 0.05;
/// False alarms must be rarer than one in so many months.
const QUIET_MONTHS: f64 = 60.0;

impl Series {
    /// Of samples in the order of time, at least one of which has units.
    pub fn of(months: &[Month], watched: Watched) -> Self {
        let all: Vec<Month> = months.iter().copied().filter(|own| own.units > 0).collect();
        let newest_p = all.split_last().and_then(|(newest, earlier)| {
            let failed = earlier.iter().map(|own| own.failed).sum();
            let units = earlier.iter().map(|own| own.units).sum();
            fisher_exact(
                failed,
                units,
                newest.failed,
                newest.units,
                Side::SecondWorse,
            )
            .ok()
        });
        Self {
            newest_p,
            cusum: cusum(&all, watched),
            trend: trend(&all),
        }
    }

    /// True where somebody should look: the CUSUM is past its limit now, or the newest month is worse.
    pub fn alarm(&self) -> bool {
        let past = |own: &Cusum| own.sums.last().is_some_and(|sum| *sum > own.limit + 1e-9);
        self.cusum.as_ref().is_ok_and(past) || self.newest_p.is_some_and(|p| p < WORSE_BELOW)
    }
}

/// Months differ in size, so each has a reference of its own, rounded to a twentieth of a failure so that the
/// run length is exact. The limit is the smallest half failure that keeps false alarms rare.
fn cusum(months: &[Month], watched: Watched) -> Said<Cusum> {
    let reference = |n: u64| -> Said<f64> {
        let exact = cusum_binomial_k(n, watched.in_control, watched.to_catch)?;
        Ok(((exact * 20.0).round() / 20.0).max(0.05))
    };
    let size = months.last().map_or(1, |own| own.units);
    let usual = reference(size)?;
    let run = |limit: f64, p: f64| cusum_binomial_arl(size, p, usual, limit);
    let mut limit = 0.5;
    while limit < 20.0 && run(limit, watched.in_control)? < QUIET_MONTHS {
        limit += 0.5;
    }
    let mut sum = 0.0_f64;
    let mut sums = Vec::new();
    for own in months {
        sum = (sum + own.failed as f64 - reference(own.units)?).max(0.0);
        sums.push(sum);
    }
    let signal = sums.iter().position(|sum| *sum > limit + 1e-9);
    Ok(Cusum {
        signal: signal.map(|at| at as u64 + 1),
        sums,
        reference: usual,
        limit,
        false_alarm_months: run(limit, watched.in_control)?,
        catch_months: run(limit, watched.to_catch)?,
    })
}

/// Failures as events on the count of units tested; those of a month lie evenly in it.
fn trend(months: &[Month]) -> Option<Trend> {
    let mut tested = 0.0;
    let mut t = Vec::new();
    for own in months {
        let (units, failed) = (own.units as f64, own.failed);
        t.extend((0..failed).map(|at| tested + units * (at as f64 + 0.5) / failed as f64));
        tested += units;
    }
    if t.len() < 2 {
        return None;
    }
    let history = History {
        t: &t,
        end: tested,
        kind: Ended::Time,
    };
    Some(Trend {
        beta: crow_beta(history).ok()?,
        growth_p: crow_growth_p(history).ok()?,
        laplace: laplace_u(history).ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WATCHED: Watched = Watched {
        in_control: 0.01,
        to_catch: 0.05,
    };

    fn months(failed: &[u64]) -> Vec<Month> {
        failed
            .iter()
            .map(|failed| Month {
                units: 20,
                failed: *failed,
            })
            .collect()
    }

    #[test]
    fn the_newest_month_is_compared_with_all_earlier_ones() {
        let own = Series::of(&months(&[0, 4]), WATCHED);
        assert!((own.newest_p.expect("two months") - 0.053_014_553).abs() < 1e-8);
        let own = Series::of(&months(&[0, 0, 4]), WATCHED);
        assert!(own.newest_p.expect("three months") < WORSE_BELOW && own.alarm());
    }

    #[test]
    fn the_cusum_says_how_rare_false_alarms_are_and_signals_a_line_that_got_worse() {
        let own = Series::of(&months(&[0, 1, 0, 1, 2, 2, 2]), WATCHED);
        let cusum = own.cusum.expect("in range");
        assert!((cusum.reference - 0.5).abs() < 1e-12);
        assert!(cusum.false_alarm_months >= QUIET_MONTHS && cusum.catch_months < 12.0);
        assert_eq!(cusum.sums.len(), 7);
        assert_eq!(cusum.signal, Some(5));
        let quiet = Series::of(&months(&[0, 1, 0, 0, 1, 0]), WATCHED);
        assert!(!quiet.alarm(), "{quiet:?}");
    }

    #[test]
    fn a_month_without_decided_units_says_nothing() {
        let mut own = months(&[0, 1]);
        own.push(Month {
            units: 0,
            failed: 0,
        });
        assert_eq!(Series::of(&own, WATCHED), Series::of(&own[..2], WATCHED));
    }

    #[test]
    fn failures_that_grow_rarer_are_growth() {
        let own = Series::of(&months(&[4, 2, 1, 0, 0, 0]), WATCHED)
            .trend
            .expect("failures");
        assert!(
            own.beta < 1.0 && own.laplace < 0.0 && own.growth_p < 0.1,
            "{own:?}"
        );
    }
}
