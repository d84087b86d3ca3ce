//! How long an exposure lasts on a rig, or why the rig cannot do it (R3).

use crate::domain::Minutes;
use crate::domain::lab::{Amount, Length, Loading, Method, Rig, Segment};
use crate::domain::steps::WalkStep;
use crate::domain::time::{minutes_ceil, minutes_ceil_of_cycles};
use std::cmp::Ordering;

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

/// From ambient through all passes and back, rounded up once. Every pass ends at the same temperature and
/// every one but the first begins there, so two are walked and the second counts for all that follow.
fn profile(
    ambient_c: f64,
    rig: &Rig,
    segments: &[Segment],
    repeat: u32,
) -> Result<Minutes, String> {
    let (mut total, end_c) = pass(rig, segments, ambient_c)?;
    if repeat > 1 {
        let (further, _) = pass(rig, segments, end_c)?;
        total += further * f64::from(repeat - 1);
    }
    Ok(minutes_ceil(total + ramp(rig, end_c, ambient_c, None)?))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::Limit;
    use crate::domain::parts;
    use crate::domain::steps::own_amount;

    /// A chamber that heats at 2 K/min and cools at 1 K/min, from −40 to 130 °C and 10 to 98 % RH.
    fn chamber() -> Rig {
        let mut own = parts::rig("chamber", &["climate"], Loading::Together, 4);
        own.heat_k_per_min = Some(2.0);
        own.cool_k_per_min = Some(1.0);
        limit(&mut own, "temperature_c", -40.0, 130.0);
        limit(&mut own, "humidity_rh", 10.0, 98.0);
        own
    }

    fn limit(rig: &mut Rig, name: &str, min: f64, max: f64) {
        rig.limits.insert(name.to_owned(), Limit { min, max });
    }

    fn to(celsius: f64, hold: i64) -> Segment {
        Segment {
            to_c: Some(celsius),
            to_rh: None,
            rate_k_per_min: None,
            hold: Minutes::new(hold),
        }
    }

    fn at_rate(celsius: f64, rate: f64, hold: i64) -> Segment {
        Segment {
            rate_k_per_min: Some(rate),
            ..to(celsius, hold)
        }
    }

    fn stay(hold: i64) -> Segment {
        Segment {
            to_c: None,
            ..to(0.0, hold)
        }
    }

    fn climate(segments: Vec<Segment>, repeat: u32) -> Method {
        parts::method("cycle", "climate", Length::Profile { segments, repeat })
    }

    /// Minutes of the method as it stands on the rig, at an ambient of 23 °C.
    fn lasts(rig: &Rig, method: &Method) -> Result<i64, String> {
        lasts_from(23.0, rig, method)
    }

    fn lasts_from(ambient_c: f64, rig: &Rig, method: &Method) -> Result<i64, String> {
        let step = WalkStep {
            method: method.id.clone(),
            amount: own_amount(&method.length),
            severity: method.severity.clone(),
            rest: crate::domain::lab::Rest::ANY,
        };
        exposure(ambient_c, rig, method, &step).map(Minutes::get)
    }

    fn refused(rig: &Rig, method: &Method, why: &str) {
        assert_eq!(lasts(rig, method), Err(why.to_owned()));
    }

    #[test]
    fn a_profile_ramps_from_ambient_holds_and_returns() {
        // 62 K up at 2 K/min, 96 h, 62 K down at 1 K/min.
        let one = climate(vec![to(85.0, 5760)], 1);
        assert_eq!(lasts(&chamber(), &one), Ok(31 + 5760 + 62));
        // 63 K down at 1 K/min, 16 h, 63 K up at 2 K/min: 31.5 minutes.
        let cold = climate(vec![to(-40.0, 960)], 1);
        assert_eq!(lasts(&chamber(), &cold), Ok(63 + 960 + 32));
        // It ends at ambient by itself: no way back.
        let back = climate(vec![to(63.0, 10), to(23.0, 5)], 1);
        assert_eq!(lasts(&chamber(), &back), Ok(20 + 10 + 40 + 5));
    }

    #[test]
    fn further_passes_go_on_where_the_one_before_ended() {
        let two = |repeat| climate(vec![to(85.0, 60), to(-40.0, 60)], repeat);
        // 31 + 60 + 125 + 60 and 31.5 back.
        assert_eq!(lasts(&chamber(), &two(1)), Ok(308));
        // The second and third begin at −40 °C: 62.5 + 60 + 125 + 60 each.
        assert_eq!(lasts(&chamber(), &two(2)), Ok(276 + 339));
        assert_eq!(lasts(&chamber(), &two(3)), Ok(276 + 615 + 32));
        // One temperature held again and again ramps up once and down once.
        let damp = climate(vec![to(63.0, 1440)], 6);
        assert_eq!(lasts(&chamber(), &damp), Ok(20 + 6 * 1440 + 40));
    }

    #[test]
    fn a_length_is_rounded_up_once_at_its_end() {
        let mut rig = chamber();
        (rig.heat_k_per_min, rig.cool_k_per_min) = (Some(3.0), Some(3.0));
        // Three ramps of a third of a minute each, and one minute back.
        let steps = climate(vec![to(24.0, 0), to(25.0, 0), to(26.0, 0)], 1);
        assert_eq!(lasts(&rig, &steps), Ok(2));
        let more = climate(vec![to(24.0, 0), to(25.0, 0), to(27.0, 0)], 1);
        assert_eq!(lasts(&rig, &more), Ok(3));
        let mut counter = parts::rig("counter", &["slide"], Loading::Each, 1);
        counter.cycles_per_min = Some(40.0);
        let slide = |cycles| parts::method("slide", "slide", Length::Cycles(cycles));
        assert_eq!(lasts(&counter, &slide(240)), Ok(6));
        assert_eq!(lasts(&counter, &slide(241)), Ok(7));
    }

    #[test]
    fn a_segment_without_temperature_keeps_it_and_humidity_takes_no_time() {
        let mut wet = stay(20);
        wet.to_rh = Some(93.0);
        let kept = climate(vec![to(63.0, 10), wet], 1);
        assert_eq!(lasts(&chamber(), &kept), Ok(20 + 10 + 20 + 40));
    }

    #[test]
    fn the_asked_rate_counts_where_the_rig_reaches_it() {
        let asked = |rate| climate(vec![at_rate(63.0, rate, 10)], 1);
        assert_eq!(lasts(&chamber(), &asked(0.5)), Ok(80 + 10 + 40));
        assert_eq!(lasts(&chamber(), &asked(2.0)), Ok(20 + 10 + 40));
        let why = "chamber reaches 2 K/min heating, 2.1 is asked";
        refused(&chamber(), &asked(2.1), why);
        let down = climate(vec![at_rate(-17.0, 1.5, 10)], 1);
        let why = "chamber reaches 1 K/min cooling, 1.5 is asked";
        refused(&chamber(), &down, why);
        // In a second pass it would cool from 63 °C; in a first alone it heats.
        let both = |repeat| climate(vec![at_rate(33.0, 1.5, 0), to(63.0, 10)], repeat);
        assert!(lasts(&chamber(), &both(1)).is_ok());
        refused(&chamber(), &both(2), why);
    }

    #[test]
    fn a_ramp_needs_the_rig_to_have_the_rate_and_nothing_else_does() {
        let mut rig = chamber();
        rig.cool_k_per_min = None;
        let hot = climate(vec![to(63.0, 10)], 1);
        refused(&rig, &hot, "chamber has no cooling rate");
        rig.heat_k_per_min = None;
        refused(&rig, &hot, "chamber has no heating rate");
        let asked = climate(vec![at_rate(63.0, 1.0, 10)], 1);
        refused(&rig, &asked, "chamber has no heating rate");
        let ambient = climate(vec![at_rate(23.0, 50.0, 10), stay(5)], 2);
        assert_eq!(lasts(&rig, &ambient), Ok(30));
        let zero = climate(vec![to(-0.0, 10)], 1);
        assert_eq!(lasts_from(0.0, &rig, &zero), Ok(10));
    }

    #[test]
    fn a_held_rig_takes_a_hold_or_one_segment_and_counts_its_hold_once_a_pass() {
        let mut oven = parts::rig("oven", &["climate"], Loading::Held, 9);
        limit(&mut oven, "temperature_c", 30.0, 150.0);
        let hold = parts::method("bake", "climate", Length::Hold(Minutes::hours(72)));
        assert_eq!(lasts(&oven, &hold), Ok(4320));
        // Faster than any oven: no ramp, no rate.
        let one = climate(vec![at_rate(85.0, 50.0, 120)], 3);
        assert_eq!(lasts(&oven, &one), Ok(360));
        let why = "oven is held at one condition, and cycle is no single hold";
        refused(&oven, &climate(vec![to(85.0, 120), stay(5)], 1), why);
        let cycles = parts::method("cycle", "climate", Length::Cycles(100));
        oven.cycles_per_min = Some(10.0);
        refused(&oven, &cycles, why);
        let why = "oven allows temperature_c 30 to 150, 160 is asked";
        refused(&oven, &climate(vec![to(160.0, 120)], 1), why);
    }

    #[test]
    fn limits_hold_their_ends_and_a_missing_one_refuses() {
        for end in [-40.0, 130.0] {
            assert!(lasts(&chamber(), &climate(vec![to(end, 10)], 1)).is_ok());
        }
        let cold = climate(vec![to(-40.5, 10)], 1);
        let why = "chamber allows temperature_c -40 to 130, -40.5 is asked";
        refused(&chamber(), &cold, why);
        let mut wet = to(40.0, 10);
        wet.to_rh = Some(99.0);
        let why = "chamber allows humidity_rh 10 to 98, 99 is asked";
        refused(&chamber(), &climate(vec![wet.clone()], 1), why);
        let mut dry = chamber();
        dry.limits.remove("humidity_rh");
        let why = "chamber has no limit humidity_rh, 99 is asked";
        refused(&dry, &climate(vec![wet], 1), why);
        let mut pressed = climate(vec![to(40.0, 10)], 1);
        pressed.severity.insert("force_n".to_owned(), 8.0);
        let why = "chamber has no limit force_n, 8 is asked";
        refused(&chamber(), &pressed, why);
        let mut press = chamber();
        limit(&mut press, "force_n", 0.0, 7.9);
        let why = "chamber allows force_n 0 to 7.9, 8 is asked";
        refused(&press, &pressed, why);
        limit(&mut press, "force_n", 8.0, 8.0);
        assert!(lasts(&press, &pressed).is_ok());
    }

    #[test]
    fn what_a_rig_cannot_do_is_said_in_words() {
        let look = parts::method("look", "look", Length::Hold(Minutes::new(5)));
        refused(&chamber(), &look, "chamber does not do look");
        let cycles = parts::method("slide", "climate", Length::Cycles(5));
        refused(&chamber(), &cycles, "chamber counts no cycles");
        let nothing = climate(vec![to(23.0, 0)], 3);
        refused(&chamber(), &nothing, "chamber would have nothing to do");
    }
}
