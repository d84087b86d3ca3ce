//! A request as it stands in `requests.toml`.

use crate::domain::Minute;
use crate::domain::lab::{OnFailure, Request, Show};

/// The request with the fields that are not their defaults; its units are numbered. `instant` writes times.
pub fn request_toml(request: &Request, instant: &dyn Fn(Minute) -> String) -> String {
    let mut text = "[[request]]\n".to_owned();
    let mut line = |key: &str, value: String| text.push_str(&format!("{key} = {value}\n"));
    line("id", quoted(request.id.as_str()));
    line("product", quoted(&request.product));
    line("build", quoted(&request.build));
    line("sequence", quoted(request.sequence.as_str()));
    line("units", request.units.len().to_string());
    line("ready", quoted(&instant(request.ready)));
    if let Some(due) = request.due {
        line("due", quoted(&instant(due)));
    }
    line("priority", request.priority.to_string());
    if request.keep_together {
        line("keep_together", "true".to_owned());
    }
    if request.on_failure == OnFailure::Continue {
        line("on_failure", quoted("continue"));
    }
    if let Some(show) = &request.show {
        line("show", show_table(show));
    }
    text
}

fn show_table(show: &Show) -> String {
    let mut parts = vec![
        format!("reliability = {:?}", show.reliability),
        format!("confidence = {:?}", show.confidence),
        format!("failures = {}", show.failures),
    ];
    let mut number = |key: &str, value: Option<f64>| {
        parts.extend(value.map(|value| format!("{key} = {value:?}")));
    };
    number("mission", show.mission);
    number("shape", show.shape);
    number("good", show.sequential.map(|own| own.good));
    number("risk", show.sequential.map(|own| own.risk));
    if !show.modes.is_empty() {
        let modes: Vec<String> = show.modes.iter().map(|mode| quoted(mode)).collect();
        parts.push(format!("modes = [{}]", modes.join(", ")));
    }
    format!("{{ {} }}", parts.join(", "))
}

/// The text between quotes, as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
