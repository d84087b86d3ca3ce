//! What corrections say, and what that comes to.
//!
//! A correction may name a correction, which may name another: at the beginning of such a chain stands an
//! event that tells of something, its root. What counts of a root depends on the corrections of its own
//! chain alone, so that a new correction is judged beside those few.

use crate::domain::event::Change;
use crate::domain::{Event, EventBody, Minute, Seq, Verdict};
use std::collections::{BTreeMap, BTreeSet};

/// A correction, as far as it matters here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Said {
    /// Its own place.
    pub(super) seq: Seq,
    /// What it corrects.
    pub(super) corrects: Seq,
    /// How.
    pub(super) change: Change,
}

impl Said {
    /// The correction that an event is; only what was said earlier can be corrected.
    pub(super) fn of(event: &Event) -> Option<Self> {
        match &event.body {
            EventBody::Correction {
                corrects, change, ..
            } if *corrects < event.seq => Some(Self {
                seq: event.seq,
                corrects: *corrects,
                change: change.clone(),
            }),
            _ => None,
        }
    }
}

/// All corrections, by the root of their chain.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Corrections {
    by_root: BTreeMap<Seq, Vec<Said>>,
    /// The root of each correction.
    roots: BTreeMap<Seq, Seq>,
}

/// What the corrections of one root come to.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Fate {
    /// Of the root and its corrections, those that do not count.
    pub(super) voided: BTreeSet<Seq>,
    /// Fields of the root that are said to be otherwise, the last word last.
    pub(super) fields: Vec<(String, String)>,
}

impl Corrections {
    /// Those of `self` and then, seq by seq, `fresh`: which chains they belong to.
    pub(super) fn chains(&self, fresh: Vec<Said>) -> Self {
        let mut own = Self::default();
        for said in fresh {
            let root = own.roots.get(&said.corrects);
            let root = root.or_else(|| self.roots.get(&said.corrects));
            let root = root.copied().unwrap_or(said.corrects);
            own.roots.insert(said.seq, root);
            own.by_root.entry(root).or_default().push(said);
        }
        own
    }

    /// Takes later ones in.
    pub(super) fn extend(&mut self, fresh: Self) {
        self.roots.extend(fresh.roots);
        for (root, said) in fresh.by_root {
            self.by_root.entry(root).or_default().extend(said);
        }
    }

    /// The roots, in order.
    pub(super) fn roots(&self) -> impl Iterator<Item = Seq> {
        self.by_root.keys().copied()
    }

    /// What those of a root come to, those of `later` included.
    pub(super) fn fate(&self, root: Seq, later: &Self) -> Fate {
        let of = |own: &Self| own.by_root.get(&root).cloned().unwrap_or_default();
        judge(root, &[of(self), of(later)].concat())
    }
}

/// The last word comes first: a correction that a later one has taken back says nothing.
fn judge(root: Seq, said: &[Said]) -> Fate {
    let mut fate = Fate::default();
    let mut restored: BTreeSet<Seq> = BTreeSet::new();
    for own in said.iter().rev() {
        if fate.voided.contains(&own.seq) {
            continue;
        }
        match &own.change {
            // A void stands until it is restored; two voids of one event must both be.
            Change::Void if restored.contains(&own.seq) => {}
            Change::Void => {
                fate.voided.insert(own.corrects);
            }
            Change::Restore => {
                restored.insert(own.corrects);
            }
            Change::Field { field, new, .. } if own.corrects == root => {
                fate.fields.insert(0, (field.clone(), new.clone()));
            }
            Change::Field { .. } => {}
        }
    }
    fate
}

/// The event with its corrected fields: when it happened, or its reason.
pub(super) fn corrected(mut event: Event, fields: &[(String, String)]) -> Event {
    for (field, new) in fields {
        match (field.as_str(), &mut event.body) {
            ("happened", _) => {
                if let Ok(minutes) = new.parse() {
                    event.happened = Minute::new(minutes);
                }
            }
            (
                "reason",
                EventBody::UnitWithdrawn { reason, .. }
                | EventBody::RigDown { reason, .. }
                | EventBody::VerdictGiven {
                    verdict: Verdict::Fail { reason } | Verdict::Hold { reason },
                    ..
                },
            ) => new.clone_into(reason),
            _ => {}
        }
    }
    event
}
