//! What a rig does during an exposure, leg by leg: ramps, transfers, the time in which the load settles,
//! and holds. The sum of it is the time that the exposure takes.

use crate::domain::Minutes;
use crate::domain::lab::{Amount, CountsFrom, Length, Loading, Method, Pace, Rig, Segment, Settle};
use std::cmp::Ordering;

/// A load is stable where every part of it is within this of its final temperature (IEC 60068-1,
/// clause 4.8, from memory).
const STABLE_K: f64 = 3.0;

/// What is done in a leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LegKind {
    /// The temperature changes evenly.
    Ramp,
    /// The load is moved into another zone.
    Transfer,
    /// The chamber is there, the load not yet.
    Settle,
    /// The condition is held.
    Hold,
}

/// A part of an exposure during which one thing is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// What.
    pub kind: LegKind,
    /// Temperature at its begin, in °C.
    pub from_c: f64,
    /// Temperature at its end, in °C.
    pub to_c: f64,
    /// Relative humidity that it is at or goes to, where one is set.
    pub rh: Option<f64>,
    /// How long it takes, in minutes and parts of them.
    pub minutes: f64,
}

/// An exposure as legs: what comes once before, a first pass, further passes that are all alike, and the
/// way back.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// Passed once.
    pub before: Vec<Leg>,
    /// The first pass.
    pub first: Vec<Leg>,
    /// A second pass, and every one after it; empty where there is one pass only.
    pub further: Vec<Leg>,
    /// How many passes in all.
    pub passes: u32,
    /// Back to ambient.
    pub back: Option<Leg>,
}

impl Course {
    /// The whole time, not rounded.
    pub fn minutes(&self) -> f64 {
        let sum = |legs: &[Leg]| legs.iter().fold(0.0, |total, leg| total + leg.minutes);
        let mut total = sum(&self.before) + sum(&self.first);
        if self.passes > 1 {
            total += sum(&self.further) * f64::from(self.passes - 1);
        }
        total + self.back.map_or(0.0, |leg| leg.minutes)
    }
}

/// The course of a profile that is passed `passes` times on a rig at this ambient temperature.
///
/// # Errors
/// The reason in words why the rig cannot do it.
pub(super) fn of_profile(
    ambient_c: f64,
    rig: &Rig,
    method: &Method,
    segments: &[Segment],
    passes: u32,
) -> Result<Course, String> {
    if rig.loading == Loading::Held {
        return held(ambient_c, rig, method, segments, passes);
    }
    let mut walk = Walk::new(rig, method, ambient_c);
    let before = walk.pass(&method.before)?;
    let first = walk.pass(segments)?;
    // Every pass ends at the same temperature and every one but the first begins there, so two are
    // walked and the second counts for all that follow.
    let further = if passes > 1 {
        walk.pass(segments)?
    } else {
        Vec::new()
    };
    Ok(Course {
        before,
        first,
        further,
        passes,
        back: walk.back(ambient_c, segments)?,
    })
}

/// Of a one-segment profile only the hold counts, once a pass; the load comes in at ambient, and settles.
fn held(
    ambient_c: f64,
    rig: &Rig,
    method: &Method,
    segments: &[Segment],
    passes: u32,
) -> Result<Course, String> {
    let ([only], []) = (segments, &method.before[..]) else {
        return Err(not_held(rig, method));
    };
    let at = only.to_c.unwrap_or(ambient_c);
    let leg = |kind, minutes| Leg {
        kind,
        from_c: at,
        to_c: at,
        rh: only.to_rh,
        minutes,
    };
    let settle = settling(settles(rig, method), at - ambient_c, 0.0);
    let settle = (settle > 0.0).then(|| leg(LegKind::Settle, settle));
    let hold = leg(LegKind::Hold, only.hold.get() as f64 * f64::from(passes));
    Ok(Course {
        first: settle.into_iter().chain([hold]).collect(),
        passes: 1,
        ..Course::default()
    })
}

/// Why a rig that is held at one condition cannot do a method.
pub(super) fn not_held(rig: &Rig, method: &Method) -> String {
    format!(
        "{} is held at one condition, and {} is no single hold",
        rig.id, method.id
    )
}

/// What a rig of its own programme does during a hold: the method's shape again and again. `None` where
/// the method has none.
pub fn of_shape(method: &Method, amount: Amount) -> Option<Course> {
    let (Amount::Hold(hold), Length::Hold(_)) = (amount, &method.length) else {
        return None;
    };
    let mut temperatures = method.shape.iter().filter_map(|segment| segment.to_c);
    let (mut at, mut rh) = (temperatures.next_back()?, None);
    let mut pass = Vec::new();
    for segment in &method.shape {
        rh = segment.to_rh.or(rh);
        let to = segment.to_c.unwrap_or(at);
        let mut leg = |kind, from_c, minutes: Minutes| {
            pass.push(Leg {
                kind,
                from_c,
                to_c: to,
                rh,
                minutes: minutes.get() as f64,
            });
        };
        if let Pace::Over(time) = segment.pace {
            leg(LegKind::Ramp, at, time);
        }
        leg(LegKind::Hold, to, segment.hold);
        at = to;
    }
    pass.retain(|leg| leg.minutes > 0.0);
    let cycle: f64 = pass.iter().map(|leg| leg.minutes).sum();
    Some(Course {
        further: pass.clone(),
        first: pass,
        passes: passes_in(hold, cycle),
        ..Course::default()
    })
}

/// Whole cycles that begin in a hold, at least one.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a hold of 100 years has fewer minutes than a u32"
)]
fn passes_in(hold: Minutes, cycle: f64) -> u32 {
    (hold.get() as f64 / cycle).ceil().max(1.0) as u32
}

/// How the load settles, where the method counts from that.
fn settles(rig: &Rig, method: &Method) -> Option<Settle> {
    match method.counts_from {
        CountsFrom::SetPoint => None,
        CountsFrom::Stable => method.settle.or(rig.settle),
    }
}

/// Minutes after a change of `step_k` that took `ramp` minutes until the load is stable.
///
/// A load of one time constant τ lags behind a ramp of rate r and time t by `r·τ·(1 − e^(−t/τ))`, and
/// behind a sudden change by all of it; from then on the lag shrinks to [`STABLE_K`] in `τ·ln(lag / 3 K)`.
fn settling(settle: Option<Settle>, step_k: f64, ramp: f64) -> f64 {
    let step_k = step_k.abs();
    if step_k <= STABLE_K {
        return 0.0;
    }
    match settle {
        None => 0.0,
        Some(Settle::Allowance(time)) => time.get() as f64,
        Some(Settle::TimeConstant(tau)) => {
            let tau = tau.get() as f64;
            let lag = if ramp > 0.0 {
                step_k / ramp * tau * (1.0 - (-ramp / tau).exp())
            } else {
                step_k
            };
            tau * (lag / STABLE_K).ln().max(0.0)
        }
    }
}

/// The chamber on its way through the segments.
struct Walk<'a> {
    rig: &'a Rig,
    settle: Option<Settle>,
    at_c: f64,
    rh: Option<f64>,
}

impl<'a> Walk<'a> {
    fn new(rig: &'a Rig, method: &Method, ambient_c: f64) -> Self {
        Self {
            rig,
            settle: settles(rig, method),
            at_c: ambient_c,
            rh: None,
        }
    }

    /// The legs of one pass; the walk goes on where it ends.
    fn pass(&mut self, segments: &[Segment]) -> Result<Vec<Leg>, String> {
        let mut legs = Vec::new();
        for segment in segments {
            self.rh = segment.to_rh.or(self.rh);
            if let Some(to) = segment.to_c {
                let change = self.change(to, segment.pace)?;
                let settle = settling(self.settle, to - self.at_c, change.minutes);
                self.at_c = to;
                legs.extend([change, self.stay(LegKind::Settle, settle)]);
            }
            legs.push(self.stay(LegKind::Hold, segment.hold.get() as f64));
        }
        legs.retain(|leg| leg.minutes > 0.0);
        Ok(legs)
    }

    fn stay(&self, kind: LegKind, minutes: f64) -> Leg {
        Leg {
            kind,
            from_c: self.at_c,
            to_c: self.at_c,
            rh: self.rh,
            minutes,
        }
    }

    fn change(&self, to_c: f64, pace: Pace) -> Result<Leg, String> {
        let (kind, minutes) = match pace {
            Pace::Own => (LegKind::Ramp, self.ramp(to_c, None)?),
            Pace::Rate(rate) => (LegKind::Ramp, self.ramp(to_c, Some(rate))?),
            Pace::Over(time) => (LegKind::Ramp, self.over(to_c, time.get() as f64)?),
            Pace::Transfer { seconds_max } => (LegKind::Transfer, self.transfer(seconds_max)?),
        };
        Ok(Leg {
            kind,
            from_c: self.at_c,
            to_c,
            rh: self.rh,
            minutes,
        })
    }

    /// Minutes to another temperature at the asked rate, or the rig's own.
    fn ramp(&self, to: f64, asked: Option<f64>) -> Result<f64, String> {
        let (rig, from) = (self.rig, self.at_c);
        let (own, what) = match to.partial_cmp(&from) {
            Some(Ordering::Greater) => (rig.heat_k_per_min, "heating"),
            Some(Ordering::Less) => (rig.cool_k_per_min, "cooling"),
            // Nothing to change: no rate is needed, nor the one asked for reached.
            Some(Ordering::Equal) | None => return Ok(0.0),
        };
        let own = own.ok_or_else(|| format!("{} has no {what} rate", rig.id))?;
        match asked {
            Some(rate) if rate > own => Err(format!(
                "{} reaches {own} K/min {what}, {rate} is asked",
                rig.id
            )),
            rate => Ok((to - from).abs() / rate.unwrap_or(own)),
        }
    }

    /// The time itself, where the rig is fast enough for it.
    fn over(&self, to: f64, time: f64) -> Result<f64, String> {
        let fastest = self.ramp(to, None)?;
        if fastest > time + 1e-9 {
            return Err(format!(
                "{} needs {fastest:.0} min from {} to {to} °C, {time} is asked",
                self.rig.id, self.at_c
            ));
        }
        Ok(time)
    }

    /// Minutes in which the rig moves its load.
    fn transfer(&self, seconds_max: f64) -> Result<f64, String> {
        match self.rig.transfer_s {
            None => Err(format!("{} moves no load between zones", self.rig.id)),
            Some(own) if own > seconds_max => Err(format!(
                "{} moves its load in {own} s, at most {seconds_max} is asked",
                self.rig.id
            )),
            Some(own) => Ok(own / 60.0),
        }
    }

    /// The way back to ambient; a load that is moved between zones is taken out of the last one.
    fn back(&self, ambient_c: f64, segments: &[Segment]) -> Result<Option<Leg>, String> {
        let moved = |segment: &&Segment| segment.to_c.is_some();
        let last = segments.iter().rev().find(moved);
        if last.is_some_and(|own| matches!(own.pace, Pace::Transfer { .. })) {
            return Ok(None);
        }
        let leg = self.change(ambient_c, Pace::Own)?;
        Ok((leg.minutes > 0.0).then_some(leg))
    }
}
