//! What is due: by closing window, and by rig.

use crate::app::card::{left_words, names};
use crate::app::rig_work::{RigTask, RigWork};
use crate::app::walk::{rig_word, task_word};
use crate::app::{App, BenchList};
use crate::domain::lab::Loading;
use crate::domain::steps::step_of;
use crate::domain::{Minute, UnitId};
use crate::floor::Due;
use crate::screens::line;
use crate::screens::theme::Theme;
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// What is due, by closing window; the rows it had room for.
pub(super) fn due(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    if area.height == 0 {
        return 0;
    }
    let due = app.shown_due();
    let (count, all) = (due.len(), app.view.due.len());
    let find = app.bench.narrowed_by();
    let narrows = app.bench.scan.value().starts_with('/') || !find.is_empty();
    let rows = usize::from(area.height - 1).saturating_sub(usize::from(narrows));
    let heading = Columns {
        task: "do",
        unit: "unit",
        step: "step",
        method: "method",
        rig: "rig",
        from: "from",
        left: "closes ^",
    };
    line(
        buffer,
        area,
        0,
        &format!(" {}", heading.text(area.width)),
        theme.title(),
    );
    if narrows {
        let keys = if app.bench.scan.value().is_empty() {
            "Esc clears it"
        } else {
            "Enter keeps it, Esc clears it"
        };
        let text = format!("/{find}  {count} of {all}  {keys}");
        line(buffer, area, area.height - 1, &text, theme.title());
    }
    if count == 0 {
        empty(app, all, area, buffer);
        return rows;
    }
    let selected = app.bench.selected;
    let first = selected.saturating_sub(rows.saturating_sub(1));
    for (at, own) in due.iter().enumerate().skip(first).take(rows) {
        let chosen = at == selected && app.bench.list == BenchList::Due;
        let late = own.closes.is_some_and(|closes| closes < app.now);
        let text = format!(
            "{}{}",
            if chosen { ">" } else { " " },
            due_line(app, own, area.width)
        );
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
    rows
}

/// Why nothing is due, and which key helps.
fn empty(app: &App, all: usize, area: Rect, buffer: &mut Buffer) {
    let text = if all > 0 {
        "Nothing that is due matches. Esc clears what narrows the list."
    } else if app.view.units.is_empty() {
        "The lab has no units: write requests.toml, or take a file in with rigday take FILE."
    } else if app.desk.floor.now.published.is_none() {
        "Nothing is due: no plan is published. On the Plan screen (1) p makes one, c publishes it."
    } else {
        "Nothing is due in the next 8 h. What comes later is on the Plan screen (1)."
    };
    for (at, words) in (1..).zip(wrapped(text, usize::from(area.width).saturating_sub(2))) {
        line(buffer, area, at, &format!(" {words}"), Style::new());
    }
}

fn due_line(app: &App, due: &Due, width: u16) -> String {
    let request = app.desk.walks.request(&app.desk.lab, &due.unit);
    let steps = request.map_or(&[][..], |own| app.desk.walks.steps(own));
    let method = step_of(steps, due.step).map_or(String::new(), |own| own.method.to_string());
    Columns {
        task: task_word(due.task),
        unit: due.unit.as_str(),
        step: &format!("{}/{}", due.step, steps.len()),
        method: &method,
        rig: due.rig.as_str(),
        from: &from(app, due.from),
        left: &left(app, due.closes),
    }
    .text(width)
}

/// From when it can be done: now, or the time.
fn from(app: &App, at: Minute) -> String {
    if at <= app.now {
        "now".to_owned()
    } else {
        app.settings.dates.brief(&app.desk.lab.zone, app.now, at)
    }
}

fn left(app: &App, closes: Option<Minute>) -> String {
    closes.map_or("-".to_owned(), |closes| left_words(closes, app.now))
}

/// One text a column.
struct Columns<'a> {
    task: &'a str,
    unit: &'a str,
    step: &'a str,
    method: &'a str,
    rig: &'a str,
    from: &'a str,
    left: &'a str,
}

impl Columns<'_> {
    /// Where there is little room the method goes first, then the step and the time.
    fn text(&self, width: u16) -> String {
        let (task, unit, rig) = (fit(self.task, 7), fit(self.unit, 11), fit(self.rig, 8));
        match width {
            ..50 => format!("{task} {unit} {} {}", fit(self.rig, 6), self.left),
            50..76 => {
                let (step, from) = (fit(self.step, 5), fit(self.from, 10));
                format!("{task} {unit} {step} {rig} {from} {}", self.left)
            }
            _ => {
                let (step, method) = (fit(self.step, 5), fit(self.method, 16));
                let from = fit(self.from, 10);
                format!("{task} {unit} {step} {method} {rig} {from} {}", self.left)
            }
        }
    }
}

/// A row of the rigs' list.
enum Row<'a> {
    Rig(&'a RigWork),
    Task(usize, &'a RigTask),
}

/// What comes off and goes on, rig by rig; the rows it had room for.
pub(super) fn rigs(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    if area.height == 0 {
        return 0;
    }
    let rows = usize::from(area.height - 1);
    let heading = TaskColumns {
        task: "rig by rig, off first",
        position: "pos",
        from: "from",
        left: "closes",
    };
    let heading = format!(" {}", heading.text(area.width));
    line(buffer, area, 0, &heading, theme.title());
    let lines = rows_of(&app.view.work);
    if lines.is_empty() {
        empty(app, app.view.due.len(), area, buffer);
        return rows;
    }
    let is_chosen = |row: &Row| matches!(row, Row::Task(at, _) if *at == app.bench.rig_task);
    let chosen = lines.iter().position(is_chosen).unwrap_or(0);
    let first = chosen.saturating_sub(rows.saturating_sub(1));
    for (at, row) in (1..).zip(lines.iter().skip(first).take(rows)) {
        let (text, style) = match row {
            Row::Rig(work) => (rig_line(app, theme, work), theme.title()),
            Row::Task(number, task) => {
                let chosen = *number == app.bench.rig_task && app.bench.list == BenchList::Rigs;
                let text = format!(
                    "{}{}",
                    if chosen { ">" } else { " " },
                    task_line(app, task, area.width)
                );
                let late = task.closes.is_some_and(|closes| closes < app.now);
                let style = match (chosen, late) {
                    (true, _) => theme.selected(),
                    (false, true) => theme.warning(),
                    _ => Style::new(),
                };
                (text, style)
            }
        };
        line(buffer, area, at, &text, style);
    }
    rows
}

fn rows_of(work: &[RigWork]) -> Vec<Row<'_>> {
    let mut rows = Vec::new();
    let mut number = 0;
    for own in work {
        rows.push(Row::Rig(own));
        for task in &own.tasks {
            rows.push(Row::Task(number, task));
            number += 1;
        }
    }
    rows
}

fn rig_line(app: &App, theme: &Theme, work: &RigWork) -> String {
    let state = app.desk.floor.rig_state(&app.desk.lab, &work.rig, app.now);
    let free = (work.positions as usize).saturating_sub(work.inside.len());
    let door = match work.loading {
        Loading::Each => "",
        Loading::Together => ", one door",
        Loading::Held => ", held at one condition",
    };
    let name = if work.name == work.rig.as_str() {
        String::new()
    } else {
        format!(" {}", work.name)
    };
    let mark = theme.rig_mark(state);
    let free = format!("{free} of {} free{door}", work.positions);
    format!(" {}{name} {mark} {}, {free}", work.rig, rig_word(state))
}

fn task_line(app: &App, task: &RigTask, width: u16) -> String {
    let (word, unit) = (fit(task_word(task.task), 7), task.unit.as_str());
    let position = task.position.map_or(String::new(), |at| at.to_string());
    TaskColumns {
        task: &format!("  {word} {unit}"),
        position: &position,
        from: &from(app, task.from),
        left: &format!("{}{}", left(app, task.closes), company(&task.with)),
    }
    .text(width)
}

/// One text a column of the rigs' list.
struct TaskColumns<'a> {
    task: &'a str,
    position: &'a str,
    from: &'a str,
    left: &'a str,
}

impl TaskColumns<'_> {
    /// Where there is little room the time goes, as in the list of what is due.
    fn text(&self, width: u16) -> String {
        let (task, position) = (fit(self.task, 21), fit(self.position, 3));
        let from = if width < 50 {
            String::new()
        } else {
            fit(self.from, 10) + " "
        };
        format!("{task} {position} {from}{}", self.left)
    }
}

fn company(with: &[UnitId]) -> String {
    if with.is_empty() {
        return String::new();
    }
    format!(" with {}", names(with))
}
