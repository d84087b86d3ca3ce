//! The kinds of event that nearly all of a ledger is made of, read in a third of the time.
//!
//! The forms are those of [`super::form::Body`], of which a reader first builds a tree to find the kind in it.
//! The kind stands beside the body too: where it is known, the body can be read straight through. Whatever does
//! not read so is left to the full form, so that both always say the same (a test).

use crate::domain::{EventBody, RigId, UnitId, Verdict};
use serde::Deserialize;
use std::borrow::Cow;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Started<'b> {
    #[serde(borrow)]
    kind: Cow<'b, str>,
    #[serde(borrow)]
    unit: Cow<'b, str>,
    step: u32,
    #[serde(borrow)]
    rig: Cow<'b, str>,
    #[serde(default)]
    position: Option<u32>,
    #[serde(default)]
    run: Option<u32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ended<'b> {
    #[serde(borrow)]
    kind: Cow<'b, str>,
    #[serde(borrow)]
    unit: Cow<'b, str>,
    step: u32,
    #[serde(borrow)]
    rig: Cow<'b, str>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Given<'b> {
    #[serde(borrow)]
    kind: Cow<'b, str>,
    #[serde(borrow)]
    unit: Cow<'b, str>,
    step: u32,
    #[serde(borrow)]
    verdict: Cow<'b, str>,
    reason: String,
}

/// What the body of an event of that kind says; `None` where the full form has to tell.
pub(super) fn body(kind: &str, text: &str) -> Option<EventBody> {
    match kind {
        "visit_started" => {
            let own: Started = read(text)?;
            (own.kind == kind).then(|| EventBody::VisitStarted {
                unit: UnitId::new(&own.unit),
                step: own.step,
                rig: RigId::new(&own.rig),
                position: own.position,
                run: own.run,
            })
        }
        "visit_ended" => {
            let own: Ended = read(text)?;
            (own.kind == kind).then(|| EventBody::VisitEnded {
                unit: UnitId::new(&own.unit),
                step: own.step,
                rig: RigId::new(&own.rig),
            })
        }
        "verdict_given" => {
            let own: Given = read(text)?;
            (own.kind == kind).then(|| EventBody::VerdictGiven {
                unit: UnitId::new(&own.unit),
                step: own.step,
                verdict: match &*own.verdict {
                    "pass" => Verdict::Pass,
                    "fail" => Verdict::Fail { reason: own.reason },
                    _ => Verdict::Hold { reason: own.reason },
                },
            })
        }
        _ => None,
    }
}

fn read<'b, T: Deserialize<'b>>(text: &'b str) -> Option<T> {
    serde_json::from_str(text).ok()
}

#[cfg(test)]
mod tests {
    use super::super::form::Body;
    use super::*;

    /// Bodies as they are stored and as somebody may have altered them.
    const TEXTS: [&str; 16] = [
        r#"{"kind":"visit_started","unit":"R-1/1","step":2,"rig":"dh-1","position":3,"run":null}"#,
        r#"{"kind":"visit_started","unit":"R-1/1","step":2,"rig":"dh-1","position":null,"run":4}"#,
        r#"{"kind":"visit_started","unit":"R-1/1","step":2,"rig":"dh-1"}"#,
        r#"{"unit":"\u0052-1","rig":"a\"b","step":1,"kind":"visit_ended"}"#,
        r#"{"kind":"visit_ended","unit":"R-1/1","step":2,"rig":"dh-1","more":1}"#,
        r#"{"kind":"visit_ended","unit":"R-1/1","step":2,"step":2,"rig":"dh-1"}"#,
        r#"{"kind":"visit_ended","unit":"R-1/1","step":-2,"rig":"dh-1"}"#,
        r#"{"kind":"visit_ended","unit":"R-1/1","step":2.0,"rig":"dh-1"}"#,
        r#"{"kind":"verdict_given","unit":"R-1/1","step":1,"verdict":"pass","reason":""}"#,
        r#"{"kind":"verdict_given","unit":"R-1/1","step":1,"verdict":"fail","reason":"gr\u00fcn"}"#,
        r#"{"kind":"verdict_given","unit":"R-1/1","step":1,"verdict":"hold","reason":"lent"}"#,
        r#"{"kind":"verdict_given","unit":"R-1/1","step":1,"verdict":"?","reason":"x"}"#,
        r#"{"kind":"verdict_given","unit":"R-1/1","step":1,"verdict":"pass"}"#,
        r#"{"kind":"rig_up","rig":"dh-1"}"#,
        r#"["visit_ended","R-1/1",2,"dh-1"]"#,
        "",
    ];

    #[test]
    fn the_short_way_says_what_the_long_one_says() {
        let mut read_so = 0;
        for text in TEXTS {
            let long = serde_json::from_str::<Body>(text).ok().map(EventBody::from);
            for kind in ["visit_started", "visit_ended", "verdict_given", "rig_up"] {
                let Some(short) = body(kind, text) else {
                    continue;
                };
                read_so += 1;
                assert_eq!(Some(short), long, "{kind}: {text}");
            }
        }
        assert_eq!(read_so, 9);
    }
}
