//! The files of the demo's lab, compiled in, so that the demo needs nothing beside the program.

use super::desk::{Desk, DeskError};

/// Name and text of each file.
pub const FILES: [(&str, &str); 5] = [
    ("lab.toml", include_str!("../../demo-lab/lab.toml")),
    ("methods.toml", include_str!("../../demo-lab/methods.toml")),
    (
        "sequences.toml",
        include_str!("../../demo-lab/sequences.toml"),
    ),
    (
        "requests.toml",
        include_str!("../../demo-lab/requests.toml"),
    ),
    ("pins.toml", include_str!("../../demo-lab/pins.toml")),
];

/// What happened in the three weeks before the demo's Monday.
pub const SCENARIO: &str = include_str!("../../demo-lab/scenario.toml");

/// The session by which the demo's story is told, in place of a run of the program: what papers know a
/// sample by.
pub const SAMPLE_SESSION: &str = "sample";

/// True where the ledger begins with the demo's story.
///
/// # Errors
/// Where the ledger cannot be read.
pub fn is_sample(desk: &Desk) -> Result<bool, DeskError> {
    let first = desk.event(crate::domain::Seq(1))?;
    Ok(first.is_some_and(|event| event.actor.session == SAMPLE_SESSION))
}
