//! The built program in a pseudo-terminal: what is typed, what arrives and when, and how the terminal is left.

use super::program::{PROGRAM, bare};
use rigday::clock::{Clock, SystemClock};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::process::{Pid, Signal, ioctl_tiocsctty, kill_process, setsid};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Termios, Winsize, tcgetattr, tcsetwinsize};
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::num::NonZeroU16;
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::fs::OpenOptionsExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, sleep};
use std::time::Duration;

/// How long anything may take on a loaded machine.
const PATIENCE: Duration = Duration::from_secs(60);
/// How often is looked whether something has happened.
const LOOK: Duration = Duration::from_millis(5);

/// How a program is put on a pseudo-terminal.
pub(crate) struct Setup<'s> {
    /// Columns and rows.
    pub(crate) size: (u16, u16),
    /// Where it runs; its home and its state are there too.
    pub(crate) folder: &'s Path,
    /// Variables beside the usual ones, or in place of them.
    pub(crate) environment: &'s [(&'s str, &'s str)],
    /// It is told when the terminal goes away; else it must find out.
    pub(crate) controlling: bool,
}

impl<'s> Setup<'s> {
    /// 80 by 24, controlling, in a folder.
    pub(crate) fn in_folder(folder: &'s Path) -> Self {
        Self {
            size: (80, 24),
            folder,
            environment: &[],
            controlling: true,
        }
    }
}

/// What arrived at once.
#[derive(Clone, Debug)]
pub(crate) struct Chunk {
    /// When, since the terminal was made.
    pub(crate) at: Duration,
    pub(crate) bytes: Vec<u8>,
}

/// A program on a pseudo-terminal.
pub(crate) struct Pty {
    child: Child,
    master: Option<File>,
    /// Kept open, so that the terminal's modes can be asked for after the program has ended.
    slave: OwnedFd,
    before: Termios,
    heard: Arc<Mutex<Vec<Chunk>>>,
    parser: Mutex<(vt100::Parser, usize)>,
    clock: Arc<SystemClock>,
    over: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

/// A new pseudo-terminal: our end, and the program's.
pub(crate) fn pair(size: (u16, u16)) -> (File, OwnedFd) {
    // A program that held our end would never see it go away.
    let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
    let master = openpt(flags).expect("a pseudo-terminal");
    grantpt(&master).expect("it is ours");
    unlockpt(&master).expect("it opens");
    let name = ptsname(&master, Vec::new()).expect("it has a name");
    let slave = OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags(rustix::fs::OFlags::NOCTTY.bits().cast_signed())
        .open(name.to_str().expect("a plain name"))
        .expect("the other end opens");
    tcsetwinsize(&slave, window(size)).expect("it has a size");
    (File::from(master), slave.into())
}

fn some(count: u16) -> NonZeroU16 {
    NonZeroU16::new(count).expect("a terminal of some size")
}

fn window((columns, rows): (u16, u16)) -> Winsize {
    Winsize {
        ws_row: rows,
        ws_col: columns,
        ws_xpixel: 0,
        ws_ypixel: 0,
    }
}

/// Makes the terminal on its standard input the one that controls a program.
#[expect(
    unsafe_code,
    reason = "between fork and exec nothing but two system calls is done"
)]
pub(crate) fn control(command: &mut Command) {
    let take = || {
        setsid()?;
        ioctl_tiocsctty(rustix::stdio::stdin())?;
        Ok(())
    };
    // SAFETY: both calls are plain system calls that take no lock and no memory.
    unsafe { command.pre_exec(take) };
}

impl Pty {
    /// The built program with the words of a line.
    pub(crate) fn rigday(line: &str, setup: &Setup) -> Self {
        let mut command = Command::new(PROGRAM);
        command.args(line.split_whitespace());
        Self::start(command, setup)
    }

    /// Any program.
    pub(crate) fn start(command: Command, setup: &Setup) -> Self {
        let (master, slave) = pair(setup.size);
        Self::start_on(command, setup, master, slave, None)
    }

    /// Any program on a pair that was made before; its output perhaps elsewhere.
    pub(crate) fn start_on(
        mut command: Command,
        setup: &Setup,
        master: File,
        slave: OwnedFd,
        output: Option<OwnedFd>,
    ) -> Self {
        let before = tcgetattr(&slave).expect("its modes");
        let end = || Stdio::from(slave.try_clone().expect("one more handle"));
        let elsewhere = output.is_some();
        bare(&mut command)
            .env("TERM", "xterm-256color")
            .env("LANG", "C.UTF-8")
            .env("PATH", "/usr/bin:/bin")
            .env("HOME", setup.folder)
            .envs(setup.environment.iter().copied())
            .current_dir(setup.folder)
            .stdin(end())
            .stdout(output.map_or_else(end, Stdio::from))
            .stderr(if elsewhere { Stdio::piped() } else { end() });
        if setup.controlling {
            control(&mut command);
        }
        let clock = Arc::new(SystemClock::default());
        let child = command.spawn().expect("the program starts");
        let heard = Arc::new(Mutex::new(Vec::new()));
        let over = Arc::new(AtomicBool::new(false));
        let reader = listen(&master, &heard, &over, &clock);
        let (columns, rows) = setup.size;
        Self {
            child,
            master: Some(master),
            slave,
            before,
            heard,
            parser: Mutex::new((vt100::Parser::new(some(rows), some(columns), 0), 0)),
            clock,
            over,
            reader: Some(reader),
        }
    }

    /// Time since the program was started.
    pub(crate) fn now(&self) -> Duration {
        self.clock.elapsed()
    }

    /// Types bytes at once.
    pub(crate) fn send(&mut self, bytes: impl AsRef<[u8]>) {
        let master = self.master.as_mut().expect("the terminal is there");
        master.write_all(bytes.as_ref()).expect("it can be typed");
    }

    /// Types bytes one by one.
    pub(crate) fn send_slowly(&mut self, bytes: impl AsRef<[u8]>, gap: Duration) {
        for byte in bytes.as_ref() {
            self.send([*byte]);
            sleep(gap);
        }
    }

    /// Sends a signal to the program.
    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(self.pid(), signal).expect("it can be told");
    }

    /// The program's process.
    pub(crate) fn pid(&self) -> Pid {
        Pid::from_child(&self.child)
    }

    /// Gives the terminal another size; the kernel tells the program.
    pub(crate) fn resize(&mut self, size: (u16, u16)) {
        let master = self.master.as_ref().expect("the terminal is there");
        tcsetwinsize(master, window(size)).expect("it takes a size");
        let mut parser = self.parser.lock().expect("no test broke down");
        parser.0.screen_mut().set_size(some(size.1), some(size.0));
    }

    /// Takes the terminal away.
    pub(crate) fn close(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(reader) = self.reader.take() {
            reader.join().expect("the reader ends");
        }
        self.master = None;
    }

    /// How many bytes have arrived so far; to be handed to [`Pty::since`].
    pub(crate) fn mark(&self) -> usize {
        self.chunks().iter().map(|chunk| chunk.bytes.len()).sum()
    }

    /// The bytes that arrived after a mark.
    pub(crate) fn since(&self, mark: usize) -> Vec<u8> {
        let all = self.chunks().into_iter().flat_map(|chunk| chunk.bytes);
        all.skip(mark).collect()
    }

    /// Everything that arrived, as text.
    pub(crate) fn heard(&self) -> String {
        String::from_utf8_lossy(&self.since(0)).into_owned()
    }

    /// Everything that arrived, with its times.
    pub(crate) fn chunks(&self) -> Vec<Chunk> {
        self.heard.lock().expect("the reader is well").clone()
    }

    /// When the first byte after a mark arrived.
    pub(crate) fn first_after(&self, mark: usize) -> Option<Duration> {
        let mut seen = 0;
        self.chunks().into_iter().find_map(|chunk| {
            seen += chunk.bytes.len();
            (seen > mark).then_some(chunk.at)
        })
    }

    /// What a person sees: the lines of the screen.
    pub(crate) fn screen(&self) -> String {
        self.with_screen(vt100::Screen::contents)
    }

    /// Looks at the screen as a terminal of the usual kind shows it.
    pub(crate) fn with_screen<T>(&self, look: impl FnOnce(&vt100::Screen) -> T) -> T {
        let mut parser = self.parser.lock().expect("no test broke down");
        let (terminal, taken) = &mut *parser;
        let fresh = self.since(*taken);
        *taken += fresh.len();
        terminal.process(&fresh);
        look(terminal.screen())
    }

    /// Waits until the screen says something; the screen.
    #[track_caller]
    pub(crate) fn until(&self, words: &str) -> String {
        let shown = |pty: &Self| {
            let screen = pty.screen();
            screen.contains(words).then_some(screen)
        };
        match self.wait_for(PATIENCE, shown) {
            Some(screen) => screen,
            None => panic!("the screen never says {words:?}:\n{}", self.screen()),
        }
    }

    /// Waits until the screen says something no more; the screen.
    #[track_caller]
    pub(crate) fn until_gone(&self, words: &str) -> String {
        let shown = |pty: &Self| {
            let screen = pty.screen();
            (!screen.contains(words)).then_some(screen)
        };
        match self.wait_for(PATIENCE, shown) {
            Some(screen) => screen,
            None => panic!("the screen still says {words:?}:\n{}", self.screen()),
        }
    }

    /// Waits until nothing has arrived for so long, from now on.
    pub(crate) fn until_quiet(&self, quiet: Duration) {
        let begun = self.now();
        let silent = |pty: &Self| {
            let last = pty
                .chunks()
                .last()
                .map_or(begun, |chunk| chunk.at.max(begun));
            (pty.now().saturating_sub(last) >= quiet).then_some(())
        };
        self.wait_for(PATIENCE, silent)
            .expect("it becomes quiet at last");
    }

    /// Waits until something arrived after a mark; how long after `from`.
    #[track_caller]
    pub(crate) fn answer_after(&self, mark: usize, from: Duration) -> Duration {
        let at = self.wait_for(PATIENCE, |pty| pty.first_after(mark));
        at.expect("the program answers").saturating_sub(from)
    }

    fn wait_for<T>(&self, patience: Duration, look: impl Fn(&Self) -> Option<T>) -> Option<T> {
        let begun = self.now();
        loop {
            if let Some(found) = look(self) {
                return Some(found);
            }
            if self.now().saturating_sub(begun) > patience {
                return None;
            }
            sleep(LOOK);
        }
    }

    /// Waits until the program has ended; its exit code, and how long that took.
    #[track_caller]
    pub(crate) fn ended(&mut self) -> (i32, Duration) {
        let begun = self.now();
        loop {
            if let Some(status) = self.child.try_wait().expect("it can be asked") {
                let code = status.code().expect("it ends by itself");
                self.hear_out();
                return (code, self.now().saturating_sub(begun));
            }
            assert!(self.now().saturating_sub(begun) < PATIENCE, "it never ends");
            sleep(LOOK);
        }
    }

    /// What was said beside the terminal, where its output went elsewhere.
    pub(crate) fn said_elsewhere(&mut self) -> String {
        let mut text = String::new();
        let error = self
            .child
            .stderr
            .as_mut()
            .expect("it has a stream of its own");
        error.read_to_string(&mut text).expect("text");
        text
    }

    /// True while the program runs.
    pub(crate) fn runs(&mut self) -> bool {
        self.child.try_wait().expect("it can be asked").is_none()
    }

    /// What is still on its way arrives.
    fn hear_out(&self) {
        self.until_quiet(Duration::from_millis(50));
    }

    /// The modes of the terminal before the program came, and now.
    pub(crate) fn modes(&self) -> (String, String) {
        let now = tcgetattr(self.slave.as_fd()).expect("its modes");
        (told(&self.before), told(&now))
    }

    /// The modes of the terminal are as they were; the program used the other screen and left it, with the
    /// cursor shown and paste and mouse given back.
    #[track_caller]
    pub(crate) fn is_left_as_found(&self) {
        let (before, now) = self.modes();
        assert_eq!(before, now);
        self.left_the_other_screen();
    }

    /// The bytes of leaving come after those of entering, and in their order.
    #[track_caller]
    pub(crate) fn left_the_other_screen(&self) {
        let heard = self.heard();
        let last = |code: &str| {
            heard
                .rfind(code)
                .unwrap_or_else(|| panic!("{code:?} was never sent"))
        };
        assert!(last("\u{1b}[?1049h") < last("\u{1b}[?1049l"));
        assert!(last("\u{1b}[?2004h") < last("\u{1b}[?2004l"));
        assert!(last("\u{1b}[?25l") < last("\u{1b}[?25h"));
        assert!(last("\u{1b}[?1006l") < last("\u{1b}[?1049l"));
        self.with_screen(|screen| {
            assert!(!screen.alternate_screen() && !screen.hide_cursor());
            assert!(!screen.bracketed_paste());
            assert_eq!(screen.mouse_protocol_mode(), vt100::MouseProtocolMode::None);
        });
    }

    /// Processor time that the program has used.
    pub(crate) fn cpu(&self) -> Duration {
        let stat = self.proc("stat");
        let fields: Vec<&str> = stat
            .rsplit(')')
            .next()
            .expect("a line of the host")
            .split_whitespace()
            .collect();
        // After the name: state is field 0, time in the program 11, time in the host 12.
        let ticks: u64 = [11, 12]
            .iter()
            .map(|at| fields[*at].parse::<u64>().expect("a number"))
            .sum();
        Duration::from_millis(ticks * 1000 / rustix::param::clock_ticks_per_second())
    }

    /// Kilobytes of memory that it holds, and that it held at most.
    pub(crate) fn memory(&self) -> (u64, u64) {
        let status = self.proc("status");
        let of = |name: &str| {
            let line = status.lines().find_map(|line| line.strip_prefix(name));
            let number = line.and_then(|line| line.split_whitespace().next());
            number
                .and_then(|number| number.parse().ok())
                .expect("a number")
        };
        (of("VmRSS:"), of("VmHWM:"))
    }

    fn proc(&self, file: &str) -> String {
        let path = format!("/proc/{}/{file}", self.child.id());
        std::fs::read_to_string(path).expect("the program runs")
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        // Where it has ended already there is nothing to end.
        let _killed = self.child.kill();
        let _waited = self.child.wait();
    }
}

/// A thread that takes down what arrives, until it is told that all is over.
fn listen(
    master: &File,
    heard: &Arc<Mutex<Vec<Chunk>>>,
    over: &Arc<AtomicBool>,
    clock: &Arc<SystemClock>,
) -> JoinHandle<()> {
    let mut master = master.try_clone().expect("one more handle");
    let (heard, over, clock) = (heard.clone(), over.clone(), clock.clone());
    std::thread::spawn(move || {
        let mut bytes = vec![0; 1 << 16];
        let pause = Timespec {
            tv_sec: 0,
            tv_nsec: 20_000_000,
        };
        while !over.load(Ordering::Relaxed) {
            let mut watched = [PollFd::new(&master, PollFlags::IN)];
            if !matches!(poll(&mut watched, Some(&pause)), Ok(ready) if ready > 0) {
                continue;
            }
            let Ok(count) = master.read(&mut bytes) else {
                // Nobody holds the other end.
                sleep(LOOK);
                continue;
            };
            let chunk = Chunk {
                at: clock.elapsed(),
                bytes: bytes[..count].to_vec(),
            };
            heard.lock().expect("no test broke down").push(chunk);
        }
    })
}

/// Modes of a terminal as text.
fn told(modes: &Termios) -> String {
    format!(
        "{:?} {:?} {:?} {:?} {:?}",
        modes.input_modes,
        modes.output_modes,
        modes.control_modes,
        modes.local_modes,
        modes.special_codes
    )
}
