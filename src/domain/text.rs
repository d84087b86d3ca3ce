//! What may stand in ids, names and notes, and what may leave for a screen.

use std::fmt::Display;
use unicode_normalization::UnicodeNormalization;

/// Longest id or serial, in characters.
pub const ID_MAX: usize = 64;
/// Longest name, in characters.
pub const NAME_MAX: usize = 200;
/// Longest note or reason, in characters.
pub const NOTE_MAX: usize = 2000;

/// The text in the one form in which equal texts have equal bytes (NFC).
pub fn normal(text: &str) -> String {
    text.nfc().collect()
}

/// Says what is wrong with an id or serial, or `None` where nothing is.
///
/// Allowed are letters, digits, `- _ . / : #` and single spaces inside, at most 64 characters.
pub fn id_fault(id: &str) -> Option<String> {
    if id.is_empty() {
        return Some("it is empty".to_owned());
    }
    if id.chars().count() > ID_MAX {
        return Some(format!("it has more than {ID_MAX} characters"));
    }
    if id.starts_with(' ') || id.ends_with(' ') {
        return Some("it begins or ends with a space".to_owned());
    }
    let allowed = |c: char| c.is_alphanumeric() || "-_./:# ".contains(c) || is_mark(c);
    id.chars().find(|c| !allowed(*c) || is_hidden(*c)).map(|c| {
        format!(
            "{} may not be in it; letters, digits, - _ . / : # and inner spaces may",
            named(c)
        )
    })
}

/// Says what is wrong with a name, note or reason, or `None` where nothing is.
pub fn line_fault(text: &str, max: usize) -> Option<String> {
    if text.trim().is_empty() {
        return Some("it is empty".to_owned());
    }
    if text.chars().count() > max {
        return Some(format!("it has more than {max} characters"));
    }
    text.chars()
        .find(|c| is_hidden(*c))
        .map(|c| format!("{} may not be in it", named(c)))
}

/// A count with its word: `1 unit`, `2 units`; also `1 rule is`, `2 rules are`.
pub fn counted<N: Copy + Display + PartialEq + From<u8>>(
    count: N,
    one: &str,
    more: &str,
) -> String {
    let word = if count == N::from(1) { one } else { more };
    format!("{count} {word}")
}

/// The text with everything that could steer or deceive a terminal replaced by `?`.
pub fn shown(text: &str) -> String {
    text.chars()
        .map(|c| if is_hidden(c) { '?' } else { c })
        .collect()
}

/// Characters that are not seen, or that change how others are seen: controls, bidirectional and
/// zero-width ones, letters without a shape, line and paragraph separators, private use.
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{2069}' | '\u{206a}'..='\u{206f}' | '\u{3164}' | '\u{ffa0}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e000}'..='\u{f8ff}' | '\u{e0000}'..='\u{e0fff}' | '\u{f0000}'..='\u{10ffff}')
}

/// Combining marks, which letters of many scripts need.
fn is_mark(c: char) -> bool {
    unicode_normalization::char::is_combining_mark(c)
}

fn named(c: char) -> String {
    if is_hidden(c) {
        format!("U+{:04X}", u32::from(c))
    } else {
        format!("`{c}`")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_letters_digits_and_a_few_marks() {
        for good in ["R-101/1", "dh-1", "Prüfling 7", "a", "A:b#c.d_e"] {
            assert_eq!(id_fault(good), None, "{good}");
        }
        for bad in [
            "",
            " a",
            "a ",
            "a\tb",
            "a\u{202e}b",
            "a\u{200b}b",
            "a*b",
            &"x".repeat(65),
        ] {
            assert!(id_fault(bad).is_some(), "{bad:?}");
        }
    }

    #[test]
    fn nothing_that_steers_a_terminal_is_shown() {
        assert_eq!(
            shown("a\u{1b}[2Jb\u{202e}c\u{9b}d\u{2028}e\u{7f}"),
            "a?[2Jb?c?d?e?"
        );
        assert_eq!(shown("Maße 漢字"), "Maße 漢字");
    }
}
