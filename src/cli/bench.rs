//! `rigday bench`: the bench without a screen, and `rigday cards`: the sheet of its card codes.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit, Failure};
use crate::app::desk::Desk;
use crate::app::plain_bench::PlainBench;
use crate::app::scan::Card;
use crate::domain::text::{ID_MAX, line_fault};
use crate::report::table::Table;
use clap::Args;
use std::collections::BTreeSet;
use std::io::BufRead;

/// Options of `bench`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// A line in, a line out, in plain letters; ? tells what can be typed
    #[arg(long)]
    plain: bool,
}

/// Options of `cards`.
#[derive(Args)]
pub(crate) struct CardsArguments {
    #[command(flatten)]
    place: Place,
    /// Also a card for this person; may be given several times
    #[arg(long = "for", value_name = "NAME")]
    people: Vec<String>,
    /// Tab-separated
    #[arg(long)]
    plain: bool,
}

/// Answers lines until there are no more, or `q`.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    if !arguments.plain {
        let text = "bench needs --plain; the Bench screen is key 2 of rigday open";
        return Err(Failure::new(Exit::Usage, text));
    }
    let mut bench = PlainBench::new(arguments.place.desk(env)?);
    for line in std::io::stdin().lock().split(b'\n') {
        let line = line?;
        let answer = bench.answer(&String::from_utf8_lossy(&line));
        env.print(&format!("{answer}\n"))?;
        env.flush()?;
        if bench.is_over() {
            break;
        }
    }
    Ok(Exit::Done)
}

/// Prints the sheet.
pub(crate) fn cards(arguments: &CardsArguments, env: &mut Env) -> Answer {
    for name in &arguments.people {
        if let Some(why) = line_fault(name, ID_MAX) {
            return Err(Failure::new(Exit::Usage, format!("--for: {why}")));
        }
    }
    let desk = arguments.place.look(env)?;
    let table = sheet(&desk, &arguments.people);
    if arguments.plain {
        env.print(&table.tsv())?;
        return Ok(Exit::Done);
    }
    let head = "Print each code of the first column as a bar code; a scan of it does what the key does.\n\
        First scan the unit. %FAIL is followed by a reason, %WHO says who is at the bench.\n\n";
    env.print(head)?;
    env.print(&table.aligned())?;
    Ok(Exit::Done)
}

/// A code a row: those of the keys, of the lab's reasons, and of everybody who has acted or was named.
fn sheet(desk: &Desk, named: &[String]) -> Table {
    let row = |code: String, key: &str, what: String| vec![code, key.to_owned(), what];
    let mut rows: Vec<Vec<String>> = Card::PLAIN
        .iter()
        .map(|(code, _, key, what)| row((*code).to_owned(), key, (*what).to_owned()))
        .collect();
    for reason in &desk.lab.fail_reasons {
        let what = format!("the reason is: {reason}");
        rows.push(row(format!("{}{reason}", Card::WHY), "", what));
    }
    let acted = desk.floor.events.iter().map(|event| &event.actor.person);
    let people: BTreeSet<&String> = acted.chain(named).collect();
    for person in people {
        let what = format!("{person} is at the bench");
        rows.push(row(format!("{}{person}", Card::WHO), "w", what));
    }
    Table {
        header: vec!["code", "key", "what_it_does"],
        rows,
    }
}
