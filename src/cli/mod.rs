//! The command line: where the parts are put together.
//!
//! One file a command: what it takes, and one `run` that calls the library and prints. Only this room reads
//! the environment. Data goes to standard output, everything else to standard error; a closed pipe is a
//! quiet end.

mod assign;
mod bench;
mod calc;
mod check;
mod completions;
mod demo;
mod display;
mod due;
mod effort;
mod env;
mod evidence;
mod export;
mod forecast;
mod init;
mod keys;
mod load;
mod log;
mod man;
mod mark;
mod method;
mod metrics;
mod open;
mod out_file;
mod place;
mod plan;
mod report;
mod review;
mod rig;
mod role;
mod selftest;
mod size;
mod take;
mod units;
mod user_files;
mod verify;
mod what_if;

use clap::{Parser, Subcommand};
use env::Env;
use std::process::ExitCode;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Done.
    Done,
    /// Failed, or the lab folder has faults.
    Failed,
    /// Called wrongly, or no terminal where one is needed.
    Usage,
    /// The plan has clashes.
    Clashes,
    /// Refused, or changed by somebody else.
    Refused,
    /// Not recorded, and nothing happened: busy, full, or for reading only.
    NotRecorded,
    /// Unknown whether it was recorded.
    Unknown,
    /// Ended by the signal of that number.
    Signal(i32),
}

impl Exit {
    /// Its number.
    fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Failed => 1,
            Self::Usage => 2,
            Self::Clashes => 3,
            Self::Refused => 4,
            Self::NotRecorded => 5,
            Self::Unknown => 6,
            Self::Signal(signal) => u8::try_from(128 + signal).unwrap_or(u8::MAX),
        }
    }
}

/// Every exit code with its meaning, for the manual.
const EXITS: [(Exit, &str); 7] = [
    (Exit::Done, "Done."),
    (Exit::Failed, "Failed, or the lab folder has faults."),
    (
        Exit::Usage,
        "Called wrongly, or no terminal where one is needed.",
    ),
    (Exit::Clashes, "The plan has clashes."),
    (Exit::Refused, "Refused, or changed by somebody else."),
    (
        Exit::NotRecorded,
        "Not recorded, and nothing happened: busy, full, or for reading only.",
    ),
    (Exit::Unknown, "Unknown whether it was recorded."),
];

/// The commands and options as they are defined, for the manual and for shells.
fn definition() -> clap::Command {
    <Arguments as clap::CommandFactory>::command()
}

/// Why a command did not do what it was asked.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) exit: Exit,
    pub(crate) text: String,
}

impl Failure {
    pub(crate) fn new(exit: Exit, text: impl std::fmt::Display) -> Self {
        Self {
            exit,
            text: text.to_string(),
        }
    }

    /// A command that failed.
    pub(crate) fn failed(text: impl std::fmt::Display) -> Self {
        Self::new(Exit::Failed, text)
    }
}

impl From<crate::app::desk::DeskError> for Failure {
    fn from(error: crate::app::desk::DeskError) -> Self {
        let exit = match &error {
            crate::app::desk::DeskError::NotNow(_) => Exit::Refused,
            _ => Exit::Failed,
        };
        Self::new(exit, error)
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        Self::new(Exit::Failed, error)
    }
}

pub(crate) type Answer = Result<Exit, Failure>;

/// Plans a durability lab's day: which unit goes on which rig, when, and why.
#[derive(Parser)]
#[command(
    name = "rigday",
    version,
    about,
    max_term_width = 100,
    arg_required_else_help = true
)]
struct Arguments {
    /// Act as if it were this instant, such as 2027-03-08T08:00; for demos and late entry
    #[arg(long, global = true, value_name = "INSTANT", hide_short_help = true)]
    now: Option<String>,
    /// Who acts, where it is not the login name
    #[arg(long, global = true, value_name = "NAME", hide_short_help = true)]
    person: Option<String>,
    /// Why it is entered so much later than it happened
    #[arg(long, global = true, value_name = "REASON", hide_short_help = true)]
    late: Option<String>,
    #[command(flatten)]
    display: display::Arguments,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write a small lab folder to begin with, and its ledger
    Init(init::Arguments),
    /// Open a made-up lab with three weeks of history, in a scratch folder
    Demo(demo::Arguments),
    /// Plan the lab, show what would change, and publish it if asked
    Plan(plan::Arguments),
    /// Plan a changed lab beside the plan in force; nothing is recorded
    WhatIf(what_if::Arguments),
    /// Check a lab folder, and a plan of it
    Check(check::Arguments),
    /// Open the screens
    Open(open::Arguments),
    /// Show what is due at the bench, or what the morning asks for
    Due(due::Arguments),
    /// Work at the bench line by line, without a screen
    Bench(bench::Arguments),
    /// Print the card codes that a scanner reads at the bench
    Cards(bench::CardsArguments),
    /// Show how rigs are used, the backlog and what is late
    Load(load::Arguments),
    /// Print the lab's gauges in the OpenMetrics text format
    Metrics(metrics::Arguments),
    /// List the methods, or explain one and draw its profile
    Method(method::Arguments),
    /// Print the keys of the screens that are in force
    Keys(keys::Arguments),
    /// Show units, or the whole walk of one
    Units(units::Arguments),
    /// Give the verdict on a checkpoint
    Mark(mark::Arguments),
    /// Load a unit on its rig
    Start(mark::StartArguments),
    /// Unload a unit from its rig
    End(mark::UnitArguments),
    /// Take a unit out of the lab before its end
    Withdraw(mark::WithdrawArguments),
    /// Put a unit's next step on a rig, and plan everything else around it
    Assign(assign::Arguments),
    /// Report a rig down or back
    Rig(rig::Arguments),
    /// Add a note about a unit
    Note(mark::NoteArguments),
    /// Show what the results of all legs, or of one, prove
    Evidence(evidence::Arguments),
    /// Say how many units, for how long, show a reliability, and when that could be done
    Size(size::Arguments),
    /// Compute one reliability figure, or list those there are
    Calc(calc::Arguments),
    /// Undo the last mark you recorded
    Undo(mark::UndoArguments),
    /// Take in requests from a file, all of them or none
    Take(take::Arguments),
    /// Print the ledger, one event a line
    Log(log::Arguments),
    /// Check the whole ledger: chain, file, remembered heads
    Verify(verify::Arguments),
    /// Print the end of the chain as one line, for paper or mail
    Head(verify::HeadArguments),
    /// Copy the ledger, which may be in use, to a new file
    Backup(verify::BackupArguments),
    /// Look at the ledger's health, and show the way back to a backup
    Doctor(verify::DoctorArguments),
    /// Show what did not go its plain way since the last signature
    Review(review::Arguments),
    /// Sign for what the review has shown
    Sign(review::SignArguments),
    /// Show, grant or revoke roles
    Role(role::Arguments),
    /// Write a paper: a day, a week, a request, the utilisation, a crew's run sheet
    Report(report::Arguments),
    /// Write tables as CSV, or bookings as a calendar, for other programs
    Export(export::Arguments),
    /// Print what a shell needs to complete commands and options
    Completions(completions::Arguments),
    /// Print the manual, for man(1)
    Man(man::Arguments),
    /// Prove on this disk that what was recorded stays recorded
    Selftest(selftest::Arguments),
}

/// Runs the program; its exit code.
pub fn main() -> ExitCode {
    let mut env = Env::of_process();
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            let shown = error.print();
            let good = !error.use_stderr() && shown.is_ok();
            return ExitCode::from(if good {
                Exit::Done.code()
            } else {
                Exit::Usage.code()
            });
        }
    };
    if let Err(failure) = env.own_rights() {
        env.say(&format!("rigday: {}", failure.text));
        return ExitCode::from(failure.exit.code());
    }
    env.display = arguments.display;
    let answer = env.adjust(
        arguments.now.as_deref(),
        arguments.person.as_deref(),
        arguments.late.as_deref(),
    );
    let answer = answer.and_then(|()| run(arguments.command, &mut env));
    let answer = answer.and_then(|exit| env.flush().map(|()| exit).map_err(Failure::from));
    match answer {
        Ok(exit) => ExitCode::from(exit.code()),
        Err(_) if env.pipe_closed => ExitCode::SUCCESS,
        Err(failure) => {
            env.say(&format!("rigday: {}", failure.text));
            ExitCode::from(failure.exit.code())
        }
    }
}

fn run(command: Command, env: &mut Env) -> Answer {
    match command {
        Command::Init(arguments) => init::run(&arguments, env),
        Command::Demo(arguments) => demo::run(&arguments, env),
        Command::Plan(arguments) => plan::run(&arguments, env),
        Command::WhatIf(arguments) => what_if::run(&arguments, env),
        Command::Check(arguments) => check::run(&arguments, env),
        Command::Open(arguments) => open::run(&arguments, env),
        Command::Due(arguments) => due::run(&arguments, env),
        Command::Bench(arguments) => bench::run(&arguments, env),
        Command::Cards(arguments) => bench::cards(&arguments, env),
        Command::Load(arguments) => load::run(&arguments, env),
        Command::Metrics(arguments) => metrics::run(&arguments, env),
        Command::Method(arguments) => method::run(&arguments, env),
        Command::Keys(arguments) => keys::run(&arguments, env),
        Command::Units(arguments) => units::run(&arguments, env),
        Command::Mark(arguments) => mark::run(&arguments, env),
        Command::Start(arguments) => mark::start(&arguments, env),
        Command::End(arguments) => mark::end(&arguments, env),
        Command::Withdraw(arguments) => mark::withdraw(&arguments, env),
        Command::Assign(arguments) => assign::run(&arguments, env),
        Command::Rig(arguments) => rig::run(&arguments, env),
        Command::Evidence(arguments) => evidence::run(&arguments, env),
        Command::Size(arguments) => size::run(&arguments, env),
        Command::Calc(arguments) => calc::run(&arguments, env),
        Command::Note(arguments) => mark::note(&arguments, env),
        Command::Undo(arguments) => mark::undo(&arguments, env),
        Command::Take(arguments) => take::run(&arguments, env),
        Command::Log(arguments) => log::run(&arguments, env),
        Command::Verify(arguments) => verify::run(&arguments, env),
        Command::Head(arguments) => verify::head(&arguments, env),
        Command::Backup(arguments) => verify::backup(&arguments, env),
        Command::Doctor(arguments) => verify::doctor(&arguments, env),
        Command::Review(arguments) => review::run(&arguments, env),
        Command::Sign(arguments) => review::sign(&arguments, env),
        Command::Role(arguments) => role::run(&arguments, env),
        Command::Report(arguments) => report::run(&arguments, env),
        Command::Export(arguments) => export::run(&arguments, env),
        Command::Completions(arguments) => completions::run(&arguments, env),
        Command::Man(arguments) => man::run(&arguments, env),
        Command::Selftest(arguments) => selftest::run(&arguments, env),
    }
}
