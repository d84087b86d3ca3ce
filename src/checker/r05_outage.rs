//! R5: no visit overlaps an outage of its rig, and it ends by the end of its last calibrated day.

use super::{Court, Rule};

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        let rig = &court.problem.rigs[visit.rig.ix()];
        let stay = visit.times.stay();
        if let Some((span, reason)) = rig.outages.iter().find(|(span, _)| span.overlaps(stay)) {
            let reason = if reason.is_empty() {
                String::new()
            } else {
                format!(" ({reason})")
            };
            let why = format!(
                "is on {} while it is out of use from {} to {}{reason}",
                rig.id,
                court.when(span.start),
                court.when(span.end)
            );
            court.against(Rule::Outage, visit, &why);
        }
        if stay.end > rig.calibrated_until {
            let why = format!(
                "is on {} after its calibration ran out at {}",
                rig.id,
                court.when(rig.calibrated_until)
            );
            court.against(Rule::Outage, visit, &why);
        }
    }
}
