//! What a user can set: keys, and how dates are written.

use super::config::Fault;
use super::keymap::KeyMap;

/// What the user's files say, with what is built in where they say nothing.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// The keys.
    pub keys: KeyMap,
    /// What of the files cannot hold.
    pub faults: Vec<Fault>,
}

impl Settings {
    /// The first thing to say about the files, where something of them does not count.
    pub fn complaint(&self) -> Option<String> {
        let first = self.faults.first()?;
        Some(match self.faults.len() {
            1 => first.to_string(),
            count => {
                format!("{first} (1 of {count} faults; rigday keys and rigday doctor list them)")
            }
        })
    }
}
