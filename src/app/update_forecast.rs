//! News of a forecast: changes of state, like the rest of `update`.

use super::forecast::Told;
use super::state::{App, Field, Overlay};

impl Overlay {
    /// The form of a what-if in which nothing has been said yet.
    pub(super) fn no_changes() -> Self {
        Self::Changes {
            field: Field::default(),
            changes: Vec::new(),
            wrong: None,
        }
    }

    /// True where a job is at work that Esc stops.
    pub(super) fn is_at_work(&self) -> bool {
        matches!(
            self,
            Self::Working { .. } | Self::Trying { .. } | Self::Forecasting { .. }
        )
    }
}

impl App {
    /// So many of so many samples are drawn; stale news are dropped.
    pub(super) fn drawn(&mut self, job: u64, drawn: (usize, usize)) {
        if let Some(Overlay::Forecasting {
            job: own,
            drawn: at,
        }) = self.overlays.last_mut()
            && *own == job
        {
            *at = drawn;
            self.dirty = true;
        }
    }

    /// The forecast is there, or nothing is where it was stopped before its first sample.
    pub(super) fn foretold(&mut self, job: u64, told: Option<Box<Told>>) {
        let Some(at) = self.waiting_for(job) else {
            return;
        };
        match told {
            Some(told) => self.overlays[at] = Overlay::Forecast { told, scroll: 0 },
            None => {
                self.overlays.remove(at);
            }
        }
        self.dirty = true;
    }
}
