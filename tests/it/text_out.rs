//! Text on its way out and in again: nothing of it steers a terminal, and no table program takes it for a
//! formula.

use crate::ledger::{seed, size};
use crate::support::program::Desk;
use crate::support::random::Random;
use rigday::domain::csv::{line, read};
use rigday::domain::text::shown;

/// What no terminal should get from data: the rule, written down once more.
fn steers(c: char) -> bool {
    let code = u32::from(c);
    code < 0x20
        || (0x7f..=0x9f).contains(&code)
        || [0x61c, 0x200e, 0x200f, 0x2028, 0x2029, 0xfeff].contains(&code)
        || (0x202a..=0x202e).contains(&code)
        || (0x2066..=0x2069).contains(&code)
        || (0x200b..=0x200d).contains(&code)
        || code == 0x2060
}

fn any_char(random: &mut Random) -> char {
    loop {
        let most = [0x7f, 0x2fff, 0x0010_ffff][random.below(3)];
        let code = random.count(0, most);
        if let Some(c) = char::from_u32(code) {
            return c;
        }
    }
}

#[test]
fn f11_no_character_of_all_steers_a_terminal() {
    let mut count = 0;
    for c in (0..=0x0010_ffff).filter_map(char::from_u32) {
        let text = shown(&c.to_string());
        assert_eq!(text.chars().count(), 1);
        assert!(!text.chars().any(steers), "{c:?}");
        assert!(!steers(c) || text == "?", "{c:?}");
        count += 1;
    }
    assert_eq!(count, 1_112_064);
}

#[test]
fn f11_no_text_steers_a_terminal() {
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let mut random = Random::new(own_seed);
    for _ in 0..size(20_000, 100_000, 1_000_000) {
        let length = random.below(40);
        let text: String = (0..length).map(|_| any_char(&mut random)).collect();
        let out = shown(&text);
        assert_eq!(out.chars().count(), length);
        assert!(!out.chars().any(steers), "{text:?}");
        assert_eq!(shown(&out), out, "once is enough");
    }
}

/// Characters that mean something to a table program, among plain ones.
fn cell(random: &mut Random) -> String {
    const TRIGGERS: [char; 18] = [
        '=', '+', '-', '@', '\t', '\r', '\n', '\0', '＝', '＋', '－', '＠', '"', '\'', ',', ' ',
        'a', 'ü',
    ];
    let length = random.below(7);
    let pick = |random: &mut Random| random.pick(&TRIGGERS);
    (0..length).map(|_| pick(random)).collect()
}

#[test]
fn f12_every_cell_comes_back_and_none_is_a_formula() {
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let mut random = Random::new(own_seed);
    for _ in 0..size(10_000, 10_000, 1_000_000) {
        let count = 1 + random.below(4);
        let row: Vec<String> = (0..count).map(|_| cell(&mut random)).collect();
        let text = line(row.iter().map(String::as_str));
        let rows = read(&text).expect("what was written is a table");
        assert_eq!(rows.len(), 1, "{row:?}");
        let back: Vec<&str> = rows[0].iter().map(|cell| cell.text.as_str()).collect();
        assert_eq!(back, row, "{text:?}");
        // What a table program sees of each cell: quotes taken off, its guard still there.
        for (own, cell) in row.iter().zip(rigday_as_a_table_program_reads(&text)) {
            let first = cell.trim_start_matches([' ', '"']).chars().next();
            let formula = first.is_some_and(|c| "=+-@\t\r\n\0＝＋－＠".contains(c));
            assert!(!formula, "{own:?} is written as {cell:?}");
        }
    }
}

/// Cells by the standard's rules alone.
fn rigday_as_a_table_program_reads(text: &str) -> Vec<String> {
    let text = text.strip_suffix("\r\n").expect("a line has an end");
    let (mut cells, mut cell, mut inside) = (Vec::new(), String::new(), false);
    let mut letters = text.chars().peekable();
    while let Some(c) = letters.next() {
        match c {
            '"' if inside && letters.peek() == Some(&'"') => cell.extend(letters.next()),
            '"' => inside = !inside,
            ',' if !inside => cells.push(std::mem::take(&mut cell)),
            _ => cell.push(c),
        }
    }
    cells.push(cell);
    cells
}

/// The whole program: a note with everything in it, on every way out.
#[test]
fn f11_no_way_out_lets_a_control_through() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let name = "R-1/1\u{1b}[2J\u{202e}\u{9b}";
    for words in [
        vec!["note", name, "x", "--lab", "lab"],
        vec!["note", "R-1/1", "x\u{1b}[2Jy", "--lab", "lab"],
        vec!["units", name, "--lab", "lab"],
        vec!["take", "no\u{1b}[2J\u{202e}file.csv", "--lab", "lab"],
        vec!["verify", "--ledger", "no\u{1b}[2Jfile.db"],
        vec!["rig", "up", "dh\u{1b}]0;x\u{7}", "--lab", "lab"],
        vec!["role", "grant", "a\u{1b}[2J", "viewer", "--lab", "lab"],
    ] {
        let ended = desk.run_words(&words);
        assert!(ended.code != 0, "{words:?}: {}", ended.out);
        let all = ended.out + &ended.err;
        let clean = all.chars().all(|c| c == '\n' || !steers(c));
        assert!(clean, "{words:?}: {all:?}");
    }
}
