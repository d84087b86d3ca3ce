//! A technician's session without a screen: a line in, a line out, by the rules of the Bench.

use crate::support::program::{Desk, Ended};
use std::io::Write;
use std::process::Stdio;

/// The demo's Monday morning.
const MORNING: &str = "2027-03-22T06:50";

/// What `bench --plain` answers to lines that come in through a pipe.
pub(crate) fn bench(desk: &Desk, lines: &str) -> Ended {
    let words = ["bench", "--plain", "--lab", "lab", "--now", MORNING];
    let mut command = desk.command(&words);
    command.args(["--person", "Ines", "--late", "trial"]);
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    let mut into = child.stdin.take().expect("it listens");
    into.write_all(lines.as_bytes())
        .expect("it takes the lines");
    drop(into);
    Ended::of(child.wait_with_output().expect("it ends"))
}

/// The answers, one to each line.
fn answers(desk: &Desk, lines: &[&str]) -> Vec<String> {
    let told = bench(desk, &(lines.join("\n") + "\n")).good();
    let answers: Vec<String> = told.lines().map(str::to_owned).collect();
    assert_eq!(answers.len(), lines.len(), "one line for one line:\n{told}");
    for answer in &answers {
        assert!(
            answer.chars().all(|letter| (' '..='~').contains(&letter)),
            "{answer}"
        );
    }
    answers
}

fn holds(answer: &str, words: &[&str]) {
    for word in words {
        assert!(answer.contains(word), "{word} is not in: {answer}");
    }
}

#[test]
#[expect(clippy::too_many_lines, reason = "one session, told line by line")]
fn t93_a_technicians_session_line_by_line() {
    let desk = Desk::demo();
    let said = answers(
        &desk,
        &[
            "R-306/1",
            "o",
            "R-308/1",
            "p",
            "l",
            "f",
            "3",
            "u",
            "f button sticks: after rain",
            "R-308/1",
            "p",
            "h",
            "e cable was bent",
            "d",
            "d",
            "R-38/2",
            "",
            "?",
            "q",
        ],
    );
    holds(
        &said[0],
        &[
            "R-306/1 LATE",
            "low-drops on md-1 (Micro drop)",
            "o unload",
            "caution:",
        ],
    );
    holds(&said[0], &["Local codes", "prevail"]);
    holds(
        &said[1],
        &["UNLOADED  R-306/1: step 2 of 6", "06:50 by Ines"],
    );
    holds(&said[2], &["R-308/1 BOOKED", "l load on rf-1 (RF bench)"]);
    holds(&said[3], &["REFUSED  R-308/1: "]);
    holds(
        &said[4],
        &["LOADED  R-308/1: on rf-1 position 1, step 6 of 6"],
    );
    holds(
        &said[5],
        &["Why did R-308/1 fail? a number, or words: 1 housing cracked, 2 button sticks"],
    );
    holds(
        &said[6],
        &[
            "FAIL  R-308/1: slide does not latch",
            "step 6 of 6, radio-sweep",
        ],
    );
    holds(&said[7], &["UNDONE", "R-308/1 fail at step 6"]);
    holds(&said[8], &["FAIL  R-308/1: button sticks: after rain"]);
    holds(
        &said[9],
        &[
            "R-308/1 FAILED",
            "was given fail by Ines 06:50, button sticks: after rain",
        ],
    );
    holds(&said[10], &["REFUSED  R-308/1: ", "was given fail by Ines"]);
    holds(&said[11], &["REFUSED  R-308/1: "]);
    holds(&said[12], &["NOTE  R-308/1: cable was bent"]);
    holds(
        &said[13],
        &[
            "due 1 of ",
            "unload R-306/4 step 2 on md-1 now, late 12h 3m",
        ],
    );
    holds(&said[14], &["due 2 of "]);
    holds(
        &said[15],
        &["NO UNIT  R-38/2: nothing was recorded; nearest: R-308/2"],
    );
    holds(&said[16], &["nothing was said"]);
    holds(&said[17], &["p pass", "%WHO-name"]);
    assert_eq!(said[18], "end");
    let log = desk.run(&format!("log --lab lab --now {MORNING}")).good();
    holds(
        &log,
        &[
            "R-308/1 step 6 fail: slide does not latch",
            "R-308/1 step 6 fail: button sticks: after rain",
        ],
    );
    assert!(!log.contains(" pass: "), "no verdict came of a scan");
}

#[test]
fn t60_t61_scans_through_a_pipe_end_in_any_way_and_record_nothing() {
    let desk = Desk::demo();
    let count = |desk: &Desk| {
        desk.run(&format!("log --plain --lab lab --now {MORNING}"))
            .good()
            .lines()
            .count()
    };
    // Whoever opens the desk takes in what is new in the folder.
    bench(&desk, "").good();
    let before = count(&desk);
    let told = bench(&desk, "R-308/2\r\n\u{1d}R-308/1\u{3}\r\nR-308/1\r\n").good();
    let lines: Vec<&str> = told.lines().collect();
    assert_eq!(lines.len(), 3, "{told}");
    holds(lines[0], &["R-308/2 "]);
    holds(lines[1], &["R-308/1 BOOKED"]);
    holds(
        lines[2],
        &["R-308/1 came twice within 2 s: the second is ignored"],
    );
    assert_eq!(count(&desk), before);
    // Without a unit nothing can be said about one.
    let said = answers(
        &desk,
        &["p", "f water inside", "%PASS", "%WHY-water inside", "%XYZ"],
    );
    for refused in &said[..3] {
        holds(refused, &["REFUSED: scan a unit first"]);
    }
    holds(&said[3], &["NO FAIL"]);
    holds(&said[4], &["NO CARD  %XYZ"]);
    assert_eq!(count(&desk), before);
}

#[test]
fn t63_cards_work_without_a_screen_and_the_sheet_lists_them() {
    let desk = Desk::demo();
    let said = answers(
        &desk,
        &[
            "R-308/1",
            "%load",
            "%WHO-Ana Reis",
            "%FAIL",
            "%WHY-Dust Inside",
            "%UNDO",
            "%PASS",
        ],
    );
    holds(&said[1], &["LOADED  R-308/1"]);
    holds(&said[2], &["Ana Reis is at the bench"]);
    holds(&said[4], &["FAIL  R-308/1: dust inside", "by Ana Reis"]);
    holds(&said[5], &["UNDONE"]);
    holds(
        &said[6],
        &["PASS  R-308/1: step 6 of 6, radio-sweep", "by Ana Reis"],
    );
    let sheet = desk
        .run(&format!("cards --lab lab --now {MORNING} --for Rui"))
        .good();
    for code in [
        "%PASS",
        "%FAIL",
        "%HOLD",
        "%LOAD",
        "%UNLOAD",
        "%UNDO",
        "%WHO-Rui",
        "%WHO-Ana Reis",
        "%WHY-water inside",
    ] {
        assert!(sheet.contains(code), "{code} is not in:\n{sheet}");
    }
    desk.run_words(&["cards", "--lab", "lab", "--for", " "])
        .bad(2, "--for: it is empty");
    desk.run("bench --lab lab").bad(2, "bench needs --plain");
}

#[test]
fn what_a_lab_says_of_its_scanners_is_read_and_checked() {
    let desk = Desk::demo();
    let lab = desk.read("lab/lab.toml");
    let with = |bench: &str| lab.replacen("[[crew]]", &format!("[bench]\n{bench}\n\n[[crew]]"), 1);
    desk.write(
        "lab/lab.toml",
        &with("scan_prefix = \"]C1\"\nscan_suffix = \"#\"\nidle = \"5m\""),
    );
    let said = answers(&desk, &["]C1R-306/1#", "R-308/1"]);
    holds(&said[0], &["R-306/1 LATE"]);
    holds(&said[1], &["R-308/1 BOOKED"]);
    for (wrong, why) in [
        ("idle = \"0m\"", "above zero"),
        ("idl = \"5m\"", "nearest allowed: idle"),
    ] {
        desk.write("lab/lab.toml", &with(wrong));
        desk.run("check lab").bad(1, why);
    }
}
