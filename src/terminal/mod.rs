//! Raw mode, signals and the loop: messages in, one frame out where something changed.
//!
//! Whatever way the program ends, the terminal is left as it was found. Threads watch keys, signals and
//! whether the terminal is still there (`watch`); they only send. The loop (`turn`) takes in whatever waits,
//! carries effects out, and lets the canvas bring the terminal up to date in one write. This room knows
//! nothing of labs, and never asks the terminal anything that it would have to wait for.

mod canvas;
mod held;
mod journal;
mod keys;
mod turn;
mod typing;
mod watch;

pub use keys::key_name;
pub use turn::{TICK, step};

use crate::app::desk::Desk;
use crate::app::{App, Jobs, Settings, recall};
use crate::clock::SystemClock;
use crate::screens::theme::Theme;
use held::Held;
use journal::Journal;
use std::fs::File;
use std::os::fd::AsFd;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::channel;
use turn::Screen;

/// How the program looks, what the user has set, and where is kept what outlives it.
#[derive(Clone, Debug)]
pub struct Options {
    /// The data is made up: every screen says so.
    pub sample: bool,
    /// Marks and colours.
    pub theme: Theme,
    /// Keys, and how dates are written.
    pub settings: Settings,
    /// The user's folder for what the program keeps, such as its log; made where it is needed.
    pub state: Option<PathBuf>,
    /// The file that keeps a what-if between two starts, where there is one.
    pub keep: Option<PathBuf>,
}

/// What ended the screens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The user left.
    Left,
    /// The signal of that number.
    Signal(i32),
}

/// Runs the screens until the user leaves, or something ends them.
///
/// # Errors
/// Where the terminal cannot be drawn to.
pub fn run(mut desk: Desk, options: Options) -> std::io::Result<End> {
    desk.hurry().map_err(std::io::Error::other)?;
    let (sender, messages) = channel();
    watch::signals(sender.clone())?;
    let (clock, zone) = (desk.clock().clone(), desk.lab.zone.clone());
    let now = move || zone.local(clock.now()).format("%Y-%m-%d %H:%M").to_string();
    let folder = options.state.clone();
    let held = Held::take(folder.map(|folder| Journal::new(folder, now)))?;
    // One clock for the keyboard and the loop: how fast keys come is told by it. The lab's may stand still.
    let keyboard = Arc::new(SystemClock::default());
    watch::keys(sender.clone(), keyboard.clone());
    watch::hang_up(sender.clone());
    // Unlike the standard library's own, this end of the terminal holds nothing back.
    let out = File::from(std::io::stdout().as_fd().try_clone_to_owned()?);
    let mut screen = Screen::new(out, options.theme);
    let mut app = App::new(desk, options.sample);
    app.tries_again = true;
    app.set(options.settings);
    if let Some(path) = &options.keep {
        recall(&mut app, path);
    }
    let done = turn::turn(
        &mut app,
        &mut screen,
        &messages,
        Jobs::new(sender),
        &keyboard,
    );
    drop(held);
    done
}
