//! Whatever ends the program, the terminal is left as it was found.

use crate::support::program::Desk;
use crate::support::pty::{Pty, Setup, pair};
use rustix::process::Signal;
use std::process::Command;
use std::time::Duration;

/// How soon a program whose terminal is gone ends.
const SOON: Duration = Duration::from_secs(2);
/// What the screen of a ledger without a plan says.
const READY: &str = "? help";

/// A desk with a small lab, and the program open on it.
fn opened(desk: &Desk) -> Pty {
    desk.run("init lab").good();
    let pty = Pty::rigday("open lab", &Setup::in_folder(desk.folder.path()));
    pty.until(READY);
    pty
}

#[test]
fn t30_leaving_by_key_leaves_the_terminal_as_it_was_found() {
    for key in ["q", "\u{3}"] {
        let desk = Desk::new();
        let mut pty = opened(&desk);
        let (before, during) = pty.modes();
        assert_ne!(before, during, "raw mode would be seen");
        pty.send(key);
        assert_eq!(pty.ended().0, 0);
        pty.is_left_as_found();
    }
}

#[test]
fn t30_a_signal_leaves_the_terminal_as_it_was_found() {
    let signals = [
        (Signal::HUP, 129),
        (Signal::INT, 130),
        (Signal::QUIT, 131),
        (Signal::TERM, 143),
    ];
    for (signal, code) in signals {
        let desk = Desk::new();
        let mut pty = opened(&desk);
        // Mouse and an open overlay must not stand in the way.
        pty.send("m?");
        pty.until("Help");
        pty.signal(signal);
        assert_eq!(pty.ended().0, code);
        pty.is_left_as_found();
    }
}

#[test]
fn t30_an_error_leaves_the_terminal_as_it_was_found_and_is_told() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let setup = Setup::in_folder(desk.folder.path());
    let (keyboard, own_keyboard) = pair(setup.size);
    let (glass, own_glass) = pair(setup.size);
    let mut command = Command::new(crate::support::program::PROGRAM);
    command.args(["open", "lab"]);
    let mut pty = Pty::start_on(command, &setup, keyboard, own_keyboard, Some(own_glass));
    // What it draws to goes away while what it reads from stays.
    let mut first = [0; 256];
    let arrived = std::io::Read::read(&mut &glass, &mut first).expect("it draws");
    assert!(arrived > 0);
    drop(glass);
    pty.send("?");
    assert_eq!(pty.ended().0, 1);
    let (before, after) = pty.modes();
    assert_eq!(before, after);
    let said = pty.said_elsewhere();
    assert!(said.contains("rigday: the terminal failed: "), "{said}");
}

#[test]
fn t30_a_panic_is_told_on_the_normal_screen_and_written_down() {
    let desk = Desk::new();
    let mut command = Command::new(std::env::current_exe().expect("these tests"));
    command.args([
        "plays_the_program_whose_clock_breaks",
        "--nocapture",
        "--test-threads=1",
    ]);
    let mut setup = Setup::in_folder(desk.folder.path());
    setup.environment = &[(super::parts::PART, "clock")];
    let mut pty = Pty::start(command, &setup);
    pty.until(READY);
    pty.send("r");
    assert_eq!(pty.ended().0, 101);
    pty.is_left_as_found();
    let screen = pty.screen();
    assert!(screen.contains("the clock of this test breaks"), "{screen}");
    assert!(screen.contains("state/rigday.log"), "{screen}");
    assert!(
        screen.contains("what was recorded stays recorded"),
        "{screen}"
    );
    let log = desk.read("state/rigday.log");
    assert!(
        log.contains("the clock of this test breaks") && log.contains("rigday::terminal"),
        "{log}"
    );
}

#[test]
fn t31_a_terminal_that_goes_away_without_a_word_ends_the_program() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let mut setup = Setup::in_folder(desk.folder.path());
    setup.controlling = false;
    let mut pty = Pty::rigday("open lab", &setup);
    pty.until(READY);
    let before = pty.cpu();
    pty.close();
    let (code, took) = pty.ended();
    assert_eq!(code, 129);
    assert!(took < SOON * 2, "it took {took:?}");
    println!("gone for {took:?}, {before:?} of processor time before");
}

#[test]
fn t34_without_a_terminal_the_plain_commands_are_named_and_nothing_hangs() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let ended = desk.run("open lab");
    ended.bad(2, "the screens need a terminal");
    ended.bad(2, "rigday plan, due, load, units and mark");
    assert!(ended.out.is_empty() && !ended.err.contains('\u{1b}'));

    // A terminal to read from is not enough, and neither is one that cannot draw.
    let mut setup = Setup::in_folder(desk.folder.path());
    let mut piped = Command::new("sh");
    piped.args(["-c", "$0 open lab | cat; exit ${PIPESTATUS:-2}"]);
    piped.args([crate::support::program::PROGRAM]);
    let mut pty = Pty::start(piped, &setup);
    pty.ended();
    assert!(!pty.heard().contains('\u{1b}') && pty.heard().contains("need a terminal"));

    setup.environment = &[("TERM", "dumb")];
    let mut pty = Pty::rigday("open lab", &setup);
    assert_eq!(pty.ended().0, 2);
    assert!(!pty.heard().contains('\u{1b}') && pty.heard().contains("need a terminal"));
}
