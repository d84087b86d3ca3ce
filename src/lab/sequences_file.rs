//! `sequences.toml`: the steps that units walk.

use super::methods_file::{MOST_CYCLES, MOST_REPEATS, Methods, severity};
use super::names::Names;
use super::sense::Judge;
use super::standards_file::Standards;
use super::value::{Faulty, Table, Value};
use crate::domain::lab::{Amount, Every, Lab, Length, Method, Rest, Sequence, Shared, Step};
use crate::domain::steps::own_amount;
use crate::domain::{MethodId, SequenceId};
use std::collections::BTreeMap;

/// Most steps that a sequence may have once `every` is expanded.
pub(super) const MOST_STEPS: u64 = 1000;

/// Reads sequences, and the names of all; one with a fault has no steps. `methods` is `None` where they
/// are not known, and so is the lab.
pub(super) fn read(
    root: &Table<'_>,
    methods: Option<&Methods>,
    standards: &Standards,
    lab: Option<&Lab>,
) -> (Vec<Sequence>, Names) {
    let judge = methods.map(|methods| Judge {
        methods,
        standards,
        lab,
    });
    root.only(&["sequence"]);
    let mut names = Names::default();
    let mut sequences = Vec::new();
    for mut table in root.tables("sequence") {
        let id = table.identify("sequence", &mut names);
        table.only(&["id", "step"]);
        let steps = steps(&table, judge.as_ref());
        if let Some(id) = id {
            sequences.push(Sequence {
                id: SequenceId::new(&id),
                steps: steps.unwrap_or_default(),
            });
        }
    }
    (sequences, names)
}

fn steps(table: &Table<'_>, judge: Option<&Judge<'_>>) -> Option<Vec<Step>> {
    let methods = judge.map(|judge| judge.methods);
    let tables = table.tables("step");
    if tables.is_empty() {
        table
            .site
            .fault(&table.what, "it has no `[[sequence.step]]`");
    }
    let (mut steps, mut sites) = (Vec::new(), Vec::new());
    let mut expanded = 0;
    for (ix, step) in tables.iter().enumerate() {
        let mut step = step.clone();
        step.what = format!("{} step {}", table.what, ix + 1);
        let read = self::step(&step, methods, ix == 0);
        if let (Some(read), Some(methods)) = (&read, methods) {
            expanded += parts(read, methods);
        }
        steps.push(read);
        sites.push((step.site, step.what));
    }
    if expanded > MOST_STEPS {
        let why = format!("it comes to {expanded} steps; at most {MOST_STEPS} are allowed");
        table.site.fault(&table.what, &why);
        return None;
    }
    let steps: Option<Vec<Step>> = steps.into_iter().collect();
    if let (Some(steps), Some(judge)) = (&steps, judge) {
        judge.sequence(steps, &sites);
    }
    steps
}

fn step(table: &Table<'_>, methods: Option<&Methods>, first: bool) -> Option<Step> {
    table.only(&[
        "method",
        "cycles",
        "hold",
        "repeat",
        "severity",
        "every",
        "check",
        "rest",
        "check_rest",
        "shared_by",
    ]);
    let method_id = table
        .need("method")
        .and_then(|value| method_name(&value, methods));
    let method = method_id.as_ref().and_then(|id| methods?.good.get(id));
    let length = length(table, method);
    let shared = shared(table, method, length.as_ref().ok().copied().flatten());
    let severity = table
        .get("severity")
        .map_or(Some(BTreeMap::new()), |value| severity(&value));
    let every = every(table, method, methods);
    let rest = table.get("rest").map_or(Some(Rest::ANY), |value| {
        if first {
            value.fault("the first step has no step before it to rest from");
        }
        value.rest()
    });
    let (length, shared) = (length.ok()?, shared.ok()?);
    Some(Step {
        method: method_id?,
        length: shared.map_or(length, |own| Some(largest_share(own))),
        severity: severity?,
        every: every.ok()?,
        rest: rest?,
        shared,
    })
}

/// A count that several units share. All of them are given the time of the largest share, so that any
/// unit may take it.
fn shared(
    table: &Table<'_>,
    method: Option<&Method>,
    length: Option<Amount>,
) -> Result<Option<Shared>, Faulty> {
    let Some(value) = table.get("shared_by") else {
        return Ok(None);
    };
    let by = value.whole(1..=100_000).ok_or(Faulty)?;
    if table.has("every") {
        value.fault("`shared_by` and `every` cannot both cut the count");
        return Err(Faulty);
    }
    let whole = length.or_else(|| method.map(|method| own_amount(&method.length)));
    match whole {
        Some(Amount::Cycles(cycles)) => Ok(Some(Shared {
            cycles,
            by: u32::try_from(by).map_err(|_| Faulty)?,
        })),
        Some(_) => {
            value.fault("only a count of cycles can be shared");
            Err(Faulty)
        }
        // Its method has a fault of its own.
        None => Ok(None),
    }
}

fn largest_share(shared: Shared) -> Amount {
    Amount::Cycles(shared.cycles.div_ceil(u64::from(shared.by)))
}

fn method_name(value: &Value<'_>, methods: Option<&Methods>) -> Option<MethodId> {
    let name = value.reference("method", methods.map(|methods| &methods.names))?;
    Some(MethodId::new(&name))
}

/// The override of the method's length, where there is one.
fn length(table: &Table<'_>, method: Option<&Method>) -> Result<Option<Amount>, Faulty> {
    let mut length = Ok(None);
    for key in ["cycles", "hold", "repeat"] {
        let Some(value) = table.get(key) else {
            continue;
        };
        match method {
            Some(method) if key != key_of(&method.length) => {
                value.fault(&format!("{} counts {}", method.id, counted(&method.length)));
                length = Err(Faulty);
            }
            _ => {
                let amount = amount(&value, key).ok_or(Faulty);
                length = length.and(amount.map(Some));
            }
        }
    }
    length
}

fn amount(value: &Value<'_>, key: &str) -> Option<Amount> {
    match key {
        "cycles" => Some(Amount::Cycles(value.whole(1..=MOST_CYCLES)?.unsigned_abs())),
        "hold" => Some(Amount::Hold(value.length()?)),
        _ => Some(Amount::Repeat(
            u32::try_from(value.whole(1..=MOST_REPEATS)?).ok()?,
        )),
    }
}

fn key_of(length: &Length) -> &'static str {
    match length {
        Length::Cycles(_) => "cycles",
        Length::Hold(_) => "hold",
        Length::Profile { .. } => "repeat",
    }
}

fn counted(length: &Length) -> &'static str {
    match length {
        Length::Cycles(_) => "`cycles`",
        Length::Hold(_) => "a `hold`",
        Length::Profile { .. } => "a `repeat` of its profile",
    }
}

/// `every` with its check, where there is one.
fn every(
    table: &Table<'_>,
    method: Option<&Method>,
    methods: Option<&Methods>,
) -> Result<Option<Every>, Faulty> {
    let (part, check) = (table.get("every"), table.get("check"));
    let check_rest = table.get("check_rest");
    let (part, check) = match (part, check) {
        (Some(part), Some(check)) => (part, check),
        (None, None) => {
            if let Some(rest) = check_rest {
                rest.fault("`check_rest` goes with `every` and `check` only");
                return Err(Faulty);
            }
            return Ok(None);
        }
        (Some(alone), None) => {
            alone.fault("`every` needs a `check` beside it");
            return Err(Faulty);
        }
        (None, Some(alone)) => {
            alone.fault("`check` needs an `every` beside it");
            return Err(Faulty);
        }
    };
    let check = method_name(&check, methods);
    let check_rest = check_rest.map_or(Some(Rest::ANY), |value| value.rest());
    let key = match method {
        Some(method) => key_of(&method.length),
        // Its method has a fault of its own; the amount is judged by what it looks like.
        None if part.is_text() => "hold",
        None => "cycles",
    };
    let part = amount(&part, key);
    Ok(Some(Every {
        part: part.ok_or(Faulty)?,
        check: check.ok_or(Faulty)?,
        check_rest: check_rest.ok_or(Faulty)?,
    }))
}

/// How many steps a step comes to.
fn parts(step: &Step, methods: &Methods) -> u64 {
    let (Some(every), Some(method)) = (&step.every, methods.good.get(&step.method)) else {
        return 1;
    };
    let size = |amount| match amount {
        Amount::Cycles(cycles) => cycles,
        Amount::Hold(hold) => hold.get().unsigned_abs(),
        Amount::Repeat(repeat) => u64::from(repeat),
    };
    let whole = size(step.length.unwrap_or_else(|| own_amount(&method.length)));
    whole.div_ceil(size(every.part).max(1)).saturating_mul(2)
}
