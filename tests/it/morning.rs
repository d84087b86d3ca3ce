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
