//! Text measured in columns, never in characters.

use crate::domain::text::shown;
use unicode_segmentation::UnicodeSegmentation;
use unicode_width::UnicodeWidthStr;

/// The text in exactly `width` columns: padded with spaces, or cut with `~` at its end. What could steer a
/// terminal is shown as `?`.
pub fn fit(text: &str, width: usize) -> String {
    let text = shown(text);
    let own = text.width();
    if own <= width {
        return format!("{text}{}", " ".repeat(width - own));
    }
    let mut cut = String::new();
    let mut used = 0;
    for piece in text.graphemes(true) {
        let wide = piece.width();
        if used + wide + 1 > width {
            break;
        }
        cut.push_str(piece);
        used += wide;
    }
    if width > 0 {
        cut.push('~');
        used += 1;
    }
    format!("{cut}{}", " ".repeat(width - used))
}

/// The text in lines of at most `width` columns, broken between words.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in shown(text).split_whitespace() {
        let last = lines.last().map_or(0, |line| line.width());
        if last > 0 && last + 1 + word.width() > width {
            lines.push(word.to_owned());
        } else if let Some(line) = lines.last_mut() {
            if last > 0 {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_takes_exactly_its_columns_whatever_it_holds() {
        for text in [
            "",
            "abc",
            "a longer text",
            "漢字かな",
            "e\u{301}e\u{301}e\u{301}",
            "a\u{1b}[2Jb",
            "👩‍🔬👩‍🔬",
        ] {
            for width in 0..16 {
                assert_eq!(fit(text, width).width(), width, "{text:?} in {width}");
            }
        }
        assert_eq!(fit("abcdef", 4), "abc~");
        assert_eq!(fit("漢字", 3), "漢~");
    }

    #[test]
    fn words_stay_whole_where_they_can() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("", 7), [""]);
    }
}
