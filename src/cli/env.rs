//! The world as a command sees it: streams, folder, environment, user, clock.

use super::display::{self, Choice};
use super::user_files::UserFiles;
use super::{Exit, Failure};
use crate::app::review::LATE_MINUTES;
use crate::clock::{Clock, PacedClock, SystemClock};
use crate::domain::text::{ID_MAX, NOTE_MAX, line_fault, normal, shown};
use crate::domain::{Actor, Minute, Zone};
use crate::ledger::Heads;
use crate::screens::looks::Looks;
use std::io::{BufWriter, IsTerminal, Stdout, Write};
use std::path::PathBuf;
use std::sync::Arc;

/// What a command may touch of the world.
pub(crate) struct Env {
    out: BufWriter<Stdout>,
    /// True once somebody stopped reading our output.
    pub(crate) pipe_closed: bool,
    /// The clock; one that stands still where an instant was given.
    pub(crate) clock: Arc<dyn Clock>,
    /// The clock by which things are recorded: the host's, or the demo's.
    pub(crate) host: Arc<dyn Clock>,
    /// An instant to act at, still as text: its zone is the lab's.
    pub(crate) now: Option<String>,
    /// Why it is entered so much later than it happened.
    pub(crate) late: Option<String>,
    /// Who acts.
    pub(crate) actor: Actor,
    /// How the command line wants the screens to look.
    pub(crate) display: display::Arguments,
    /// `RIGDAY_LAB`.
    pub(crate) lab: Option<PathBuf>,
    /// Where this user's state is kept.
    state: Option<PathBuf>,
}

#[expect(
    clippy::unused_self,
    reason = "the door to the world: whoever has no Env stays away from it"
)]
impl Env {
    /// Of this process.
    pub(crate) fn of_process() -> Self {
        let uid = rustix::process::getuid().as_raw();
        let login = login_of(uid).unwrap_or_else(|| format!("uid {uid}"));
        let host = rustix::system::uname()
            .nodename()
            .to_string_lossy()
            .into_owned();
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::default());
        let session = format!("{}-{}", std::process::id(), clock.now_ms());
        let person = login.clone();
        Self {
            out: BufWriter::new(std::io::stdout()),
            pipe_closed: false,
            host: clock.clone(),
            clock,
            now: None,
            late: None,
            actor: Actor {
                uid,
                login,
                person,
                host: clean(&host),
                session,
            },
            display: display::Arguments::default(),
            lab: variable("RIGDAY_LAB").map(PathBuf::from),
            state: user_folder("XDG_STATE_HOME", &[".local", "state"]),
        }
    }

    /// The program has no rights but those of who runs it.
    ///
    /// # Errors
    /// Where its file lends the rights of another user or group.
    pub(crate) fn own_rights(&self) -> Result<(), Failure> {
        use rustix::process::{getegid, geteuid, getgid, getuid};
        if geteuid() == getuid() && getegid() == getgid() {
            return Ok(());
        }
        let text = "its file lends the rights of another user or group, which this program does not use; take that away (chmod ug-s)";
        Err(Failure::failed(text))
    }

    /// Takes the options that every command has.
    pub(crate) fn adjust(
        &mut self,
        now: Option<&str>,
        person: Option<&str>,
        late: Option<&str>,
    ) -> Result<(), Failure> {
        self.now = now.map(str::to_owned);
        if let Some(reason) = late {
            if let Some(why) = line_fault(reason, NOTE_MAX) {
                return Err(Failure::new(Exit::Usage, format!("--late: {why}")));
            }
            self.late = Some(normal(reason));
        }
        if let Some(person) = person {
            if let Some(why) = line_fault(person, ID_MAX) {
                return Err(Failure::new(Exit::Usage, format!("--person: {why}")));
            }
            self.actor.person = normal(person);
        }
        Ok(())
    }

    /// Sets the clock to the instant that was given, read in the lab's zone.
    pub(crate) fn settle_clock(&mut self, zone: &Zone) -> Result<(), Failure> {
        if let Some(text) = &self.now {
            let at = self.instant(text, zone)?;
            // It stands still as a time of day; what is measured goes on.
            self.clock = Arc::new(PacedClock::new(at, 0.0));
        }
        Ok(())
    }

    /// Why what is recorded now is entered late, where it is.
    ///
    /// # Errors
    /// Where it is, and nobody says why.
    pub(crate) fn lateness(&self) -> Result<Option<&str>, Failure> {
        let minutes = self.host.now() - self.clock.now();
        if minutes.get() <= LATE_MINUTES {
            return Ok(None);
        }
        self.late.as_deref().map(Some).ok_or_else(|| {
            let text = format!("it happened {minutes} ago: a late entry needs --late REASON");
            Failure::new(Exit::Usage, text)
        })
    }

    /// Where this user's remembered heads are kept.
    pub(crate) fn heads(&self) -> Option<Heads> {
        self.state.clone().map(Heads::new)
    }

    /// An instant of the command line.
    pub(crate) fn instant(&self, text: &str, zone: &Zone) -> Result<Minute, Failure> {
        crate::lab::parse_instant(text, Some(zone)).map_err(|why| Failure::new(Exit::Usage, why))
    }

    /// Writes data.
    pub(crate) fn print(&mut self, text: &str) -> Result<(), Failure> {
        let written = self.out.write_all(text.as_bytes());
        self.noticed(written)
    }

    /// Writes what is still held back.
    pub(crate) fn flush(&mut self) -> std::io::Result<()> {
        let flushed = self.out.flush();
        if let Err(error) = &flushed {
            self.pipe_closed |= error.kind() == std::io::ErrorKind::BrokenPipe;
        }
        flushed
    }

    fn noticed(&mut self, written: std::io::Result<()>) -> Result<(), Failure> {
        if let Err(error) = &written {
            self.pipe_closed |= error.kind() == std::io::ErrorKind::BrokenPipe;
        }
        written.map_err(Failure::from)
    }

    /// Writes a line for people, cleaned line by line.
    pub(crate) fn say(&self, text: &str) {
        let mut err = std::io::stderr().lock();
        for line in text.lines() {
            // Nobody is left to tell where even standard error is closed.
            let _told = writeln!(err, "{}", shown(line));
        }
    }

    /// True where a person sits at both ends and the terminal can draw.
    pub(crate) fn has_terminal(&self) -> bool {
        let draws = variable("TERM").is_none_or(|term| term != "dumb");
        draws && std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
    }

    /// The files of the user's configuration folder.
    pub(crate) fn user_files(&self) -> UserFiles {
        super::user_files::read(config_folder().as_deref())
    }

    /// How the terminal draws, and why so.
    pub(crate) fn choice(&self, looks: &Looks) -> Result<Choice, Failure> {
        let set = |name| variable(name).filter(|value| !value.is_empty());
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
            .into_iter()
            .find_map(|name| set(name).map(|value| (name, value)));
        let terminal = display::Terminal {
            no_color: set("NO_COLOR"),
            term: set("TERM"),
            colorterm: set("COLORTERM"),
            locale,
        };
        display::choose(&self.display, looks, &terminal)
            .map_err(|why| Failure::new(Exit::Usage, why))
    }

    /// How the screens look, and what the user has set.
    pub(crate) fn terminal_options(
        &self,
        sample: bool,
    ) -> Result<crate::terminal::Options, Failure> {
        let user = self.user_files();
        Ok(crate::terminal::Options {
            sample,
            theme: self.choice(&user.looks)?.theme,
            settings: user.settings,
            state: self.state.clone(),
            keep: None,
        })
    }

    /// The file in which the screens keep what this user has not put in force yet, one for each ledger.
    pub(crate) fn screens_file(&self, ledger: &std::path::Path) -> Option<PathBuf> {
        use sha2::Digest;
        use std::os::unix::ffi::OsStrExt;
        let whole = std::fs::canonicalize(ledger).ok()?;
        let hash = sha2::Sha256::digest(whole.as_os_str().as_bytes());
        let name = format!("screens-{}.json", &crate::ledger::hex(&hash)[..16]);
        Some(self.state.as_ref()?.join(name))
    }

    /// A folder for things that may be thrown away.
    pub(crate) fn scratch(&self) -> PathBuf {
        std::env::temp_dir()
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "the one place that reads the environment"
)]
fn variable(name: &str) -> Option<String> {
    std::env::var(name).ok()
}

/// The folder for what a user sets, by the usual rule.
fn config_folder() -> Option<PathBuf> {
    user_folder("XDG_CONFIG_HOME", &[".config"])
}

/// Our folder in one of the user's; a relative path counts as none.
fn user_folder(name: &str, below_home: &[&str]) -> Option<PathBuf> {
    let absolute = |name| {
        variable(name)
            .map(PathBuf::from)
            .filter(|p| p.is_absolute())
    };
    let at_home = || absolute("HOME").map(|home| home.join(below_home.iter().collect::<PathBuf>()));
    let folder = absolute(name).or_else(at_home);
    folder.map(|folder| folder.join("rigday"))
}

/// The user id of a login name, by the host's own list.
pub(super) fn uid_of(login: &str) -> Option<u32> {
    let list = std::fs::read_to_string("/etc/passwd").ok()?;
    list.lines().find_map(|line| {
        let mut fields = line.split(':');
        (fields.next()? == login).then(|| fields.nth(1)?.parse().ok())?
    })
}

/// The login name of a user id, by the host's own list.
pub(super) fn login_of(uid: u32) -> Option<String> {
    let list = std::fs::read_to_string("/etc/passwd").ok()?;
    let login = list.lines().find_map(|line| {
        let mut fields = line.split(':');
        let login = fields.next()?;
        (fields.nth(1)?.parse::<u32>().ok()? == uid).then(|| login.to_owned())
    })?;
    Some(clean(&login))
}

fn clean(text: &str) -> String {
    let text: String = shown(text).chars().take(64).collect();
    if text.is_empty() {
        "unknown".to_owned()
    } else {
        text
    }
}
