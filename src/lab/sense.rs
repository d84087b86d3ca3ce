//! What is allowed, but looks like a mistake: severities that a standard does not list, and sequences that a
//! standard, or the lab's own shifts, would have otherwise. All of it is a warning; nothing of it blocks.

use super::methods_file::Methods;
use super::standards_file::{Order, Standards};
use super::value::Site;
use crate::domain::lab::{Amount, Crew, Lab, Length, Method, Pace, Rest, Step, Watch};
use crate::domain::standard::{Listed, Standard};
use crate::domain::steps::own_amount;
use crate::domain::{Minutes, StandardId};
use std::collections::BTreeMap;

/// What a method or a step asks for, by the names that standards list.
pub(super) struct Asked(BTreeMap<String, Vec<f64>>);

impl Asked {
    /// Of a method with this length and severity.
    pub(super) fn of(method: &Method, amount: Amount, severity: &BTreeMap<String, f64>) -> Self {
        let mut asked: BTreeMap<String, Vec<f64>> = severity
            .iter()
            .map(|(name, value)| (name.clone(), vec![*value]))
            .collect();
        let mut add = |name: &str, values: Vec<f64>| {
            if !values.is_empty() {
                asked.insert(name.to_owned(), values);
            }
        };
        let minutes = |time: Minutes| time.get() as f64;
        match (amount, &method.length) {
            (Amount::Cycles(cycles), _) => add("cycles", vec![cycles as f64]),
            (Amount::Hold(hold), _) => add("hold", vec![minutes(hold)]),
            (Amount::Repeat(repeat), Length::Profile { segments, .. }) => {
                let all = |get: &dyn Fn(&crate::domain::lab::Segment) -> Option<f64>| {
                    segments.iter().filter_map(get).collect::<Vec<f64>>()
                };
                add("to_c", all(&|own| own.to_c));
                add("to_rh", all(&|own| own.to_rh));
                add(
                    "rate_k_per_min",
                    all(&|own| match own.pace {
                        Pace::Rate(rate) => Some(rate),
                        _ => None,
                    }),
                );
                if let [only] = &segments[..] {
                    add("hold", vec![minutes(only.hold) * f64::from(repeat)]);
                } else {
                    add("repeat", vec![f64::from(repeat)]);
                    add("dwell", all(&|own| Some(minutes(own.hold))));
                }
            }
            (Amount::Repeat(_), _) => {}
        }
        Self(asked)
    }

    /// Every listed name that is asked for with a value that this row does not have.
    fn misses<'r>(&self, row: &'r Listed) -> Vec<Miss<'r>> {
        let of_name = |(name, list): (&'r String, &'r Vec<f64>)| {
            let asked = self.0.get(name)?;
            let (far, value) = asked
                .iter()
                .map(|value| (distance_to_nearest(*value, list), *value))
                .max_by(|a, b| a.0.total_cmp(&b.0))?;
            (far > 1e-9).then_some(Miss { name, value, far })
        };
        row.values.iter().filter_map(of_name).collect()
    }

    fn compares(&self, row: &Listed) -> bool {
        row.values.keys().any(|name| self.0.contains_key(name))
    }

    /// The values of the row that lie nearest to what is asked.
    fn nearest(&self, row: &Listed) -> String {
        let of_name = |(name, list): (&String, &Vec<f64>)| {
            let asked = *self.0.get(name)?.first()?;
            let nearest = list
                .iter()
                .min_by(|a, b| distance(asked, **a).total_cmp(&distance(asked, **b)))?;
            Some(value_text(name, *nearest))
        };
        let words: Vec<String> = row.values.iter().filter_map(of_name).collect();
        words.join(", ")
    }
}

/// A value that a row does not have.
struct Miss<'r> {
    name: &'r str,
    value: f64,
    /// How far from the nearest that it has.
    far: f64,
}

/// How different two values are, whatever their unit: 0 for the same, 2 at most.
fn distance(a: f64, b: f64) -> f64 {
    let size = a.abs().max(b.abs());
    if size == 0.0 {
        0.0
    } else {
        (a - b).abs() / size
    }
}

fn distance_to_nearest(value: f64, list: &[f64]) -> f64 {
    let distances = list.iter().map(|listed| distance(value, *listed));
    distances.fold(f64::INFINITY, f64::min)
}

/// A value with its name, such as `to_c -40` or `hold 16h`.
fn value_text(name: &str, value: f64) -> String {
    format!("{name} {}", Listed::text(name, value))
}

/// Warns of a severity that the standard does not list, with the nearest that it does.
pub(super) fn severity(site: Site<'_>, what: &str, asked: &Asked, standard: &Standard) {
    let rows = standard.listed.iter().filter(|row| asked.compares(row));
    let with_misses = rows.map(|row| (asked.misses(row), row));
    let nearest = with_misses.min_by(|(a, _), (b, _)| {
        let far = |misses: &[Miss<'_>]| misses.iter().map(|miss| miss.far).sum::<f64>();
        (a.len().cmp(&b.len())).then(far(a).total_cmp(&far(b)))
    });
    let Some((misses, row)) = nearest.filter(|(misses, _)| !misses.is_empty()) else {
        return;
    };
    let missed: Vec<String> = misses
        .iter()
        .map(|miss| value_text(miss.name, miss.value))
        .collect();
    let why = format!(
        "{} does not list {}; the nearest it lists is {} ({})",
        standard.name,
        missed.join(", "),
        asked.nearest(row),
        row.known
    );
    site.warn(what, &why);
}

/// What a sequence is judged by.
pub(super) struct Judge<'a> {
    pub(super) methods: &'a Methods,
    pub(super) standards: &'a Standards,
    /// Crews and rigs; `None` where they are not known.
    pub(super) lab: Option<&'a Lab>,
}

/// A stay of a unit, in the order of its walk; a step with checks comes to one part and one check.
#[derive(Clone, Copy)]
struct Stay<'a> {
    /// Its place among the steps as written.
    step: usize,
    method: &'a Method,
    standard: Option<&'a Standard>,
    rest: Rest,
}

impl Judge<'_> {
    /// Warns of what makes no sense in the steps; `sites` has a place and a name for each.
    pub(super) fn sequence(&self, steps: &[Step], sites: &[(Site<'_>, String)]) {
        let warn = |step: usize, why: &str| {
            let (site, what) = &sites[step];
            site.warn(what, why);
        };
        let stays = self.stays(steps);
        for (step, (site, what)) in steps.iter().zip(sites) {
            if let Some((asked, standard)) = self.overridden(step) {
                severity(*site, what, &asked, standard);
            }
        }
        for pair in stays.windows(2) {
            let why = [recovery(pair[0], pair[1]), self.window(pair[0], pair[1])];
            for why in why.into_iter().flatten() {
                warn(pair[1].step, &why);
            }
        }
        for (step, why) in spoiled(&stays)
            .into_iter()
            .chain(self.out_of_order(&stays))
            .chain(self.too_many(steps))
        {
            warn(step, &why);
        }
    }

    fn standard(&self, method: &Method) -> Option<&Standard> {
        self.standards.good.get(method.standard.as_ref()?)
    }

    fn stays(&self, steps: &[Step]) -> Vec<Stay<'_>> {
        let stay = |step, id, rest| {
            let method = self.methods.good.get(id)?;
            let standard = self.standard(method);
            Some(Stay {
                step,
                method,
                standard,
                rest,
            })
        };
        let mut stays = Vec::new();
        for (ix, own) in steps.iter().enumerate() {
            stays.extend(stay(ix, &own.method, own.rest));
            if let Some(every) = &own.every {
                stays.extend(stay(ix, &every.check, every.check_rest));
            }
        }
        stays
    }

    /// What a step asks for where it overrides its method, which is judged where it stands itself.
    fn overridden(&self, step: &Step) -> Option<(Asked, &Standard)> {
        let length = step.length.filter(|_| step.shared.is_none());
        if length.is_none() && step.severity.is_empty() {
            return None;
        }
        let method = self.methods.good.get(&step.method)?;
        let mut severity = method.severity.clone();
        severity.extend(step.severity.clone());
        let amount = length.unwrap_or_else(|| own_amount(&method.length));
        Some((Asked::of(method, amount, &severity), self.standard(method)?))
    }

    /// A largest rest that no pair of shifts can keep.
    fn window(&self, before: Stay<'_>, after: Stay<'_>) -> Option<String> {
        let (lab, most) = (self.lab?, after.rest.max?);
        let out = Week::of(crew_of(lab, before.method)?)
            .ends(hands(lab, before.method, |rig| rig.unload)?);
        let next = Week::of(crew_of(lab, after.method)?)
            .starts(hands(lab, after.method, |rig| rig.load)? + attended(after.method));
        let meets = out.is_empty_or(&next) || next.follows(&out, after.rest.min, most);
        (!meets).then(|| {
            format!(
                "no shift can meet the rest: nobody can begin {} within {} to {most} after {} comes out",
                after.method.id, after.rest.min, before.method.id
            )
        })
    }

    /// Steps that stand before one that the standard puts first.
    fn out_of_order(&self, stays: &[Stay<'_>]) -> Vec<(usize, String)> {
        let orders = self.standards.orders.iter();
        orders
            .filter_map(|order| out_of_order(order, stays))
            .collect()
    }

    /// Counts that are more than one unit may take, or shared over more units than may share them.
    fn too_many(&self, steps: &[Step]) -> Vec<(usize, String)> {
        let mut counts: BTreeMap<&StandardId, u64> = BTreeMap::new();
        let mut found = Vec::new();
        for (ix, step) in steps.iter().enumerate() {
            let Some(method) = self.methods.good.get(&step.method) else {
                continue;
            };
            let Some(standard) = self.standard(method) else {
                continue;
            };
            if let (Some(shared), Some(most)) = (step.shared, standard.units_max)
                && shared.by > most
            {
                let why = format!(
                    "{} lets at most {most} units share the count, not {}",
                    standard.name, shared.by
                );
                found.push((ix, why));
            }
            let amount = step.length.unwrap_or_else(|| own_amount(&method.length));
            if let (Amount::Cycles(cycles), Some(most)) = (amount, standard.cycles_per_unit_max) {
                let count = counts.entry(&standard.id).or_default();
                let before = *count;
                *count += cycles;
                if before <= most && *count > most {
                    let why = format!(
                        "{} allows one unit at most {most}; with this step it comes to {count}; \
                         `shared_by` shares a count over several units",
                        standard.name
                    );
                    found.push((ix, why));
                }
            }
        }
        found
    }
}

/// A measurement sooner or later after an exposure than the standard has it.
fn recovery(before: Stay<'_>, after: Stay<'_>) -> Option<String> {
    let recovery = before.standard?.recovery?;
    if !after.method.verdict {
        return None;
    }
    let (least, most) = (recovery.rest.min, recovery.rest.max);
    let soon = after.rest.min < least;
    let late = most.is_some_and(|most| after.rest.max.is_none_or(|own| own > most));
    let wanted = match most {
        Some(most) if least == Minutes::ZERO => format!("within {most}"),
        Some(most) => format!("{least} to {most}"),
        None => format!("{least} or more"),
    };
    let rest = most.map_or(format!("{least}"), |most| format!("{least}..{most}"));
    (soon || late).then(|| {
        format!(
            "{} has the measurement {wanted} after the exposure ({}), and the rest here is {}; \
             `rest = \"{rest}\"` keeps it",
            before.standard.map_or("", |own| &own.name),
            recovery.known,
            rest_text(after.rest)
        )
    })
}

fn rest_text(rest: Rest) -> String {
    match rest.max {
        Some(most) => format!("{} to {most}", rest.min),
        None => format!("{} or more", rest.min),
    }
}

/// Measurements on a unit that an earlier exposure may have spoiled. The first check after it judges the
/// exposure itself.
fn spoiled(stays: &[Stay<'_>]) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let spoils = |stay: &Stay<'_>| stay.standard.is_some_and(|own| own.spoils.is_some());
    for (ix, stay) in stays.iter().enumerate().filter(|(_, stay)| spoils(stay)) {
        let mut checks = stays[ix + 1..].iter().filter(|later| later.method.verdict);
        if let Some(later) = checks.nth(1) {
            let why = format!(
                "it measures a unit that {} in step {} may have spoiled; measure before that, or on \
                 another unit",
                stay.method.id,
                stay.step + 1
            );
            found.push((later.step, why));
        }
    }
    found
}

fn out_of_order(order: &Order, stays: &[Stay<'_>]) -> Option<(usize, String)> {
    let first = |id: &StandardId| {
        let is_it = |stay: &&Stay<'_>| stay.standard.is_some_and(|own| own.id == *id);
        stays.iter().find(is_it)
    };
    let firsts: Option<Vec<&Stay<'_>>> = order.standards.iter().map(first).collect();
    let firsts = firsts?;
    let pair = firsts.windows(2).find(|pair| pair[1].step < pair[0].step)?;
    let why = format!(
        "{} has {} before {}, which is step {} here ({})",
        order.name,
        pair[0].method.id,
        pair[1].method.id,
        pair[1].step + 1,
        order.known
    );
    Some((pair[0].step, why))
}

fn crew_of<'l>(lab: &'l Lab, method: &Method) -> Option<&'l Crew> {
    match &method.crew {
        None => lab.crews.first(),
        Some(id) => lab.crews.iter().find(|crew| crew.id == *id),
    }
}

/// The shortest hands-on time among the rigs that may do the method.
fn hands(
    lab: &Lab,
    method: &Method,
    time: impl Fn(&crate::domain::lab::Rig) -> Minutes,
) -> Option<Minutes> {
    let able = lab
        .rigs
        .iter()
        .filter(|rig| rig.does.contains(&method.does));
    able.map(time).min()
}

/// How long somebody of the crew must stay with a unit after it is loaded.
fn attended(method: &Method) -> Minutes {
    match (&method.length, method.watch, method.pausable) {
        (Length::Hold(hold), Watch::Full, false) => *hold,
        _ => Minutes::ZERO,
    }
}

/// Minutes of a week of wall-clock time at which something can be, by shifts alone: no closed dates, no
/// changes of the clock.
struct Week(Vec<bool>);

const WEEK: usize = 7 * 1440;

impl Week {
    /// When somebody of the crew is on shift.
    fn of(crew: &Crew) -> Self {
        use chrono::Timelike;
        let mut on = vec![false; WEEK];
        let of_day = |time: chrono::NaiveTime| (time.hour() * 60 + time.minute()) as usize;
        for shift in crew.shifts.iter().filter(|shift| shift.people > 0) {
            let (from, to) = (of_day(shift.from), of_day(shift.to));
            let length = if to > from {
                to - from
            } else {
                to + 1440 - from
            };
            for day in &shift.days {
                let start = day.num_days_from_monday() as usize * 1440 + from;
                for minute in start..start + length {
                    on[minute % WEEK] = true;
                }
            }
        }
        Self(on)
    }

    /// Minutes at which something that takes `time` of somebody can begin.
    fn starts(&self, time: Minutes) -> Self {
        let time = usize::try_from(time.get()).unwrap_or(0);
        let mut left = 0;
        let mut starts = vec![false; WEEK];
        // Twice round, backwards, counting how long somebody will be there.
        for minute in (0..2 * WEEK).rev() {
            left = if self.0[minute % WEEK] { left + 1 } else { 0 };
            starts[minute % WEEK] = left >= time;
        }
        Self(starts)
    }

    /// Minutes at which it can end.
    fn ends(&self, time: Minutes) -> Self {
        let mut ends = self.starts(time).0;
        let time = usize::try_from(time.get()).unwrap_or(0);
        ends.rotate_right(time % WEEK);
        Self(ends)
    }

    /// True where one of the two is never: then it is not the rest that is at fault.
    fn is_empty_or(&self, other: &Self) -> bool {
        let never = |week: &Self| !week.0.contains(&true);
        never(self) || never(other)
    }

    /// True where some minute of this lies `least` to `most` after some minute of the other.
    fn follows(&self, other: &Self, least: Minutes, most: Minutes) -> bool {
        let minutes = |time: Minutes| usize::try_from(time.get()).unwrap_or(0);
        let (least, width) = (minutes(least) % WEEK, minutes(most - least));
        if width >= WEEK {
            return true;
        }
        // How many minutes of this lie before each minute of three weeks.
        let mut before = vec![0usize];
        for minute in 0..3 * WEEK {
            before.push(before[minute] + usize::from(self.0[minute % WEEK]));
        }
        let within = |from: usize| before[from + width + 1] > before[from];
        (0..WEEK).any(|minute| other.0[minute] && within(minute + least))
    }
}
