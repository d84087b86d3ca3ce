//! What it costs to look at the screens: bytes, frames, processor time, and how soon a key is answered. Bytes and
//! frames are counted exactly; times depend on what else the host does, so they are printed, and only what
//! nobody could call slow any more fails. `TEST_FULL=1` looks at an idle screen for a minute instead of seconds.

use crate::support::program::Desk;
use crate::support::pty::{Pty, Setup};
use crate::support::wide_lab::{AT, files};
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;

const QUIET: Duration = Duration::from_millis(400);
/// A frame begins and ends so.
const BEGIN: &str = "\u{1b}[?2026h";
const END: &str = "\u{1b}[?2026l";
/// What no loaded host may make of a key.
const HOPELESS: Duration = Duration::from_secs(3);

fn is_full() -> bool {
    std::env::vars().any(|(name, _)| name == "TEST_FULL")
}

/// How long an idle screen is looked at.
fn idle() -> Duration {
    Duration::from_secs(if is_full() { 60 } else { 3 })
}

/// The wide lab with a plan in force, made once; its folder.
fn wide() -> &'static Path {
    static DESK: OnceLock<Desk> = OnceLock::new();
    let desk = DESK.get_or_init(|| {
        let desk = Desk::new();
        desk.run("init lab").good();
        for (name, text) in files() {
            desk.write(&format!("lab/{name}"), &text);
        }
        desk.at(AT, "plan lab --publish --seconds 0").good();
        desk
    });
    desk.folder.path()
}

/// The screens on the wide lab, the clock standing still.
fn on_wide() -> Pty {
    let line = format!("open lab --now {AT} --late trial --person Ines");
    let pty = Pty::rigday(&line, &Setup::in_folder(wide()));
    pty.until("? help");
    pty.until_quiet(QUIET);
    pty
}

fn frames(bytes: &[u8]) -> usize {
    String::from_utf8_lossy(bytes).matches(BEGIN).count()
}

/// Presses a key and waits until all is said; what was sent, and how soon its first byte came.
fn press(pty: &mut Pty, key: &str) -> (Vec<u8>, Duration) {
    let mark = pty.mark();
    let from = pty.now();
    pty.send(key);
    let took = pty.answer_after(mark, from);
    pty.until_quiet(Duration::from_millis(120));
    (pty.since(mark), took)
}

/// Goes to a screen, perhaps the one that is shown; what was sent.
fn show(pty: &mut Pty, screen: &str) -> Vec<u8> {
    let mark = pty.mark();
    pty.send(screen);
    pty.until_quiet(QUIET);
    pty.since(mark)
}

#[test]
fn t40_nothing_is_sent_where_nothing_changes() {
    let mut pty = on_wide();
    for screen in ["1", "2", "3", "4", "5"] {
        pty.send(screen);
        pty.until_quiet(QUIET);
        let mark = pty.mark();
        std::thread::sleep(idle());
        let sent = pty.since(mark);
        assert!(
            sent.is_empty(),
            "screen {screen}: {}",
            String::from_utf8_lossy(&sent)
        );
    }
}

/// What an idle screen sent, and the processor time that it used.
struct Idle {
    screen: &'static str,
    sent: Vec<u8>,
    used: Duration,
}

/// The demo left alone on each screen, once for all tests.
#[expect(clippy::print_stdout, reason = "a measurement is told")]
fn left_alone() -> &'static [Idle] {
    static IDLE: OnceLock<Vec<Idle>> = OnceLock::new();
    IDLE.get_or_init(|| {
        let desk = Desk::new();
        let mut pty = Pty::rigday("demo", &Setup::in_folder(desk.folder.path()));
        pty.until("? help");
        let look = |(screen, name): (&'static str, &str)| {
            pty.send(screen);
            pty.until(name);
            pty.until_quiet(QUIET);
            let (mark, before) = (pty.mark(), pty.cpu());
            std::thread::sleep(idle());
            let (sent, used) = (pty.since(mark), pty.cpu().saturating_sub(before));
            println!(
                "screen {screen} idle for {:?}: {} bytes, {} frames, {used:?}",
                idle(),
                sent.len(),
                frames(&sent)
            );
            Idle { screen, sent, used }
        };
        let screens = [
            ("1", " Plan "),
            ("2", " Bench "),
            ("3", " Load "),
            ("4", " Units "),
            ("5", " Evidence "),
        ];
        screens.map(look).into()
    })
}

#[test]
fn t40_only_the_minute_is_drawn_on_an_idle_screen() {
    for own in left_alone() {
        assert!(
            frames(&own.sent) <= 2 && own.sent.len() <= 256,
            "screen {}: {}",
            own.screen,
            String::from_utf8_lossy(&own.sent)
        );
    }
}

#[test]
fn t41_an_idle_screen_costs_no_time() {
    // The host counts in hundredths of a second.
    let allowed = idle() / 100 + Duration::from_millis(50);
    for own in left_alone() {
        let (screen, used) = (own.screen, own.used);
        assert!(
            used <= allowed,
            "screen {screen} used {used:?} of {allowed:?}"
        );
    }
}

#[test]
fn t42_frames_are_small_and_the_screen_is_cleared_only_at_the_start() {
    let mut pty = on_wide();
    let heard = pty.heard();
    let first = &heard[heard.find(BEGIN).expect("a frame")..];
    let first = &first[..first.find(END).expect("it ends") + END.len()];
    println!("first frame: {} bytes", first.len());
    assert!(first.len() <= 8192);
    for screen in ["1", "2", "3", "4", "5"] {
        let shown = show(&mut pty, screen);
        let moves: Vec<usize> = (0..8)
            .map(|_| press(&mut pty, "\u{1b}[B").0.len())
            .collect();
        println!(
            "screen {screen}: {} bytes to show it, moves {moves:?}",
            shown.len()
        );
        assert!(
            moves.iter().all(|bytes| *bytes <= 512),
            "screen {screen}: {moves:?}"
        );
    }
    show(&mut pty, "1");
    let along: Vec<usize> = (0..8)
        .map(|_| press(&mut pty, "\u{1b}[C").0.len())
        .collect();
    println!("from booking to booking: {along:?}");
    assert!(along.iter().all(|bytes| *bytes <= 2048), "{along:?}");
    let heard = pty.heard();
    assert_eq!(heard.matches("\u{1b}[2J").count(), 1);
    assert_eq!(heard.matches(BEGIN).count(), heard.matches(END).count());
    pty.resize((100, 30));
    pty.until_quiet(QUIET);
    assert_eq!(pty.heard().matches("\u{1b}[2J").count(), 2);
}

#[test]
fn t43_what_is_typed_ahead_is_drawn_in_three_frames() {
    let mut pty = on_wide();
    press(&mut pty, "4");
    let mark = pty.mark();
    pty.send("j".repeat(200));
    pty.until_quiet(QUIET);
    let sent = pty.since(mark);
    println!("200 keys: {} frames, {} bytes", frames(&sent), sent.len());
    assert!((1..=3).contains(&frames(&sent)), "{} frames", frames(&sent));
    let screen = pty.screen();
    let marked = screen.lines().find(|line| line.starts_with('>'));
    assert!(
        marked.is_some_and(|line| line.contains("W-21/1")),
        "{screen}"
    );
}

#[test]
fn t43_a_held_key_stops_when_it_is_released() {
    let mut pty = on_wide();
    press(&mut pty, "4");
    pty.send_slowly("j".repeat(60), Duration::from_millis(10));
    let released = pty.now();
    pty.until_quiet(QUIET);
    let last = pty.chunks().last().map(|chunk| chunk.at).expect("it drew");
    let after = last.saturating_sub(released);
    println!("after the last key it drew for {after:?}");
    assert!(after < HOPELESS);
}

#[test]
fn t44_keys_are_answered_at_once_on_a_wide_lab() {
    let mut pty = on_wide();
    let first = pty
        .chunks()
        .iter()
        .find(|chunk| String::from_utf8_lossy(&chunk.bytes).contains(BEGIN))
        .map(|chunk| chunk.at)
        .expect("a frame");
    println!("first frame after {first:?}");
    for (screen, keys) in [
        ("1", ["j", "j", "k", "j"]),
        ("3", ["j", "j", "k", "j"]),
        ("4", ["j", "j", "k", "j"]),
    ] {
        show(&mut pty, screen);
        let mut times: Vec<Duration> = (0..20).map(|at| press(&mut pty, keys[at % 4]).1).collect();
        times.sort();
        let (middle, late) = (times[10], times[18]);
        println!("screen {screen}: key to bytes, median {middle:?}, p95 {late:?}");
        assert!(late < HOPELESS, "{times:?}");
    }
    let (now, most) = pty.memory();
    println!("memory: {now} kB, at most {most} kB");
    assert!(most < 400_000, "{most} kB");
}

#[test]
fn t45_news_of_work_come_four_times_a_second_at_most() {
    let desk = Desk::new();
    let mut pty = Pty::rigday("demo", &Setup::in_folder(desk.folder.path()));
    pty.until("? help");
    pty.until_quiet(QUIET);
    let (mark, from) = (pty.mark(), pty.now());
    pty.send("p");
    pty.until("WHAT-IF");
    let seconds = pty.now().saturating_sub(from).as_secs() + 1;
    let drawn = frames(&pty.since(mark)) as u64;
    println!("planned for {seconds} s in {drawn} frames");
    assert!(drawn <= 4 * seconds + 3, "{drawn} frames in {seconds} s");
}
