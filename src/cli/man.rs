//! `rigday man`: the manual, made from the same definitions as the help.

use super::env::Env;
use super::{Answer, EXITS, Exit, Failure};
use clap::{Arg, Args};
use clap_mangen::Man;

/// Options of `man`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The page of one command; default: the page of the program
    command: Option<String>,
}

/// When commands or options last changed.
const DATE: &str = "2026-11-25";

/// What the program reads of the environment.
const ENVIRONMENT: [(&str, &str); 6] = [
    ("RIGDAY_LAB", "The lab folder where none is named."),
    (
        "XDG_CONFIG_HOME",
        "Where your settings are, in a folder rigday; default: .config in your home.",
    ),
    (
        "XDG_STATE_HOME",
        "Where the remembered ends of ledgers are, in a folder rigday; default: .local/state in your home.",
    ),
    (
        "HOME",
        "Your home, for the two above. A path that is not absolute does not count.",
    ),
    ("NO_COLOR", "Set to anything: the screens use no colour."),
    (
        "TERM",
        "With dumb the screens do not open; use the commands.",
    ),
];

/// What it reads and writes.
const FILES: [(&str, &str); 2] = [
    (
        "lab.toml, methods.toml, sequences.toml, requests.toml, pins.toml",
        "The lab, in its folder.",
    ),
    (
        "rigday.db",
        "The ledger, in the lab folder where no other is named.",
    ),
];

/// Prints a page for man(1).
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let mut program = super::definition();
    program.build();
    let page = match &arguments.command {
        None => page(&program, true)?,
        Some(name) => {
            let found = program.find_subcommand(name).ok_or_else(|| {
                Failure::new(
                    Exit::Usage,
                    format!("no command {name}; rigday --help lists them"),
                )
            })?;
            page(found, false)?
        }
    };
    env.print(&page)?;
    Ok(Exit::Done)
}

fn page(command: &clap::Command, whole: bool) -> Result<String, Failure> {
    let man = Man::new(command.clone().mut_args(in_full))
        .section("1")
        .date(DATE)
        .source(crate::app::papers::PROGRAM)
        .manual("Rigday");
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    // A break behind an empty line or another break breaks nothing.
    let page = String::from_utf8_lossy(&page).replace("\n\n.br\n", "\n.br\n");
    let mut page = page.replace(".br\n.br\n", ".br\n");
    if whole {
        let exits: Vec<(String, &str)> = EXITS
            .iter()
            .map(|(exit, words)| (exit.code().to_string(), *words))
            .collect();
        section(
            &mut page,
            "EXIT STATUS",
            exits.iter().map(|(code, words)| (code.as_str(), *words)),
        );
        section(
            &mut page,
            "SIGNALS",
            [("128+n", "Ended by the signal of the number n.")],
        );
        section(&mut page, "ENVIRONMENT", ENVIRONMENT);
        section(&mut page, "FILES", FILES);
    }
    Ok(page)
}

/// The option with its words in the long form too, which is the one that the page shows.
fn in_full(own: Arg) -> Arg {
    match (own.get_help().cloned(), own.get_long_help()) {
        (Some(words), None) => own.long_help(words),
        _ => own,
    }
}

/// A section of words and what they mean.
fn section<'t>(
    page: &mut String,
    title: &str,
    entries: impl IntoIterator<Item = (&'t str, &'t str)>,
) {
    page.push_str(&format!(".SH \"{title}\"\n"));
    for (word, meaning) in entries {
        page.push_str(&format!(".TP\n\\fB{word}\\fR\n{meaning}\n"));
    }
}
