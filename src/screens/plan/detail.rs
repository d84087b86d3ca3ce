//! Under the rigs: the selected booking with its reason and cautions, or what is in hand with its clashes and what
//! it does to the finishes.

use super::super::theme::Theme;
use super::super::{clock, line};
use crate::app::App;
use crate::app::plan::hand::{Effect, Hand};
use crate::app::view::{PlanEntry, RigRow};
use crate::app::walk::state_word;
use crate::domain::Minutes;
use crate::floor::UnitState;
use crate::widgets::text::wrapped;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let lines = match &app.plan.hand {
        Some(hand) => in_hand(app, theme, hand, usize::from(area.height)),
        None => selected(app, theme, area),
    };
    for (at, (text, style)) in lines.iter().enumerate() {
        line(
            buffer,
            area,
            u16::try_from(at).unwrap_or(u16::MAX),
            text,
            *style,
        );
    }
    let last = usize::from(area.height).saturating_sub(1);
    if app.plan.hand.is_none() && lines.len() < last {
        line(buffer, area, area.height - 1, &legend(theme), Style::new());
    }
}

/// What the marks of the timeline and the figures under it mean.
fn legend(theme: &Theme) -> String {
    let states = [
        UnitState::Booked,
        UnitState::Running,
        UnitState::Due,
        UnitState::Late,
        UnitState::Held,
    ];
    let word = |state: UnitState| format!("{} {}", theme.mark(state), state_word(state));
    let states = states.map(word).join("  ");
    format!("{states}  2-9 so many  people: needed, - free")
}

/// What, when, why not earlier, and what can hurt.
fn selected(app: &App, theme: &Theme, area: Rect) -> Vec<(String, Style)> {
    let Some(own) = app.view.rigs.get(app.plan.row) else {
        return Vec::new();
    };
    let Some(entry) = own.entries.get(app.plan.entry) else {
        let text = format!(
            "{}: free, nothing on it and nothing booked; a assigns a unit",
            own.rig
        );
        return vec![(text, theme.title())];
    };
    let mut lines = vec![(what(app, own, entry), theme.title())];
    let width = usize::from(area.width);
    let room = usize::from(area.height);
    let cautions = method_of(app, entry).map_or(&[][..], |method| &method.cautions[..]);
    let spare = room
        .saturating_sub(1 + usize::from(!cautions.is_empty()))
        .max(1);
    let clash = app.clash_words(&entry.unit, entry.step);
    if let Some(words) = clash.filter(|_| entry.clash) {
        for words in wrapped(&format!("!! {words}"), width) {
            lines.push((words, theme.clash()));
        }
    }
    for words in wrapped(&format!("because: {}", entry.because), width) {
        lines.push((words, Style::new()));
    }
    lines.truncate(1 + spare);
    for caution in cautions {
        for words in wrapped(&format!("caution: {caution}"), width) {
            lines.push((words, theme.warning()));
        }
    }
    lines
}

fn what(app: &App, own: &RigRow, entry: &PlanEntry) -> String {
    let name = method_of(app, entry).map_or("", |method| method.id.as_str());
    let state = state_word(entry.state);
    let flags = if entry.changed { " WHAT-IF" } else { "" };
    let late = if entry.late > Minutes::ZERO {
        format!("; its request is {} late", entry.late)
    } else {
        String::new()
    };
    format!(
        "{} step {} {name} on {}, {state}{flags}: {} to {} ({}){late}",
        entry.unit,
        entry.step,
        own.rig,
        clock(app, entry.span.start),
        clock(app, entry.span.end),
        entry.span.length()
    )
}

fn method_of<'a>(app: &'a App, entry: &PlanEntry) -> Option<&'a crate::domain::lab::Method> {
    let request = app.desk.walks.request(&app.desk.lab, &entry.unit)?;
    let walk = app.desk.walks.steps(request).get(entry.step as usize - 1)?;
    app.desk.lab.methods.get(&walk.method)
}

/// Rig, start, end; clashes; finishes; keys.
fn in_hand(app: &App, theme: &Theme, hand: &Hand, rows: usize) -> Vec<(String, Style)> {
    let keys = hand.keys();
    let who = keys
        .first()
        .map_or(String::new(), |(unit, step)| match keys.len() {
            1 => format!("{unit} step {step}"),
            count => format!("the run of {unit} step {step} and {} more", count - 1),
        });
    let times = hand.times();
    let (rig, load) = hand.was();
    let was = if hand.unmoved() {
        "as it was".to_owned()
    } else {
        format!("was {rig} {}", clock(app, load))
    };
    let place = format!(
        "IN HAND {who} on {}: {} to {} ({}), {was}",
        hand.rig(),
        clock(app, times.load),
        clock(app, times.out),
        times.out - times.load
    );
    let clash = match &hand.clashes[..] {
        [] => ("no clash".to_owned(), Style::new()),
        [first, rest @ ..] => {
            let more = if rest.is_empty() {
                String::new()
            } else {
                format!("{} clashes: ", rest.len() + 1)
            };
            (format!("!! {more}{}", first.words()), theme.clash())
        }
    };
    let rigs: Vec<&str> = hand.rigs().iter().map(|rig| rig.as_str()).collect();
    let hint = format!(
        "Enter drop  Esc put back  arrows move by {}  up down rig ({})  < > wait",
        app.plan.scale,
        rigs.join(" ")
    );
    let mut lines = vec![
        (place, theme.title()),
        clash,
        (finishes(app, hand), Style::new()),
    ];
    lines.truncate(rows.saturating_sub(1).max(1));
    lines.push((hint, theme.title()));
    lines
}

/// What changes about the finishes, the request in hand first.
fn finishes(app: &App, hand: &Hand) -> String {
    let keys = hand.keys();
    let own = keys
        .first()
        .and_then(|(unit, _)| app.desk.walks.request(&app.desk.lab, unit));
    let mut effects: Vec<&Effect> = hand.effects.iter().collect();
    effects.sort_by_key(|effect| own.is_none_or(|own| own.id != effect.request));
    let mut words: Vec<String> = effects.iter().map(|own| effect_words(app, own)).collect();
    if words.is_empty() {
        words.push("every request finishes as by the plan in force".to_owned());
    } else {
        words.insert(
            0,
            format!("cost {}{}", if hand.cost > 0 { "+" } else { "" }, hand.cost),
        );
    }
    words.join("; ")
}

/// `R-306 finishes Tue 30 Mar 14:10, 2h later, 3h late`.
pub(super) fn effect_words(app: &App, own: &Effect) -> String {
    let by = own.before.map_or(String::new(), |before| {
        let by = own.after - before;
        if by > Minutes::ZERO {
            format!(", {by} later")
        } else {
            format!(", {} earlier", -by)
        }
    });
    let late = if own.late > Minutes::ZERO {
        format!(", {} late", own.late)
    } else {
        String::new()
    };
    let least = if own.follow {
        " at the earliest (later steps must follow)"
    } else {
        ""
    };
    format!(
        "{} finishes {}{by}{late}{least}",
        own.request,
        clock(app, own.after)
    )
}
