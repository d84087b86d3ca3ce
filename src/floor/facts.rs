//! What the planner must take as given.

use super::{Floor, UnitRecord, VisitRecord};
use crate::domain::facts::{FactVisit, Progress, Stop, StopReason};
use crate::domain::lab::{Lab, OnFailure, Outage};
use crate::domain::plan::Times;
use crate::domain::steps::Walks;
use crate::domain::{Facts, Minute, Minutes, Span, UnitId, Verdict};

impl Floor {
    /// What the planner must take as given at `now`.
    pub fn facts(&self, lab: &Lab, walks: &Walks, now: Minute) -> Facts {
        let mut facts = Facts {
            outages: self.down_rigs(now),
            ..Facts::default()
        };
        // Units that are not in the lab any more are nothing to plan around.
        for (unit, record) in self.known(lab) {
            for (step, visit) in &record.visits {
                facts.visits.push(fact(lab, unit, *step, visit));
            }
            facts.stops.extend(stop_of(lab, walks, unit, record));
        }
        if let Some(published) = &self.now.published {
            facts.published.clone_from(&published.bookings);
        }
        facts
    }

    fn down_rigs(&self, now: Minute) -> Vec<Outage> {
        let rigs = self.now.rigs.iter();
        let outage = |(rig, record): (&crate::domain::RigId, &super::RigRecord)| {
            let down = record.down()?;
            let (end, expected) = down.back(now);
            let reason = if expected {
                down.reason.clone()
            } else {
                format!("{}; no end known, assumed back in a day", down.reason)
            };
            Some(Outage {
                rig: rig.clone(),
                span: Span::new(down.since, end),
                reason,
            })
        };
        rigs.filter_map(outage).collect()
    }
}

/// A visit that has started; of one that is over the inner instants are taken as load and unload take on
/// its rig, since only its ends are recorded.
fn fact(lab: &Lab, unit: &UnitId, step: u32, visit: &VisitRecord) -> FactVisit {
    let rig = lab.rigs.iter().find(|rig| rig.id == visit.rig);
    let (load, unload) = rig.map_or((Minutes::ZERO, Minutes::ZERO), |rig| (rig.load, rig.unload));
    let progress = match visit.out {
        None => Progress::Running { load: visit.loaded },
        Some(out) => {
            let start = (visit.loaded + load).min(out);
            let unload = (out - unload).max(start);
            Progress::Done {
                times: Times {
                    load: visit.loaded,
                    start,
                    end: unload,
                    unload,
                    out,
                },
            }
        }
    };
    FactVisit {
        unit: unit.clone(),
        step,
        rig: visit.rig.clone(),
        position: visit.position,
        run: visit.run,
        progress,
    }
}

/// Why and from where a unit walks no further; `None` where it goes on.
fn stop_of(lab: &Lab, walks: &Walks, unit: &UnitId, record: &UnitRecord) -> Option<Stop> {
    let stop = |after_step, why| {
        Some(Stop {
            unit: unit.clone(),
            after_step,
            why,
        })
    };
    if record.withdrawn.is_some() {
        let last = record.visits.keys().next_back().copied().unwrap_or(0);
        return stop(last, StopReason::Withdrawn);
    }
    let request = walks.request(lab, unit)?;
    for (step, own) in &record.verdicts {
        match own.verdict {
            Verdict::Fail { .. } if request.on_failure == OnFailure::Stop => {
                return stop(*step, StopReason::Failed);
            }
            Verdict::Hold { .. } => return stop(*step, StopReason::Held),
            _ => {}
        }
    }
    None
}
