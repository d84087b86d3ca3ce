//! A real terminal: the program in tmux, keys sent, screens read.

use std::process::Command;
use std::time::Duration;

/// A tmux server of our own, ended with the test.
pub(crate) struct Tmux {
    socket: String,
}

/// False, and said so, where tmux is not installed.
#[expect(clippy::print_stdout, reason = "a test that is skipped says so")]
pub(crate) fn is_installed() -> bool {
    let output = Command::new("tmux").arg("-V").output();
    let installed = output.is_ok_and(|output| output.status.success());
    if !installed {
        println!("skipped: tmux is not installed");
    }
    installed
}

impl Tmux {
    /// A terminal of that size in which a shell runs the command.
    pub(crate) fn start(name: &str, size: (u16, u16), command: &str) -> Self {
        let own = Self {
            socket: format!("rigday-{name}-{}", std::process::id()),
        };
        let (width, height) = (size.0.to_string(), size.1.to_string());
        let start = ["-f", "/dev/null", "new-session", "-d"];
        own.run(&[&start[..], &["-x", &width, "-y", &height, command]].concat());
        own
    }

    /// Carries a command of tmux out, and returns what it prints.
    pub(crate) fn run(&self, arguments: &[&str]) -> String {
        let output = Command::new("tmux")
            .args(["-L", &self.socket])
            .args(arguments)
            .env("LANG", "C.UTF-8")
            .env_remove("NO_COLOR")
            .output()
            .expect("tmux runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    pub(crate) fn keys(&self, keys: &[&str]) {
        self.run(&[&["send-keys"], keys].concat());
    }

    /// The screen without its styles.
    pub(crate) fn screen(&self) -> String {
        self.run(&["capture-pane", "-p"])
    }

    /// Waits until `drawn` is as wanted.
    pub(crate) fn until(
        &self,
        what: &str,
        drawn: impl Fn(&Self) -> String,
        wanted: impl Fn(&str) -> bool,
    ) -> String {
        for _ in 0..600 {
            let drawn = drawn(self);
            if wanted(&drawn) {
                return drawn;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("the screen is never as wanted, {what}:\n{}", self.screen());
    }
}

impl Drop for Tmux {
    fn drop(&mut self) {
        self.run(&["kill-server"]);
    }
}
