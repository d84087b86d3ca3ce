//! `show` of a request: what its results are to show.

use super::value::Value;
use crate::domain::lab::{Sequential, Show};

/// Most failures that a plan may allow.
const MOST_FAILURES: i64 = 1000;

/// Reads the table; `None` where it has a fault, which is noted.
pub(super) fn read(value: &Value<'_>) -> Option<Show> {
    let table = value.inner_table()?;
    table.only(&[
        "reliability",
        "confidence",
        "failures",
        "mission",
        "shape",
        "modes",
        "good",
        "risk",
    ]);
    let reliability = table.need("reliability").and_then(|own| fraction(&own));
    let confidence = table.need("confidence").and_then(|own| fraction(&own));
    let failures = table
        .get("failures")
        .map_or(Some(0), |own| own.whole(0..=MOST_FAILURES));
    let above_zero = |key| {
        table
            .get(key)
            .map_or(Some(None), |own| own.rate().map(Some))
    };
    let (mission, shape) = (above_zero("mission"), above_zero("shape"));
    let modes = table.get("modes").map_or(Some(Vec::new()), |own| {
        own.list()?.iter().map(Value::name).collect()
    });
    let sequential = match (table.get("good"), table.get("risk")) {
        (None, None) => Some(None),
        (good, risk) => sequential(good, risk, reliability, confidence).map(Some),
    };
    Some(Show {
        reliability: reliability?,
        confidence: confidence?,
        failures: u64::try_from(failures?).ok()?,
        mission: mission?,
        shape: shape?,
        modes: modes?,
        sequential: sequential?,
    })
}

/// `good` and `risk`, which come together.
fn sequential(
    good: Option<Value<'_>>,
    risk: Option<Value<'_>>,
    reliability: Option<f64>,
    confidence: Option<f64>,
) -> Option<Sequential> {
    let (good, risk) = match (good, risk) {
        (Some(good), Some(risk)) => (good, risk),
        (good, risk) => {
            for alone in good.iter().chain(&risk) {
                alone.fault(
                    "`good` and `risk` come together: a good design, and the risk to reject it",
                );
            }
            return None;
        }
    };
    let own = Sequential {
        good: fraction(&good)?,
        risk: fraction(&risk)?,
    };
    if reliability.is_some_and(|bad| own.good <= bad) {
        good.fault("it must be above `reliability`");
        return None;
    }
    if confidence.is_some_and(|confidence| own.risk >= confidence) {
        risk.fault("it must be below `confidence`");
        return None;
    }
    Some(own)
}

fn fraction(value: &Value<'_>) -> Option<f64> {
    let number = value.number()?;
    let good = number > 0.0 && number < 1.0;
    if !good {
        value.fault("it must lie between 0 and 1, both excluded");
    }
    good.then_some(number)
}
