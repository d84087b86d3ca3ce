//! Time and fill of rigs by local day, the backlog, and what is late and why. Pure.
//!
//! Up to now what happened counts, from now on the plan in force. Every minute of a day is in use, down or
//! idle, so that the three add up to the day, whose length a change of the clocks alters.

pub mod forecast;

use crate::domain::lab::{Lab, Rig};
use crate::domain::{Booking, Minute, Minutes, RequestId, RigId, Span};
use crate::floor::Floor;
use crate::problem::OnTime;
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// How rigs are used over some days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoadTable {
    /// Local days, one after another.
    pub days: Vec<NaiveDate>,
    /// One row a rig, in the order of the lab.
    pub rows: Vec<RigLoad>,
    /// Requests that finish late by the plan in force, the latest first.
    pub late: Vec<LateRequest>,
}

/// A rig's row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RigLoad {
    /// The rig.
    pub rig: RigId,
    /// How many units it holds.
    pub positions: u32,
    /// One cell a day.
    pub cells: Vec<Cell>,
    /// Booked work that has not started, as time of one rig with all positions filled.
    pub backlog: Minutes,
}

/// A rig on a day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// Minutes of the local day.
    pub calendar: Minutes,
    /// With at least one unit inside, and not down.
    pub in_use: Minutes,
    /// Out of use: planned outage, reported down, past its calibration.
    pub down: Minutes,
    /// Minutes of single positions with a unit in them, and not down.
    pub filled: Minutes,
}

/// A request that finishes late by the plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateRequest {
    /// The request.
    pub request: RequestId,
    /// When it finishes.
    pub finish: Minute,
    /// How late.
    pub late: Minutes,
    /// The booking that waits longest, with its reason, where the plan has one ahead.
    pub cause: Option<Booking>,
}

impl Cell {
    /// Minutes in which the rig stood ready and empty.
    pub fn idle(&self) -> Minutes {
        self.calendar - self.in_use - self.down
    }

    /// Time in use in percent of the day.
    pub fn in_use_percent(&self) -> i64 {
        percent(self.in_use, self.calendar)
    }

    /// Positions filled in percent of what the day offers outside down time.
    pub fn filled_percent(&self, positions: u32) -> i64 {
        percent(
            self.filled,
            (self.calendar - self.down) * i64::from(positions),
        )
    }
}

fn percent(part: Minutes, whole: Minutes) -> i64 {
    if whole <= Minutes::ZERO {
        0
    } else {
        part.get() * 100 / whole.get()
    }
}

impl RigLoad {
    /// The sum of its cells.
    pub fn total(&self) -> Cell {
        let add = |a: Cell, b: &Cell| Cell {
            calendar: a.calendar + b.calendar,
            in_use: a.in_use + b.in_use,
            down: a.down + b.down,
            filled: a.filled + b.filled,
        };
        self.cells.iter().fold(Cell::default(), add)
    }
}

impl LoadTable {
    /// The rig whose positions are filled most over these days; `None` where nothing is in use.
    pub fn bottleneck(&self) -> Option<&RigLoad> {
        let filled = |row: &&RigLoad| row.total().filled_percent(row.positions);
        self.rows
            .iter()
            .max_by_key(filled)
            .filter(|row| filled(row) > 0)
    }
}

/// How rigs are used on `count` local days from `first` on.
pub fn load(lab: &Lab, floor: &Floor, now: Minute, first: NaiveDate, count: u32) -> LoadTable {
    let days: Vec<NaiveDate> = first.iter_days().take(count as usize).collect();
    let mut stays: BTreeMap<&RigId, Vec<Span>> = BTreeMap::new();
    let mut backlog: BTreeMap<&RigId, Minutes> = BTreeMap::new();
    for (unit, record) in &floor.now.units {
        for (step, visit) in &record.visits {
            let booked = floor
                .booking(unit, *step)
                .filter(|own| own.rig == visit.rig);
            let out = visit
                .out
                .unwrap_or_else(|| booked.map_or(now, |own| own.times.out).max(now));
            stays
                .entry(&visit.rig)
                .or_default()
                .push(Span::new(visit.loaded, out));
        }
    }
    for own in floor.now.published.iter().flat_map(|plan| &plan.bookings) {
        let record = floor.now.units.get(&own.unit);
        if record.is_some_and(|record| record.visits.contains_key(&own.step)) {
            continue;
        }
        // What has not started by now was not in use before now.
        let ahead = Span::new(own.times.load.max(now), own.times.out);
        stays.entry(&own.rig).or_default().push(ahead);
        *backlog.entry(&own.rig).or_default() += own.times.stay().length();
    }
    let row = |rig: &Rig| {
        let own = stays.get(&rig.id).map_or(&[][..], Vec::as_slice);
        let work = backlog.get(&rig.id).copied().unwrap_or_default();
        RigLoad {
            rig: rig.id.clone(),
            positions: rig.positions,
            cells: cells(lab, floor, rig, own, now, &days),
            backlog: Minutes::new(work.get() / i64::from(rig.positions)),
        }
    };
    LoadTable {
        rows: lab.rigs.iter().map(row).collect(),
        late: late(floor),
        days,
    }
}

fn cells(
    lab: &Lab,
    floor: &Floor,
    rig: &Rig,
    stays: &[Span],
    now: Minute,
    days: &[NaiveDate],
) -> Vec<Cell> {
    let down = OnTime::new(down(lab, floor, rig, now));
    let used = OnTime::new(stays.to_vec());
    let cell = |day: &NaiveDate| {
        let start = lab.zone.edge(*day, chrono::NaiveTime::MIN);
        let end = lab.zone.edge(*day + Days::new(1), chrono::NaiveTime::MIN);
        let day = Span::new(start, end);
        let stays_today = stays.iter().map(|stay| stay.meet(day));
        Cell {
            calendar: day.length(),
            in_use: used.within(day).map(|piece| up_in(&down, piece)).sum(),
            down: down.within(day).map(Span::length).sum(),
            filled: stays_today
                .filter(|piece| !piece.is_empty())
                .map(|piece| up_in(&down, piece))
                .sum(),
        }
    };
    days.iter().map(cell).collect()
}

/// Minutes of `span` in which the rig is not down.
fn up_in(down: &OnTime, span: Span) -> Minutes {
    span.length() - (down.count_before(span.end) - down.count_before(span.start))
}

/// When a rig is out of use: as planned, as reported, and after its calibration.
fn down(lab: &Lab, floor: &Floor, rig: &Rig, now: Minute) -> Vec<Span> {
    let outages = lab.outages.iter().filter(|own| own.rig == rig.id);
    let mut spans: Vec<Span> = outages.map(|own| own.span).collect();
    if let Some(record) = floor.now.rigs.get(&rig.id) {
        spans.extend(
            record
                .repairs
                .iter()
                .map(|(from, to, _)| Span::new(*from, *to)),
        );
        if let Some(down) = &record.down {
            spans.push(Span::new(down.since, down.back(now).0));
        }
    }
    if let Some(date) = rig.calibration_due {
        spans.push(Span::new(lab.zone.end_of_day(date), Minute::LAST));
    }
    spans
}

fn late(floor: &Floor) -> Vec<LateRequest> {
    let Some(published) = &floor.now.published else {
        return Vec::new();
    };
    let late = published
        .finishes
        .iter()
        .filter(|own| own.late > Minutes::ZERO);
    let mut all: Vec<LateRequest> = late
        .map(|own| LateRequest {
            request: own.request.clone(),
            finish: own.finish,
            late: own.late,
            cause: longest_wait(&published.bookings, &own.request),
        })
        .collect();
    all.sort_by_key(|own| (-own.late.get(), own.request.clone()));
    all
}

/// The booking of the request that lies longest after the step before it came out.
fn longest_wait(bookings: &[Booking], request: &RequestId) -> Option<Booking> {
    let own: Vec<&Booking> = bookings
        .iter()
        .filter(|own| own.request == *request)
        .collect();
    let wait = |booking: &&&Booking| {
        let before = own
            .iter()
            .find(|other| other.unit == booking.unit && other.step + 1 == booking.step);
        before.map_or(Minutes::ZERO, |before| {
            booking.times.load - before.times.out
        })
    };
    own.iter()
        .max_by_key(wait)
        .map(|booking| (*booking).clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::Loading;
    use crate::domain::parts::{empty_lab, outage, rig};
    use crate::domain::plan::{Finish, Times};
    use crate::domain::zone::known::{lisbon, utc};
    use crate::domain::{MethodId, PlanId, Seq, UnitId};
    use crate::floor::{Down, Published, RigRecord, UnitRecord, VisitRecord};
    use proptest::prelude::*;
    use std::collections::HashMap;

    /// Two rigs in Lisbon, of two positions and one.
    fn lab() -> Lab {
        let mut lab = empty_lab();
        lab.zone = lisbon();
        lab.rigs = vec![
            rig("bench", &["look"], Loading::Each, 2),
            rig("press", &["press"], Loading::Each, 1),
        ];
        lab
    }

    fn date(text: &str) -> NaiveDate {
        lisbon().local(utc(&format!("{text}T12:00"))).date()
    }

    fn span(from: &str, until: &str) -> Span {
        Span::new(utc(from), utc(until))
    }

    /// A floor where `units` each have at most a started visit and a booking of step 1.
    #[derive(Default)]
    struct Scene {
        floor: Floor,
        bookings: Vec<Booking>,
        finishes: Vec<Finish>,
    }

    impl Scene {
        fn visit(&mut self, unit: &str, rig: &str, loaded: Minute, out: Option<Minute>) {
            let visit = VisitRecord {
                rig: RigId::new(rig),
                position: Some(1),
                run: None,
                loaded,
                out,
                started_by: Seq(1),
                ended_by: out.map(|_| Seq(2)),
            };
            let record = self.floor.now.units.entry(UnitId::new(unit));
            let record: &mut UnitRecord = record.or_default();
            record.visits.insert(1, visit);
        }

        fn book(&mut self, unit: &str, step: u32, rig: &str, stay: Span) {
            self.bookings.push(Booking {
                request: RequestId::new("A"),
                unit: UnitId::new(unit),
                step,
                method: MethodId::new("look"),
                rig: RigId::new(rig),
                position: Some(1),
                run: None,
                times: Times {
                    load: stay.start,
                    start: stay.start,
                    end: stay.end,
                    unload: stay.end,
                    out: stay.end,
                },
                because: format!("reason of {unit} {step}"),
            });
        }

        fn rig(&mut self, rig: &str) -> &mut RigRecord {
            self.floor.now.rigs.entry(RigId::new(rig)).or_default()
        }

        fn floor(mut self) -> Floor {
            let place = |(ix, own): (usize, &Booking)| ((own.unit.clone(), own.step), ix);
            let by_step: HashMap<_, _> = self.bookings.iter().enumerate().map(place).collect();
            self.floor.now.published = Some(Published {
                plan: PlanId::new("P-1"),
                seq: Seq(1),
                at: Minute::new(0),
                cost: 0,
                bound: None,
                bookings: self.bookings,
                by_step,
                finishes: self.finishes,
                unplannable: Vec::new(),
            });
            self.floor
        }
    }

    fn minutes(cell: &Cell) -> [i64; 4] {
        [cell.calendar, cell.in_use, cell.down, cell.filled].map(Minutes::get)
    }

    #[test]
    fn the_days_of_the_changes_are_23_and_25_hours_long() {
        let days = |first: &str| {
            let table = load(
                &lab(),
                &Floor::default(),
                utc("2027-01-01T00:00"),
                date(first),
                3,
            );
            let row = &table.rows[0];
            let cells: Vec<i64> = row.cells.iter().map(|own| own.calendar.get()).collect();
            assert_eq!(row.total().calendar.get(), cells.iter().sum::<i64>());
            cells
        };
        assert_eq!(days("2027-03-27"), [1440, 1380, 1440]);
        assert_eq!(days("2027-10-30"), [1440, 1500, 1440]);
    }

    #[test]
    fn a_stay_over_the_change_counts_on_each_local_day() {
        let mut scene = Scene::default();
        // From 23:00 on Saturday to 06:00 on Monday by the clock: 1 + 23 + 6 hours.
        let stay = span("2027-03-27T23:00", "2027-03-29T05:00");
        scene.visit("A/1", "bench", stay.start, Some(stay.end));
        let now = utc("2027-03-30T00:00");
        let table = load(&lab(), &scene.floor(), now, date("2027-03-27"), 3);
        let cells: Vec<[i64; 4]> = table.rows[0].cells.iter().map(minutes).collect();
        assert_eq!(
            cells,
            [
                [1440, 60, 0, 60],
                [1380, 1380, 0, 1380],
                [1440, 360, 0, 360]
            ]
        );
        assert_eq!(table.rows[0].cells[1].in_use_percent(), 100);
        assert_eq!(table.rows[0].cells[1].filled_percent(2), 50);
        assert_eq!(
            table.bottleneck().map(|row| row.rig.as_str()),
            Some("bench")
        );
        assert_eq!(table.rows[1].total().in_use, Minutes::ZERO);
    }

    #[test]
    fn time_down_is_neither_in_use_nor_filled() {
        let mut scene = Scene::default();
        scene.visit("A/1", "press", utc("2027-03-02T00:00"), None);
        let down = Down {
            since: utc("2027-03-02T08:00"),
            reason: "belt".to_owned(),
            until: Some(utc("2027-03-02T20:00")),
            seq: Seq(3),
        };
        scene.rig("press").down = Some(down);
        scene.book(
            "A/1",
            1,
            "press",
            span("2027-03-02T00:00", "2027-03-03T00:00"),
        );
        let now = utc("2027-03-02T12:00");
        let table = load(&lab(), &scene.floor(), now, date("2027-03-02"), 1);
        let cell = table.rows[1].cells[0];
        assert_eq!(minutes(&cell), [1440, 720, 720, 720]);
        assert_eq!((cell.in_use_percent(), cell.filled_percent(1)), (50, 100));
        assert_eq!(cell.idle(), Minutes::ZERO);
    }

    #[test]
    fn what_is_booked_counts_from_now_on_until_it_starts() {
        let mut scene = Scene::default();
        let stay = span("2027-03-02T08:00", "2027-03-02T18:00");
        scene.book("A/1", 1, "bench", stay);
        scene.book("A/2", 1, "bench", stay);
        let floor = scene.floor();
        let on = |now: &str| {
            let table = load(&lab(), &floor, utc(now), date("2027-03-02"), 1);
            let row = &table.rows[0];
            (minutes(&row.cells[0]), row.backlog.get())
        };
        // Twenty hours of single positions are ten of a rig with both filled.
        assert_eq!(on("2027-03-01T00:00"), ([1440, 600, 0, 1200], 600));
        // Nobody has loaded them by noon: the morning was idle.
        assert_eq!(on("2027-03-02T12:00"), ([1440, 360, 0, 720], 600));
        assert_eq!(on("2027-03-02T18:00"), ([1440, 0, 0, 0], 600));
    }

    #[test]
    fn what_runs_counts_until_its_booked_end_or_now() {
        let mut scene = Scene::default();
        scene.visit("A/1", "press", utc("2027-03-02T09:00"), None);
        scene.book(
            "A/1",
            1,
            "press",
            span("2027-03-02T08:00", "2027-03-02T18:00"),
        );
        let floor = scene.floor();
        let on = |now: &str| {
            let table = load(&lab(), &floor, utc(now), date("2027-03-02"), 1);
            let row = &table.rows[1];
            (row.cells[0].in_use.get(), row.backlog.get())
        };
        assert_eq!(on("2027-03-02T12:00"), (540, 0));
        assert_eq!(on("2027-03-02T20:00"), (660, 0));
    }

    #[test]
    fn a_rig_past_its_calibration_or_repaired_was_down() {
        let mut lab = lab();
        lab.rigs[1].calibration_due = Some(date("2027-03-28"));
        lab.outages = vec![outage(
            "press",
            span("2027-03-27T06:00", "2027-03-27T08:00"),
        )];
        let mut scene = Scene::default();
        let (from, to) = (utc("2027-03-27T07:00"), utc("2027-03-27T09:00"));
        scene.rig("press").repairs = vec![(from, to, "belt".to_owned())];
        let now = utc("2027-03-27T12:00");
        let table = load(&lab, &scene.floor(), now, date("2027-03-27"), 3);
        let down: Vec<i64> = table.rows[1]
            .cells
            .iter()
            .map(|own| own.down.get())
            .collect();
        assert_eq!(down, [180, 0, 1440]);
    }

    #[test]
    fn late_requests_come_latest_first_with_their_longest_wait() {
        let mut scene = Scene::default();
        scene.book(
            "A/1",
            1,
            "bench",
            span("2027-03-02T08:00", "2027-03-02T09:00"),
        );
        scene.book(
            "A/1",
            2,
            "press",
            span("2027-03-02T12:00", "2027-03-02T13:00"),
        );
        scene.book(
            "A/1",
            3,
            "bench",
            span("2027-03-02T14:00", "2027-03-02T15:00"),
        );
        let finish = |request: &str, late| Finish {
            request: RequestId::new(request),
            finish: utc("2027-03-02T15:00"),
            late: Minutes::new(late),
            flow: Minutes::new(600),
        };
        scene.finishes = vec![finish("A", 5), finish("B", 0), finish("C", 60)];
        let now = utc("2027-03-01T00:00");
        let table = load(&lab(), &scene.floor(), now, date("2027-03-02"), 1);
        let late: Vec<(&str, i64, Option<&str>)> = table
            .late
            .iter()
            .map(|own| {
                let cause = own.cause.as_ref().map(|own| own.because.as_str());
                (own.request.as_str(), own.late.get(), cause)
            })
            .collect();
        assert_eq!(late, [("C", 60, None), ("A", 5, Some("reason of A/1 2"))]);
        assert!(
            load(&lab(), &Floor::default(), now, date("2027-03-02"), 1)
                .late
                .is_empty()
        );
    }

    /// Where a random stay lies: on a rig, from a minute on, that long.
    #[derive(Clone, Debug)]
    struct Piece {
        rig: usize,
        from: i64,
        length: i64,
    }

    /// Minutes of four days around one of the two changes.
    const WINDOW: i64 = 4 * 1440;

    fn piece() -> impl Strategy<Value = Piece> {
        (0..2_usize, -600..WINDOW, 1..2000_i64).prop_map(|(rig, from, length)| Piece {
            rig,
            from,
            length,
        })
    }

    const RIGS: [&str; 2] = ["bench", "press"];

    /// What the table must say, and what was put into it, minute by minute.
    #[derive(Default)]
    struct Slow {
        /// Stays and times down by rig.
        stays: [Vec<Span>; 2],
        down: [Vec<Span>; 2],
    }

    impl Slow {
        fn cell(&self, rig: usize, day: Span) -> [i64; 4] {
            let mut cell = [day.length().get(), 0, 0, 0];
            for minute in day.start.get()..day.end.get() {
                let at = Minute::new(minute);
                let inside = self.stays[rig].iter().filter(|own| own.contains(at));
                let inside = i64::try_from(inside.count()).expect("a few");
                if self.down[rig].iter().any(|own| own.contains(at)) {
                    cell[2] += 1;
                } else {
                    cell[1] += i64::from(inside > 0);
                    cell[3] += inside;
                }
            }
            cell
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn in_use_down_and_idle_are_the_whole_of_every_day(
            (in_march, now) in (any::<bool>(), 0..WINDOW),
            over in prop::collection::vec(piece(), 0..6),
            running in prop::collection::vec((piece(), any::<bool>()), 0..4),
            booked in prop::collection::vec(piece(), 0..6),
            outages in prop::collection::vec(piece(), 0..3),
            repairs in prop::collection::vec(piece(), 0..3),
            is_down in any::<Option<bool>>(),
            calibrated in prop::option::of(0..4_u64),
        ) {
            let first = date(if in_march { "2027-03-26" } else { "2027-10-29" });
            let mut lab = lab();
            let origin = lab.zone.edge(first, chrono::NaiveTime::MIN);
            let now = origin + Minutes::new(now);
            let at = |own: &Piece| {
                let from = origin + Minutes::new(own.from);
                Span::new(from, from + Minutes::new(own.length))
            };
            let (mut scene, mut slow) = (Scene::default(), Slow::default());
            for (ix, own) in over.iter().enumerate() {
                let stay = at(own);
                scene.visit(&format!("over-{ix}"), RIGS[own.rig], stay.start, Some(stay.end));
                slow.stays[own.rig].push(stay);
            }
            for (ix, (own, has_booking)) in running.iter().enumerate() {
                let (unit, stay) = (format!("running-{ix}"), at(own));
                scene.visit(&unit, RIGS[own.rig], stay.start, None);
                if *has_booking {
                    scene.book(&unit, 1, RIGS[own.rig], stay);
                }
                let out = if *has_booking { stay.end.max(now) } else { now };
                slow.stays[own.rig].push(Span::new(stay.start, out));
            }
            for (ix, own) in booked.iter().enumerate() {
                let stay = at(own);
                scene.book(&format!("booked-{ix}"), 1, RIGS[own.rig], stay);
                slow.stays[own.rig].push(Span::new(stay.start.max(now), stay.end));
            }
            for own in &outages {
                lab.outages.push(outage(RIGS[own.rig], at(own)));
                slow.down[own.rig].push(at(own));
            }
            for own in &repairs {
                let span = at(own);
                let repair = (span.start, span.end, "belt".to_owned());
                scene.rig(RIGS[own.rig]).repairs.push(repair);
                slow.down[own.rig].push(span);
            }
            if let Some(has_end) = is_down {
                let since = now - Minutes::hours(5);
                let until = has_end.then(|| now + Minutes::hours(7));
                let (reason, seq) = ("belt".to_owned(), Seq(9));
                scene.rig("press").down = Some(Down { since, reason, until, seq });
                let back = until.unwrap_or(now + Minutes::DAY);
                slow.down[1].push(Span::new(since, back));
            }
            if let Some(days) = calibrated {
                let last = first + Days::new(days);
                lab.rigs[0].calibration_due = Some(last);
                slow.down[0].push(Span::new(lab.zone.end_of_day(last), Minute::LAST));
            }
            let table = load(&lab, &scene.floor(), now, first, 4);
            prop_assert_eq!(table.days.len(), 4);
            for (rig, row) in table.rows.iter().enumerate() {
                for (day, cell) in table.days.iter().zip(&row.cells) {
                    let before = day.pred_opt().expect("a day before");
                    let whole = Span::new(lab.zone.end_of_day(before), lab.zone.end_of_day(*day));
                    prop_assert_eq!(minutes(cell), slow.cell(rig, whole), "{} {}", row.rig, day);
                    prop_assert!(cell.idle() >= Minutes::ZERO);
                    prop_assert_eq!(cell.in_use + cell.down + cell.idle(), whole.length());
                }
            }
            let long = if in_march { [1440, 1440, 1380, 1440] } else { [1440, 1440, 1500, 1440] };
            let calendar: Vec<i64> = table.rows[0].cells.iter().map(|own| own.calendar.get()).collect();
            prop_assert_eq!(calendar, long);
        }
    }
}
