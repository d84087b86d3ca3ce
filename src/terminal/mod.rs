//! Raw mode, signals and the loop: messages in, one frame out where something changed.
//!
//! Whatever way the program ends, the terminal is left as it was found.

use crate::app::desk::Desk;
use crate::app::{App, Jobs, Key, Message, Mouse, MouseDeed, Settings, perform, recall};
use crate::screens::draw;
use crate::screens::theme::Theme;
use crossterm::event::{
    DisableBracketedPaste, EnableBracketedPaste, Event, KeyCode, KeyEvent, KeyEventKind,
    KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};
use crossterm::terminal::{
    BeginSynchronizedUpdate, EndSynchronizedUpdate, EnterAlternateScreen, LeaveAlternateScreen,
};
use crossterm::{cursor, execute, queue};
use ratatui::Terminal;
use ratatui::backend::{Backend, CrosstermBackend};
use std::io::{BufWriter, Stdout, Write};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

/// How the program looks and what the user has set.
#[derive(Clone, Debug)]
pub struct Options {
    /// The data is made up: every screen says so.
    pub sample: bool,
    /// Marks and colours.
    pub theme: Theme,
    /// Keys, and how dates are written.
    pub settings: Settings,
    /// The file that keeps a what-if between two starts, where there is one.
    pub keep: Option<PathBuf>,
}

/// How often the ledger and the clock are looked at.
const TICK: Duration = Duration::from_millis(500);

/// Runs the screens until the user leaves.
///
/// # Errors
/// Where the terminal cannot be read or drawn to.
pub fn run(desk: Desk, options: Options) -> std::io::Result<()> {
    let (sender, messages) = channel();
    watch_signals(sender.clone())?;
    let held = Held::take()?;
    watch_keys(sender.clone());
    let backend = CrosstermBackend::new(BufWriter::with_capacity(1 << 16, std::io::stdout()));
    let mut terminal = Terminal::new(backend)?;
    let mut app = App::new(desk, options.sample);
    app.set(options.settings);
    // Without colours crossterm is not to write any, whatever the environment says, and with them it is.
    crossterm::style::force_color_output(options.theme.is_coloured());
    if let Some(path) = &options.keep {
        recall(&mut app, path);
    }
    let done = turn(
        &mut app,
        &mut terminal,
        &messages,
        Jobs::new(sender),
        &options.theme,
        &mut Frame,
    );
    drop(held);
    done
}

/// What surrounds a drawing on a real terminal.
struct Frame;

impl Around<CrosstermBackend<BufWriter<Stdout>>> for Frame {
    fn begin(
        &mut self,
        terminal: &mut Terminal<CrosstermBackend<BufWriter<Stdout>>>,
    ) -> std::io::Result<()> {
        queue!(terminal.backend_mut(), BeginSynchronizedUpdate)
    }

    fn end(
        &mut self,
        terminal: &mut Terminal<CrosstermBackend<BufWriter<Stdout>>>,
    ) -> std::io::Result<()> {
        queue!(terminal.backend_mut(), EndSynchronizedUpdate)?;
        Write::flush(terminal.backend_mut())
    }
}

/// What is done before and after a drawing.
pub trait Around<B: Backend> {
    /// Before.
    fn begin(&mut self, terminal: &mut Terminal<B>) -> std::io::Result<()>;
    /// After.
    fn end(&mut self, terminal: &mut Terminal<B>) -> std::io::Result<()>;
}

/// The loop: waits for a message, takes in all that wait, carries their effects out, and draws once if
/// something changed.
pub fn turn<B: Backend>(
    app: &mut App,
    terminal: &mut Terminal<B>,
    messages: &Receiver<Message>,
    mut jobs: Jobs,
    theme: &Theme,
    around: &mut dyn Around<B>,
) -> std::io::Result<()>
where
    std::io::Error: From<B::Error>,
{
    let mut next_tick = app.desk.clock().elapsed() + TICK;
    while !app.over {
        if app.dirty {
            app.dirty = false;
            around.begin(terminal)?;
            let mut page = app.page;
            let drawn =
                terminal.draw(|frame| page = draw(app, theme, frame.area(), frame.buffer_mut()))?;
            app.size = (drawn.area.width, drawn.area.height);
            app.page = page;
            around.end(terminal)?;
        }
        let wait = next_tick
            .saturating_sub(app.desk.clock().elapsed())
            .min(TICK);
        let first = match messages.recv_timeout(wait) {
            Ok(message) => Some(message),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        let waiting: Vec<Message> = first.into_iter().chain(messages.try_iter()).collect();
        for message in waiting {
            step(app, message, &mut jobs);
        }
        // Steady input must not keep the clock and the ledger from being looked at.
        if app.desk.clock().elapsed() >= next_tick {
            next_tick = app.desk.clock().elapsed() + TICK;
            step(app, Message::Tick, &mut jobs);
        }
    }
    Ok(())
}

/// One message with its effects; a tick also looks whether others have recorded something.
pub fn step(app: &mut App, message: Message, jobs: &mut Jobs) {
    if matches!(message, Message::Tick) {
        match app.desk.refresh() {
            Ok(fresh) => {
                app.dirty |= app.stale_seconds().is_some();
                app.read = app.desk.clock().elapsed();
                if fresh {
                    app.renew();
                }
            }
            Err(error) => {
                app.said = Some((false, error.to_string()));
                app.dirty = true;
            }
        }
    }
    for effect in app.update(message) {
        perform(app, effect, jobs);
    }
}

/// The terminal in our hands; given back when dropped, also by a panic.
struct Held;

impl Held {
    fn take() -> std::io::Result<Self> {
        crossterm::terminal::enable_raw_mode()?;
        let held = Self;
        execute!(
            std::io::stdout(),
            EnterAlternateScreen,
            EnableBracketedPaste,
            cursor::Hide
        )?;
        let (ours, before) = (std::thread::current().id(), std::panic::take_hook());
        std::panic::set_hook(Box::new(move |panic| {
            // A job that breaks down is told on the screen, which goes on.
            if std::thread::current().id() == ours {
                give_back();
                before(panic);
            }
        }));
        Ok(held)
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        give_back();
    }
}

/// Leaves the terminal as it was found; where it is gone there is nothing left to do.
fn give_back() {
    let mut out = std::io::stdout();
    let _left = execute!(
        out,
        DisableBracketedPaste,
        LeaveAlternateScreen,
        cursor::Show
    );
    let _cooked = crossterm::terminal::disable_raw_mode();
}

fn watch_keys(sender: Sender<Message>) {
    std::thread::spawn(move || {
        while let Ok(event) = crossterm::event::read() {
            let message = match event {
                Event::Key(key) if key.kind != KeyEventKind::Release => {
                    key_name(&key).map(Message::Key)
                }
                Event::Paste(text) => Some(Message::Paste(text)),
                Event::Mouse(mouse) => mouse_deed(&mouse).map(Message::Mouse),
                Event::Resize(..) => Some(Message::Resized),
                _ => None,
            };
            if let Some(message) = message
                && sender.send(message).is_err()
            {
                return;
            }
        }
        // The terminal is gone; where nobody listens any more the program is ending anyway.
        let _told = sender.send(Message::Terminate);
    });
}

fn watch_signals(sender: Sender<Message>) -> std::io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM};
    let mut signals = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT, SIGQUIT])?;
    std::thread::spawn(move || {
        for _ in signals.forever() {
            if sender.send(Message::Terminate).is_err() {
                return;
            }
        }
    });
    Ok(())
}

/// What a mouse did; `None` for what means nothing here.
pub fn mouse_deed(mouse: &MouseEvent) -> Option<Mouse> {
    let deed = match mouse.kind {
        MouseEventKind::Down(MouseButton::Left) => MouseDeed::Press,
        MouseEventKind::Drag(MouseButton::Left) => MouseDeed::Drag,
        MouseEventKind::Up(MouseButton::Left) => MouseDeed::Release,
        MouseEventKind::ScrollUp => MouseDeed::WheelUp,
        MouseEventKind::ScrollDown => MouseDeed::WheelDown,
        _ => return None,
    };
    Some(Mouse {
        deed,
        column: mouse.column,
        row: mouse.row,
    })
}

/// A key as text; `None` for keys that mean nothing here.
pub fn key_name(key: &KeyEvent) -> Option<Key> {
    let name = match key.code {
        KeyCode::Char(letter) if key.modifiers.contains(KeyModifiers::CONTROL) => {
            format!("Ctrl-{}", letter.to_lowercase())
        }
        KeyCode::Char(_) if key.modifiers.contains(KeyModifiers::ALT) => return None,
        KeyCode::Char(letter) => letter.to_string(),
        KeyCode::Enter => "Enter".to_owned(),
        KeyCode::Esc => "Esc".to_owned(),
        KeyCode::Backspace => "Backspace".to_owned(),
        KeyCode::Delete => "Delete".to_owned(),
        KeyCode::Tab => "Tab".to_owned(),
        KeyCode::BackTab => "Shift-Tab".to_owned(),
        KeyCode::Up => "Up".to_owned(),
        KeyCode::Down => "Down".to_owned(),
        KeyCode::Left => "Left".to_owned(),
        KeyCode::Right => "Right".to_owned(),
        KeyCode::Home => "Home".to_owned(),
        KeyCode::End => "End".to_owned(),
        KeyCode::PageUp => "PgUp".to_owned(),
        KeyCode::PageDown => "PgDn".to_owned(),
        KeyCode::Insert => "Insert".to_owned(),
        KeyCode::F(number) => format!("F{number}"),
        _ => return None,
    };
    Some(name)
}
