//! The planner at work, and what a new plan would change.

use super::{frame, middle};
use crate::app::App;
use crate::app::desk::{ChangeKind, PlanChange, Proposal};
use crate::domain::Minutes;
use crate::domain::plan::at_most_better;
use crate::planner::Progress;
use crate::screens::theme::Theme;
use crate::screens::{clock, line};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

pub(super) fn working(theme: &Theme, progress: Option<Progress>, area: Rect, buffer: &mut Buffer) {
    let inside = frame(theme, "Planning", middle(area, 60, 5), buffer);
    let text = match progress {
        None => "looking for a first plan".to_owned(),
        Some(news) => format!(
            "round {}, cost {}{}",
            news.rounds,
            news.cost,
            gap_words(news.cost, news.bound)
        ),
    };
    line(buffer, inside, 0, &text, Style::new());
    line(
        buffer,
        inside,
        1,
        "Esc stops and keeps the best plan so far",
        Style::new(),
    );
}

fn gap_words(cost: i64, bound: Option<i64>) -> String {
    let words = bound.and_then(|bound| at_most_better(cost, bound));
    words.map_or_else(String::new, |words| format!(", {words}"))
}

/// What would change: counts, then clashes, requests left out, late requests and every change.
pub(super) fn difference(
    app: &App,
    theme: &Theme,
    proposal: &Proposal,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let inside = frame(
        theme,
        "WHAT-IF: a plan that is not in force yet",
        area,
        buffer,
    );
    let plan = &proposal.plan;
    let counts: Vec<String> = ChangeKind::ALL
        .iter()
        .map(|kind| {
            (
                kind,
                proposal
                    .changes
                    .iter()
                    .filter(|own| own.kind == *kind)
                    .count(),
            )
        })
        .filter(|(_, count)| *count > 0)
        .map(|(kind, count)| format!("{count} {}", kind.word()))
        .collect();
    line(
        buffer,
        inside,
        0,
        &format!("c puts it in force, Esc drops it; {}", counts.join(", ")),
        theme.title(),
    );
    let late = plan
        .requests
        .iter()
        .filter(|own| own.late > Minutes::ZERO)
        .count();
    let figures = format!(
        "cost {}{}; {late} requests late",
        plan.cost,
        gap_words(plan.cost, plan.bound)
    );
    line(buffer, inside, 1, &figures, Style::new());
    let lines = difference_lines(app, theme, proposal);
    let room = usize::from(inside.height.saturating_sub(2));
    for (at, (text, style)) in lines.iter().skip(scroll).take(room).enumerate() {
        line(
            buffer,
            inside,
            u16::try_from(2 + at).unwrap_or(2),
            text,
            *style,
        );
    }
    if lines.is_empty() {
        line(
            buffer,
            inside,
            2,
            "Nothing changes: the published plan stands.",
            Style::new(),
        );
    }
}

/// Clashes, requests left out, late requests and every change, in this order.
fn difference_lines(app: &App, theme: &Theme, proposal: &Proposal) -> Vec<(String, Style)> {
    let plan = &proposal.plan;
    let mut lines: Vec<(String, Style)> = Vec::new();
    for clash in &proposal.clashes {
        lines.push((
            format!("!! {} {}", clash.rule.name(), clash.text),
            theme.clash(),
        ));
    }
    for own in &plan.unplannable {
        lines.push((
            format!(
                "left out: {} step {}: {}",
                own.request, own.step, own.reason
            ),
            theme.warning(),
        ));
    }
    for own in plan.requests.iter().filter(|own| own.late > Minutes::ZERO) {
        lines.push((
            format!(
                "late: {} by {}, finishes {}",
                own.request,
                own.late,
                clock(app, own.finish)
            ),
            theme.warning(),
        ));
        let why = proposal
            .why
            .iter()
            .find(|(request, _)| *request == own.request);
        if let Some(cause) = why.and_then(|(_, lines)| lines.last()) {
            lines.push((format!("  {cause}"), Style::new()));
        }
    }
    for change in &proposal.changes {
        lines.push((change_words(app, change), Style::new()));
    }
    lines
}

fn change_words(app: &App, change: &PlanChange) -> String {
    let place =
        |own: &crate::domain::Booking| format!("{} {}", own.rig, clock(app, own.times.load));
    let what = format!(
        "{:7} {} step {}",
        change.kind.word(),
        change.unit,
        change.step
    );
    match (&change.before, &change.after) {
        (Some(before), Some(after)) => {
            let by = change.shift();
            format!(
                "{what}: {} to {} ({}{by})",
                place(before),
                place(after),
                if by > Minutes::ZERO { "+" } else { "" }
            )
        }
        (Some(before), None) => format!("{what}: was {}", place(before)),
        (None, Some(after)) => format!("{what}: {}", place(after)),
        (None, None) => what,
    }
}
