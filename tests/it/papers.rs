//! Papers, tables and calendars as others read them: an HTML parser, a calendar parser, a browser where
//! there is one.

use crate::support::program::Desk;
use rigday::domain::csv;
use scraper::{Html, Selector};
use std::collections::BTreeSet;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::process::Command;

/// The Monday on which the demo opens.
const MONDAY: &str = "2027-03-22T06:50";

/// Every paper, with a file name of ours.
const PAPERS: [(&str, &str); 7] = [
    ("day", "rigday-day-2027-03-22.html"),
    ("day 2027-03-17", "rigday-day-2027-03-17.html"),
    ("week", "rigday-week-2027-W12.html"),
    ("request R-202", "rigday-request-2-2027-03-22.html"),
    ("request R-301", "rigday-request-7-2027-03-22.html"),
    (
        "usage 2027-03-01..2027-03-21",
        "rigday-usage-2027-03-01-to-2027-03-21.html",
    ),
    ("run-sheet", "rigday-run-sheet-2027-03-22.html"),
];

fn report(desk: &Desk, what: &str, options: &str) -> String {
    desk.at(MONDAY, &format!("report {what} --lab lab {options}"))
        .good()
}

fn selected<'p>(page: &'p Html, what: &str) -> Vec<scraper::ElementRef<'p>> {
    page.select(&Selector::parse(what).expect("a selector"))
        .collect()
}

/// The page as an HTML5 parser has it, without one parse error.
fn parsed(text: &str) -> Html {
    let page = Html::parse_document(text);
    assert_eq!(page.errors, [""; 0], "parse errors");
    page
}

/// What every paper must have, whoever reads it and however.
fn check_page(name: &str, text: &str, desk: &Desk) {
    let page = parsed(text);
    let count = |what: &str| selected(&page, what).len();
    assert_eq!(count("html[lang]"), 1, "{name}");
    assert!(
        !selected(&page, "title")[0].inner_html().is_empty(),
        "{name}"
    );
    for (element, least) in [("h1", 1), ("main", 1), ("footer", 1), ("section > h2", 2)] {
        assert!(
            count(element) >= least,
            "{name} has {} {element}",
            count(element)
        );
    }
    assert_eq!(
        count("table"),
        count("table > caption"),
        "{name}: every table has a caption"
    );
    assert_eq!(
        count("th"),
        count("th[scope]"),
        "{name}: every header says what it heads"
    );
    assert_eq!(count("figure"), count("figure > figcaption"), "{name}");
    assert_eq!(count("figure"), count("figure > svg"), "{name}");
    let ids: Vec<&str> = selected(&page, "[id]")
        .iter()
        .filter_map(|own| own.value().id())
        .collect();
    assert_eq!(
        ids.iter().collect::<BTreeSet<_>>().len(),
        ids.len(),
        "{name}: an id twice"
    );
    for foreign in [
        "script",
        "link",
        "img",
        "iframe",
        "[src]",
        "[href]",
        "[onclick]",
    ] {
        assert_eq!(count(foreign), 0, "{name}: {foreign}");
    }
    assert!(
        !text.contains("@import") && !text.contains("http://127"),
        "{name}"
    );
    assert_eq!(count(".sample"), 1, "{name} says that it is a sample");
    let words = page.root_element().text().collect::<String>();
    let head = desk.run("head --lab lab").good();
    for said in [
        "Tolvane durability lab",
        "Ines",
        "rigday 0.1.0",
        "Europe/Lisbon",
        head.trim(),
    ] {
        assert!(words.contains(said), "{name} lacks {said}");
    }
}

#[test]
fn papers_are_whole_pages_that_a_parser_takes_without_a_fault() {
    let desk = Desk::demo();
    for (what, file) in PAPERS {
        assert_eq!(report(&desk, what, ""), format!("{file}\n"));
        check_page(what, &desk.read(file), &desk);
    }
}

#[test]
fn a_test_report_shows_what_failed_and_what_was_corrected() {
    let desk = Desk::demo();
    crate::bench_plain::bench(&desk, "R-308/1\nl\n").good();
    desk.at(MONDAY, "mark R-308/1 pass --lab lab").good();
    desk.at(MONDAY, "undo --lab lab").good();
    let text = report(&desk, "request R-202", "--out -");
    for said in [
        "image blurred",
        "step 5 fail",
        "Cautions",
        "prevail",
        "shown by pass and fail",
    ] {
        assert!(text.contains(said), "{said}");
    }
    let text = report(&desk, "request R-308", "--out -");
    let page = parsed(&text);
    let voided: Vec<String> = selected(&page, "del")
        .iter()
        .map(scraper::ElementRef::inner_html)
        .collect();
    assert!(
        voided.iter().any(|own| own == "R-308/1 step 6 pass"),
        "{voided:?}"
    );
    assert!(text.contains("recorded and corrected"));
}

#[test]
fn a_run_sheet_has_every_deed_of_the_shift_once_and_room_to_sign() {
    let desk = Desk::demo();
    let text = report(&desk, "run-sheet --crew bench --plain", "--out -");
    assert!(text.contains("Crew bench, 06:00 to 14:00"), "{text}");
    assert!(text.contains("Crew bench, 14:00 to 22:00"), "{text}");
    assert!(!text.contains("Crew mech"), "{text}");
    assert_eq!(text.matches("Signature").count(), 2);
    let all = report(&desk, "run-sheet --plain", "--out -");
    assert!(all.contains("CAUTION") && all.contains("prevail"), "{all}");
    assert!(text.contains("[ ] pass  [ ] fail  [ ] hold"));
    // What the plan in force loads for this crew on this day stands on the sheet as often as it is booked.
    let bookings = desk
        .at(MONDAY, "export csv bookings --lab lab --out -")
        .good();
    let rows = csv::read(&bookings).expect("a table");
    let cell = |row: &Vec<csv::Cell>, name: &str| {
        let column = rows[0].iter().position(|own| own.text == name);
        row[column.expect("the column")].text.clone()
    };
    let mut expected = 0;
    for row in &rows[1..] {
        let load = cell(row, "load");
        let of_bench = cell(row, "rig").starts_with("fb-");
        if of_bench && load.starts_with("2027-03-22") && load.as_str() >= "2027-03-22T06:50" {
            expected += 1;
            let unit = cell(row, "unit");
            assert!(text.contains(&unit), "{unit} is not on the sheet:\n{text}");
        }
    }
    let loads = text
        .lines()
        .filter(|line| line.contains("  load  ") && line.contains("fb-"));
    assert_eq!(loads.count(), expected, "{text}");
    let free = report(&desk, "run-sheet --date 2027-03-28 --plain", "--out -");
    assert!(free.contains("No shift begins on this day."), "{free}");
}

#[test]
fn papers_are_written_whole_or_not_at_all_and_over_nothing_else() {
    let desk = Desk::demo();
    report(&desk, "day", "");
    let path = desk.path(PAPERS[0].1);
    let mode = path.metadata().expect("a file").permissions().mode();
    assert_eq!(mode & 0o137, 0, "{mode:o}");
    let again = desk.at(MONDAY, "report day --lab lab");
    again.bad(1, "--force replaces it");
    report(&desk, "day", "--force");
    std::fs::remove_file(&path).expect("removed");
    desk.write("mine", "mine");
    symlink(desk.path("mine"), &path).expect("a link");
    desk.at(MONDAY, "report day --lab lab --force")
        .bad(1, "no regular file");
    assert_eq!(desk.read("mine"), "mine");
    desk.at(MONDAY, "report day --lab lab --out none/day.html")
        .bad(1, "nothing was written");
    let left = desk.folder.path().read_dir().expect("the folder");
    let half = left.filter(|own| {
        own.as_ref()
            .is_ok_and(|own| own.file_name().to_string_lossy().ends_with(".half"))
    });
    assert_eq!(half.count(), 0);
}

#[test]
fn wrong_words_of_a_paper_are_told_and_nothing_is_written() {
    let desk = Desk::demo();
    for (line, code, said) in [
        ("report day 2027-13-01", 2, "2027-13-01"),
        ("report week 2027-W54", 2, "2027-W12"),
        ("report usage 2027-03-02..2027-03-01", 2, "before the first"),
        ("report usage 2027-03-02", 2, "FROM..TO"),
        ("report usage 2001-01-01..2027-03-01", 2, "fit on a paper"),
        ("report request R-999", 1, "the lab has"),
        ("report run-sheet --crew nobody", 1, "the lab has bench"),
        ("export ical --rig nothing", 1, "the lab has fb-1"),
        ("export csv nothing", 2, "walks"),
        ("export csv all --out -", 2, "name one table"),
    ] {
        let ended = desk.at(MONDAY, &format!("{line} --lab lab"));
        ended.bad(code, said);
        assert_eq!(ended.out, "", "{line}");
    }
}

#[test]
fn nothing_from_data_is_taken_for_markup() {
    let desk = Desk::demo();
    let note = |text: &str| {
        let start = ["note", "R-301/3", text, "--lab", "lab", "--now", MONDAY];
        desk.run_words(&[&start[..], &["--person", "Ines", "--late", "trial"]].concat())
    };
    note("<script>alert(1)</script> & \u{202e}\"x\"").bad(4, "may not be in it");
    note("</td><script>alert(1)</script> & \"x\"").good();
    for what in ["day", "week", "request R-301"] {
        let text = report(&desk, what, "--out -");
        let page = parsed(&text);
        assert!(selected(&page, "script").is_empty());
        let cells: Vec<String> = selected(&page, "td")
            .iter()
            .map(|own| own.text().collect())
            .collect();
        let note = "note on R-301/3: </td><script>alert(1)</script> & \"x\"";
        assert!(cells.iter().any(|own| own == note), "{what}: {cells:?}");
    }
}

/// The calendar by an independent parser: for each entry its properties by name.
fn entries(text: &str) -> Vec<Vec<(String, String)>> {
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    let long = text.split("\r\n").find(|line| line.len() > 75);
    assert_eq!(long, None);
    let unfolded = icalendar::parser::unfold(text);
    let calendar = icalendar::parser::read_calendar(&unfolded).expect("a calendar");
    let of = |own: &icalendar::parser::Component<'_>| {
        assert_eq!(own.name, "VEVENT");
        let property =
            |own: &icalendar::parser::Property<'_>| (own.name.to_string(), own.val.to_string());
        own.properties.iter().map(property).collect()
    };
    calendar.components.iter().map(of).collect()
}

fn value<'e>(entry: &'e [(String, String)], name: &str) -> &'e str {
    let found = entry.iter().find(|(own, _)| own == name);
    &found
        .unwrap_or_else(|| panic!("{name} is not in {entry:?}"))
        .1
}

#[test]
fn a_calendar_is_read_back_with_every_booking() {
    let desk = Desk::demo();
    let text = desk.at(MONDAY, "export ical --lab lab --out -").good();
    let all = entries(&text);
    let bookings = desk
        .at(MONDAY, "export csv bookings --lab lab --out -")
        .good();
    let rows = csv::read(&bookings).expect("a table");
    let published = desk.run("log --lab lab --json").good();
    assert!(published.contains("published"));
    let mut found = 0;
    for row in &rows[1..] {
        let cell = |name: &str| {
            let column = rows[0].iter().position(|own| own.text == name);
            &row[column.expect("the column")].text
        };
        let start = format!("{} step {} ", cell("unit"), cell("step"));
        let own = all
            .iter()
            .find(|own| value(own, "SUMMARY").starts_with(&start));
        let Some(own) = own else {
            continue;
        };
        found += 1;
        // Lisbon is at UTC until 28 March.
        if cell("load") < &"2027-03-28".to_owned() && cell("load") >= &MONDAY.to_owned() {
            let load = cell("load")[..16].replace(['-', ':'], "") + "00Z";
            assert_eq!(value(own, "DTSTART"), load, "{start}");
        }
        assert!(value(own, "LOCATION").starts_with(cell("rig")), "{start}");
    }
    assert!(found > 30 && found == all.len(), "{found} of {}", all.len());
    let uids: BTreeSet<&str> = all.iter().map(|own| value(own, "UID")).collect();
    assert_eq!(uids.len(), all.len());
}

#[test]
fn ids_of_a_calendar_stay_when_bookings_move() {
    let desk = Desk::demo();
    let uids = |now: &str| -> BTreeSet<(String, String)> {
        let text = desk
            .at(now, "export ical --lab lab --rig fb-1 --out -")
            .good();
        let of = |own: &Vec<(String, String)>| {
            let summary = value(own, "SUMMARY").to_owned();
            (summary, value(own, "UID").to_owned())
        };
        entries(&text).iter().map(of).collect()
    };
    let before = uids(MONDAY);
    assert!(!before.is_empty());
    desk.at(MONDAY, "plan lab --rounds 3 --publish").good();
    let after = uids(MONDAY);
    for (summary, uid) in &before {
        let own = after.iter().find(|(own, _)| own == summary);
        assert!(own.is_none_or(|(_, own)| own == uid), "{summary}");
    }
    assert!(before.intersection(&after).count() > 0);
    let crew = desk
        .at(MONDAY, "export ical --lab lab --crew climate --out -")
        .good();
    let crew = entries(&crew);
    assert!(crew.iter().all(|own| {
        ["load ", "unload ", "attend "]
            .iter()
            .any(|verb| value(own, "SUMMARY").starts_with(verb))
    }));
}

#[test]
fn every_table_is_written_and_read_back_and_numbers_stay_numbers() {
    let desk = Desk::demo();
    let paths = desk
        .at(MONDAY, "export csv all --lab lab --out tables")
        .good();
    assert_eq!(paths.lines().count(), 15, "{paths}");
    for path in paths
        .lines()
        .filter(|own| own.strip_suffix(".csv").is_some())
    {
        let text = desk.read(path);
        let rows = csv::read(&text).expect(path);
        assert!(rows.iter().all(|row| row.len() == rows[0].len()), "{path}");
        assert_eq!(
            text.matches('\n').count(),
            text.matches("\r\n").count(),
            "{path}"
        );
    }
    assert_eq!(
        desk.read("tables/rigday-head.txt"),
        desk.run("head --lab lab").good()
    );
    let due = desk.read("tables/rigday-due.csv");
    let left = due
        .lines()
        .skip(1)
        .filter_map(|line| line.rsplit(',').next());
    let numbers: Vec<i64> = left
        .filter(|own| !own.is_empty())
        .map(|own| own.parse().expect(own))
        .collect();
    assert!(numbers.iter().any(|own| *own < 0), "{numbers:?}");
    desk.at(MONDAY, "export csv all --lab lab --out tables")
        .bad(1, "--force");
    desk.at(MONDAY, "export csv all --lab lab --out tables --force")
        .good();
}

/// A browser of this host, where there is one.
fn browser() -> Option<&'static str> {
    ["chromium", "chromium-browser", "google-chrome"]
        .into_iter()
        .find(|name| {
            let asked = Command::new(name).arg("--version").output();
            asked.is_ok_and(|output| output.status.success())
        })
}

#[test]
fn a_browser_opens_every_paper() {
    let Some(browser) = browser() else {
        println!("skipped: no Chromium on this host");
        return;
    };
    let desk = Desk::demo();
    for (ix, (what, file)) in PAPERS.iter().enumerate() {
        report(&desk, what, "");
        let shot = desk.path(&format!("{ix}.png"));
        let page = desk.path(file);
        let output = Command::new(browser)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--window-size=1000,1400",
            ])
            .arg(format!(
                "--user-data-dir={}",
                desk.path("browser").display()
            ))
            .arg(format!("--screenshot={}", shot.display()))
            .arg(format!("file://{}", page.display()))
            .output()
            .expect("the browser runs");
        let said = String::from_utf8_lossy(&output.stderr);
        let size = shot.metadata().map_or(0, |own| own.len());
        assert!(size > 20_000, "{what}: a picture of {size} bytes\n{said}");
    }
}

/// A lab of a hundred rigs with a request of fifty units for every day and a half of a year.
fn hundred_rigs() -> rigday::domain::Lab {
    let mut lab = "format = 1\n[lab]\nname = \"Large\"\nzone = \"Europe/Lisbon\"\n\
        [[crew]]\nid = \"all\"\n[[crew.shift]]\ndays = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\"]\n\
        from = \"06:00\"\nto = \"22:00\"\npeople = 20\n"
        .to_owned();
    for rig in 0..100 {
        lab.push_str(&format!(
            "[[rig]]\nid = \"r-{rig}\"\ndoes = [\"work\"]\npositions = 2\nload = \"5m\"\nunload = \"5m\"\n"
        ));
    }
    let methods = "[[method]]\nid = \"work\"\ndoes = \"work\"\nhold = \"4h\"\n";
    let step = "[[sequence.step]]\nmethod = \"work\"\n".repeat(4);
    let mut requests = String::new();
    for request in 0..250 {
        requests.push_str(&format!(
            "[[request]]\nid = \"R-{request}\"\nproduct = \"p\"\nbuild = \"b\"\nsequence = \"walk\"\n\
             units = 50\nready = \"2026-01-01T08:00\"\n"
        ));
    }
    crate::support::lab_from_files(&[
        ("lab.toml", lab),
        ("methods.toml", methods.to_owned()),
        (
            "sequences.toml",
            format!("[[sequence]]\nid = \"walk\"\n{step}"),
        ),
        ("requests.toml", requests),
    ])
}

/// What happened there in a year: 12,500 units on four rigs each, 100,250 events.
fn year(lab: &rigday::domain::Lab) -> Vec<rigday::domain::Event> {
    use rigday::domain::{Event, EventBody, EventId, Minutes, Seq};
    let begin = lab.requests[0].ready;
    let taken = |own: &rigday::domain::lab::Request| {
        let (request, units) = (own.id.clone(), own.units.clone());
        (begin, EventBody::RequestTaken { request, units })
    };
    let mut told: Vec<_> = lab.requests.iter().map(taken).collect();
    let units = lab.requests.iter().flat_map(|own| &own.units);
    for (ix, unit) in (0_u32..).zip(units) {
        for step in 1..=4_u32 {
            let rig = lab.rigs[(ix + step) as usize % 100].id.clone();
            let slot = i64::from(ix / 100 * 4 + step);
            let load = begin + Minutes::new(slot * 17 * 60 + i64::from(ix % 100));
            let start = EventBody::VisitStarted {
                unit: unit.clone(),
                step,
                rig: rig.clone(),
                position: Some(1),
                run: None,
            };
            told.push((load, start));
            let end = EventBody::VisitEnded {
                unit: unit.clone(),
                step,
                rig,
            };
            told.push((load + Minutes::new(250 + i64::from(ix % 7)), end));
        }
    }
    told.sort_by_key(|(at, _)| *at);
    let event = |(seq, (happened, body)): (u64, (rigday::domain::Minute, EventBody))| Event {
        seq: Seq(seq),
        id: EventId(u128::from(seq).to_be_bytes()),
        happened,
        recorded_ms: happened.get() * 60_000,
        clock_back: false,
        actor: crate::support::events::actor("Ines").into(),
        body,
    };
    (1..).zip(told).map(event).collect()
}

#[test]
fn a_year_of_a_hundred_rigs_is_on_paper_in_a_second() {
    use rigday::app::desk::{Desk, Opening};
    use rigday::app::papers::{Made, usage};
    use rigday::clock::{Clock, FakeClock, SystemClock};
    use rigday::ledger::{Ledger, MemoryLedger};
    let lab = hundred_rigs();
    let events = year(&lab);
    assert!(events.len() >= 100_000);
    let now = events.last().expect("an event").happened;
    let (store, _) = crate::support::events::still_env(1);
    let ledger = MemoryLedger::new(store.clone());
    let head = ledger.head().expect("a head");
    let with = Opening {
        lab,
        ledger: Box::new(ledger),
        clock: std::sync::Arc::new(FakeClock::at(now)),
        ids: store.ids,
        actor: crate::support::events::actor("Ines"),
    };
    let mut desk = Desk::open(with).expect("a desk");
    desk.floor = rigday::floor::Floor::fold(events);
    let watch = SystemClock::default();
    let last = desk.lab.zone.local(now).date();
    let first = last - chrono::Days::new(364);
    let text = rigday::report::html::html(&usage(
        &desk,
        first,
        last,
        &Made {
            ms: 0,
            head,
            sample: false,
        },
    ));
    let took = watch.elapsed();
    println!(
        "a year of 100 rigs on paper: {} ms, {} bytes",
        took.as_millis(),
        text.len()
    );
    parsed(&text);
    assert!(text.contains("r-99"));
    // A tenth of this without other work and optimised; here only what grows too fast is caught.
    assert!(took.as_secs() < 30, "{took:?}");
}
