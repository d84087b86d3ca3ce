//! A changed lab's plan beside the plan of the lab as it is, and beside the one in force.

use super::Change;
use crate::app::desk::{Planning, Proposal, changes};
use crate::checker::check;
use crate::domain::plan::{Finish, Unplannable};
use crate::domain::{Minutes, RequestId};
use crate::floor::Published;
use crate::problem;

/// Two plans made with the same effort, with and without the changes, and the one in force.
#[derive(Clone, Debug)]
pub struct WhatIf {
    /// What is different.
    pub changes: Vec<Change>,
    /// The lab as it is.
    pub base: Planning,
    /// The plan in force, if any.
    pub published: Option<Published>,
    /// The plan of the lab as it is.
    pub unchanged: Proposal,
    /// The plan with the changes.
    pub changed: Proposal,
}

/// One request in the three plans.
#[derive(Clone, Debug)]
pub struct Row {
    /// The request.
    pub request: RequestId,
    /// In the plan in force.
    pub published: Option<Finish>,
    /// In the plan of the lab as it is.
    pub unchanged: Option<Finish>,
    /// In the plan with the changes.
    pub changed: Option<Finish>,
    /// Why it is left out of the plan with the changes, where it is.
    pub left: Option<Unplannable>,
}

impl Row {
    /// By how much it finishes later with the changes; negative is earlier. `None` where one plan lacks it.
    pub fn later(&self) -> Option<Minutes> {
        Some(self.changed.as_ref()?.finish - self.unchanged.as_ref()?.finish)
    }

    /// True where the changes make a difference to it.
    pub fn differs(&self) -> bool {
        let late = |own: &Option<Finish>| own.as_ref().map(|own| (own.finish, own.late));
        late(&self.unchanged) != late(&self.changed)
    }
}

impl WhatIf {
    /// Plans the lab as it is, then with the changes: `plan` gives both the same effort. The second begins from
    /// the first.
    ///
    /// # Errors
    /// The first change that cannot be made, and why.
    pub fn run(
        base: Planning,
        published: Option<Published>,
        changes: Vec<Change>,
        plan: &mut dyn FnMut(&Planning) -> Proposal,
    ) -> Result<Self, String> {
        // Before any work is done: can they be made at all?
        base.with_changes(&changes)?;
        let unchanged = plan(&base);
        let begun = base.starting_from(&unchanged.plan).with_changes(&changes)?;
        let changed = plan(&begun);
        Ok(Self {
            changes,
            base,
            published,
            unchanged,
            changed,
        })
    }

    /// Every request that any of the plans has, in the order of the lab, new ones last.
    pub fn rows(&self) -> Vec<Row> {
        let mut ids: Vec<&RequestId> = self.base.lab().requests.iter().map(|own| &own.id).collect();
        for own in &self.changed.plan.requests {
            if !ids.contains(&&own.request) {
                ids.push(&own.request);
            }
        }
        let finish =
            |all: &[Finish], id: &RequestId| all.iter().find(|own| own.request == *id).cloned();
        let row = |id: &RequestId| Row {
            request: id.clone(),
            published: self
                .published
                .as_ref()
                .and_then(|own| finish(&own.finishes, id)),
            unchanged: finish(&self.unchanged.plan.requests, id),
            changed: finish(&self.changed.plan.requests, id),
            left: self
                .changed
                .plan
                .unplannable
                .iter()
                .find(|own| own.request == *id)
                .cloned(),
        };
        ids.into_iter().map(row).collect()
    }

    /// The changed plan as a proposal for the lab as it is.
    ///
    /// # Errors
    /// What the lab's folder would have to say first, where the lab as it is does not allow the plan.
    pub fn as_it_is(&self) -> Result<Proposal, String> {
        let problem = self.base.problem();
        let plan = &self.changed.plan;
        let (visits, unresolved) = problem.resolve(&plan.bookings);
        let (left, unknown) = problem.resolve_left(&plan.unplannable);
        let strange = unresolved
            .first()
            .map(|own| {
                format!(
                    "{} step {}: {}",
                    own.booking.unit, own.booking.step, own.why
                )
            })
            .or(unknown
                .first()
                .map(|id| format!("the lab has no request {id}")));
        if let Some(why) = strange {
            return Err(self.needs(&why));
        }
        let own = problem::Plan { visits, left };
        let clashes = check(&problem, &own);
        if let Some(clash) = clashes.first() {
            return Err(self.needs(&clash.words()));
        }
        let because: Vec<String> = plan
            .bookings
            .iter()
            .map(|own| own.because.clone())
            .collect();
        let before = self
            .published
            .as_ref()
            .map_or(Vec::new(), |own| own.bookings.clone());
        let figures = problem::Figures {
            bound: self.unchanged.plan.bound,
            milliseconds: plan.milliseconds,
            seed: plan.seed,
        };
        Ok(Proposal {
            plan: problem.plan_in_words(&own, &because, &figures),
            changes: changes(&before, &plan.bookings, self.base.now()),
            clashes,
            seen: self.unchanged.seen,
            rounds: self.changed.rounds,
            why: Vec::new(),
        })
    }

    /// Which files would have to say what is only assumed.
    fn needs(&self, why: &str) -> String {
        let zone = &self.base.lab().zone;
        let wanted = self
            .changes
            .iter()
            .filter_map(|change| Some(format!("{} in {}", change.words(zone), change.file()?)));
        let wanted: Vec<String> = wanted.collect();
        format!(
            "first write into the folder: {}; as it is the lab does not allow this plan ({why})",
            wanted.join("; ")
        )
    }
}
