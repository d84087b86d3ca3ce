//! The terminal in our hands, and how it is given back, whatever ends the program.

use super::journal::Journal;
use crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use crossterm::style::{Attribute, SetAttribute};
use crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen};
use crossterm::{cursor, queue};
use std::fs::File;
use std::io::Write;
use std::os::fd::AsFd;

/// Clicks, the wheel, and moves with a button down, told in columns of any number.
pub(super) const MOUSE_ON: &[u8] = b"\x1b[?1000h\x1b[?1002h\x1b[?1006h";
/// The terminal has its mouse back.
pub(super) const MOUSE_OFF: &[u8] = b"\x1b[?1006l\x1b[?1002l\x1b[?1000l";

/// The terminal in our hands; given back when dropped, also by a panic.
pub(super) struct Held;

impl Held {
    /// Takes the terminal. A panic gives it back before it is told, and is written down.
    pub(super) fn take(journal: Option<Journal>) -> std::io::Result<Self> {
        enter()?;
        let (ours, before) = (std::thread::current().id(), std::panic::take_hook());
        std::panic::set_hook(Box::new(move |panic| {
            let kept = journal.as_ref().map(|journal| journal.panic(panic));
            // A job that breaks down is told on the screen, which goes on.
            if std::thread::current().id() == ours {
                leave();
                before(panic);
                tell(kept);
            }
        }));
        Ok(Self)
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        leave();
    }
}

/// Says where the panic was written down, or why it could not be.
fn tell(kept: Option<std::io::Result<String>>) {
    let words = match kept {
        Some(Ok(path)) => format!("this is a fault of the program; it is written down in {path}"),
        Some(Err(error)) => format!("it could not be written down: {error}"),
        None => "it was not written down: there is no state folder; set HOME".to_owned(),
    };
    // Nobody is left to tell where even standard error is closed.
    let _told = writeln!(
        std::io::stderr(),
        "rigday: {words}\nrigday: what was recorded stays recorded; start it anew"
    );
}

/// Raw mode, the other screen, bracketed paste, no cursor.
pub(super) fn enter() -> std::io::Result<()> {
    crossterm::terminal::enable_raw_mode()?;
    let mut bytes = Vec::new();
    queue!(
        bytes,
        EnterAlternateScreen,
        EnableBracketedPaste,
        cursor::Hide
    )?;
    send(&bytes)
}

/// Writes past the standard library's own buffer: what cannot be written to a terminal that is gone must not wait
/// there to fail once more.
fn send(bytes: &[u8]) -> std::io::Result<()> {
    File::from(std::io::stdout().as_fd().try_clone_to_owned()?).write_all(bytes)
}

/// Leaves the terminal as it was found; where it is gone there is nothing left to do.
pub(super) fn leave() {
    let mut bytes = MOUSE_OFF.to_vec();
    let queued = queue!(
        bytes,
        DisableBracketedPaste,
        SetAttribute(Attribute::Reset),
        LeaveAlternateScreen,
        cursor::Show
    );
    let _left = queued.and_then(|()| send(&bytes));
    let _cooked = crossterm::terminal::disable_raw_mode();
}
