//! The command line as a whole: exit codes, streams, and a morning at the demo lab by commands alone.
//!
//! Every command is a process of its own, with an empty environment, in a temporary folder.

use crate::support::program::Desk;
use std::process::Stdio;

/// A first lab in `lab` and a plan of it in `plan.json`.
fn planned_first_lab() -> Desk {
    let desk = Desk::new();
    desk.run("init lab").good();
    desk.run("plan lab --at 2027-03-01T06:00 --rounds 5 --json plan.json")
        .good();
    desk
}

#[test]
fn a_first_lab_is_good_and_its_plan_keeps_the_rules() {
    let desk = planned_first_lab();
    assert!(desk.run("check lab").good().starts_with("ok: "));
    assert!(desk.run("check lab plan.json").good().contains("no clash"));
    let again = desk.run("plan lab --at 2027-03-01T06:00 --rounds 5 --json -");
    assert_eq!(again.good(), desk.read("plan.json"), "the same bytes again");
}

#[test]
fn init_changes_nothing_that_is_there() {
    let desk = Desk::new();
    desk.write("lab.toml", "mine");
    desk.run("init .").bad(1, "lab.toml already");
    assert_eq!(desk.read("lab.toml"), "mine");
    assert!(!desk.has("rigday.db") && !desk.has("requests.toml"));
}

#[test]
fn every_fault_of_a_folder_has_its_file_line_and_column() {
    let desk = planned_first_lab();
    let broken = desk
        .read("lab/lab.toml")
        .replace("Europe/Lisbon", "Europe/Lisboa");
    desk.write("lab/lab.toml", &broken);
    let broken = desk
        .read("lab/requests.toml")
        .replace("units = 3", "units = \"three\"");
    desk.write("lab/requests.toml", &broken);
    let ended = desk.run("check lab");
    ended.bad(1, "lab.toml:6:8: ");
    ended.bad(1, "nearest allowed: Europe/Lisbon");
    let line = broken.lines().position(|line| line.starts_with("units"));
    ended.bad(
        1,
        &format!("requests.toml:{}:", line.expect("the line") + 1),
    );
    desk.run("check nowhere").bad(1, "the file is missing");
}

#[test]
fn wrong_calls_end_with_two() {
    let desk = planned_first_lab();
    for line in [
        "",
        "bogus",
        "mark R-1/1",
        "mark R-1/1 good",
        "plan lab --seconds=-1",
        "plan lab --at 2027-03-01T06:00 --publish",
        "plan lab --published plan.json",
        "plan lab --at tomorrow",
        "load lab --days 0",
        "load lab --from 2027-13-01",
    ] {
        let ended = desk.run(line);
        assert_eq!(ended.code, 2, "{line}: {}{}", ended.out, ended.err);
        assert_eq!(ended.out, "", "{line}");
        assert_ne!(ended.err, "", "{line}");
    }
}

#[test]
fn a_changed_plan_file_ends_with_three_and_names_the_rule() {
    let desk = planned_first_lab();
    let plan = desk.read("plan.json");
    let load = "\"load\":\"2027-03-01T08:00:00Z\"";
    assert!(plan.contains(load));
    let early = plan.replacen(load, "\"load\":\"2027-03-01T07:00:00Z\"", 1);
    desk.write("early.json", &early);
    let ended = desk.run("check lab early.json");
    ended.bad(3, "clashes");
    assert!(ended.out.contains("R2 R-1/1 step 1"), "{}", ended.out);

    let cost = plan.find("\"cost\": ").expect("a plan has a cost") + "\"cost\": ".len();
    desk.write(
        "cheap.json",
        &format!("{}1{}", &plan[..cost], &plan[cost..]),
    );
    let ended = desk.run("check lab cheap.json");
    ended.bad(3, "clashes");
    assert!(ended.out.starts_with("sum "), "{}", ended.out);

    desk.write("torn.json", &plan[..plan.len() / 2]);
    desk.run("check lab torn.json").bad(1, "torn.json: ");
}

#[test]
fn the_screens_need_a_terminal_and_say_so_in_plain_text() {
    let desk = planned_first_lab();
    for line in ["open lab", "demo --keep demo"] {
        let ended = desk.run(line);
        ended.bad(2, "need a terminal");
        assert_eq!(ended.out, "", "{line}");
        assert!(!ended.err.contains('\u{1b}'), "{line}");
    }
    assert!(!desk.has("demo"), "nothing was written");
}

#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let desk = Desk::demo();
    let mut command = desk.command(&["log", "--lab", "lab", "--now", "2027-03-22T06:50"]);
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    let err = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(0), "{err}");
    assert!(!err.contains("pipe") && !err.contains("panic"), "{err}");
}

#[test]
fn a_verdict_needs_its_reason_and_a_serial_that_exists() {
    let desk = Desk::demo();
    let morning = "2027-03-22T06:50";
    let before = desk.at(morning, "log --lab lab").good();
    desk.at(morning, "mark R-308/1 fail --lab lab")
        .bad(2, "--reason");
    desk.at(morning, "mark R-38/1 pass --lab lab")
        .bad(1, "no unit R-38/1; nearest: R-308/1");
    let after = desk.at(morning, "log --lab lab").good();
    for line in after.lines().skip(before.lines().count()) {
        assert!(line.contains(" taken in, "), "recorded: {line}");
    }
}

/// A line of `due --plain`.
#[derive(Debug)]
struct Task {
    from: String,
    what: String,
    unit: String,
    method: String,
}

/// What is due first from an instant on; who comes out goes before who goes in.
fn first_due(desk: &Desk, now: &str) -> Task {
    let text = desk.at(now, "due --plain --hours 4 --lab lab").good();
    let task = |line: &str| {
        let cells: Vec<&str> = line.split('\t').collect();
        let minute = &cells[5][.."2027-03-22T06:50".len()];
        Task {
            from: minute.max(now).to_owned(),
            what: cells[0].to_owned(),
            unit: cells[1].to_owned(),
            method: cells[3].to_owned(),
        }
    };
    let tasks = text.lines().skip(1).map(task);
    // What is on hold waits for a person's decision.
    tasks
        .filter(|task| task.what != "decide")
        .min_by_key(|task| (task.from.clone(), task.what == "load"))
        .expect("something is due")
}

/// Does what is due, minute by minute, until a full check is due its verdict.
fn work_until_full_check(desk: &Desk, from: &str) -> Task {
    const TASKS: usize = 60;
    let mut now = from.to_owned();
    for _ in 0..TASKS {
        let task = first_due(desk, &now);
        now.clone_from(&task.from);
        let line = match task.what.as_str() {
            "verdict" if task.method == "full-check" => return task,
            "verdict" => format!("mark {} pass", task.unit),
            "load" => format!("start {}", task.unit),
            "unload" => format!("end {}", task.unit),
            other => panic!("an unknown task: {other}"),
        };
        let told = desk.at(&now, &format!("{line} --lab lab")).good();
        assert!(told.contains("recorded as event"), "{told}");
    }
    panic!("no full check came due in {TASKS} tasks");
}

#[test]
fn a_whole_morning_by_commands_alone() {
    let desk = Desk::demo();
    let plan = "plan lab --rounds 5 --publish";
    let told = desk.at("2027-03-22T06:50", plan).good();
    assert!(told.contains("published: recorded as event"), "{told}");

    let Task { from, unit, .. } = work_until_full_check(&desk, "2027-03-22T06:50");
    let words = [
        "mark",
        &unit,
        "fail",
        "--reason",
        "water inside",
        "--lab",
        "lab",
        "--now",
        &from,
        "--person",
        "Bram",
    ];
    desk.run_words(&words).good();

    let told = desk.at(&from, plan).good();
    assert!(told.contains("published: recorded as event"), "{told}");
    let walk = desk.at(&from, &format!("units {unit} --lab lab")).good();
    assert!(walk.contains("fail"), "{walk}");
    assert!(
        !walk.contains("booked"),
        "a failed unit is not planned: {walk}"
    );

    let load: serde_json::Value =
        serde_json::from_str(&desk.at(&from, "load lab --json --days 1").good()).expect("JSON");
    let rigs = load["rigs"].as_array().expect("a list of rigs");
    let used = |rig: &serde_json::Value| {
        rig["rig"] == "fb-1" && rig["intervals"][0]["state_minutes"]["exposure"].as_i64() > Some(0)
    };
    assert!(rigs.iter().any(used), "{load}");

    let log = desk.at(&from, "log --lab lab").good();
    let told: Vec<&str> = log.lines().collect();
    let at = |what: &str| {
        let place = told.iter().rposition(|line| line.contains(what));
        place.unwrap_or_else(|| panic!("{what} is not in the log"))
    };
    let verdict = at(&format!("\tBram\t{unit} step"));
    assert!(
        told[verdict].contains("fail: water inside"),
        "{}",
        told[verdict]
    );
    assert!(at(&format!("{unit} loaded on fb-1")) < verdict);
    assert!(verdict < at("published"));
}

/// Every file of a folder with what is in it.
fn files(folder: &std::path::Path) -> Vec<(String, Vec<u8>)> {
    let entries = std::fs::read_dir(folder).expect("the folder");
    let mut all: Vec<(String, Vec<u8>)> = entries
        .map(|entry| entry.expect("an entry"))
        // Which readers there are at the moment is no content.
        .filter(|entry| !entry.file_name().to_string_lossy().ends_with("-shm"))
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            (name, std::fs::read(entry.path()).expect("a file"))
        })
        .collect();
    all.sort();
    all
}

#[test]
fn a_what_if_shows_the_difference_and_leaves_ledger_folder_and_plan_alone() {
    let desk = Desk::demo();
    let now = "2027-03-22T06:50";
    desk.at(now, "plan lab --rounds 5 --publish").good();
    let now_in = |desk: &Desk| {
        let log = desk.at(now, "log --lab lab").good();
        (log, files(&desk.folder.path().join("lab")))
    };
    let before = now_in(&desk);
    let down = "rig-down dr-1 2027-03-23T06:00 2027-03-24T18:00";
    let what_if = |more: &[&str]| {
        let mut words = vec![
            "what-if",
            "lab",
            down,
            "priority R-402 9",
            "--rounds",
            "5",
            "--now",
            now,
        ];
        words.extend(more);
        desk.run_words(&words)
    };
    let told = what_if(&[]).good();
    for said in [
        "dr-1 down from Tue 23 Mar 06:00 to Wed 24 Mar 18:00",
        "R-402 at priority 9",
        "the plan in force cost",
        "request  published",
        "nothing is published; nothing was recorded",
    ] {
        assert!(told.contains(said), "{said} is not in:\n{told}");
    }
    let json: serde_json::Value = serde_json::from_str(&what_if(&["--json"]).good()).expect("JSON");
    let requests = json["requests"].as_array().expect("a list");
    let later = |own: &serde_json::Value| own["later_minutes"].as_i64() > Some(0);
    assert!(requests.iter().any(later), "{json}");
    let first = json["changes"][0].as_str().expect("a line");
    assert_eq!(
        first,
        "rig-down dr-1 2027-03-23T06:00+00:00 2027-03-24T18:00+00:00"
    );
    let plain = what_if(&["--plain"]).good();
    assert_eq!(plain.lines().count(), requests.len() + 1);
    assert_eq!(
        plain,
        what_if(&["--plain"]).good(),
        "the same rounds, the same answer"
    );
    assert!(before == now_in(&desk), "nothing was written");
    desk.run_words(&[
        "what-if",
        "lab",
        "rig-down dr-9 2027-03-23T06:00 2027-03-24T18:00",
        "--now",
        now,
    ])
    .bad(2, "no rig dr-9; nearest: dr-1");
    desk.run_words(&["what-if", "lab", "rig-dwon dr-1", "--now", now])
        .bad(2, "nearest: rig-down");
    desk.run_words(&["what-if", "lab", "--now", now])
        .bad(2, "no change is given");
}

#[test]
fn a_late_request_says_why_and_what_would_help() {
    let desk = Desk::demo();
    let now = "2027-03-22T06:50";
    let told = desk.at(now, "plan lab --rounds 5 --remedies").good();
    for said in ["why R-402 is late:", "  cause: ", "on time with a due date"] {
        assert!(told.contains(said), "{said} is not in:\n{told}");
    }
    let json = desk.at(now, "plan lab --rounds 5 --json -").good();
    let plan: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    for request in plan["requests"].as_array().expect("a list") {
        let late = request["late_minutes"].as_i64() > Some(0);
        let why = request["why"].as_array().map_or(0, Vec::len);
        assert_eq!(late, why > 0, "{request}");
    }
}

/// Nothing of the plan in force was done, whatever the reason: a new plan still keeps every rule.
#[test]
fn a_lab_that_fell_behind_can_plan_anew() {
    let desk = Desk::demo();
    desk.at("2027-03-22T06:50", "plan lab --rounds 5 --publish")
        .good();
    for now in ["07:31", "09:05", "12:00"] {
        desk.at(&format!("2027-03-22T{now}"), "plan lab --rounds 5")
            .good();
    }
}

#[test]
fn an_undone_verdict_stays_in_the_log() {
    let desk = Desk::demo();
    desk.at("2027-03-22T06:50", "plan lab --rounds 5 --publish")
        .good();
    let Task { from, unit, .. } = work_until_full_check(&desk, "2027-03-22T06:50");
    desk.at(&from, &format!("mark {unit} pass --lab lab"))
        .good();
    desk.at(
        &from,
        &format!("mark {unit} fail --reason cracked --lab lab"),
    )
    .bad(4, "undo it first");
    desk.at(&from, "undo --lab lab").good();
    let log = desk.at(&from, "log --lab lab").good();
    let pass = log
        .lines()
        .rfind(|line| line.contains(&format!("{unit} step")));
    assert!(pass.expect("the verdict").ends_with("undone"));
    desk.at(&from, &format!("mark {unit} pass --lab lab"))
        .good();
}

/// The words of a help text that a test looks for: commands, or options.
fn words_of<'t>(help: &'t str, is_one: impl Fn(&str) -> bool) -> Vec<&'t str> {
    let first = |line: &'t str| line.split_whitespace().next();
    help.lines()
        .filter_map(first)
        .filter(|word| is_one(word))
        .collect()
}

/// The commands that a help text lists.
fn commands_of(help: &str) -> Vec<&str> {
    let list = help
        .split("\n\n")
        .find(|part| part.starts_with("Commands:"));
    let list = list.unwrap_or_default().trim_start_matches("Commands:");
    words_of(list, |word| word != "help")
}

#[test]
fn the_readme_names_every_command_and_option() {
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md"));
    let readme = readme.expect("the README");
    let desk = Desk::new();
    let help = desk.run("--help").good();
    let mut commands: Vec<String> = commands_of(&help).into_iter().map(str::to_owned).collect();
    assert!(commands.len() > 10, "{help}");
    while let Some(command) = commands.pop() {
        assert!(readme.contains(&format!("| `{command}")), "{command}");
        let help = desk.run(&format!("{command} --help")).good();
        commands.extend(
            commands_of(&help)
                .iter()
                .map(|own| format!("{command} {own}")),
        );
        for option in words_of(&help, |word| word.starts_with("--")) {
            assert!(readme.contains(&format!("`{option}")), "{command} {option}");
        }
    }
}

#[test]
fn methods_are_listed_with_their_time_on_the_rigs() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let list = desk.run("method --lab lab").good();
    assert!(list.contains("\nIEC 60068-2-1, test A: cold\n"), "{list}");
    assert!(
        list.contains("  cold-minus-40-16h                   heat-1 17h"),
        "{list}"
    );
    assert!(
        list.contains("  salt-mist-cyclic-2                  no rig does salt-mist"),
        "{list}"
    );
    let plain = desk.run("method --lab lab --plain").good();
    assert!(plain.starts_with("method\tstandard\tdoes\trig\tminutes\twhy_not\n"));
    assert!(
        plain.contains("\ndrop-12-faces\t\tdrop\tdrop-1\t45\t\n"),
        "{plain}"
    );
}

#[test]
fn every_page_of_a_method_fits_eighty_columns() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let list = desk.run("method --lab lab").good();
    let wide = |text: &str| {
        text.lines()
            .find(|line| line.chars().count() > 80)
            .map(str::to_owned)
    };
    assert_eq!(wide(&list), None);
    // One of each standard, and every one with a shape or a profile of its own kind.
    for name in [
        "cold",
        "atmospheres",
        "ip-water",
        "function-check",
        "drop-12-faces",
        "cold-minus-40-16h",
        "temperature-change-rapid-40-85-30m",
        "temperature-change-15k",
        "damp-heat-cyclic-55-6x-chamber",
        "damp-heat-composite",
        "salt-mist-cyclic-3",
        "humidity-810",
        "component-cycling-b",
        "transit-drop-26-122cm",
        "tactical-drop",
        "shock-half-sine-50g",
    ] {
        let page = desk.run(&format!("method {name} --lab lab")).good();
        assert_eq!(wide(&page), None, "{page}");
        assert!(page.lines().count() > 5, "{page}");
    }
}

#[test]
fn a_page_says_what_a_method_is_and_what_can_hurt() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let page = desk.run("method cold-minus-40-16h --lab lab").good();
    for words in [
        "IEC 60068-2-1, test A: cold",
        "holds count from a stable load",
        "profile on heat-1",
        "  heat-1 (heat-1): 17h",
        "to_c: -65, -55, -50, -40",
        "temperature tolerance: ±3 K (read)",
        "Frostbite at the door",
        "qualified people prevail",
        "source: IEC 60068-2-1",
    ] {
        assert!(page.contains(words), "{words} is not in\n{page}");
    }
    let page = desk.run("method transit-drop-26-122cm --lab lab").good();
    assert!(page.contains("(6 + 5 + 5 + 5 + 5)"), "{page}");
    assert!(page.contains("cannot: drop-1 counts no cycles"), "{page}");
    let page = desk.run("method salt-mist-cyclic-2 --lab lab").good();
    assert!(page.contains("missing: no rig does salt-mist"), "{page}");
    desk.run("method cold-minus-40-16 --lab lab")
        .bad(1, "did you mean cold-minus-40-16h?");
}

#[test]
fn without_a_lab_the_catalogue_alone_is_shown() {
    let desk = Desk::new();
    let ended = desk.run("method damp-heat-cyclic-55");
    assert!(
        ended.err.contains("the catalogue alone is shown"),
        "{}",
        ended.err
    );
    assert!(ended.good().contains("profile as the rig's own programme"));
    desk.run("method --lab nowhere")
        .bad(1, "nowhere cannot be used");
}

#[test]
fn a_warning_is_told_by_every_command_and_stops_none() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let steps = desk
        .read("lab/sequences.toml")
        .replace("rest = \"1h..4h\"", "rest = \"10m..4h\"");
    desk.write("lab/sequences.toml", &steps);
    for line in [
        "check lab",
        "plan lab --at 2027-03-01T06:00 --rounds 1",
        "units --lab lab",
        "method --lab lab",
        "due --lab lab",
    ] {
        let ended = desk.run(line);
        let told = ended.err.contains("warning: sequences.toml:")
            && ended
                .err
                .contains("has the measurement 1h or more after the exposure");
        assert!(told, "{line}: {}", ended.err);
        ended.good();
    }
}

#[test]
fn calc_says_a_value_with_its_meaning_and_answers_rows_in_order() {
    let desk = Desk::new();
    let said = desk.run("calc binomial_n r=0.9 c=0.9 k=0").good();
    assert!(said.starts_with("22  units to test"), "{said}");
    desk.run("calc binomial_n r=1 c=0.9 k=0")
        .bad(1, "error:out_of_range: r is 1");
    desk.run("calc binomial_n r=0.9 c=0.9").bad(2, "needs k");
    desk.run("calc bin r=0.9").bad(2, "no function bin");
    let list = desk.run("calc").good();
    assert!(
        list.contains("rigday calc weibull_int_beta lo=0\\|100"),
        "{list}"
    );
    let rows = "function,inputs\nbinomial_n,r=0.9;c=0.9;k=0\n\nweibull_beta,t=100;d=1\n\
                mtbf_upper,\"t=1000;r=0;c=0.9\"\nsprt_mtbf_decide,good=200;bad=100;alpha=0.1;beta=0.1;r=2;t=800\n";
    std::fs::write(desk.folder.path().join("rows.csv"), rows).expect("a file");
    let said = desk.run("calc --batch rows.csv").good();
    assert_eq!(said, "22\nerror:no_finite_mle\ninf\naccept\n");
    std::fs::write(
        desk.folder.path().join("bad.csv"),
        "binomial_n,r=0.9\nbenard,i=1;n=1\n",
    )
    .expect("a file");
    let ended = desk.run("calc --batch bad.csv");
    ended.bad(1, "line 1: binomial_n needs c");
    assert_eq!(ended.out, "error:missing_input\n0.5\n");
}

#[test]
fn size_writes_a_request_that_the_lab_takes() {
    let desk = Desk::demo();
    let now = "2027-03-22T06:50";
    let said = desk.at(now, "size lab --sequence buttons --units 6 --shape 2 --mission 400000 --id R-600 --product meter").good();
    assert!(
        said.contains("# 6 units, each to 763402 cycles (1.909 missions)"),
        "{said}"
    );
    assert!(said.contains("# were the shape 1.5, "), "{said}");
    assert!(
        said.contains("rig-days; beside everything else it finishes"),
        "{said}"
    );
    let said = desk
        .at(
            now,
            "size lab --sequence heat --id R-601 --due 2027-05-01T12:00",
        )
        .good();
    assert!(
        said.contains("units = 22") && said.contains("# 22 units, each to 96 hours"),
        "{said}"
    );
    let file = desk.folder.path().join("lab/requests.toml");
    let before = std::fs::read_to_string(&file).expect("the requests");
    std::fs::write(&file, format!("{before}\n{said}")).expect("a file");
    desk.run("check lab").good();
    desk.at(now, "size lab --sequence heat --id R-601")
        .bad(1, "there is a request R-601 already");
    desk.at(now, "size lab --sequence heat --units 6")
        .bad(1, "22 are needed");
    desk.at(now, "size lab --sequence drop")
        .bad(1, "no sequence drop");
    let words = [
        "size",
        "lab",
        "--sequence",
        "heat",
        "--per-day",
        "2",
        "--years",
        "5",
        "--shape",
        "2",
        "--acceleration",
        "af_arrhenius ea=0.7 t_use=25 t_test=70",
        "--now",
        now,
    ];
    let said = desk.run_words(&words).good();
    assert!(
        said.contains("were Ea 0.80 eV") && said.contains("3650 in the field"),
        "{said}"
    );
}

#[test]
fn evidence_tells_what_the_results_show_and_draws_it() {
    let desk = Desk::demo();
    let now = "2027-03-22T06:50";
    let plain = desk.at(now, "evidence --plain --lab lab").good();
    assert!(
        plain.starts_with("request\tproduct\tbuild\tunits\tfailed"),
        "{plain}"
    );
    assert_eq!(plain.lines().count(), 22);
    let all = desk.at(now, "evidence --lab lab").good();
    assert!(
        all.contains("line soil meter line line-sample: failed R-206"),
        "{all}"
    );
    let units = desk.at(now, "evidence R-201 --plain --lab lab").good();
    assert!(
        units.contains("R-201/4\tfailed\t200000\t300000\tcycles\tbutton sticks"),
        "{units}"
    );
    let json = desk.at(now, "evidence R-201 --json --lab lab").good();
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["legs"][0]["failed"], 1);
    let svg = desk.at(now, "evidence R-201 --svg - --lab lab").good();
    assert!(
        svg.starts_with("<svg") && svg.ends_with("</svg>\n") && svg.contains("<circle"),
        "{svg}"
    );
    desk.at(now, "evidence R-999 --lab lab")
        .bad(1, "no request R-999");
}
