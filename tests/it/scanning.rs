//! A scanner at a real terminal: what it sends, at its own pace, on the Bench and elsewhere.

use crate::support::program::Desk;
use crate::support::pty::{Pty, Setup};
use std::path::Path;
use std::time::Duration;

/// The screens on the demo, in a folder of their own.
fn screens(folder: &Path) -> Pty {
    let pty = Pty::rigday("demo --keep lab", &Setup::in_folder(folder));
    pty.until("because:");
    pty
}

/// Events in the demo's ledger.
fn events(desk: &Desk) -> usize {
    let log = desk.run("log --plain --lab lab --now 2027-03-22T06:50");
    log.good().lines().count()
}

#[test]
fn t60_t61_every_end_of_a_scan_at_any_pace_chooses_the_unit_and_records_nothing() {
    let desk = Desk::new();
    let mut pty = screens(desk.folder.path());
    let before = events(&desk);
    pty.send("2");
    pty.until("Scan or type a serial");
    for end in ["\r", "\n", "\r\n", "\t"] {
        for gap in [0, 2] {
            for serial in ["R-306/1", "p-306/1"] {
                pty.send_slowly(format!("{serial}{end}"), Duration::from_millis(gap));
                let wanted = if serial.starts_with('R') {
                    "LATE  R-306/1"
                } else {
                    "NO UNIT"
                };
                pty.until(wanted);
                pty.until("serial: _");
            }
            pty.send("\u{1b}");
            pty.until_quiet(Duration::from_millis(200));
        }
    }
    // The scanner's own control keys, and the same twice, as scanners do.
    for _ in 0..2 {
        pty.send("\u{1d}R-30\u{1d}6/1\r\n");
    }
    pty.until("LATE  R-306/1");
    pty.until("came twice within 2 s");
    assert!(pty.runs());
    assert_eq!(events(&desk), before);
}

#[test]
fn t62_a_scan_on_the_plan_runs_no_command() {
    let desk = Desk::new();
    let mut pty = screens(desk.folder.path());
    let before = events(&desk);
    for gap in [0, 2] {
        pty.send_slowly("qux1-c2\r", Duration::from_millis(gap));
        pty.until("scan: no unit qux1-c2");
        assert!(pty.screen().starts_with(" Plan "), "{}", pty.screen());
        pty.send("j");
        pty.until_quiet(Duration::from_millis(200));
        pty.send_slowly("quxpc1", Duration::from_millis(gap));
        pty.until("quxpc1 came as fast as a scan and has no end");
        pty.send("j");
        pty.until_quiet(Duration::from_millis(200));
    }
    // A key held down, and Enter, are what they are.
    pty.send("jjjjjjjj\r");
    pty.until("it stays where it was");
    pty.send("\u{1b}");
    pty.until_quiet(Duration::from_millis(200));
    // A letter alone is a command, a moment later.
    pty.send("3");
    pty.until("bottleneck");
    pty.send("R-306/1\r\n");
    pty.until("LATE  R-306/1");
    assert!(pty.screen().starts_with(" Bench "), "{}", pty.screen());
    assert!(pty.runs());
    assert_eq!(events(&desk), before);
}

#[test]
fn t63_a_gloved_hand_records_by_scans_alone() {
    let desk = Desk::new();
    let mut pty = screens(desk.folder.path());
    for (scan, answer) in [
        ("R-308/1", "BOOKED  R-308/1"),
        ("%LOAD", "LOADED  R-308/1"),
        ("%WHO-Ana", "Ana is at the bench"),
        ("%FAIL", "Why did R-308/1 fail?"),
        ("%WHY-dust inside", "dust inside"),
        ("%UNDO", "Undid: R-308/1 fail at step 6"),
        ("%PASS", "PASS  R-308/1"),
    ] {
        pty.send_slowly(format!("{scan}\r\n"), Duration::from_millis(2));
        pty.until(answer);
    }
    let log = desk.run("log --lab lab --now 2027-03-22T06:50").good();
    let at = |words: &str| {
        log.rfind(words)
            .unwrap_or_else(|| panic!("{words:?} is not in:\n{log}"))
    };
    assert!(at("R-308/1 loaded on rf-1") < at("R-308/1 step 6 fail: dust inside"));
    assert!(at("R-308/1 step 6 fail: dust inside") < at("R-308/1 step 6 pass"));
}
