//! `rigday selftest`: the proof on the user's own disk that what was recorded stays recorded.
//!
//! Small forms of the project's fault tests in a scratch folder: writers that are killed, writers side by
//! side, copies taken in the middle of writing with a torn tail, and bits that turn over.

use super::env::Env;
use super::place::{counted, plain_store};
use super::{Answer, Exit, Failure};
use crate::clock::{Clock, SystemClock};
use crate::domain::event::Subject;
use crate::domain::{EventBody, EventId, NewEvent, Seq};
use crate::ledger::{self, Ids, Ledger, Outcome, hex};
use clap::Args;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Options of `selftest`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The folder whose disk is tried; default: the current folder
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
    /// How long to try
    #[arg(long, value_name = "S", default_value_t = 60)]
    seconds: u32,
    /// Only record notes in this ledger, and say so; for the processes that it starts itself
    #[arg(long, value_name = "FILE", hide = true)]
    writer: Option<PathBuf>,
}

/// A check that failed, in words.
type Checked = Result<String, String>;

/// Runs every part, one after another; each has its share of the time.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    if let Some(path) = &arguments.writer {
        return write_notes(path, env);
    }
    let base = arguments.folder.clone().unwrap_or_else(|| ".".into());
    let scratch = base.join(format!("rigday-selftest-{}", env.actor.session));
    std::fs::create_dir(&scratch)?;
    let own = Trial {
        folder: &scratch,
        store: plain_store(env),
        actor: env.actor.clone(),
        clock: SystemClock::default(),
        share: Duration::from_secs(u64::from(arguments.seconds)) / 4,
    };
    let parts: [(&str, &dyn Fn() -> Checked); 5] = [
        ("commit", &|| own.commit_time()),
        ("kill", &|| own.kills()),
        ("crowd", &|| own.crowd()),
        ("power", &|| own.torn_copies()),
        ("bits", &|| own.flips()),
    ];
    let mut good = true;
    for (name, part) in parts {
        let (word, text) = match part() {
            Ok(text) => ("ok ", text),
            Err(text) => ("BAD", text),
        };
        good &= word == "ok ";
        env.print(&format!("{word} {name:<7} {text}\n"))?;
        env.flush()?;
    }
    std::fs::remove_dir_all(&scratch)?;
    Ok(if good { Exit::Done } else { Exit::Failed })
}

/// Records notes until it is stopped; says each id before, and again once it is on disk.
fn write_notes(path: &Path, env: &mut Env) -> Answer {
    let mut ledger = ledger::open(path, plain_store(env)).map_err(Failure::failed)?;
    for _ in 0..100_000 {
        let id = Ids::System.next();
        env.print(&format!("try {}\n", hex(&id.0)))?;
        env.flush()?;
        let event = note(id, &env.actor);
        match ledger.append(&[], &[event]) {
            Outcome::Recorded { .. } => env.print(&format!("ack {}\n", hex(&id.0)))?,
            other => return Err(Failure::failed(format!("{other:?}"))),
        }
        env.flush()?;
    }
    Ok(Exit::Done)
}

fn note(id: EventId, actor: &crate::domain::Actor) -> NewEvent {
    NewEvent {
        id,
        happened: crate::domain::Minute::new(0),
        actor: actor.clone(),
        body: EventBody::Note {
            subject: Subject::Lab,
            text: hex(&id.0),
        },
    }
}

/// What every part needs.
struct Trial<'a> {
    folder: &'a Path,
    store: ledger::Env,
    actor: crate::domain::Actor,
    clock: SystemClock,
    share: Duration,
}

impl Trial<'_> {
    fn new_ledger(&self, name: &str) -> Result<(PathBuf, ledger::SqliteLedger), String> {
        let path = self.folder.join(name);
        let made = ledger::create(&path, self.store.clone());
        made.map(|own| (path, own))
            .map_err(|error| error.to_string())
    }

    fn open(&self, path: &Path) -> Result<ledger::SqliteLedger, String> {
        ledger::open(path, self.store.clone()).map_err(|error| error.to_string())
    }

    fn append(&self, ledger: &mut ledger::SqliteLedger) -> Result<EventId, String> {
        let id = Ids::System.next();
        match ledger.append(&[], &[note(id, &self.actor)]) {
            Outcome::Recorded { .. } => Ok(id),
            other => Err(format!("{other:?}")),
        }
    }

    fn commit_time(&self) -> Checked {
        const COUNT: usize = 200;
        let (_, mut ledger) = self.new_ledger("commit.db")?;
        let mut times = Vec::new();
        for _ in 0..COUNT {
            let begun = self.clock.elapsed();
            self.append(&mut ledger)?;
            times.push(self.clock.elapsed().saturating_sub(begun).as_micros());
        }
        times.sort_unstable();
        let at = |share: usize| times.get(COUNT * share / 100).copied().unwrap_or_default();
        Ok(format!(
            "{COUNT} events, each waits for the disk: half below {} us, 99 of 100 below {} us",
            at(50),
            at(99)
        ))
    }

    /// Starts a writer of its own.
    fn writer(path: &Path) -> Result<Child, String> {
        let own = std::env::current_exe().map_err(|error| error.to_string())?;
        let started = Command::new(own)
            .args(["selftest", "--writer"])
            .arg(path)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        started.map_err(|error| error.to_string())
    }

    /// Writers that are killed at any moment: what was acknowledged is there, once.
    fn kills(&self) -> Checked {
        let (path, ledger) = self.new_ledger("kill.db")?;
        drop(ledger);
        let (begun, mut kills, mut named) = (self.clock.elapsed(), 0, BTreeMap::new());
        while self.clock.elapsed().saturating_sub(begun) < self.share {
            let mut child = Self::writer(&path)?;
            let pause = getrandom::u32().unwrap_or(0) % 20_000;
            listen(&mut child, &mut named, Duration::from_micros(pause.into()))?;
            kills += 1;
        }
        let acknowledged = compare(&self.open(&path)?, &named)?;
        Ok(format!(
            "{}, {acknowledged} acknowledged, none lost, none doubled",
            counted(kills, "kill")
        ))
    }

    /// Writers side by side: no event is lost and no place is left out.
    fn crowd(&self) -> Checked {
        const WRITERS: u64 = 4;
        const EACH: u64 = 50;
        let (path, ledger) = self.new_ledger("crowd.db")?;
        drop(ledger);
        let work = || {
            let mut ledger = self.open(&path)?;
            (0..EACH).try_for_each(|_| self.append(&mut ledger).map(drop))
        };
        let done: Vec<Result<(), String>> = std::thread::scope(|scope| {
            let all: Vec<_> = (0..WRITERS).map(|_| scope.spawn(work)).collect();
            let broken = |_| Err("a writer broke down".to_owned());
            all.into_iter()
                .map(|own| own.join().unwrap_or_else(broken))
                .collect()
        });
        done.into_iter().collect::<Result<Vec<()>, String>>()?;
        let ledger = self.open(&path)?;
        let head = ledger.head().map_err(|error| error.to_string())?;
        if head.seq != Seq(WRITERS * EACH) {
            return Err(format!(
                "{} events are there, not {}",
                head.seq.0,
                WRITERS * EACH
            ));
        }
        good_chain(&ledger)?;
        Ok(format!(
            "{WRITERS} writers with {EACH} events each, every one there, no gap"
        ))
    }

    /// Copies of the files in the middle of writing, with a torn tail behind: as after a power cut.
    fn torn_copies(&self) -> Checked {
        let (begun, mut copies, mut checked) = (self.clock.elapsed(), 0, 0);
        while self.clock.elapsed().saturating_sub(begun) < self.share {
            let (path, ledger) = self.new_ledger(&format!("power-{copies}.db"))?;
            drop(ledger);
            let mut child = Self::writer(&path)?;
            let mut named = BTreeMap::new();
            let heard = hear(
                &mut child,
                &mut named,
                1 + getrandom::u32().unwrap_or(0) % 40,
            );
            // Nothing is merged into the file before the log has a thousand pages.
            let copy = self.folder.join("copy.db");
            let copied = torn_copy(&path, &copy);
            child.kill().map_err(|error| error.to_string())?;
            child.wait().map_err(|error| error.to_string())?;
            heard?;
            copied.map_err(|error| error.to_string())?;
            checked += compare_copy(&self.open(&copy)?, &named)?;
            copies += 1;
            for name in [&path, &copy] {
                remove(name).map_err(|error| error.to_string())?;
            }
        }
        Ok(format!(
            "{} torn in the middle of writing, {checked} acknowledged events, none lost",
            counted(copies, "copy").replace("copys", "copies")
        ))
    }

    /// Bits that turn over: every change of what would be read is found.
    fn flips(&self) -> Checked {
        let (path, mut ledger) = self.new_ledger("bits.db")?;
        for _ in 0..30 {
            self.append(&mut ledger)?;
        }
        let head = ledger.head().map_err(|error| error.to_string())?;
        let events = ledger.read(Seq(0), u32::MAX).map_err(|e| e.to_string())?;
        drop(ledger);
        let bytes = std::fs::read(&path).map_err(|error| error.to_string())?;
        let copy = self.folder.join("flipped.db");
        let (begun, mut flips, mut found) = (self.clock.elapsed(), 0, 0);
        while self.clock.elapsed().saturating_sub(begun) < self.share {
            let mut own = bytes.clone();
            let place = getrandom::u32().unwrap_or(0) as usize % own.len();
            if let Some(byte) = own.get_mut(place) {
                *byte ^= 1 << (getrandom::u32().unwrap_or(0) % 8);
            }
            std::fs::write(&copy, own).map_err(|error| error.to_string())?;
            let seen = match ledger::inspect(&copy, self.store.clone()) {
                Err(_) => true,
                Ok(ledger) => {
                    let report = ledger.verify(std::slice::from_ref(&head));
                    let same = ledger.read(Seq(0), u32::MAX).is_ok_and(|own| own == events);
                    if report.faults.is_empty() && !same {
                        return Err(format!("byte {place} was changed and not found"));
                    }
                    !report.faults.is_empty()
                }
            };
            found += u32::from(seen);
            flips += 1;
            remove(&copy).map_err(|error| error.to_string())?;
        }
        Ok(format!(
            "{} turned over: {found} found, the others changed no event",
            counted(flips, "bit")
        ))
    }
}

/// Lets a writer begin, kills it after a pause, and takes in all that it said.
fn listen(
    child: &mut Child,
    named: &mut BTreeMap<String, bool>,
    pause: Duration,
) -> Result<(), String> {
    let failed = |error: std::io::Error| error.to_string();
    let out = child.stdout.take().ok_or("no pipe")?;
    let mut lines = BufReader::new(out).lines();
    for line in lines.by_ref() {
        if take(&line.map_err(failed)?, named) {
            break;
        }
    }
    std::thread::sleep(pause);
    child.kill().map_err(failed)?;
    child.wait().map_err(failed)?;
    for line in lines {
        take(&line.map_err(failed)?, named);
    }
    Ok(())
}

/// Takes in what a writer says until that many were acknowledged.
fn hear(child: &mut Child, named: &mut BTreeMap<String, bool>, count: u32) -> Result<(), String> {
    let out = child.stdout.as_mut().ok_or("no pipe")?;
    let mut acknowledged = 0;
    for line in BufReader::new(out).lines() {
        acknowledged += u32::from(take(&line.map_err(|error| error.to_string())?, named));
        if acknowledged == count {
            return Ok(());
        }
    }
    Err("the writer ended too early".to_owned())
}

/// Takes a line of a writer; true where it is an acknowledgement. One cut short names no id.
fn take(line: &str, named: &mut BTreeMap<String, bool>) -> bool {
    let Some((word, id)) = line.split_once(' ').filter(|(_, id)| id.len() == 32) else {
        return false;
    };
    let acknowledged = word == "ack";
    *named.entry(id.to_owned()).or_default() |= acknowledged;
    acknowledged
}

/// All that was acknowledged is there once; how many that were.
fn compare(ledger: &impl Ledger, named: &BTreeMap<String, bool>) -> Result<usize, String> {
    let strangers = |id: &String| !named.contains_key(id);
    let count = compare_copy(ledger, named)?;
    let events = ledger.read(Seq(0), u32::MAX).map_err(|e| e.to_string())?;
    match events.iter().map(|event| hex(&event.id.0)).find(strangers) {
        Some(id) => Err(format!("{id} is there, and nobody said it")),
        None => Ok(count),
    }
}

/// All that was acknowledged is there once, whatever else is.
fn compare_copy(ledger: &impl Ledger, named: &BTreeMap<String, bool>) -> Result<usize, String> {
    good_chain(ledger)?;
    let events = ledger.read(Seq(0), u32::MAX).map_err(|e| e.to_string())?;
    let mut times: BTreeMap<String, u32> = BTreeMap::new();
    for event in &events {
        *times.entry(hex(&event.id.0)).or_default() += 1;
    }
    let acknowledged: Vec<&String> = named
        .iter()
        .filter(|(_, acknowledged)| **acknowledged)
        .map(|(id, _)| id)
        .collect();
    match acknowledged.iter().find(|id| times.get(**id) != Some(&1)) {
        Some(id) => Err(format!("{id} was acknowledged and is not there once")),
        None => Ok(acknowledged.len()),
    }
}

fn good_chain(ledger: &impl Ledger) -> Result<(), String> {
    match ledger.verify(&[]).faults.into_iter().next() {
        Some((_, why)) => Err(why),
        None => Ok(()),
    }
}

/// The file and its log as they lie there, with half a frame of nonsense behind.
fn torn_copy(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::copy(from, to)?;
    let mut log = std::fs::read(beside(from, "-wal"))?;
    let mut nonsense = [0; 700];
    getrandom::fill(&mut nonsense).map_err(std::io::Error::other)?;
    log.extend(nonsense);
    std::fs::write(beside(to, "-wal"), log)
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut path = path.as_os_str().to_owned();
    path.push(ending);
    PathBuf::from(path)
}

/// Removes a ledger with what belongs to it, where it is there.
fn remove(path: &Path) -> std::io::Result<()> {
    for ending in ["", "-wal", "-shm"] {
        let own = beside(path, ending);
        if own.exists() {
            std::fs::remove_file(own)?;
        }
    }
    Ok(())
}
