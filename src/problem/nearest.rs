//! What the nearest rig would need to do a step that no rig can do (R3).

use super::exposure::exposure;
use crate::domain::lab::{Amount, Lab, Length, Limit, Loading, Method, Pace, Rig, Segment};
use crate::domain::steps::WalkStep;

/// What is missing, in words: on the rig that needs least, or everywhere. `together` units must share a chamber
/// run. `None` where no change of one rig's figures is enough.
pub(super) fn nearest(lab: &Lab, step: &WalkStep, together: u32) -> Option<String> {
    let method = &lab.methods[&step.method];
    let able = lab
        .rigs
        .iter()
        .filter(|rig| rig.does.contains(&method.does));
    let needs = able.filter_map(|rig| Some((rig, needs(lab, rig, method, step, together)?)));
    let (rig, needs) = needs.min_by_key(|(_, needs)| needs.len())?;
    Some(format!("{} with {} would do", rig.id, needs.join(" and ")))
}

/// Every figure of a rig that would have to be another; checked on a rig with those figures.
fn needs(
    lab: &Lab,
    rig: &Rig,
    method: &Method,
    step: &WalkStep,
    together: u32,
) -> Option<Vec<String>> {
    let (mut able, mut needs) = (rig.clone(), Vec::new());
    for (name, value) in &step.severity {
        widen(&mut able, name, *value, &mut needs);
    }
    match (step.amount, &method.length) {
        (Amount::Cycles(_), _) if able.cycles_per_min.is_none() => {
            able.cycles_per_min = Some(1.0);
            needs.push("a cycles_per_min".to_owned());
        }
        (Amount::Repeat(_), Length::Profile { segments, .. }) => {
            for segment in segments {
                if let Some(celsius) = segment.to_c {
                    widen(&mut able, "temperature_c", celsius, &mut needs);
                }
                if let Some(percent) = segment.to_rh {
                    widen(&mut able, "humidity_rh", percent, &mut needs);
                }
            }
            if able.loading != Loading::Held {
                ramps(lab.ambient_c, &mut able, segments, &mut needs);
            }
        }
        _ => {}
    }
    if able.loading == Loading::Together && able.positions < together {
        able.positions = together;
        needs.push(format!("{together} positions"));
    }
    let enough = !needs.is_empty() && exposure(lab.ambient_c, &able, method, step).is_ok();
    enough.then_some(needs)
}

/// Makes a limit allow a value.
fn widen(rig: &mut Rig, name: &str, value: f64, needs: &mut Vec<String>) {
    match rig.limits.get_mut(name) {
        None => {
            let only = Limit {
                min: value,
                max: value,
            };
            rig.limits.insert(name.to_owned(), only);
            needs.push(format!("a limit {name} that allows {value}"));
        }
        Some(limit) if value > limit.max => {
            limit.max = value;
            needs.push(format!("{name} up to {value}"));
        }
        Some(limit) if value < limit.min => {
            limit.min = value;
            needs.push(format!("{name} down to {value}"));
        }
        Some(_) => {}
    }
}

/// Makes a rig move its load as fast as a change by transfer asks.
fn transfer(rig: &mut Rig, seconds_max: f64, needs: &mut Vec<String>) {
    if rig.transfer_s.is_none_or(|own| own > seconds_max) {
        rig.transfer_s = Some(seconds_max);
        needs.push(format!("transfer_s {seconds_max}"));
    }
}

/// Makes a rig heat and cool as fast as a profile asks.
fn ramps(ambient_c: f64, rig: &mut Rig, segments: &[Segment], needs: &mut Vec<String>) {
    let mut at = ambient_c;
    let mut asked: Vec<(bool, f64)> = Vec::new();
    // Twice, since a second pass may begin elsewhere; then back to ambient at the rig's own rate.
    for segment in segments.iter().chain(segments) {
        if let Some(to) = segment.to_c.filter(|to| differs(*to, at)) {
            match segment.pace {
                Pace::Own => asked.push((to > at, 0.0)),
                Pace::Rate(rate) => asked.push((to > at, rate)),
                Pace::Over(time) => asked.push((to > at, (to - at).abs() / time.get() as f64)),
                Pace::Transfer { seconds_max } => transfer(rig, seconds_max, needs),
            }
            at = to;
        }
    }
    if differs(at, ambient_c) {
        asked.push((ambient_c > at, 0.0));
    }
    for (heats, name) in [(true, "heat_k_per_min"), (false, "cool_k_per_min")] {
        let rates = asked
            .iter()
            .filter(|(up, _)| *up == heats)
            .map(|(_, rate)| *rate);
        let Some(most) = rates.reduce(f64::max) else {
            continue;
        };
        let own = if heats {
            &mut rig.heat_k_per_min
        } else {
            &mut rig.cool_k_per_min
        };
        match *own {
            None if most > 0.0 => needs.push(format!("a {name} of {most}")),
            None => needs.push(format!("a {name}")),
            Some(rate) if rate < most => needs.push(format!("{name} {most}")),
            Some(_) => continue,
        }
        *own = Some(if most > 0.0 { most } else { 1.0 });
    }
}

fn differs(one: f64, other: f64) -> bool {
    one.total_cmp(&other).is_ne()
}
