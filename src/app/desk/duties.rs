//! What coordinators and managers do: requests from files, roles, signatures.

use super::{Desk, DeskError};
use crate::app::review::review;
use crate::domain::event::Meaning;
use crate::domain::roles::{Holder, Role};
use crate::domain::{EventBody, Lab};
use crate::ledger::Outcome;

/// A file of requests, as the ledger tells of it.
pub struct FileOfRequests {
    /// Its name, without its folder.
    pub file: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// The lab with its requests.
    pub lab: Lab,
    /// How many of the lab's last requests came with it.
    pub count: usize,
}

impl Desk {
    /// What who acts may do.
    pub fn role(&self) -> Role {
        self.floor.roles.of(self.actor())
    }

    /// Gives a role to somebody.
    pub fn grant(&mut self, holder: Holder, role: Role) -> Result<Outcome, DeskError> {
        self.refresh()?;
        self.record(&[], vec![EventBody::RoleGranted { holder, role }])
    }

    /// Takes the role of somebody away.
    pub fn revoke(&mut self, holder: Holder) -> Result<Outcome, DeskError> {
        self.refresh()?;
        if !self.floor.roles.iter().any(|(own, _)| *own == holder) {
            return Err(DeskError::NotNow(format!("{holder} has no role")));
        }
        self.record(&[], vec![EventBody::RoleRevoked { holder }])
    }

    /// Signs for everything up to the last event, where `shown` is still what there is to look at.
    pub fn sign(&mut self, meaning: Meaning, shown: &str) -> Result<Outcome, DeskError> {
        self.refresh()?;
        let review = review(self)?;
        if review.shown != shown {
            let why = "what there is to look at is not what was shown; run rigday review again";
            return Err(DeskError::NotNow(why.to_owned()));
        }
        let body = EventBody::Signed {
            meaning,
            shown: review.shown,
            upto: review.upto,
        };
        self.record(&[], vec![body])
    }

    /// Records that a file of requests came in, with all its requests, or nothing.
    pub fn take_file(&mut self, with: FileOfRequests) -> Result<Outcome, DeskError> {
        self.refresh()?;
        let count = with.lab.requests.len().saturating_sub(with.count);
        let fresh = with.lab.requests.get(count..).unwrap_or_default();
        let units: usize = fresh.iter().map(|own| own.units.len()).sum();
        let number = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
        let mut bodies = vec![EventBody::FileTaken {
            file: with.file,
            sha256: with.sha256,
            requests: number(fresh.len()),
            units: number(units),
        }];
        bodies.extend(fresh.iter().map(|own| EventBody::RequestTaken {
            request: own.id.clone(),
            units: own.units.clone(),
        }));
        let outcome = self.record(&[], bodies)?;
        if matches!(outcome, Outcome::Recorded { .. }) {
            self.set_lab(with.lab);
        }
        Ok(outcome)
    }
}
