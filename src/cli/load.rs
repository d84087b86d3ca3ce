//! `rigday load`: how rigs and people are used.

use super::env::Env;
use super::place::{LedgerFile, folder, look};
use super::{Answer, Exit, Failure};
use crate::app::desk::Desk;
use crate::app::load_view::LoadKnown;
use crate::domain::lab::Lab;
use crate::domain::zone::utc_text;
use crate::domain::{Minutes, Zone};
use crate::report::table::Table;
use crate::usage::table::{CrewLoad, Grain, Interval, LoadTable, intervals};
use crate::usage::{Cause, Rate, RequestTime, RigLoad, RigMinutes, State};
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use serde_json::{Map, Value, json};
use std::path::PathBuf;

/// Options of `load`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// First local day; default: today
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// How many days
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u32).range(1..=400))]
    days: u32,
    /// That many ISO weeks in place of days
    #[arg(long, conflicts_with = "days", value_parser = clap::value_parser!(u32).range(1..=104))]
    weeks: Option<u32>,
    /// What the lines are about
    #[arg(long, value_enum, default_value_t = About::Rigs)]
    by: About,
    /// Tab-separated: one line a rig or crew and day or week
    #[arg(long)]
    plain: bool,
    /// JSON: everything
    #[arg(long, conflicts_with_all = ["plain", "by"])]
    json: bool,
}

/// What the lines of the table are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum About {
    /// Minutes of rigs by state
    Rigs,
    /// Hands-on minutes of crews
    Crews,
    /// Touch time of requests, and their waits by cause
    Requests,
    /// Booked work against capacity in the coming weeks, by group of rigs
    Groups,
    /// What exposures took, and rates that fit
    Rates,
}

/// Prints how rigs and people are used, the bottleneck and what is late.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = look(&folder(arguments.lab.as_ref(), env), &arguments.ledger, env)?;
    let first = match &arguments.from {
        Some(text) => crate::lab::parse_date(text).map_err(|why| Failure::new(Exit::Usage, why))?,
        None => desk.lab.zone.local(desk.now()).date(),
    };
    let (count, grain) = match arguments.weeks {
        Some(weeks) => (weeks, Grain::Week),
        None => (arguments.days, Grain::Day),
    };
    let columns = intervals(&desk.lab.zone, first, count as usize, grain);
    let sheet = Sheet::of(&desk, columns);
    let text = match (arguments.json, arguments.plain) {
        (true, _) => sheet.json(),
        (_, true) => sheet.plain(arguments.by).tsv(),
        _ => sheet.for_people(arguments.by),
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

/// Everything there is to tell.
struct Sheet<'d> {
    lab: &'d Lab,
    table: LoadTable,
    requests: Vec<RequestTime>,
    known: LoadKnown,
}

/// Days of a length, with one decimal.
pub(crate) fn in_days(length: Minutes) -> String {
    format!("{:.1}", length.get() as f64 / 1440.0)
}

fn hours(length: Minutes) -> String {
    format!("{:.1}", length.get() as f64 / 60.0)
}

fn minutes(length: Minutes) -> String {
    length.get().to_string()
}

/// Percent, or nothing where there is nothing to be a part of.
fn percent(of: Option<i64>) -> String {
    of.map_or_else(String::new, |percent| percent.to_string())
}

/// The tables that programs read, each with its name: the days from `first` on.
pub(super) fn tables(desk: &Desk, first: NaiveDate, days: usize) -> Vec<(&'static str, Table)> {
    let sheet = Sheet::of(desk, intervals(&desk.lab.zone, first, days, Grain::Day));
    let named = [
        ("load-rigs", About::Rigs),
        ("load-crews", About::Crews),
        ("load-requests", About::Requests),
        ("load-groups", About::Groups),
        ("load-rates", About::Rates),
    ];
    named.map(|(name, by)| (name, sheet.plain(by))).to_vec()
}

impl<'d> Sheet<'d> {
    fn of(desk: &'d Desk, columns: Vec<Interval>) -> Self {
        let known = LoadKnown::of(desk, desk.now());
        Self {
            lab: &desk.lab,
            table: known.usage.table(&desk.lab, columns),
            requests: known.usage.requests(&desk.lab),
            known,
        }
    }

    fn plain(&self, by: About) -> Table {
        match by {
            About::Rigs => self.rigs_by_interval(),
            About::Crews => self.crews_by_interval(),
            About::Requests => self.requests(minutes),
            About::Groups => self.groups(minutes),
            About::Rates => self.rates(),
        }
    }

    fn for_people(&self, by: About) -> String {
        let table = match by {
            About::Rigs => self.rigs(),
            About::Crews => self.crews(),
            About::Requests => self.requests(hours),
            About::Groups => self.groups(in_days),
            About::Rates => self.rates(),
        };
        let mut text = table.aligned();
        match by {
            About::Rigs => text.push_str(&self.summary(&self.lab.zone)),
            About::Requests | About::Crews => text.push_str("in hours\n"),
            About::Groups => text.push_str("in days of a rig\n"),
            About::Rates if self.known.rates.is_empty() => {
                text.push_str("no visit tells what its exposure took: none is over, or ");
                text.push_str("nobody was there when it ended\n");
            }
            About::Rates => {}
        }
        text
    }

    /// A line a rig and interval: every state, and the positions filled.
    fn rigs_by_interval(&self) -> Table {
        let mut header = vec!["rig", "from", "calendar_min"];
        header.extend(State::ALL.map(column));
        header.extend(["filled_min", "open_min", "known"]);
        let mut rows = Vec::new();
        for row in &self.table.rows {
            for (interval, cell) in self.table.intervals.iter().zip(&row.cells) {
                let own = &cell.minutes;
                let mut cells = vec![row.rig.to_string(), interval.first.to_string()];
                cells.push(minutes(own.calendar()));
                cells.extend(State::ALL.map(|state| minutes(own.states[state])));
                cells.extend([minutes(own.filled), minutes(own.open())]);
                cells.push(if cell.is_known { "yes" } else { "no" }.to_owned());
                rows.push(cells);
            }
        }
        Table { header, rows }
    }

    /// A line a rig, in hours.
    fn rigs(&self) -> Table {
        let mut header = vec!["rig"];
        header.extend(State::ALL.map(State::word));
        header.extend(["in_use_%", "filled_%", "backlog_d"]);
        let row = |row: &RigLoad| {
            let total = row.total();
            let mut cells = vec![row.rig.to_string()];
            cells.extend(State::ALL.map(|state| hours(total.states[state])));
            let of_calendar = total.occupied().get() * 100 / total.calendar().get().max(1);
            cells.extend([of_calendar.to_string(), percent(total.filled_percent())]);
            cells.push(in_days(row.backlog));
            cells
        };
        Table {
            header,
            rows: self.table.rows.iter().map(row).collect(),
        }
    }

    fn crews_by_interval(&self) -> Table {
        let mut rows = Vec::new();
        for row in &self.table.crews {
            for (interval, own) in self.table.intervals.iter().zip(&row.cells) {
                rows.push(vec![
                    row.crew.to_string(),
                    interval.first.to_string(),
                    minutes(own.on_shift),
                    minutes(own.hands_on),
                    percent(own.percent()),
                ]);
            }
        }
        let header = vec!["crew", "from", "on_shift_min", "hands_on_min", "percent"];
        Table { header, rows }
    }

    fn crews(&self) -> Table {
        let row = |row: &CrewLoad| {
            let own = row.total();
            let crew = row.crew.to_string();
            vec![
                crew,
                hours(own.on_shift),
                hours(own.hands_on),
                percent(own.percent()),
            ]
        };
        Table {
            header: vec!["crew", "on shift", "hands-on", "%"],
            rows: self.table.crews.iter().map(row).collect(),
        }
    }

    fn requests(&self, length: fn(Minutes) -> String) -> Table {
        let mut header = vec!["request", "units", "total"];
        header.extend(Cause::ALL.map(Cause::word));
        let row = |own: &RequestTime| {
            let mut cells = vec![own.request.to_string(), own.units.to_string()];
            cells.push(length(own.total()));
            cells.extend(Cause::ALL.map(|cause| length(own[cause])));
            cells
        };
        Table {
            header,
            rows: self.requests.iter().map(row).collect(),
        }
    }

    fn groups(&self, length: fn(Minutes) -> String) -> Table {
        let mut rows = Vec::new();
        for group in &self.known.groups {
            for (week, own) in self.known.coming.iter().zip(&group.weeks) {
                rows.push(vec![
                    group.name.clone(),
                    group.rigs.len().to_string(),
                    week.first.format("%G-W%V").to_string(),
                    length(own.booked),
                    length(own.capacity),
                    percent(own.percent()),
                ]);
            }
        }
        let header = vec!["group", "rigs", "week", "booked", "capacity", "percent"];
        Table { header, rows }
    }

    fn rates(&self) -> Table {
        let row = |own: &Rate| {
            let offer = own.offer.as_ref().map(crate::usage::rates::Offer::words);
            vec![
                own.rig.to_string(),
                own.method.to_string(),
                own.visits.to_string(),
                format!("{:.0}", own.planned),
                format!("{:.3}", own.lower),
                format!("{:.3}", own.median),
                format!("{:.3}", own.upper),
                offer.unwrap_or_default(),
            ]
        };
        Table {
            header: vec![
                "rig",
                "method",
                "visits",
                "planned_min",
                "lower",
                "median",
                "upper",
                "offer",
            ],
            rows: self.known.rates.iter().map(row).collect(),
        }
    }

    /// The bottleneck, what is late and why, and rates that fit.
    fn summary(&self, zone: &Zone) -> String {
        let mut text =
            "in hours; in_use_% of the calendar, filled_% of positions while usable\n".to_owned();
        if let Some(own) = &self.known.bottleneck {
            text.push_str(&format!("bottleneck of the next 7 days: {}\n", own.words()));
        }
        for own in &self.known.late {
            let finish = zone.local(own.finish).format("%a %Y-%m-%d %H:%M");
            let (request, late) = (&own.request, own.late);
            text.push_str(&format!(
                "late: {request} by {late}, finishes {finish}; {}\n",
                own.cause()
            ));
        }
        let offers = self.known.offers().count();
        if offers > 0 {
            text.push_str(&format!(
                "rates: {offers} of the lab folder do not fit what happened; --by rates shows them\n"
            ));
        }
        text
    }

    fn json(&self) -> String {
        let value = json!({
            "format": 2,
            "now": utc_text(self.known.usage.now),
            "rigs": self.table.rows.iter().map(|row| self.rig_json(row)).collect::<Vec<Value>>(),
            "crews": self.table.crews.iter().map(|row| self.crew_json(row)).collect::<Vec<Value>>(),
            "requests": self.requests.iter().map(request_json).collect::<Vec<Value>>(),
            "groups": self.known.groups.iter().map(|own| self.group_json(own)).collect::<Vec<Value>>(),
            "bottleneck": self.known.bottleneck.as_ref().map(|own| json!({
                "name": own.who.name(), "percent": own.percent, "days": 7,
                "holds_up_minutes": own.holds_up.as_ref().map(|own| own.minutes.get()),
                "words": own.words(),
            })),
            "late": self.known.late.iter().map(late_json).collect::<Vec<Value>>(),
            "rates": self.known.rates.iter().map(rate_json).collect::<Vec<Value>>(),
        });
        format!("{value:#}\n")
    }

    fn rig_json(&self, row: &RigLoad) -> Value {
        let cells = self.table.intervals.iter().zip(&row.cells);
        let cell = |(interval, cell): (&crate::usage::Interval, &crate::usage::Cell)| {
            let mut own = rig_minutes_json(&cell.minutes);
            own.insert("from".to_owned(), json!(utc_text(interval.span.start)));
            own.insert("to".to_owned(), json!(utc_text(interval.span.end)));
            own.insert("day".to_owned(), json!(interval.first.to_string()));
            own.insert("known".to_owned(), json!(cell.is_known));
            Value::Object(own)
        };
        json!({
            "rig": row.rig.as_str(), "positions": row.positions,
            "backlog_minutes": row.backlog.get(),
            "intervals": cells.map(cell).collect::<Vec<Value>>(),
        })
    }

    fn crew_json(&self, row: &CrewLoad) -> Value {
        let cells = self
            .table
            .intervals
            .iter()
            .zip(&row.cells)
            .map(|(interval, own)| {
                json!({
                    "from": utc_text(interval.span.start), "to": utc_text(interval.span.end),
                    "on_shift_minutes": own.on_shift.get(), "hands_on_minutes": own.hands_on.get(),
                })
            });
        json!({ "crew": row.crew.as_str(), "intervals": cells.collect::<Vec<Value>>() })
    }

    fn group_json(&self, own: &crate::usage::GroupLoad) -> Value {
        let weeks = self.known.coming.iter().zip(&own.weeks).map(|(week, demand)| {
            json!({
                "from": utc_text(week.span.start), "to": utc_text(week.span.end),
                "booked_minutes": demand.booked.get(), "capacity_minutes": demand.capacity.get(),
            })
        });
        json!({
            "name": own.name, "rigs": own.rigs.iter().map(ToString::to_string).collect::<Vec<String>>(),
            "weeks": weeks.collect::<Vec<Value>>(),
        })
    }
}

/// The name of a state's column of minutes.
const fn column(state: State) -> &'static str {
    match state {
        State::Down => "down_min",
        State::Calibration => "calibration_min",
        State::Exposure => "exposure_min",
        State::Loading => "loading_min",
        State::Paused => "paused_min",
        State::Waiting => "waiting_min",
        State::Changeover => "changeover_min",
        State::HeldBack => "held_back_min",
        State::NoPeople => "no_people_min",
        State::NoUnits => "no_units_min",
        State::Idle => "idle_min",
    }
}

fn rig_minutes_json(own: &RigMinutes) -> Map<String, Value> {
    let states = State::ALL.map(|state| (state.word().to_owned(), json!(own.states[state].get())));
    let mut all = Map::new();
    all.insert("calendar_minutes".to_owned(), json!(own.calendar().get()));
    all.insert(
        "state_minutes".to_owned(),
        Value::Object(states.into_iter().collect()),
    );
    all.insert("filled_minutes".to_owned(), json!(own.filled.get()));
    all.insert("open_minutes".to_owned(), json!(own.open().get()));
    all
}

fn request_json(own: &RequestTime) -> Value {
    let causes = Cause::ALL.map(|cause| (cause.word().to_owned(), json!(own[cause].get())));
    json!({
        "request": own.request.as_str(), "units": own.units,
        "minutes": Value::Object(causes.into_iter().collect()),
    })
}

fn late_json(own: &crate::usage::LateRequest) -> Value {
    json!({
        "request": own.request.as_str(), "finish": utc_text(own.finish),
        "late_minutes": own.late.get(), "cause": own.cause(), "chain": own.chain,
    })
}

fn rate_json(own: &Rate) -> Value {
    json!({
        "rig": own.rig.as_str(), "method": own.method.as_str(), "visits": own.visits,
        "planned_minutes": own.planned, "lower": own.lower, "median": own.median,
        "upper": own.upper, "offer": own.offer.as_ref().map(crate::usage::rates::Offer::words),
    })
}
