//! Days worked out by hand: each state, each cause, DST days, rates.

use super::table::{Grain, Measure, Share, intervals};
use super::*;
use crate::domain::lab::{Length, Loading, Rest, Watch};
use crate::domain::parts::{
    ALL_WEEK, WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use crate::domain::plan::{Booking, Times};
use crate::domain::zone::known::{lisbon, utc};
use crate::domain::{MethodId, PlanId, RequestId, RigId, Seq};
use crate::floor::{Down, Published, VisitRecord};
use chrono::NaiveDate;
use std::collections::HashMap;

/// A lab in UTC with people from 8 to 16 on weekdays: a bench of two positions with looks of an hour, and a press
/// of one whose exposure advances only on shift. Request A of two units walks look and press.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&WORK_WEEK, (8, 0), (16, 0), 1)])];
    let mut bench = rig("bench", &["look"], Loading::Each, 2);
    (bench.load, bench.unload, bench.changeover) =
        (Minutes::new(10), Minutes::new(5), Minutes::new(30));
    let mut press = rig("press", &["press"], Loading::Each, 1);
    press.cycles_per_min = Some(10.0);
    lab.rigs = vec![bench, press];
    let look = method("look", "look", Length::Hold(Minutes::hours(1)));
    let mut slide = method("slide", "press", Length::Cycles(6000));
    (slide.watch, slide.pausable) = (Watch::Site, true);
    for own in [look, slide] {
        lab.methods.insert(own.id.clone(), own);
    }
    let mut after = step("slide");
    after.rest = Rest {
        min: Minutes::hours(2),
        max: None,
    };
    lab.sequences = vec![sequence("both", vec![step("look"), after])];
    lab.requests = vec![request("A", "both", 2, monday(0, 0))];
    lab
}

/// On Monday 1 March 2027, UTC.
fn monday(hour: i64, minute: i64) -> Minute {
    utc("2027-03-01T00:00") + Minutes::new(60 * hour + minute)
}

#[derive(Default)]
struct Scene {
    floor: Floor,
    bookings: Vec<Booking>,
}

impl Scene {
    fn visit(&mut self, unit: &str, step: u32, rig: &str, loaded: Minute, out: Option<Minute>) {
        let visit = VisitRecord {
            rig: RigId::new(rig),
            position: Some(1),
            run: None,
            loaded,
            out,
            started_by: Seq(1),
            ended_by: out.map(|_| Seq(2)),
        };
        let record = self.floor.now.units.entry(UnitId::new(unit)).or_default();
        record.visits.insert(step, visit);
    }

    fn book(&mut self, unit: &str, step: u32, rig: &str, at: [Minute; 5]) {
        let [load, start, end, unload, out] = at;
        self.bookings.push(Booking {
            request: RequestId::new("A"),
            unit: UnitId::new(unit),
            step,
            method: MethodId::new("look"),
            rig: RigId::new(rig),
            position: Some(1),
            run: None,
            times: Times {
                load,
                start,
                end,
                unload,
                out,
            },
            because: "made for a test".to_owned(),
        });
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
            finishes: Vec::new(),
            unplannable: Vec::new(),
        });
        self.floor
    }
}

fn usage(lab: &Lab, scene: Scene, now: Minute) -> Usage {
    Usage::of(lab, &Walks::new(lab), &scene.floor(), now)
}

fn day(from: Minute) -> Span {
    Span::new(from, from + Minutes::DAY)
}

/// The states of a rig on Monday that are not zero.
fn states(usage: &Usage, rig: usize) -> Vec<(State, i64)> {
    let own = usage.rig(rig, day(monday(0, 0)));
    let all = State::ALL.into_iter();
    all.map(|state| (state, own.states[state].get()))
        .filter(|(_, minutes)| *minutes > 0)
        .collect()
}

#[test]
fn a_visit_is_loaded_exposed_waits_and_is_unloaded() {
    let lab = lab();
    let mut scene = Scene::default();
    // Loaded at 9:00, exposed from 9:10 to 10:10, out at 11:00 after five minutes of unloading.
    scene.visit("A/1", 1, "bench", monday(9, 0), Some(monday(11, 0)));
    let own = usage(&lab, scene, monday(24, 0));
    let expected = vec![
        (State::Exposure, 60),
        (State::Loading, 15),
        (State::Waiting, 45),
        // From 8:00 somebody was free; before that nobody was on shift.
        (State::HeldBack, 60),
        (State::NoPeople, 480),
        (State::Idle, 780),
    ];
    assert_eq!(states(&own, 0), expected);
    let minutes = own.rig(0, day(monday(0, 0)));
    assert_eq!(minutes.filled, Minutes::new(120));
    assert_eq!(minutes.open(), Minutes::DAY * 2);
    assert_eq!(minutes.occupied(), Minutes::new(120));
    assert_eq!(minutes.setup(), Minutes::new(15));
}

#[test]
fn an_exposure_pauses_while_its_watch_is_away() {
    let lab = lab();
    let mut scene = Scene::default();
    // 600 minutes: from 14:00 to 16:00, and 480 more from Tuesday 8:00 on.
    scene.visit("A/1", 2, "press", monday(14, 0), Some(monday(40, 0)));
    let own = usage(&lab, scene, monday(48, 0));
    let expected = vec![
        (State::Exposure, 120),
        (State::Paused, 480),
        (State::HeldBack, 360),
        (State::NoPeople, 480),
    ];
    assert_eq!(states(&own, 1), expected);
    let tuesday = own.rig(1, day(monday(24, 0)));
    assert_eq!(tuesday.states[State::Exposure], Minutes::new(480));
    assert_eq!(tuesday.states[State::Paused], Minutes::new(480));
    assert_eq!(tuesday.states[State::Waiting], Minutes::ZERO);
}

#[test]
fn down_and_calibration_count_before_anything_else() {
    let mut lab = lab();
    let noon = Span::new(monday(12, 0), monday(13, 0));
    lab.outages = vec![outage("press", noon)];
    lab.outages
        .push(outage("press", Span::new(monday(12, 30), monday(14, 0))));
    "Calibration by the maker".clone_into(&mut lab.outages[1].reason);
    lab.rigs[0].calibration_due = NaiveDate::from_ymd_opt(2027, 2, 28);
    let mut scene = Scene::default();
    scene.visit("A/1", 2, "press", monday(8, 0), None);
    let down = Down {
        since: monday(15, 0),
        reason: "belt".to_owned(),
        until: Some(monday(15, 30)),
        seq: Seq(3),
    };
    let record = scene.floor.now.rigs.entry(RigId::new("press")).or_default();
    record.faults = vec![down];
    record.repairs = vec![(monday(9, 0), monday(9, 20), "belt".to_owned())];
    let own = usage(&lab, scene, monday(15, 10));
    let press = states(&own, 1);
    assert_eq!(
        press[..2],
        [(State::Down, 60 + 30 + 20), (State::Calibration, 60)]
    );
    let minutes = own.rig(1, day(monday(0, 0)));
    assert_eq!(minutes.calendar(), Minutes::DAY);
    assert_eq!(states(&own, 0), [(State::Calibration, 1440)]);
    assert_eq!(own.rig(0, day(monday(0, 0))).filled_percent(), None);
}

#[test]
fn a_changeover_lies_before_a_load_with_another_fixture() {
    let mut lab = lab();
    let mut other = request("B", "both", 1, monday(0, 0));
    other.product = "hinge".to_owned();
    lab.requests.push(other);
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(8, 0), Some(monday(9, 15)));
    scene.visit("A/2", 1, "bench", monday(10, 0), Some(monday(11, 15)));
    scene.visit("B/1", 1, "bench", monday(11, 35), Some(monday(12, 50)));
    let own = usage(&lab, scene, monday(24, 0));
    // Twenty of thirty minutes have room between the latch and the hinge; between two latches none is needed.
    let changeover = own.rig(0, day(monday(0, 0))).states[State::Changeover];
    assert_eq!(changeover, Minutes::new(20));
}

#[test]
fn a_rig_starves_of_units_while_its_work_is_elsewhere_or_rests() {
    let lab = lab();
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(8, 0), Some(monday(9, 15)));
    // The rest of two hours ends at 11:15; the unit is loaded at 12:00.
    let times = [12, 12, 15, 15, 15].map(|hour| monday(hour, 0));
    scene.book("A/1", 2, "press", times);
    let own = usage(&lab, scene, monday(10, 0));
    let expected = vec![
        (State::Exposure, 180),
        (State::HeldBack, 45),
        (State::NoUnits, 11 * 60 + 15),
        (State::Idle, 540),
    ];
    assert_eq!(states(&own, 1), expected);
}

#[test]
fn what_is_booked_counts_from_now_on_until_it_starts() {
    let lab = lab();
    let booked = |now| {
        let mut scene = Scene::default();
        let times = [8, 8, 18, 18, 18].map(|hour| monday(hour, 0));
        scene.book("A/1", 1, "bench", times);
        scene.book("A/2", 1, "bench", times);
        let own = usage(&lab, scene, now);
        let minutes = own.rig(0, day(monday(0, 0)));
        (
            minutes.occupied().get(),
            minutes.filled.get(),
            own.backlog(&lab)[0].get(),
        )
    };
    // Twenty hours of single positions are ten of a rig with both filled.
    assert_eq!(booked(monday(6, 0)), (600, 1200, 600));
    assert_eq!(booked(monday(12, 0)), (360, 720, 360));
    assert_eq!(booked(monday(20, 0)), (0, 0, 0));
}

#[test]
fn people_are_busy_with_loads_unloads_and_full_watches() {
    let mut lab = lab();
    let look = lab
        .methods
        .get_mut(&MethodId::new("look"))
        .expect("it is there");
    look.watch = Watch::Full;
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(9, 0), Some(monday(11, 0)));
    let own = usage(&lab, scene, monday(24, 0));
    let minutes = own.crew(0, day(monday(0, 0)));
    assert_eq!(
        (minutes.on_shift, minutes.hands_on),
        (Minutes::hours(8), Minutes::new(75))
    );
    assert_eq!(minutes.percent(), Some(15));
    assert_eq!(own.crew(0, day(utc("2027-03-06T00:00"))).percent(), None);
}

#[test]
fn units_behind_one_door_take_one_person_and_stand_ready_together() {
    let mut lab = lab();
    lab.rigs[0].loading = Loading::Together;
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(9, 0), Some(monday(10, 15)));
    scene.visit("A/2", 1, "bench", monday(9, 0), Some(monday(10, 15)));
    let own = usage(&lab, scene, monday(24, 0));
    assert_eq!(own.crew(0, day(monday(0, 0))).hands_on, Minutes::new(15));
    let minutes = own.rig(0, day(monday(0, 0)));
    assert_eq!(minutes.taken_percent(), Some(75 * 100 / 1440));
    assert_eq!(minutes.filled, Minutes::new(150));
}

#[test]
fn a_request_adds_up_to_touch_and_waits_by_cause() {
    let mut lab = lab();
    lab.outages = vec![outage("press", Span::new(monday(12, 0), monday(12, 30)))];
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(9, 0), Some(monday(10, 15)));
    scene.visit("A/1", 2, "press", monday(13, 0), Some(monday(37, 0)));
    let own = usage(&lab, scene, monday(48, 0));
    let all = own.requests(&lab);
    assert_eq!((all.len(), all[0].units), (1, 1));
    let causes = Cause::ALL.map(|cause| all[0][cause].get());
    // Closed until 8, free people unused until 9; 75 minutes of look; two hours of rest; half an hour of other
    // (12:15 is within the outage), the outage, half an hour of other; 180 minutes, closed to Tuesday 8:00,
    // 300 minutes: 480 of 600 advance, and all of them are touch.
    let touch = 75 + 180 + 300;
    assert_eq!(causes, [touch, 0, 120, 15, 0, 480 + 960, 0, 60 + 30]);
    assert_eq!(all[0].total(), monday(37, 0) - monday(0, 0));
}

#[test]
fn a_unit_waits_for_a_rig_that_is_full_and_for_people_who_are_busy() {
    let mut lab = lab();
    lab.rigs[0].positions = 1;
    let mut scene = Scene::default();
    scene.visit("A/1", 1, "bench", monday(8, 0), Some(monday(10, 0)));
    scene.visit("A/2", 1, "bench", monday(10, 0), Some(monday(11, 15)));
    let own = usage(&lab, scene, monday(48, 0));
    let all = own.requests(&lab);
    // A/1 waits 45 minutes in its rig though somebody is free; A/2 waits two hours for the rig.
    let of = |cause: Cause| all[0][cause].get();
    assert_eq!(
        (of(Cause::Rig), of(Cause::Other), of(Cause::Crew)),
        (120, 45, 0)
    );
    assert_eq!(of(Cause::Closed), 960);
}

#[test]
fn the_days_of_the_changes_are_23_and_25_hours_long() {
    let mut lab = lab();
    lab.zone = lisbon();
    let mut scene = Scene::default();
    // From 23:00 on Saturday to 06:00 on Monday by the clock: 1 + 23 + 6 hours.
    let (from, to) = (utc("2027-03-27T23:00"), utc("2027-03-29T05:00"));
    scene.visit("A/1", 1, "bench", from, Some(to));
    let own = usage(&lab, scene, utc("2027-03-30T00:00"));
    let date = |month, day| NaiveDate::from_ymd_opt(2027, month, day).expect("a date");
    let days = intervals(&lab.zone, date(3, 27), 3, Grain::Day);
    let table = own.table(&lab, days);
    let cells = table.rows[0].cells.iter();
    let got: Vec<(i64, i64)> = cells
        .map(|cell| (cell.minutes.calendar().get(), cell.minutes.occupied().get()))
        .collect();
    assert_eq!(got, [(1440, 60), (1380, 1380), (1440, 360)]);
    assert_eq!(
        table.rows[0].cells[1].share(Measure::InUse),
        Share::Percent(100)
    );
    assert_eq!(
        table.rows[0].cells[1].share(Measure::Filled),
        Share::Percent(50)
    );
    // Nothing was in the press on Sunday, and nobody there.
    assert_eq!(table.rows[1].cells[1].share(Measure::InUse), Share::Closed);
    let autumn = intervals(&lab.zone, date(10, 31), 1, Grain::Day);
    assert_eq!(autumn[0].span.length(), Minutes::new(1500));
    let week = intervals(&lab.zone, date(10, 31), 2, Grain::Week);
    assert_eq!(week[0].first, date(10, 25));
    assert_eq!(week[0].span.length(), Minutes::DAY * 7 + Minutes::hours(1));
    assert_eq!(
        own.table(&lab, autumn).rows[0].cells[0].share(Measure::InUse),
        Share::NoData
    );
}

#[test]
fn a_rate_is_offered_where_enough_visits_say_so_and_somebody_was_there() {
    let mut lab = lab();
    lab.crews[0].shifts = vec![shift(&ALL_WEEK, (0, 0), (0, 0), 1)];
    lab.requests = vec![request("A", "both", 6, monday(0, 0))];
    let rates = |units: i64, minutes: i64, lab: &Lab| {
        let mut scene = Scene::default();
        for unit in 0..units {
            let load = monday(24 * unit, 0);
            let out = load + Minutes::new(minutes + unit);
            scene.visit(&format!("A/{}", unit + 1), 2, "press", load, Some(out));
        }
        usage(lab, scene, monday(24 * 9, 0)).rates(lab)
    };
    // 6000 cycles at 10 a minute are 600 minutes; they took 660 to 665.
    let own = rates(6, 660, &lab);
    assert_eq!((own.len(), own[0].visits, own[0].planned), (1, 6, 600.0));
    assert!((own[0].median - 662.5 / 600.0).abs() < 1e-9);
    let offer = own[0].offer.clone();
    assert_eq!(
        offer,
        Some(rates::Offer::CyclesPerMinute {
            written: 10.0,
            found: 9.06
        })
    );
    assert_eq!(
        rates(4, 660, &lab)[0].offer,
        None,
        "four visits are too few"
    );
    assert_eq!(
        rates(6, 598, &lab)[0].offer,
        None,
        "they agree with the plan"
    );
    // With people only from 16 to 18 nobody was there when the exposures ended at 10:00.
    lab.crews[0].shifts = vec![shift(&WORK_WEEK, (16, 0), (18, 0), 1)];
    lab.methods
        .get_mut(&MethodId::new("slide"))
        .expect("it is there")
        .watch = Watch::None;
    assert_eq!(rates(6, 660, &lab), []);
}
