//! A leg planned from what it is to show: the request, what it costs the rigs, and when it could be done.

use super::desk::Planning;
use crate::domain::lab::{Amount, Lab, OnFailure, Request, Sequence, Show};
use crate::domain::steps::walk;
use crate::domain::{Booking, Facts, Minute, Minutes, RequestId, RigId, SequenceId, UnitId};
use crate::evidence::axis::{Axis, hours_a_pass};
use crate::evidence::sizing::{Answer, Given, Goal, NoSize, Sizing, size};
use crate::lab::offset_text;
use crate::planner::Rounds;
use crate::report::request_toml::request_toml;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// The goal.
    pub goal: Goal,
    /// The walk.
    pub sequence: SequenceId,
    /// Life of one mission in the walk's own count, above zero; `None` is the whole walk.
    pub mission: Option<f64>,
    /// What that mission rests on, in lines.
    pub basis: Vec<String>,
    /// Assumed Weibull shape.
    pub shape: Option<f64>,
    /// Units there are.
    pub units: Option<u64>,
    /// Id of the request to be.
    pub id: RequestId,
    /// Its product.
    pub product: String,
    /// Its build.
    pub build: String,
    /// Nothing before this.
    pub ready: Minute,
    /// Due date, if any.
    pub due: Option<Minute>,
}

/// Why a wish cannot be sized.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoLeg {
    /// No such sequence; the nearest names.
    #[error("no sequence {0}; the lab has {1}")]
    NoSequence(SequenceId, String),
    /// The id is taken.
    #[error("there is a request {0} already; give another --id")]
    Taken(RequestId),
    /// The walk has no exposure, or none that can be made longer.
    #[error("{0}")]
    Walk(String),
    /// The arithmetic has no answer.
    #[error(transparent)]
    Size(#[from] NoSize),
}

/// A sized leg, ready to be asked for.
#[derive(Clone, Debug)]
pub struct Leg {
    /// The numbers.
    pub sizing: Sizing,
    /// The request.
    pub request: Request,
    /// A longer walk that the request needs, where the lab's own is too short.
    pub longer: Option<Sequence>,
    /// Life of a unit at the end, and what it is counted in.
    pub life: (f64, &'static str),
    /// What it asks of the rigs.
    pub outlook: Outlook,
}

/// What a request asks of the rigs by a first plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// Days of rigs: a unit on one of so many positions, or in a run with others, takes its share.
    pub rig_days: f64,
    /// When it finishes, or why it cannot be planned.
    pub finish: Result<Minute, String>,
    /// After its due date.
    pub late: Minutes,
}

/// Most units that a request may have.
const MOST_UNITS: u64 = 100_000;

/// Sizes a leg and asks the planner when it would finish beside everything else.
///
/// # Errors
/// Where the wish cannot be met, with what would help.
pub fn plan_leg(lab: &Lab, facts: Facts, now: Minute, wish: &Wish) -> Result<Leg, NoLeg> {
    if lab.requests.iter().any(|own| own.id == wish.id) {
        return Err(NoLeg::Taken(wish.id.clone()));
    }
    let found = lab.sequences.iter().find(|own| own.id == wish.sequence);
    let sequence = found.ok_or_else(|| {
        let all: Vec<&str> = lab.sequences.iter().map(|own| own.id.as_str()).collect();
        NoLeg::NoSequence(wish.sequence.clone(), all.join(", "))
    })?;
    let axis = Axis::of(lab, &walk(lab, sequence));
    let whole = axis.whole();
    if whole <= 0.0 {
        return Err(NoLeg::Walk(format!(
            "{} has checks only: nothing ages its units",
            sequence.id
        )));
    }
    let mission = wish.mission.unwrap_or(whole);
    let given = Given {
        missions: whole / mission,
        shape: wish.shape,
        units: wish.units,
    };
    let sizing = size(wish.goal, given)?;
    let needed = sizing.missions * mission;
    let longer = if wish.units.is_some() && needed > whole * (1.0 + 1e-9) {
        Some(lengthened(lab, sequence, &axis, needed)?)
    } else {
        None
    };
    let request = request(wish, &sizing, longer.as_ref())?;
    let mut lab = lab.clone();
    lab.sequences.extend(longer.clone());
    lab.requests.push(request.clone());
    let life = longer
        .as_ref()
        .map_or(whole, |own| Axis::of(&lab, &walk(&lab, own)).whole());
    Ok(Leg {
        outlook: outlook(lab, facts, now, &request.id),
        sizing,
        request,
        longer,
        life: (life, axis.unit.word()),
    })
}

fn request(wish: &Wish, sizing: &Sizing, longer: Option<&Sequence>) -> Result<Request, NoLeg> {
    if sizing.units > MOST_UNITS {
        let why = format!(
            "{} units are needed; a request has at most {MOST_UNITS}",
            sizing.units
        );
        return Err(NoLeg::Walk(why));
    }
    let unit = |number| UnitId::new(&format!("{}/{number}", wish.id));
    Ok(Request {
        id: wish.id.clone(),
        product: wish.product.clone(),
        build: wish.build.clone(),
        sequence: longer.map_or(&wish.sequence, |own| &own.id).clone(),
        units: (1..=sizing.units).map(unit).collect(),
        ready: wish.ready,
        due: wish.due,
        priority: 5,
        keep_together: false,
        on_failure: OnFailure::Stop,
        show: Some(Show {
            reliability: wish.goal.reliability,
            confidence: wish.goal.confidence,
            failures: wish.goal.failures,
            mission: wish.mission,
            shape: wish.shape,
            modes: Vec::new(),
            sequential: None,
        }),
    })
}

/// The sequence with the step that is counted made so long that a unit's life is at least `needed`.
fn lengthened(lab: &Lab, own: &Sequence, axis: &Axis, needed: f64) -> Result<Sequence, NoLeg> {
    let counted = |step: &&mut crate::domain::lab::Step| Some(&step.method) == axis.method.as_ref();
    let mut longer = own.clone();
    longer.id = SequenceId::new(&format!("{}-longer", own.id));
    let mut steps: Vec<_> = longer.steps.iter_mut().filter(counted).collect();
    let [step] = &mut steps[..] else {
        let why = format!(
            "{} has no single exposure to make longer; write the walk by hand",
            own.id
        );
        return Err(NoLeg::Walk(why));
    };
    let method = &lab.methods[&step.method];
    let before = step
        .length
        .unwrap_or_else(|| crate::domain::steps::own_amount(&method.length));
    step.length = Some(match before {
        Amount::Cycles(_) => Amount::Cycles(up(needed)),
        Amount::Hold(_) => Amount::Hold(crate::domain::time::minutes_ceil(needed * 60.0)),
        Amount::Repeat(_) => {
            let passes = needed / hours_a_pass(lab, &step.method).unwrap_or(1.0);
            Amount::Repeat(u32::try_from(up(passes)).unwrap_or(u32::MAX))
        }
    });
    Ok(longer)
}

/// The next whole number; the walk's limits keep it far below 2^53.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a life is above zero, and too long a walk is refused by whoever reads it"
)]
fn up(needed: f64) -> u64 {
    (needed - 1e-6).ceil() as u64
}

/// Asks the planner's first plan about one request.
fn outlook(lab: Lab, facts: Facts, now: Minute, request: &RequestId) -> Outlook {
    let positions: BTreeMap<RigId, u32> = lab
        .rigs
        .iter()
        .map(|rig| (rig.id.clone(), rig.positions))
        .collect();
    let planning = Planning::new(Arc::new(lab), facts, now);
    let plan = planning.run(1, &Rounds(0), &mut |_| {}).plan;
    let own = plan.requests.iter().find(|own| own.request == *request);
    let left = plan.unplannable.iter().find(|own| own.request == *request);
    let why = || {
        left.map_or("the plan does not hold it".to_owned(), |own| {
            format!("step {}: {}", own.step, own.reason)
        })
    };
    Outlook {
        rig_days: rig_days(&plan.bookings, &positions, |booking| {
            booking.request == *request
        }),
        finish: own.map(|own| own.finish).ok_or_else(why),
        late: own.map_or(Minutes::ZERO, |own| own.late),
    }
}

/// Days of rigs that the bookings of interest take: a position's share of a rig, and a unit's share of a run.
pub fn rig_days(
    bookings: &[Booking],
    positions: &BTreeMap<RigId, u32>,
    counts: impl Fn(&Booking) -> bool,
) -> f64 {
    let mut in_run: BTreeMap<(&RigId, u32), f64> = BTreeMap::new();
    for own in bookings {
        if let Some(run) = own.run {
            *in_run.entry((&own.rig, run)).or_default() += 1.0;
        }
    }
    let days = |own: &Booking| {
        let sharing = match own.run {
            Some(run) => in_run[&(&own.rig, run)],
            None => f64::from(positions.get(&own.rig).copied().unwrap_or(1)),
        };
        own.times.stay().length().get() as f64 / Minutes::DAY.get() as f64 / sharing
    };
    bookings.iter().filter(|own| counts(own)).map(days).sum()
}

/// The word of an amount: one hour, two hours.
fn singular((amount, word): (f64, &str)) -> &str {
    if format!("{amount:.0}") != "1" {
        return word;
    }
    word.strip_suffix("es")
        .filter(|_| word == "passes")
        .unwrap_or(word.trim_end_matches('s'))
}

/// The leg in words, a line each.
pub fn words(leg: &Leg, wish: &Wish, lab: &Lab) -> Vec<String> {
    let (goal, sizing) = (&wish.goal, &leg.sizing);
    let counted = |own: &Result<u64, _>| own.as_ref().map_or("-".to_owned(), u64::to_string);
    let [none, one, two] = &sizing.by_failures;
    let mut lines = wish.basis.clone();
    lines.extend([
        format!(
            "{} units, each to {:.0} {} ({:.3} missions), at most {} failures: reliability {} over a mission at one-sided confidence {}",
            sizing.units,
            leg.life.0,
            singular(leg.life),
            sizing.missions,
            goal.failures,
            goal.reliability,
            goal.confidence
        ),
        format!("with that many failures they show {:.4}", sizing.shown),
        format!(
            "units with 0, 1, 2 failures allowed: {}, {}, {}; fixed before the test",
            counted(none),
            counted(one),
            counted(two)
        ),
    ]);
    if let Some(shape) = wish.shape {
        lines.push(format!("assumed Weibull shape {shape}, for one failure mode: the assumption is the whole argument"));
    }
    for (shape, answer) in &sizing.by_shape {
        lines.push(match answer {
            Ok(Answer::Units(units)) => {
                format!("were the shape {shape}, {units} units would be needed")
            }
            Ok(Answer::Missions(missions)) => {
                format!("were the shape {shape}, {missions:.3} missions each would be needed")
            }
            Err(why) => format!("were the shape {shape}: {why}"),
        });
    }
    lines.push(outlook_words(&leg.outlook, lab));
    lines
}

fn outlook_words(outlook: &Outlook, lab: &Lab) -> String {
    let days = outlook.rig_days;
    match &outlook.finish {
        Ok(finish) => {
            let when = lab.zone.local(*finish).format("%a %Y-%m-%d %H:%M");
            let late = if outlook.late > Minutes::ZERO {
                format!(", {} after its due date", outlook.late)
            } else {
                String::new()
            };
            format!(
                "{days:.1} rig-days; beside everything else it finishes {when}{late}, by a first plan"
            )
        }
        Err(why) => format!("it cannot be planned: {why}"),
    }
}

/// The request as it goes into `requests.toml`, and before it, as a comment, the walk that it needs.
pub fn toml(leg: &Leg, lab: &Lab) -> String {
    let mut text = String::new();
    if let Some(longer) = &leg.longer {
        text.push_str(&format!(
            "# copy sequence {} as {} in sequences.toml, with this length of its exposure:\n",
            longer.id.as_str().trim_end_matches("-longer"),
            longer.id
        ));
        let stretched = longer
            .steps
            .iter()
            .filter_map(|step| Some((&step.method, step.length?)));
        for (method, length) in stretched {
            let length = match length {
                Amount::Cycles(cycles) => format!("cycles = {cycles}"),
                Amount::Hold(hold) => format!("hold = \"{hold}\""),
                Amount::Repeat(passes) => format!("repeat = {passes}"),
            };
            text.push_str(&format!("#   method {method}: {length}\n"));
        }
    }
    text.push_str(&request_toml(&leg.request, &|at| {
        offset_text(&lab.zone, at)
    }));
    text
}
