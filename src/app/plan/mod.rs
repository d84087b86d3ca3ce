//! What the Plan screen works with: its rows, the people they need, a plan that is not in force yet, and what a
//! coordinator has in hand.
//!
//! [`rows`] and [`crews`] say what is shown. [`draft`] is the plan in force with changes made by hand, and [`hand`]
//! a booking or a run that is being moved: both are judged by the checker and recorded nowhere until they are
//! published. [`keep`] puts a draft into a text and back, so that it outlives the program. [`layout`] is the
//! geometry. Nothing here draws, and nothing here touches a file.

pub mod crews;
pub mod draft;
pub mod hand;
pub mod keep;
pub mod layout;
pub mod rows;
pub mod timeline;

use crate::domain::{Minute, Minutes};
use draft::Draft;
use hand::Hand;

/// Minutes in a column, from an hour on the screen to a horizon of months.
pub const SCALES: [i64; 13] = [1, 2, 5, 10, 20, 30, 60, 120, 240, 480, 1440, 2880, 10_080];

/// Columns of the past that are shown before now.
const BEFORE_NOW: i64 = 12;

/// The Plan screen.
#[derive(Clone, Debug)]
pub struct PlanView {
    /// Selected rig row.
    pub row: usize,
    /// Selected entry in that row, if it has any.
    pub entry: usize,
    /// The time under the cursor.
    pub at: Minute,
    /// First rig row shown.
    pub first: usize,
    /// First minute shown.
    pub from: Minute,
    /// Minutes in a column.
    pub scale: Minutes,
    /// The clash that was visited last.
    pub clash: Option<usize>,
    /// The plan with changes by hand, not in force.
    pub draft: Option<Draft>,
    /// How many bookings the draft changes.
    pub changed: usize,
    /// One that was kept from an earlier start and is offered.
    pub offered: Option<Draft>,
    /// What is in hand.
    pub hand: Option<Box<Hand>>,
    /// Where the mouse pressed on a booking: row, minute.
    pub pressed: Option<(usize, Minute)>,
}

impl PlanView {
    /// At `now`, with nothing changed.
    pub fn at(now: Minute) -> Self {
        let scale = Minutes::new(60);
        Self {
            row: 0,
            entry: 0,
            at: now,
            first: 0,
            from: now - scale * BEFORE_NOW,
            scale,
            clash: None,
            draft: None,
            changed: 0,
            offered: None,
            hand: None,
            pressed: None,
        }
    }

    /// Shows `at` a little from the left.
    pub fn look_at(&mut self, at: Minute) {
        self.from = at - self.scale * BEFORE_NOW;
    }
}
