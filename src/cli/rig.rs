//! `rigday rig`: a rig is down, or back.

use super::env::Env;
use super::place::{Place, tell};
use super::{Answer, Exit, Failure};
use crate::app::when::Asked;
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
    /// It broke or was taken out of use; one that is down already may have another fault
    Down {
        #[command(flatten)]
        place: Place,
        /// The rig
        rig: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// When it is expected back: 2027-03-24T14:30, 14:30, mon, "tomorrow 8", w13 or +4h
        #[arg(long, value_name = "WHEN")]
        until: Option<String>,
    },
    /// It is back; of several faults the oldest is over
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
            let dates = env.user_files().settings.dates;
            let asked = Asked {
                zone: &desk.lab.zone,
                now: desk.now(),
                dates,
            };
            let until = until.as_ref().map(|text| asked.instant(text));
            let until = until
                .transpose()
                .map_err(|why| Failure::new(Exit::Usage, format!("--until: {why}")))?;
            let outcome = desk.rig_down(&RigId::new(rig), reason, until)?;
            tell(&desk, &outcome, &format!("{rig} down"), env)
        }
        What::Up { place, rig } => {
            let mut desk = place.desk(env)?;
            let outcome = desk.rig_up(&RigId::new(rig))?;
            let words = desk.back_words(&RigId::new(rig));
            tell(&desk, &outcome, &words, env)
        }
    }
}
