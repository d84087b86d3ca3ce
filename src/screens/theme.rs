//! Marks and colours. Every state differs by its mark; a colour always sets both sides.

use crate::floor::{RigState, UnitState};
use ratatui::style::{Color, Modifier, Style};

/// How many colours the terminal shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// None: marks, words, bold and reverse say everything.
    None,
    /// The sixteen named ones.
    Ansi16,
    /// The palette of 256.
    Ansi256,
    /// Any.
    Rgb,
}

/// A colour of the letters and one of the ground below them: neither is ever set alone.
pub type Pair = (Color, Color);

/// The pairs of a theme, by their ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pairs {
    /// Running, busy, bars.
    pub blue: Pair,
    /// Due and late.
    pub yellow: Pair,
    /// Held, in service.
    pub magenta: Pair,
    /// Passed.
    pub cyan: Pair,
    /// Failed, down, clash.
    pub red: Pair,
}

impl Pairs {
    /// Of the sixteen named colours.
    pub const NAMED: Self = Self {
        blue: (Color::White, Color::Blue),
        yellow: (Color::Black, Color::Yellow),
        magenta: (Color::White, Color::Magenta),
        cyan: (Color::Black, Color::Cyan),
        red: (Color::White, Color::Red),
    };

    /// All of them.
    pub const fn all(&self) -> [Pair; 5] {
        [self.blue, self.yellow, self.magenta, self.cyan, self.red]
    }
}

/// Every state of a rig.
pub const RIG_STATES: [RigState; 5] = [
    RigState::Idle,
    RigState::Busy,
    RigState::Service,
    RigState::Down,
    RigState::Closed,
];

/// How things look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    /// Marks beyond ASCII.
    pub unicode: bool,
    /// How many colours.
    pub level: Level,
    /// The pairs that stand for states, fit for the level.
    pub pairs: Pairs,
}

impl Theme {
    /// The named colours, as far as the level shows any.
    pub const fn new(unicode: bool, level: Level) -> Self {
        Self {
            unicode,
            level,
            pairs: Pairs::NAMED,
        }
    }

    /// True where colours may be used at all.
    pub fn is_coloured(&self) -> bool {
        self.level > Level::None
    }

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
        if !self.is_coloured() {
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
            UnitState::Running => pair(self.pairs.blue),
            UnitState::Due => pair(self.pairs.yellow),
            UnitState::Late => {
                pair(self.pairs.yellow).add_modifier(Modifier::BOLD | Modifier::UNDERLINED)
            }
            UnitState::Held => pair(self.pairs.magenta),
            UnitState::Passed => pair(self.pairs.cyan),
            UnitState::Failed => pair(self.pairs.red).add_modifier(Modifier::BOLD),
            UnitState::Out => plain.add_modifier(Modifier::CROSSED_OUT),
            UnitState::Unknown => plain.add_modifier(Modifier::UNDERLINED),
        }
    }

    /// The pair of colours of a rig's state.
    pub fn rig(&self, state: RigState) -> Style {
        if !self.is_coloured() {
            return Style::new();
        }
        match state {
            RigState::Idle | RigState::Closed => Style::new(),
            RigState::Busy => pair(self.pairs.blue),
            RigState::Service => pair(self.pairs.magenta),
            RigState::Down => pair(self.pairs.red),
        }
    }

    /// Something that needs attention.
    pub fn warning(&self) -> Style {
        if self.is_coloured() {
            pair(self.pairs.yellow)
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
        if self.is_coloured() {
            pair(self.pairs.blue)
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
        if !self.is_coloured() {
            return Style::new();
        }
        match step {
            0 => Style::new(),
            1 => pair(self.pairs.blue),
            2 => pair(self.pairs.cyan),
            3 => pair(self.pairs.yellow),
            _ => pair(self.pairs.red),
        }
    }
}

const fn pair((fg, bg): Pair) -> Style {
    Style::new().fg(fg).bg(bg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use unicode_width::UnicodeWidthStr;

    #[test]
    fn every_state_has_a_mark_of_its_own_one_column_wide() {
        for unicode in [true, false] {
            let theme = Theme::new(unicode, Level::None);
            let marks: std::collections::BTreeSet<&str> = UnitState::ALL
                .iter()
                .map(|state| theme.mark(*state))
                .collect();
            assert_eq!(marks.len(), UnitState::ALL.len());
            assert!(
                marks
                    .iter()
                    .all(|mark| mark.width() == 1 && mark.width_cjk() <= 2)
            );
        }
    }

    #[test]
    fn a_colour_sets_both_sides() {
        let theme = Theme::new(true, Level::Ansi16);
        for style in UnitState::ALL
            .iter()
            .map(|state| theme.unit(*state))
            .chain((0..5).map(|step| theme.heat(step)))
        {
            assert_eq!(style.fg.is_some(), style.bg.is_some());
        }
    }
}
