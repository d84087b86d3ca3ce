//! What stands in a block: its mark, whether it is changed or clashes, the unit, how full, how late.

use crate::widgets::text::fit;
use unicode_width::UnicodeWidthStr;

/// What a block shows.
pub(super) struct Look<'a> {
    /// The mark of its state.
    pub(super) mark: &'a str,
    /// The unit.
    pub(super) unit: &'a str,
    /// Units at once of how many there may be; `None` on rigs of one position.
    pub(super) filled: Option<(usize, u32)>,
    /// How late its request is, in words; empty where it is not.
    pub(super) late: String,
    /// It is not so in the plan in force.
    pub(super) changed: bool,
    /// It breaks a rule.
    pub(super) clash: bool,
    /// What stands at its ends.
    pub(super) ends: Ends,
    /// How many blocks it stands for, where they are too narrow to be told apart.
    pub(super) count: usize,
    /// Its state asks for somebody: late, failed, due or held.
    pub(super) urgent: bool,
    /// Signs for the rest of it, where all positions are filled, and where not.
    pub(super) fill: (&'a str, &'a str),
}

/// What is at the ends of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ends {
    /// `[` and `]`.
    Plain,
    /// `{` and `}`.
    Selected,
    /// `<` and `>`.
    Lifted,
}

impl Ends {
    const fn signs(self) -> (&'static str, &'static str) {
        match self {
            Self::Plain => ("[", "]"),
            Self::Selected => ("{", "}"),
            Self::Lifted => ("<", ">"),
        }
    }
}

impl Look<'_> {
    /// The block in exactly `width` columns; `cut` says at which ends it goes on outside of what is shown.
    pub(super) fn text(&self, width: usize, cut: (bool, bool)) -> String {
        let (open, close) = self.ends.signs();
        let open = if cut.0 { "" } else { open };
        let close = if cut.1 { "" } else { close };
        match width {
            0 => String::new(),
            1 if self.ends == Ends::Lifted => "<".to_owned(),
            1 => self.sign(),
            2 if cut.0 => format!("{}{}", self.sign(), if cut.1 { self.fill() } else { close }),
            2 => format!("{}{}", if cut.1 { "[" } else { open }, self.sign()),
            _ => {
                let inside = width - open.len() - close.len();
                format!("{open}{}{close}", self.inside(inside))
            }
        }
    }

    /// The one sign that matters most: a clash, somebody needed, changed, how many, the state.
    fn sign(&self) -> String {
        match self.count {
            _ if self.clash => "X".to_owned(),
            _ if self.urgent => self.mark.to_owned(),
            _ if self.changed => "*".to_owned(),
            2..=9 => self.count.to_string(),
            10.. => "+".to_owned(),
            _ => self.mark.to_owned(),
        }
    }

    fn fill(&self) -> &str {
        let full = self.filled.is_none_or(|(units, of)| units >= of as usize);
        if full { self.fill.0 } else { self.fill.1 }
    }

    fn inside(&self, width: usize) -> String {
        let changed = if self.changed { "*" } else { " " };
        let clash = if self.clash { "!!" } else { "" };
        let mut head = format!("{}{changed}{clash}", self.mark);
        if head.width() >= width {
            head = match (width, self.clash, self.changed) {
                (1, ..) => self.sign(),
                (2, true, true) => "*!".to_owned(),
                (2, true, false) => "!!".to_owned(),
                (3, true, true) => "*!!".to_owned(),
                (3, true, false) => format!("{}!!", self.mark),
                (_, true, _) => head,
                (_, false, true) => format!("{}*", self.mark),
                (_, false, false) => self.mark.to_owned(),
            };
            return padded(&head, width, self.fill());
        }
        let room = width - head.width();
        let filled = self
            .filled
            .map_or(String::new(), |(units, of)| format!(" {units}/{of}"));
        let more = if self.count > 1 {
            format!(" +{}", self.count - 1)
        } else {
            String::new()
        };
        let late = &self.late;
        let texts = [
            format!("{}{filled}{more}{late}", self.unit),
            format!("{}{filled}{late}", self.unit),
            format!("{}{filled}", self.unit),
            self.unit.to_owned(),
        ];
        let fitting = texts.iter().find(|text| text.width() <= room);
        let text = match fitting {
            Some(text) => fit(text, text.width()),
            None if room >= 4 => fit(self.unit, room),
            None => {
                let head = if self.changed || self.clash {
                    head
                } else {
                    self.mark.to_owned()
                };
                return padded(&head, width, self.fill());
            }
        };
        padded(&format!("{head}{text}"), width, self.fill())
    }
}

fn padded(text: &str, width: usize, fill: &str) -> String {
    let rest = width.saturating_sub(text.width());
    format!("{text}{}", fill.repeat(rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look() -> Look<'static> {
        Look {
            mark: "B",
            unit: "R-306/1",
            filled: Some((3, 6)),
            late: String::new(),
            changed: false,
            clash: false,
            ends: Ends::Plain,
            count: 1,
            urgent: false,
            fill: ("=", "-"),
        }
    }

    #[test]
    fn a_block_takes_exactly_its_columns_whatever_it_holds() {
        for unit in [
            "R-1/1",
            "漢字かな-1",
            "e\u{301}e\u{301}e\u{301}",
            "a\u{1b}[2J",
            "",
        ] {
            for bits in 0..32_u8 {
                let bit = |at: u8| bits & (1 << at) != 0;
                let own = Look {
                    unit,
                    changed: bit(0),
                    clash: bit(1),
                    count: if bit(2) { 12 } else { 1 },
                    late: " late 3h".to_owned(),
                    ..look()
                };
                for width in 0..40 {
                    let text = own.text(width, (bit(3), bit(4)));
                    assert_eq!(text.width(), width, "{text:?}");
                }
            }
        }
    }

    #[test]
    fn a_block_says_mark_unit_and_fill_and_what_is_left_where_it_is_narrow() {
        let text = |own: &Look<'_>, width| own.text(width, (false, false));
        assert_eq!(text(&look(), 20), "[B R-306/1 3/6-----]");
        let full = Look {
            filled: Some((6, 6)),
            ..look()
        };
        assert_eq!(text(&full, 20), "[B R-306/1 6/6=====]");
        let moved = Look {
            changed: true,
            clash: true,
            ..look()
        };
        assert_eq!(text(&moved, 20), "[B*!!R-306/1 3/6---]");
        assert_eq!(text(&moved, 4), "[*!]");
        assert_eq!(text(&moved, 5), "[*!!]");
        assert_eq!(text(&moved, 1), "X");
        assert_eq!(text(&look(), 8), "[B R-3~]");
        assert_eq!(text(&look(), 5), "[B--]");
        assert_eq!(text(&look(), 3), "[B]");
        assert_eq!(text(&look(), 2), "[B");
        assert_eq!(text(&look(), 1), "B");
    }

    #[test]
    fn what_is_too_narrow_to_be_told_apart_is_counted() {
        let many = Look { count: 3, ..look() };
        assert_eq!(many.text(1, (false, false)), "3");
        let late = Look {
            urgent: true,
            mark: "L",
            ..many
        };
        assert_eq!(late.text(1, (false, false)), "L");
    }
}
