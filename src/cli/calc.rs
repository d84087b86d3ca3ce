//! `rigday calc`: one reliability figure.

use super::env::Env;
use super::{Answer, Exit, Failure};
use crate::evidence::calc::{Fault, function, functions, row, value};
use clap::Args;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Options of `calc`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// What to compute; without it all functions are listed, each with an example
    name: Option<String>,
    /// Its inputs: name=value; a list is a|b|c, inf is infinity
    #[arg(value_name = "KEY=VALUE")]
    inputs: Vec<String>,
    /// Rows of `function,inputs` with inputs between `;`: one value or error:CODE a line; - reads standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["name", "inputs"])]
    batch: Option<PathBuf>,
}

/// Prints one value with its meaning, a line for each row of a file, or the list of functions.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    if let Some(file) = &arguments.batch {
        return batch(file, env);
    }
    let Some(name) = &arguments.name else {
        return list(env);
    };
    let found = function(name).map_err(|fault| failure(&fault))?;
    let said = value(found, arguments.inputs.iter().map(String::as_str))
        .map_err(|fault| failure(&fault))?;
    let given = arguments.inputs.join(" ");
    env.print(&format!("{said}  {}; {given}\n", found.meaning))?;
    Ok(Exit::Done)
}

fn failure(fault: &Fault) -> Failure {
    let exit = match fault {
        Fault::Cannot(_) => Exit::Failed,
        _ => Exit::Usage,
    };
    Failure::new(exit, format!("error:{}: {fault}", fault.code()))
}

fn list(env: &mut Env) -> Answer {
    for own in functions() {
        let (name, example) = (own.name, own.example);
        let quoted = example.replace('|', "\\|");
        env.print(&format!(
            "{name}: {}\n    rigday calc {name} {quoted}\n",
            own.meaning
        ))?;
    }
    Ok(Exit::Done)
}

/// Answers row by row; a header line and empty lines are skipped.
fn batch(file: &Path, env: &mut Env) -> Answer {
    let unread = |error| Failure::new(Exit::Failed, format!("{}: {error}", file.display()));
    let mut text = String::new();
    if file.as_os_str() == "-" {
        std::io::stdin()
            .lock()
            .read_to_string(&mut text)
            .map_err(unread)?;
    } else {
        text = std::fs::read_to_string(file).map_err(unread)?;
    }
    let mut misread = 0;
    for (at, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let mut cells = line.splitn(3, ',').map(|own| own.trim().trim_matches('"'));
        let name = cells.next().unwrap_or_default();
        if name.is_empty() || (at == 0 && name == "function") {
            continue;
        }
        match row(name, cells.next().unwrap_or_default()) {
            Ok(said) => env.print(&format!("{said}\n"))?,
            Err(fault) => {
                env.print(&format!("error:{}\n", fault.code()))?;
                if !matches!(fault, Fault::Cannot(_)) {
                    misread += 1;
                    env.say(&format!("line {}: {fault}", at + 1));
                }
            }
        }
    }
    Ok(if misread == 0 {
        Exit::Done
    } else {
        Exit::Failed
    })
}
