//! Noise for every reader of text: files with bytes changed, cut out and doubled. No reader breaks down,
//! whatever it says.

use crate::ledger::{seed, size};
use crate::support::program::Desk;
use crate::support::random::Random;
use rigday::domain::{csv, text};
use rigday::lab::{parse_date, parse_duration, parse_instant, take};
use rigday::ledger::Head;
use std::path::Path;

/// The files that noise is made from.
fn files() -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/hostile");
    let entries = std::fs::read_dir(folder).expect("the folder");
    let mut all: Vec<(String, Vec<u8>)> = entries
        .map(|entry| {
            let entry = entry.expect("an entry");
            let name = entry.file_name().into_string().expect("a plain name");
            (name, std::fs::read(entry.path()).expect("a file"))
        })
        .filter(|(_, bytes)| bytes.len() < 5_000)
        .collect();
    all.sort();
    all
}

/// Bytes with a few changes.
fn noisy(bytes: &[u8], random: &mut Random) -> Vec<u8> {
    let mut own = bytes.to_vec();
    for _ in 0..=random.below(4) {
        if own.is_empty() {
            break;
        }
        let (from, to) = (random.below(own.len()), random.below(own.len()));
        let (from, to) = (from.min(to), from.max(to));
        match random.below(4) {
            0 => own[from] = u8::try_from(random.below(256)).expect("a byte"),
            1 => drop(own.drain(from..to)),
            2 => {
                let part = own[from..to].to_vec();
                own.splice(to..to, part);
            }
            _ => own.insert(from, random.pick(b"\"',;=[]{}\n\r\0\x1b\xff#\\")),
        }
    }
    own
}

#[test]
fn f13_no_reader_breaks_down_whatever_it_reads() {
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let mut random = Random::new(own_seed);
    let files = files();
    for _ in 0..size(20_000, 200_000, 5_000_000) {
        let (_, bytes) = &files[random.below(files.len())];
        let own = noisy(bytes, &mut random);
        let text = String::from_utf8_lossy(&own);
        if let Ok(rows) = csv::read(&text) {
            for row in rows {
                let again = csv::line(row.iter().map(|cell| cell.text.as_str()));
                assert_eq!(csv::read(&again).expect("a table").len(), 1);
            }
        }
        let word: String = text.chars().take(random.below(30)).collect();
        let read = [
            parse_instant(&word, None).is_ok(),
            parse_duration(&word).is_ok(),
            parse_date(&word).is_ok(),
            Head::of_line(&text).is_some(),
            text::id_fault(&word).is_none(),
        ];
        assert!(!(read[0] && read[2]), "an instant is no date: {word}");
    }
}

#[test]
fn f13_no_noise_is_taken_in_with_something_hidden() {
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let mut random = Random::new(own_seed);
    let desk = Desk::new();
    desk.run("init lab").good();
    let (lab, files) = (desk.path("lab"), files());
    for _ in 0..size(150, 1_500, 50_000) {
        let (name, bytes) = &files[random.below(files.len())];
        std::fs::write(desk.path(name), noisy(bytes, &mut random)).expect("a file");
        let said = match take(&lab, &desk.path(name)) {
            Ok(taken) => {
                let ids = taken.requests.iter().flat_map(|own| &own.units);
                for id in ids {
                    assert_eq!(text::id_fault(id.as_str()), None);
                }
                String::new()
            }
            Err(faults) => faults.to_string(),
        };
        let clean = said.chars().all(|c| c == '\n' || !text::is_hidden(c));
        assert!(clean, "{said:?}");
        std::fs::remove_file(desk.path(name)).expect("the file");
    }
}
