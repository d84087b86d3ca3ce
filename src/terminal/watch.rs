//! The threads that watch: keys, signals, and whether the terminal is still there. They only send.

use super::keys::message_of;
use crate::app::Message;
use crate::clock::{Clock, SystemClock};
use rustix::event::{PollFd, PollFlags, poll};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGQUIT, SIGTERM};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use std::time::Duration;

/// How long the loop may take to end by itself once the terminal is gone.
const GRACE: Duration = Duration::from_millis(1500);

/// Sends what is typed, pasted and pointed at; keys with the time at which they came.
pub(super) fn keys(sender: Sender<Message>, clock: Arc<SystemClock>) {
    std::thread::spawn(move || {
        while let Ok(event) = crossterm::event::read() {
            let message = match message_of(event) {
                Some(Message::Key(key)) => Message::Typed(key, clock.elapsed()),
                Some(other) => other,
                None => continue,
            };
            if sender.send(message).is_err() {
                return;
            }
        }
        // Nothing can be read any more; where nobody listens the program is ending anyway.
        let _told = sender.send(Message::Terminate(SIGHUP));
    });
}

/// Sends what the host tells the program: to end, or that it goes on after it was stopped.
pub(super) fn signals(sender: Sender<Message>) -> std::io::Result<()> {
    let wanted = [SIGTERM, SIGHUP, SIGINT, SIGQUIT, SIGCONT];
    let mut signals = signal_hook::iterator::Signals::new(wanted)?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            let message = match signal {
                SIGCONT => Message::Resumed,
                other => Message::Terminate(other),
            };
            if sender.send(message).is_err() {
                return;
            }
        }
    });
    Ok(())
}

/// Ends the program when its terminal goes away, also where nobody sends a hang-up: whoever reads keys
/// from a terminal that is gone is told so for ever, as fast as it asks.
pub(super) fn hang_up(sender: Sender<Message>) {
    std::thread::spawn(move || {
        let keyboard = rustix::stdio::stdin();
        let gone = PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL;
        loop {
            // A hang-up is told whether it was asked for or not, so nothing else is waited for.
            let mut watched = [PollFd::new(&keyboard, PollFlags::empty())];
            match poll(&mut watched, None) {
                Ok(_) if watched[0].revents().intersects(gone) => break,
                Ok(_) | Err(rustix::io::Errno::INTR) => {}
                Err(_) => return,
            }
        }
        let _told = sender.send(Message::Terminate(SIGHUP));
        std::thread::sleep(GRACE);
        end_at_once();
    });
}

#[expect(
    clippy::disallowed_methods,
    reason = "the terminal is gone and the loop does not answer: there is nothing left to give back"
)]
fn end_at_once() -> ! {
    std::process::exit(128 + SIGHUP)
}
