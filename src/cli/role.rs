//! `rigday role`: who may do what.

use super::env::Env;
use super::place::{Place, tell};
use super::{Answer, Exit, Failure};
use crate::domain::roles::{Holder, Role};
use crate::report::table::Table;
use clap::{Args, Subcommand, ValueEnum};

/// Options of `role`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Show who may do what
    List {
        #[command(flatten)]
        place: Place,
    },
    /// Give a role to somebody
    Grant {
        #[command(flatten)]
        place: Place,
        /// A login name or user number of this host; or person:NAME, for whoever acts by a badge
        who: String,
        /// The role
        role: Word,
    },
    /// Take the role of somebody away
    Revoke {
        #[command(flatten)]
        place: Place,
        /// As for grant
        who: String,
    },
}

/// The four roles.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Word {
    /// See, export, verify
    Viewer,
    /// Start, end, give verdicts, report rigs, note; correct an own mark for a day
    Technician,
    /// Take in requests, publish plans, withdraw, correct any mark
    Coordinator,
    /// Sign, grant and revoke roles
    Manager,
}

impl Word {
    const fn role(self) -> Role {
        match self {
            Self::Viewer => Role::Viewer,
            Self::Technician => Role::Technician,
            Self::Coordinator => Role::Coordinator,
            Self::Manager => Role::Manager,
        }
    }
}

/// Shows or records it.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    match &arguments.what {
        What::List { place } => {
            let desk = place.look(env)?;
            let row = |(holder, role): (&Holder, Role)| {
                let login = match holder {
                    Holder::User(uid) => super::env::login_of(*uid).unwrap_or_default(),
                    Holder::Person(_) => String::new(),
                };
                vec![holder.to_string(), login, role.word().to_owned()]
            };
            let table = Table {
                header: vec!["who", "login", "role"],
                rows: desk.floor.roles.iter().map(row).collect(),
            };
            env.print(&table.aligned())?;
            Ok(Exit::Done)
        }
        What::Grant { place, who, role } => {
            let holder = holder(who)?;
            let mut desk = place.desk(env)?;
            let outcome = desk.grant(holder.clone(), role.role())?;
            let what = format!("{holder} is {} now", role.role().word());
            tell(&desk, &outcome, &what, env)
        }
        What::Revoke { place, who } => {
            let holder = holder(who)?;
            let mut desk = place.desk(env)?;
            let outcome = desk.revoke(holder.clone())?;
            tell(&desk, &outcome, &format!("{holder} has no role now"), env)
        }
    }
}

fn holder(who: &str) -> Result<Holder, Failure> {
    if let Some(name) = who.strip_prefix("person:") {
        return Ok(Holder::Person(crate::domain::text::normal(name)));
    }
    let uid = who.parse().ok().or_else(|| super::env::uid_of(who));
    uid.map(Holder::User).ok_or_else(|| {
        let text = format!("{who}: no user of this host; a number or person:NAME is taken too");
        Failure::new(Exit::Usage, text)
    })
}
