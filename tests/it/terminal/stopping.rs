//! The program is stopped and goes on, is made larger and smaller.

use crate::support::program::{Desk, PROGRAM};
use crate::support::pty::{Pty, Setup};
use std::process::Command;
use std::time::Duration;

const QUIET: Duration = Duration::from_millis(300);

#[test]
fn t33_ctrl_z_stops_it_and_fg_repaints_at_once() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let mut shell = Command::new("bash");
    shell.args(["--norc", "--noprofile", "--noediting", "-i"]);
    let mut setup = Setup::in_folder(desk.folder.path());
    setup.environment = &[("PS1", "prompt> ")];
    let mut pty = Pty::start(shell, &setup);
    pty.until("prompt> ");
    let (cooked, _) = pty.modes();
    pty.send(format!("{PROGRAM} open lab\r"));
    let before = pty.until("? help");
    pty.send("m");
    pty.until("gives it back");
    pty.send("\u{1a}");
    pty.until("Stopped");
    pty.left_the_other_screen();
    pty.until_quiet(QUIET);

    // Nothing is sent and nothing is worked while it is stopped; then the whole screen is there with no key.
    pty.send("fg\r");
    let after = pty.until("? help");
    pty.until_quiet(QUIET);
    let top = |screen: &str| screen.lines().next().map(str::to_owned);
    assert_eq!(top(&before), top(&after));
    pty.with_screen(|screen| {
        assert!(screen.alternate_screen() && screen.bracketed_paste());
        assert_ne!(screen.mouse_protocol_mode(), vt100::MouseProtocolMode::None);
    });
    pty.send("?");
    pty.until("Help");
    pty.send("\u{1b}");
    pty.until_quiet(QUIET);
    pty.send("q");
    pty.until("prompt> ");
    pty.left_the_other_screen();
    assert!(!cooked.is_empty());
}

#[test]
fn t33_where_nothing_can_stop_it_the_program_carries_on() {
    let desk = Desk::new();
    desk.run("init lab").good();
    // The first program of a session has no shell around it that could let it go on again.
    let mut pty = Pty::rigday("open lab", &Setup::in_folder(desk.folder.path()));
    pty.until("? help");
    pty.until_quiet(QUIET);
    pty.send("\u{1a}");
    pty.until_quiet(QUIET);
    pty.send("?");
    pty.until("Help");
    // Once for what lies in front, once for the program.
    pty.send("\u{3}");
    pty.until_quiet(QUIET);
    pty.send("\u{3}");
    assert_eq!(pty.ended().0, 0);
    pty.is_left_as_found();
}

#[test]
fn t04_after_a_change_of_size_the_screen_is_as_if_started_so() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let mut setup = Setup::in_folder(desk.folder.path());
    let mut pty = Pty::rigday("open lab --now 2027-03-22T06:50 --late trial", &setup);
    pty.until("? help");
    pty.resize((39, 11));
    pty.until("Need 40x12, have 39x11");
    pty.resize((100, 30));
    pty.until("? help");
    pty.until_quiet(QUIET);
    setup.size = (100, 30);
    let fresh = Pty::rigday("open lab --now 2027-03-22T06:50 --late trial", &setup);
    fresh.until("? help");
    fresh.until_quiet(QUIET);
    let below = |pty: &Pty| {
        let screen = pty.screen();
        screen
            .lines()
            .skip(1)
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(below(&pty), below(&fresh));
}
