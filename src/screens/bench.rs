//! Scan, card and what is due.

use super::theme::Theme;
use super::{clock, line};
use crate::app::App;
use crate::app::walk::{StepProgress, WalkLine, state_word, task_word, walk_of};
use crate::domain::UnitId;
use crate::domain::lab::Method;
use crate::floor::Due;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

pub(super) use crate::domain::standard::PREVAIL;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    scan_line(app, theme, area, buffer);
    let card_rows = card(
        app,
        theme,
        Rect {
            y: area.y + 1,
            height: area.height - 1,
            ..area
        },
        buffer,
    );
    let used = 1 + card_rows;
    let rest = Rect {
        y: area.y + used,
        height: area.height.saturating_sub(used),
        ..area
    };
    due_list(app, theme, rest, buffer);
    usize::from(rest.height.saturating_sub(1))
}

fn scan_line(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    let text = format!("Scan or type a serial: {}_", app.bench.scan.value());
    line(buffer, area, 0, &text, theme.title());
    let count = format!("{} due in 8 h ", app.view.due.len());
    let room = area
        .width
        .saturating_sub(u16::try_from(text.len()).unwrap_or(u16::MAX));
    let wide = u16::try_from(count.len()).unwrap_or(0);
    if wide < room {
        buffer.set_string(area.x + area.width - wide, area.y, count, Style::new());
    }
}

/// The unit on the card, or how to get one there; the rows it took.
fn card(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> u16 {
    let most = area.height.saturating_sub(9).max(4);
    let Some(unit) = &app.bench.unit else {
        let (text, style) = match &app.bench.answer {
            Some((good, words)) => (
                words.clone(),
                if *good {
                    theme.title()
                } else {
                    theme.warning()
                },
            ),
            None => (
                "No unit scanned. Enter takes the selected line below onto the card.".to_owned(),
                Style::new(),
            ),
        };
        line(buffer, area, 0, &text, style);
        return 2;
    };
    let state = app
        .desk
        .floor
        .unit_state(&app.desk.lab, &app.desk.walks, unit, app.now);
    let walk = walk_of(&app.desk.lab, &app.desk.walks, &app.desk.floor, unit);
    let big = format!(
        " {} {}  {}",
        theme.mark(state),
        state_word(state).to_uppercase(),
        unit
    );
    line(
        buffer,
        area,
        0,
        &big,
        theme.unit(state).add_modifier(Modifier::BOLD),
    );
    line(buffer, area, 1, &walk_line(theme, &walk), Style::new());
    let (now, method) = current(app, unit, &walk);
    line(buffer, area, 2, &now, Style::new());
    let mut used = 3;
    if let Some((good, words)) = &app.bench.answer {
        let style = if *good {
            theme.selected().add_modifier(Modifier::BOLD)
        } else {
            theme.warning()
        };
        line(buffer, area, used, &format!("  {words}  "), style);
        used += 1;
    }
    let cautions = method.iter().flat_map(|method| &method.cautions);
    let cautions = cautions.map(|caution| format!("caution: {caution}"));
    for words in cautions.flat_map(|caution| wrapped(&caution, area.width.into())) {
        if used + 2 < most {
            line(buffer, area, used, &words, theme.warning());
            used += 1;
        }
    }
    if method.is_some_and(|method| !method.cautions.is_empty()) && used + 1 < most {
        line(buffer, area, used, PREVAIL, Style::new());
        used += 1;
    }
    used + 1
}

/// The walk as one line: a mark a step, the current one in brackets.
fn walk_line(theme: &Theme, walk: &[WalkLine]) -> String {
    let mark = |own: &WalkLine| {
        use crate::floor::UnitState as S;
        let mark = match (own.verdict_word(), own.progress) {
            ("fail", _) => theme.mark(S::Failed),
            ("hold", _) => theme.mark(S::Held),
            (_, StepProgress::Done) => theme.mark(S::Passed),
            (_, StepProgress::Running) => theme.mark(S::Running),
            (_, StepProgress::Booked) => theme.mark(S::Booked),
            (_, StepProgress::Open) => theme.mark(S::Waiting),
            (_, StepProgress::Dropped) => theme.mark(S::Out),
        };
        if own.progress == StepProgress::Running {
            format!("[{}{mark}]", own.step)
        } else {
            format!("{}{mark}", own.step)
        }
    };
    format!(
        "walk: {}",
        walk.iter().map(mark).collect::<Vec<String>>().join(" ")
    )
}

/// What the unit does now or next, and the method that it is about.
fn current<'a>(app: &'a App, unit: &UnitId, walk: &[WalkLine]) -> (String, Option<&'a Method>) {
    let on = walk
        .iter()
        .find(|own| own.progress == StepProgress::Running);
    let next = walk
        .iter()
        .find(|own| matches!(own.progress, StepProgress::Booked | StepProgress::Open));
    let missing = walk.iter().rev().find(|own| {
        own.progress == StepProgress::Done
            && own.verdict.is_none()
            && method(app, own).is_some_and(|m| m.verdict)
    });
    let own = on.or(missing).or(next);
    let Some(own) = own else {
        return ("its walk is over".to_owned(), None);
    };
    let rig = own
        .rig
        .as_ref()
        .map_or("no rig yet".to_owned(), ToString::to_string);
    let what = match own.progress {
        StepProgress::Running => {
            let record = app
                .desk
                .floor
                .now
                .units
                .get(unit)
                .and_then(|record| record.running());
            let end =
                record.and_then(|(step, visit)| app.desk.floor.exposure_end(unit, step, visit));
            let end = end.map_or(String::new(), |end| {
                format!(", exposure ends {}", clock(app, end))
            });
            let keys = if method(app, own).is_some_and(|m| m.verdict) {
                "p pass, f fail, h hold"
            } else {
                "o unload"
            };
            format!(
                "on {rig} since {}{end}; {keys}",
                own.load.map_or(String::new(), |at| clock(app, at))
            )
        }
        StepProgress::Done => {
            format!("came out of {rig}; its verdict is missing; p pass, f fail, h hold")
        }
        _ => format!(
            "next on {rig} at {}; l load",
            own.load
                .map_or("no time yet".to_owned(), |at| clock(app, at))
        ),
    };
    (
        format!("step {} {}: {what}", own.step, own.method),
        method(app, own),
    )
}

fn method<'a>(app: &'a App, own: &WalkLine) -> Option<&'a Method> {
    app.desk.lab.methods.get(&own.method)
}

fn due_list(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    if area.height == 0 {
        return;
    }
    let count = app.view.due.len();
    let wide = area.width >= 70;
    let head = columns(
        wide, "task", "unit", "step", "rig", "from", "closes", "left",
    );
    line(buffer, area, 0, &format!(" {head}"), theme.title());
    if count == 0 {
        line(
            buffer,
            area,
            1,
            " Nothing is due. What comes later is on the Plan screen (1).",
            Style::new(),
        );
        return;
    }
    let rows = usize::from(area.height - 1);
    let first = app.bench.selected.saturating_sub(rows.saturating_sub(1));
    for (at, due) in app.view.due.iter().enumerate().skip(first).take(rows) {
        let chosen = at == app.bench.selected;
        let text = format!(
            "{}{}",
            if chosen { ">" } else { " " },
            due_line(app, due, wide)
        );
        let late = due.closes.is_some_and(|closes| closes < app.now);
        let style = match (chosen, late) {
            (true, _) => theme.selected(),
            (false, true) => theme.warning(),
            _ => Style::new(),
        };
        line(
            buffer,
            area,
            u16::try_from(1 + at - first).unwrap_or(1),
            &text,
            style,
        );
    }
}

fn due_line(app: &App, due: &Due, wide: bool) -> String {
    let task = task_word(due.task);
    let closes = due
        .closes
        .map_or(String::new(), |closes| clock(app, closes));
    let left = due
        .closes
        .map_or(String::new(), |closes| (closes - app.now).to_string());
    columns(
        wide,
        task,
        due.unit.as_str(),
        &due.step.to_string(),
        due.rig.as_str(),
        &clock(app, due.from),
        &closes,
        &left,
    )
}

#[expect(clippy::too_many_arguments, reason = "one text a column")]
fn columns(
    wide: bool,
    task: &str,
    unit: &str,
    step: &str,
    rig: &str,
    from: &str,
    closes: &str,
    left: &str,
) -> String {
    let base = format!(
        "{} {} {} {} {}",
        fit(task, 7),
        fit(unit, 10),
        fit(step, 4),
        fit(rig, 6),
        fit(from, 16)
    );
    if wide {
        format!("{base} {} {}", fit(closes, 16), fit(left, 8))
    } else {
        base
    }
}
