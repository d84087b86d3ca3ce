//! Parts of labs, plain enough to be changed field by field.

use rigday::domain::lab::{
    Amount, BenchRules, CountsFrom, Crew, Every, Lab, Length, Loading, Method, OnFailure, Request,
    Rest, Rig, Sequence, Share, Shift, Step, Watch,
};
use rigday::domain::{CrewId, MethodId, Minute, Minutes, RequestId, RigId, SequenceId, UnitId};
use rigday::domain::{Zone, time::Span};
use std::collections::{BTreeMap, BTreeSet};

pub(crate) use chrono::Weekday::{self, Fri, Mon, Sat, Sun, Thu, Tue, Wed};

pub(crate) const ALL_WEEK: [Weekday; 7] = [Mon, Tue, Wed, Thu, Fri, Sat, Sun];
pub(crate) const WORK_WEEK: [Weekday; 5] = [Mon, Tue, Wed, Thu, Fri];

/// A lab in UTC that has nothing yet: ambient 23 °C, no freeze, 60 days ahead.
pub(crate) fn empty_lab() -> Lab {
    Lab {
        name: "test lab".to_owned(),
        zone: Zone::utc(),
        ambient_c: 23.0,
        freeze: Minutes::ZERO,
        horizon: Minutes::DAY * 60,
        closed: BTreeSet::new(),
        crews: Vec::new(),
        rigs: Vec::new(),
        outages: Vec::new(),
        methods: BTreeMap::new(),
        standards: BTreeMap::new(),
        sequences: Vec::new(),
        requests: Vec::new(),
        pins: Vec::new(),
        fail_reasons: Vec::new(),
        bench: BenchRules::default(),
    }
}

/// A shift from one `hour, minute` to another; at or before the first means the next day.
pub(crate) fn shift(days: &[Weekday], from: (u32, u32), to: (u32, u32), people: u32) -> Shift {
    let clock = |(hour, minute)| chrono::NaiveTime::from_hms_opt(hour, minute, 0).expect("a time");
    Shift {
        days: days.to_vec(),
        dates: Vec::new(),
        from: clock(from),
        to: clock(to),
        people,
    }
}

pub(crate) fn crew(id: &str, shifts: Vec<Shift>) -> Crew {
    Crew {
        id: CrewId::new(id),
        shifts,
    }
}

/// A rig loaded `loading` that takes no time to load, unload or change over.
pub(crate) fn rig(id: &str, does: &[&str], loading: Loading, positions: u32) -> Rig {
    Rig {
        id: RigId::new(id),
        name: id.to_owned(),
        does: does.iter().map(|&word| word.to_owned()).collect(),
        positions,
        loading,
        load: Minutes::ZERO,
        unload: Minutes::ZERO,
        changeover: Minutes::ZERO,
        limits: BTreeMap::new(),
        heat_k_per_min: None,
        cool_k_per_min: None,
        cycles_per_min: None,
        calibration_due: None,
        settle: None,
        transfer_s: None,
    }
}

/// A method of the first crew without watch, wait limit or severity.
pub(crate) fn method(id: &str, does: &str, length: Length) -> Method {
    Method {
        id: MethodId::new(id),
        does: does.to_owned(),
        crew: None,
        watch: Watch::None,
        pausable: false,
        verdict: false,
        max_wait: None,
        severity: BTreeMap::new(),
        length,
        before: Vec::new(),
        shape: Vec::new(),
        counts_from: CountsFrom::default(),
        settle: None,
        share: Share::default(),
        standard: None,
        source: "made for a test".to_owned(),
        cautions: Vec::new(),
    }
}

pub(crate) fn step(method: &str) -> Step {
    Step {
        method: MethodId::new(method),
        length: None,
        severity: BTreeMap::new(),
        every: None,
        rest: Rest::ANY,
        shared: None,
    }
}

pub(crate) fn every(part: Amount, check: &str) -> Every {
    Every {
        part,
        check: MethodId::new(check),
        check_rest: Rest::ANY,
    }
}

pub(crate) fn sequence(id: &str, steps: Vec<Step>) -> Sequence {
    Sequence {
        id: SequenceId::new(id),
        steps,
    }
}

/// A request of `units` units without a due date, of priority 5; units are named `R/1`, `R/2`, ….
pub(crate) fn request(id: &str, sequence: &str, units: usize, ready: Minute) -> Request {
    let unit = |number| UnitId::new(&format!("{id}/{number}"));
    Request {
        id: RequestId::new(id),
        product: "latch".to_owned(),
        build: "DV".to_owned(),
        sequence: SequenceId::new(sequence),
        units: (1..=units).map(unit).collect(),
        ready,
        due: None,
        priority: 5,
        keep_together: false,
        on_failure: OnFailure::Stop,
        show: None,
    }
}

pub(crate) fn outage(rig: &str, span: Span) -> rigday::domain::lab::Outage {
    rigday::domain::lab::Outage {
        rig: RigId::new(rig),
        span,
        reason: "service".to_owned(),
    }
}
