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
                // Nothing on the screens is animated: there is nothing to switch on.
                "animations" if section.is_true() == Some(false) => {}
                "animations" => {
                    let why = "only false holds: nothing on the screens is animated";
                    faults.push(file.fault(section.line, section.name, why));
                }
                _ => {
                    let why = "animations and [dates] can be set";
                    faults.push(file.fault(section.line, section.name, why));
                }
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
    fn t46_animations_can_be_switched_off_and_not_on() {
        let read = |text: &str| {
            let mut settings = Settings::default();
            settings.read("settings.toml", text)
        };
        assert_eq!(read("animations = false\n"), []);
        let told = read("animations = true\n");
        assert_eq!(
            told[0].to_string(),
            "settings.toml:1: animations: only false holds: nothing on the screens is animated"
        );
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
            "settings.toml:6: bench: animations and [dates] can be set",
        ];
        assert_eq!(told, expected);
        let dates = settings.dates;
        assert_eq!(
            (dates.hours, dates.order, dates.week),
            (Hours::Of12, Order::Iso, Weekday::Sun)
        );
    }
}
