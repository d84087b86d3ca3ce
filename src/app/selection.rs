//! What is selected, by its name: it stays selected when others change what is around it.

use super::state::App;
use crate::domain::UnitId;
use crate::floor::Task;

/// What is selected on each screen.
pub(super) struct Selection {
    /// Unit and step on the selected rig.
    booking: Option<(UnitId, u32)>,
    /// Line of the due list.
    due: Option<(Task, UnitId, u32)>,
    /// Line of the list of units.
    unit: Option<UnitId>,
}

impl App {
    /// What is selected now.
    pub(super) fn selection(&self) -> Selection {
        let row = self.view.rigs.get(self.plan.row);
        let booking = row.and_then(|row| row.entries.get(self.plan.entry));
        let due = self.view.due.get(self.bench.selected);
        let shown = self.shown_units();
        let unit = shown.get(self.units.selected);
        Selection {
            booking: booking.map(|own| (own.unit.clone(), own.step)),
            due: due.map(|own| (own.task, own.unit.clone(), own.step)),
            unit: unit.map(|own| own.unit.clone()),
        }
    }

    /// Selects the same again where it is still there, and else what is in its place.
    pub(super) fn select_again(&mut self, before: &Selection) {
        let row = self.view.rigs.get(self.plan.row);
        let booking = before.booking.as_ref().and_then(|(unit, step)| {
            let mut entries = row.map_or(&[][..], |row| &row.entries[..]).iter();
            entries.position(|own| own.unit == *unit && own.step == *step)
        });
        let due = before.due.as_ref().and_then(|(task, unit, step)| {
            let same = |own: &crate::floor::Due| {
                own.task == *task && own.unit == *unit && own.step == *step
            };
            self.view.due.iter().position(same)
        });
        let shown = self.shown_units();
        let unit = before
            .unit
            .as_ref()
            .and_then(|unit| shown.iter().position(|own| own.unit == *unit));
        self.plan.entry = booking.unwrap_or(self.plan.entry);
        self.bench.selected = due.unwrap_or(self.bench.selected);
        self.units.selected = unit.unwrap_or(self.units.selected);
        self.settle();
    }
}
