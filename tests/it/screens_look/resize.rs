//! Another size of a real terminal: the screen is repainted whole, without a key.
//!
//! Skipped, and said so, where tmux is not installed.

use crate::support::tmux::{Tmux, is_installed};
use std::path::Path;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_rigday");

/// The demo, by a clock that stands still: two screens are the same at any time.
fn demo(name: &str, size: (u16, u16), folder: &Path) -> Tmux {
    let command = format!(
        "'{PROGRAM}' demo --pace 0 --keep '{}/{name}' 2>/dev/null; sleep 60",
        folder.display()
    );
    Tmux::start(name, size, &command)
}

fn resize(tmux: &Tmux, width: u16, height: u16) {
    let (width, height) = (width.to_string(), height.to_string());
    tmux.run(&["resize-window", "-x", &width, "-y", &height]);
}

/// The screen with its styles.
fn styled(tmux: &Tmux) -> String {
    tmux.run(&["capture-pane", "-p", "-e"])
}

fn until(tmux: &Tmux, what: &str, wanted: impl Fn(&str) -> bool) -> String {
    tmux.until(what, styled, wanted)
}

#[test]
fn t04_a_resized_screen_is_as_one_that_was_started_so() {
    if !is_installed() {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let resized = demo("resized", (130, 45), folder.path());
    let started = demo("started", (70, 20), folder.path());
    for own in [&resized, &started] {
        until(own, "the Plan screen", |screen| screen.contains("SAMPLE"));
        own.keys(&["4", "Down", "Down", "Down"]);
        for _ in 0..9 {
            own.keys(&["Down", "Down", "Down"]);
        }
        until(own, "the list of units", |screen| {
            screen.contains("units   /")
        });
    }
    std::thread::sleep(Duration::from_millis(500));
    resize(&resized, 70, 20);
    let whole = styled(&started);
    assert!(
        whole.contains(">R-"),
        "the selected row is in view:\n{whole}"
    );
    until(&resized, "the same as a fresh start", |screen| {
        screen == whole
    });
    // Too small, and back.
    resize(&resized, 30, 8);
    until(&resized, "what is needed", |screen| {
        screen.trim_end() == "Need 40x12, have 30x8"
    });
    resize(&resized, 70, 20);
    until(&resized, "the same again", |screen| screen == whole);
}
