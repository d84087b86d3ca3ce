//! What a lab folder or a file of requests says is what is read of it, and what is taken in reads the same again.
//! The lab is that of the broken ones, without a fault.

use crate::broken_labs::Scratch;
use rigday::domain::lab::{OnFailure, Request, Sequential, Settle, Show};
use rigday::domain::{Lab, Minutes};
use rigday::lab::{Fault, Faults, read, take};
use std::path::{Path, PathBuf};

/// A folder with a lab without fault.
struct Folder(Scratch);

impl Folder {
    fn new() -> Self {
        Self(Scratch::of("base"))
    }

    fn lab(&self) -> PathBuf {
        self.0.lab()
    }

    /// Puts a text in the place of another in a file of the lab.
    fn say(&self, file: &str, was: &str, is: &str) -> &Self {
        let path = self.lab().join(file);
        let text = std::fs::read_to_string(&path).expect("a file of the lab");
        assert!(text.contains(was), "{was} is not in {file}");
        std::fs::write(&path, text.replacen(was, is, 1)).expect("a file of the lab");
        self
    }

    fn read(&self) -> Lab {
        match read(&self.lab()) {
            Ok(read) => read.lab,
            Err(faults) => panic!("{faults}"),
        }
    }

    /// The only fault of the lab.
    fn fault(&self) -> String {
        let faults = read(&self.lab()).expect_err("a fault").0;
        assert_eq!(faults.len(), 1, "{}", Faults(faults));
        faults[0].to_string()
    }

    fn requests(&self) -> String {
        std::fs::read_to_string(self.lab().join("requests.toml")).expect("the requests")
    }

    /// A file of requests beside the lab.
    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.root.path().join(name);
        std::fs::write(&path, text).expect("a file");
        path
    }
}

/// A lab whose first request is to show that.
fn to_show(text: &str) -> Folder {
    let folder = Folder::new();
    let with = format!("priority = 7\nshow = {{ {text} }}");
    folder.say("requests.toml", "priority = 7", &with);
    folder
}

#[test]
fn what_a_request_is_to_show_is_read_as_it_stands_there() {
    let said = "reliability = 0.9, confidence = 0.8, failures = 1, mission = 30_000, shape = 2.5, modes = [\"crack\", \"seal leaks\"], good = 0.97, risk = 0.15";
    let show = to_show(said).read().requests[0].show.clone();
    let whole = Show {
        reliability: 0.9,
        confidence: 0.8,
        failures: 1,
        mission: Some(30_000.0),
        shape: Some(2.5),
        modes: vec!["crack".to_owned(), "seal leaks".to_owned()],
        sequential: Some(Sequential {
            good: 0.97,
            risk: 0.15,
        }),
    };
    assert_eq!(show, Some(whole));
    let least = to_show("reliability = 0.9, confidence = 0.8").read();
    let show = least.requests[0].show.clone().expect("it is to show that");
    assert_eq!((show.failures, show.mission, show.shape), (0, None, None));
    assert_eq!((show.modes, show.sequential), (vec![], None));
    assert_eq!(least.requests[1].show, None);
}

#[test]
fn a_sequential_rule_is_taken_up_to_where_it_could_not_decide() {
    let rule = |good: &str, risk: &str| {
        to_show(&format!(
            "reliability = 0.9, confidence = 0.8, good = {good}, risk = {risk}"
        ))
    };
    for (good, risk) in [("0.9001", "0.15"), ("0.97", "0.7999")] {
        let show = rule(good, risk).read().requests[0].show.clone();
        assert!(show.is_some_and(|show| show.sequential.is_some()));
    }
    for (good, risk, said) in [
        ("0.9", "0.15", "it must be above `reliability`"),
        ("0.5", "0.15", "it must be above `reliability`"),
        ("0.97", "0.8", "it must be below `confidence`"),
        ("1.0", "0.15", "between 0 and 1"),
        ("0.97", "0.0", "between 0 and 1"),
        ("\"good\"", "0.15", "number"),
        ("0.97", "true", "number"),
    ] {
        let told = rule(good, risk).fault();
        assert!(told.contains(said), "{good}, {risk}: {told}");
        assert!(told.starts_with("requests.toml:10:"), "{told}");
    }
}

#[test]
fn a_load_settles_by_an_allowance_or_a_time_constant() {
    let rig = |said: &str| {
        let folder = Folder::new();
        folder.say(
            "lab.toml",
            "load = \"20m\"",
            &format!("load = \"20m\"\n{said}"),
        );
        folder
    };
    let settles = |said: &str| rig(said).read().rigs[1].settle;
    let minutes = Minutes::new(45);
    assert_eq!(
        settles("settle = \"45m\""),
        Some(Settle::Allowance(minutes))
    );
    assert_eq!(
        settles("time_constant = \"45m\""),
        Some(Settle::TimeConstant(minutes))
    );
    assert_eq!(
        settles("settle = \"0m\""),
        Some(Settle::Allowance(Minutes::ZERO))
    );
    assert_eq!(settles(""), None);
    let told = rig("settle = \"a while\"").fault();
    assert!(told.contains("rig heat-1, settle"), "{told}");
}

/// Many requests, each with a fault of its own.
#[test]
fn of_very_many_faults_fifty_are_shown_and_the_rest_is_counted() {
    let folder = Folder::new();
    let row = |n| format!("X-{n},sensor,DV,short,0,2027-03-01T08:00\n");
    let rows: Vec<String> = (1..=73).map(row).collect();
    let header = "id,product,build,sequence,units,ready\n";
    let file = folder.file("many.csv", &(header.to_owned() + &rows.concat()));
    let faults = take(&folder.lab(), &file).expect_err("every row has a fault");
    assert_eq!(faults.0.len(), 73);
    let said = faults.to_string();
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!((lines.len(), lines[50]), (51, "… and 23 more"));
    assert!(lines[49].starts_with("many.csv:51:"), "{}", lines[49]);
    let few: Vec<Fault> = faults.0[..50].to_vec();
    assert_eq!(Faults(few).to_string(), lines[..50].join("\n"));
}

/// Everything that requests say.
fn fields(requests: &[Request]) -> Vec<String> {
    requests.iter().map(|own| format!("{own:?}")).collect()
}

/// The requests of a lab after a file was added to it.
fn after(folder: &Folder, file: &Path) -> Vec<Request> {
    let taken = take(&folder.lab(), file).unwrap_or_else(|faults| panic!("{faults}"));
    taken.add_to(&folder.lab()).expect("it is added");
    let read = folder.read().requests;
    assert_eq!(
        fields(&read),
        fields(&taken.lab.requests),
        "as it was checked"
    );
    assert_eq!(fields(&read[2..]), fields(&taken.requests));
    read
}

#[test]
fn what_is_taken_in_reads_the_same_from_the_folder() {
    let table = "\
id,product,build,sequence,units,serials,ready,due,priority,keep_together,on_failure
X-1,hinge,DV,short,2,,2027-03-01T08:00,2027-03-19T17:00,9,true,continue
X-2,\"a \"\"quoted\"\", name\",DV,long,,S-7;S-9,2027-03-01T08:00,,,false,stop
X-3,hinge,DV,short,1,,2027-03-01T08:00,,,,
";
    let folder = Folder::new();
    let all = after(&folder, &folder.file("more.csv", table));
    let said: Vec<(bool, bool, u8)> = all[2..]
        .iter()
        .map(|own| {
            let goes_on = own.on_failure == OnFailure::Continue;
            (own.keep_together, goes_on, own.priority)
        })
        .collect();
    assert_eq!(said[0], (true, true, 9));
    assert_eq!(said[1], (false, false, said[2].2), "left out is the usual");
    assert!(!said[2].1);
    assert_eq!(all[3].product, "a \"quoted\", name");

    // The same as TOML.
    let twin = Folder::new();
    let added = folder.requests()[twin.requests().len()..].to_owned();
    let file = twin.file("more.toml", &added);
    assert_eq!(fields(&after(&twin, &file)), fields(&all));
}

#[test]
fn what_is_taken_in_can_be_taken_back() {
    let folder = Folder::new();
    let before = folder.requests();
    let rows = "id,product,build,sequence,units,ready\nX-1,hinge,DV,short,1,2027-03-01T08:00\n";
    let file = folder.file("more.CSV", rows);
    let taken = take(&folder.lab(), &file).expect("good requests");
    assert_eq!(folder.requests(), before, "nothing is written yet");
    taken.add_to(&folder.lab()).expect("it is added");
    assert!(folder.requests().starts_with(&before) && folder.requests() != before);
    taken.take_back(&folder.lab()).expect("it is taken back");
    assert_eq!(folder.requests(), before);
}

/// Somebody else edits the requests between the check and the writing.
#[test]
fn requests_that_were_edited_meanwhile_stay_as_they_are() {
    let folder = Folder::new();
    let rows = "id,product,build,sequence,units,ready\nX-1,hinge,DV,short,1,2027-03-01T08:00\n";
    let file = folder.file("more.csv", rows);
    let taken = take(&folder.lab(), &file).expect("good requests");
    let names = || {
        let entries = std::fs::read_dir(folder.lab()).expect("the lab");
        entries.count()
    };
    let count = names();
    folder.say("requests.toml", "priority = 7", "priority = 6");
    let edited = folder.requests();
    for done in [taken.add_to(&folder.lab()), taken.take_back(&folder.lab())] {
        let said = done.expect_err("it is another file now").to_string();
        assert!(said.contains("changed meanwhile; try again"), "{said}");
        assert_eq!((folder.requests(), names()), (edited.clone(), count));
    }
    // A link in its place leads elsewhere, whatever it holds.
    let path = folder.lab().join("requests.toml");
    let elsewhere = folder.file("elsewhere.toml", &edited);
    std::fs::remove_file(&path).expect("the requests");
    std::os::unix::fs::symlink(&elsewhere, &path).expect("a link");
    let taken = take(&folder.lab(), &file).expect("good requests");
    assert!(taken.add_to(&folder.lab()).is_err());
    std::fs::remove_file(&path).expect("the link");
    assert!(taken.add_to(&folder.lab()).is_err());
    assert!(!path.exists(), "nothing is made in its place");
    assert_eq!(
        std::fs::read_to_string(&elsewhere).expect("the file"),
        edited
    );
}
