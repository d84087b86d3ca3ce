//! The loop: messages in, effects out, one frame where something changed.

use super::End;
use super::canvas::Canvas;
use super::held::{MOUSE_OFF, MOUSE_ON, enter, leave};
use super::typing::Typing;
use crate::app::{App, Jobs, Message, Pointer, perform, try_again};
use crate::clock::{Clock, SystemClock};
use crate::screens::theme::Theme;
use crate::screens::{draw, minute_at, selected_row};
use crossterm::clipboard::CopyToClipboard;
use crossterm::queue;
use rustix::process::{Signal, kill_current_process_group};
use std::fs::File;
use std::os::fd::AsFd;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

/// How often the ledger and the clock are looked at.
pub const TICK: Duration = Duration::from_millis(500);
/// Frames come no more often than this, so that what is typed ahead is taken in at once.
const FRAME: Duration = Duration::from_millis(16);
/// How long the host is given to stop us.
const STOPPING: Duration = Duration::from_millis(50);
/// A word that the program goes on which comes so soon after it went on is of the same stop.
const SAME_STOP: Duration = Duration::from_secs(1);
/// The size of a terminal that does not know its own.
const USUAL: (u16, u16) = (80, 24);

/// The terminal that is drawn to.
pub(super) struct Screen {
    canvas: Canvas<File>,
    theme: Theme,
    /// The mouse is ours.
    mouse: bool,
}

impl Screen {
    pub(super) fn new(out: File, theme: Theme) -> Self {
        let (columns, rows) = size();
        Self {
            canvas: Canvas::new(out, columns, rows),
            theme,
            mouse: false,
        }
    }

    fn show(&mut self, app: &mut App) -> std::io::Result<()> {
        if self.mouse != app.mouse {
            self.mouse = app.mouse;
            self.canvas
                .ahead(if app.mouse { MOUSE_ON } else { MOUSE_OFF });
        }
        if let Some(text) = app.copied.take() {
            let mut bytes = Vec::new();
            queue!(bytes, CopyToClipboard::to_clipboard_from(text))?;
            self.canvas.ahead(&bytes);
        }
        let (mut page, mut size) = (app.page, app.size);
        let theme = self.theme;
        self.canvas.draw(|area, buffer| {
            size = (area.width, area.height);
            page = draw(app, &theme, area, buffer);
        })?;
        (app.page, app.size) = (page, size);
        Ok(())
    }

    /// Nobody knows what the terminal shows, or how large it is.
    fn renew(&mut self) {
        let (columns, rows) = size();
        self.canvas.renew(columns, rows);
    }

    /// Says how far below the selected line the pointer is, and at which minute.
    fn placed(&self, app: &App, pointer: Pointer) -> Pointer {
        let shown = self.canvas.shown();
        let selected = selected_row(shown);
        Pointer {
            below_selected: selected.map(|row| i32::from(pointer.row) - i32::from(row)),
            minute: minute_at(app, shown.area.width, pointer.column),
            ..pointer
        }
    }
}

/// Columns and rows of the terminal.
fn size() -> (u16, u16) {
    let told = rustix::termios::tcgetwinsize(std::io::stdout().as_fd());
    match told {
        Ok(size) if size.ws_col > 0 && size.ws_row > 0 => (size.ws_col, size.ws_row),
        _ => USUAL,
    }
}

/// Waits for a message, takes in all that wait, carries their effects out, and draws once if something
/// changed, until the user leaves or a signal ends it.
pub(super) fn turn(
    app: &mut App,
    screen: &mut Screen,
    messages: &Receiver<Message>,
    mut jobs: Jobs,
    clock: &SystemClock,
) -> std::io::Result<End> {
    let mut typing = Typing::default();
    let mut next_tick = clock.elapsed() + TICK;
    let mut next_frame = Duration::ZERO;
    let mut went_on: Option<Duration> = None;
    while !app.over {
        let now = clock.elapsed();
        if app.dirty && now >= next_frame {
            app.dirty = false;
            if let Err(error) = screen.show(app) {
                return why_not_drawn(error, messages);
            }
            next_frame = clock.elapsed() + FRAME;
        }
        let until = if app.dirty {
            next_frame.min(next_tick)
        } else {
            next_tick
        };
        let until = typing.due().map_or(until, |due| due.min(until));
        let wait = until.saturating_sub(clock.elapsed()).min(TICK);
        let first = match messages.recv_timeout(wait) {
            Ok(message) => Some(message),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => return Ok(End::Left),
        };
        let waiting: Vec<Message> = first.into_iter().chain(messages.try_iter()).collect();
        for message in waiting {
            match message {
                Message::Terminate(signal) => {
                    return Ok(End::Signal(signal));
                }
                Message::Typed(key, _) if key == "Ctrl-z" => {
                    stop()?;
                    went_on = Some(clock.elapsed());
                    repaint(app, screen);
                }
                Message::Resumed => {
                    let soon = |at| clock.elapsed().saturating_sub(at) < SAME_STOP;
                    if !went_on.take().is_some_and(soon) {
                        leave();
                        enter()?;
                        repaint(app, screen);
                    }
                }
                Message::Resized => repaint(app, screen),
                Message::Typed(key, at) => typing.key(app, &key, at, &mut jobs),
                Message::Pointer(pointer) => {
                    let pointer = screen.placed(app, pointer);
                    step(app, Message::Pointer(pointer), &mut jobs);
                }
                other => step(app, other, &mut jobs),
            }
        }
        typing.lapse(app, clock.elapsed(), &mut jobs);
        // Steady input must not keep the clock and the ledger from being looked at.
        if clock.elapsed() >= next_tick {
            next_tick = clock.elapsed() + TICK;
            step(app, Message::Tick, &mut jobs);
        }
    }
    Ok(End::Left)
}

/// What cannot be drawn to may have gone away: then that is what ended the program, and the word of it is on
/// its way.
fn why_not_drawn(error: std::io::Error, messages: &Receiver<Message>) -> std::io::Result<End> {
    while let Ok(message) = messages.recv_timeout(STOPPING) {
        if let Message::Terminate(signal) = message {
            return Ok(End::Signal(signal));
        }
    }
    Err(error)
}

/// The whole terminal is drawn anew.
fn repaint(app: &mut App, screen: &mut Screen) {
    screen.renew();
    screen.mouse = false;
    app.dirty = true;
}

/// Gives the terminal back and asks the host to stop us, until somebody says go on. Where nothing can stop us,
/// such as a remote session without a shell around it, the program just carries on.
fn stop() -> std::io::Result<()> {
    leave();
    kill_current_process_group(Signal::TSTP)?;
    // The other threads stop with us; none may take the terminal before that.
    std::thread::sleep(STOPPING);
    enter()
}

/// One message with its effects; a tick also looks whether others have recorded something.
pub fn step(app: &mut App, message: Message, jobs: &mut Jobs) {
    if matches!(message, Message::Tick) {
        try_again(app, jobs);
        match app.desk.refresh() {
            Ok(fresh) => {
                if std::mem::take(&mut app.lost) {
                    app.said = Some((true, "the ledger can be read again".to_owned()));
                    app.dirty = true;
                }
                app.read = app.desk.clock().elapsed();
                if fresh {
                    app.renew();
                }
            }
            Err(error) => {
                app.lost = true;
                app.said = Some((false, error.to_string()));
                app.dirty = true;
            }
        }
    }
    for effect in app.update(message) {
        perform(app, effect, jobs);
    }
}
