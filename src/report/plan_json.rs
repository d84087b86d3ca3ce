//! The plan file: JSON, instants in UTC, one visit a line.

use crate::domain::plan::{Booking, Finish, Plan, Times, Unplannable};
use crate::domain::zone::{minutes_of, utc_text};
use crate::domain::{MethodId, Minute, Minutes, RequestId, RigId, UnitId};
use chrono::{DateTime, Timelike};
use serde::{Deserialize, Serialize};

/// Why a plan file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum PlanFileError {
    /// No JSON, or not the JSON of a plan.
    #[error("line {}, column {}: {}", .0.line(), .0.column(), .0)]
    Json(#[from] serde_json::Error),
    /// Another format.
    #[error("this program reads plans of format 1, not {0}")]
    Format(i64),
    /// An instant that is none, or no whole minute.
    #[error("{at}: `{text}` is no whole minute such as 2027-03-01T07:30:00Z")]
    Instant {
        /// Where.
        at: String,
        /// What stands there.
        text: String,
    },
}

#[derive(Serialize, Deserialize)]
struct File {
    format: i64,
    #[serde(default)]
    lab: String,
    now: String,
    cost: i64,
    #[serde(default)]
    bound: Option<i64>,
    #[serde(default)]
    seconds: f64,
    #[serde(default)]
    seed: u64,
    visits: Vec<VisitLine>,
    requests: Vec<RequestLine>,
    unplannable: Vec<UnplannableLine>,
}

#[derive(Serialize, Deserialize)]
struct VisitLine {
    request: String,
    unit: String,
    step: u32,
    method: String,
    rig: String,
    position: Option<u32>,
    run: Option<u32>,
    load: String,
    start: String,
    end: String,
    unload: String,
    out: String,
    #[serde(default)]
    because: String,
}

#[derive(Serialize, Deserialize)]
struct RequestLine {
    id: String,
    finish: String,
    late_minutes: i64,
    flow_minutes: i64,
    /// Why it is late, a line a visit; only where it is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    why: Vec<String>,
}

#[derive(Serialize, Deserialize)]
struct UnplannableLine {
    request: String,
    step: u32,
    reason: String,
}

/// The plan as text: everything on one line but for a line a visit, a request and a request left out.
///
/// # Panics
/// Never: strings and numbers always have a JSON form.
pub fn to_json(plan: &Plan) -> String {
    to_json_with(plan, &[])
}

/// The same with the reasons why requests are late, for those that have an entry in `why`.
///
/// # Panics
/// Never: strings and numbers always have a JSON form.
pub fn to_json_with(plan: &Plan, why: &[(RequestId, Vec<String>)]) -> String {
    let mut text = format!(
        "{{\n  \"format\": 1, \"lab\": {}, \"now\": {},\n  \"cost\": {}, \"bound\": {}, \"seconds\": {}, \"seed\": {},\n",
        quoted(&plan.lab),
        quoted(&utc_text(plan.now)),
        plan.cost,
        plan.bound
            .map_or("null".to_owned(), |bound| bound.to_string()),
        plan.milliseconds as f64 / 1000.0,
        plan.seed
    );
    let visits: Vec<String> = plan
        .bookings
        .iter()
        .map(|b| one_line(&visit_line(b)))
        .collect();
    let requests: Vec<String> = plan
        .requests
        .iter()
        .map(|own| one_line(&request_line(own, why)))
        .collect();
    let left: Vec<String> = plan
        .unplannable
        .iter()
        .map(|own| one_line(&unplannable_line(own)))
        .collect();
    for (name, lines, comma) in [
        ("visits", visits, ","),
        ("requests", requests, ","),
        ("unplannable", left, ""),
    ] {
        let body = if lines.is_empty() {
            String::new()
        } else {
            format!("\n    {}\n  ", lines.join(",\n    "))
        };
        text.push_str(&format!("  \"{name}\": [{body}]{comma}\n"));
    }
    text.push_str("}\n");
    text
}

fn one_line<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("strings and numbers have a JSON form")
}

fn quoted(text: &str) -> String {
    serde_json::to_string(text).expect("a string has a JSON form")
}

/// Reads a plan file; `because` and figures other than the cost may be missing.
///
/// # Errors
/// The place and the reason; nothing of a faulty file is taken.
pub fn from_json(text: &str) -> Result<Plan, PlanFileError> {
    let file: File = serde_json::from_str(text)?;
    if file.format != 1 {
        return Err(PlanFileError::Format(file.format));
    }
    let bookings: Result<Vec<Booking>, PlanFileError> = file.visits.iter().map(booking).collect();
    let requests: Result<Vec<Finish>, PlanFileError> = file.requests.iter().map(finish).collect();
    let left = file.unplannable.into_iter().map(|line| Unplannable {
        request: RequestId::new(&line.request),
        step: line.step,
        reason: line.reason,
    });
    Ok(Plan {
        lab: file.lab,
        now: instant("now", &file.now)?,
        cost: file.cost,
        bound: file.bound,
        milliseconds: milliseconds(file.seconds),
        seed: file.seed,
        bookings: bookings?,
        requests: requests?,
        unplannable: left.collect(),
    })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped just before"
)]
fn milliseconds(seconds: f64) -> u64 {
    (seconds * 1000.0).clamp(0.0, 1e15) as u64
}

fn visit_line(booking: &Booking) -> VisitLine {
    let times = &booking.times;
    VisitLine {
        request: booking.request.to_string(),
        unit: booking.unit.to_string(),
        step: booking.step,
        method: booking.method.to_string(),
        rig: booking.rig.to_string(),
        position: booking.position,
        run: booking.run,
        load: utc_text(times.load),
        start: utc_text(times.start),
        end: utc_text(times.end),
        unload: utc_text(times.unload),
        out: utc_text(times.out),
        because: booking.because.clone(),
    }
}

fn request_line(finish: &Finish, why: &[(RequestId, Vec<String>)]) -> RequestLine {
    let own = why.iter().find(|(request, _)| *request == finish.request);
    RequestLine {
        id: finish.request.to_string(),
        finish: utc_text(finish.finish),
        late_minutes: finish.late.get(),
        flow_minutes: finish.flow.get(),
        why: own.map_or(Vec::new(), |(_, lines)| lines.clone()),
    }
}

fn unplannable_line(left: &Unplannable) -> UnplannableLine {
    UnplannableLine {
        request: left.request.to_string(),
        step: left.step,
        reason: left.reason.clone(),
    }
}

fn booking(line: &VisitLine) -> Result<Booking, PlanFileError> {
    let at = |name: &str, text: &str| {
        instant(&format!("{} step {}, {name}", line.unit, line.step), text)
    };
    Ok(Booking {
        request: RequestId::new(&line.request),
        unit: UnitId::new(&line.unit),
        step: line.step,
        method: MethodId::new(&line.method),
        rig: RigId::new(&line.rig),
        position: line.position,
        run: line.run,
        times: Times {
            load: at("load", &line.load)?,
            start: at("start", &line.start)?,
            end: at("end", &line.end)?,
            unload: at("unload", &line.unload)?,
            out: at("out", &line.out)?,
        },
        because: line.because.clone(),
    })
}

fn finish(line: &RequestLine) -> Result<Finish, PlanFileError> {
    Ok(Finish {
        request: RequestId::new(&line.id),
        finish: instant(&format!("request {}, finish", line.id), &line.finish)?,
        late: Minutes::new(line.late_minutes),
        flow: Minutes::new(line.flow_minutes),
    })
}

fn instant(at: &str, text: &str) -> Result<Minute, PlanFileError> {
    let fault = || PlanFileError::Instant {
        at: at.to_owned(),
        text: text.to_owned(),
    };
    let time = DateTime::parse_from_rfc3339(text)
        .map_err(|_| fault())?
        .naive_utc();
    if time.second() != 0 || time.nanosecond() != 0 {
        return Err(fault());
    }
    Ok(minutes_of(time))
}
