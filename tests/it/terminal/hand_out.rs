//! Mouse, clipboard, export and paste.

use crate::support::program::Desk;
use crate::support::pty::{Pty, Setup};
use std::time::Duration;

const QUIET: Duration = Duration::from_millis(300);
/// Faster would be a scanner.
const HAND: Duration = Duration::from_millis(60);
const NOW: &str = "open lab --now 2027-03-22T06:50 --late trial --person Ines";

fn opened(desk: &Desk) -> Pty {
    let pty = Pty::rigday(NOW, &Setup::in_folder(desk.folder.path()));
    pty.until("? help");
    pty.until_quiet(QUIET);
    pty
}

/// The text that was sent to the clipboard last.
fn copied(pty: &Pty) -> String {
    let heard = pty.heard();
    let (_, rest) = heard
        .rsplit_once("\u{1b}]52;c;")
        .expect("something was copied");
    let code = rest.split(['\u{7}', '\u{1b}']).next().expect("it ends");
    String::from_utf8(base64(code)).expect("text")
}

/// The bytes of a text in base 64 (RFC 4648, section 4).
fn base64(code: &str) -> Vec<u8> {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bits, mut held, mut bytes) = (0_u32, 0, Vec::new());
    for letter in code.bytes().filter(|letter| *letter != b'=') {
        let value = LETTERS
            .iter()
            .position(|own| *own == letter)
            .expect("a letter of base 64");
        bits = bits << 6 | u32::try_from(value).expect("small");
        held += 6;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held & 0xff) as u8);
        }
    }
    bytes
}

#[test]
fn t35_the_mouse_is_the_terminals_until_it_is_asked_for() {
    let desk = Desk::demo();
    let mut pty = opened(&desk);
    assert!(!pty.heard().contains("\u{1b}[?1000h"));
    pty.send("4");
    pty.until("units   / narrows");
    // A click means nothing yet.
    pty.send("\u{1b}[<0;5;9M\u{1b}[<0;5;9m");
    pty.until_quiet(QUIET);
    let marked = |pty: &Pty| {
        let screen = pty.screen();
        let at = screen.lines().position(|line| line.starts_with('>'));
        at.expect("a line is selected")
    };
    let first = marked(&pty);
    pty.send("m");
    pty.until("gives it back");
    assert!(pty.heard().contains("\u{1b}[?1000h") && pty.heard().contains("\u{1b}[?1006h"));
    let row = first + 5;
    pty.send(format!("\u{1b}[<0;5;{0}M\u{1b}[<0;5;{0}m", row + 1));
    pty.until_quiet(QUIET);
    assert_eq!(marked(&pty), row, "{}", pty.screen());
    pty.send("\u{1b}[<65;5;9M");
    pty.until_quiet(QUIET);
    assert_eq!(marked(&pty), row + 3, "{}", pty.screen());
    pty.send("\u{1b}[<64;5;9M");
    pty.until_quiet(QUIET);
    assert_eq!(marked(&pty), row);
    pty.send("m");
    pty.until("terminal's own");
    assert!(pty.heard().contains("\u{1b}[?1000l"));
}

#[test]
fn t36_a_row_and_the_table_go_to_the_clipboard_and_to_a_file() {
    let desk = Desk::demo();
    let mut pty = opened(&desk);
    pty.send("4");
    pty.until("units   / narrows");
    pty.send("y");
    pty.until("sent to terminal clipboard");
    let row = copied(&pty);
    assert_eq!(row.split('\t').count(), 8, "{row}");
    pty.send("Y");
    pty.until_quiet(QUIET);
    let table = copied(&pty);
    let mut lines = table.lines();
    assert_eq!(
        lines.next(),
        Some("unit\tstate\tstep\tsteps\trig\tnext\trequest\tproduct")
    );
    assert_eq!(lines.next(), Some(row.as_str()));
    pty.send_slowly(":export\r", HAND);
    pty.until("written: rigday-units-20270322-0650.tsv");
    assert_eq!(desk.read("rigday-units-20270322-0650.tsv"), table);
    // What is there is not written over.
    pty.send_slowly(":export\r", HAND);
    pty.until("could not be written");
}

#[test]
fn t37_a_paste_goes_whole_into_the_field_and_is_never_a_command() {
    let desk = Desk::demo();
    let mut pty = opened(&desk);
    // No field has the focus: dropped, with a note; the q in it does not leave.
    pty.send("\u{1b}[200~q\rq\u{1b}[201~");
    pty.until("nothing here takes pasted text");
    pty.send("w");
    pty.until_quiet(QUIET);
    pty.send("\u{1b}[200~drop\r\nR-301\nq\u{1b}[201~");
    pty.until("drop R-301 q");
    assert!(pty.runs());
}
