//! The unit on the card, and the answer of the bench above it.

use crate::app::card::UnitCard;
use crate::app::walk::state_word;
use crate::app::{Answer, App, Mood};
use crate::floor::UnitState;
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::screens::walk::as_line;
use crate::widgets::big;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use unicode_width::UnicodeWidthStr;

/// Columns of the headings of the card's lines.
const HEADING: usize = 6;

/// Draws it; the rows that it took, a blank one below included.
pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> u16 {
    if area.height == 0 {
        return 0;
    }
    let answered = app.bench.answer.as_ref();
    let mut used = answered.map_or(0, |answer| band(theme, answer, area, buffer));
    if let Some(unit) = &app.bench.unit {
        let mut card = UnitCard::of(&app.desk, unit, app.now, &app.settings);
        if let Some(answer) = answered {
            card.lines.retain(|own| !is_told(answer, own));
        }
        let rest = Rect {
            y: area.y + used,
            height: area.height - used,
            ..area
        };
        used += unit_card(theme, &card, answered.is_some(), rest, buffer);
    } else if answered.is_none() {
        used += nobody(area, buffer);
    }
    (used + 1).min(area.height)
}

/// The answer says it already: a verdict that was just given, or what comes next.
fn is_told(answer: &Answer, (heading, text): &(&str, String)) -> bool {
    let verdict = matches!(answer.mood, Mood::Pass | Mood::Fail | Mood::Hold);
    let said = format!("{heading}: {text}");
    answer.words.contains(&said) || verdict && *heading == "last"
}

/// How to begin.
fn nobody(area: Rect, buffer: &mut Buffer) -> u16 {
    let words = [
        "No unit on the card. Scan its label, or type its serial and Enter.",
        "Up and Down choose a line, Enter takes its unit. Left and Right: rig by rig.",
    ];
    let lines = words
        .iter()
        .flat_map(|text| wrapped(text, area.width.into()));
    let mut used = 0;
    for text in lines.take(usize::from(area.height)) {
        line(buffer, area, used, &text, Style::new());
        used += 1;
    }
    used
}

fn style_of(theme: &Theme, mood: Mood) -> Style {
    let style = match mood {
        Mood::Pass => theme.unit(UnitState::Passed),
        Mood::Fail => theme.unit(UnitState::Failed),
        Mood::Hold => theme.unit(UnitState::Held),
        Mood::Done => theme.unit(UnitState::Running),
        Mood::Refused => theme.warning(),
    };
    style.add_modifier(Modifier::BOLD)
}

/// The answer in large letters with its words beside them; in a row or two where there is no room for that.
fn band(theme: &Theme, answer: &Answer, area: Rect, buffer: &mut Buffer) -> u16 {
    let style = style_of(theme, answer.mood);
    let rows = u16::try_from(big::ROWS).unwrap_or(0);
    let letters = big::width(&answer.word) + 4;
    let beside = usize::from(area.width).saturating_sub(letters + 1);
    if area.height < rows + 3 || beside < 24 {
        let mut lines = wrapped(&answer.line(), usize::from(area.width).saturating_sub(2));
        // Its word stands apart from what it is about.
        lines[0] = lines[0].replacen(&answer.word, &format!("{} ", answer.word), 1);
        let room = usize::from(area.height.saturating_sub(2)).clamp(1, 2);
        let mut used = 0;
        for text in first_lines(lines, room) {
            line(buffer, area, used, &format!(" {text}"), style);
            used += 1;
        }
        return used;
    }
    let about = Some(&answer.about).filter(|about| !about.is_empty());
    let sentences = answer.words.iter();
    let words: Vec<String> = about
        .into_iter()
        .chain(sentences)
        .flat_map(|text| wrapped(text, beside))
        .collect();
    // Where there is more to say than letters are high, the band grows.
    let said = u16::try_from(words.len()).unwrap_or(u16::MAX);
    let height = said.clamp(rows, area.height - 3);
    let large = big::big(&answer.word);
    for row in 0..height {
        let blank = " ".repeat(big::width(&answer.word));
        let large = large.get(usize::from(row)).unwrap_or(&blank);
        let text = words.get(usize::from(row)).map_or("", String::as_str);
        let text = format!("  {large}  {}", fit(text, beside));
        line(buffer, area, row, &text, style);
    }
    height
}

/// A row of the card.
struct Row {
    /// Where there is no room for all, rows with the greatest rank go first.
    rank: u8,
    text: String,
    style: Style,
    /// The row below goes on with its sentence.
    goes_on: bool,
}

/// What is to be done and what can hurt stay longest; what holds for every rig goes first.
const RANKS: [(&str, u8); 7] = [
    ("head", 0),
    ("do", 0),
    ("caution", 1),
    ("walk", 2),
    ("now", 4),
    ("next", 5),
    ("last", 7),
];
/// Of the lines of a sentence after its first.
const REST: u8 = 6;
/// Of the lines of cautions after the first.
const MORE_CAUTIONS: u8 = 3;
/// Who prevails.
const PREVAILS: u8 = 8;

fn rank_of(heading: &str) -> u8 {
    let own = RANKS.iter().find(|(name, _)| *name == heading);
    own.map_or(REST, |(_, rank)| *rank)
}

/// State, serial, walk, and what is known of it, in the rows there are; the rows it took.
fn unit_card(
    theme: &Theme,
    card: &UnitCard,
    answered: bool,
    area: Rect,
    buffer: &mut Buffer,
) -> u16 {
    let width = usize::from(area.width);
    let room = usize::from(area.height);
    let single = |heading: &str, text: String, style| Row {
        rank: rank_of(heading),
        text,
        style,
        goes_on: false,
    };
    let mut rows: Vec<Row> = Vec::new();
    if !answered {
        let state = state_word(card.state).to_uppercase();
        let head = format!(" {} {state}  {} ", theme.mark(card.state), card.unit);
        let style = theme.unit(card.state).add_modifier(Modifier::BOLD);
        rows.push(single("head", head, style));
    }
    let walk = as_line(theme, &card.walk, width - HEADING.min(width));
    let walk = format!("{}{walk}", fit("walk", HEADING));
    rows.push(single("walk", walk, Style::new()));
    for (heading, text) in &card.lines {
        rows.extend(told(theme, heading, text, width));
    }
    rows.extend(cautions(theme, card, width, room));
    shorten(&mut rows, room);
    for (at, row) in (0..).zip(&rows) {
        line(buffer, area, at, &row.text, row.style);
    }
    if !answered && room > 0 {
        beside_the_head(card, &rows[0].text, area, buffer);
    }
    u16::try_from(rows.len()).unwrap_or(area.height)
}

/// A sentence of the card behind its heading, in one row, or two where it matters most.
fn told(theme: &Theme, heading: &str, text: &str, width: usize) -> Vec<Row> {
    let most = if matches!(heading, "do" | "now") {
        2
    } else {
        1
    };
    let style = match heading {
        "do" => theme.title(),
        _ => Style::new(),
    };
    let lines = first_lines(wrapped(text, width.saturating_sub(HEADING)), most);
    let last = lines.len() - 1;
    let row = |(at, words): (usize, String)| Row {
        rank: match (at, heading) {
            (0, _) | (_, "do") => rank_of(heading),
            _ => REST,
        },
        text: format!(
            "{}{words}",
            fit(if at == 0 { heading } else { "" }, HEADING)
        ),
        style,
        goes_on: at < last,
    };
    lines.into_iter().enumerate().map(row).collect()
}

/// The first lines of a text; what is cut ends in `~`.
fn first_lines(mut lines: Vec<String>, most: usize) -> Vec<String> {
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push('~');
        }
    }
    lines
}

/// Takes rows away until they fit; a sentence that is cut by that ends in `~`.
fn shorten(rows: &mut Vec<Row>, room: usize) {
    while rows.len() > room {
        let Some(at) = (0..rows.len()).max_by_key(|at| rows[*at].rank) else {
            return;
        };
        rows.remove(at);
        let before = at.checked_sub(1).and_then(|at| rows.get_mut(at));
        if let Some(before) = before.filter(|own| own.goes_on) {
            before.goes_on = false;
            before.text.push('~');
        }
    }
}

/// Product, build, request and sequence, at the right of the first row where there is room.
fn beside_the_head(card: &UnitCard, head: &str, area: Rect, buffer: &mut Buffer) {
    let (head, about) = (head.width(), card.about.width());
    let room = usize::from(area.width).saturating_sub(head + 2);
    let plain = fit(&card.about, about.min(room));
    let x = area.x
        + area
            .width
            .saturating_sub(u16::try_from(plain.width() + 1).unwrap_or(0));
    let blank = " ".repeat(usize::from(area.width).saturating_sub(head));
    let from = area.x + u16::try_from(head).unwrap_or(0).min(area.width);
    let unstyled = Style::reset();
    buffer.set_string(from, area.y, blank, unstyled);
    buffer.set_string(x.max(from), area.y, plain, unstyled);
}

/// What can hurt, in at most half of the room, and below it who prevails.
fn cautions(theme: &Theme, card: &UnitCard, width: usize, room: usize) -> Vec<Row> {
    let Some((prevail, own)) = card.cautions.split_last() else {
        return Vec::new();
    };
    let row = |rank, text, style, goes_on| Row {
        rank,
        text,
        style,
        goes_on,
    };
    let own = own
        .iter()
        .flat_map(|text| wrapped(&format!("caution: {text}"), width));
    let own = first_lines(own.collect(), (room / 2).max(1));
    let last = own.len().saturating_sub(1);
    let own = own.into_iter().enumerate().map(|(at, text)| {
        let rank = if at == 0 {
            rank_of("caution")
        } else {
            MORE_CAUTIONS
        };
        row(rank, text, theme.warning(), at < last)
    });
    let prevail = wrapped(prevail, width).into_iter();
    own.chain(prevail.map(|text| row(PREVAILS, text, Style::new(), false)))
        .collect()
}
