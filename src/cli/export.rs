//! `rigday export`: tables as CSV and bookings as a calendar, for other programs.

use super::env::Env;
use super::out_file::{Output, write};
use super::place::Place;
use super::report::open;
use super::{Answer, Exit, Failure};
use crate::app::desk::Desk;
use crate::app::evidence::legs;
use crate::app::papers::{Made, PROGRAM, Whose, entries};
use crate::app::review::review;
use crate::app::walk::{rig_word, walk_of};
use crate::domain::lab::{Loading, Request, Rig};
use crate::domain::{Booking, CrewId, Minute, Minutes, RigId};
use crate::report::ical::Calendar;
use crate::report::table::Table;
use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Columns that hold numbers of our own, besides those that end with `_min` or `_minutes`; every other cell
/// is text.
const NUMBERS: [&str; 27] = [
    "seq",
    "step",
    "steps",
    "units",
    "positions",
    "position",
    "run",
    "priority",
    "minutes_left",
    "percent",
    "rigs",
    "booked",
    "capacity",
    "visits",
    "lower",
    "median",
    "upper",
    "failed",
    "survived",
    "open",
    "left",
    "shown",
    "confidence",
    "goal",
    "shape",
    "scale",
    "total",
];
/// How many hours ahead the table of what is due looks.
const DUE_HOURS: i64 = 24;
/// How many days the table of the rigs' load has.
const LOAD_DAYS: usize = 7;

/// Options of `export`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// A table as comma-separated text (RFC 4180), or all of them, a file each
    Csv {
        /// The table
        table: Name,
        #[command(flatten)]
        place: Place,
        #[command(flatten)]
        output: Output,
    },
    /// What runs and what is booked, as a calendar (iCalendar, RFC 5545), times in UTC
    Ical {
        /// The bookings of one rig
        #[arg(long, value_name = "RIG", conflicts_with = "crew")]
        rig: Option<String>,
        /// The hands-on work of one crew
        #[arg(long, value_name = "CREW")]
        crew: Option<String>,
        #[command(flatten)]
        place: Place,
        #[command(flatten)]
        output: Output,
    },
}

/// A table, or all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Name {
    /// Every table below, a file each, with the ledger's head beside them
    All,
    /// Units as they stand
    Units,
    /// Every step of every unit
    Walks,
    /// The bookings of the plan in force
    Bookings,
    /// What is due at the bench within a day
    Due,
    /// Requests, with their finish by the plan in force
    Requests,
    /// Rigs as they stand
    Rigs,
    /// Minutes of rigs by state, in the seven days from today
    LoadRigs,
    /// Hands-on minutes of crews in the same days
    LoadCrews,
    /// Touch time of requests, and their waits by cause
    LoadRequests,
    /// Booked work against capacity in the coming weeks
    LoadGroups,
    /// What exposures took, and rates that fit
    LoadRates,
    /// What the results of each request show
    Evidence,
    /// The ledger, one event a line
    Log,
    /// What did not go its plain way since the last signature
    Review,
}

impl Name {
    /// As it is written on the command line and in the names of files.
    fn word(self) -> String {
        self.to_possible_value()
            .map_or(String::new(), |own| own.get_name().to_owned())
    }

    /// The table as comma-separated text.
    fn csv(self, desk: &Desk) -> Result<String, Failure> {
        let table = self.table(desk)?;
        let is_number = |column: &&str| match self {
            Self::LoadRequests => *column != "request",
            _ => {
                NUMBERS.contains(column) || column.ends_with("_min") || column.ends_with("_minutes")
            }
        };
        let numbers: Vec<&str> = table.header.iter().copied().filter(is_number).collect();
        Ok(table.csv_with_numbers(&numbers))
    }

    fn table(self, desk: &Desk) -> Result<Table, Failure> {
        let now = desk.now();
        Ok(match self {
            Self::All | Self::Units => super::units::unit_table(desk, ""),
            Self::Walks => walks(desk),
            Self::Bookings => bookings(desk),
            Self::Due => {
                let until = now + Minutes::hours(DUE_HOURS);
                let due = desk.floor.due(&desk.lab, &desk.walks, now, until);
                super::due::table(desk, &due)
            }
            Self::Requests => requests(desk),
            Self::Rigs => rigs(desk),
            Self::LoadRigs
            | Self::LoadCrews
            | Self::LoadRequests
            | Self::LoadGroups
            | Self::LoadRates => {
                let today = desk.lab.zone.local(now).date();
                let tables = super::load::tables(desk, today, LOAD_DAYS);
                let own = tables.into_iter().find(|(name, _)| *name == self.word());
                own.expect("every table of the load has its name").1
            }
            Self::Evidence => super::evidence::table(&legs(desk)),
            Self::Log => super::log::table(desk)?,
            Self::Review => review(desk)?.table,
        })
    }
}

/// Writes the tables or the calendar.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    match &arguments.what {
        What::Csv {
            table: Name::All,
            place,
            output,
        } => {
            let (desk, made) = open(place, env)?;
            all(&desk, &made, output, env)
        }
        What::Csv {
            table,
            place,
            output,
        } => {
            let (desk, made) = open(place, env)?;
            env.say(&format!("ledger: {}", made.head.line()));
            let text = table.csv(&desk)?;
            output.put(&format!("rigday-{}.csv", table.word()), &text, env)
        }
        What::Ical {
            rig,
            crew,
            place,
            output,
        } => {
            let (desk, made) = open(place, env)?;
            let whose = whose(rig.as_deref(), crew.as_deref(), &desk)?;
            ical(&desk, &made, &whose, output, env)
        }
    }
}

/// Every table into a folder, and the head that all of them were made from.
fn all(desk: &Desk, made: &Made, output: &Output, env: &mut Env) -> Answer {
    if output.is_stdout() {
        let why = "all tables are files of their own; name one table, or a folder with --out";
        return Err(Failure::new(Exit::Usage, why));
    }
    let folder = output.out.clone().unwrap_or_else(|| PathBuf::from("."));
    std::fs::create_dir_all(&folder)
        .map_err(|error| Failure::failed(format!("{}: {error}", folder.display())))?;
    let put = |name: String, text: &str, env: &mut Env| {
        let path = folder.join(name);
        write(&path, text.as_bytes(), output.force)?;
        let path = crate::domain::text::shown(&path.display().to_string());
        env.print(&format!("{path}\n"))
    };
    for own in Name::value_variants()
        .iter()
        .filter(|own| **own != Name::All)
    {
        let text = own.csv(desk)?;
        put(format!("rigday-{}.csv", own.word()), &text, env)?;
    }
    put(
        "rigday-head.txt".to_owned(),
        &format!("{}\n", made.head.line()),
        env,
    )?;
    Ok(Exit::Done)
}

fn whose(rig: Option<&str>, crew: Option<&str>, desk: &Desk) -> Result<Whose, Failure> {
    let unknown = |what: &str, id: &str, known: Vec<&str>| {
        Failure::failed(format!("no {what} {id}; the lab has {}", known.join(", ")))
    };
    if let Some(id) = rig {
        let known: Vec<&str> = desk.lab.rigs.iter().map(|own| own.id.as_str()).collect();
        if !known.contains(&id) {
            return Err(unknown("rig", id, known));
        }
        return Ok(Whose::Rig(RigId::new(id)));
    }
    let Some(id) = crew else {
        return Ok(Whose::All);
    };
    let known: Vec<&str> = desk.lab.crews.iter().map(|own| own.id.as_str()).collect();
    if !known.contains(&id) {
        return Err(unknown("crew", id, known));
    }
    Ok(Whose::Crew(CrewId::new(id)))
}

fn ical(desk: &Desk, made: &Made, whose: &Whose, output: &Output, env: &mut Env) -> Answer {
    let (name, file) = match whose {
        Whose::All => (desk.lab.name.clone(), "bookings".to_owned()),
        Whose::Rig(rig) => {
            let place = desk.lab.rigs.iter().position(|own| own.id == *rig);
            (format!("{}: {rig}", desk.lab.name), numbered("rig", place))
        }
        Whose::Crew(crew) => {
            let place = desk.lab.crews.iter().position(|own| own.id == *crew);
            (
                format!("{}: crew {crew}", desk.lab.name),
                numbered("crew", place),
            )
        }
    };
    let entries = entries(desk, whose, made);
    let text = Calendar {
        name: &name,
        program: PROGRAM,
        head: &made.head.line(),
        written_ms: made.ms,
        sequence: desk
            .floor
            .now
            .published
            .as_ref()
            .map_or(0, |plan| plan.seq.0),
        entries: &entries,
    }
    .text();
    if entries.is_empty() {
        env.say("nothing runs and nothing is booked: the calendar is empty");
    }
    output.put(&format!("rigday-{file}.ics"), &text, env)
}

/// `rig-3`: a name from a place in the lab, never from data.
fn numbered(what: &str, place: Option<usize>) -> String {
    format!("{what}-{}", place.map_or(0, |place| place + 1))
}

fn when(desk: &Desk, at: Minute) -> String {
    crate::lab::offset_text(&desk.lab.zone, at)
}

fn maybe<T: ToString>(value: Option<T>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}

fn walks(desk: &Desk) -> Table {
    let units = desk.lab.requests.iter().flat_map(|own| &own.units);
    let rows = units.flat_map(|unit| {
        let walk = walk_of(&desk.lab, &desk.walks, &desk.floor, unit);
        walk.into_iter().map(move |line| {
            vec![
                unit.to_string(),
                line.step.to_string(),
                line.method.to_string(),
                maybe(line.rig.as_ref()),
                maybe(line.load.map(|at| when(desk, at))),
                maybe(line.out.map(|at| when(desk, at))),
                line.verdict_word().to_owned(),
                line.who.clone().unwrap_or_default(),
                line.progress.word().to_owned(),
                line.because.clone(),
            ]
        })
    });
    Table {
        header: vec![
            "unit", "step", "method", "rig", "load", "out", "verdict", "who", "state", "because",
        ],
        rows: rows.collect(),
    }
}

fn bookings(desk: &Desk) -> Table {
    let row = |own: &Booking| {
        let times = &own.times;
        let mut row = vec![
            own.request.to_string(),
            own.unit.to_string(),
            own.step.to_string(),
            own.method.to_string(),
            own.rig.to_string(),
            maybe(own.position),
            maybe(own.run),
        ];
        let at = [times.load, times.start, times.end, times.unload, times.out];
        row.extend(at.map(|at| when(desk, at)));
        row.push(own.because.clone());
        row
    };
    Table {
        header: vec![
            "request", "unit", "step", "method", "rig", "position", "run", "load", "start", "end",
            "unload", "out", "because",
        ],
        rows: desk.floor.now.booked().map(row).collect(),
    }
}

fn requests(desk: &Desk) -> Table {
    let row = |own: &Request| {
        let plan = desk.floor.now.published.as_ref();
        let finish = plan.and_then(|plan| plan.finishes.iter().find(|f| f.request == own.id));
        vec![
            own.id.to_string(),
            own.product.clone(),
            own.build.clone(),
            own.sequence.to_string(),
            own.units.len().to_string(),
            own.priority.to_string(),
            when(desk, own.ready),
            maybe(own.due.map(|at| when(desk, at))),
            maybe(finish.map(|own| when(desk, own.finish))),
            maybe(finish.map(|own| own.late.get())),
        ]
    };
    Table {
        header: vec![
            "request",
            "product",
            "build",
            "sequence",
            "units",
            "priority",
            "ready",
            "due",
            "finish",
            "late_minutes",
        ],
        rows: desk.lab.requests.iter().map(row).collect(),
    }
}

fn rigs(desk: &Desk) -> Table {
    let row = |own: &Rig| {
        let loading = match own.loading {
            Loading::Each => "each",
            Loading::Together => "together",
            Loading::Held => "held",
        };
        vec![
            own.id.to_string(),
            own.name.clone(),
            own.positions.to_string(),
            loading.to_owned(),
            rig_word(desk.floor.rig_state(&desk.lab, &own.id, desk.now())).to_owned(),
            maybe(own.calibration_due),
        ]
    };
    Table {
        header: vec![
            "rig",
            "name",
            "positions",
            "loading",
            "state",
            "calibration_due",
        ],
        rows: desk.lab.rigs.iter().map(row).collect(),
    }
}
