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
        let card = UnitCard::of(&app.desk, unit, app.now, &app.settings);
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

/// The answer in large letters with its words beside them; in one row where there is no room for that.
fn band(theme: &Theme, answer: &Answer, area: Rect, buffer: &mut Buffer) -> u16 {
    let style = style_of(theme, answer.mood);
    let rows = u16::try_from(big::ROWS).unwrap_or(0);
    let letters = big::width(&answer.word) + 4;
    let beside = usize::from(area.width).saturating_sub(letters + 1);
    if area.height < rows + 3 || beside < 24 {
        line(buffer, area, 0, &format!(" {}", answer.line()), style);
        return 1;
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

/// State, serial, walk, and what is known of it, in the rows there are; the rows it took.
fn unit_card(
    theme: &Theme,
    card: &UnitCard,
    answered: bool,
    area: Rect,
    buffer: &mut Buffer,
) -> u16 {
    let mut rows: Vec<(String, Style)> = Vec::new();
    let width = usize::from(area.width);
    if !answered {
        let state = state_word(card.state).to_uppercase();
        let head = format!(" {} {state}  {} ", theme.mark(card.state), card.unit);
        let style = theme.unit(card.state).add_modifier(Modifier::BOLD);
        rows.push((head, style));
    }
    let walk = as_line(theme, &card.walk, width - HEADING.min(width));
    rows.push((format!("{}{walk}", fit("walk", HEADING)), Style::new()));
    let mut told: Vec<&(&str, String)> = card.lines.iter().collect();
    if area.height < 7 {
        // Where not everything has room, what is to be done comes first.
        told.sort_by_key(|(heading, _)| *heading != "do");
    }
    for (heading, text) in told {
        // What is to be done is never cut.
        let lines = wrapped(text, width.saturating_sub(HEADING));
        let keep = if matches!(*heading, "do" | "now") {
            2
        } else {
            1
        };
        for (at, words) in lines.iter().take(keep).enumerate() {
            let first = if at == 0 { *heading } else { "" };
            let more = if at + 1 == keep && lines.len() > keep {
                "~"
            } else {
                ""
            };
            let style = if *heading == "do" {
                theme.title()
            } else {
                Style::new()
            };
            rows.push((format!("{}{words}{more}", fit(first, HEADING)), style));
        }
    }
    let room = usize::from(area.height);
    let cautions = cautions(theme, card, width, room);
    // Who could be hurt must know it: the card's last lines give way before a caution does.
    let keep = room.saturating_sub(cautions.len());
    rows.truncate(keep.max(3));
    rows.extend(cautions);
    for (at, (text, style)) in (0..).zip(rows.iter().take(room)) {
        line(buffer, area, at, text, *style);
    }
    if !answered && room > 0 {
        beside_the_head(card, &rows[0].0, area, buffer);
    }
    u16::try_from(rows.len().min(room)).unwrap_or(area.height)
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

fn cautions(theme: &Theme, card: &UnitCard, width: usize, room: usize) -> Vec<(String, Style)> {
    let Some((prevail, own)) = card.cautions.split_last() else {
        return Vec::new();
    };
    let own = own
        .iter()
        .flat_map(|text| wrapped(&format!("caution: {text}"), width));
    let mut lines: Vec<(String, Style)> = own.map(|text| (text, theme.warning())).collect();
    let most = (room / 2).max(1);
    if lines.len() > most {
        lines.truncate(most);
        lines[most - 1].0.push('~');
    }
    if lines.len() + 4 <= room {
        let prevail = wrapped(prevail, width).into_iter();
        lines.extend(prevail.map(|text| (text, Style::new())));
    }
    lines
}
