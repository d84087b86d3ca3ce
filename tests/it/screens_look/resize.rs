//! Another size of a real terminal: the screen is repainted whole, without a key.
//!
//! Skipped, and said so, where tmux is not installed.

use std::process::Command;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_rigday");

/// A tmux server of our own, ended with the test.
struct Tmux {
    socket: String,
}

impl Tmux {
    fn start(name: &str, size: (u16, u16), folder: &std::path::Path) -> Self {
        let own = Self {
            socket: format!("rigday-{name}-{}", std::process::id()),
        };
        // A clock that stands still: two screens are the same at any time.
        let command = format!(
            "'{PROGRAM}' demo --pace 0 --keep '{}/{name}' 2>/dev/null; sleep 60",
            folder.display()
        );
        let (width, height) = (size.0.to_string(), size.1.to_string());
        own.run(&[
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            &width,
            "-y",
            &height,
            &command,
        ]);
        own
    }

    fn run(&self, arguments: &[&str]) -> String {
        let output = Command::new("tmux")
            .args(["-L", &self.socket])
            .args(arguments)
            .env("LANG", "C.UTF-8")
            .env_remove("NO_COLOR")
            .output()
            .expect("tmux runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    fn keys(&self, keys: &[&str]) {
        self.run(&[&["send-keys"], keys].concat());
    }

    fn resize(&self, width: u16, height: u16) {
        let (width, height) = (width.to_string(), height.to_string());
        self.run(&["resize-window", "-x", &width, "-y", &height]);
    }

    /// The screen with its styles.
    fn screen(&self) -> String {
        self.run(&["capture-pane", "-p", "-e"])
    }

    /// Waits until the screen is as wanted.
    fn until(&self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        for _ in 0..600 {
            let screen = self.screen();
            if wanted(&screen) {
                return screen;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("{what}, not:\n{}", self.run(&["capture-pane", "-p"]));
    }
}

impl Drop for Tmux {
    fn drop(&mut self) {
        self.run(&["kill-server"]);
    }
}

#[test]
fn t04_a_resized_screen_is_as_one_that_was_started_so() {
    if Command::new("tmux").arg("-V").output().is_err() {
        println!("skipped: tmux is not installed");
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let resized = Tmux::start("resized", (130, 45), folder.path());
    let started = Tmux::start("started", (70, 20), folder.path());
    for own in [&resized, &started] {
        own.until("the Plan screen", |screen| screen.contains("SAMPLE"));
        own.keys(&["4", "Down", "Down", "Down"]);
        for _ in 0..9 {
            own.keys(&["Down", "Down", "Down"]);
        }
        own.until("the list of units", |screen| screen.contains("units   /"));
    }
    std::thread::sleep(Duration::from_millis(500));
    resized.resize(70, 20);
    let whole = started.screen();
    assert!(
        whole.contains(">R-"),
        "the selected row is in view:\n{whole}"
    );
    resized.until("the same as a fresh start", |screen| screen == whole);
    // Too small, and back.
    resized.resize(30, 8);
    resized.until("what is needed", |screen| {
        screen.trim_end() == "Need 40x12, have 30x8"
    });
    resized.resize(70, 20);
    resized.until("the same again", |screen| screen == whole);
}
