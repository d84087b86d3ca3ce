//! `rigday what-if`: a changed lab planned beside the plan in force.

use super::effort::Effort;
use super::env::Env;
use super::place::{LedgerFile, folder, look, read_lab};
use super::{Answer, Exit, Failure};
use crate::app::desk::Planning;
use crate::app::what_if::{Change, FORMS, Row, WhatIf};
use crate::app::when::Asked;
use crate::domain::plan::Finish;
use crate::domain::zone::utc_text;
use crate::domain::{Facts, Minutes, Zone};
use crate::floor::Published;
use crate::report::table::Table;
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;

/// Options of `what-if`.
#[derive(Args)]
#[command(after_help = forms())]
pub(crate) struct Arguments {
    /// The lab folder, if the first word is no change, then one change an argument
    #[arg(value_name = "[LAB] CHANGE", required = true)]
    words: Vec<String>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// Plan the folder alone from this instant; no ledger is read
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    #[command(flatten)]
    effort: Effort,
    /// Print every request, tab-separated
    #[arg(long)]
    plain: bool,
    /// JSON
    #[arg(long, conflicts_with = "plain")]
    json: bool,
}

/// Every form of a change, for the help.
fn forms() -> String {
    let wide = FORMS.iter().map(|(form, _)| form.len()).max().unwrap_or(0);
    let lines = FORMS
        .iter()
        .map(|(form, what)| format!("  {form:wide$}  {what}\n"));
    let lines: String = lines.collect();
    format!(
        "Changes, each in quotes:\n{lines}\
         A time is 2027-03-23T06:00, 14:30, mon, w13 or +4h; what has spaces stands in double quotes.\n\
         Nothing is recorded and no file is changed."
    )
}

/// Plans without and with the changes, and prints the difference by request.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    arguments.effort.check()?;
    let (named, lines) = split(&arguments.words);
    let folder = folder(named.as_ref(), env);
    let (planning, published) = planning(&folder, arguments, env)?;
    let zone = planning.lab().zone.clone();
    let asked = Asked {
        zone: &zone,
        now: planning.now(),
        dates: env.user_files().settings.dates,
    };
    let changes: Result<Vec<Change>, String> = lines
        .iter()
        .map(|line| Change::parse(line, &asked))
        .collect();
    let changes = changes.map_err(usage)?;
    if changes.is_empty() {
        return Err(usage("no change is given; see --help".to_owned()));
    }
    let mut plan = |planning: &Planning| arguments.effort.plan(planning);
    let what_if = WhatIf::run(planning, published, changes, &mut plan).map_err(usage)?;
    let clashes = what_if
        .unchanged
        .clashes
        .iter()
        .chain(&what_if.changed.clashes);
    let clashes: Vec<String> = clashes
        .map(|clash| format!("{} {}", clash.rule.name(), clash.text))
        .collect();
    for clash in &clashes {
        env.say(clash);
    }
    let text = match (arguments.json, arguments.plain) {
        (true, _) => json(&what_if, &zone),
        (_, true) => plain(&what_if, &zone).tsv(),
        _ => for_people(&what_if, &zone),
    };
    env.print(&text)?;
    Ok(if clashes.is_empty() {
        Exit::Done
    } else {
        Exit::Clashes
    })
}

fn usage(why: String) -> Failure {
    Failure::new(Exit::Usage, why)
}

/// The folder, where the first argument is none of the changes.
fn split(words: &[String]) -> (Option<PathBuf>, &[String]) {
    let verb = words[0].split_whitespace().next().unwrap_or_default();
    let is_change = Change::is_verb(verb) || words[0].contains(char::is_whitespace);
    if is_change && !std::path::Path::new(&words[0]).is_dir() {
        return (None, words);
    }
    (Some(PathBuf::from(&words[0])), &words[1..])
}

/// What is planned, and the plan in force.
fn planning(
    folder: &std::path::Path,
    arguments: &Arguments,
    env: &mut Env,
) -> Result<(Planning, Option<Published>), Failure> {
    if let Some(at) = &arguments.at {
        let lab = read_lab(folder, env)?.lab;
        let now = env.instant(at, &lab.zone)?;
        return Ok((Planning::new(Arc::new(lab), Facts::default(), now), None));
    }
    let desk = look(folder, &arguments.ledger, env)?;
    let published = desk.floor.now.published.clone();
    Ok((desk.planning(), published))
}

/// What changes, in some lines: cost, then every request for which it makes a difference.
fn for_people(what_if: &WhatIf, zone: &Zone) -> String {
    let mut text = String::from("what if:\n");
    for change in &what_if.changes {
        text.push_str(&format!("  {}\n", change.words(zone)));
    }
    let (before, after) = (what_if.unchanged.plan.cost, what_if.changed.plan.cost);
    let sign = if after >= before { "+" } else { "" };
    text.push_str(&format!(
        "cost {before} without, {after} with ({sign}{})",
        after - before
    ));
    if let Some(published) = &what_if.published {
        text.push_str(&format!("; the plan in force cost {}", published.cost));
    }
    text.push('\n');
    let rows: Vec<Row> = what_if.rows();
    let differ: Vec<&Row> = rows.iter().filter(|row| row.differs()).collect();
    if differ.is_empty() {
        text.push_str("no request finishes at another time\n");
    } else {
        let rows = differ.iter().map(|row| cells(row, zone)).collect();
        text.push_str(
            &Table {
                header: HEADER.to_vec(),
                rows,
            }
            .aligned(),
        );
        let same = rows_same(&what_if.rows());
        text.push_str(&format!("{same} requests finish as without the changes\n"));
    }
    text.push_str("nothing is published; nothing was recorded\n");
    text
}

fn rows_same(rows: &[Row]) -> usize {
    rows.iter().filter(|row| !row.differs()).count()
}

const HEADER: [&str; 7] = [
    "request",
    "published",
    "without",
    "with",
    "by",
    "late",
    "late with",
];

fn cells(row: &Row, zone: &Zone) -> Vec<String> {
    let finish = |own: &Option<Finish>| {
        own.as_ref().map_or("-".to_owned(), |own| {
            zone.local(own.finish)
                .format("%a %Y-%m-%d %H:%M")
                .to_string()
        })
    };
    let late = |own: &Option<Finish>| match own {
        Some(own) if own.late > Minutes::ZERO => own.late.to_string(),
        Some(_) => String::new(),
        None => "-".to_owned(),
    };
    let by = row.later().map_or(String::new(), |by| {
        format!("{}{by}", if by > Minutes::ZERO { "+" } else { "" })
    });
    let with = match &row.left {
        Some(left) => format!("left out: step {}: {}", left.step, left.reason),
        None => finish(&row.changed),
    };
    vec![
        row.request.to_string(),
        finish(&row.published),
        finish(&row.unchanged),
        with,
        by,
        late(&row.unchanged),
        late(&row.changed),
    ]
}

/// Every request with its finish in the three plans, in the lab's time with its offset.
fn plain(what_if: &WhatIf, zone: &Zone) -> Table {
    let header = vec![
        "request",
        "published",
        "without",
        "with",
        "later_min",
        "late_min",
        "late_with_min",
        "left_out",
    ];
    let finish = |own: &Option<Finish>| {
        own.as_ref().map_or(String::new(), |own| {
            crate::lab::offset_text(zone, own.finish)
        })
    };
    let late = |own: &Option<Finish>| {
        own.as_ref()
            .map_or(String::new(), |own| own.late.get().to_string())
    };
    let row = |own: &Row| {
        vec![
            own.request.to_string(),
            finish(&own.published),
            finish(&own.unchanged),
            finish(&own.changed),
            own.later().map_or(String::new(), |by| by.get().to_string()),
            late(&own.unchanged),
            late(&own.changed),
            own.left
                .as_ref()
                .map_or(String::new(), |left| left.reason.clone()),
        ]
    };
    Table {
        header,
        rows: what_if.rows().iter().map(row).collect(),
    }
}

fn json(what_if: &WhatIf, zone: &Zone) -> String {
    let finish = |own: &Option<Finish>| {
        own.as_ref().map(|own| {
            serde_json::json!({
                "finish": utc_text(own.finish), "late_minutes": own.late.get(),
                "flow_minutes": own.flow.get(),
            })
        })
    };
    let row = |own: &Row| {
        serde_json::json!({
            "id": own.request.as_str(), "published": finish(&own.published),
            "without": finish(&own.unchanged), "with": finish(&own.changed),
            "later_minutes": own.later().map(Minutes::get),
            "left_out": own.left.as_ref().map(|left| {
                serde_json::json!({ "step": left.step, "reason": left.reason })
            }),
        })
    };
    let changes = what_if.changes.iter().map(|change| change.text(zone));
    let value = serde_json::json!({
        "format": 1,
        "now": utc_text(what_if.base.now()),
        "changes": changes.collect::<Vec<String>>(),
        "cost": {
            "published": what_if.published.as_ref().map(|plan| plan.cost),
            "without": what_if.unchanged.plan.cost,
            "with": what_if.changed.plan.cost,
        },
        "requests": what_if.rows().iter().map(row).collect::<Vec<_>>(),
    });
    format!("{value:#}\n")
}
