//! Other users of the host: what each may read and write, by the kernel's word and not by ours alone.
//!
//! Needs to be root, and `setpriv`; skipped, and said so, without.

use crate::support::program::{Desk, Ended, PROGRAM, bare};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::process::{Command, Stdio};

/// A user of the lab's group, somebody else, and the group.
const MEMBER: u32 = 61_001;
const STRANGER: u32 = 61_002;
const GROUP: u32 = 61_100;

/// A lab of the group, and the program where everybody can run it.
struct House {
    desk: Desk,
}

impl House {
    /// `None` where nobody can act as somebody else here.
    #[expect(clippy::print_stdout, reason = "who skips says so")]
    fn new(init: &str) -> Option<Self> {
        let root = rustix::process::getuid().is_root();
        let able = Command::new("setpriv").arg("--version").output().is_ok();
        if !root || !able {
            println!("skipped: not root, or no setpriv");
            return None;
        }
        let desk = Desk::new();
        let open = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(desk.folder.path(), open.clone()).expect("an open folder");
        std::fs::copy(PROGRAM, desk.path("rigday")).expect("the program");
        std::fs::set_permissions(desk.path("rigday"), open).expect("a program");
        desk.run(init).good();
        for name in [
            "lab",
            "lab/rigday.db",
            "lab/rigday.db-wal",
            "lab/rigday.db-shm",
        ] {
            std::os::unix::fs::chown(desk.path(name), None, Some(GROUP)).expect("its group");
        }
        Some(Self { desk })
    }

    /// Runs a line as a user in a group.
    fn run_as(&self, uid: u32, gid: u32, line: &str) -> Ended {
        let mut command = Command::new("setpriv");
        bare(&mut command)
            .args([
                &format!("--reuid={uid}"),
                &format!("--regid={gid}"),
                "--clear-groups",
            ])
            .arg(self.desk.path("rigday"))
            .args(line.split_whitespace())
            .env("USER", "root")
            .env("LOGNAME", "root")
            .current_dir(self.desk.folder.path())
            .stdin(Stdio::null());
        Ended::of(command.output().expect("setpriv runs"))
    }

    fn mode(&self, name: &str) -> u32 {
        std::fs::metadata(self.desk.path(name))
            .expect("it is there")
            .mode()
            & 0o7777
    }
}

#[test]
fn f18_a_viewer_reads_and_cannot_write() {
    let Some(house) = House::new("init lab --others-read") else {
        return;
    };
    assert_eq!(
        (house.mode("lab"), house.mode("lab/rigday.db")),
        (0o2775, 0o664)
    );
    let before = house.desk.bytes("lab/rigday.db");
    let read = house.run_as(STRANGER, STRANGER, "log --lab lab").good();
    assert!(read.contains("is manager now"), "{read}");
    house.run_as(STRANGER, STRANGER, "verify --lab lab").good();
    let wrote = house.run_as(STRANGER, STRANGER, "note R-1/1 x --lab lab");
    wrote.bad(5, "nothing happened");
    assert!(house.desk.bytes("lab/rigday.db") == before);
    // Somebody in the group works meanwhile, and what they record is seen.
    house.desk.run("note R-1/1 meanwhile --lab lab").good();
    let read = house.run_as(STRANGER, STRANGER, "log --lab lab").good();
    assert!(read.contains("meanwhile"), "{read}");
}

#[test]
fn f18_a_stranger_neither_reads_nor_writes() {
    let Some(house) = House::new("init lab") else {
        return;
    };
    assert_eq!(
        (house.mode("lab"), house.mode("lab/rigday.db")),
        (0o2770, 0o660)
    );
    let before = house.desk.bytes("lab/rigday.db");
    for line in [
        "log --lab lab",
        "verify --lab lab",
        "note R-1/1 x --lab lab",
    ] {
        let ended = house.run_as(STRANGER, STRANGER, line);
        assert!(
            ended.code != 0 && ended.out.is_empty(),
            "{line}: {}",
            ended.out
        );
    }
    assert!(house.desk.bytes("lab/rigday.db") == before);
}

#[test]
fn f18_a_member_of_the_group_has_the_role_that_was_granted() {
    let Some(house) = House::new("init lab") else {
        return;
    };
    let note = "note R-1/1 x --lab lab";
    house
        .run_as(MEMBER, GROUP, note)
        .bad(4, "needs a technician");
    house
        .desk
        .run(&format!("role grant {MEMBER} technician --lab lab"))
        .good();
    house.run_as(MEMBER, GROUP, note).good();
    let down = "role grant 0 viewer --lab lab";
    house.run_as(MEMBER, GROUP, down).bad(4, "needs a manager");
    // The name in the environment is nobody's word.
    let log = house.desk.run("log --json --lab lab").good();
    assert!(log.contains(&format!("uid {MEMBER}")), "{log}");
    // What a member writes stays the group's.
    assert_eq!(house.mode("lab/rigday.db"), 0o660);
    house.desk.run("verify --lab lab").good();
    house.desk.run(note).good();
}

#[test]
fn f18_the_umask_decides_nothing() {
    if House::new("init lab").is_none() {
        return;
    }
    for umask in ["000", "077"] {
        let desk = Desk::new();
        let script = format!("umask {umask}; exec \"$0\" init lab");
        let made = bare(&mut Command::new("sh"))
            .args(["-c", &script, PROGRAM])
            .current_dir(desk.folder.path())
            .output();
        Ended::of(made.expect("the program runs")).good();
        let mode = |name: &str| {
            std::fs::metadata(desk.path(name))
                .expect("it is there")
                .mode()
                & 0o7777
        };
        assert_eq!(
            (mode("lab"), mode("lab/rigday.db")),
            (0o2770, 0o660),
            "{umask}"
        );
        desk.run("note R-1/1 x --lab lab").good();
        assert_eq!(mode("lab/rigday.db-wal"), 0o660, "{umask}");
        assert_eq!(mode("lab/rigday.db-shm"), 0o660, "{umask}");
    }
}

#[test]
fn f18_a_link_that_was_swapped_in_is_not_followed() {
    let Some(house) = House::new("init lab --others-read") else {
        return;
    };
    let desk = &house.desk;
    desk.run("init other").good();
    std::fs::rename(desk.path("lab/rigday.db"), desk.path("lab/kept.db")).expect("moved");
    std::os::unix::fs::symlink(desk.path("other/rigday.db"), desk.path("lab/rigday.db"))
        .expect("a link");
    let before = desk.bytes("other/rigday.db");
    desk.run("note R-1/1 x --lab lab").bad(1, "no regular file");
    desk.run("log --lab lab").bad(1, "no regular file");
    assert!(desk.bytes("other/rigday.db") == before);
    // Nor a folder that everybody may write.
    let open = std::fs::Permissions::from_mode(0o777);
    std::fs::set_permissions(desk.path("other"), open).expect("an open folder");
    desk.run("note R-1/1 x --lab other")
        .bad(5, "everybody may write its folder");
}

#[test]
fn f18_a_program_that_lends_rights_does_not_start() {
    let Some(house) = House::new("init lab") else {
        return;
    };
    let program = house.desk.path("rigday");
    std::os::unix::fs::chown(&program, None, Some(GROUP)).expect("the group");
    let lends = std::fs::Permissions::from_mode(0o2755);
    std::fs::set_permissions(&program, lends).expect("a program that lends its group");
    let ended = house.run_as(STRANGER, STRANGER, "log --lab lab");
    ended.bad(1, "lends the rights");
    assert!(ended.out.is_empty());
}
