//! A paper as one HTML file that needs nothing beside it: no script, style and pictures inside, light and
//! dark by what the reader's system asks for, and A4 in print.
//!
//! Texts are cleaned by `shown` here and escaped by the macro that builds the page, nowhere else.

use super::paper::{Cell, Figure, Grid, Paper, Part, Section, Tone};
use crate::domain::text::shown;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// How every paper looks.
const STYLE: &str = include_str!("paper.css");

/// The paper as an HTML document.
pub fn html(paper: &Paper) -> String {
    let stamp = &paper.stamp;
    let title = shown(&format!("{} - {}", paper.title, stamp.lab));
    let page = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content=(shown(&stamp.program));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (super::chart::patterns())
                header {
                    p.lab {
                        (shown(&stamp.lab))
                        @if stamp.sample { " " strong.sample { "SAMPLE" } }
                    }
                    h1 { (shown(&paper.title)) }
                    @if !paper.about.is_empty() { p.about { (shown(&paper.about)) } }
                }
                main {
                    @for (number, own) in paper.sections.iter().enumerate() { (section(number, own)) }
                }
                footer { (facts(&stamp.facts())) }
            }
        }
    };
    page.into_string() + "\n"
}

fn section(number: usize, section: &Section) -> Markup {
    let id = format!("s{}", number + 1);
    let class = section.new_page.then_some("page");
    html! {
        section aria-labelledby=(id) class=[class] {
            h2 id=(id) { (shown(&section.title)) }
            @for own in &section.parts { (part(own)) }
        }
    }
}

fn part(part: &Part) -> Markup {
    match part {
        Part::Text(words) => html! { p { (shown(words)) } },
        Part::Caution(words) => html! { p.caution { strong { "Caution: " } (shown(words)) } },
        Part::List(lines) => html! {
            ul { @for own in lines { li { (shown(own)) } } }
        },
        Part::Facts(all) => facts(all),
        Part::Grid(own) => grid(own),
        Part::Figure(own) => figure(own),
        Part::Sign(lines) => html! {
            div.sign { @for own in lines { p { span { (own) } } } }
        },
    }
}

fn facts(all: &[(&'static str, String)]) -> Markup {
    html! {
        dl {
            @for (name, value) in all {
                div { dt { (name) } dd { (shown(value)) } }
            }
        }
    }
}

fn figure(figure: &Figure) -> Markup {
    html! {
        figure {
            (PreEscaped(&figure.svg))
            figcaption {
                (shown(&figure.caption))
                @for (look, word) in &figure.legend {
                    " " span.key { i.(look.class()) {} " " (word) }
                }
            }
        }
    }
}

/// From more columns than this on a table is set closer, so that it fits a page.
const MANY: usize = 9;
/// Up to so many rows a table stays on one page.
const SHORT: usize = 14;

fn grid(grid: &Grid) -> Markup {
    let caption = shown(&grid.caption);
    let is_number = |column: usize| {
        let cell = grid.rows.first().and_then(|row| row.get(column));
        cell.is_some_and(|cell| cell.tone == Tone::Number)
    };
    let told = told_columns(grid);
    html! {
        div.wide.short[grid.rows.len() <= SHORT] role="region" aria-label=(caption) tabindex="0" {
            table.many[told.len() > MANY] {
                caption { (caption) }
                thead {
                    tr {
                        @for column in &told {
                            th scope="col" class=[is_number(*column).then_some("number")] { (grid.head[*column]) }
                        }
                    }
                }
                tbody {
                    @for row in &grid.rows {
                        tr {
                            @for (column, own) in told.iter().filter_map(|ix| Some((ix, row.get(*ix)?))) {
                                @if *column == 0 {
                                    th scope="row" class=[class(own.tone)] { (cell(own)) }
                                } @else {
                                    td class=[class(own.tone)] { (cell(own)) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The columns in which some row says something, and the first.
fn told_columns(grid: &Grid) -> Vec<usize> {
    let says = |column: usize| {
        let mut cells = grid.rows.iter().filter_map(|row| row.get(column));
        column == 0 || grid.rows.is_empty() || cells.any(|cell| !cell.text.is_empty())
    };
    (0..grid.head.len())
        .filter(|column| says(*column))
        .collect()
}

const fn class(tone: Tone) -> Option<&'static str> {
    match tone {
        Tone::Plain => None,
        Tone::Number => Some("number"),
        Tone::Good => Some("good"),
        Tone::Bad => Some("bad"),
        Tone::Look => Some("look"),
        Tone::Void => Some("void"),
        Tone::Tick => Some("tick"),
    }
}

fn cell(cell: &Cell) -> Markup {
    let text = shown(&cell.text);
    match cell.tone {
        Tone::Void => html! { del { (text) } " (does not count)" },
        Tone::Tick => html! {
            @for word in text.split(' ') { span.box { i {} (word) } " " }
        },
        _ => words(&text),
    }
}

/// Longest word that is kept on one line, in letters.
const WHOLE_MAX: usize = 24;

/// A text in which no short word breaks at its own hyphens: ids and serials have them.
fn words(text: &str) -> Markup {
    html! {
        @for (ix, word) in text.split(' ').enumerate() {
            @if ix > 0 { " " }
            @if word.contains('-') && word.chars().count() <= WHOLE_MAX {
                span.whole { (word) }
            } @else {
                (word)
            }
        }
    }
}
