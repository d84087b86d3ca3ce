//! Raw mode, signals, the loop.

use crate::app::desk::Desk;

/// How the terminal draws.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// The data is made up: every screen says so.
    pub sample: bool,
    /// Marks and lines beyond ASCII may be drawn.
    pub unicode: bool,
    /// Colours may be used.
    pub colour: bool,
}

/// Runs the screens.
pub fn run(_desk: Desk, _options: Options) -> std::io::Result<()> {
    Ok(())
}
