//! `rigday review` and `rigday sign`: what did not go its plain way, and who has looked at it.

use super::env::Env;
use super::place::{Place, tell};
use super::{Answer, Exit};
use crate::app::review::review;
use crate::domain::event::Meaning;
use clap::{Args, ValueEnum};

/// Options of `review`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
}

/// Options of `sign`.
#[derive(Args)]
pub(crate) struct SignArguments {
    #[command(flatten)]
    place: Place,
    /// What the signature means
    meaning: Word,
    /// The last line of the review that was looked at
    shown: String,
}

/// The three meanings.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Word {
    /// Looked at
    Reviewed,
    /// Found good
    Approved,
    /// Given out
    Released,
}

/// Prints the review, and what a signature is to name.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let desk = arguments.place.look(env)?;
    let review = review(&desk)?;
    env.print(&review.table.tsv())?;
    env.print(&format!("{}\n", review.shown))?;
    env.say(&format!(
        "{} to look at, up to event {}; a manager signs with: rigday sign reviewed {}",
        super::place::counted(review.table.rows.len(), "line"),
        review.upto.0,
        review.shown
    ));
    Ok(Exit::Done)
}

/// Records the signature.
pub(crate) fn sign(arguments: &SignArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let meaning = match arguments.meaning {
        Word::Reviewed => Meaning::Reviewed,
        Word::Approved => Meaning::Approved,
        Word::Released => Meaning::Released,
    };
    let outcome = desk.sign(meaning, &arguments.shown)?;
    tell(&desk, &outcome, meaning.word(), env)
}
