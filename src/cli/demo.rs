//! `rigday demo`: a made-up lab with three weeks of history, in a scratch folder.

use super::env::Env;
use super::open::{needs_terminal, show};
use super::place::{LedgerFile, read_lab};
use super::{Answer, Exit, Failure};
use crate::app::demo_files::{FILES, SAMPLE_SESSION, SCENARIO};
use crate::app::scenario::Scenario;
use crate::clock::{FakeClock, PacedClock};
use crate::domain::{Actor, Minute};
use crate::ledger::{self, Ids};
use clap::Args;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Options of `demo`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// How many times as fast as the wall clock the demo's clock runs
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    pace: f64,
    /// Where to put the demo lab; default: a new folder among the temporary files
    #[arg(long, value_name = "DIR")]
    keep: Option<PathBuf>,
    /// Only write the folder and its ledger, and print where
    #[arg(long)]
    no_open: bool,
}

/// Copies the lab, plays its story, and opens the screens on its Monday morning.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    if !arguments.no_open && !env.has_terminal() {
        return Err(needs_terminal());
    }
    if !arguments.pace.is_finite() || !(0.0..=1e6).contains(&arguments.pace) {
        return Err(Failure::new(Exit::Usage, "--pace: 0 to 1000000 is allowed"));
    }
    let folder = match &arguments.keep {
        Some(folder) => folder.clone(),
        None => env
            .scratch()
            .join(format!("rigday-demo-{}", env.actor.session)),
    };
    if folder.exists() && folder.read_dir()?.next().is_some() {
        let text = format!(
            "{} is not empty; the demo writes into a new folder only",
            folder.display()
        );
        return Err(Failure::new(Exit::Failed, text));
    }
    std::fs::create_dir_all(&folder)?;
    for (name, text) in FILES {
        std::fs::write(folder.join(name), text)?;
    }
    env.say(&format!(
        "the demo lab is in {}; playing three weeks of its story",
        folder.display()
    ));
    let opens = play(&folder, env)?;
    if arguments.no_open {
        env.print(&format!("{}\n", folder.display()))?;
        return Ok(Exit::Done);
    }
    env.clock = Arc::new(PacedClock::new(opens, arguments.pace));
    env.host = env.clock.clone();
    env.now = None;
    let desk = super::place::desk(&folder, &LedgerFile { ledger: None }, env)?;
    show(desk, Some(folder.join("screens.json")), true, env)
}

/// Plays the story into a new ledger in the folder; the Monday morning on which it ends.
fn play(folder: &Path, env: &Env) -> Result<Minute, Failure> {
    let lab = read_lab(folder, env)?.lab;
    let failed = |error: &dyn std::fmt::Display| Failure::new(Exit::Failed, error);
    let story = Scenario::read(SCENARIO, &lab).map_err(|error| failed(&error))?;
    let clock = Arc::new(FakeClock::at(story.opens));
    let store = ledger::Env {
        clock: clock.clone(),
        ids: Ids::System,
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: None,
    };
    let teller = Actor {
        session: SAMPLE_SESSION.to_owned(),
        ..env.actor.clone()
    };
    let ledger =
        ledger::create(&folder.join("rigday.db"), store).map_err(|error| failed(&error))?;
    story
        .play(&lab, Box::new(ledger), &clock, &teller)
        .map_err(|error| failed(&error))?;
    Ok(story.opens)
}
