//! A paper as plain text: for a terminal, mail, and a printer without a browser.

use super::paper::{Cell, Grid, Paper, Part, Section, Tone};
use super::table::Table;
use crate::domain::text::shown;

/// Columns of the text; tables may be wider.
const WIDTH: usize = 80;

/// The paper as text; pages are parted by form feeds where a section begins a new page.
pub fn plain(paper: &Paper) -> String {
    let mut text = String::new();
    if paper.stamp.sample {
        line(&mut text, 0, "SAMPLE: the made-up lab of the demo");
    }
    line(&mut text, 0, &paper.stamp.lab);
    heading(&mut text, &paper.title, '=');
    if !paper.about.is_empty() {
        wrapped(&mut text, 0, &paper.about);
    }
    for section in &paper.sections {
        put_section(&mut text, section);
    }
    text.push('\n');
    line(&mut text, 0, &"-".repeat(WIDTH));
    facts(&mut text, &paper.stamp.facts());
    text
}

fn put_section(text: &mut String, section: &Section) {
    text.push_str(if section.new_page { "\n\u{c}" } else { "\n" });
    heading(text, &section.title, '-');
    for part in &section.parts {
        match part {
            Part::Text(words) => wrapped(text, 0, words),
            Part::Caution(words) => wrapped(text, 0, &format!("CAUTION: {words}")),
            Part::List(lines) => {
                for own in lines {
                    wrapped(text, 2, &format!("- {own}"));
                }
            }
            Part::Facts(all) => facts(text, all),
            Part::Grid(grid) => put_grid(text, grid),
            Part::Figure(figure) => {
                wrapped(
                    text,
                    0,
                    &format!("(picture, in HTML only: {})", figure.caption),
                );
            }
            Part::Sign(lines) => {
                for own in lines {
                    text.push('\n');
                    line(
                        text,
                        0,
                        &format!("{own} {}", "_".repeat(58 - own.len().min(40))),
                    );
                }
            }
        }
    }
}

fn facts(text: &mut String, all: &[(&'static str, String)]) {
    let wide = all.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    for (name, value) in all {
        wrapped(text, wide + 2, &format!("{name:wide$}  {value}"));
    }
}

fn put_grid(text: &mut String, grid: &Grid) {
    if grid.lead == 0 {
        let row = |row: &Vec<Cell>| row.iter().map(cell).collect();
        let rows = grid.rows.iter().map(row).collect();
        let header = grid.head.clone();
        text.push_str(&Table { header, rows }.aligned());
        return;
    }
    let leads = Table {
        header: grid.head.iter().take(grid.lead).copied().collect(),
        rows: grid
            .rows
            .iter()
            .map(|row| row.iter().take(grid.lead).map(cell).collect())
            .collect(),
    }
    .aligned();
    let mut leads = leads.lines();
    line(text, 0, leads.next().unwrap_or_default());
    for (row, lead) in grid.rows.iter().zip(leads) {
        line(text, 0, lead);
        for (name, own) in grid.head.iter().zip(row).skip(grid.lead) {
            if !own.text.is_empty() {
                wrapped(text, 8, &format!("      {name}: {}", cell(own)));
            }
        }
    }
}

fn cell(cell: &Cell) -> String {
    match cell.tone {
        Tone::Void => format!("({}, does not count)", cell.text),
        Tone::Tick => cell
            .text
            .split(' ')
            .map(|word| format!("[ ] {word}").trim_end().to_owned())
            .collect::<Vec<String>>()
            .join("  "),
        _ => cell.text.clone(),
    }
}

fn heading(text: &mut String, words: &str, under: char) {
    line(text, 0, words);
    let wide = shown(words).chars().count();
    line(text, 0, &under.to_string().repeat(wide));
}

fn line(text: &mut String, indent: usize, words: &str) {
    text.push_str(&" ".repeat(indent));
    text.push_str(&shown(words));
    text.push('\n');
}

/// The words in lines of the text's width, all but the first indented.
fn wrapped(text: &mut String, indent: usize, words: &str) {
    let words = shown(words);
    let rest = words.trim_start_matches(' ');
    let mut own = " ".repeat(words.len() - rest.len());
    let mut empty = true;
    for word in rest.split(' ') {
        if !empty && own.chars().count() + 1 + word.chars().count() > WIDTH {
            line(text, 0, own.trim_end());
            own = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            own.push(' ');
        }
        own.push_str(word);
        empty = false;
    }
    line(text, 0, own.trim_end());
}
