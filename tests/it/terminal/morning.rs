//! A morning on a real terminal: the program in tmux, keys sent, screens read, and the ledger afterwards.
//!
//! Skipped, and said so, where tmux is not installed.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_rigday");

/// One tmux server of our own, ended with the test.
struct Tmux {
    socket: String,
}

impl Tmux {
    fn start(command: &str) -> Self {
        let own = Self {
            socket: format!("rigday-test-{}", std::process::id()),
        };
        own.run(&[
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            "80",
            "-y",
            "24",
            command,
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
        // As a hand presses them: what comes faster than that is a scan.
        let mut arguments = vec!["send-keys"];
        arguments.extend(keys);
        self.run(&arguments);
        std::thread::sleep(Duration::from_millis(120));
    }

    fn screen(&self) -> String {
        self.run(&["capture-pane", "-p"])
    }

    /// Waits until the screen says something.
    fn until(&self, words: &str) -> String {
        for _ in 0..300 {
            let screen = self.screen();
            if screen.contains(words) {
                return screen;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("the screen never says {words:?}:\n{}", self.screen());
    }
}

impl Drop for Tmux {
    fn drop(&mut self) {
        self.run(&["kill-server"]);
    }
}

fn has_tmux() -> bool {
    Command::new("tmux")
        .arg("-V")
        .output()
        .is_ok_and(|output| output.status.success())
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
    if !has_tmux() {
        println!("skipped: tmux is not installed");
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let lab = folder.path().join("lab");
    let script = format!(
        "stty -a > '{0}/before'; '{PROGRAM}' demo --keep '{0}/lab' 2>/dev/null; code=$?; \
         stty -a > '{0}/after'; echo \"code $code\"; sleep 60",
        folder.path().display()
    );
    let tmux = Tmux::start(&script);

    // The coordinator: plan, look at the difference, put it in force.
    tmux.until("? help");
    tmux.keys(&["p"]);
    let difference = tmux.until("WHAT-IF");
    assert!(
        difference.contains("c puts it in force") && difference.contains(" changes"),
        "{difference}"
    );
    tmux.keys(&["c"]);
    tmux.until("published");

    // The technician: scan a unit, load it, fail it with a reason of the lab's list.
    tmux.keys(&["2"]);
    tmux.until("Scan or type a serial");
    tmux.keys(&["-l", "R-403/2"]);
    tmux.keys(&["Enter"]);
    tmux.until("BOOKED  R-403/2");
    tmux.keys(&["l"]);
    tmux.until("LOADED  R-403/2");
    tmux.keys(&["f"]);
    tmux.until("Why did R-403/2 fail?");
    tmux.keys(&["Down", "Enter"]);
    let failed = tmux.until("FAIL  R-403/2");
    assert!(failed.contains("it walks no further"), "{failed}");

    // The coordinator repairs the plan: the unit's further steps fall away.
    tmux.keys(&["1"]);
    tmux.keys(&["p"]);
    let difference = tmux.until("WHAT-IF");
    assert!(difference.contains("dropped R-403/2 step"), "{difference}");
    tmux.keys(&["c"]);
    tmux.until("published");

    // The manager sees the hours.
    tmux.keys(&["3"]);
    let load = tmux.until("bottleneck of the next 7 days:");
    assert!(load.contains("in use %") && load.contains("sl-1"), "{load}");

    // The program ends well and leaves the terminal as it was.
    tmux.keys(&["q"]);
    tmux.until("code 0");
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
