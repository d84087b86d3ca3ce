//! What the Load screen knows and how it is set.

use super::desk::Desk;
use super::view::plan_in_force;
use crate::checker::check;
use crate::domain::{Minute, Minutes, RequestId, Span};
use crate::usage::late::{follow, late};
use crate::usage::table::{Bottleneck, Grain, GroupLoad, Interval, LoadTable, Measure, intervals};
use crate::usage::{HeldUp, LateRequest, Rate, Usage};
use chrono::{Days, NaiveDate};
use std::cell::OnceCell;

/// Late requests that are followed back to their causes.
const MOST_CHAINS: usize = 8;
/// Intervals of a trend.
const TREND: usize = 12;
/// How far back the screen usually looks: over a trend of weeks, and a little more.
const NEAR: Minutes = Minutes::hours(24 * 7 * 14);
/// Whole weeks ahead whose booked work is held against capacity.
pub const WEEKS_AHEAD: usize = 3;

/// How a lab is used, and what is late and why.
#[derive(Debug)]
pub struct LoadKnown {
    /// How it is used.
    pub usage: Usage,
    /// Requests that finish late, the latest first, with the chains of reasons.
    pub late: Vec<LateRequest>,
    /// What holds them up, what does so longest first.
    pub held_up: Vec<HeldUp>,
    /// What exposures took, by rig and method.
    pub rates: Vec<Rate>,
    /// This week from now on, and whole weeks after it.
    pub coming: Vec<Interval>,
    /// Booked work against capacity by group of rigs in the coming weeks.
    pub groups: Vec<GroupLoad>,
    /// The rig or crew that is taken most in the next seven days.
    pub bottleneck: Option<Bottleneck>,
}

impl LoadKnown {
    /// Of a desk at a moment.
    pub fn of(desk: &Desk, now: Minute) -> Self {
        Self::with(desk, Usage::of(&desk.lab, &desk.walks, &desk.floor, now))
    }

    /// Of a desk at a moment, without the time before `since`.
    pub fn since(desk: &Desk, now: Minute, since: Minute) -> Self {
        let (lab, floor) = (&desk.lab, &desk.floor);
        Self::with(desk, Usage::since(lab, &desk.walks, floor, now, since))
    }

    fn with(desk: &Desk, usage: Usage) -> Self {
        let (lab, now) = (&desk.lab, usage.now);
        let (late, held_up) = late_and_why(desk);
        let (coming, groups) = usage.groups(lab, WEEKS_AHEAD);
        let week = Span::new(now, now + Minutes::DAY * 7);
        Self {
            bottleneck: usage.bottleneck(lab, week, &held_up),
            rates: usage.rates(lab),
            usage,
            late,
            held_up,
            coming,
            groups,
        }
    }

    /// What is offered of the rates.
    pub fn offers(&self) -> impl Iterator<Item = &Rate> {
        self.rates.iter().filter(|rate| rate.offer.is_some())
    }
}

/// What is late with its chains of reasons, and what holds it up. Where things have gone another way than the
/// plan in force, so that it breaks rules by now, its reasons do not hold any more: then the plan's own words
/// stand for each chain.
fn late_and_why(desk: &Desk) -> (Vec<LateRequest>, Vec<HeldUp>) {
    let mut late = late(&desk.floor);
    if late.is_empty() {
        return (late, Vec::new());
    }
    let Some((problem, plan)) = plan_in_force(desk) else {
        return (late, Vec::new());
    };
    if check(&problem, &plan)
        .iter()
        .any(|clash| clash.unit.is_some() && clash.step.is_some())
    {
        return (late, Vec::new());
    }
    let (chains, held_up) = follow(&problem, &plan, MOST_CHAINS);
    let chain_of = |request: &RequestId| chains.get(request).filter(|chain| !chain.is_empty());
    for own in &mut late {
        if let Some(chain) = chain_of(&own.request) {
            own.chain.clone_from(chain);
        }
    }
    (late, held_up)
}

/// What the rows of the Load screen are sorted by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Column {
    /// As the lab folder has them.
    #[default]
    Lab,
    /// By name.
    Rig,
    /// By the least of the trend.
    Min,
    /// By the most of the trend.
    Max,
    /// By the last of the trend.
    Last,
    /// By backlog.
    Backlog,
}

impl Column {
    /// All of them, in the order in which they come up.
    pub const ALL: [Self; 6] = [
        Self::Lab,
        Self::Rig,
        Self::Min,
        Self::Max,
        Self::Last,
        Self::Backlog,
    ];
}

/// The Load screen.
#[derive(Debug)]
pub struct LoadView {
    /// Selected row.
    pub row: usize,
    /// A day of the first column.
    pub first: NaiveDate,
    /// Days or weeks.
    pub grain: Grain,
    /// What the cells show.
    pub measure: Measure,
    /// What the rows are sorted by.
    pub column: Column,
    /// The largest first.
    pub descending: bool,
    /// Of the last weeks and what lies ahead; worked out when it is first asked for.
    near: OnceCell<LoadKnown>,
    /// Of all time; worked out when somebody first looks back further.
    whole: OnceCell<LoadKnown>,
}

impl LoadView {
    /// On a day: the week before it and the days after it are in view.
    pub fn new(today: NaiveDate) -> Self {
        Self {
            row: 0,
            first: today - Days::new(7),
            grain: Grain::Day,
            measure: Measure::InUse,
            column: Column::Lab,
            descending: false,
            near: OnceCell::new(),
            whole: OnceCell::new(),
        }
    }

    /// What is known of the desk's lab at `now`; worked out once until [`LoadView::forget`].
    pub fn known(&self, desk: &Desk, now: Minute) -> &LoadKnown {
        let since = now - NEAR;
        let first = intervals(&desk.lab.zone, self.first, 1, Grain::Day);
        if first.iter().all(|day| day.span.start >= since) {
            self.near.get_or_init(|| LoadKnown::since(desk, now, since))
        } else {
            self.whole.get_or_init(|| LoadKnown::of(desk, now))
        }
    }

    /// The ledger or the minute has changed.
    pub fn forget(&mut self) {
        self.near.take();
        self.whole.take();
    }

    /// The rigs over `count` columns.
    pub fn table(&self, desk: &Desk, now: Minute, count: usize) -> LoadTable {
        let columns = intervals(&desk.lab.zone, self.first, count, self.grain);
        self.known(desk, now).usage.table(&desk.lab, columns)
    }

    /// The rigs over the last twelve columns that are over.
    pub fn trend(&self, desk: &Desk, now: Minute) -> LoadTable {
        let today = self.grain.first(desk.lab.zone.local(now).date());
        let first = today - Days::new(self.grain.days() * TREND as u64);
        let columns = intervals(&desk.lab.zone, first, TREND, self.grain);
        self.known(desk, now).usage.table(&desk.lab, columns)
    }

    /// Places of the rigs in the lab, in the order of the rows.
    pub fn order(&self, trend: &LoadTable) -> Vec<usize> {
        let rows = &trend.rows;
        let figure = |ix: usize| {
            let trend = rows[ix].trend(self.measure);
            let of = |part: fn(crate::usage::table::Trend) -> i64| trend.map_or(-1, part);
            match self.column {
                Column::Lab | Column::Rig => 0,
                Column::Min => of(|own| own.min),
                Column::Max => of(|own| own.max),
                Column::Last => of(|own| own.last),
                Column::Backlog => rows[ix].backlog.get(),
            }
        };
        let mut order: Vec<usize> = (0..rows.len()).collect();
        if self.column == Column::Rig {
            order.sort_by(|a, b| rows[*a].rig.cmp(&rows[*b].rig));
        } else {
            order.sort_by_key(|ix| figure(*ix));
        }
        if self.descending {
            order.reverse();
        }
        order
    }
}
