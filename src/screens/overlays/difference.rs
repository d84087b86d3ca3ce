//! The planner at work, and a plan that is not in force beside the one that is: what it costs, who finishes when, every booking that moves.

use super::{frame, middle, more_below};
use crate::app::App;
use crate::app::desk::{ChangeKind, PlanChange, Proposal};
use crate::app::plan::draft::StepKey;
use crate::domain::plan::{Finish, at_most_better};
use crate::domain::text::counted;
use crate::domain::{Booking, Minutes};
use crate::planner::Progress;
use crate::screens::theme::Theme;
use crate::screens::{clock, line};
use crate::widgets::text::{fit, wrapped};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

pub(super) fn working(theme: &Theme, progress: Option<Progress>, area: Rect, buffer: &mut Buffer) {
    let inside = frame(theme, "Planning", middle(area, 60, 5), buffer);
    let text = match progress {
        None => "looking for a first plan".to_owned(),
        Some(news) => {
            let gap = gap_words(news.cost, news.bound);
            let gap = gap.map_or_else(String::new, |gap| format!(", {gap}"));
            format!("round {}, cost {}{gap}", news.rounds, news.cost)
        }
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

/// Counts, cost, then clashes, requests left out, finishes, late requests and every change.
pub(super) fn difference(
    app: &App,
    theme: &Theme,
    proposal: &Proposal,
    scroll: usize,
    area: Rect,
    buffer: &mut Buffer,
) {
    let changes = counted(proposal.changes.len(), "change", "changes");
    let title = format!("WHAT-IF {changes}: a plan that is not in force yet");
    let inside = frame(theme, &title, area, buffer);
    let hint = "c puts it in force, t shows it on the timeline, Esc goes back";
    line(buffer, inside, 0, hint, theme.title());
    let width = usize::from(inside.width);
    let mut lines = lines(app, theme, proposal, width);
    if lines.is_empty() {
        let text = "Nothing changes: the published plan stands.";
        lines.push((text.to_owned(), Style::new()));
    }
    let heads = heads(app, proposal, width);
    for (row, head) in (1..).zip(&heads) {
        line(buffer, inside, row, head, Style::new());
    }
    let taken = 1 + heads.len();
    let room = usize::from(inside.height).saturating_sub(taken);
    // The last page is a full one, however far it was scrolled.
    let scroll = scroll.min(lines.len().saturating_sub(room));
    for (at, (text, style)) in lines.iter().skip(scroll).take(room).enumerate() {
        let row = u16::try_from(taken + at).unwrap_or(u16::MAX);
        line(buffer, inside, row, text, *style);
    }
    if lines.len() > scroll + room {
        more_below(theme, inside, buffer);
    }
}

/// Cost and bound, requests late and bookings changed: in one line where they fit, else in two or more.
fn heads(app: &App, proposal: &Proposal, width: usize) -> Vec<String> {
    let cost = cost_words(app, proposal);
    let rest = rest_words(proposal);
    let all = format!("{cost}, {rest}");
    // A space on the left and one on the right.
    if all.width() + 2 <= width {
        vec![all]
    } else {
        std::iter::once(cost).chain(wrapped(&rest, width)).collect()
    }
}

/// What the plan costs, beside the one in force.
fn cost_words(app: &App, proposal: &Proposal) -> String {
    let plan = &proposal.plan;
    let mut text = format!("cost {}", plan.cost);
    if let Some(published) = &app.desk.floor.now.published {
        let more = plan.requests.len().saturating_sub(published.finishes.len());
        let fewer = match more {
            0 => String::new(),
            more => format!(" with {}", counted(more, "request less", "requests less")),
        };
        text.push_str(&format!(" (in force {}{fewer})", published.cost));
    }
    text
}

/// How much better a plan could be, how many requests are late, and how many bookings change in which way.
fn rest_words(proposal: &Proposal) -> String {
    let plan = &proposal.plan;
    let late = plan
        .requests
        .iter()
        .filter(|own| own.late > Minutes::ZERO)
        .count();
    let gap = gap_words(plan.cost, plan.bound);
    let mut text = gap.map_or_else(String::new, |gap| format!("{gap}; "));
    text.push_str(&format!("{late} late"));
    for kind in ChangeKind::ALL {
        let count = proposal
            .changes
            .iter()
            .filter(|own| own.kind == kind)
            .count();
        if count > 0 {
            text.push_str(&format!(", {count} {}", kind.word()));
        }
    }
    text
}

fn gap_words(cost: i64, bound: Option<i64>) -> Option<String> {
    at_most_better(cost, bound?)
}

fn lines(app: &App, theme: &Theme, proposal: &Proposal, width: usize) -> Vec<(String, Style)> {
    let plan = &proposal.plan;
    let mut lines: Vec<(String, Style)> = Vec::new();
    for clash in &proposal.clashes {
        let text = format!("!! {}", clash.words());
        lines.push((text, theme.clash()));
    }
    for own in &plan.unplannable {
        let text = format!(
            "left out: {} step {}: {}",
            own.request, own.step, own.reason
        );
        // Whole, however long: it says what to do about it.
        let rows = wrapped(&text, width);
        lines.extend(rows.into_iter().map(|row| (row, theme.warning())));
    }
    let (own, others): (Vec<&PlanChange>, Vec<&PlanChange>) =
        proposal.changes.iter().partition(|own| by_hand(app, own));
    for change in own {
        let text = format!("by hand: {}", change_words(app, change));
        lines.push((text, theme.title()));
    }
    for change in &proposal.changes {
        if let Some(text) = freeze_words(app, change) {
            lines.push((text, theme.warning()));
        }
    }
    let finishes = finishes(app, theme, proposal);
    if !finishes.is_empty() {
        let head = columns("request", "in force", "with", "by", "late");
        lines.push((head, theme.title()));
        lines.extend(finishes);
    }
    for change in others {
        lines.push((change_words(app, change), Style::new()));
    }
    lines
}

/// True where somebody put the step in its place; the other changes follow from that, or from planning.
fn by_hand(app: &App, change: &PlanChange) -> bool {
    let draft = app.plan.draft.as_ref();
    let own = |(unit, step): &StepKey| *unit == change.unit && *step == change.step;
    draft.is_some_and(|draft| draft.by_hand().any(own))
}

/// A booking that was to start so soon that the bench may count on it.
fn freeze_words(app: &App, change: &PlanChange) -> Option<String> {
    let before = change.before.as_ref()?;
    let frozen = before.times.load < app.now + app.desk.lab.freeze;
    (frozen && before.times.load >= app.now).then(|| {
        format!(
            "within the freeze time: {} step {} was to load {} on {}: tell the bench",
            change.unit,
            change.step,
            clock(app, before.times.load),
            before.rig
        )
    })
}

/// Requests that finish at another time than by the plan in force, or late.
fn finishes(app: &App, theme: &Theme, proposal: &Proposal) -> Vec<(String, Style)> {
    let published = app.desk.floor.now.published.as_ref();
    let force = published.map_or(&[][..], |own| &own.finishes[..]);
    let mut lines = Vec::new();
    for own in &proposal.plan.requests {
        let before = force.iter().find(|other| other.request == own.request);
        let same = before.is_some_and(|before| before.finish == own.finish);
        if same && own.late == Minutes::ZERO {
            continue;
        }
        lines.push(finish_line(app, theme, own, before));
        let why = proposal
            .why
            .iter()
            .find(|(request, _)| *request == own.request);
        if let Some(cause) = why.and_then(|(_, lines)| lines.last()) {
            lines.push((format!("  {cause}"), Style::new()));
        }
    }
    lines
}

fn finish_line(app: &App, theme: &Theme, own: &Finish, before: Option<&Finish>) -> (String, Style) {
    let was = before.map_or("-".to_owned(), |before| clock(app, before.finish));
    let by = before.map_or(Minutes::ZERO, |before| own.finish - before.finish);
    let by = match by {
        Minutes::ZERO => String::new(),
        by if by > Minutes::ZERO => format!("+{by}"),
        by => by.to_string(),
    };
    let (late, style) = match own.late {
        Minutes::ZERO => (String::new(), Style::new()),
        late => (late.to_string(), theme.warning()),
    };
    let with = clock(app, own.finish);
    (
        columns(own.request.as_str(), &was, &with, &by, &late),
        style,
    )
}

fn columns(request: &str, was: &str, with: &str, by: &str, late: &str) -> String {
    format!(
        "{} {} {} {} {late}",
        fit(request, 12),
        fit(was, 16),
        fit(with, 16),
        fit(by, 12)
    )
}

fn change_words(app: &App, change: &PlanChange) -> String {
    let place = |own: &Booking| format!("{} {}", own.rig, clock(app, own.times.load));
    let kind = change.kind.word();
    let what = format!("{kind:7} {} step {}", change.unit, change.step);
    match (&change.before, &change.after) {
        (Some(before), Some(after)) => {
            let by = change.shift();
            let sign = if by > Minutes::ZERO { "+" } else { "" };
            format!("{what}: {} to {} ({sign}{by})", place(before), place(after))
        }
        (Some(before), None) => format!("{what}: was {}", place(before)),
        (None, Some(after)) => format!("{what}: {}", place(after)),
        (None, None) => what,
    }
}
