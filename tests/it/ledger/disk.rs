//! Disks that fail: the n-th write, cut or sync, once or for ever, as full or broken, with half a write left.

use super::tap::{self, Disks, Fault, Left};
use super::{Place, alone, size};
use crate::support::events::{new_event, note, still_env};
use crate::support::random::Random;
use rigday::domain::{Minutes, Seq};
use rigday::ledger::{Ledger, Outcome, SqliteLedger, create, open};
use std::collections::BTreeSet;
use std::path::Path;

/// What was answered for each event.
#[derive(Default)]
struct Said {
    told: BTreeSet<u128>,
    not_recorded: BTreeSet<u128>,
    in_doubt: BTreeSet<u128>,
}

impl Said {
    fn hear(&mut self, id: u128, outcome: &Outcome) {
        for set in [&mut self.not_recorded, &mut self.in_doubt] {
            set.remove(&id);
        }
        match outcome {
            Outcome::Recorded { .. } | Outcome::AlreadyRecorded { .. } => {
                self.told.insert(id);
                tap::told(id);
            }
            Outcome::NotRecorded { .. } => {
                self.not_recorded.insert(id);
            }
            Outcome::Unknown { .. } => {
                self.in_doubt.insert(id);
            }
            other => panic!("nobody else writes, and all may: {other:?}"),
        }
    }
}

/// Opens, records, rests, copies and closes; whatever fails is said again with the same id.
fn a_day(place: &Place, said: &mut Said) {
    let (env, clock) = still_env(9);
    let mut id = 1000;
    for turn in 0..3 {
        let Ok(mut ledger) = open(&place.path(), env.clone()) else {
            continue;
        };
        for _ in 0..3 {
            id += 1;
            let mut event = new_event(id, note(&format!("note {id}")));
            // The first user of either ledger.
            event.actor.uid = 0;
            for _ in 0..3 {
                let outcome = ledger.append(&[], std::slice::from_ref(&event));
                said.hear(id, &outcome);
                if said.told.contains(&id) {
                    break;
                }
            }
        }
        clock.advance(Minutes::new(1));
        // Reading may fail too, and says so.
        let _looked = ledger.read(Seq(1_000_000), 1).is_ok();
        let _copied = copy(&ledger, place, turn);
    }
}

/// A copy is there whole, or not at all.
fn copy(ledger: &SqliteLedger, place: &Place, turn: u32) -> bool {
    let path = place.folder.path().join(format!("copy-{turn}.db"));
    let copied = ledger.copy_to(&path).is_ok();
    assert_eq!(copied, path.exists(), "a copy that failed is not there");
    copied
}

/// What is there afterwards is what was answered.
fn compare(path: &Path, said: &Said) {
    let ledger = open(path, still_env(1).0).expect("a good ledger once the disk is good again");
    assert_eq!(ledger.verify(&[]).faults, []);
    let events = ledger.read(Seq(0), u32::MAX).expect("events");
    let ids: Vec<u128> = events
        .iter()
        .map(|own| u128::from_be_bytes(own.id.0))
        .collect();
    let there: BTreeSet<u128> = ids.iter().copied().collect();
    assert_eq!(there.len(), ids.len(), "none twice");
    assert!(said.told.is_subset(&there), "told and lost");
    assert!(said.not_recorded.is_disjoint(&there), "denied and there");
}

/// After the day the power is cut too: a sync that failed may have thrown away what it was to keep.
fn compare_after_cut(mut disks: Disks, said: &Said, random: &mut Random) {
    for op in tap::recorded() {
        disks.take(&op);
    }
    let scratch = tempfile::tempdir().expect("a temporary folder");
    for left in [Left::Nothing, Left::Some] {
        for (path, bytes) in disks.image(left, &mut || random.chance(50)) {
            let name = path.file_name().expect("a name");
            std::fs::write(scratch.path().join(name), bytes).expect("an image");
        }
        let told = Said {
            told: said.told.clone(),
            ..Said::default()
        };
        compare(&scratch.path().join("rigday.db"), &told);
        for entry in scratch.path().read_dir().expect("the images") {
            std::fs::remove_file(entry.expect("an image").path()).expect("an image");
        }
    }
}

/// The ledger of a version before, for bringing it to ours while the disk fails.
fn older(place: &Place) {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/ledger/v1.db");
    std::fs::copy(data, place.path()).expect("the older ledger");
}

/// One run; false where the fault lay behind its end.
fn run(fault: Fault, from_older: bool, random: &mut Random) -> bool {
    let place = Place::new();
    if from_older {
        older(&place);
    } else {
        drop(create(&place.path(), still_env(9).0).expect("a new ledger"));
    }
    let log = place.folder.path().join("rigday.db-wal");
    let disks = Disks::of_files(&[&place.path(), &log]);
    let mut said = Said::default();
    tap::record();
    tap::fail(Some(fault));
    a_day(&place, &mut said);
    let (_, failed) = tap::counted();
    tap::fail(None);
    compare_after_cut(disks, &said, random);
    compare(&place.path(), &said);
    failed > 0
}

#[test]
fn f03_a_failing_disk_loses_nothing_that_was_told() {
    alone(
        "ledger::disk::f03_a_failing_disk_loses_nothing_that_was_told",
        |seed| {
            tap::install();
            let mut random = Random::new(seed);
            let wanted = size(160, 800, 4_000);
            let (mut runs, mut at) = (0, 1);
            while runs < wanted {
                let mut hit = false;
                for kind in 0..8 {
                    let fault = Fault {
                        at,
                        for_ever: kind & 1 > 0,
                        full: kind & 2 > 0,
                        torn: kind & 4 > 0,
                    };
                    let from_older = random.chance(30);
                    println!("{fault:?}, from an older one: {from_older}");
                    hit |= run(fault, from_older, &mut random);
                    runs += 1;
                }
                // Behind the end of the day it begins anew.
                let step = if wanted > 1_000 {
                    1
                } else {
                    random.range(1, 12)
                };
                at = if hit { at + step.cast_unsigned() } else { 1 };
            }
            println!("f03: {runs} runs, seed {seed}");
        },
    );
}

/// Records until the disk is full, then goes on once it is not.
fn until_full(place: &Place, said: &mut Said, make_room: impl FnOnce()) {
    let (env, _) = still_env(9);
    let text = "x".repeat(900);
    let mut ledger = open(&place.path(), env).expect("a good ledger");
    let mut make_room = Some(make_room);
    let mut after = 0;
    for id in 1..400_u128 {
        let event = new_event(id, note(&text));
        let outcome = ledger.append(&[], std::slice::from_ref(&event));
        said.hear(id, &outcome);
        if !said.told.contains(&id) {
            if let Some(make_room) = make_room.take() {
                make_room();
            }
            let again = ledger.append(&[], &[event]);
            said.hear(id, &again);
            assert!(said.told.contains(&id), "there is room again: {again:?}");
        }
        after += u32::from(make_room.is_none());
        if after == 5 {
            return;
        }
    }
    panic!("the disk was never full");
}

#[test]
fn f04_a_limit_to_the_file_loses_nothing_that_was_told() {
    use rustix::process::{Resource, Rlimit, setrlimit};
    let name = "ledger::disk::f04_a_limit_to_the_file_loses_nothing_that_was_told";
    alone(name, |_| {
        let limit = |bytes| {
            let (current, maximum) = (bytes, None);
            setrlimit(Resource::Fsize, Rlimit { current, maximum }).expect("a limit");
        };
        let heard = std::sync::Arc::default();
        signal_hook::flag::register(signal_hook::consts::SIGXFSZ, heard).expect("a handler");
        let sizes = size(5, 10, 50);
        for number in 0..sizes {
            let place = Place::new();
            drop(create(&place.path(), still_env(9).0).expect("a new ledger"));
            let mut said = Said::default();
            limit(Some(60_000 + number * 1_237));
            until_full(&place, &mut said, || limit(None));
            compare(&place.path(), &said);
        }
        println!("f04: {sizes} limits");
    });
}

#[test]
fn f04_a_full_disk_loses_nothing_that_was_told() {
    use std::process::Command;
    let place = Place::new();
    let mount = |kilobytes: u64, how: &str| {
        let made = Command::new("mount")
            .args([
                "-t",
                "tmpfs",
                "-o",
                &format!("{how}size={kilobytes}k"),
                "tmpfs",
            ])
            .arg(place.folder.path())
            .output();
        made.is_ok_and(|output| output.status.success())
    };
    let sizes = size(5, 10, 50);
    for number in 0..sizes {
        if !mount(200 + number * 4, "") {
            println!("skipped: nothing can be mounted here");
            return;
        }
        let worked = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            drop(create(&place.path(), still_env(9).0).expect("a new ledger"));
            let mut said = Said::default();
            until_full(&place, &mut said, || assert!(mount(8_000, "remount,")));
            compare(&place.path(), &said);
        }));
        let gone = Command::new("umount").arg(place.folder.path()).status();
        assert!(gone.expect("umount").success());
        if let Err(fault) = worked {
            std::panic::resume_unwind(fault);
        }
    }
    println!("f04: {sizes} full disks");
}
