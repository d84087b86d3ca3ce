//! Is there a finite best fit? Decided from the data alone.
//!
//! The log-likelihood is concave in (β, b), so it has no finite maximum exactly where it never falls along some
//! direction. There are three: β → ∞ about one time that every observation allows; β → 0, possible only
//! where every failure was found at the unit's first check; and a ridge where one check time is all
//! that was ever looked at.

use crate::evidence::cannot::{CannotSay, Said};
use crate::evidence::turnbull::Intervals;

/// Passes where the fit has one finite best answer.
///
/// # Errors
/// `no_failures`, `not_identifiable`, `no_finite_mle`.
pub(super) fn finite_maximum(data: Intervals) -> Said<()> {
    let seen = || {
        let all = data.lo.iter().zip(data.hi).zip(data.n);
        all.filter(|(_, n)| **n > 0)
            .map(|((lo, hi), n)| (*lo, *hi, *n as f64))
    };
    if seen().all(|(_, hi, _)| hi.is_infinite()) {
        return Err(CannotSay::NoFailures);
    }
    // Whole when last seen at time 0 says nothing.
    let told = || seen().filter(|(lo, hi, _)| *lo > 0.0 || hi.is_finite());
    let latest = told().map(|(lo, _, _)| lo).fold(0.0, f64::max);
    let earliest = told().map(|(_, hi, _)| hi).fold(f64::INFINITY, f64::min);
    let only_check = |(lo, hi, _): (f64, f64, f64)| {
        (lo == 0.0 && hi == earliest) || (lo == earliest && hi.is_infinite())
    };
    if latest == earliest && told().all(only_check) {
        return Err(CannotSay::NotIdentifiable {
            why: "one check only: it tells the fraction failed by then, not how failures spread over time",
        });
    }
    if latest <= earliest {
        return Err(CannotSay::NoFiniteMle {
            why: "every failure may have come at one and the same time: the shape runs to infinity",
        });
    }
    if told().all(|(lo, hi, _)| lo == 0.0 || hi.is_infinite()) {
        return failures_not_before_survivors(told());
    }
    Ok(())
}

/// Every failure was found at its unit's first check. At β = 0 the best fit has a constant fraction failed,
/// and raising β gains only where failures were looked for later, in mean ln t, than survivors.
fn failures_not_before_survivors(told: impl Iterator<Item = (f64, f64, f64)>) -> Said<()> {
    let (mut failed, mut whole) = ((0.0, 0.0), (0.0, 0.0));
    for (lo, hi, n) in told {
        let (own, time) = if hi.is_finite() {
            (&mut failed, hi)
        } else {
            (&mut whole, lo)
        };
        own.0 += n * time.ln();
        own.1 += n;
    }
    if failed.0 * whole.1 > whole.0 * failed.1 {
        Ok(())
    } else {
        Err(CannotSay::NoFiniteMle {
            why: "failures were found early and none between later checks: the shape runs to 0",
        })
    }
}
