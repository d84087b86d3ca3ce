//! A week: day by day, rig by rig, what failed, what is late.

use super::shared::{
    events_in, other_events, requests, rigs_figure, rigs_out, verdict_counts, verdicts,
};
use super::stays::stays;
use super::words::{long_date, when};
use super::{Made, days_from, hours, percent};
use crate::app::desk::Desk;
use crate::domain::{Event, EventBody, Minute, Span, Verdict};
use crate::report::paper::{Cell, Grid, Paper, Part, Section};
use crate::usage::table::{Measure, Share};
use crate::usage::{Grain, RigLoad, Usage, intervals};
use chrono::{Datelike, Days, NaiveDate, Weekday};

/// A week from Monday to Sunday, as ISO 8601 counts them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Week {
    monday: NaiveDate,
}

impl Week {
    /// The week in which a day lies.
    pub fn of(date: NaiveDate) -> Self {
        let back = Days::new(date.weekday().num_days_from_monday().into());
        Self {
            monday: date - back,
        }
    }

    /// The week of a text such as `2027-W12`; `None` where it is none, or outside 2000 to 2199.
    pub fn parse(text: &str) -> Option<Self> {
        let (year, week) = text.split_once("-W")?;
        let digits =
            |text: &str, count| text.len() == count && text.bytes().all(|own| own.is_ascii_digit());
        if !digits(year, 4) || !digits(week, 2) {
            return None;
        }
        let year = year.parse().ok().filter(|own| (2000..2200).contains(own))?;
        let monday = NaiveDate::from_isoywd_opt(year, week.parse().ok()?, Weekday::Mon)?;
        Some(Self { monday })
    }

    /// `2027-W12`.
    pub fn name(self) -> String {
        let week = self.monday.iso_week();
        format!("{}-W{:02}", week.year(), week.week())
    }
}

/// The paper of a week.
pub fn week(desk: &Desk, week: Week, made: &Made) -> Paper {
    let now = desk.now();
    let window = days_from(desk, week.monday, 7);
    let events = events_in(desk, window);
    let stays = stays(desk, now, window);
    let days = week.monday.iter_days().take(7);
    let marks = days.map(|day| {
        let start = days_from(desk, day, 1).start;
        (start, day.format("%a %d").to_string())
    });
    let marks: Vec<(Minute, String)> = marks.collect();
    let bad: Vec<&Event> = events
        .iter()
        .copied()
        .filter(|own| {
            matches!(&own.body, EventBody::VerdictGiven { verdict, .. } if *verdict != Verdict::Pass)
        })
        .collect();
    let sections = vec![
        Section::new(
            "Day by day",
            vec![Part::Grid(day_by_day(desk, week.monday, &events))],
        ),
        Section::new(
            "Rigs",
            vec![
                rigs_figure(desk, now, window, marks, &stays),
                Part::Grid(rig_by_rig(desk, now, week.monday)),
            ],
        ),
        Section::new(
            "Failed and held",
            vec![Part::grid_or(
                verdicts(desk, &bad, true),
                "Nothing failed or was held in this week.",
            )],
        ),
        Section::new(
            "Out of use",
            vec![Part::grid_or(
                rigs_out(desk, now, window),
                "No rig is out of use in this week.",
            )],
        ),
        Section::new(
            "Requests",
            vec![
                Part::grid_or(requests(desk, now), "No request is open."),
                Part::grid_or(
                    finished(desk, window),
                    "No request finishes in this week by the plan in force.",
                ),
            ],
        ),
        Section::new(
            "Also recorded",
            vec![Part::grid_or(
                other_events(desk, &events, true),
                "Nothing else was recorded.",
            )],
        ),
    ];
    let sunday = week.monday + Days::new(6);
    Paper {
        title: format!("Week {}", week.name()),
        about: format!("{} to {}.", long_date(week.monday), long_date(sunday)),
        stamp: made.stamp(desk),
        sections,
    }
}

fn day_by_day(desk: &Desk, monday: NaiveDate, events: &[&Event]) -> Grid {
    let row = |day: NaiveDate| {
        let window = days_from(desk, day, 1);
        let today: Vec<&Event> = events
            .iter()
            .copied()
            .filter(|own| window.contains(own.happened) && !desk.floor.voided.contains(&own.seq))
            .collect();
        let count = |kind: fn(&EventBody) -> bool| {
            Cell::number(today.iter().filter(|own| kind(&own.body)).count())
        };
        let [pass, fail, hold] = verdict_counts(desk, &today);
        vec![
            Cell::text(day.format("%a %d %b")),
            count(|body| matches!(body, EventBody::VisitStarted { .. })),
            count(|body| matches!(body, EventBody::VisitEnded { .. })),
            Cell::number(pass),
            Cell::number(fail),
            Cell::number(hold),
            count(|body| matches!(body, EventBody::RigDown { .. })),
            count(|body| matches!(body, EventBody::Correction { .. })),
            count(|body| matches!(body, EventBody::PlanPublished { .. })),
        ]
    };
    Grid {
        caption: "What was recorded, by the day on which it happened".to_owned(),
        head: vec![
            "day",
            "loaded",
            "came out",
            "pass",
            "fail",
            "hold",
            "rigs down",
            "corrections",
            "plans",
        ],
        rows: monday.iter_days().take(7).map(row).collect(),
        lead: 0,
    }
}

fn rig_by_rig(desk: &Desk, now: Minute, monday: NaiveDate) -> Grid {
    let usage = Usage::of(&desk.lab, &desk.walks, &desk.floor, now);
    let table = usage.table(&desk.lab, intervals(&desk.lab.zone, monday, 7, Grain::Day));
    let row = |own: &RigLoad| {
        let total = own.total();
        let mut cells = vec![Cell::text(&own.rig)];
        cells.extend(
            own.cells
                .iter()
                .map(|cell| share(cell.share(Measure::InUse))),
        );
        cells.extend([
            Cell::number(hours(total.occupied())),
            Cell::number(hours(total.out())),
            Cell::number(percent(total.filled_percent())),
        ]);
        cells
    };
    Grid {
        caption:
            "Time with a unit inside, of each day and in hours of the week; what is ahead by the plan in force"
                .to_owned(),
        head: vec![
            "rig", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "in use h", "down h", "filled",
        ],
        rows: table.rows.iter().map(row).collect(),
        lead: 0,
    }
}

fn share(share: Share) -> Cell {
    match share {
        Share::Percent(percent) => Cell::number(format!("{percent} %")),
        Share::Closed => Cell::number("closed"),
        Share::NoData => Cell::number(""),
    }
}

/// Requests that finish in the window by the plan in force.
fn finished(desk: &Desk, window: Span) -> Grid {
    let published = desk.floor.now.published.iter();
    let mut all: Vec<&crate::domain::plan::Finish> = published
        .flat_map(|plan| &plan.finishes)
        .filter(|own| window.contains(own.finish))
        .collect();
    all.sort_by_key(|own| (own.finish, own.request.clone()));
    let row = |own: &&crate::domain::plan::Finish| {
        vec![
            Cell::text(&own.request),
            Cell::text(when(&desk.lab.zone, own.finish)),
            Cell::text(own.flow),
        ]
    };
    Grid {
        caption: "Requests that finish in this week by the plan in force".to_owned(),
        head: vec!["request", "finish", "from ready to finish"],
        rows: all.iter().map(row).collect(),
        lead: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::Week;

    #[test]
    fn weeks_are_those_of_the_standard() {
        let name = |text| Week::parse(text).map(Week::name);
        assert_eq!(name("2027-W12").as_deref(), Some("2027-W12"));
        assert_eq!(name("2026-W53").as_deref(), Some("2026-W53"));
        for none in [
            "2027-W53", "2027-W00", "2027-12", "27-W12", "2027-W1", "2300-W01", "+027-W12",
        ] {
            assert_eq!(name(none), None, "{none}");
        }
        let new_year = crate::lab::parse_date("2027-01-01").map(Week::of);
        assert_eq!(new_year.map(Week::name).as_deref(), Ok("2026-W53"));
    }
}
