//! What `rigday method` says: a list, a method, a standard. No line is wider than 80 columns.

use super::graph::{Lines, draw};
use super::{OnRig, by_standard, no_rig, on_rigs, plain_step};
use crate::domain::Minutes;
use crate::domain::lab::{
    CountsFrom, Lab, Length, Limit, Loading, Method, Pace, Rig, Segment, Share, Watch,
};
use crate::domain::standard::{Listed, PREVAIL, Standard};
use crate::domain::text::shown;
use crate::lab::published::{fall_m_per_s, half_sine_m_per_s, shared};
use crate::problem::course::{Course, of_shape};
use crate::problem::course_on;
use crate::widgets::text::{fit, wrapped};

const WIDTH: usize = 80;

/// Text that grows line by line.
#[derive(Default)]
struct Page(String);

impl Page {
    /// A line, broken between words where it is too long; what follows is indented by `hang`.
    fn say(&mut self, indent: usize, hang: usize, text: &str) {
        for (ix, line) in wrapped(text, WIDTH - hang.max(indent)).iter().enumerate() {
            let by = if ix == 0 { indent } else { hang };
            self.line(&format!("{:by$}{line}", ""));
        }
    }

    fn line(&mut self, text: &str) {
        self.0.push_str(text.trim_end());
        self.0.push('\n');
    }

    fn heading(&mut self, text: &str) {
        self.line("");
        self.say(0, 0, text);
    }
}

/// All methods under the names of their standards, each with its time on the lab's rigs.
pub(super) fn list(lab: &Lab) -> String {
    let mut page = Page::default();
    for (name, methods) in by_standard(lab) {
        let heading = if name.is_empty() {
            "of no standard"
        } else {
            name
        };
        page.say(0, 2, heading);
        for method in methods {
            page.line(&entry(lab, method));
        }
    }
    page.0
}

/// A method in one line: how long, on which rigs.
fn entry(lab: &Lab, method: &Method) -> String {
    let on = on_rigs(lab, method);
    let able: Vec<String> = on
        .iter()
        .filter_map(|own| {
            let time = own.time.as_ref().ok()?;
            Some(format!("{} {time}", own.rig.id))
        })
        .collect();
    let words = match (able.is_empty(), lab.rigs.is_empty(), on.first()) {
        (false, ..) => able.join(", "),
        (true, true, _) => length_words(&method.length),
        (true, false, None) => no_rig(method),
        (true, false, Some(first)) => match &first.time {
            Ok(_) => String::new(),
            Err(why_not) => why_not.clone(),
        },
    };
    format!("  {} {}", fit(method.id.as_str(), 35), fit(&words, 41))
}

/// One method: what it is, its picture, its rigs, what its standard says, and what can hurt.
pub(super) fn method(lab: &Lab, method: &Method, lines: Lines) -> String {
    let mut page = Page::default();
    let standard = method
        .standard
        .as_ref()
        .and_then(|id| lab.standards.get(id));
    page.say(0, 0, method.id.as_str());
    if let Some(standard) = standard {
        page.say(0, 2, &standard.name);
    }
    page.say(0, 2, &what_it_does(method));
    page.say(0, 2, &who(method));
    picture(&mut page, lab, method, lines);
    rigs(&mut page, lab, method);
    arithmetic(&mut page, method);
    sharing(&mut page, method, standard);
    if let Some(standard) = standard {
        severities(&mut page, standard);
        figures(&mut page, standard);
    }
    cautions(&mut page, &method.cautions);
    page.line("");
    let source = if method.source.is_empty() {
        "not said"
    } else {
        &method.source
    };
    page.say(0, 2, &format!("source: {source}"));
    page.0
}

/// A standard: its severities and figures, and the methods that follow it.
pub(super) fn standard(lab: &Lab, standard: &Standard) -> String {
    let mut page = Page::default();
    page.say(0, 2, &standard.name);
    severities(&mut page, standard);
    figures(&mut page, standard);
    cautions(&mut page, &standard.cautions);
    let follows = |own: &&Method| own.standard.as_ref() == Some(&standard.id);
    let methods: Vec<&Method> = lab.methods.values().filter(follows).collect();
    if !methods.is_empty() {
        page.heading("methods");
        for method in methods {
            page.line(&entry(lab, method));
        }
    }
    page.0
}

fn length_words(length: &Length) -> String {
    match length {
        Length::Cycles(cycles) => format!("{cycles} cycles"),
        Length::Hold(hold) => hold.to_string(),
        Length::Profile { segments, repeat } => {
            let passes = if *repeat == 1 {
                String::new()
            } else {
                format!(", {repeat} times")
            };
            format!("{}{passes}", segments_words(segments))
        }
    }
}

fn segments_words(segments: &[Segment]) -> String {
    let words = segments.iter().map(|own| {
        let mut words = Vec::new();
        words.extend(own.to_c.map(|celsius| format!("{celsius} °C")));
        words.extend(own.to_rh.map(|rh| format!("{rh} % RH")));
        words.extend(match own.pace {
            Pace::Own => None,
            Pace::Rate(rate) => Some(format!("at {rate} K/min")),
            Pace::Over(time) => Some(format!("over {time}")),
            Pace::Transfer { seconds_max } => Some(format!("moved in {seconds_max} s at most")),
        });
        let hold = (own.hold > Minutes::ZERO).then(|| format!("hold {}", own.hold));
        words.extend(hold);
        words.join(" ")
    });
    words.collect::<Vec<String>>().join(", ")
}

fn what_it_does(method: &Method) -> String {
    let mut text = length_words(&method.length);
    if !method.before.is_empty() {
        text = format!("{} once; then {text}", segments_words(&method.before));
    }
    for (name, value) in &method.severity {
        text.push_str(&format!(", {name} {value}"));
    }
    if method.counts_from == CountsFrom::Stable {
        text.push_str("; holds count from a stable load");
    }
    text
}

fn who(method: &Method) -> String {
    let crew = method
        .crew
        .as_ref()
        .map_or("the first crew".to_owned(), ToString::to_string);
    let watch = match (method.watch, method.pausable) {
        (Watch::None, _) => "runs lights-out",
        (Watch::Site, false) => "while anyone is on shift",
        (Watch::Site, true) => "while anyone is on shift, pauses else",
        (Watch::Full, false) => "watched by one person all the time",
        (Watch::Full, true) => "watched by one person, pauses else",
    };
    let verdict = if method.verdict {
        "; a pass or fail is recorded"
    } else {
        ""
    };
    format!(
        "on a rig that does {}; by {crew}; {watch}{verdict}",
        method.does
    )
}

/// The course on the first rig that can do it from door to door, else on one that follows the method.
fn picture(page: &mut Page, lab: &Lab, method: &Method, lines: Lines) {
    let (course, on) = match &method.length {
        Length::Cycles(_) => return,
        Length::Hold(hold) => {
            let Some(course) = of_shape(method, crate::domain::lab::Amount::Hold(*hold)) else {
                return;
            };
            (course, "as the rig's own programme".to_owned())
        }
        Length::Profile { .. } => match on_a_rig(lab, method) {
            Some(drawn) => drawn,
            None => return,
        },
    };
    let text = draw(&course, lines);
    if text.is_empty() {
        return;
    }
    page.heading(&format!("profile {on}"));
    for line in text {
        page.line(&line);
    }
}

fn on_a_rig(lab: &Lab, method: &Method) -> Option<(Course, String)> {
    let step = plain_step(method);
    let on = on_rigs(lab, method);
    let able = on.iter().filter(|own| own.time.is_ok());
    let rig = able.min_by_key(|own| own.rig.loading == Loading::Held);
    if let Some(own) = rig {
        let course = course_on(lab, own.rig, &step).ok()??;
        return Some((course, format!("on {}", own.rig.id)));
    }
    let nominal = nominal_rig(method);
    let course = course_on(lab, &nominal, &step).ok()??;
    let on = match (nominal.transfer_s, nominal.heat_k_per_min) {
        (Some(seconds), _) => format!("on a rig that moves its load in {seconds} s"),
        (None, rate) => format!("on a rig of {} K/min", rate.unwrap_or_default()),
    };
    Some((course, on))
}

/// A rig that can just do the method, for drawing where the lab has none.
fn nominal_rig(method: &Method) -> Rig {
    let segments = match &method.length {
        Length::Profile { segments, .. } => &segments[..],
        _ => &[],
    };
    let all = || method.before.iter().chain(segments);
    let rates = all().filter_map(|own| match own.pace {
        Pace::Rate(rate) => Some(rate),
        _ => None,
    });
    let rate = rates.fold(2.0, f64::max);
    let moved = all().filter_map(|own| match own.pace {
        Pace::Transfer { seconds_max } => Some(seconds_max),
        _ => None,
    });
    let transfer_s = moved.fold(None, |least: Option<f64>, own| {
        Some(least.map_or(own, |least| least.min(own)))
    });
    let any = Limit {
        min: f64::MIN,
        max: f64::MAX,
    };
    let names = ["temperature_c", "humidity_rh"].map(str::to_owned);
    let limits = names.into_iter().chain(method.severity.keys().cloned());
    Rig {
        id: crate::domain::RigId::new("nominal"),
        name: String::new(),
        does: [method.does.clone()].into(),
        positions: 1,
        loading: Loading::Together,
        load: Minutes::ZERO,
        unload: Minutes::ZERO,
        changeover: Minutes::ZERO,
        limits: limits.map(|name| (name, any)).collect(),
        heat_k_per_min: Some(rate),
        cool_k_per_min: Some(rate),
        cycles_per_min: None,
        calibration_due: None,
        settle: None,
        transfer_s,
    }
}

fn rigs(page: &mut Page, lab: &Lab, method: &Method) {
    if lab.rigs.is_empty() {
        return;
    }
    page.heading(&format!("on the rigs of {}", shown(&lab.name)));
    let on = on_rigs(lab, method);
    if on.is_empty() {
        let words = format!(
            "missing: {}; it would have `does = [\"{}\"]`",
            no_rig(method),
            method.does
        );
        page.say(2, 4, &words);
    }
    for OnRig { rig, time } in &on {
        match time {
            Ok(time) => page.say(2, 4, &rig_line(rig, *time)),
            Err(why_not) => page.say(2, 4, &format!("cannot: {why_not}")),
        }
    }
    let unsaid = |rig: &Rig| rig.settle.is_none() && method.settle.is_none();
    let stable = method.counts_from == CountsFrom::Stable;
    if stable && on.iter().any(|own| own.time.is_ok() && unsaid(own.rig)) {
        let words =
            "no time to settle is in this where a rig has neither `settle` nor `time_constant`";
        page.say(2, 4, words);
    }
}

fn rig_line(rig: &Rig, time: Minutes) -> String {
    let whole = rig.load + time + rig.unload;
    let hands = if whole == time {
        String::new()
    } else {
        format!(", {whole} with load and unload")
    };
    let positions = match (rig.positions, rig.loading) {
        (1, _) => "1 position".to_owned(),
        (some, Loading::Together) => format!("{some} units a run"),
        (some, _) => format!("{some} positions"),
    };
    format!("{} ({}): {time}{hands}; {positions}", rig.id, rig.name)
}

/// What follows from the severity by physics alone.
fn arithmetic(page: &mut Page, method: &Method) {
    let severity = |name: &str| method.severity.get(name).copied();
    let mut said = Vec::new();
    if let (Some(acceleration), Some(pulse)) = (severity("acceleration_g"), severity("pulse_ms")) {
        let change = half_sine_m_per_s(acceleration, pulse);
        said.push(format!("velocity change of a half-sine: {change:.2} m/s"));
    }
    if let Some(height_mm) = severity("height_mm") {
        let speed = fall_m_per_s(height_mm / 1000.0);
        said.push(format!("speed at the end of a free fall: {speed:.2} m/s"));
    }
    if said.is_empty() {
        return;
    }
    page.heading("arithmetic");
    for words in said {
        page.say(2, 4, &words);
    }
}

/// Whose units share a run, and how a count may be shared.
fn sharing(page: &mut Page, method: &Method, standard: Option<&Standard>) {
    let share = match method.share {
        Share::Any => None,
        Share::Product => Some("a run is shared by units of one product only"),
        Share::Request => Some("a run is shared by units of one request only"),
    };
    let (units, each) = match standard {
        Some(own) => (own.units_max, own.cycles_per_unit_max),
        None => (None, None),
    };
    let mut said: Vec<String> = share.into_iter().map(str::to_owned).collect();
    if let (Some(units), Length::Cycles(cycles)) = (units, &method.length) {
        let shares = shared(u32::try_from(*cycles).unwrap_or(u32::MAX), units);
        let shares: Vec<String> = shares.iter().map(ToString::to_string).collect();
        said.push(format!(
            "{cycles} cycles may be shared by at most {units} units ({}): `shared_by` in a step",
            shares.join(" + ")
        ));
    }
    said.extend(each.map(|each| format!("at most {each} cycles on one unit")));
    if said.is_empty() {
        return;
    }
    page.heading("sharing");
    for words in said {
        page.say(2, 4, &words);
    }
}

fn severities(page: &mut Page, standard: &Standard) {
    if standard.listed.is_empty() {
        return;
    }
    page.heading("severities to choose from");
    for row in &standard.listed {
        let lists = row.values.iter().map(|(name, values)| {
            let values: Vec<String> = values
                .iter()
                .map(|value| Listed::text(name, *value))
                .collect();
            format!("{name}: {}", values.join(", "))
        });
        let lists: Vec<String> = lists.collect();
        page.say(2, 4, &format!("{} ({})", lists.join("; "), row.known));
    }
}

fn figures(page: &mut Page, standard: &Standard) {
    if standard.figures.is_empty() && standard.spoils.is_none() {
        return;
    }
    page.heading("figures, and how each is known");
    for figure in &standard.figures {
        let text = format!("{}: {} ({})", figure.what, figure.value, figure.known);
        page.say(2, 4, &text);
    }
    if let Some(known) = standard.spoils {
        let text = format!("after its own check a unit is not to be measured again ({known})");
        page.say(2, 4, &text);
    }
}

fn cautions(page: &mut Page, cautions: &[String]) {
    if cautions.is_empty() {
        return;
    }
    page.heading("cautions");
    for caution in cautions {
        page.say(2, 4, caution);
    }
    page.say(2, 4, PREVAIL);
}
