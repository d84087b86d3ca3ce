//! `rigday keys`: the keys in force.

use super::env::Env;
use super::{Answer, Exit};
use crate::app::{ACTIONS, Entry, KeyMap, Screen, Where};
use clap::Args;
use serde::Serialize;

/// Options of `keys`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// Tab-separated: screen, action, keys, what it does
    #[arg(long, conflicts_with = "json")]
    plain: bool,
    /// JSON
    #[arg(long)]
    json: bool,
}

/// The keys as JSON.
#[derive(Serialize)]
struct Document {
    format: u32,
    keys: Vec<Line>,
}

/// One action where it works.
#[derive(Serialize)]
struct Line {
    /// A screen, or `everywhere`.
    on: String,
    action: String,
    keys: Vec<String>,
    does: &'static str,
}

/// Prints the keys in force; what of the user's file does not count is told.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let user = env.user_files();
    for fault in &user.settings.faults {
        env.say(&format!("warning: {fault}"));
    }
    let lines = lines(&user.settings.keys);
    let text = if arguments.json {
        let document = Document {
            format: 1,
            keys: lines,
        };
        serde_json::to_string_pretty(&document).map_err(super::Failure::failed)? + "\n"
    } else if arguments.plain {
        lines
            .iter()
            .map(|own| {
                format!(
                    "{}\t{}\t{}\t{}\n",
                    own.on,
                    own.action,
                    own.keys.join(" "),
                    own.does
                )
            })
            .collect()
    } else {
        for_people(&lines)
    };
    env.print(&text)?;
    Ok(Exit::Done)
}

/// Actions of every screen first, then those of each; where a screen changes the keys of the former, again.
fn lines(keys: &KeyMap) -> Vec<Line> {
    let everywhere = ACTIONS.iter().filter(|own| own.works == Where::Everywhere);
    let mut lines: Vec<Line> = everywhere
        .clone()
        .map(|own| line("everywhere", own, keys.keys_everywhere(own.action)))
        .collect();
    for screen in Screen::ALL {
        let name = screen.name().to_lowercase();
        let own = ACTIONS.iter().filter(|own| own.works == Where::On(screen));
        lines.extend(own.map(|own| line(&name, own, keys.keys(own.action, screen))));
        for own in everywhere.clone() {
            let here = keys.keys(own.action, screen);
            if here != keys.keys_everywhere(own.action) {
                lines.push(line(&name, own, here));
            }
        }
    }
    lines
}

fn line(on: &str, entry: &Entry, keys: Vec<&str>) -> Line {
    Line {
        on: on.to_owned(),
        action: entry.id(),
        keys: keys.into_iter().map(str::to_owned).collect(),
        does: entry.sentence,
    }
}

fn for_people(lines: &[Line]) -> String {
    let mut text = String::new();
    let mut last = "";
    for own in lines {
        if own.on != last {
            let gap = if last.is_empty() { "" } else { "\n" };
            text.push_str(&format!("{gap}{}\n", own.on));
            last = &own.on;
        }
        let keys = if own.keys.is_empty() {
            "-".to_owned()
        } else {
            own.keys.join(" ")
        };
        text.push_str(&format!("  {keys:12} {:16} {}\n", own.action, own.does));
    }
    text
}
