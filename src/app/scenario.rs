//! The story of the demo: weeks of a lab's life, played through the desk.
//!
//! The story holds only what nobody planned: failures, a breakdown, late requests. Everything else follows
//! from planning every morning and doing what the plan says, minute by minute on a clock of its own.

use super::desk::{Desk, DeskError, Opening, outcome_words};
use crate::clock::{Clock, FakeClock};
use crate::domain::lab::Lab;
use crate::domain::{Actor, Minute, RigId, UnitId, Verdict};
use crate::ledger::{Ids, Ledger, Outcome};
use crate::planner::Rounds;
use chrono::{Datelike, NaiveDate, NaiveTime, Weekday};
use serde::Deserialize;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Rounds of planning each morning: the story must begin quickly.
const ROUNDS: u64 = 25;

/// Why a story cannot be played.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// The story's file.
    #[error("the story cannot be read: {0}")]
    File(String),
    /// The desk.
    #[error(transparent)]
    Desk(#[from] DeskError),
    /// The ledger did not take an event.
    #[error("the story stops at {at}: {why}")]
    Stopped {
        /// When.
        at: String,
        /// Why.
        why: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    begins: String,
    opens: String,
    plan_at: String,
    #[serde(default)]
    taken: Vec<Taken>,
    #[serde(default)]
    fail: Vec<Said>,
    #[serde(default)]
    hold: Vec<Said>,
    #[serde(default)]
    withdraw: Vec<Withdrawn>,
    #[serde(default)]
    breakdown: Vec<Breakdown>,
    people: People,
}

#[derive(Deserialize)]
struct Taken {
    request: String,
    on: String,
}

#[derive(Deserialize)]
struct Said {
    unit: String,
    step: u32,
    reason: String,
}

#[derive(Deserialize)]
struct Withdrawn {
    unit: String,
    at: String,
    reason: String,
}

#[derive(Deserialize)]
struct Breakdown {
    rig: String,
    from: String,
    expected: String,
    back: Option<String>,
    reason: String,
}

#[derive(Deserialize)]
struct People {
    coordinator: String,
    early: String,
    late: String,
    climate: String,
    mech: String,
    rf: String,
}

/// A story that was read.
pub struct Scenario {
    file: File,
    begins: Minute,
    /// When the story ends and the demo opens.
    pub opens: Minute,
    plan_at: NaiveTime,
}

/// Something that happens whatever the plan says.
enum Incident {
    Withdraw(UnitId, String),
    Down(RigId, String, Minute),
    Up(RigId),
}

impl Scenario {
    /// Reads a story for a lab.
    pub fn read(text: &str, lab: &Lab) -> Result<Self, ScenarioError> {
        let file: File =
            toml::from_str(text).map_err(|error| ScenarioError::File(error.to_string()))?;
        let begins = instant(&file.begins, lab)?;
        let opens = instant(&file.opens, lab)?;
        let plan_at = crate::lab::parse_clock(&file.plan_at).map_err(ScenarioError::File)?;
        Ok(Self {
            file,
            begins,
            opens,
            plan_at,
        })
    }

    /// Plays the story into an empty ledger. The clock must be the ledger's own.
    pub fn play(
        &self,
        lab: &Lab,
        ledger: Box<dyn Ledger>,
        clock: &Arc<FakeClock>,
        actor: &Actor,
    ) -> Result<(), ScenarioError> {
        clock.set(self.begins);
        let with = Opening {
            lab: self.lab_on(lab, self.begins)?,
            ledger,
            clock: clock.clone(),
            ids: Ids::System,
            actor: actor.clone(),
        };
        let mut player = Player {
            story: self,
            lab,
            desk: Desk::open(with)?,
            clock: clock.clone(),
            stuck: BTreeSet::new(),
        };
        player.play()
    }

    /// The lab with the requests that were there by then.
    fn lab_on(&self, lab: &Lab, at: Minute) -> Result<Lab, ScenarioError> {
        let date = lab.zone.local(at).date();
        let mut late = BTreeSet::new();
        for own in &self.file.taken {
            if parse_date(&own.on)? > date {
                late.insert(own.request.as_str());
            }
        }
        let mut lab = lab.clone();
        lab.requests
            .retain(|request| !late.contains(request.id.as_str()));
        let units: BTreeSet<&UnitId> = lab.requests.iter().flat_map(|own| &own.units).collect();
        let pins = lab
            .pins
            .iter()
            .filter(|pin| units.contains(&pin.unit))
            .cloned()
            .collect();
        lab.pins = pins;
        Ok(lab)
    }

    /// Incidents by time.
    fn incidents(&self, lab: &Lab) -> Result<Vec<(Minute, Incident)>, ScenarioError> {
        let mut all = Vec::new();
        for own in &self.file.withdraw {
            let unit = UnitId::new(&own.unit);
            all.push((
                instant(&own.at, lab)?,
                Incident::Withdraw(unit, own.reason.clone()),
            ));
        }
        for own in &self.file.breakdown {
            let (rig, expected) = (RigId::new(&own.rig), instant(&own.expected, lab)?);
            let down = Incident::Down(rig.clone(), own.reason.clone(), expected);
            all.push((instant(&own.from, lab)?, down));
            if let Some(back) = &own.back {
                all.push((instant(back, lab)?, Incident::Up(rig)));
            }
        }
        all.sort_by_key(|(at, _)| *at);
        Ok(all)
    }

    fn verdict(&self, unit: &UnitId, step: u32) -> Verdict {
        let said = |list: &[Said]| {
            let found = list
                .iter()
                .find(|own| own.unit == unit.as_str() && own.step == step);
            found.map(|own| own.reason.clone())
        };
        match (said(&self.file.fail), said(&self.file.hold)) {
            (Some(reason), _) => Verdict::Fail { reason },
            (None, Some(reason)) => Verdict::Hold { reason },
            (None, None) => Verdict::Pass,
        }
    }
}

/// The story in motion.
struct Player<'s> {
    story: &'s Scenario,
    lab: &'s Lab,
    desk: Desk,
    clock: Arc<FakeClock>,
    /// Visits that could not be done as planned; left until the next plan.
    stuck: BTreeSet<(UnitId, u32)>,
}

/// What the plan asks for next.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Next {
    End,
    Load,
}

impl Player<'_> {
    fn play(&mut self) -> Result<(), ScenarioError> {
        let mut incidents = self.story.incidents(self.lab)?.into_iter().peekable();
        let mut morning = self.story.begins;
        while morning < self.story.opens {
            self.clock.set(morning);
            self.plan_the_day()?;
            let next_morning = self.next_morning(morning);
            loop {
                let until = incidents
                    .peek()
                    .map_or(next_morning, |(at, _)| (*at).min(next_morning));
                self.follow_plan(until)?;
                if until == next_morning {
                    break;
                }
                if let Some((at, incident)) = incidents.next() {
                    self.clock.set(at);
                    self.happen(&incident)?;
                }
            }
            morning = next_morning;
        }
        self.clock.set(self.story.opens);
        Ok(())
    }

    /// The planning time of the next day on which somebody plans, or the end of the story.
    fn next_morning(&self, after: Minute) -> Minute {
        let mut date = self.lab.zone.local(after).date();
        loop {
            date = date.succ_opt().unwrap_or(date);
            let at = self.lab.zone.edge(date, self.story.plan_at);
            let works = !matches!(date.weekday(), Weekday::Sun) && !self.lab.closed.contains(&date);
            if works || at >= self.story.opens {
                return at.min(self.story.opens);
            }
        }
    }

    /// Takes in what came overnight, plans and publishes.
    fn plan_the_day(&mut self) -> Result<(), ScenarioError> {
        self.desk.set_person(&self.story.file.people.coordinator);
        self.desk
            .set_lab(self.story.lab_on(self.lab, self.clock.now())?);
        if let Err(outcome) = self.desk.take_in()? {
            return Err(self.stopped(&outcome));
        }
        let proposal = self.desk.planning().run(1, &Rounds(ROUNDS), &mut |_| {});
        let outcome = self.desk.publish(&proposal)?;
        self.stuck.clear();
        self.good(outcome)
    }

    /// Does what the plan asks for, in the order of time, before `until`.
    fn follow_plan(&mut self, until: Minute) -> Result<(), ScenarioError> {
        while let Some((at, next, unit, step)) = self.next_task().filter(|(at, ..)| *at < until) {
            self.clock.set(at.max(self.clock.now()));
            self.desk.set_person(&self.technician(&unit, step));
            let done = match next {
                Next::Load => self.desk.start(&unit, None),
                Next::End if self.is_checkpoint(&unit, step) => {
                    self.desk.mark(&unit, self.story.verdict(&unit, step))
                }
                Next::End => self.desk.end(&unit),
            };
            match done {
                Ok(outcome) => self.good(outcome)?,
                Err(DeskError::NotNow(_)) => {
                    self.stuck.insert((unit, step));
                }
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// The earliest thing that the plan asks for; who leaves goes before who enters.
    fn next_task(&self) -> Option<(Minute, Next, UnitId, u32)> {
        let floor = &self.desk.floor;
        let published = floor.now.published.as_ref()?;
        let task = |booking: &crate::domain::Booking| {
            let (unit, step) = (&booking.unit, booking.step);
            let record = floor.now.units.get(unit)?;
            if self.stuck.contains(&(unit.clone(), step)) {
                return None;
            }
            match record.visits.get(&step) {
                Some(visit) if visit.out.is_none() => {
                    Some((booking.times.out, Next::End, unit.clone(), step))
                }
                None if record.steps_done() + 1 == step && record.running().is_none() => {
                    Some((booking.times.load, Next::Load, unit.clone(), step))
                }
                _ => None,
            }
        };
        published.bookings.iter().filter_map(task).min()
    }

    fn happen(&mut self, incident: &Incident) -> Result<(), ScenarioError> {
        self.desk.set_person(&self.story.file.people.early);
        let outcome = match incident {
            Incident::Withdraw(unit, reason) => self.desk.withdraw(unit, reason)?,
            Incident::Down(rig, reason, until) => self.desk.rig_down(rig, reason, Some(*until))?,
            Incident::Up(rig) => self.desk.rig_up(rig)?,
        };
        self.good(outcome)?;
        self.plan_the_day()
    }

    fn is_checkpoint(&self, unit: &UnitId, step: u32) -> bool {
        self.method(unit, step).is_some_and(|method| method.verdict)
    }

    fn method(&self, unit: &UnitId, step: u32) -> Option<&crate::domain::lab::Method> {
        let request = self.desk.walks.request(&self.desk.lab, unit)?;
        let walk = self.desk.walks.steps(request).get(step as usize - 1)?;
        self.desk.lab.methods.get(&walk.method)
    }

    /// Who does it: by the crew of the method, on the bench by the time of day.
    fn technician(&self, unit: &UnitId, step: u32) -> String {
        let people = &self.story.file.people;
        let crew = self
            .method(unit, step)
            .and_then(|method| method.crew.as_ref());
        let name = match crew.map(crate::domain::CrewId::as_str) {
            Some("climate") => &people.climate,
            Some("mech") => &people.mech,
            Some("rf") => &people.rf,
            _ => {
                let noon = NaiveTime::from_hms_opt(14, 0, 0).unwrap_or(NaiveTime::MIN);
                let early = self.lab.zone.local(self.clock.now()).time() < noon;
                if early { &people.early } else { &people.late }
            }
        };
        name.clone()
    }

    fn good(&self, outcome: Outcome) -> Result<(), ScenarioError> {
        match outcome {
            Outcome::Recorded { .. } | Outcome::AlreadyRecorded { .. } => Ok(()),
            other => Err(self.stopped(&other)),
        }
    }

    fn stopped(&self, outcome: &Outcome) -> ScenarioError {
        let at = self.lab.zone.local(self.clock.now()).to_string();
        ScenarioError::Stopped {
            at,
            why: outcome_words(outcome, &self.lab.zone).1,
        }
    }
}

fn instant(text: &str, lab: &Lab) -> Result<Minute, ScenarioError> {
    crate::lab::parse_instant(text, Some(&lab.zone)).map_err(ScenarioError::File)
}

fn parse_date(text: &str) -> Result<NaiveDate, ScenarioError> {
    crate::lab::parse_date(text).map_err(ScenarioError::File)
}
