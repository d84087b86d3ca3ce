//! How long an exposure lasts on a rig, or why the rig cannot do it (R3).

use super::course::{self, Course};
use crate::domain::lab::{Amount, Lab, Length, Loading, Method, Rig, Segment};
use crate::domain::steps::WalkStep;
use crate::domain::time::{minutes_ceil, minutes_ceil_of_cycles};
use crate::domain::{MethodId, Minutes};

/// Minutes of exposure of a step on a rig of the lab, pauses excluded.
///
/// # Errors
/// The reason in words why the rig cannot do it, or that the lab does not have the method.
pub fn time_on(lab: &Lab, rig: &Rig, step: &WalkStep) -> Result<Minutes, String> {
    exposure(lab.ambient_c, rig, method_of(lab, &step.method)?, step)
}

/// What the rig does during the exposure; `None` where it is no profile.
///
/// # Errors
/// As [`time_on`].
pub fn course_on(lab: &Lab, rig: &Rig, step: &WalkStep) -> Result<Option<Course>, String> {
    let method = method_of(lab, &step.method)?;
    exposure(lab.ambient_c, rig, method, step)?;
    match (step.amount, &method.length) {
        (Amount::Repeat(passes), Length::Profile { segments, .. }) => {
            course::of_profile(lab.ambient_c, rig, method, segments, passes).map(Some)
        }
        _ => Ok(None),
    }
}

fn method_of<'l>(lab: &'l Lab, id: &MethodId) -> Result<&'l Method, String> {
    let method = lab.methods.get(id);
    method.ok_or_else(|| format!("there is no method {id}"))
}

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
            return Err(course::not_held(rig, method));
        }
        (Amount::Cycles(cycles), _) => match rig.cycles_per_min {
            Some(rate) => minutes_ceil_of_cycles(cycles as f64, rate),
            None => return Err(format!("{} counts no cycles", rig.id)),
        },
        (Amount::Repeat(passes), Length::Profile { segments, .. }) => {
            profile_limits(rig, method.before.iter().chain(segments))?;
            let course = course::of_profile(ambient_c, rig, method, segments, passes)?;
            minutes_ceil(course.minutes())
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

fn profile_limits<'s>(
    rig: &Rig,
    segments: impl Iterator<Item = &'s Segment>,
) -> Result<(), String> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::{CountsFrom, Limit, Pace, Settle};
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
            pace: Pace::Own,
            hold: Minutes::new(hold),
        }
    }

    fn at_rate(celsius: f64, rate: f64, hold: i64) -> Segment {
        Segment {
            pace: Pace::Rate(rate),
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

    fn paced(celsius: f64, pace: Pace, hold: i64) -> Segment {
        Segment {
            pace,
            ..to(celsius, hold)
        }
    }

    /// Two zones with a lift between them, which takes half a minute.
    fn two_zones() -> Rig {
        let mut own = parts::rig("zones", &["climate"], Loading::Together, 4);
        limit(&mut own, "temperature_c", -65.0, 180.0);
        own.transfer_s = Some(30.0);
        own
    }

    #[test]
    fn a_load_that_is_moved_takes_the_rigs_transfer_each_time_and_no_way_back() {
        let moved = |seconds_max| {
            let pace = Pace::Transfer { seconds_max };
            climate(vec![paced(-40.0, pace, 30), paced(85.0, pace, 30)], 5)
        };
        // Ten times 30.5 minutes.
        assert_eq!(lasts(&two_zones(), &moved(180.0)), Ok(305));
        assert_eq!(lasts(&two_zones(), &moved(30.0)), Ok(305));
        let why = "zones moves its load in 30 s, at most 29 is asked";
        refused(&two_zones(), &moved(29.0), why);
        let why = "chamber moves no load between zones";
        refused(&chamber(), &moved(180.0), why);
    }

    #[test]
    fn a_ramp_over_a_time_takes_it_where_the_rig_is_fast_enough() {
        // 32 K in 180 minutes up, in 360 down, from and back to ambient.
        let over = |time| {
            let pace = Pace::Over(Minutes::new(time));
            climate(vec![paced(55.0, pace, 540), paced(23.0, pace, 10)], 1)
        };
        assert_eq!(lasts(&chamber(), &over(180)), Ok(180 + 540 + 180 + 10));
        assert_eq!(lasts(&chamber(), &over(32)), Ok(32 + 540 + 32 + 10));
        let why = "chamber needs 32 min from 55 to 23 °C, 31 is asked";
        refused(&chamber(), &over(31), why);
    }

    #[test]
    fn what_comes_before_a_profile_is_passed_once() {
        let mut own = climate(vec![to(63.0, 60), to(33.0, 60)], 3);
        own.before = vec![to(43.0, 120)];
        // 10 + 120, then 10 + 60 + 30 + 60, then twice 15 + 60 + 30 + 60, and 10 back.
        assert_eq!(lasts(&chamber(), &own), Ok(130 + 160 + 2 * 165 + 10));
        own.before[0].to_c = Some(200.0);
        let why = "chamber allows temperature_c -40 to 130, 200 is asked";
        refused(&chamber(), &own, why);
        let mut oven = parts::rig("oven", &["climate"], Loading::Held, 9);
        limit(&mut oven, "temperature_c", 30.0, 150.0);
        let mut bake = climate(vec![to(85.0, 60)], 1);
        bake.before = vec![to(43.0, 120)];
        let why = "oven is held at one condition, and cycle is no single hold";
        refused(&oven, &bake, why);
    }

    #[test]
    fn a_hold_counts_from_a_stable_load_where_rig_or_method_says_how_it_settles() {
        let mut rig = chamber();
        let mut cold = climate(vec![to(-40.0, 960)], 1);
        let plain = 63 + 960 + 32;
        rig.settle = Some(Settle::Allowance(Minutes::new(45)));
        assert_eq!(
            lasts(&rig, &cold),
            Ok(plain),
            "it counts from the set-point"
        );
        cold.counts_from = CountsFrom::Stable;
        assert_eq!(lasts(&rig, &cold), Ok(plain + 45));
        assert_eq!(lasts(&chamber(), &cold), Ok(plain), "nobody says how");
        cold.settle = Some(Settle::Allowance(Minutes::new(10)));
        assert_eq!(
            lasts(&rig, &cold),
            Ok(plain + 10),
            "the method knows better"
        );
        // 63 minutes at 1 K/min with 20 minutes: 20 x (1 - e^-3.15) = 19.14 K behind, 37.07 minutes to 3 K.
        cold.settle = Some(Settle::TimeConstant(Minutes::new(20)));
        assert_eq!(
            lasts(&rig, &cold),
            Ok(63 + 960 + 69),
            "63 + 37.07 + 960 + 31.5"
        );
        // A load so light that it keeps up needs no more time, nor does a change of 3 K.
        cold.settle = Some(Settle::TimeConstant(Minutes::new(3)));
        assert_eq!(lasts(&rig, &cold), Ok(plain));
        let mut mild = climate(vec![to(26.0, 60)], 1);
        mild.counts_from = CountsFrom::Stable;
        assert_eq!(lasts(&rig, &mild), Ok(65), "1.5 up, 60, 3 down");
    }

    #[test]
    fn a_load_put_into_a_held_oven_settles_after_a_sudden_change() {
        let mut oven = parts::rig("oven", &["climate"], Loading::Held, 9);
        limit(&mut oven, "temperature_c", 30.0, 150.0);
        oven.settle = Some(Settle::TimeConstant(Minutes::new(20)));
        let mut bake = climate(vec![to(88.0, 960)], 1);
        assert_eq!(lasts(&oven, &bake), Ok(960));
        bake.counts_from = CountsFrom::Stable;
        // 65 K: 20 x ln(65 / 3) = 61.5 minutes.
        assert_eq!(lasts(&oven, &bake), Ok(960 + 62));
    }
}
