//! Every unit, narrowed as one types, sorted by a column; the walk of the selected one below or beside.

use super::theme::Theme;
use super::walk::{as_line, whole};
use super::{clock, line};
use crate::app::view::UnitLine;
use crate::app::walk::{state_word, walk_of};
use crate::app::{App, UnitSort};
use crate::domain::{Minute, Minutes};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// From so many columns on the whole walk of the selected unit stands beside the list.
const BESIDE: u16 = 118;
/// Columns of the list beside the walk, without the products.
const LIST: u16 = 62;
/// From so many columns on the products stand beside the walk too, in a list of more columns.
const PRODUCTS: u16 = 160;
const WIDE_LIST: u16 = 84;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let shown = app.shown_units();
    line(buffer, area, 0, &search(app, shown.len()), theme.title());
    let below = Rect {
        y: area.y + 1,
        height: area.height.saturating_sub(1),
        ..area
    };
    if area.width < BESIDE {
        // The walk of the selected unit takes a line where the list keeps enough of them.
        let walk = u16::from(below.height >= 8);
        let list = Rect {
            height: below.height - walk,
            ..below
        };
        if let Some(own) = shown.get(app.units.selected).filter(|_| walk > 0) {
            let text = format!("{}: ", own.unit);
            let room = usize::from(area.width).saturating_sub(text.len());
            let steps = walk_of(&app.desk.lab, &app.desk.walks, &app.desk.floor, &own.unit);
            let text = format!("{text}{}", as_line(theme, &steps, room));
            line(buffer, below, below.height - 1, &text, theme.title());
        }
        return table(app, theme, &shown, list, buffer);
    }
    let wide = if area.width < PRODUCTS {
        LIST
    } else {
        WIDE_LIST
    };
    let list = Rect {
        width: wide,
        ..below
    };
    let pane = Rect {
        x: below.x + wide,
        width: below.width - wide,
        ..below
    };
    if let Some(own) = shown.get(app.units.selected) {
        beside(app, theme, own, pane, buffer);
    }
    table(app, theme, &shown, list, buffer)
}

/// The walk of the selected unit, right of a line.
fn beside(app: &App, theme: &Theme, own: &UnitLine, area: Rect, buffer: &mut Buffer) {
    let edge = if theme.unicode { "│" } else { "|" };
    for at in 0..area.height {
        line(buffer, area, at, edge, Style::new());
    }
    let inside = Rect {
        x: area.x + 2,
        width: area.width - 2,
        ..area
    };
    let title = format!("{}: its walk and its history", own.unit);
    let lines = whole(app, theme, &own.unit, inside.width.into());
    let title = std::iter::once((title, theme.title()));
    for (at, (text, style)) in (0..inside.height).zip(title.chain(lines)) {
        line(buffer, inside, at, &text, style);
    }
}

/// What narrows the list, how many are left, and which keys change that.
fn search(app: &App, count: usize) -> String {
    let all = app.view.units.len();
    let filter = app.units.filter.value();
    match (app.units.typing, filter.is_empty()) {
        (true, _) => format!("/{filter}_   {count} of {all}   Enter keeps it, Esc clears it"),
        (false, true) => format!("{all} units   / narrows, s sorts, S reverses the order"),
        (false, false) => format!("/{filter}   {count} of {all}   Esc clears it"),
    }
}

/// The heading, which stays, and as many lines as there is room for.
fn table(app: &App, theme: &Theme, shown: &[&UnitLine], area: Rect, buffer: &mut Buffer) -> usize {
    let heading = |column: UnitSort| {
        let mark = match (column == app.units.sort, app.units.down) {
            (true, false) => " ^",
            (true, true) => " v",
            (false, _) => "",
        };
        format!("{}{mark}", column.name())
    };
    let texts = UnitSort::ALL.map(heading);
    let head = columns(area.width, &texts);
    line(buffer, area, 0, &format!(" {head}"), theme.title());
    let rows = usize::from(area.height.saturating_sub(1));
    let first = app.units.selected.saturating_sub(rows.saturating_sub(1));
    for (at, own) in shown.iter().enumerate().skip(first).take(rows) {
        let y = u16::try_from(1 + at - first).unwrap_or(1);
        let place = Rect {
            y: area.y + y,
            height: 1,
            ..area
        };
        unit_row(app, theme, own, at == app.units.selected, place, buffer);
    }
    if shown.is_empty() {
        empty(app, area, buffer);
    }
    rows
}

/// Why there is nothing to see, and what helps.
fn empty(app: &App, area: Rect, buffer: &mut Buffer) {
    let text = if app.view.units.is_empty() {
        "The lab has no units: write requests.toml, or take a file in with rigday take FILE."
    } else {
        "No unit matches. Esc clears what narrows the list."
    };
    for (at, words) in (1..).zip(wrapped(text, usize::from(area.width).saturating_sub(2))) {
        line(buffer, area, at, &format!(" {words}"), Style::new());
    }
}

fn unit_row(
    app: &App,
    theme: &Theme,
    own: &UnitLine,
    chosen: bool,
    area: Rect,
    buffer: &mut Buffer,
) {
    let cells = [
        own.unit.to_string(),
        format!("{} {}", theme.mark(own.state), state_word(own.state)),
        format!("{}/{}", own.step, own.steps),
        own.rig.clone(),
        own.next.map_or(String::new(), |at| next(app, own, at)),
        own.request.clone(),
        own.product.clone(),
    ];
    let text = columns(area.width, &cells);
    let cursor = if chosen { ">" } else { " " };
    let style = if chosen {
        theme.selected()
    } else {
        Style::new()
    };
    line(buffer, area, 0, &format!("{cursor}{text}"), style);
    if !chosen {
        let place = Rect {
            x: area.x + 12,
            width: 9.min(area.width.saturating_sub(12)),
            ..area
        };
        buffer.set_style(place, theme.unit(own.state));
    }
}

/// When it goes on; of what is past, that it is.
fn next(app: &App, own: &UnitLine, at: Minute) -> String {
    if at >= app.now {
        return clock(app, at);
    }
    let (dates, zone) = (&app.asked().dates, &app.desk.lab.zone);
    let when = if at > app.now - Minutes::DAY * 6 {
        dates.brief(zone, app.now, at)
    } else {
        dates.day(zone.local(at).date())
    };
    let word = if own.rig.starts_with('>') {
        "was"
    } else {
        "ended"
    };
    format!("{word} {when}")
}

/// The columns in their widths; where there is little room the last ones go.
fn columns(width: u16, texts: &[String; 7]) -> String {
    let widths: &[usize] = match width {
        ..60 => &[10, 9, 6, 8],
        60..70 => &[10, 9, 6, 8, 16, 9],
        _ => &[10, 9, 6, 8, 16, 9, 40],
    };
    let cells = texts
        .iter()
        .zip(widths)
        .map(|(text, width)| fit(text, *width));
    cells
        .collect::<Vec<String>>()
        .join(" ")
        .trim_end()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use crate::app::{App, UnitSort};
    use crate::domain::UnitId;
    use crate::screens::tests::{Script, THEMES, demo, fresh, shown, text};

    fn units() -> Script {
        let mut run = Script::new(demo());
        run.keys("4");
        run
    }

    fn at(app: &App, width: u16, height: u16) -> String {
        text(&shown(app, &THEMES[1], width, height))
    }

    #[test]
    fn the_units_look_as_they_were_read() {
        let mut run = units();
        run.keys("s s S");
        for (width, height) in [(80, 24), (120, 40), (60, 18), (40, 12)] {
            let name = format!("units_{width}x{height}");
            insta::assert_snapshot!(name, text(&shown(&run.app, &THEMES[0], width, height)));
        }
    }

    #[test]
    fn t06_units_narrow_over_every_word_and_say_by_what() {
        let mut run = units();
        let all = run.app.view.units.len();
        for (find, unit) in [
            ("r-308/2", "R-308/2"),
            ("soil meter dv rf-1 radio-sweep", "R-308/1"),
            ("r-308 radio-sweep booked", "R-308/1"),
            ("failed r-202", "R-202/3"),
        ] {
            run.keys("/");
            run.type_in(find);
            let found: Vec<&UnitId> = run
                .app
                .shown_units()
                .iter()
                .map(|line| &line.unit)
                .collect();
            assert_eq!(found, [&UnitId::new(unit)], "{find}");
            let said = format!("/{find}_   1 of {all}");
            assert!(
                at(&run.app, 80, 24).contains(&said),
                "{}",
                at(&run.app, 80, 24)
            );
            run.keys("Enter");
            assert!(at(&run.app, 80, 24).contains(&format!("/{find}   1 of {all}")));
            run.keys("2");
            assert!(
                !at(&run.app, 80, 24).contains(find),
                "it belongs to this screen"
            );
            run.keys("4 Esc");
            assert_eq!(run.app.shown_units().len(), all);
        }
        // What was noted about a unit can be looked for, and no longer once the note is taken back.
        let noted = run.app.view.units[0].unit.clone();
        let about = crate::domain::event::Subject::Unit(noted.clone());
        let note = run.app.desk.note(about, "Scratch at the hinge");
        assert!(note.is_ok());
        run.app.renew();
        run.keys("/");
        run.type_in("scratch hinge");
        let found = run.app.shown_units();
        assert!(found.len() == 1 && found[0].unit == noted);
        run.keys("Esc u /");
        run.type_in("scratch hinge");
        assert!(run.app.shown_units().is_empty());
        run.keys("Esc");
        // Why a unit failed can be looked for too.
        let failed = run.app.view.units.iter();
        let mut failed = failed.filter(|line| !line.said.is_empty());
        let (unit, reason) = failed
            .next()
            .map(|line| (line.unit.clone(), line.said.clone()))
            .expect("one failed");
        run.keys("/");
        run.type_in(&reason);
        let found = run.app.shown_units();
        assert!(found.len() < all && found.iter().any(|line| line.unit == unit));
        run.type_in(" and no such thing");
        assert!(at(&run.app, 80, 24).contains("Esc clears what narrows"));
    }

    #[test]
    fn t06_the_head_stays_and_shows_the_order() {
        let mut run = units();
        let head = |run: &Script| {
            at(&run.app, 80, 24)
                .lines()
                .nth(2)
                .expect("a head")
                .to_owned()
        };
        assert!(head(&run).starts_with(" unit ^"), "{}", head(&run));
        run.keys("End");
        assert!(head(&run).starts_with(" unit ^"), "{}", head(&run));
        for sort in UnitSort::ALL.iter().skip(1) {
            run.keys("s");
            assert!(
                head(&run).contains(&format!("{} ^", sort.name())),
                "{}",
                head(&run)
            );
        }
        run.keys("s s S");
        assert!(head(&run).contains("state v"), "{}", head(&run));
        let states: Vec<_> = run
            .app
            .shown_units()
            .iter()
            .map(|line| crate::app::walk::state_word(line.state))
            .collect();
        assert!(states.is_sorted_by(|a, b| a >= b), "{states:?}");
        run.keys("s s s S");
        let next: Vec<_> = run.app.shown_units().iter().map(|line| line.next).collect();
        let some = next.iter().take_while(|at| at.is_some());
        assert!(some.clone().is_sorted() && some.count() > 10);
    }

    #[test]
    fn t07_a_lab_without_units_says_how_to_get_some() {
        let mut app = fresh();
        app.screen = crate::app::Screen::Units;
        app.view.units.clear();
        let screen = at(&app, 80, 24);
        let words: Vec<&str> = screen.split_whitespace().collect();
        assert!(
            words
                .join(" ")
                .contains("take a file in with rigday take FILE")
        );
    }

    #[test]
    fn the_history_says_who_and_when_and_what_was_taken_back() {
        let mut run = units();
        run.keys("2");
        run.type_in("R-308/1");
        run.keys("Enter l f Down Enter u 4 /");
        run.type_in("R-308/1");
        run.keys("Enter Enter End");
        let shown = at(&run.app, 110, 60);
        assert!(
            shown.contains("06:50 Ines: R-308/1 step 6 fail: housing cracked (undone)"),
            "{shown}"
        );
        assert!(
            shown.contains("06:50 Ines: undid: R-308/1 step 6 fail: housing cracked"),
            "{shown}"
        );
    }
}
