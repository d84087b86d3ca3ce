//! What the screens keep of a user between two starts, as a text: a what-if that is not in force, and the day
//! whose morning sheet was offered.

use super::draft::{Draft, StepKey};
use crate::domain::{Booking, Minute, Plan, Seq, UnitId};
use crate::report::plan_json::{from_json, to_json};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What is kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kept {
    /// A what-if.
    pub draft: Option<Draft>,
    /// The last day on which the morning sheet was offered.
    pub sheet: Option<NaiveDate>,
}

#[derive(Serialize, Deserialize)]
struct File {
    format: u32,
    #[serde(default)]
    sheet: Option<String>,
    #[serde(default)]
    what_if: Option<WhatIf>,
}

#[derive(Serialize, Deserialize)]
struct WhatIf {
    from: Option<u64>,
    by_hand: Vec<(String, u32)>,
    plan: String,
}

impl Kept {
    /// As text.
    ///
    /// # Panics
    /// Never: strings and numbers always have a JSON form.
    pub fn to_text(&self) -> String {
        let what_if = self.draft.as_ref().map(|draft| WhatIf {
            from: draft.from.map(|seq| seq.0),
            by_hand: draft
                .by_hand()
                .map(|(unit, step)| (unit.to_string(), *step))
                .collect(),
            plan: to_json(&plan_of(draft)),
        });
        let file = File {
            format: 1,
            sheet: self.sheet.map(|date| date.to_string()),
            what_if,
        };
        serde_json::to_string(&file).expect("strings and numbers have a JSON form")
    }

    /// From text.
    ///
    /// # Errors
    /// Why it is not what was kept.
    pub fn from_text(text: &str) -> Result<Self, String> {
        let file: File = serde_json::from_str(text).map_err(|error| error.to_string())?;
        if file.format != 1 {
            return Err(format!("format 1 is read, not {}", file.format));
        }
        let sheet = file.sheet.map(|date| crate::lab::parse_date(&date));
        let draft = file.what_if.as_ref().map(draft_of).transpose()?;
        Ok(Self {
            draft,
            sheet: sheet.transpose()?,
        })
    }
}

fn plan_of(draft: &Draft) -> Plan {
    let bookings: Vec<Booking> = draft.bookings().cloned().collect();
    Plan {
        lab: String::new(),
        now: draft.begun,
        cost: 0,
        bound: None,
        milliseconds: 0,
        seed: 0,
        bookings,
        requests: Vec::new(),
        unplannable: Vec::new(),
    }
}

fn draft_of(own: &WhatIf) -> Result<Draft, String> {
    let plan = from_json(&own.plan).map_err(|error| error.to_string())?;
    let by_hand: Vec<StepKey> = own
        .by_hand
        .iter()
        .map(|(unit, step)| (UnitId::new(unit), *step))
        .collect();
    let begun: Minute = plan.now;
    let from = own.from.map(Seq);
    Ok(Draft::restored(from, begun, plan.bookings, &by_hand))
}
