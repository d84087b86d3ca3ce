//! `rigday method`: the methods of the lab and the catalogue; one of them explained, with its profile drawn
//! and its time on each rig.

mod graph;
mod page;

use super::env::Env;
use super::place::{folder, read_lab};
use super::{Answer, Exit, Failure};
use crate::domain::lab::{BenchRules, Lab, Method, Rest};
use crate::domain::steps::{WalkStep, own_amount};
use crate::domain::{MethodId, Minutes, StandardId, Zone};
use crate::lab::{catalogue, nearest};
use crate::problem::time_on;
use crate::report::table::Table;
use clap::Args;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// Options of `method`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// A method, or a standard such as `cold`; without it all are listed
    name: Option<String>,
    /// The lab folder; default: $RIGDAY_LAB, then the current folder, else the catalogue alone
    #[arg(long, value_name = "DIR")]
    lab: Option<PathBuf>,
    /// Tab-separated: the time of every method on every rig that could be meant
    #[arg(long, conflicts_with = "name")]
    plain: bool,
}

/// Lists methods, or explains one.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let folder = folder(arguments.lab.as_ref(), env);
    let named = arguments.lab.is_some() || env.lab.is_some();
    let lab = if named || folder.join("lab.toml").exists() {
        read_lab(&folder, env)?.lab
    } else {
        env.say("there is no lab in this folder: the catalogue alone is shown");
        catalogue_alone()
    };
    let text = match &arguments.name {
        None if arguments.plain => times(&lab).tsv(),
        None => page::list(&lab),
        Some(name) => {
            let lines = graph::Lines::new(env.choice(&env.user_files().looks)?.theme.unicode);
            explained(&lab, name, lines)?
        }
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

fn explained(lab: &Lab, name: &str, lines: graph::Lines) -> Result<String, Failure> {
    if let Some(method) = lab.methods.get(&MethodId::new(name)) {
        return Ok(page::method(lab, method, lines));
    }
    if let Some(standard) = lab.standards.get(&StandardId::new(name)) {
        return Ok(page::standard(lab, standard));
    }
    let methods = lab.methods.keys().map(MethodId::as_str);
    let standards = lab.standards.keys().map(StandardId::as_str);
    let near = nearest(name, methods.chain(standards));
    let near = near.map_or(String::new(), |near| format!("; did you mean {near}?"));
    let text = format!("there is no method `{name}`{near}; `rigday method` lists them all");
    Err(Failure::new(Exit::Failed, text))
}

/// A lab that has nothing but the catalogue.
fn catalogue_alone() -> Lab {
    let catalogue = catalogue();
    Lab {
        name: "catalogue".to_owned(),
        zone: Zone::utc(),
        ambient_c: 23.0,
        freeze: Minutes::ZERO,
        horizon: Minutes::DAY,
        closed: BTreeSet::new(),
        crews: Vec::new(),
        rigs: Vec::new(),
        outages: Vec::new(),
        methods: catalogue.methods,
        standards: catalogue.standards,
        sequences: Vec::new(),
        requests: Vec::new(),
        pins: Vec::new(),
        fail_reasons: Vec::new(),
        bench: BenchRules::default(),
    }
}

/// The method as a step of its own, without any override.
fn plain_step(method: &Method) -> WalkStep {
    WalkStep {
        method: method.id.clone(),
        amount: own_amount(&method.length),
        severity: method.severity.clone(),
        rest: Rest::ANY,
    }
}

/// A rig that does what the method asks for, with the time there or why it cannot.
struct OnRig<'l> {
    rig: &'l crate::domain::lab::Rig,
    time: Result<Minutes, String>,
}

/// Every rig with the method's capability.
fn on_rigs<'l>(lab: &'l Lab, method: &Method) -> Vec<OnRig<'l>> {
    let step = plain_step(method);
    let able = lab
        .rigs
        .iter()
        .filter(|rig| rig.does.contains(&method.does));
    able.map(|rig| OnRig {
        rig,
        time: time_on(lab, rig, &step),
    })
    .collect()
}

fn times(lab: &Lab) -> Table {
    let mut rows = Vec::new();
    for method in lab.methods.values() {
        let standard = method.standard.as_ref().map_or("", StandardId::as_str);
        let row = |rig: &str, minutes: String, why_not: String| {
            vec![
                method.id.to_string(),
                standard.to_owned(),
                method.does.clone(),
                rig.to_owned(),
                minutes,
                why_not,
            ]
        };
        let on = on_rigs(lab, method);
        if on.is_empty() {
            rows.push(row("", String::new(), no_rig(method)));
        }
        for own in on {
            let (minutes, why_not) = match own.time {
                Ok(minutes) => (minutes.get().to_string(), String::new()),
                Err(why_not) => (String::new(), why_not),
            };
            rows.push(row(own.rig.id.as_str(), minutes, why_not));
        }
    }
    let header = vec!["method", "standard", "does", "rig", "minutes", "why_not"];
    Table { header, rows }
}

fn no_rig(method: &Method) -> String {
    format!("no rig does {}", method.does)
}

/// Methods by the name of their standard, those of none first.
fn by_standard(lab: &Lab) -> BTreeMap<&str, Vec<&Method>> {
    let mut all: BTreeMap<&str, Vec<&Method>> = BTreeMap::new();
    for method in lab.methods.values() {
        let standard = method
            .standard
            .as_ref()
            .and_then(|id| lab.standards.get(id));
        let name = standard.map_or("", |own| &own.name);
        all.entry(name).or_default().push(method);
    }
    all
}
