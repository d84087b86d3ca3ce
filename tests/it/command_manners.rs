//! The manners of the commands: what programs may rely on, without a terminal.

use crate::support::program::{Desk, Ended, PROGRAM, bare};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::ExitStatusExt;
use std::process::{Command, Stdio};

/// The Monday on which the demo opens.
const MONDAY: &str = "2027-03-22T06:50";

/// Each screen's command with the header of its plain form, which stays.
const PLAIN: [(&str, &str); 5] = [
    (
        "plan lab --rounds 2",
        "load\tout\trig\tplace\tunit\tstep\tmethod\tbecause",
    ),
    (
        "due --lab lab",
        "task\tunit\tstep\tmethod\trig\tfrom\tcloses\tminutes_left",
    ),
    (
        "load lab",
        "rig\tfrom\tcalendar_min\tdown_min\tcalibration_min\texposure_min\tloading_min\tpaused_min\twaiting_min\t\
         changeover_min\theld_back_min\tno_people_min\tno_units_min\tidle_min\tfilled_min\topen_min\tknown",
    ),
    (
        "units --lab lab",
        "unit\trequest\tproduct\tbuild\tstate\tstep\tsteps\trig",
    ),
    (
        "units R-301/3 --lab lab",
        "step\tmethod\trig\tload\tout\tverdict\twho\tstate\tbecause",
    ),
];

/// The same commands with the format and the names of their JSON form.
const JSON: [(&str, i64, &[&str]); 5] = [
    (
        "plan lab --rounds 2",
        1,
        &[
            "bound",
            "cost",
            "format",
            "lab",
            "now",
            "requests",
            "seconds",
            "seed",
            "unplannable",
            "visits",
        ],
    ),
    ("due --lab lab", 1, &["due", "format"]),
    (
        "load lab",
        2,
        &[
            "bottleneck",
            "crews",
            "format",
            "groups",
            "late",
            "now",
            "rates",
            "requests",
            "rigs",
        ],
    ),
    ("units --lab lab", 2, &["format", "now", "units"]),
    ("units R-301/3 --lab lab", 2, &["format", "unit", "walk"]),
];

fn quiet(ended: &Ended, what: &str) {
    for stream in [&ended.out, &ended.err] {
        assert!(!stream.contains('\u{1b}'), "{what}: {stream}");
    }
}

/// Every text in a JSON value.
fn texts(value: &Value) -> Vec<&str> {
    match value {
        Value::String(text) => vec![text],
        Value::Array(all) => all.iter().flat_map(texts).collect(),
        Value::Object(all) => all.values().flat_map(texts).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) => Vec::new(),
    }
}

#[test]
fn t90_every_screen_has_a_command_for_programs() {
    let desk = Desk::demo();
    for (line, header) in PLAIN {
        let ended = desk.at(MONDAY, &format!("{line} --plain"));
        quiet(&ended, line);
        let out = ended.good();
        assert_eq!(out.lines().next(), Some(header), "{line}");
        let cells = header.split('\t').count();
        assert!(out.lines().count() > 1, "{line}");
        assert!(
            out.lines().all(|own| own.split('\t').count() == cells),
            "{line}"
        );
    }
    for (line, format, names) in JSON {
        let ended = desk.at(MONDAY, &format!("{line} --json"));
        quiet(&ended, line);
        let value: Value = serde_json::from_str(&ended.good()).expect("JSON");
        assert_eq!(value["format"], format, "{line}");
        let mut own: Vec<&String> = value.as_object().expect("an object").keys().collect();
        own.sort();
        assert_eq!(own, names, "{line}");
        let is_instant =
            |own: &&&str| own.len() >= 16 && own.as_bytes()[10] == b'T' && own.starts_with("20");
        let instants = texts(&value);
        let instants: Vec<&&str> = instants.iter().filter(is_instant).collect();
        assert!(
            instants.iter().all(|own| own.ends_with('Z')),
            "{line}: {instants:?}"
        );
    }
    // What acts: data to standard output, everything else to standard error.
    let assigned = desk.at(MONDAY, "assign R-402/1 fb-1 --lab lab");
    assert!(assigned.err.contains("add --yes"), "{}", assigned.err);
    assert!(assigned.good().contains("R-402/1 step 1 on fb-1"));
    crate::bench_plain::bench(&desk, "R-308/1\nl\n").good();
    let marked = desk.at(MONDAY, "mark R-308/1 pass --lab lab");
    quiet(&marked, "mark");
    assert!(marked.good().starts_with("R-308/1 pass: recorded as event"));
    let checked = desk.at(MONDAY, "check lab");
    assert_eq!(checked.err.matches("ok").count(), 0);
    assert!(checked.good().starts_with("ok: "));
}

#[test]
fn t91_exit_codes_say_how_it_ended() {
    let desk = Desk::demo();
    desk.at(MONDAY, "units --lab lab").good();
    desk.at(MONDAY, "mark nobody pass --lab lab")
        .bad(1, "no unit");
    desk.at(MONDAY, "mark R-308/1 good --lab lab")
        .bad(2, "invalid value");
    desk.run("open lab").bad(2, "need a terminal");
    desk.run("plan lab --at 2027-03-22T06:50 --rounds 2 --json plan.json")
        .good();
    let plan = desk.read("plan.json");
    let cost = plan.find("\"cost\": ").expect("a cost") + "\"cost\": ".len();
    desk.write(
        "other.json",
        &format!("{}1{}", &plan[..cost], &plan[cost..]),
    );
    desk.run("check lab other.json").bad(3, "clashes");
    let stranger = "role grant nobody manager --lab lab --person Nobody";
    let refused = desk.run(stranger);
    assert!(
        [0, 4].contains(&refused.code),
        "{}{}",
        refused.out,
        refused.err
    );
    desk.run(&format!("undo --lab lab --now {MONDAY} --person Kim"))
        .bad(4, "nothing to undo");
    // Without a terminal nothing asks and nothing is put in force but by --yes.
    let before = desk.run("head --lab lab").good();
    desk.at(MONDAY, "assign R-402/1 fb-1 --lab lab").good();
    assert_eq!(desk.run("head --lab lab").good(), before);
    desk.at(MONDAY, "assign R-402/1 fb-1 --lab lab --yes")
        .good();
    assert_ne!(desk.run("head --lab lab").good(), before);
}

#[test]
fn t91_a_signal_ends_a_command_by_that_signal() {
    let desk = Desk::demo();
    let mut child = desk
        .command(&["plan", "lab", "--at", MONDAY, "--seconds", "60"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program runs");
    std::thread::sleep(std::time::Duration::from_millis(300));
    let pid = rustix::process::Pid::from_child(&child);
    rustix::process::kill_process(pid, rustix::process::Signal::TERM).expect("it runs");
    let status = child.wait().expect("it ends");
    assert!(
        status.signal() == Some(15) || status.code() == Some(143),
        "{status:?}"
    );
}

#[test]
fn t92_a_reader_that_stops_early_ends_it_quietly() {
    let desk = Desk::demo();
    for line in [
        "units --lab lab --json",
        "log --lab lab",
        "report day --lab lab --out -",
    ] {
        let line = format!("{line} --now {MONDAY}");
        let mut child = desk
            .command(&line.split(' ').collect::<Vec<&str>>())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        let mut first = String::new();
        let mut out = BufReader::with_capacity(1, child.stdout.take().expect("its output"));
        out.read_line(&mut first).expect("a line");
        assert!(!first.is_empty(), "{line}");
        drop(out);
        let mut said = String::new();
        let mut err = child.stderr.take().expect("its words");
        err.read_to_string(&mut said).expect("text");
        let status = child.wait().expect("it ends");
        assert_eq!(status.code(), Some(0), "{line}: {said}");
        assert!(
            !said.contains("panic") && !said.contains("pipe"),
            "{line}: {said}"
        );
    }
}

/// Runs the program on a pseudo terminal of its own; what it wrote there.
fn on_a_terminal(desk: &Desk, words: &[&str], term: &str) -> (Option<i32>, String) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo terminal");
    grantpt(&master).expect("granted");
    unlockpt(&master).expect("unlocked");
    let name = ptsname(&master, Vec::new()).expect("its name");
    let open = || {
        std::fs::OpenOptions::new()
            .read(true)
            .write(true)
            .open(name.to_str().expect("text"))
            .expect("the other end")
    };
    let mut child = desk
        .command(words)
        .env("TERM", term)
        .stdin(open())
        .stdout(open())
        .stderr(open())
        .spawn()
        .expect("the program runs");
    let status = child.wait().expect("it ends");
    let mut read = Vec::new();
    let mut master = std::fs::File::from(master);
    let mut piece = [0; 4096];
    // The end of a terminal that nobody holds any more is an error.
    while let Ok(count) = master.read(&mut piece) {
        if count == 0 {
            break;
        }
        read.extend_from_slice(&piece[..count]);
    }
    (status.code(), String::from_utf8_lossy(&read).into_owned())
}

#[test]
fn t34_without_a_terminal_that_draws_the_commands_are_named() {
    let desk = Desk::demo();
    for line in ["open lab", "demo"] {
        let ended = desk.run(line);
        quiet(&ended, line);
        ended.bad(2, "rigday plan, due, load, units and mark");
        assert_eq!(ended.out, "", "{line}");
    }
    let (code, said) = on_a_terminal(&desk, &["open", "lab"], "dumb");
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("need a terminal") && !said.contains('\u{1b}'),
        "{said:?}"
    );
}

/// True where a program of that name runs here.
fn has(program: &str, argument: &str) -> bool {
    let asked = Command::new(program)
        .arg(argument)
        .stdin(Stdio::null())
        .output();
    asked.is_ok_and(|output| output.status.success())
}

#[test]
fn t94_help_versions_and_dashes() {
    let desk = Desk::demo();
    assert_eq!(desk.run("--version").good(), "rigday 0.1.0\n");
    let (short, long) = (
        desk.run("report -h").good(),
        desk.run("report --help").good(),
    );
    assert!(
        short.len() <= long.len() && short.contains("run-sheet"),
        "{short}"
    );
    // What follows -- is a name, even one that begins with a dash.
    let ended = desk.run(&format!("units --lab lab --now {MONDAY} -- -x"));
    ended.bad(1, "no unit -x");
    // A dash alone is standard output.
    let json = desk.at(MONDAY, "plan lab --rounds 2 --json -").good();
    assert!(json.starts_with("{\n  \"format\": 1"), "{json}");
    for wrong in ["repot", "units --jsn"] {
        let ended = desk.run(wrong);
        ended.bad(2, "try '--help'");
        assert!(
            ended.err.contains("similar") || ended.err.contains("tip"),
            "{}",
            ended.err
        );
    }
}

#[test]
fn t94_shells_take_the_completions() {
    let desk = Desk::new();
    for shell in ["bash", "zsh", "fish"] {
        let script = desk.run(&format!("completions {shell}")).good();
        let option = if shell == "fish" {
            "-l publish"
        } else {
            "--publish"
        };
        for word in ["run-sheet", option, "completions"] {
            assert!(script.contains(word), "{shell} lacks {word}");
        }
        if !has(shell, "--version") {
            println!("not tried by the shell itself: no {shell} on this host");
            continue;
        }
        desk.write(shell, &script);
        let checked = Command::new(shell).arg("-n").arg(desk.path(shell)).output();
        let checked = checked.expect("the shell runs");
        let said = String::from_utf8_lossy(&checked.stderr);
        assert!(
            checked.status.success() && said.is_empty(),
            "{shell}: {said}"
        );
    }
    desk.run("completions csh").bad(2, "bash, zsh, fish");
}

#[test]
fn t94_the_manual_is_a_page_that_man_and_its_lint_take() {
    let desk = Desk::new();
    let program = desk.run("man").good();
    for section in ["SYNOPSIS", "OPTIONS", "EXIT STATUS", "ENVIRONMENT", "FILES"] {
        assert!(
            program.contains(&format!(".SH \"{section}\""))
                || program.contains(&format!(".SH {section}")),
            "{section}"
        );
    }
    desk.write("rigday.1", &program);
    desk.write("plan.1", &desk.run("man plan").good());
    desk.run("man nothing").bad(2, "lists them");
    for page in ["rigday.1", "plan.1"] {
        if has("mandoc", "-h") || Command::new("mandoc").stdin(Stdio::null()).output().is_ok() {
            let lint = Command::new("mandoc")
                .args(["-T", "lint", "-W", "warning"])
                .arg(desk.path(page))
                .output()
                .expect("the lint runs");
            let said = String::from_utf8_lossy(&lint.stdout);
            assert!(lint.status.success(), "{page}: {said}");
        } else {
            println!("not tried by the lint: no mandoc on this host");
        }
        if !has("man", "--version") {
            println!("not tried by man: there is none on this host");
            continue;
        }
        let shown = Command::new("man")
            .env("MANWIDTH", "80")
            .arg("-l")
            .arg(desk.path(page))
            .output()
            .expect("man runs");
        let text = String::from_utf8_lossy(&shown.stdout);
        assert!(shown.status.success() && text.contains("rigday"), "{text}");
    }
}

#[test]
fn t95_state_lies_in_a_folder_of_its_own_and_only_absolute_paths_count() {
    let desk = Desk::demo();
    let units = |variables: &[(&str, &str)]| {
        let mut command = Command::new(PROGRAM);
        bare(&mut command).current_dir(desk.folder.path());
        command.args(["note", "R-301/3", "seen", "--lab", "lab", "--now", MONDAY]);
        command.args(["--late", "trial", "--person", "Ines"]);
        command.envs(variables.iter().copied()).stdin(Stdio::null());
        Ended::of(command.output().expect("the program runs"))
    };
    let state = desk.path("state");
    units(&[("XDG_STATE_HOME", state.to_str().expect("text"))]).good();
    let own = state.join("rigday");
    let mode = own.metadata().expect("its folder").permissions().mode();
    assert_eq!(mode & 0o777, 0o700, "{mode:o}");
    assert!(own.read_dir().expect("the folder").count() > 0);
    // A relative path does not count, and a home does.
    let home = desk.path("home");
    let home = home.to_str().expect("text");
    units(&[("XDG_STATE_HOME", "relative"), ("HOME", home)]).good();
    assert!(!desk.has("relative") && !desk.has("lab/relative"));
    assert!(desk.has("home/.local/state/rigday"));
    // Without a home the program says what it cannot keep, and does the rest.
    let homeless = units(&[]);
    assert!(homeless.err.contains("HOME"), "{}", homeless.err);
    homeless.good();
}

#[test]
fn t95_a_fault_in_a_users_file_has_its_place_and_the_rest_still_works() {
    let desk = Desk::new();
    std::fs::create_dir_all(desk.path("config/rigday")).expect("a folder");
    let settings = "[dates]\nclock = \"13h\"\ndate = \"day-month\"\n";
    desk.write("config/rigday/settings.toml", settings);
    let keys = |home: &std::path::Path| {
        let mut command = desk.command(&["keys", "--plain"]);
        command.env("XDG_CONFIG_HOME", home);
        Ended::of(command.output().expect("the program runs"))
    };
    let told = keys(&desk.path("config"));
    let place = "config/rigday/settings.toml:2: ";
    assert!(
        told.err.contains(place) && told.err.contains("clock"),
        "{}",
        told.err
    );
    assert_eq!(told.err.lines().count(), 1, "{}", told.err);
    assert!(told.good().lines().count() > 10);
    // A relative path does not count, so that its faults do not either.
    let relative = keys(std::path::Path::new("config"));
    assert_eq!(relative.err, "");
    relative.good();
}
