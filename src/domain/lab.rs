//! A lab as it was read and checked: crews, rigs, methods, sequences, requests and pins.
//!
//! Whatever is in here has passed every check of the lab format; nobody needs to check it again.

use super::ids::{CrewId, MethodId, RequestId, RigId, SequenceId, StandardId, UnitId};
use super::standard::Standard;
use super::time::{Minute, Minutes, Span};
use super::zone::Zone;
use chrono::{NaiveDate, NaiveTime, Weekday};
use std::collections::{BTreeMap, BTreeSet};

/// The whole lab folder, checked, with the built-in catalogue merged under the lab's own methods.
#[derive(Clone, Debug)]
pub struct Lab {
    /// What people call the lab.
    pub name: String,
    /// Its time zone.
    pub zone: Zone,
    /// Where every temperature profile starts and ends, in °C.
    pub ambient_c: f64,
    /// Bookings that start within this time of now keep their place.
    pub freeze: Minutes,
    /// How far ahead a plan may reach.
    pub horizon: Minutes,
    /// Local dates on which no shift begins.
    pub closed: BTreeSet<NaiveDate>,
    /// Crews in the order of the file; the first is the default crew of methods.
    pub crews: Vec<Crew>,
    /// Rigs in the order of the file.
    pub rigs: Vec<Rig>,
    /// Times at which a rig cannot be used.
    pub outages: Vec<Outage>,
    /// Every method a sequence may name.
    pub methods: BTreeMap<MethodId, Method>,
    /// What the standards say that methods name.
    pub standards: BTreeMap<StandardId, Standard>,
    /// Sequences in the order of the file.
    pub sequences: Vec<Sequence>,
    /// Requests in the order of the file.
    pub requests: Vec<Request>,
    /// Bookings that the user has fixed.
    pub pins: Vec<Pin>,
    /// Reasons for a failure that the lab wants to choose from; may be empty.
    pub fail_reasons: Vec<String>,
    /// How the bench takes scans, and when it asks who is there.
    pub bench: BenchRules,
}

/// How the bench takes scans, and when it asks who is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BenchRules {
    /// What the lab's scanners send before a code; taken off.
    pub scan_prefix: String,
    /// What they send after it, before the end of the line; taken off.
    pub scan_suffix: String,
    /// After so long without a key it asks who is there before it records; above zero.
    pub idle: Minutes,
}

impl Default for BenchRules {
    fn default() -> Self {
        Self {
            scan_prefix: String::new(),
            scan_suffix: String::new(),
            idle: Minutes::new(10),
        }
    }
}

/// People who work together, and when.
#[derive(Clone, Debug)]
pub struct Crew {
    /// Its id.
    pub id: CrewId,
    /// Shifts that overlap add up.
    pub shifts: Vec<Shift>,
}

/// A shift in wall-clock time: weekly, on single dates, or both.
#[derive(Clone, Debug)]
pub struct Shift {
    /// Local weekdays on which it begins.
    pub days: Vec<Weekday>,
    /// Single local dates on which it begins besides.
    pub dates: Vec<NaiveDate>,
    /// Wall-clock time at which it begins.
    pub from: NaiveTime,
    /// Wall-clock end; at or before `from` means the next day.
    pub to: NaiveTime,
    /// How many people; may be zero.
    pub people: u32,
}

/// How a rig takes its units in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Loading {
    /// Positions are independent.
    Each,
    /// Runs: all units from door to door together.
    Together,
    /// An oven held at one condition; units come and go.
    Held,
}

/// An allowed range, ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Lowest allowed value.
    pub min: f64,
    /// Highest allowed value.
    pub max: f64,
}

impl Limit {
    /// True where `value` lies in the range, ends included.
    pub fn allows(self, value: f64) -> bool {
        self.min <= value && value <= self.max
    }
}

/// A machine or bench with positions.
#[derive(Clone, Debug)]
pub struct Rig {
    /// Its id.
    pub id: RigId,
    /// What people call it; the id where the file gives no name.
    pub name: String,
    /// Capability words; a method asks for one of them.
    pub does: BTreeSet<String>,
    /// Units it holds at once, at least 1.
    pub positions: u32,
    /// How it takes units in.
    pub loading: Loading,
    /// Hands-on time at the start of a visit or run.
    pub load: Minutes,
    /// Hands-on time at the end of a visit or run.
    pub unload: Minutes,
    /// Idle time between two different fixtures or conditions.
    pub changeover: Minutes,
    /// Limits by name, such as `temperature_c`, `humidity_rh`, `force_n`.
    pub limits: BTreeMap<String, Limit>,
    /// Heating rate in K/min, above zero.
    pub heat_k_per_min: Option<f64>,
    /// Cooling rate in K/min, above zero.
    pub cool_k_per_min: Option<f64>,
    /// Cycles per minute, above zero.
    pub cycles_per_min: Option<f64>,
    /// Last local date on which it may be used.
    pub calibration_due: Option<NaiveDate>,
    /// How long its load takes to settle at a new temperature, where that counts.
    pub settle: Option<Settle>,
    /// Seconds in which it moves its load from one zone into another.
    pub transfer_s: Option<f64>,
}

/// How long a load takes until every part of it is within 3 K of a new temperature: stable, by
/// IEC 60068-1, clause 4.8 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Settle {
    /// This time after every change of more than 3 K.
    Allowance(Minutes),
    /// The time that follows from this thermal time constant of the load.
    TimeConstant(Minutes),
}

/// A time at which a rig cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outage {
    /// The rig.
    pub rig: RigId,
    /// When.
    pub span: Span,
    /// Why; may be empty.
    pub reason: String,
}

/// Who must be there while an exposure runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Watch {
    /// Runs lights-out.
    None,
    /// Only while anyone of any crew is on shift.
    Site,
    /// Takes one person of its crew.
    Full,
}

/// How long an exposure lasts, in the terms of its method.
#[derive(Clone, Debug, PartialEq)]
pub enum Length {
    /// A count, done at the rig's rate.
    Cycles(u64),
    /// A time.
    Hold(Minutes),
    /// Ramps and holds, from ambient back to ambient.
    Profile {
        /// One pass.
        segments: Vec<Segment>,
        /// How many passes, at least 1.
        repeat: u32,
    },
}

/// One ramp and hold of a profile.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    /// Temperature to go to; `None` keeps it.
    pub to_c: Option<f64>,
    /// Relative humidity to go to, which takes no time of its own.
    pub to_rh: Option<f64>,
    /// How it comes to its temperature.
    pub pace: Pace,
    /// Time at the new condition.
    pub hold: Minutes,
}

/// How a segment comes to its temperature.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Pace {
    /// At the rig's own rate.
    #[default]
    Own,
    /// At this rate in K/min, which the rig must reach.
    Rate(f64),
    /// In exactly this time, above zero; the rig must reach the rate that this takes.
    Over(Minutes),
    /// The load is moved into another zone in the rig's own time, at most so many seconds.
    Transfer {
        /// Longest time that the method allows.
        seconds_max: f64,
    },
}

/// From when the holds of a profile count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CountsFrom {
    /// The chamber reaches the temperature.
    #[default]
    SetPoint,
    /// The load is stable at it; takes longer where rig or method say how the load settles.
    Stable,
}

/// Whose units may share a run, or an oven at one time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Share {
    /// All of the same condition.
    #[default]
    Any,
    /// Those of one product.
    Product,
    /// Those of one request.
    Request,
}

/// One way to expose or check a unit.
#[derive(Clone, Debug)]
pub struct Method {
    /// Its id.
    pub id: MethodId,
    /// The capability that a rig must list.
    pub does: String,
    /// Who loads, unloads and watches; `None` is the lab's first crew.
    pub crew: Option<CrewId>,
    /// Who must be there while it runs.
    pub watch: Watch,
    /// May stop when its watch ends and go on when it comes back.
    pub pausable: bool,
    /// True where a pass or fail must be recorded: a checkpoint.
    pub verdict: bool,
    /// Longest stay in the rig after the exposure; `None` is no limit.
    pub max_wait: Option<Minutes>,
    /// How hard: each value must lie in the rig's limit of the same name.
    pub severity: BTreeMap<String, f64>,
    /// How long.
    pub length: Length,
    /// Segments of a profile that are passed once, before its first pass.
    pub before: Vec<Segment>,
    /// What the rig does again and again during a hold, for people to see; takes no time of its own.
    pub shape: Vec<Segment>,
    /// From when the holds of a profile count.
    pub counts_from: CountsFrom,
    /// How its load settles, where not as the rig says.
    pub settle: Option<Settle>,
    /// Whose units may share a run.
    pub share: Share,
    /// What a standard says about it.
    pub standard: Option<StandardId>,
    /// Where its figures come from.
    pub source: String,
    /// What can hurt somebody, in the catalogue's own words; may be empty.
    pub cautions: Vec<String>,
}

/// The steps that a unit walks.
#[derive(Clone, Debug)]
pub struct Sequence {
    /// Its id.
    pub id: SequenceId,
    /// Steps as written, `every` not yet expanded; at least one.
    pub steps: Vec<Step>,
}

/// One step of a sequence as written.
#[derive(Clone, Debug)]
pub struct Step {
    /// The method.
    pub method: MethodId,
    /// The length where the step overrides it: same kind as the method's.
    pub length: Option<Amount>,
    /// Severity values that the step overrides or adds.
    pub severity: BTreeMap<String, f64>,
    /// Splitting into parts with a check after each.
    pub every: Option<Every>,
    /// Gap since the step before.
    pub rest: Rest,
    /// A count that several units share; the length is then the largest share.
    pub shared: Option<Shared>,
}

/// A count of cycles that is shared over several units.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shared {
    /// The whole count.
    pub cycles: u64,
    /// How many units share it, at least 1.
    pub by: u32,
}

/// A length or part of a length, in the terms of its method.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Amount {
    /// A count of cycles.
    Cycles(u64),
    /// A time.
    Hold(Minutes),
    /// A count of passes of the method's profile.
    Repeat(u32),
}

/// Splitting a step into parts with a check after each, the last included.
#[derive(Clone, Debug)]
pub struct Every {
    /// Size of a part; the last may be smaller.
    pub part: Amount,
    /// The method of the checks.
    pub check: MethodId,
    /// Gap before each check.
    pub check_rest: Rest,
}

/// The gap before a step: from the end of one unload to the start of the next load.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rest {
    /// At least this.
    pub min: Minutes,
    /// At most this; `None` is no limit.
    pub max: Option<Minutes>,
}

impl Rest {
    /// Any gap from zero up.
    pub const ANY: Self = Self {
        min: Minutes::ZERO,
        max: None,
    };
}

/// What happens to a unit's further steps after a failed checkpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnFailure {
    /// They are dropped.
    Stop,
    /// It goes on, failure noted.
    Continue,
}

/// Units of a product and build that walk one sequence by a due date.
#[derive(Clone, Debug)]
pub struct Request {
    /// Its id.
    pub id: RequestId,
    /// The product.
    pub product: String,
    /// The build.
    pub build: String,
    /// The sequence its units walk.
    pub sequence: SequenceId,
    /// Serials, at least one, unique in the lab.
    pub units: Vec<UnitId>,
    /// Nothing before this.
    pub ready: Minute,
    /// Due date, if any.
    pub due: Option<Minute>,
    /// 1 to 9, 9 the most urgent.
    pub priority: u8,
    /// On "together" rigs all its units of a step share one run.
    pub keep_together: bool,
    /// What a failed checkpoint means for the unit.
    pub on_failure: OnFailure,
    /// What its results are to show, where that was agreed.
    pub show: Option<Show>,
}

/// What the results of a leg are to show: agreed before it begins, for a plan that is changed after a
/// failure says less than it seems to.
#[derive(Clone, Debug, PartialEq)]
pub struct Show {
    /// Reliability over one mission, strictly between 0 and 1.
    pub reliability: f64,
    /// One-sided confidence, strictly between 0 and 1.
    pub confidence: f64,
    /// Failures allowed.
    pub failures: u64,
    /// One mission in the leg's own count (cycles, hours or passes), above zero; `None` is the whole walk.
    pub mission: Option<f64>,
    /// Assumed Weibull shape, above zero.
    pub shape: Option<f64>,
    /// Reasons of failures that count; a unit that failed for another is taken as withdrawn. Empty: all.
    pub modes: Vec<String>,
    /// The rule of a sequential decision.
    pub sequential: Option<Sequential>,
}

/// A sequential decision between a good design and one that just misses what is to be shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sequential {
    /// Reliability of a good design, above the one to be shown.
    pub good: f64,
    /// Risk to reject a good design; with the risk to accept a bad one below 1.
    pub risk: f64,
}

/// A booking that the user has fixed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// The unit.
    pub unit: UnitId,
    /// Its step, 1 being the first after `every` has been expanded.
    pub step: u32,
    /// The rig.
    pub rig: RigId,
    /// When load starts.
    pub start: Minute,
}
