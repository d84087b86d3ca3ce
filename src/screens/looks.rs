//! Themes from files: the built-in one and the user's, and what is left of their colours where the terminal
//! shows fewer.

use super::theme::{Level, Pair, Pairs};
use crate::app::config::{Fault, File, Value};
use ratatui::style::Color;
use std::collections::BTreeMap;

/// The themes built in.
const BUILT_IN: &str = include_str!("../../config/theme.toml");

/// Steps of a channel in the cube of the 256 colours.
const CUBE: [u8; 6] = [0, 95, 135, 175, 215, 255];

/// A switch that may be left to the program.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Switch {
    /// As the terminal seems to be.
    #[default]
    Auto,
    /// Whatever the terminal seems to be: colours always, marks of Unicode.
    On,
    /// Never: no colours, marks of ASCII.
    Off,
}

/// What files say of how things look.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Looks {
    /// The name of the theme in use.
    pub theme: String,
    /// Whether there are colours.
    pub colour: Switch,
    /// Whether marks go beyond ASCII.
    pub unicode: Switch,
    themes: BTreeMap<String, Pairs>,
}

impl Looks {
    /// Those built in.
    pub fn built_in() -> Self {
        let empty = Self {
            theme: String::new(),
            colour: Switch::Auto,
            unicode: Switch::Auto,
            themes: BTreeMap::new(),
        };
        empty.with("config/theme.toml", BUILT_IN).0
    }

    /// As a user's file changes them, and what of the file cannot hold.
    #[must_use]
    pub fn with(&self, file: &str, text: &str) -> (Self, Vec<Fault>) {
        let file = File::new(file, text);
        let table = match file.table() {
            Ok(table) => table,
            Err(fault) => return (self.clone(), vec![fault]),
        };
        let (mut looks, mut faults) = (self.clone(), Vec::new());
        let mut chosen = None;
        for value in file.values(&table) {
            let read = match value.name {
                "theme" => {
                    chosen = Some((value.line, value.text().unwrap_or_default().to_owned()));
                    Ok(())
                }
                "color" => {
                    switch(&value, ["auto", "always", "never"]).map(|own| looks.colour = own)
                }
                "glyphs" => {
                    switch(&value, ["auto", "unicode", "ascii"]).map(|own| looks.unicode = own)
                }
                _ => looks.read_theme(&file, &value, &mut faults),
            };
            if let Err(why) = read {
                faults.push(file.fault(value.line, value.name, &why));
            }
        }
        if let Some((line, name)) = chosen {
            match looks.choose(&name) {
                Ok(()) => {}
                Err(why) => faults.push(file.fault(line, "theme", &why)),
            }
        }
        (looks, faults)
    }

    /// Uses a theme.
    ///
    /// # Errors
    /// Where there is none of that name.
    pub fn choose(&mut self, name: &str) -> Result<(), String> {
        if self.themes.contains_key(name) {
            name.clone_into(&mut self.theme);
            return Ok(());
        }
        let all: Vec<&str> = self.themes.keys().map(String::as_str).collect();
        Err(format!(
            "there is no theme `{}`; there are {}",
            crate::domain::text::shown(name),
            all.join(", ")
        ))
    }

    /// The pairs of the theme in use, as the level shows them.
    pub fn pairs(&self, level: Level) -> Pairs {
        let own = self
            .themes
            .get(&self.theme)
            .copied()
            .unwrap_or(Pairs::NAMED);
        let at = |own: Pair, named: Pair| {
            (level >= Level::Ansi256 || is_named(own))
                .then_some(own)
                .map_or(named, |own| shown_at(own, level))
        };
        let named = Pairs::NAMED;
        Pairs {
            blue: at(own.blue, named.blue),
            yellow: at(own.yellow, named.yellow),
            magenta: at(own.magenta, named.magenta),
            cyan: at(own.cyan, named.cyan),
            red: at(own.red, named.red),
        }
    }

    /// A table of pairs; those that it does not name stay as they were, in a new theme as in the one in use.
    fn read_theme(
        &mut self,
        file: &File,
        section: &Value,
        faults: &mut Vec<Fault>,
    ) -> Result<(), String> {
        let allowed = "theme, color, glyphs, and tables of colours are allowed here";
        let table = section.table().ok_or(allowed)?;
        let before = self
            .themes
            .get(section.name)
            .or_else(|| self.themes.get(&self.theme));
        let mut pairs = before.copied().unwrap_or(Pairs::NAMED);
        for value in file.values(table) {
            let own = match value.name {
                "blue" => &mut pairs.blue,
                "yellow" => &mut pairs.yellow,
                "magenta" => &mut pairs.magenta,
                "cyan" => &mut pairs.cyan,
                "red" => &mut pairs.red,
                _ => {
                    let why = "there are blue, yellow, magenta, cyan and red";
                    faults.push(file.fault(value.line, value.name, why));
                    continue;
                }
            };
            match pair(&value) {
                Ok(read) => *own = read,
                Err(why) => faults.push(file.fault(value.line, value.name, &why)),
            }
        }
        self.themes.insert(section.name.to_owned(), pairs);
        Ok(())
    }
}

fn switch(value: &Value, words: [&str; 3]) -> Result<Switch, String> {
    let found = words.iter().position(|word| Some(*word) == value.text());
    let at = found.ok_or_else(|| format!("one of {} is allowed", words.join(", ")))?;
    Ok([Switch::Auto, Switch::On, Switch::Off][at])
}

/// Letters and ground.
fn pair(value: &Value) -> Result<Pair, String> {
    let wanted = "two colours are wanted, letters and ground: [\"#ffffff\", \"#264f8c\"]";
    let texts = value.texts().ok_or(wanted)?;
    let [letters, ground] = texts[..] else {
        return Err(wanted.to_owned());
    };
    if letters == ground {
        return Err("letters and ground are the same; the pair stays as it was".to_owned());
    }
    Ok((colour(letters)?, colour(ground)?))
}

/// `#rrggbb`, or one of the sixteen names.
fn colour(text: &str) -> Result<Color, String> {
    let is_hex = text.len() == 7 && text.starts_with('#');
    let hex = text
        .get(1..)
        .filter(|_| is_hex)
        .and_then(|own| u32::from_str_radix(own, 16).ok());
    if let Some(number) = hex {
        let [_, r, g, b] = number.to_be_bytes();
        return Ok(Color::Rgb(r, g, b));
    }
    Ok(match text {
        "black" => Color::Black,
        "bright-black" => Color::DarkGray,
        "red" => Color::Red,
        "bright-red" => Color::LightRed,
        "green" => Color::Green,
        "bright-green" => Color::LightGreen,
        "yellow" => Color::Yellow,
        "bright-yellow" => Color::LightYellow,
        "blue" => Color::Blue,
        "bright-blue" => Color::LightBlue,
        "magenta" => Color::Magenta,
        "bright-magenta" => Color::LightMagenta,
        "cyan" => Color::Cyan,
        "bright-cyan" => Color::LightCyan,
        "white" | "bright-white" => Color::White,
        _ => {
            return Err(format!(
                "`{}` is no colour such as \"#264f8c\", \"blue\" or \"bright-blue\"",
                crate::domain::text::shown(text)
            ));
        }
    })
}

fn is_named((letters, ground): Pair) -> bool {
    ![letters, ground]
        .iter()
        .any(|own| matches!(own, Color::Rgb(..)))
}

fn shown_at((letters, ground): Pair, level: Level) -> Pair {
    let at = |own| match (own, level) {
        (Color::Rgb(r, g, b), Level::Ansi256) => Color::Indexed(nearest_of_256([r, g, b])),
        _ => own,
    };
    (at(letters), at(ground))
}

/// The nearest of the cube's colours and of the greys.
fn nearest_of_256(rgb: [u8; 3]) -> u8 {
    let far = |other: [u8; 3]| -> u32 {
        let squares = rgb
            .iter()
            .zip(other)
            .map(|(a, b)| u32::from(a.abs_diff(b)).pow(2));
        squares.sum()
    };
    let cube = (0..216_u8).map(|at| {
        let step = |part: u8| CUBE[usize::from(part % 6)];
        (far([step(at / 36), step(at / 6), step(at)]), 16 + at)
    });
    let greys = (0..24_u8).map(|at| (far([8 + 10 * at; 3]), 232 + at));
    cube.chain(greys).min().map_or(0, |(_, index)| index)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contrast of two colours as WCAG 2.2 defines it, from 1 to 21.
    fn contrast((letters, ground): Pair) -> f64 {
        let channel = |own: u8| {
            let own = f64::from(own) / 255.0;
            if own <= 0.040_45 {
                own / 12.92
            } else {
                ((own + 0.055) / 1.055).powf(2.4)
            }
        };
        let luminance = |own| match own {
            Color::Rgb(r, g, b) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b),
            other => panic!("{other:?} has no fixed luminance"),
        };
        let (one, other) = (luminance(letters), luminance(ground));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn letters_stand_out_from_their_ground_in_every_theme_and_more_so_at_high_contrast() {
        let mut looks = Looks::built_in();
        for (name, least) in [("dark", 4.5), ("light", 4.5), ("high-contrast", 7.0)] {
            looks.choose(name).expect("it is built in");
            for pair in looks.pairs(Level::Rgb).all() {
                assert!(
                    contrast(pair) >= least,
                    "{name}: {pair:?} has {:.2}",
                    contrast(pair)
                );
            }
        }
    }

    #[test]
    fn colours_become_what_the_level_shows() {
        let looks = Looks::built_in();
        assert_eq!(looks.pairs(Level::Ansi16), Pairs::NAMED);
        assert_eq!(
            looks.pairs(Level::Rgb).blue,
            (Color::Rgb(255, 255, 255), Color::Rgb(0x26, 0x4f, 0x8c))
        );
        let indexed = |pair: Pair| matches!(pair, (Color::Indexed(_), Color::Indexed(_)));
        assert!(looks.pairs(Level::Ansi256).all().into_iter().all(indexed));
        assert_eq!(nearest_of_256([255, 255, 255]), 231);
        assert_eq!(nearest_of_256([0xd7, 0xaf, 0]), 178);
        assert_eq!(nearest_of_256([9, 8, 7]), 232);
    }

    #[test]
    fn a_users_theme_counts_and_what_cannot_hold_is_told_with_its_line() {
        let (looks, faults) = Looks::built_in().with(
            "theme.toml",
            "theme = \"ours\"\nglyphs = \"ascii\"\n[ours]\nred = [\"bright-white\", \"red\"]\n",
        );
        assert_eq!(faults, []);
        assert_eq!((looks.theme.as_str(), looks.unicode), ("ours", Switch::Off));
        assert_eq!(looks.pairs(Level::Rgb).red, (Color::White, Color::Red));
        assert_eq!(
            looks.pairs(Level::Rgb).blue,
            Looks::built_in().pairs(Level::Rgb).blue
        );
        let wrong = "theme = \"pink\"\ncolor = \"sometimes\"\n[dark]\nred = [\"#fff\", \"red\"]\ngreen = \"red\"\n\
                     blue = [\"blue\", \"blue\"]\n";
        let (looks, faults) = Looks::built_in().with("theme.toml", wrong);
        let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
        let expected = [
            "theme.toml:2: color: one of auto, always, never is allowed",
            "theme.toml:4: red: `#fff` is no colour such as \"#264f8c\", \"blue\" or \"bright-blue\"",
            "theme.toml:5: green: there are blue, yellow, magenta, cyan and red",
            "theme.toml:6: blue: letters and ground are the same; the pair stays as it was",
            "theme.toml:1: theme: there is no theme `pink`; there are dark, high-contrast, light, named",
        ];
        assert_eq!(told, expected);
        assert_eq!(looks, Looks::built_in());
    }
}
