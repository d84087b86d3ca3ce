//! Plan, Bench, Load, Units, Evidence and what lies in front of them: they draw the program and change nothing.

mod bench;
mod evidence;
mod forecast;
mod key_line;
mod load;
pub mod looks;
mod overlays;
mod plan;
mod proof;
#[cfg(test)]
mod tests;
pub mod theme;
mod units;
mod walk;
mod what_if;

use crate::app::offers::Offer;
use crate::app::{Action, App, Mood, Screen};
use crate::domain::text::counted;
use crate::widgets::text::fit;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use theme::Theme;
use unicode_width::UnicodeWidthStr;

/// Smallest terminal that shows more than a line.
const LEAST: (u16, u16) = (40, 12);

/// Columns from the left in which the mark of the selected line may stand.
const LEFT: usize = 40;
/// What may stand before it: nothing, and the frames of boxes.
const FRAME: [&str; 3] = [" ", "|", "│"];

/// Draws the whole program; the number of list rows it had room for.
pub fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    if area.width < LEAST.0 || area.height < LEAST.1 {
        let words = format!(
            "Need {}x{}, have {}x{}",
            LEAST.0, LEAST.1, area.width, area.height
        );
        if area.height > 0 {
            line(buffer, area, 0, &words, Style::new());
        }
        return overlays::in_little_room(app, theme, area, buffer);
    }
    header(app, theme, row(area, 0), buffer);
    let body = Rect {
        y: area.y + 1,
        height: area.height - 3,
        ..area
    };
    let rows = match app.screen {
        Screen::Plan => plan::draw(app, theme, body, buffer),
        Screen::Bench => bench::draw(app, theme, body, buffer),
        Screen::Load => load::draw(app, theme, body, buffer),
        Screen::Units => units::draw(app, theme, body, buffer),
        Screen::Evidence => evidence::draw(app, theme, body, buffer),
    };
    said(app, theme, row(area, area.height - 2), buffer);
    key_line::key_line(app, theme, row(area, area.height - 1), buffer);
    let above = overlays::draw(app, theme, body, buffer);
    above.unwrap_or(rows)
}

/// The row of the line that is selected on what is drawn: the first that its mark stands before.
pub fn selected_row(shown: &Buffer) -> Option<u16> {
    let area = shown.area;
    let body = area.y + 1..(area.y + area.height).saturating_sub(2);
    let marked = |row: &u16| {
        let left = (area.x..area.x + area.width).map(|column| shown[(column, *row)].symbol());
        let first = left.take(LEFT).find(|symbol| !FRAME.contains(symbol));
        first == Some(">")
    };
    body.into_iter().find(marked)
}

/// The minute that a column of the terminal stands for, where the screen has a time axis.
pub fn minute_at(app: &App, columns: u16, column: u16) -> Option<crate::domain::Minute> {
    (app.screen == Screen::Plan)
        .then(|| plan::minute_at(app, columns, column))
        .flatten()
}

/// One row of an area.
fn row(area: Rect, at: u16) -> Rect {
    Rect {
        y: area.y + at,
        height: 1,
        ..area
    }
}

/// Writes a text into a row of an area, over its whole width.
fn line(buffer: &mut Buffer, area: Rect, at: u16, text: &str, style: Style) {
    if at < area.height {
        buffer.set_string(area.x, area.y + at, fit(text, area.width.into()), style);
    }
}

/// What stands at the right of the header: the greater the rank, the sooner it is left out; 0 stays.
struct Part {
    gap: &'static str,
    text: String,
    rank: u8,
}

/// Screen, person, lab time with zone, age of the data. Where there is little room the other screens go
/// first, then the person (on the Bench the last), the zone and the age; never the time, nor that data is made
/// up or stale.
fn header(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let width = usize::from(area.width);
    let mut parts = header_parts(app, area.width);
    // The gap before the name, the one after it, and the one at the right end.
    let least = app.screen.name().len() + 3;
    keep_what_fits(&mut parts, width.saturating_sub(least));
    let texts = parts.iter().flat_map(|part| [part.gap, &part.text]);
    let right: String = texts.chain([" "]).collect();
    let room = width.saturating_sub(right.width());
    let left = fit(&screens_line(app, room), room);
    line(buffer, area, 0, &format!("{left}{right}"), theme.bar());
    let strong = |from: usize, wide: usize, style: Style, buffer: &mut Buffer| {
        let from = u16::try_from(from).unwrap_or(u16::MAX).min(area.width);
        let wide = u16::try_from(wide)
            .unwrap_or(u16::MAX)
            .min(area.width - from);
        let place = Rect {
            x: area.x + from,
            width: wide,
            ..area
        };
        buffer.set_style(place, style);
    };
    strong(0, app.screen.name().len() + 2, theme.bar_strong(), buffer);
    if let Some(part) = parts.iter().find(|part| part.text.starts_with("STALE")) {
        let before = right.split("STALE").next().unwrap_or_default();
        strong(
            room + before.width(),
            part.text.width(),
            theme.bar_strong(),
            buffer,
        );
    }
}

/// Takes in parts by rank as long as there is room.
fn keep_what_fits(parts: &mut Vec<Part>, room: usize) {
    let mut used = 0;
    for rank in 0..=PERSON_RANK {
        parts.retain(|part| {
            let wide = part.gap.len() + part.text.width();
            let fits = part.rank != rank || rank == 0 || used + wide <= room;
            if part.rank == rank && fits {
                used += wide;
            }
            fits
        });
    }
}

/// The zone follows its time closely.
const ZONE_RANK: u8 = 3;
/// Elsewhere than on the Bench, where several people take turns at one terminal, who acts goes first.
const PERSON_RANK: u8 = 4;

fn header_parts(app: &App, width: u16) -> Vec<Part> {
    let zone = &app.desk.lab.zone;
    let (dates, local) = (&app.settings.dates, zone.local(app.now));
    let stale = app.stale_seconds().map(|age| format!("STALE {age} s"));
    // Beside a long word the date gives way; the time of day does not.
    let cramped = stale.is_some() || app.changed() > 0;
    let time = match (cramped, width) {
        (true, ..60) => format!("{} {}", local.format("%a"), dates.time(local.time())),
        (_, ..100) => dates.short(local),
        _ => dates.long(local),
    };
    let changes = match app.changed() {
        0 => String::new(),
        1 => "WHAT-IF 1 change".to_owned(),
        count => format!("WHAT-IF {count} changes"),
    };
    let part = |text: String, rank| Part {
        gap: if rank == ZONE_RANK { " " } else { "  " },
        text,
        rank,
    };
    let person = match app.screen {
        Screen::Bench => 1,
        _ => PERSON_RANK,
    };
    let mut parts = vec![
        part(app.desk.actor().person.clone(), person),
        part(time, 0),
        part(zone_name(zone.name(), width), ZONE_RANK),
    ];
    parts.push(match stale {
        Some(stale) => part(stale, 0),
        None => part(format!("as of {}", as_of(app)), 2),
    });
    if app.sample {
        parts.push(part("SAMPLE".to_owned(), 0));
    }
    if app.changed() > 0 {
        parts.insert(0, part(changes, 0));
    }
    parts
}

/// The zone; where there is little room without its continent.
fn zone_name(name: &str, width: u16) -> String {
    let short = name.rsplit('/').next().unwrap_or(name);
    if width < 100 { short } else { name }.to_owned()
}

/// When the ledger was last read, to the second.
fn as_of(app: &App) -> String {
    let milliseconds = app.read_ms();
    let local = app
        .desk
        .lab
        .zone
        .local(crate::domain::Minute::new(milliseconds.div_euclid(60_000)));
    let seconds = milliseconds.div_euclid(1000).rem_euclid(60);
    format!("{}:{seconds:02}", local.format("%H:%M"))
}

/// The screen's name, and the other screens with their keys: by name where all of them fit, else by their
/// initials where those fit.
fn screens_line(app: &App, room: usize) -> String {
    let own = format!(" {} ", app.screen.name());
    let others = |spelt: fn(&str, &str) -> String| {
        let others = Screen::ALL.iter().filter(|own| **own != app.screen);
        let words: Vec<String> = others
            .map(|screen| {
                let key = app.settings.keys.key(action_to(*screen), app.screen);
                spelt(key.unwrap_or_default(), screen.name())
            })
            .collect();
        format!("{own}{}", words.join(" "))
    };
    let by_name = others(|key, name| format!("{key} {name}"));
    let by_initial = others(|key, name| format!("{key}{}", &name[..1]));
    let fits = |line: &String| line.width() <= room;
    [by_name, by_initial].into_iter().find(fits).unwrap_or(own)
}

/// The action that shows a screen.
const fn action_to(screen: Screen) -> Action {
    match screen {
        Screen::Plan => Action::Plan,
        Screen::Bench => Action::Bench,
        Screen::Load => Action::Load,
        Screen::Units => Action::Units,
        Screen::Evidence => Action::Evidence,
    }
}

/// The last answer, or what the screen wants said.
fn said(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    // Of what the Bench shows large only the head is said again, for those who read no large letters.
    let answer = app.bench.answer.as_ref();
    let answer = answer.filter(|own| app.screen == Screen::Bench && own.mood != Mood::Refused);
    let shown = answer.filter(|own| app.said == Some((true, own.line())));
    let head = shown.map(|own| (true, own.head()));
    match head.as_ref().or(app.said.as_ref()) {
        Some((true, words)) => line(buffer, area, 0, words, Style::new()),
        Some((false, words)) => line(buffer, area, 0, words, theme.warning()),
        None => line(buffer, area, 0, &state_line(app, buffer.area), Style::new()),
    }
}

/// What there is to know of the plan, the most pressing first, as much as there is room for; what to press
/// stays.
fn state_line(app: &App, screen: Rect) -> String {
    let view = &app.view;
    let mut parts = Vec::new();
    // A key of the Plan screen, with how to get there first.
    let on_plan = |key: &str| match app.screen {
        Screen::Plan => key.to_owned(),
        _ => format!("1 {key}"),
    };
    if app.changed() > 0 && app.screen == Screen::Plan {
        parts.push("c shows what your changes make different".to_owned());
    }
    if !view.clashes.is_empty() {
        let clashes = counted(view.clashes.len(), "clash", "clashes");
        parts.push(format!("{clashes} !! ({})", on_plan("e")));
    }
    if view.unplanned > 0 {
        let new = counted(view.unplanned, "request is", "requests are");
        parts.push(format!("{new} in no plan yet"));
    }
    if view.left > 0 {
        let left = counted(view.left, "request is", "requests are");
        parts.push(format!("{left} left out ({})", on_plan("s")));
    }
    if view.late > 0 {
        let late = counted(view.late, "request", "requests");
        parts.push(format!("{late} late by the plan"));
    }
    let below = app.rigs_below(screen.width, screen.height);
    if below > 0 && app.screen == Screen::Plan {
        parts.push(format!("{} below", counted(below, "more rig", "more rigs")));
    }
    if !view.offers.is_empty() && app.screen != Screen::Evidence {
        let alarm = view
            .offers
            .iter()
            .any(|own| matches!(own, Offer::LineAlarm(_)));
        let what = if alarm { "line alarm" } else { "offers" };
        parts.push(format!("{what} by the evidence (key 5)"));
    }
    let press = if app.desk.floor.now.published.is_none() {
        Some(match app.screen {
            Screen::Plan => "no plan is published yet: p plans, c publishes",
            _ => "no plan is published yet: 1 goes to the Plan screen, p plans there",
        })
    } else if !parts.is_empty() && app.screen == Screen::Plan {
        Some("p plans anew")
    } else {
        None
    };
    let whole = |parts: &[String]| {
        let all: Vec<&str> = parts.iter().map(String::as_str).chain(press).collect();
        all.join("; ")
    };
    while parts.len() > 1 && whole(&parts).width() > usize::from(screen.width) {
        parts.pop();
    }
    whole(&parts)
}

/// A minute as the time of day, with the date where it is not today's.
fn clock(app: &App, at: crate::domain::Minute) -> String {
    app.asked().near(at)
}
