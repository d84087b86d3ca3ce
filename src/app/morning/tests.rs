//! An invented night in a small lab, told in the morning.

use super::{Item, Kind};
use crate::app::desk::{Desk, Opening};
use crate::app::view::View;
use crate::clock::{Clock, FakeClock};
use crate::domain::lab::{Lab, Length, Loading, Rest};
use crate::domain::parts::{
    ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
};
use crate::domain::zone::known::utc;
use crate::domain::{Actor, Minute, Minutes, RigId, UnitId, Verdict, Zone};
use crate::ledger::{Env, Ids, MemoryLedger, Outcome};
use crate::planner::Rounds;
use std::sync::Arc;

/// Looks and a heat of 16 hours, after which a unit must be looked at within 4.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (6, 0), (22, 0), 2)])];
    let mut bench = rig("bench", &["look"], Loading::Each, 4);
    bench.calibration_due = Some(utc("2027-03-05T12:00")).map(|at| Zone::utc().local(at).date());
    lab.rigs = vec![
        bench,
        rig("oven", &["heat"], Loading::Together, 4),
        rig("spare", &["look"], Loading::Each, 1),
    ];
    let mut look = method("look", "look", Length::Hold(Minutes::new(30)));
    look.verdict = true;
    let mut heat = method("heat", "heat", Length::Hold(Minutes::hours(16)));
    heat.max_wait = Some(Minutes::hours(6));
    for own in [look, heat] {
        lab.methods.insert(own.id.clone(), own);
    }
    let mut after = step("look");
    after.rest = Rest {
        min: Minutes::ZERO,
        max: Some(Minutes::hours(4)),
    };
    lab.sequences = vec![sequence("s", vec![step("look"), step("heat"), after])];
    lab.requests = vec![request("A", "s", 3, utc("2027-03-01T06:00"))];
    lab
}

struct Night {
    desk: Desk,
    clock: Arc<FakeClock>,
}

impl Night {
    /// The lab on Monday at 07:00, planned and published.
    fn begun(lab: Lab) -> Self {
        let clock = Arc::new(FakeClock::at(utc("2027-03-01T07:00")));
        let env = Env {
            clock: clock.clone(),
            ids: Ids::seeded(1),
            site: "test".to_owned(),
            zone: Zone::utc(),
            heads: None,
        };
        let text = |text: &str| text.to_owned();
        let desk = Desk::open(Opening {
            lab,
            ledger: Box::new(MemoryLedger::new(env)),
            clock: clock.clone(),
            ids: Ids::seeded(2),
            actor: Actor {
                uid: 1,
                login: text("ines"),
                person: text("Ines"),
                host: text("bench"),
                session: text("test"),
            },
        });
        let mut night = Self {
            desk: desk.expect("a ledger in memory can be read"),
            clock,
        };
        night.publish();
        night
    }

    fn publish(&mut self) {
        let proposal = self.desk.planning().run(1, &Rounds(5), &mut |_| {});
        assert!(proposal.clashes.is_empty(), "{:?}", proposal.clashes);
        let outcome = self.desk.publish(&proposal).expect("it can be recorded");
        good(&outcome);
    }

    fn at(&mut self, when: &str) -> &mut Desk {
        self.clock.set(utc(when));
        &mut self.desk
    }

    fn sheet(&mut self, when: &str) -> Vec<Item> {
        let desk = self.at(when);
        View::of(desk, desk.now()).morning
    }
}

fn good(outcome: &Outcome) {
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
}

fn unit(number: u32) -> UnitId {
    UnitId::new(&format!("A/{number}"))
}

fn kinds(items: &[Item]) -> Vec<Kind> {
    items.iter().map(|item| item.kind).collect()
}

fn of(items: &[Item], kind: Kind) -> &Item {
    let found = items.iter().find(|item| item.kind == kind);
    found.unwrap_or_else(|| panic!("no {kind:?} in {items:#?}"))
}

#[test]
fn a_quiet_morning_has_nothing_to_tell() {
    let mut lab = lab();
    lab.rigs[0].calibration_due = None;
    let mut night = Night::begun(lab);
    assert_eq!(night.sheet("2027-03-01T07:00"), []);
}

/// A night in which a unit fails, one is held, a run ends, a rig breaks, and a request comes in.
#[test]
#[expect(
    clippy::too_many_lines,
    reason = "one night, told from beginning to end"
)]
fn the_sheet_tells_the_night_in_the_order_in_which_to_act() {
    let mut night = Night::begun(lab());
    for number in 1..=3 {
        let outcome = night.at("2027-03-01T07:00").start(&unit(number), None);
        good(&outcome.expect("its bench is free"));
    }
    let verdicts = [
        Verdict::Pass,
        Verdict::Fail {
            reason: "cracked".to_owned(),
        },
        Verdict::Hold {
            reason: String::new(),
        },
    ];
    for (number, verdict) in (1..).zip(verdicts) {
        let outcome = night.at("2027-03-01T07:30").mark(&unit(number), verdict);
        good(&outcome.expect("it is on the bench"));
    }
    night.publish();
    good(
        &night
            .at("2027-03-01T14:00")
            .start(&unit(1), None)
            .expect("the oven is free"),
    );
    let spare = RigId::new("spare");
    let down = night
        .at("2027-03-01T23:00")
        .rig_down(&spare, "no light", None);
    good(&down.expect("it was up"));
    let mut lab = (*night.desk.lab).clone();
    lab.requests
        .push(request("B", "s", 2, utc("2027-03-02T06:00")));
    night.desk.set_lab(lab);

    // The oven was loaded at 14:00 for 16 hours: over at 06:00, to be out by 12:00.
    let items = night.sheet("2027-03-02T07:00");
    let expected = [
        Kind::RigDown,
        Kind::Window,
        Kind::Failed,
        Kind::Held,
        Kind::New,
        Kind::Calibration,
    ];
    let told: Vec<Kind> = kinds(&items)
        .into_iter()
        .filter(|kind| expected.contains(kind))
        .collect();
    assert_eq!(told, expected, "{items:#?}");
    assert!(kinds(&items).is_sorted(), "first things first");
    assert!(items.iter().all(|item| !item.next.is_empty()));

    let down = of(&items, Kind::RigDown);
    assert!(
        down.words
            .contains("spare is down since Mon 01 Mar 23:00: no light"),
        "{down:?}"
    );
    let window = of(&items, Kind::Window);
    assert_eq!(window.words, "A/1 step 2, oven: the window closes 12:00");
    assert_eq!(window.next, "unload from oven (key 2) by 12:00");
    assert_eq!(window.at, Some(utc("2027-03-02T12:00")));
    let failed = of(&items, Kind::Failed);
    assert_eq!(
        failed.words,
        "A/2 failed at step 1, Mon 01 Mar 07:30, Ines: cracked"
    );
    assert!(
        of(&items, Kind::Held)
            .words
            .contains("A/3 is on hold at step 1")
    );
    assert!(
        of(&items, Kind::New)
            .words
            .starts_with("B: 2 units of latch DV, s")
    );
    assert!(of(&items, Kind::Calibration).words.contains("in 3 days"));

    // Past its window the unit is late, and stands before what still can wait.
    let items = night.sheet("2027-03-02T12:01");
    assert!(
        of(&items, Kind::Late)
            .words
            .contains("its window closed 12:00")
    );
    assert!(!kinds(&items).contains(&Kind::Window));
}

#[test]
fn what_was_voided_or_is_long_past_is_no_news() {
    let mut night = Night::begun(lab());
    for number in 1..=2 {
        let outcome = night.at("2027-03-01T07:00").start(&unit(number), None);
        good(&outcome.expect("its bench is free"));
    }
    for number in 1..=2 {
        let reason = "cracked".to_owned();
        let desk = night.at("2027-03-01T07:30");
        let outcome = desk.mark(&unit(number), Verdict::Fail { reason });
        good(&outcome.expect("it is on the bench"));
    }
    let (outcome, _) = night.desk.undo().expect("it was the last deed");
    good(&outcome);
    let failed = |items: &[Item]| {
        let all = items.iter().filter(|item| item.kind == Kind::Failed);
        all.map(|item| item.words.clone()).collect::<Vec<String>>()
    };
    let told = failed(&night.sheet("2027-03-01T08:00"));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("A/1 failed"), "{told:?}");
    // A plan published since, and a night: it was told before.
    night.at("2027-03-02T07:00");
    night.publish();
    assert_eq!(failed(&night.sheet("2027-03-02T08:00")), [] as [String; 0]);
}

#[test]
fn a_booking_that_has_not_started_is_asked_for() {
    let mut night = Night::begun(lab());
    let first: Minute = night.clock.now();
    let items = night.sheet("2027-03-01T09:00");
    let late = of(&items, Kind::NotStarted);
    assert_eq!(late.at, Some(first));
    assert!(late.words.contains("was to load 07:00"), "{late:?}");
}
