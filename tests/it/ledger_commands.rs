//! Commands about the ledger: files of requests, roles, review and signature, heads, backup, health.

use crate::support::program::{Desk, Ended};
use std::process::Command;

const CSV: &str = "\
id,product,build,sequence,units,serials,ready,due,priority
X-1,sensor,DV,dv-heat-and-drop,2,,2027-03-01T08:00,2027-03-09T17:00,3
X-2,'=meter,PV,dv-heat-and-drop,,A-7;A-9,2027-03-02T08:00,,
";

fn lab() -> Desk {
    let desk = Desk::new();
    desk.run("init lab").good();
    desk
}

/// Runs a line with a home, in which the state of a user is kept.
fn at_home(desk: &Desk, line: &str) -> Ended {
    let words: Vec<&str> = line.split_whitespace().collect();
    let mut command: Command = desk.command(&words);
    command.env("HOME", desk.path("home"));
    Ended::of(command.output().expect("the program runs"))
}

#[test]
fn l07_a_file_of_requests_is_taken_in_whole() {
    let desk = lab();
    desk.write("more.csv", CSV);
    let told = desk.run("take more.csv --lab lab").good();
    assert!(
        told.starts_with("more.csv, 2 requests: recorded as event"),
        "{told}"
    );
    let requests = desk.read("lab/requests.toml");
    assert!(
        requests.contains("product = \"=meter\"") && requests.contains("\"A-9\""),
        "{requests}"
    );
    assert!(desk.run("check lab").good().starts_with("ok: "));
    let units = desk.run("units --plain --lab lab").good();
    for unit in ["X-1/1", "X-1/2", "A-7", "A-9"] {
        assert!(units.contains(unit), "{units}");
    }
    let log = desk.run("log --lab lab").good();
    assert!(
        log.contains("file more.csv taken in: 2 requests, 4 units, SHA-256"),
        "{log}"
    );
    // The same again, in TOML: each name is taken.
    desk.write("again.toml", "[[request]]\nid = \"X-1\"\n");
    let before = (desk.bytes("lab/rigday.db"), desk.bytes("lab/requests.toml"));
    desk.run("take again.toml --lab lab")
        .bad(1, "again.toml:2:6: request X-1: the name is taken");
    assert!(before == (desk.bytes("lab/rigday.db"), desk.bytes("lab/requests.toml")));
}

#[test]
fn l07_one_fault_keeps_all_of_a_file_out() {
    let desk = lab();
    desk.write("more.csv", &CSV.replace("2027-03-02T08:00", "2027-03-02"));
    let before = (desk.bytes("lab/rigday.db"), desk.bytes("lab/requests.toml"));
    let ended = desk.run("take more.csv --lab lab");
    ended.bad(
        1,
        "more.csv:3:42: request X-2, ready: `2027-03-02` is only a date",
    );
    assert!(before == (desk.bytes("lab/rigday.db"), desk.bytes("lab/requests.toml")));
}

#[test]
fn l07_what_looks_like_a_mistake_is_told_and_taken_in() {
    let desk = lab();
    desk.write(
        "more.csv",
        &CSV.replace("2027-03-09T17:00", "2027-02-09T17:00"),
    );
    let ended = desk.run("take more.csv --lab lab");
    let said = "warning: more.csv:2:";
    assert!(ended.err.contains(said), "{}", ended.err);
    assert!(ended.err.contains("it is due before it is ready"));
    assert!(ended.good().starts_with("more.csv, 2 requests: recorded"));
    assert!(desk.read("lab/requests.toml").contains("2027-02-09T17:00"));
}

#[test]
fn l07_without_a_ledger_nothing_is_taken_in() {
    let desk = lab();
    desk.write("more.csv", CSV);
    std::fs::remove_file(desk.path("lab/rigday.db")).expect("the ledger");
    let before = desk.bytes("lab/requests.toml");
    let ended = desk.run("take more.csv --lab lab");
    assert!(ended.code != 0 && ended.err.contains("there is no ledger"));
    assert!(desk.bytes("lab/requests.toml") == before && !desk.has("lab/rigday.db"));
}

#[test]
fn init_goes_on_where_it_was_cut_short() {
    let desk = Desk::new();
    std::fs::create_dir(desk.path("lab")).expect("an empty folder");
    // The files are written; the ledger finds no place.
    let ended = desk.run("init lab --ledger no/folder/rigday.db");
    assert!(ended.code != 0, "{}", ended.out);
    assert!(desk.has("lab/requests.toml") && !desk.has("no"));
    let files = ["lab", "methods", "sequences", "requests"].map(|own| format!("lab/{own}.toml"));
    let before = files.each_ref().map(|name| desk.bytes(name));
    // A lab with a fault gets no ledger.
    let good = desk.read("lab/lab.toml");
    desk.write(
        "lab/lab.toml",
        &good.replace("Europe/Lisbon", "Europe/Lisboa"),
    );
    desk.run("init lab")
        .bad(1, "nearest allowed: Europe/Lisbon");
    assert!(!desk.has("lab/rigday.db"));
    desk.write("lab/lab.toml", &good);
    assert!(desk.run("init lab").good().contains("lab is ready"));
    assert!(files.each_ref().map(|name| desk.bytes(name)) == before);
    desk.run("verify --lab lab").good();
    desk.run("init lab").bad(1, "nothing was written");
}

#[test]
fn init_where_no_folder_can_be_made_says_so() {
    let desk = Desk::new();
    desk.write("letter", "mine");
    let ended = desk.run("init letter/lab");
    assert!(ended.code != 0 && !ended.err.is_empty(), "{}", ended.out);
    assert_eq!(desk.read("letter"), "mine");
}

#[test]
fn roles_are_granted_refused_and_logged() {
    let desk = lab();
    desk.run("role grant person:Kim viewer --lab lab").good();
    desk.write("more.csv", CSV);
    let before = desk.bytes("lab/requests.toml");
    let ended = desk.run("take more.csv --lab lab --person Kim");
    ended.bad(4, "file taken needs a coordinator; Kim");
    assert!(
        desk.bytes("lab/requests.toml") == before,
        "the folder is as before"
    );
    desk.run("note R-1/1 seen --lab lab --person Kim")
        .bad(4, "needs a technician");
    desk.run("role grant person:Kim technician --lab lab")
        .good();
    desk.run("note R-1/1 seen --lab lab --person Kim").good();
    desk.run("withdraw R-1/1 --reason lost --lab lab --person Kim")
        .bad(4, "needs a coordinator");
    let log = desk.run("log --lab lab").good();
    assert_eq!(
        log.lines()
            .filter(|line| line.contains("refused, "))
            .count(),
        3,
        "{log}"
    );
    desk.run("role revoke person:Kim --lab lab").good();
    desk.run("role revoke person:Kim --lab lab")
        .bad(4, "has no role");
    desk.run("role revoke root --lab lab").bad(4, "");
    desk.run("role grant nobody-of-that-name viewer --lab lab")
        .bad(2, "no user of this host");
}

#[test]
fn a_signature_names_what_was_shown() {
    let desk = lab();
    desk.run("note R-1/1 seen --lab lab --now 2020-01-01T08:00")
        .bad(2, "--late REASON");
    desk.run("note R-1/1 seen --lab lab --now 2020-01-01T08:00 --late holidays")
        .good();
    let shown = |desk: &Desk| {
        let review = desk.run("review --lab lab").good();
        (review.lines().last().expect("a line").to_owned(), review)
    };
    let (hash, review) = shown(&desk);
    for kind in ["\trole\t", "\tlate entry\t", "late: holidays"] {
        assert!(review.contains(kind), "{review}");
    }
    desk.run("note R-1/1 again --lab lab").good();
    let sign = |hash: &str| format!("sign reviewed {hash} --lab lab");
    desk.run(&sign(&hash)).bad(4, "run rigday review again");
    let (hash, _) = shown(&desk);
    desk.run(&sign(&hash)).good();
    let (_, review) = shown(&desk);
    assert_eq!(
        review.lines().count(),
        2,
        "nothing is left to look at: {review}"
    );
}

#[test]
fn l06_what_a_user_has_seen_cannot_go_without_a_word() {
    let desk = lab();
    at_home(&desk, "note R-1/1 first --lab lab").good();
    at_home(&desk, "backup copy.db --lab lab").good();
    at_home(&desk, "note R-1/1 second --lab lab").good();
    let head = at_home(&desk, "head --lab lab").good();
    desk.write("heads", &head);
    at_home(&desk, "verify --lab lab --against heads").good();
    // The old copy is put back.
    std::fs::copy(desk.path("copy.db"), desk.path("lab/rigday.db")).expect("a copy");
    let ended = at_home(&desk, "note R-1/1 third --lab lab");
    ended.bad(5, "ALARM");
    assert!(ended.err.contains("nothing happened"), "{}", ended.err);
    at_home(&desk, "log --lab lab").good();
    let verified = at_home(&desk, "verify --lab lab");
    assert_eq!(verified.code, 1);
    assert!(verified.out.contains("remembered head"), "{}", verified.out);
    at_home(&desk, "verify --lab lab --older").good();
    let against = desk.run("verify --lab lab --against heads");
    assert_eq!(against.code, 1, "{}", against.out);
    let doctor = at_home(&desk, "doctor --lab lab");
    assert_eq!(doctor.code, 1);
    assert!(doctor.out.contains("head --accept"), "{}", doctor.out);
    at_home(&desk, "head --accept --lab lab").good();
    at_home(&desk, "note R-1/1 third --lab lab").good();
    at_home(&desk, "doctor --lab lab").good();
}

#[test]
fn l09_a_lab_without_its_ledger_gets_none_by_the_way() {
    let desk = lab();
    std::fs::remove_file(desk.path("lab/rigday.db")).expect("the ledger");
    desk.run("note R-1/1 seen --lab lab").bad(1, "rigday init");
    assert!(!desk.has("lab/rigday.db"));
    desk.run("init lab").good();
    desk.run("note R-1/1 seen --lab lab").good();
    desk.run("init lab").bad(1, "already");
}

#[test]
fn l10_the_log_of_version_1_reads_as_it_did() {
    let desk = lab();
    let data = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/ledger");
    let written = std::fs::read_to_string(data.join("v1.log.jsonl")).expect("the log");
    std::fs::copy(data.join("v1.db"), desk.path("v1.db")).expect("the ledger");
    let log = desk.run("log --json --lab lab --ledger v1.db").good();
    assert_eq!(log, written);
    let every_line = log.lines().all(|line| line.contains("\"format\":1"));
    assert!(every_line, "each line says which format it has: {log}");
    desk.run("note R-1/1 later --lab lab --ledger v1.db").good();
    let log = desk.run("log --json --lab lab --ledger v1.db").good();
    assert!(
        log.starts_with(&written) && desk.has("v1.db.version-1"),
        "{log}"
    );
}

#[test]
fn the_selftest_finds_this_disk_good() {
    let desk = Desk::new();
    let told = desk.run("selftest --seconds 4").good();
    for part in ["commit", "kill", "crowd", "power", "bits"] {
        assert!(told.contains(&format!("ok  {part}")), "{told}");
    }
    let left = desk.folder.path().read_dir().expect("the folder").count();
    assert_eq!(left, 0, "nothing is left behind");
}
