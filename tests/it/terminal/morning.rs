//! A morning on a real terminal: the program in tmux, keys sent, screens read, and the ledger afterwards.
//!
//! Skipped, and said so, where tmux is not installed.

use crate::support::tmux::{Tmux, is_installed};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_rigday");

/// Presses keys as a hand does: what comes faster than that is a scan.
fn keys(tmux: &Tmux, keys: &[&str]) {
    tmux.keys(keys);
    std::thread::sleep(Duration::from_millis(120));
}

/// Waits until the screen says something.
fn until(tmux: &Tmux, words: &str) -> String {
    tmux.until(words, Tmux::screen, |screen| screen.contains(words))
}

/// Puts the plan on the screen in force; where it replaces many bookings, their count is typed.
fn put_in_force(tmux: &Tmux) {
    keys(tmux, &["c"]);
    let wanted = |screen: &str| screen.contains("published: ") || screen.contains("to go on");
    let screen = tmux.until("published, or a count", Tmux::screen, wanted);
    if let Some((_, rest)) = screen.split_once("Type ") {
        let count = rest.split(' ').next().unwrap_or_default().to_owned();
        keys(tmux, &[&count]);
        keys(tmux, &["Enter"]);
        until(tmux, "published: ");
    }
}

fn log_of(lab: &Path) -> String {
    let output = Command::new(PROGRAM)
        .args(["log", "--lab"])
        .arg(lab)
        .args(["--now", "2027-03-22T06:50"])
        .output()
        .expect("the program runs");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[test]
fn a_morning_on_a_terminal_is_told_by_the_ledger() {
    if !is_installed() {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let lab = folder.path().join("lab");
    let script = format!(
        "stty -a > '{0}/before'; '{PROGRAM}' demo --keep '{0}/lab' 2>/dev/null; code=$?; \
         stty -a > '{0}/after'; echo \"code $code\"; sleep 60",
        folder.path().display()
    );
    let tmux = Tmux::start("morning", (80, 24), &script);

    // The coordinator: plan, look at the difference, put it in force.
    until(&tmux, "? help");
    keys(&tmux, &["p"]);
    let difference = until(&tmux, "WHAT-IF");
    assert!(
        difference.contains("c puts it in force") && difference.contains(" changes"),
        "{difference}"
    );
    put_in_force(&tmux);

    // The technician: scan a unit, load it, fail it with a reason of the lab's list.
    keys(&tmux, &["2"]);
    until(&tmux, "Scan or type a serial");
    keys(&tmux, &["-l", "R-403/2"]);
    keys(&tmux, &["Enter"]);
    until(&tmux, "BOOKED  R-403/2");
    keys(&tmux, &["l"]);
    until(&tmux, "LOADED  R-403/2");
    keys(&tmux, &["f"]);
    until(&tmux, "Why did R-403/2 fail?");
    keys(&tmux, &["Down", "Enter"]);
    let failed = until(&tmux, "FAIL  R-403/2");
    assert!(failed.contains("it walks no further"), "{failed}");

    // The coordinator repairs the plan: the unit's further steps fall away.
    keys(&tmux, &["1"]);
    keys(&tmux, &["p"]);
    let difference = until(&tmux, "WHAT-IF");
    assert!(difference.contains("dropped R-403/2 step"), "{difference}");
    put_in_force(&tmux);

    // The manager sees the hours.
    keys(&tmux, &["3"]);
    let load = until(&tmux, "bottleneck of the next 7 days:");
    assert!(load.contains("in use %") && load.contains("sl-1"), "{load}");

    // The program ends well and leaves the terminal as it was.
    keys(&tmux, &["q"]);
    until(&tmux, "code 0");
    let stty =
        |name: &str| std::fs::read_to_string(folder.path().join(name)).expect("what stty said");
    assert_eq!(stty("before"), stty("after"));
    let log = log_of(&lab);
    let at = |words: &str| {
        log.rfind(words)
            .unwrap_or_else(|| panic!("the ledger lacks {words:?}:\n{log}"))
    };
    assert!(at("R-403/2 loaded on") < at("R-403/2 step 1 fail: housing cracked"));
    assert!(at("R-403/2 step 1 fail") < at("plan P"));
}
