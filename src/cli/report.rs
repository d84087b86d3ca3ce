//! `rigday report`: papers of a day, a week, a request, the utilisation, and run sheets.

use super::env::Env;
use super::out_file::Output;
use super::place::{Place, no_request};
use super::{Answer, Exit, Failure};
use crate::app::demo_files::is_sample;
use crate::app::desk::Desk;
use crate::app::papers::{self, Made, Week};
use crate::domain::{CrewId, RequestId};
use crate::lab::parse_date;
use crate::report::html::html;
use crate::report::paper::Paper;
use crate::report::plain::plain;
use chrono::NaiveDate;
use clap::{Args, Subcommand};

/// Most days of a paper about utilisation.
const DAYS_MAX: i64 = 1100;

/// Options of `report`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// A day: rigs, verdicts, visits, what is out of use, what else was recorded
    Day {
        /// The local day, such as 2027-03-22; default: today
        date: Option<String>,
        #[command(flatten)]
        how: How,
    },
    /// A week: day by day, rig by rig, what failed, what is late
    Week {
        /// The week, such as 2027-W12, or a day in it; default: this week
        week: Option<String>,
        #[command(flatten)]
        how: How,
    },
    /// The test report of a request: what was asked, every unit's walk, what the results show
    Request {
        /// The request
        id: String,
        #[command(flatten)]
        how: How,
    },
    /// How rigs and crews were and will be used
    Usage {
        /// The first and the last local day; default: the four weeks up to today
        #[arg(value_name = "FROM..TO")]
        days: Option<String>,
        #[command(flatten)]
        how: How,
    },
    /// What a crew does in its shifts of a day, to be ticked and signed
    RunSheet {
        /// The crew; default: all of them
        #[arg(long, value_name = "CREW")]
        crew: Option<String>,
        /// The local day on which the shifts begin; default: today
        #[arg(long, value_name = "DATE")]
        date: Option<String>,
        #[command(flatten)]
        how: How,
    },
}

/// What all papers take.
#[derive(Args)]
struct How {
    #[command(flatten)]
    place: Place,
    #[command(flatten)]
    output: Output,
    /// As plain text instead of HTML
    #[arg(long)]
    plain: bool,
}

/// Writes the paper that is asked for.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    match &arguments.what {
        What::Day { date, how } => {
            let (desk, made) = how.open(env)?;
            let date = date_or_today(date.as_deref(), &desk)?;
            how.put(
                &format!("day-{date}"),
                &papers::day(&desk, date, &made),
                env,
            )
        }
        What::Week { week, how } => {
            let (desk, made) = how.open(env)?;
            let week = week_of(week.as_deref(), &desk)?;
            let name = format!("week-{}", week.name());
            how.put(&name, &papers::week(&desk, week, &made), env)
        }
        What::Request { id, how } => {
            let (desk, made) = how.open(env)?;
            let (place, request) = request_of(id, &desk)?;
            let today = desk.lab.zone.local(desk.now()).date();
            let name = format!("request-{place}-{today}");
            how.put(&name, &papers::request(&desk, request, &made), env)
        }
        What::Usage { days, how } => {
            let (desk, made) = how.open(env)?;
            let (first, last) = days_of(days.as_deref(), &desk)?;
            let name = format!("usage-{first}-to-{last}");
            how.put(&name, &papers::usage(&desk, first, last, &made), env)
        }
        What::RunSheet { crew, date, how } => {
            let (desk, made) = how.open(env)?;
            let date = date_or_today(date.as_deref(), &desk)?;
            let crew = crew.as_ref().map(|id| crew_of(id, &desk)).transpose()?;
            let place = crew
                .as_ref()
                .map_or(String::new(), |(place, _)| format!("-crew-{place}"));
            let paper = papers::run_sheet(&desk, crew.as_ref().map(|own| &own.1), date, &made);
            how.put(&format!("run-sheet-{date}{place}"), &paper, env)
        }
    }
}

/// The desk for looking, and the end of the chain that it has read.
pub(super) fn open(place: &Place, env: &mut Env) -> Result<(Desk, Made), Failure> {
    let mut desk = place.look(env)?;
    let head = desk.head()?;
    let ms = env.host.now_ms();
    let sample = is_sample(&desk)?;
    Ok((desk, Made { ms, head, sample }))
}

impl How {
    fn open(&self, env: &mut Env) -> Result<(Desk, Made), Failure> {
        open(&self.place, env)
    }

    /// Writes the paper under a name that is made here and never from data.
    fn put(&self, name: &str, paper: &Paper, env: &mut Env) -> Answer {
        let (text, ending) = if self.plain {
            (plain(paper), "txt")
        } else {
            (html(paper), "html")
        };
        self.output
            .put(&format!("rigday-{name}.{ending}"), &text, env)
    }
}

fn usage_fault(why: impl std::fmt::Display) -> Failure {
    Failure::new(Exit::Usage, why)
}

fn date_or_today(text: Option<&str>, desk: &Desk) -> Result<NaiveDate, Failure> {
    match text {
        Some(text) => parse_date(text).map_err(usage_fault),
        None => Ok(desk.lab.zone.local(desk.now()).date()),
    }
}

fn week_of(text: Option<&str>, desk: &Desk) -> Result<Week, Failure> {
    match text.and_then(Week::parse) {
        Some(week) => Ok(week),
        None if text.is_some_and(|text| text.contains('W')) => Err(usage_fault(
            "no week of the calendar; write one such as 2027-W12",
        )),
        None => date_or_today(text, desk).map(Week::of),
    }
}

/// The request with its place in the lab, from 1.
fn request_of<'d>(
    id: &str,
    desk: &'d Desk,
) -> Result<(usize, &'d crate::domain::lab::Request), Failure> {
    let wanted = RequestId::new(&crate::domain::text::normal(id.trim()));
    let found = (1..)
        .zip(&desk.lab.requests)
        .find(|(_, own)| own.id == wanted);
    found.ok_or_else(|| no_request(id, desk))
}

fn crew_of(id: &str, desk: &Desk) -> Result<(usize, CrewId), Failure> {
    let found = (1..)
        .zip(&desk.lab.crews)
        .find(|(_, own)| own.id.as_str() == id);
    found
        .map(|(place, own)| (place, own.id.clone()))
        .ok_or_else(|| {
            let known: Vec<&str> = desk.lab.crews.iter().map(|own| own.id.as_str()).collect();
            Failure::failed(format!("no crew {id}; the lab has {}", known.join(", ")))
        })
}

fn days_of(text: Option<&str>, desk: &Desk) -> Result<(NaiveDate, NaiveDate), Failure> {
    let Some(text) = text else {
        let today = desk.lab.zone.local(desk.now()).date();
        return Ok((today - chrono::Days::new(27), today));
    };
    let (first, last) = text
        .split_once("..")
        .ok_or_else(|| usage_fault("days are written FROM..TO, such as 2027-03-01..2027-03-31"))?;
    let (first, last) = (parse_date(first), parse_date(last));
    let (first, last) = (first.map_err(usage_fault)?, last.map_err(usage_fault)?);
    match (last - first).num_days() + 1 {
        days if days < 1 => Err(usage_fault("the last day lies before the first")),
        days if days > DAYS_MAX => Err(usage_fault(format!(
            "{days} days; at most {DAYS_MAX} fit on a paper"
        ))),
        _ => Ok((first, last)),
    }
}
