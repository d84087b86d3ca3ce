//! Keys of the Load screen: changes of state, like the rest of `update`.

use super::actions::Action;
use super::load_view::{Column, LoadView};
use super::state::App;
use super::update::step_by;
use crate::domain::RigId;
use crate::usage::table::{Grain, Measure};
use chrono::Days;
use tui_input::Input;

impl App {
    /// Carries an action of the Load screen out.
    pub(super) fn load_action(&mut self, action: Action) {
        let today = self.desk.lab.zone.local(self.now).date();
        match action {
            Action::LoadDays | Action::LoadWeeks => {
                let own = &mut self.load;
                own.grain = if action == Action::LoadDays {
                    Grain::Day
                } else {
                    Grain::Week
                };
                own.first = around(today, own.grain);
            }
            Action::LoadNow => self.load.first = around(today, self.load.grain),
            Action::LoadMeasure => {
                let at = Measure::ALL
                    .iter()
                    .position(|own| *own == self.load.measure);
                self.load.measure = Measure::ALL[at.map_or(0, |at| (at + 1) % Measure::ALL.len())];
            }
            Action::LoadSort => self.keep_rig(|load| {
                let at = Column::ALL.iter().position(|own| *own == load.column);
                load.column = Column::ALL[at.map_or(0, |at| (at + 1) % Column::ALL.len())];
            }),
            Action::LoadTurn => self.keep_rig(|load| load.descending = !load.descending),
            _ => {}
        }
    }

    /// Moves on the Load screen: left and right by a day or a week.
    pub(super) fn go_load(&mut self, action: Action) {
        let own = &mut self.load;
        let by = Days::new(own.grain.days());
        match action {
            Action::Left => own.first = own.first.checked_sub_days(by).unwrap_or(own.first),
            Action::Right => own.first = own.first.checked_add_days(by).unwrap_or(own.first),
            other => step_by(&mut own.row, other, self.page),
        }
    }

    /// The rig of the selected row.
    pub fn load_rig(&self) -> Option<RigId> {
        let trend = self.load.trend(&self.desk, self.now);
        let order = self.load.order(&trend);
        let place = order.get(self.load.row)?;
        Some(trend.rows[*place].rig.clone())
    }

    /// Shows the units that are on the selected rig or go there next.
    pub(super) fn open_rig(&mut self) {
        if let Some(rig) = self.load_rig() {
            self.units.filter = Input::from(rig.as_str());
            self.units.selected = 0;
            self.show(super::state::Screen::Units);
        }
    }

    /// Changes the order of the rows; the same rig stays selected.
    fn keep_rig(&mut self, change: impl FnOnce(&mut LoadView)) {
        let trend = self.load.trend(&self.desk, self.now);
        let selected = self.load.order(&trend).get(self.load.row).copied();
        change(&mut self.load);
        let order = self.load.order(&trend);
        let row = order.iter().position(|ix| Some(*ix) == selected);
        self.load.row = row.unwrap_or(0);
    }
}

/// The first column that has a week of days, or four weeks, before today in view.
fn around(today: chrono::NaiveDate, grain: Grain) -> chrono::NaiveDate {
    today
        - Days::new(match grain {
            Grain::Day => 7,
            Grain::Week => 28,
        })
}
