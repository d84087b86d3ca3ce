//! `rigday evidence`: what the results show.

use super::env::Env;
use super::place::{Place, no_request};
use super::{Answer, Exit};
use crate::app::evidence::{LegEvidence, fate_word, legs, standing_word, told_fraction};
use crate::app::line_samples::{LineSamples, line_samples};
use crate::app::offers::{Offer, offers};
use crate::evidence::coverage::NOMINAL;
use crate::evidence::leg::{Fate, Seen};
use crate::evidence::picture::Picture;
use crate::evidence::weibull::End;
use crate::report::evidence_svg::evidence_svg;
use crate::report::table::Table;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `evidence`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// A request: everything that its units say
    leg: Option<String>,
    /// Tab-separated: a line a leg, or a line a unit of one
    #[arg(long)]
    plain: bool,
    /// JSON
    #[arg(long, conflicts_with = "plain")]
    json: bool,
    /// Draw the plots of the leg as SVG; - is standard output
    #[arg(long, value_name = "FILE", requires = "leg", conflicts_with_all = ["plain", "json"])]
    svg: Option<PathBuf>,
}

/// Prints what the verdicts of all legs, or of one, show.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = arguments.place.look(env)?;
    let mut all = legs(&desk);
    let lines = line_samples(&all);
    let offers = offers(&desk, &all, &lines);
    if let Some(leg) = &arguments.leg {
        all.retain(|own| own.leg.request.id.as_str() == leg.as_str());
        if all.is_empty() {
            return Err(no_request(leg, &desk));
        }
    }
    if let (Some(file), [own]) = (&arguments.svg, &all[..]) {
        return svg(own, file, env);
    }
    let text = match (arguments.json, arguments.plain, &arguments.leg, &all[..]) {
        (true, ..) => json(&all, &lines, &offers),
        (_, true, Some(_), [own]) => units(own).tsv(),
        (_, true, ..) => table(&all).tsv(),
        (_, _, Some(_), [own]) => details(own, &lines),
        _ => table(&all).aligned() + &overall(&lines, &offers),
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

/// Writes the plots of a leg.
fn svg(own: &LegEvidence, file: &Path, env: &mut Env) -> Answer {
    const STEPS: usize = 200;
    let picture = Picture::of(&own.leg, &own.evidence, STEPS);
    let unit = own.leg.axis.unit.word();
    let text = evidence_svg(&picture, unit, own.leg.request.id.as_str(), &own.lines());
    if file.as_os_str() == "-" {
        env.print(&text)?;
    } else {
        super::out_file::write(file, text.as_bytes(), true)?;
    }
    Ok(Exit::Done)
}

fn details(own: &LegEvidence, lines: &[LineSamples]) -> String {
    let mut all = own.lines();
    let line = lines
        .iter()
        .find(|line| line.requests.contains(&own.leg.request.id));
    all.extend(line.iter().flat_map(|line| line.lines()));
    all.iter()
        .map(|line| crate::domain::text::shown(line) + "\n")
        .collect()
}

/// Lines month by month, and what the evidence offers the plan.
fn overall(lines: &[LineSamples], offers: &[Offer]) -> String {
    let lines = lines.iter().flat_map(LineSamples::lines);
    let offers = offers.iter().map(|own| format!("offer: {}", own.words()));
    lines
        .chain(offers)
        .map(|line| crate::domain::text::shown(&line) + "\n")
        .collect()
}

pub(super) fn table(all: &[LegEvidence]) -> Table {
    let header = vec![
        "request",
        "product",
        "build",
        "units",
        "failed",
        "survived",
        "open",
        "left",
        "shown",
        "confidence",
        "goal",
        "standing",
        "shape",
        "scale",
        "in",
        "time_lower_likelihood_ratio",
        "time_lower_fisher",
        "held_likelihood_ratio_percent",
        "held_fisher_percent",
    ];
    let number = |x: Option<f64>| x.map_or(String::new(), |x| format!("{x:.6}"));
    let row = |own: &LegEvidence| {
        let (request, counts) = (&own.leg.request, own.evidence.counts);
        let fit = own.evidence.fit.as_ref().ok();
        let (p, c) = (told_fraction(&own.leg), own.evidence.confidence);
        let held = own.short_coverage();
        let percent = |own: Option<u32>| own.map_or(String::new(), |own| own.to_string());
        vec![
            request.id.to_string(),
            request.product.clone(),
            request.build.clone(),
            request.units.len().to_string(),
            counts.failed.to_string(),
            counts.survived.to_string(),
            counts.open.to_string(),
            counts.left.to_string(),
            number(own.evidence.shown()),
            own.evidence.confidence.to_string(),
            request
                .show
                .as_ref()
                .map_or(String::new(), |show| show.reliability.to_string()),
            standing_word(own.evidence.standing).to_owned(),
            number(fit.map(crate::evidence::weibull::Fit::beta)),
            number(fit.map(crate::evidence::weibull::Fit::eta)),
            own.leg.axis.unit.word().to_owned(),
            number(fit.and_then(|fit| fit.b_lr(p, c, End::Lower).ok())),
            number(fit.and_then(|fit| fit.b_fm(p, c, End::Lower).ok())),
            percent(held.map(|own| own.likelihood_ratio)),
            percent(held.map(|own| own.fisher)),
        ]
    };
    Table {
        header,
        rows: all.iter().map(row).collect(),
    }
}

fn units(own: &LegEvidence) -> Table {
    let row = |seen: &Seen| {
        let (by, why) = match &seen.fate {
            Fate::Failed { by, reason } => (by.to_string(), reason.clone()),
            Fate::Left { why } => (String::new(), why.clone()),
            Fate::Open | Fate::Whole => (String::new(), String::new()),
        };
        vec![
            seen.unit.to_string(),
            fate_word(&seen.fate).to_owned(),
            seen.good_at.to_string(),
            by,
            own.leg.axis.unit.word().to_owned(),
            why,
        ]
    };
    Table {
        header: vec!["unit", "fate", "good_at", "failed_by", "in", "why"],
        rows: own.leg.units.iter().map(row).collect(),
    }
}

fn json(all: &[LegEvidence], lines: &[LineSamples], offers: &[Offer]) -> String {
    let legs: Vec<serde_json::Value> = all.iter().map(leg_json).collect();
    let lines: Vec<serde_json::Value> = lines.iter().map(line_json).collect();
    let offers: Vec<String> = offers.iter().map(Offer::words).collect();
    let value = serde_json::json!({ "format": 1, "legs": legs, "lines": lines, "offers": offers });
    format!("{value:#}\n")
}

fn line_json(own: &LineSamples) -> serde_json::Value {
    let months = own.requests.iter().zip(&own.months).map(|(request, month)| {
        serde_json::json!({ "request": request.as_str(), "units": month.units, "failed": month.failed })
    });
    let cusum = own.series.cusum.as_ref().ok().map(|cusum| {
        serde_json::json!({
            "sums": cusum.sums, "reference": cusum.reference, "limit": cusum.limit,
            "false_alarm_months": cusum.false_alarm_months, "catch_months": cusum.catch_months,
            "signal": cusum.signal,
        })
    });
    serde_json::json!({
        "line": own.name, "samples": months.collect::<Vec<_>>(), "newest_p": own.series.newest_p,
        "cusum": cusum, "growth_exponent": own.series.trend.map(|trend| trend.beta),
        "alarm": own.alarm(),
    })
}

fn leg_json(own: &LegEvidence) -> serde_json::Value {
    let (request, evidence) = (&own.leg.request, &own.evidence);
    let counts = evidence.counts;
    let p = told_fraction(&own.leg);
    let c = evidence.confidence;
    let fit = match &evidence.fit {
        Ok(fit) => serde_json::json!({
            "shape": fit.beta(), "scale": fit.eta(), "log_likelihood": fit.loglik(),
            "fraction": p, "time": fit.b(p).ok(),
            "time_lower_likelihood_ratio": fit.b_lr(p, c, End::Lower).ok(),
            "time_lower_fisher": fit.b_fm(p, c, End::Lower).ok(),
            "mission_reliability": fit.r(own.leg.mission()).ok(),
            "mission_reliability_lower_likelihood_ratio": fit.r_lr(own.leg.mission(), c, End::Lower).ok(),
            "mission_reliability_lower_fisher": fit.r_fm(own.leg.mission(), c, End::Lower).ok(),
            "bounds_held_percent": own.short_coverage().map(|held| serde_json::json!({
                "nominal": NOMINAL, "likelihood_ratio": held.likelihood_ratio, "fisher": held.fisher,
                "units": held.units, "checks": held.checks,
            })),
        }),
        Err(why) => serde_json::json!({ "none": why.to_string() }),
    };
    let by_shape: Vec<_> = evidence
        .by_shape
        .iter()
        .map(|(shape, shown)| serde_json::json!({ "shape": shape, "shown": shown }))
        .collect();
    serde_json::json!({
        "request": request.id.as_str(), "product": request.product, "build": request.build,
        "in": own.leg.axis.unit.word(), "mission": own.leg.mission(),
        "units": request.units.len(), "failed": counts.failed, "survived": counts.survived,
        "open": counts.open, "left": counts.left,
        "confidence": c, "shown_by_units": evidence.by_units, "shown_by_shape": by_shape,
        "goal": request.show.as_ref().map(|show| show.reliability),
        "standing": standing_word(evidence.standing),
        "clean_units_missing": evidence.remains.clean_units,
        "life_each_missing": evidence.remains.life_each,
        "sequential": evidence.sequential.map(|own| own.decision.word()),
        "fit": fit,
        "says": own.lines(),
    })
}
