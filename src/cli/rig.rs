//! `rigday rig`: a rig is down, or back.

use super::Answer;
use super::env::Env;
use super::place::{Place, tell};
use crate::domain::RigId;
use clap::{Args, Subcommand};

/// Options of `rig`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// It broke or was taken out of use
    Down {
        #[command(flatten)]
        place: Place,
        /// The rig
        rig: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// When it is expected back
        #[arg(long, value_name = "INSTANT")]
        until: Option<String>,
    },
    /// It is back
    Up {
        #[command(flatten)]
        place: Place,
        /// The rig
        rig: String,
    },
}

/// Records it.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    match &arguments.what {
        What::Down {
            place,
            rig,
            reason,
            until,
        } => {
            let mut desk = place.desk(env)?;
            let until = until
                .as_ref()
                .map(|text| env.instant(text, &desk.lab.zone))
                .transpose()?;
            let outcome = desk.rig_down(&RigId::new(rig), reason, until)?;
            tell(&desk, &outcome, &format!("{rig} down"), env)
        }
        What::Up { place, rig } => {
            let mut desk = place.desk(env)?;
            let outcome = desk.rig_up(&RigId::new(rig))?;
            tell(&desk, &outcome, &format!("{rig} back"), env)
        }
    }
}
