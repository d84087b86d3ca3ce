//! Keys, pastes and the mouse as messages.

use crate::app::{Key, Message, Pointer, PointerKind};
use crossterm::event::{
    Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};

/// What an event of the terminal means to the program; nothing where it means nothing.
pub(super) fn message_of(event: Event) -> Option<Message> {
    match event {
        Event::Key(key) if key.kind != KeyEventKind::Release => key_name(&key).map(Message::Key),
        Event::Paste(text) => Some(Message::Paste(text)),
        Event::Mouse(mouse) => pointer(&mouse).map(Message::Pointer),
        Event::Resize(..) => Some(Message::Resized),
        _ => None,
    }
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
        _ => return None,
    };
    Some(name)
}

/// The left button and the wheel; other buttons belong to the terminal.
fn pointer(mouse: &MouseEvent) -> Option<Pointer> {
    let kind = match mouse.kind {
        MouseEventKind::Down(MouseButton::Left) => PointerKind::Press,
        MouseEventKind::Drag(MouseButton::Left) => PointerKind::Drag,
        MouseEventKind::Up(MouseButton::Left) => PointerKind::Release,
        MouseEventKind::ScrollUp => PointerKind::WheelUp,
        MouseEventKind::ScrollDown => PointerKind::WheelDown,
        _ => return None,
    };
    Some(Pointer {
        kind,
        column: mouse.column,
        row: mouse.row,
        below_selected: None,
        minute: None,
    })
}
