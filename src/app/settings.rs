//! What a user can set: keys, and how dates are written.

use super::config::{Fault, File};
use super::dates::Dates;
use super::keymap::KeyMap;

/// What the user's files say, with what is built in where they say nothing.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// The keys.
    pub keys: KeyMap,
    /// How dates are written.
    pub dates: Dates,
    /// What of the files cannot hold.
    pub faults: Vec<Fault>,
}

impl Settings {
    /// Takes what a user's `settings.toml` says; what of it cannot hold.
    pub fn read(&mut self, name: &str, text: &str) -> Vec<Fault> {
        let file = File::new(name, text);
        let table = match file.table() {
            Ok(table) => table,
            Err(fault) => return vec![fault],
        };
        let mut faults = Vec::new();
        for section in file.values(&table) {
            match section.name {
                "dates" => {
                    let (dates, more) = Dates::of_file(&file, &section);
                    self.dates = dates;
                    faults.extend(more);
                }
                _ => faults.push(file.fault(section.line, section.name, "only [dates] can be set")),
            }
        }
        faults
    }

    /// The first thing to say about the files, where something of them does not count.
    pub fn complaint(&self) -> Option<String> {
        let first = self.faults.first()?;
        Some(match self.faults.len() {
            1 => first.to_string(),
            count => format!("{first} (1 of {count} faults; rigday doctor lists them)"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::dates::{Hours, Order};
    use chrono::Weekday;

    #[test]
    fn the_settings_built_in_are_those_that_the_file_shows() {
        let mut settings = Settings::default();
        let faults = settings.read(
            "config/settings.toml",
            include_str!("../../config/settings.toml"),
        );
        assert_eq!((faults, settings.dates), (Vec::new(), Dates::default()));
    }

    #[test]
    fn t83_dates_are_set_one_by_one_and_faults_name_their_line() {
        let mut settings = Settings::default();
        let text =
            "[dates]\nclock = \"12h\"\ndate = \"dmy\"\nweek = \"sunday\"\nera = 1\n[bench]\n";
        let told: Vec<String> = settings
            .read("settings.toml", text)
            .iter()
            .map(ToString::to_string)
            .collect();
        let expected = [
            "settings.toml:3: date: one of iso, day-month, month-day is allowed; what is built in stays",
            "settings.toml:5: era: clock, date and week can be set here",
            "settings.toml:6: bench: only [dates] can be set",
        ];
        assert_eq!(told, expected);
        let dates = settings.dates;
        assert_eq!(
            (dates.hours, dates.order, dates.week),
            (Hours::Of12, Order::Iso, Weekday::Sun)
        );
    }
}
