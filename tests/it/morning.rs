//! The morning sheet on the command line.

use super::support::program::Desk;

#[test]
fn the_morning_sheet_is_a_table_and_json_and_the_ledger_stays_as_it_is() {
    let desk = Desk::demo();
    let before = desk.bytes("lab/rigday.db");
    let told = desk.at("2027-03-22T06:50", "due --lab lab --morning --plain");
    let told = told.good();
    let mut lines = told.lines();
    assert_eq!(lines.next(), Some("kind\tat\twhat\tnext"));
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split('\t').collect()).collect();
    assert!(!rows.is_empty());
    for row in &rows {
        assert_eq!(row.len(), 4, "{row:?}");
        assert!(
            !row[0].is_empty() && !row[2].is_empty() && !row[3].is_empty(),
            "{row:?}"
        );
    }
    // md-1 is down since Thursday with two units in it; seven requests came in on Monday.
    assert_eq!(rows[0][0], "rig down");
    assert!(rows[0][2].starts_with("md-1 is down since"), "{rows:?}");
    assert_eq!(rows.iter().filter(|row| row[0] == "new").count(), 7);
    let json = desk.at("2027-03-22T06:50", "due --lab lab --morning --json");
    let json: serde_json::Value = serde_json::from_str(&json.good()).expect("JSON");
    assert_eq!(json["format"], 1);
    let entries = json["morning"].as_array().expect("entries");
    assert_eq!(entries.len(), rows.len());
    for (entry, row) in entries.iter().zip(&rows) {
        assert_eq!(
            (entry["kind"].as_str(), entry["what"].as_str()),
            (Some(row[0]), Some(row[2]))
        );
    }
    assert_eq!(entries[0]["about"], "rig");
    assert_eq!(entries[0]["id"], "md-1");
    assert!(
        desk.bytes("lab/rigday.db") == before,
        "looking records nothing"
    );
}

#[test]
fn a_rig_with_two_faults_is_back_when_both_are_over() {
    let desk = Desk::demo();
    let at = |time: &str, line: &str| desk.at(&format!("2027-03-22T{time}"), line);
    at("07:00", "rig down fb-1 --reason lamp --lab lab").good();
    at("07:05", "rig down fb-1 --reason Lamp --lab lab").bad(4, "down already");
    at("07:10", "rig down fb-1 --reason cable --lab lab").good();
    let first = at("07:30", "rig up fb-1 --lab lab").good();
    assert!(first.contains("still down: cable"), "{first}");
    let sheet = at("07:40", "due --morning --plain --lab lab").good();
    assert!(sheet.contains("fb-1 is down since 07:00: cable"), "{sheet}");
    let last = at("08:30", "rig up fb-1 --lab lab").good();
    assert!(last.starts_with("fb-1 back"), "{last}");
    at("08:35", "rig up fb-1 --lab lab").bad(4, "not down");
    let sheet = at("08:40", "due --morning --plain --lab lab").good();
    let back = sheet.lines().filter(|line| line.starts_with("rig back"));
    let back: Vec<&str> = back.filter(|line| line.contains("fb-1")).collect();
    assert_eq!(
        back.len(),
        1,
        "only the last return brought it back: {sheet}"
    );
    assert!(back[0].contains("since 08:30"), "{back:?}");
}
