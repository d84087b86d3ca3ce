//! When a rig is out of use: faults may overlap, and it is back when the last of them is over.

use super::{Down, RigRecord};
use crate::domain::{Minute, Span};

impl RigRecord {
    /// The rig as it is down, all its open faults as one; `None` where it is in use.
    ///
    /// It is down since the spell began, which a fault that is over may have begun, and is expected back
    /// when every fault is: never known where it is not known of one of them.
    pub fn down(&self) -> Option<Down> {
        let last = self.faults.last()?;
        let reasons: Vec<&str> = self.faults.iter().map(|own| own.reason.as_str()).collect();
        let untils: Option<Vec<Minute>> = self.faults.iter().map(|own| own.until).collect();
        Some(Down {
            since: self.open_spell()?,
            reason: reasons.join("; "),
            until: untils.and_then(|all| all.into_iter().max()),
            seq: last.seq,
        })
    }

    /// Whether it is down.
    pub fn is_down(&self) -> bool {
        !self.faults.is_empty()
    }

    /// Spells out of use that are over, in order: faults that overlap are one spell, and one that ran into what
    /// is still open is not over.
    pub fn spells(&self) -> Vec<Span> {
        let open = self.open_spell();
        Span::merged(self.repaired().collect())
            .into_iter()
            .filter(|own| open.is_none_or(|since| own.end < since))
            .collect()
    }

    /// When the spell that is not over began.
    fn open_spell(&self) -> Option<Minute> {
        let first = self.faults.iter().map(|own| own.since).min()?;
        let open = std::iter::once(Span::new(first, Minute::LAST));
        let spans = self.repaired().chain(open).collect();
        Span::merged(spans).last().map(|own| own.start)
    }

    /// A fault is never over before it began, whatever was said.
    fn repaired(&self) -> impl Iterator<Item = Span> + '_ {
        let spans = self.repairs.iter();
        spans.map(|(from, to, _)| Span::new(*from, (*from).max(*to)))
    }

    /// A fault more.
    pub(super) fn breaks(&mut self, fault: Down) {
        self.faults.push(fault);
    }

    /// Somebody says at an instant that it is back: the oldest fault that had begun by then is over.
    pub(super) fn comes_back(&mut self, at: Minute) {
        let begun = self.faults.iter().filter(|own| own.since <= at);
        let over = begun
            .min_by_key(|own| (own.since, own.seq))
            .or(self.faults.first());
        let place = over.and_then(|over| self.faults.iter().position(|own| own == over));
        if let Some(place) = place {
            let own = self.faults.remove(place);
            self.repairs.push((own.since, at, own.reason));
        }
    }
}
