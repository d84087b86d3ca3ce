//! How long an exposure lasts on a rig, or why the rig cannot do it (R3).

use crate::domain::Minutes;
use crate::domain::lab::{Amount, Length, Loading, Method, Rig, Segment};
use crate::domain::steps::WalkStep;
use crate::domain::time::{minutes_ceil, minutes_ceil_of_cycles};

/// Minutes of exposure of `step` on `rig`, pauses excluded.
///
/// # Errors
/// The reason in words why the rig cannot do it.
pub(super) fn exposure(
    ambient_c: f64,
    rig: &Rig,
    method: &Method,
    step: &WalkStep,
) -> Result<Minutes, String> {
    if !rig.does.contains(&method.does) {
        return Err(format!("{} does not do {}", rig.id, method.does));
    }
    for (name, value) in &step.severity {
        within(rig, name, *value)?;
    }
    let minutes = match (step.amount, &method.length) {
        (Amount::Hold(hold), _) => hold,
        (Amount::Cycles(_), _) if rig.loading == Loading::Held => {
            return Err(not_held(rig, method));
        }
        (Amount::Cycles(cycles), _) => match rig.cycles_per_min {
            Some(rate) => minutes_ceil_of_cycles(cycles as f64, rate),
            None => return Err(format!("{} counts no cycles", rig.id)),
        },
        (Amount::Repeat(repeat), Length::Profile { segments, .. }) => {
            profile_limits(rig, segments)?;
            if rig.loading == Loading::Held {
                held(rig, method, segments, repeat)?
            } else {
                profile(ambient_c, rig, segments, repeat)?
            }
        }
        (Amount::Repeat(_), _) => unreachable!("a checked lab repeats profiles only"),
    };
    if minutes <= Minutes::ZERO {
        return Err(format!("{} would have nothing to do", rig.id));
    }
    Ok(minutes)
}

/// The value lies in the rig's limit of that name.
fn within(rig: &Rig, name: &str, value: f64) -> Result<(), String> {
    match rig.limits.get(name) {
        None => Err(format!("{} has no limit {name}, {value} is asked", rig.id)),
        Some(limit) if !limit.allows(value) => Err(format!(
            "{} allows {name} {} to {}, {value} is asked",
            rig.id, limit.min, limit.max
        )),
        Some(_) => Ok(()),
    }
}

fn profile_limits(rig: &Rig, segments: &[Segment]) -> Result<(), String> {
    for segment in segments {
        if let Some(celsius) = segment.to_c {
            within(rig, "temperature_c", celsius)?;
        }
        if let Some(percent) = segment.to_rh {
            within(rig, "humidity_rh", percent)?;
        }
    }
    Ok(())
}

fn not_held(rig: &Rig, method: &Method) -> String {
    format!(
        "{} is held at one condition, and {} is no single hold",
        rig.id, method.id
    )
}

/// Of a one-segment profile only the hold counts, once a repeat.
fn held(rig: &Rig, method: &Method, segments: &[Segment], repeat: u32) -> Result<Minutes, String> {
    match segments {
        [only] => Ok(only.hold * i64::from(repeat)),
        _ => Err(not_held(rig, method)),
    }
}

/// From ambient through all passes and back, rounded up once. Every pass but the first begins where the
/// one before ended, so two passes are walked and the second counts for all that follow.
fn profile(
    ambient_c: f64,
    rig: &Rig,
    segments: &[Segment],
    repeat: u32,
) -> Result<Minutes, String> {
    let (first, after_first) = pass(rig, segments, ambient_c)?;
    let mut total = first;
    let mut at = after_first;
    if repeat > 1 {
        let (further, after) = pass(rig, segments, at)?;
        total += further * f64::from(repeat - 1);
        at = after;
    }
    Ok(minutes_ceil(total + ramp(rig, at, ambient_c, None)?))
}

/// Minutes of one pass that begins at `from_c`, and the temperature at its end.
fn pass(rig: &Rig, segments: &[Segment], from_c: f64) -> Result<(f64, f64), String> {
    let (mut minutes, mut at) = (0.0, from_c);
    for segment in segments {
        if let Some(to) = segment.to_c {
            minutes += ramp(rig, at, to, segment.rate_k_per_min)?;
            at = to;
        }
        minutes += segment.hold.get() as f64;
    }
    Ok((minutes, at))
}

/// Minutes from one temperature to another at the asked rate, or the rig's own.
fn ramp(rig: &Rig, from: f64, to: f64, asked: Option<f64>) -> Result<f64, String> {
    if from.total_cmp(&to).is_eq() {
        return Ok(0.0);
    }
    let heats = to > from;
    let (own, what) = if heats {
        (rig.heat_k_per_min, "heating")
    } else {
        (rig.cool_k_per_min, "cooling")
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
