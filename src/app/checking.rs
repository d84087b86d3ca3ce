//! Looking for rules that the published plan breaks: aside, since it takes longer than a key may wait. What was
//! found before stays on the screen until then.

use super::jobs::Jobs;
use super::state::App;
use super::view::View;
use crate::checker::Clash;

/// How looking for clashes goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Checking {
    /// Nothing has changed since the last time.
    Done,
    /// Something has changed.
    Wanted,
    /// It is looked for.
    Running,
    /// It is looked for, and something has changed meanwhile.
    RunningWanted,
}

impl Checking {
    /// Something has changed.
    pub(super) const fn again(self) -> Self {
        match self {
            Self::Done | Self::Wanted => Self::Wanted,
            Self::Running | Self::RunningWanted => Self::RunningWanted,
        }
    }

    /// It was looked for.
    const fn ended(self) -> Self {
        match self {
            Self::RunningWanted => Self::Wanted,
            _ => Self::Done,
        }
    }
}

/// Looks aside for rules that the published plan breaks, where something has changed since the last time.
pub fn look_for_clashes(app: &mut App, jobs: &Jobs) {
    if app.checking == Some(Checking::Wanted) && app.desk.floor.now.published.is_some() {
        app.checking = Some(Checking::Running);
        jobs.check(app.desk.planning());
    }
}

impl App {
    /// Takes in what was looked for aside.
    pub(super) fn checked(&mut self, found: Option<Vec<Clash>>) {
        self.checking = self.checking.map(Checking::ended);
        let Some(found) = found else {
            let words =
                "looking for clashes broke down, nothing was changed; please report what you did";
            self.said = Some((false, words.to_owned()));
            self.dirty = true;
            return;
        };
        if found == self.view.clashes {
            return;
        }
        let selected = self.selection();
        let legs = std::mem::take(&mut self.view.legs);
        self.view = View::with(&self.desk, self.now, found, &legs);
        self.select_again(&selected);
        self.dirty = true;
    }
}
