//! Local days and ISO weeks, and what rigs, groups of rigs and crews do in each.

use super::late::{HeldUp, Who};
use super::rigs::{RigMinutes, percent};
use super::stay::Stage;
use super::{CrewMinutes, Usage};
use crate::domain::lab::{Lab, Loading};
use crate::domain::{CrewId, Minutes, RigId, Span, Zone};
use crate::problem::OnTime;
use chrono::{Datelike, Days, NaiveDate, NaiveTime};

/// How long the intervals of a table are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Grain {
    /// Local days.
    #[default]
    Day,
    /// ISO weeks, from Monday on.
    Week,
}

impl Grain {
    /// How many local days.
    pub const fn days(self) -> u64 {
        match self {
            Self::Day => 1,
            Self::Week => 7,
        }
    }

    /// The first day of the interval that `date` lies in.
    pub fn first(self, date: NaiveDate) -> NaiveDate {
        match self {
            Self::Day => date,
            Self::Week => date - Days::new(u64::from(date.weekday().num_days_from_monday())),
        }
    }
}

/// A local day or an ISO week.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// Its first local day.
    pub first: NaiveDate,
    /// Its minutes; a change of the clocks makes them fewer or more.
    pub span: Span,
}

/// `count` intervals one after another, the first of which holds the day `first`.
pub fn intervals(zone: &Zone, first: NaiveDate, count: usize, grain: Grain) -> Vec<Interval> {
    let edge = |date| zone.edge(date, NaiveTime::MIN);
    let one = |ix| {
        let first = grain.first(first) + Days::new(grain.days() * ix);
        let next = first + Days::new(grain.days());
        Interval {
            first,
            span: Span::new(edge(first), edge(next)),
        }
    };
    (0..count as u64).map(one).collect()
}

/// What a cell shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Measure {
    /// Time with a unit inside, of the calendar.
    #[default]
    InUse,
    /// Positions filled, of those that the rig offers while it can be used.
    Filled,
    /// Time down or in calibration, of the calendar.
    Down,
    /// Time of loading and changing over, of the calendar.
    Setup,
}

impl Measure {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::InUse, Self::Filled, Self::Down, Self::Setup];

    /// Its words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::InUse => "in use %",
            Self::Filled => "filled %",
            Self::Down => "down %",
            Self::Setup => "setup %",
        }
    }

    /// What is measured, and what it is a part of.
    fn part_and_whole(self, own: &RigMinutes) -> (Minutes, Minutes) {
        match self {
            Self::InUse => (own.occupied(), own.calendar()),
            Self::Filled => (own.filled, own.open()),
            Self::Down => (own.out(), own.calendar()),
            Self::Setup => (own.setup(), own.calendar()),
        }
    }
}

/// What a cell has to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Share {
    /// So many percent, rounded down; may be more than a hundred where more was recorded than there is room.
    Percent(i64),
    /// The rig could not be used, or nobody was on shift and nothing was in it.
    Closed,
    /// Before the first record, or after the end of the plan in force.
    NoData,
}

impl Share {
    /// The percent, where there are any.
    pub const fn percent(self) -> Option<i64> {
        match self {
            Self::Percent(percent) => Some(percent),
            Self::Closed | Self::NoData => None,
        }
    }
}

/// A rig in an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cell {
    /// Its minutes.
    pub minutes: RigMinutes,
    /// Something is known of the interval: it holds a minute between the first record and the end of the plan.
    pub is_known: bool,
    /// Somebody of any crew is on shift in it.
    pub is_staffed: bool,
}

impl Cell {
    /// What it shows.
    pub fn share(&self, measure: Measure) -> Share {
        let own = &self.minutes;
        if !self.is_known {
            return Share::NoData;
        }
        let (part, whole) = measure.part_and_whole(own);
        let share = percent(part, whole);
        if measure == Measure::Down {
            return share.map_or(Share::NoData, Share::Percent);
        }
        let is_closed =
            own.usable() == Minutes::ZERO || (!self.is_staffed && own.occupied() == Minutes::ZERO);
        share
            .filter(|_| !is_closed)
            .map_or(Share::Closed, Share::Percent)
    }
}

/// A rig's row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RigLoad {
    /// The rig.
    pub rig: RigId,
    /// How many units it holds.
    pub positions: u32,
    /// One cell an interval.
    pub cells: Vec<Cell>,
    /// Booked work that has not started, as time of the rig: of runs behind one door their length, else stays
    /// by positions.
    pub backlog: Minutes,
}

impl RigLoad {
    /// The sum of its cells.
    pub fn total(&self) -> RigMinutes {
        let none = RigMinutes::default();
        self.cells
            .iter()
            .fold(none, |sum, cell| sum.and(&cell.minutes))
    }

    /// The percents that its cells show: least, most and last; `None` where no cell shows any.
    pub fn trend(&self, measure: Measure) -> Option<Trend> {
        Trend::of(
            self.cells
                .iter()
                .filter_map(|cell| cell.share(measure).percent()),
        )
    }
}

/// The least, the most and the last of some figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trend {
    /// The least.
    pub min: i64,
    /// The most.
    pub max: i64,
    /// The last.
    pub last: i64,
}

impl Trend {
    /// Of figures one after another.
    pub fn of(figures: impl Iterator<Item = i64>) -> Option<Self> {
        figures.fold(None, |trend: Option<Self>, last| {
            let Self { min, max, .. } = trend.unwrap_or(Self {
                min: last,
                max: last,
                last,
            });
            Some(Self {
                min: min.min(last),
                max: max.max(last),
                last,
            })
        })
    }
}

/// A crew's row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CrewLoad {
    /// The crew.
    pub crew: CrewId,
    /// One cell an interval.
    pub cells: Vec<CrewMinutes>,
}

impl CrewLoad {
    /// The sum of its cells.
    pub fn total(&self) -> CrewMinutes {
        self.cells
            .iter()
            .fold(CrewMinutes::default(), |sum, own| CrewMinutes {
                on_shift: sum.on_shift + own.on_shift,
                hands_on: sum.hands_on + own.hands_on,
            })
    }
}

/// How rigs and crews are used over some intervals.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoadTable {
    /// One after another.
    pub intervals: Vec<Interval>,
    /// One row a rig, in the order of the lab.
    pub rows: Vec<RigLoad>,
    /// One row a crew, in the order of the lab.
    pub crews: Vec<CrewLoad>,
}

impl LoadTable {
    /// All rigs together in one interval, in percent; `None` where nothing is known of it.
    pub fn all_rigs(&self, interval: usize, measure: Measure) -> Option<i64> {
        let cells = self.rows.iter().map(|row| &row.cells[interval]);
        let (mut part, mut whole) = (Minutes::ZERO, Minutes::ZERO);
        for own in cells.filter(|cell| cell.is_known).map(|cell| &cell.minutes) {
            let (more, of) = measure.part_and_whole(own);
            part += more;
            whole += of;
        }
        percent(part, whole)
    }

    /// Booked work of all rigs that has not started.
    pub fn backlog(&self) -> Minutes {
        self.rows.iter().map(|row| row.backlog).sum()
    }
}

/// Rigs that can stand in for each other: those that share a capability, directly or through others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GroupLoad {
    /// The first capability of its first rig.
    pub name: String,
    /// Its rigs, in the order of the lab.
    pub rigs: Vec<RigId>,
    /// One an interval.
    pub weeks: Vec<Demand>,
}

/// Booked work against capacity, in time of rigs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Demand {
    /// Time of its rigs that is booked: see [`RigMinutes::taken`].
    pub booked: Minutes,
    /// Time in which its rigs can be used.
    pub capacity: Minutes,
}

impl Demand {
    /// Booked in percent of capacity, rounded like the days beside it; `None` where there is none.
    pub fn percent(&self) -> Option<i64> {
        let half = Minutes::new(self.capacity.get() / 200);
        percent(self.booked + half, self.capacity)
    }
}

/// The rig or crew that is taken most.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bottleneck {
    /// The rig or crew.
    pub who: Who,
    /// Its capacity that is taken, in percent: of a rig see [`RigMinutes::taken_percent`], of a crew hands-on
    /// of on shift.
    pub percent: i64,
    /// Of a rig: its units share a door, so that its time is what is taken.
    pub one_door: bool,
    /// The one that is taken most after it.
    pub next: Option<(Who, i64)>,
    /// What it holds up of requests that are late.
    pub holds_up: Option<HeldUp>,
}

impl Bottleneck {
    /// Its name, its figure and why it matters, in a sentence.
    pub fn words(&self) -> String {
        let name = |who: &Who| match who {
            Who::Rig(rig) => rig.to_string(),
            Who::Crew(crew) => format!("crew {crew}"),
        };
        let next = self.next.as_ref();
        let next = next.map_or_else(String::new, |(who, percent)| {
            format!(", then {} {percent} %", name(who))
        });
        let why = match &self.holds_up {
            Some(own) if own.requests == 1 => {
                format!("holds 1 late request up for {}", own.minutes)
            }
            Some(own) => format!(
                "holds {} late requests up for {}",
                own.requests, own.minutes
            ),
            None => "holds no late request up".to_owned(),
        };
        let whole = match self.who {
            Who::Crew(_) => "of its time on shift hands-on",
            Who::Rig(_) if self.one_door => "of its time in use",
            Who::Rig(_) => "of its positions filled",
        };
        let (who, percent) = (name(&self.who), self.percent);
        format!("{who}, {percent} % {whole}{next}; {why}")
    }
}

impl Usage {
    /// Rigs and crews over intervals.
    pub fn table(&self, lab: &Lab, intervals: Vec<Interval>) -> LoadTable {
        let staffed: Vec<bool> = intervals
            .iter()
            .map(|own| self.is_staffed(own.span))
            .collect();
        let backlog = self.backlog(lab);
        let row = |(ix, rig): (usize, &crate::domain::lab::Rig)| RigLoad {
            rig: rig.id.clone(),
            positions: rig.positions,
            cells: intervals
                .iter()
                .zip(&staffed)
                .map(|(own, is_staffed)| Cell {
                    minutes: self.rig(ix, own.span),
                    is_known: self.is_known(own.span),
                    is_staffed: *is_staffed,
                })
                .collect(),
            backlog: backlog[ix],
        };
        let crew = |(ix, crew): (usize, &crate::domain::lab::Crew)| CrewLoad {
            crew: crew.id.clone(),
            cells: intervals
                .iter()
                .map(|own| self.crew(ix, own.span))
                .collect(),
        };
        LoadTable {
            rows: lab.rigs.iter().enumerate().map(row).collect(),
            crews: lab.crews.iter().enumerate().map(crew).collect(),
            intervals,
        }
    }

    /// Booked work that has not started, by rig of the lab: see [`RigLoad::backlog`].
    pub fn backlog(&self, lab: &Lab) -> Vec<Minutes> {
        let mut sums = vec![Minutes::ZERO; lab.rigs.len()];
        let mut runs: Vec<Vec<Span>> = vec![Vec::new(); lab.rigs.len()];
        for stay in self.stays.iter().filter(|stay| stay.stage == Stage::Booked) {
            sums[stay.rig] += stay.times.stay().length();
            runs[stay.rig].push(stay.times.stay());
        }
        let of_rig = |(ix, rig): (usize, &crate::domain::lab::Rig)| {
            if rig.loading == Loading::Together {
                let runs = OnTime::new(std::mem::take(&mut runs[ix]));
                runs.spans().iter().map(|run| run.length()).sum()
            } else {
                Minutes::new(sums[ix].get() / i64::from(rig.positions.max(1)))
            }
        };
        lab.rigs.iter().enumerate().map(of_rig).collect()
    }

    /// Booked work against capacity by group of rigs: from now to the end of this ISO week, then `weeks` whole
    /// weeks. The groups stand in the order of the lab.
    pub fn groups(&self, lab: &Lab, weeks: usize) -> (Vec<Interval>, Vec<GroupLoad>) {
        let today = self.zone.local(self.now).date();
        let mut coming = intervals(&self.zone, today, weeks + 1, Grain::Week);
        coming[0].span.start = self.now;
        let group = |rigs: Vec<usize>| GroupLoad {
            name: lab.rigs[rigs[0]].does.first().cloned().unwrap_or_default(),
            weeks: coming
                .iter()
                .map(|week| self.demand(&rigs, week.span))
                .collect(),
            rigs: rigs.iter().map(|ix| lab.rigs[*ix].id.clone()).collect(),
        };
        let groups = alike(lab).into_iter().map(group).collect();
        (coming, groups)
    }

    fn demand(&self, rigs: &[usize], span: Span) -> Demand {
        let minutes = rigs.iter().map(|ix| self.rig(*ix, span));
        minutes.fold(Demand::default(), |sum, own| Demand {
            booked: sum.booked + own.taken(),
            capacity: sum.capacity + own.usable(),
        })
    }

    /// The rig or crew with the largest share of its capacity taken in an interval, and what it holds up of
    /// what is late; of equal ones a rig before a crew, in the order of the lab. `None` where nothing is taken.
    pub fn bottleneck(&self, lab: &Lab, interval: Span, held_up: &[HeldUp]) -> Option<Bottleneck> {
        let rigs = lab.rigs.iter().enumerate().map(|(ix, own)| {
            (
                self.rig(ix, interval).taken_percent(),
                Who::Rig(own.id.clone()),
            )
        });
        let crews = lab
            .crews
            .iter()
            .enumerate()
            .map(|(ix, own)| (self.crew(ix, interval).percent(), Who::Crew(own.id.clone())));
        let taken =
            |(percent, who): (Option<i64>, Who)| Some((percent.filter(|own| *own > 0)?, who));
        let mut all: Vec<(i64, Who)> = rigs.chain(crews).filter_map(taken).collect();
        all.sort_by_key(|(percent, _)| std::cmp::Reverse(*percent));
        let mut all = all.into_iter();
        let (percent, who) = all.next()?;
        Some(Bottleneck {
            holds_up: held_up.iter().find(|own| own.who == who).cloned(),
            next: all.next().map(|(percent, who)| (who, percent)),
            one_door: lab
                .rigs
                .iter()
                .any(|own| who == Who::Rig(own.id.clone()) && own.loading == Loading::Together),
            who,
            percent,
        })
    }
}

/// The rigs of a lab in groups that share a capability.
fn alike(lab: &Lab) -> Vec<Vec<usize>> {
    let mut groups: Vec<(Vec<&str>, Vec<usize>)> = Vec::new();
    for (ix, rig) in lab.rigs.iter().enumerate() {
        let words: Vec<&str> = rig.does.iter().map(String::as_str).collect();
        let shares =
            |group: &(Vec<&str>, Vec<usize>)| group.0.iter().any(|own| words.contains(own));
        let (own, others): (Vec<_>, Vec<_>) = groups.into_iter().partition(shares);
        groups = others;
        let mut joined = (words.clone(), vec![ix]);
        for (words, rigs) in own {
            joined.0.extend(words);
            joined.1.extend(rigs);
        }
        joined.1.sort_unstable();
        groups.push(joined);
    }
    groups.sort_by_key(|(_, rigs)| rigs[0]);
    groups.into_iter().map(|(_, rigs)| rigs).collect()
}
