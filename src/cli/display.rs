//! How the terminal draws: colours, marks and theme, chosen once, with the reason for each.

use crate::screens::looks::{Looks, Switch};
use crate::screens::theme::{Level, Theme};
use clap::{Args, ValueEnum};

/// Options of the screens that every command takes.
#[derive(Args, Clone, Debug, Default)]
#[group(skip)]
pub(crate) struct Arguments {
    /// Whether the screens use colours; default: as the terminal and `NO_COLOR` say
    #[arg(long, global = true, value_name = "WHEN", hide_short_help = true)]
    color: Option<Color>,
    /// Which marks and lines the screens use; default: as the locale and the terminal say
    #[arg(long, global = true, value_name = "SET", hide_short_help = true)]
    glyphs: Option<Glyphs>,
    /// The colours of the screens: dark, light, high-contrast, named, or one of your own
    #[arg(long, global = true, value_name = "NAME", hide_short_help = true)]
    theme: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Color {
    /// As the terminal seems to be
    Auto,
    /// Even where `NO_COLOR` is set
    Always,
    /// Not at all
    Never,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Glyphs {
    /// As the terminal seems to be
    Auto,
    /// Marks and lines of Unicode
    Unicode,
    /// ASCII only
    Ascii,
}

/// What the environment says of the terminal; a variable that is empty says nothing.
#[derive(Clone, Debug, Default)]
pub(crate) struct Terminal {
    pub(crate) no_color: Option<String>,
    pub(crate) term: Option<String>,
    pub(crate) colorterm: Option<String>,
    /// The name and value of the first of `LC_ALL`, `LC_CTYPE`, `LANG` that is set.
    pub(crate) locale: Option<(&'static str, String)>,
}

/// What was chosen, and why.
pub(crate) struct Choice {
    pub(crate) theme: Theme,
    pub(crate) reasons: [String; 3],
}

/// Chooses: the command line goes before the user's file, that before `NO_COLOR`, that before what the terminal
/// seems to be.
///
/// # Errors
/// Where the command line names a theme that is not there.
pub(crate) fn choose(
    asked: &Arguments,
    looks: &Looks,
    terminal: &Terminal,
) -> Result<Choice, String> {
    let mut looks = looks.clone();
    let theme_why = match &asked.theme {
        Some(name) => {
            looks
                .choose(name)
                .map_err(|why| format!("--theme: {why}"))?;
            "by --theme"
        }
        None => "by theme.toml",
    };
    let (level, level_why) = level(asked, looks.colour, terminal);
    let (unicode, glyphs_why) = glyphs(asked, looks.unicode, terminal);
    let name = match level {
        Level::None => "none",
        Level::Ansi16 => "16",
        Level::Ansi256 => "256",
        Level::Rgb => "RGB",
    };
    let set = if unicode { "unicode" } else { "ascii" };
    Ok(Choice {
        theme: Theme {
            unicode,
            level,
            pairs: looks.pairs(level),
        },
        reasons: [
            format!("colours: {name}, {level_why}"),
            format!("marks: {set}, {glyphs_why}"),
            format!("theme: {}, {theme_why}", looks.theme),
        ],
    })
}

fn level(asked: &Arguments, file: Switch, terminal: &Terminal) -> (Level, String) {
    let (seen, why) = seen_level(terminal);
    let least = seen.max(Level::Ansi16);
    match (asked.color, file) {
        (Some(Color::Never), _) => (Level::None, "by --color=never".to_owned()),
        (Some(Color::Always), _) => (least, format!("by --color=always; {why}")),
        (_, Switch::Off) => (Level::None, "by color in theme.toml".to_owned()),
        (_, Switch::On) => (least, format!("by color in theme.toml; {why}")),
        _ if terminal.no_color.is_some() => (Level::None, "as NO_COLOR is set".to_owned()),
        _ => (seen, why),
    }
}

/// What `TERM` and `COLORTERM` say.
fn seen_level(terminal: &Terminal) -> (Level, String) {
    let Some(term) = terminal.term.as_deref() else {
        return (Level::None, "as TERM is not set".to_owned());
    };
    let is = |level, why: String| (level, why);
    let by_term = format!("as TERM is {}", crate::domain::text::shown(term));
    if term == "dumb" || term.starts_with("vt") {
        return is(Level::None, by_term);
    }
    match terminal.colorterm.as_deref() {
        Some(own @ ("truecolor" | "24bit")) => is(Level::Rgb, format!("as COLORTERM is {own}")),
        _ if term.ends_with("-direct") => is(Level::Rgb, by_term),
        _ if term.contains("256color") => is(Level::Ansi256, by_term),
        _ => is(Level::Ansi16, by_term),
    }
}

fn glyphs(asked: &Arguments, file: Switch, terminal: &Terminal) -> (bool, String) {
    let term = terminal.term.as_deref().unwrap_or_default();
    let plain = ["linux", "dumb", "ansi"].contains(&term) || term.starts_with("vt");
    match (asked.glyphs, file) {
        (Some(Glyphs::Unicode), _) => (true, "by --glyphs=unicode".to_owned()),
        (Some(Glyphs::Ascii), _) => (false, "by --glyphs=ascii".to_owned()),
        (_, Switch::On) => (true, "by glyphs in theme.toml".to_owned()),
        (_, Switch::Off) => (false, "by glyphs in theme.toml".to_owned()),
        _ if plain => (false, format!("as TERM is {term}")),
        _ => match &terminal.locale {
            None => (
                false,
                "as no locale is set (LC_ALL, LC_CTYPE, LANG)".to_owned(),
            ),
            Some((name, value)) => {
                let upper = value.to_uppercase();
                let shown = crate::domain::text::shown(value);
                let unicode = upper.contains("UTF-8") || upper.contains("UTF8");
                (unicode, format!("as {name} is {shown}"))
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terminal(no_color: &str, term: &str, colorterm: &str, lang: &str) -> Terminal {
        let set = |text: &str| Some(text.to_owned()).filter(|own| !own.is_empty());
        Terminal {
            no_color: set(no_color),
            term: set(term),
            colorterm: set(colorterm),
            locale: set(lang).map(|own| ("LANG", own)),
        }
    }

    fn asked(color: Option<Color>, glyphs: Option<Glyphs>) -> Arguments {
        Arguments {
            color,
            glyphs,
            theme: None,
        }
    }

    #[test]
    #[expect(clippy::too_many_lines, reason = "one table of cases")]
    fn t50_the_option_goes_before_no_color_and_that_before_the_terminal() {
        let cases = [
            (
                None,
                Switch::Auto,
                "",
                "xterm",
                "",
                Level::Ansi16,
                "as TERM is xterm",
            ),
            (
                None,
                Switch::Auto,
                "",
                "xterm-256color",
                "",
                Level::Ansi256,
                "as TERM is xterm-256color",
            ),
            (
                None,
                Switch::Auto,
                "",
                "xterm-256color",
                "truecolor",
                Level::Rgb,
                "as COLORTERM is truecolor",
            ),
            (
                None,
                Switch::Auto,
                "",
                "xterm-direct",
                "",
                Level::Rgb,
                "as TERM is xterm-direct",
            ),
            (
                None,
                Switch::Auto,
                "",
                "linux",
                "",
                Level::Ansi16,
                "as TERM is linux",
            ),
            (
                None,
                Switch::Auto,
                "",
                "dumb",
                "truecolor",
                Level::None,
                "as TERM is dumb",
            ),
            (
                None,
                Switch::Auto,
                "",
                "vt220",
                "",
                Level::None,
                "as TERM is vt220",
            ),
            (
                None,
                Switch::Auto,
                "",
                "",
                "",
                Level::None,
                "as TERM is not set",
            ),
            (
                None,
                Switch::Auto,
                "1",
                "xterm",
                "truecolor",
                Level::None,
                "as NO_COLOR is set",
            ),
            (
                Some(Color::Auto),
                Switch::Auto,
                "1",
                "xterm",
                "",
                Level::None,
                "as NO_COLOR is set",
            ),
            (
                Some(Color::Always),
                Switch::Off,
                "1",
                "xterm-256color",
                "",
                Level::Ansi256,
                "by --color=always",
            ),
            (
                Some(Color::Always),
                Switch::Auto,
                "1",
                "dumb",
                "",
                Level::Ansi16,
                "by --color=always",
            ),
            (
                Some(Color::Never),
                Switch::On,
                "",
                "xterm",
                "truecolor",
                Level::None,
                "by --color=never",
            ),
            (
                None,
                Switch::On,
                "1",
                "xterm",
                "",
                Level::Ansi16,
                "by color in theme.toml",
            ),
            (
                None,
                Switch::Off,
                "",
                "xterm",
                "truecolor",
                Level::None,
                "by color in theme.toml",
            ),
        ];
        for (color, file, no_color, term, colorterm, expected, reason) in cases {
            let (found, why) = level(
                &asked(color, None),
                file,
                &terminal(no_color, term, colorterm, ""),
            );
            assert_eq!(
                found, expected,
                "{color:?} {file:?} {no_color} {term} {colorterm}"
            );
            assert!(why.starts_with(reason), "{why} is not {reason}");
        }
    }

    #[test]
    fn t54_marks_are_ascii_where_locale_or_terminal_cannot_show_more() {
        let cases = [
            (None, Switch::Auto, "xterm", "en_GB.UTF-8", true),
            (None, Switch::Auto, "xterm", "C.utf8", true),
            (None, Switch::Auto, "xterm", "C", false),
            (None, Switch::Auto, "xterm", "", false),
            (None, Switch::Auto, "linux", "en_GB.UTF-8", false),
            (None, Switch::Auto, "vt100", "en_GB.UTF-8", false),
            (None, Switch::Auto, "ansi", "en_GB.UTF-8", false),
            (None, Switch::Auto, "dumb", "en_GB.UTF-8", false),
            (None, Switch::Off, "xterm", "en_GB.UTF-8", false),
            (Some(Glyphs::Unicode), Switch::Off, "linux", "C", true),
            (
                Some(Glyphs::Ascii),
                Switch::On,
                "xterm",
                "en_GB.UTF-8",
                false,
            ),
        ];
        for (flag, file, term, lang, expected) in cases {
            let (found, why) = glyphs(&asked(None, flag), file, &terminal("", term, "", lang));
            assert_eq!(found, expected, "{flag:?} {file:?} {term} {lang}: {why}");
        }
    }

    #[test]
    fn a_theme_that_is_not_there_is_an_error_with_those_that_are() {
        let asked = Arguments {
            theme: Some("pink".to_owned()),
            ..Arguments::default()
        };
        let refused = choose(&asked, &Looks::built_in(), &Terminal::default()).err();
        assert!(
            refused.is_some_and(|why| why.contains("there are dark, high-contrast, light, named"))
        );
    }
}
