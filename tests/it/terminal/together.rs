//! Several sessions on one ledger, a ledger that is busy or lost, and what outlives the program.

use crate::support::program::Desk;
use crate::support::pty::{Pty, Setup};
use rustix::process::Signal;
use std::process::Command;
use std::time::Duration;

const QUIET: Duration = Duration::from_millis(300);
/// Faster would be a scanner.
const HAND: Duration = Duration::from_millis(60);
/// What no loaded host may make of two seconds.
const HOPELESS: Duration = Duration::from_secs(20);
const OPEN: &str = "open lab --now 2027-03-22T06:50 --late trial --person";

fn opened(desk: &Desk, person: &str) -> Pty {
    let line = format!("{OPEN} {person}");
    let pty = Pty::rigday(&line, &Setup::in_folder(desk.folder.path()));
    pty.until("? help");
    pty.until_quiet(QUIET);
    pty
}

/// The list of units, narrowed to a request, with its second unit selected.
fn units(pty: &mut Pty, request: &str) {
    pty.send("4");
    pty.until("units   / narrows");
    pty.send_slowly(format!("/{request}\r"), HAND);
    pty.until_quiet(QUIET);
    pty.send("j");
    pty.until_quiet(QUIET);
}

fn marked(pty: &Pty) -> String {
    let screen = pty.screen();
    let line = screen.lines().find(|line| line.starts_with('>'));
    line.unwrap_or_else(|| panic!("nothing is selected:\n{screen}"))
        .to_owned()
}

/// Holds the ledger as another program does that is writing.
#[expect(clippy::disallowed_methods, reason = "this test plays another program")]
fn hold(desk: &Desk) -> rusqlite::Connection {
    let other = rusqlite::Connection::open(desk.path("lab/rigday.db")).expect("the ledger");
    other
        .execute_batch("BEGIN IMMEDIATE")
        .expect("nobody else writes");
    other
}

#[test]
fn t75_what_another_session_records_is_on_the_screen_and_the_selection_stays() {
    let desk = Desk::demo();
    let (mut one, mut other) = (opened(&desk, "Ines"), opened(&desk, "Rui"));
    units(&mut one, "R-403/");
    units(&mut other, "R-403/");
    let before = marked(&other);
    assert_eq!(before, marked(&one));
    other.send("j");
    other.until_quiet(QUIET);
    let selected = marked(&other);
    one.send("x");
    one.until("withdrawn?");
    one.send_slowly("broken in the office\r", HAND);
    one.until("withdrawn; plan again");
    let from = other.now();
    other.until(" out ");
    println!(
        "on the other screen after {:?}",
        other.now().saturating_sub(from)
    );
    // How soon depends on what else the host does; how many looks it takes is counted in the screens' own tests.
    assert!(other.now().saturating_sub(from) < HOPELESS);
    assert_eq!(marked(&other), selected);
}

#[test]
fn t32_a_what_if_outlives_signals_and_a_terminal_that_goes_away() {
    for end in [Some(Signal::TERM), Some(Signal::HUP), None] {
        let desk = Desk::demo();
        let mut pty = opened(&desk, "Ines");
        // Some booking of the third rig is taken off.
        pty.send_slowly("jj", HAND);
        for _ in 0..8 {
            pty.send("\u{1b}[C");
            pty.send("x");
            pty.until_quiet(QUIET);
            if pty.screen().contains("WHAT-IF") {
                break;
            }
        }
        let screen = pty.until("WHAT-IF");
        match end {
            Some(signal) => pty.signal(signal),
            None => pty.close(),
        }
        pty.ended();
        let line = format!("{OPEN} Ines");
        let again = Pty::rigday(&line, &Setup::in_folder(desk.folder.path()));
        let offer = again.until("A what-if was kept");
        assert!(offer.contains("to the plan, begun"), "{screen}\n{offer}");
    }
}

#[test]
fn t45_a_busy_ledger_holds_no_keys_and_nothing_is_recorded_twice() {
    let desk = Desk::demo();
    let mut pty = opened(&desk, "Ines");
    units(&mut pty, "R-403/");
    let busy = hold(&desk);
    pty.send("x");
    pty.until("withdrawn?");
    pty.send_slowly("held up\r", HAND);
    pty.until("Recording 0 s: the ledger is busy; Esc gives up");
    // The keys are alive meanwhile.
    pty.send("k");
    pty.until_quiet(QUIET);
    assert!(marked(&pty).contains("R-403/1"), "{}", marked(&pty));
    busy.execute_batch("ROLLBACK").expect("it ends");
    pty.until("withdrawn; plan again");

    // Given up, nothing is recorded, also later.
    busy.execute_batch("BEGIN IMMEDIATE")
        .expect("nobody else writes");
    pty.send("x");
    pty.until("withdrawn?");
    pty.send_slowly("given up\r", HAND);
    pty.until("Recording 0 s");
    pty.send("\u{1b}");
    pty.until("given up: nothing was recorded");
    busy.execute_batch("ROLLBACK").expect("it ends");
    std::thread::sleep(Duration::from_secs(1));
    let log = desk.at("2027-03-22T06:50", "log --lab lab").good();
    assert_eq!(log.matches("held up").count(), 1, "{log}");
    assert!(!log.contains("given up"), "{log}");
}

#[test]
fn t77_the_age_of_what_is_shown_is_told_and_a_lost_ledger_is_stale_until_it_is_back() {
    let desk = Desk::new();
    let mut command = Command::new(std::env::current_exe().expect("these tests"));
    command.args([
        "plays_the_program_whose_ledger_is_lost",
        "--nocapture",
        "--test-threads=1",
    ]);
    let mut setup = Setup::in_folder(desk.folder.path());
    setup.environment = &[(super::parts::PART, "ledger")];
    let mut pty = Pty::start(command, &setup);
    let screen = pty.until("as of 08:00:00");
    assert!(screen.contains("fb-1"), "{screen}");
    desk.write("lost", "");
    pty.until("the ledger cannot be reached");
    let stale = pty.until("STALE 1");
    assert!(stale.contains(" s ") && stale.contains("fb-1"), "{stale}");
    // Keys work on what was read last.
    pty.send("4");
    pty.until("units   / narrows");
    std::fs::remove_file(desk.path("lost")).expect("it was there");
    let back = pty.until_gone("STALE");
    assert!(back.contains("as of "), "{back}");
    pty.send("q");
    pty.until_quiet(QUIET);
    pty.left_the_other_screen();
}
