//! Marks and colours. Every state differs by its mark; a colour always sets both sides.

use crate::floor::{RigState, UnitState};
use ratatui::style::{Color, Modifier, Style};

/// How things look.
#[derive(Clone, Copy, Debug)]
pub struct Theme {
    /// Marks beyond ASCII.
    pub unicode: bool,
    /// Colours.
    pub colour: bool,
}

impl Theme {
    /// The mark of a unit's state: its initial in ASCII.
    pub fn mark(&self, state: UnitState) -> &'static str {
        let (ascii, unicode) = match state {
            UnitState::Waiting => ("W", "◌"),
            UnitState::Booked => ("B", "▹"),
            UnitState::Running => ("R", "▸"),
            UnitState::Due => ("D", "◉"),
            UnitState::Late => ("L", "!"),
            UnitState::Held => ("H", "¦"),
            UnitState::Passed => ("P", "✓"),
            UnitState::Failed => ("F", "✗"),
            UnitState::Out => ("O", "⊘"),
            UnitState::Unknown => ("U", "?"),
        };
        if self.unicode { unicode } else { ascii }
    }

    /// The mark of a rig's state, in brackets.
    pub fn rig_mark(&self, state: RigState) -> &'static str {
        match state {
            RigState::Idle => "[_]",
            RigState::Busy => "[#]",
            RigState::Service => "[~]",
            RigState::Down => "[x]",
            RigState::Closed => "[/]",
        }
    }

    /// The pair of colours of a unit's state.
    pub fn unit(&self, state: UnitState) -> Style {
        let plain = Style::new();
        if !self.colour {
            return match state {
                UnitState::Failed | UnitState::Late => {
                    plain.add_modifier(Modifier::REVERSED | Modifier::BOLD)
                }
                UnitState::Booked => plain.add_modifier(Modifier::BOLD),
                _ => plain,
            };
        }
        match state {
            UnitState::Waiting => plain,
            UnitState::Booked => plain.add_modifier(Modifier::BOLD),
            UnitState::Running => pair(Color::White, Color::Blue),
            UnitState::Due => pair(Color::Black, Color::Yellow),
            UnitState::Late => pair(Color::Black, Color::Yellow)
                .add_modifier(Modifier::BOLD | Modifier::UNDERLINED),
            UnitState::Held => pair(Color::White, Color::Magenta),
            UnitState::Passed => pair(Color::Black, Color::Cyan),
            UnitState::Failed => pair(Color::White, Color::Red).add_modifier(Modifier::BOLD),
            UnitState::Out => plain.add_modifier(Modifier::CROSSED_OUT),
            UnitState::Unknown => plain.add_modifier(Modifier::UNDERLINED),
        }
    }

    /// The pair of colours of a rig's state.
    pub fn rig(&self, state: RigState) -> Style {
        if !self.colour {
            return Style::new();
        }
        match state {
            RigState::Idle | RigState::Closed => Style::new(),
            RigState::Busy => pair(Color::White, Color::Blue),
            RigState::Service => pair(Color::White, Color::Magenta),
            RigState::Down => pair(Color::White, Color::Red),
        }
    }

    /// Something that needs attention.
    pub fn warning(&self) -> Style {
        if self.colour {
            pair(Color::Black, Color::Yellow)
        } else {
            Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED)
        }
    }

    /// A broken rule.
    pub fn clash(&self) -> Style {
        self.unit(UnitState::Failed)
    }

    /// What is selected.
    pub fn selected(&self) -> Style {
        Style::new().add_modifier(Modifier::REVERSED)
    }

    /// Header and key line.
    pub fn bar(&self) -> Style {
        if self.colour {
            pair(Color::White, Color::Blue)
        } else {
            Style::new()
        }
    }

    /// The name of the screen in the header.
    pub fn bar_strong(&self) -> Style {
        self.bar().add_modifier(Modifier::BOLD | Modifier::REVERSED)
    }

    /// A title.
    pub fn title(&self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// A heat cell of a step from 0 to 4.
    pub fn heat(&self, step: usize) -> Style {
        if !self.colour {
            return Style::new();
        }
        match step {
            0 => Style::new(),
            1 => pair(Color::White, Color::Blue),
            2 => pair(Color::Black, Color::Cyan),
            3 => pair(Color::Black, Color::Yellow),
            _ => pair(Color::White, Color::Red),
        }
    }
}

fn pair(fg: Color, bg: Color) -> Style {
    Style::new().fg(fg).bg(bg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use unicode_width::UnicodeWidthStr;

    const STATES: [UnitState; 10] = [
        UnitState::Waiting,
        UnitState::Booked,
        UnitState::Running,
        UnitState::Due,
        UnitState::Late,
        UnitState::Held,
        UnitState::Passed,
        UnitState::Failed,
        UnitState::Out,
        UnitState::Unknown,
    ];

    #[test]
    fn every_state_has_a_mark_of_its_own_one_column_wide() {
        for unicode in [true, false] {
            let theme = Theme {
                unicode,
                colour: false,
            };
            let marks: std::collections::BTreeSet<&str> =
                STATES.iter().map(|state| theme.mark(*state)).collect();
            assert_eq!(marks.len(), STATES.len());
            assert!(
                marks
                    .iter()
                    .all(|mark| mark.width() == 1 && mark.width_cjk() <= 2)
            );
        }
    }

    #[test]
    fn a_colour_sets_both_sides() {
        let theme = Theme {
            unicode: true,
            colour: true,
        };
        for style in STATES
            .iter()
            .map(|state| theme.unit(*state))
            .chain((0..5).map(|step| theme.heat(step)))
        {
            assert_eq!(style.fg.is_some(), style.bg.is_some());
        }
    }
}
