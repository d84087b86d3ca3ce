//! The list of each screen as a table: for the clipboard, and for a file.

use super::evidence::standing_word;
use super::state::{App, Screen};
use super::view::PlanEntry;
use super::walk::{state_word, task_word};
use crate::domain::{Minute, RigId};
use crate::floor::Due;
use crate::report::table::Table;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

/// Days of the Load screen that are handed out.
const DAYS: usize = 7;

impl App {
    /// The list of the screen, whole, as it is sorted and narrowed; a row for each line.
    pub fn table(&self) -> Table {
        let (head, rows): (&[&'static str], Vec<Vec<String>>) = match self.screen {
            Screen::Plan => (
                &["rig", "unit", "step", "from", "to", "state", "because"],
                self.bookings()
                    .map(|(rig, own)| self.booking_row(rig, own))
                    .collect(),
            ),
            Screen::Bench => (
                &["task", "unit", "step", "rig", "from", "closes"],
                self.shown_due()
                    .into_iter()
                    .map(|own| self.due_row(own))
                    .collect(),
            ),
            Screen::Load => (
                &["rig", "in use h", "down h", "filled %", "backlog h"],
                self.load_rows(),
            ),
            Screen::Units => (
                &[
                    "unit", "state", "step", "steps", "rig", "next", "request", "product",
                ],
                self.unit_rows(),
            ),
            Screen::Evidence => (
                &["request", "sequence", "units", "standing", "evidence"],
                self.leg_rows(),
            ),
        };
        Table {
            header: head.to_vec(),
            rows,
        }
    }

    /// The selected row of that table.
    pub fn table_row(&self) -> Option<Vec<String>> {
        let at = match self.screen {
            Screen::Plan => {
                let row = self.view.rigs.get(self.plan.row)?;
                let own = row.entries.get(self.plan.entry)?;
                return Some(self.booking_row(&row.rig, own));
            }
            Screen::Bench => self.bench.selected,
            Screen::Load => self.load.row,
            Screen::Units => self.units.selected,
            Screen::Evidence => self.leg,
        };
        self.table().rows.into_iter().nth(at)
    }

    /// Writes the table into a new file in a folder; its name.
    ///
    /// # Errors
    /// Where the file is there already, or cannot be written.
    pub(super) fn export_into(&self, folder: &Path) -> std::io::Result<String> {
        let at = self.desk.lab.zone.local(self.now).format("%Y%m%d-%H%M");
        let screen = self.screen.name().to_lowercase();
        let name = format!("rigday-{screen}-{at}.tsv");
        let mut file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(folder.join(&name))?;
        file.write_all(self.table().tsv().as_bytes())?;
        Ok(name)
    }

    fn bookings(&self) -> impl Iterator<Item = (&RigId, &PlanEntry)> {
        let rigs = self.view.rigs.iter();
        rigs.flat_map(|row| row.entries.iter().map(move |own| (&row.rig, own)))
    }

    fn booking_row(&self, rig: &RigId, own: &PlanEntry) -> Vec<String> {
        vec![
            rig.to_string(),
            own.unit.to_string(),
            own.step.to_string(),
            self.instant(own.span.start),
            self.instant(own.span.end),
            state_word(own.state).to_owned(),
            own.because.clone(),
        ]
    }

    fn due_row(&self, own: &Due) -> Vec<String> {
        vec![
            task_word(own.task).to_owned(),
            own.unit.to_string(),
            own.step.to_string(),
            own.rig.to_string(),
            self.instant(own.from),
            own.closes.map_or(String::new(), |at| self.instant(at)),
        ]
    }

    fn load_rows(&self) -> Vec<Vec<String>> {
        let (desk, now) = (&self.desk, self.now);
        let table = self.load.table(desk, now, DAYS);
        let order = self.load.order(&self.load.trend(desk, now));
        let row = |own: &crate::usage::RigLoad| {
            let total = own.total();
            let filled = total.filled_percent();
            vec![
                own.rig.to_string(),
                (total.occupied().get() / 60).to_string(),
                (total.out().get() / 60).to_string(),
                filled.map_or(String::new(), |percent| percent.to_string()),
                (own.backlog.get() / 60).to_string(),
            ]
        };
        let rows = order.iter().filter_map(|ix| table.rows.get(*ix));
        rows.map(row).collect()
    }

    fn unit_rows(&self) -> Vec<Vec<String>> {
        let row = |own: &super::view::UnitLine| {
            vec![
                own.unit.to_string(),
                state_word(own.state).to_owned(),
                own.step.to_string(),
                own.steps.to_string(),
                own.rig.clone(),
                own.next.map_or(String::new(), |at| self.instant(at)),
                own.request.clone(),
                own.product.clone(),
            ]
        };
        self.shown_units().into_iter().map(row).collect()
    }

    fn leg_rows(&self) -> Vec<Vec<String>> {
        let row = |own: &super::evidence::LegEvidence| {
            vec![
                own.leg.request.id.to_string(),
                own.leg.request.sequence.to_string(),
                own.leg.request.units.len().to_string(),
                standing_word(own.evidence.standing).to_owned(),
                own.brief().join("; "),
            ]
        };
        self.view.legs.iter().map(row).collect()
    }

    fn instant(&self, at: Minute) -> String {
        let local = self.desk.lab.zone.local(at);
        local.format("%Y-%m-%dT%H:%M").to_string()
    }
}
