//! What the mouse does: nothing that keys could not do.

use super::actions::Action;
use super::state::{App, Effect, Screen};
use crate::domain::Minute;

/// Lines that one notch of the wheel moves.
const NOTCH: usize = 3;
/// Farther from the selected line than this nothing is clicked.
const FARTHEST: u32 = 500;

/// What happened with the mouse, in columns and rows of the terminal from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pointer {
    /// What.
    pub kind: PointerKind,
    /// The column.
    pub column: u16,
    /// The row.
    pub row: u16,
    /// Rows below the selected line; negative above it; nothing where no line is selected.
    pub below_selected: Option<i32>,
    /// The minute that the column stands for, on a screen with a time axis.
    pub minute: Option<Minute>,
}

/// Kinds of what happens with the mouse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointerKind {
    /// The left button went down.
    Press,
    /// Moved with the left button down.
    Drag,
    /// The left button came up.
    Release,
    /// One notch up.
    WheelUp,
    /// One notch down.
    WheelDown,
}

impl App {
    /// The terminal's own mouse, or ours.
    pub(super) fn turn_mouse(&mut self) {
        self.mouse = !self.mouse;
        let words = if self.mouse {
            "the mouse clicks and scrolls here; m gives it back to the terminal"
        } else {
            "the mouse is the terminal's own"
        };
        self.said = Some((true, words.to_owned()));
    }

    /// A click selects the line, or on Plan the booking, under it; there dragging moves it. The wheel moves the
    /// selection.
    pub(super) fn pointed(&mut self, pointer: Pointer) -> Vec<Effect> {
        if !self.mouse {
            return Vec::new();
        }
        self.dirty = true;
        let on_plan = self.screen == Screen::Plan && self.overlays.is_empty();
        match pointer.kind {
            PointerKind::WheelUp | PointerKind::WheelDown if self.plan.hand.is_some() => Vec::new(),
            PointerKind::Press | PointerKind::Drag | PointerKind::Release if on_plan => {
                self.pointed_on_plan(pointer)
            }
            PointerKind::WheelUp => self.repeat("Up", NOTCH),
            PointerKind::WheelDown => self.repeat("Down", NOTCH),
            PointerKind::Press => self.clicked(pointer),
            PointerKind::Drag | PointerKind::Release => Vec::new(),
        }
    }

    fn clicked(&mut self, pointer: Pointer) -> Vec<Effect> {
        let Some(below) = pointer
            .below_selected
            .filter(|below| below.unsigned_abs() <= FARTHEST)
        else {
            return Vec::new();
        };
        let key = if below < 0 { "Up" } else { "Down" };
        self.repeat(key, below.unsigned_abs() as usize)
    }

    fn repeat(&mut self, key: &str, times: usize) -> Vec<Effect> {
        (0..times).flat_map(|_| self.key(key)).collect()
    }

    /// Copies, exports, and whose the mouse is.
    pub(super) fn hand_out(&mut self, action: Action) -> Vec<Effect> {
        match action {
            Action::CopyRow => vec![Effect::CopyRow],
            Action::CopyTable => vec![Effect::CopyTable],
            Action::Export => vec![Effect::Export],
            _ => {
                self.turn_mouse();
                Vec::new()
            }
        }
    }
}
