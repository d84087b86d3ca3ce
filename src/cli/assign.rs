//! `rigday assign`: a unit's next step on a rig of the user's choice.

use super::env::Env;
use super::place::{Place, tell};
use super::plan::summary;
use super::{Answer, Exit, Failure};
use crate::domain::RigId;
use crate::planner::Rounds;
use clap::Args;

/// Options of `assign`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
    /// The rig
    rig: String,
    /// When load starts; default: as early as the rig allows
    #[arg(long, value_name = "INSTANT")]
    start: Option<String>,
    /// Put the plan in force
    #[arg(long)]
    yes: bool,
}

/// Plans with the booking in its place, and publishes with `--yes`.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let start = arguments
        .start
        .as_ref()
        .map(|text| env.instant(text, &desk.lab.zone))
        .transpose()?;
    let pin = desk.assignment(&unit, &RigId::new(&arguments.rig), start)?;
    let when = desk
        .lab
        .zone
        .local(pin.start)
        .format("%a %Y-%m-%d %H:%M")
        .to_string();
    let proposal =
        desk.planning()
            .with_pins(std::slice::from_ref(&pin))
            .run(1, &Rounds(200), &mut |_| {});
    env.print(&format!(
        "{unit} step {} on {} at {when}\n",
        pin.step, pin.rig
    ))?;
    env.print(&summary(&proposal, &desk.lab))?;
    if let Some(clash) = proposal.clashes.first() {
        return Err(Failure::new(Exit::Clashes, &clash.text));
    }
    if !arguments.yes {
        env.say("nothing is published yet; add --yes to put it in force");
        return Ok(Exit::Done);
    }
    let outcome = desk.publish(&proposal)?;
    tell(&desk, &outcome, "published", env)
}
