//! What is booked on one rig, and where a further visit would fit.

use crate::domain::lab::Loading;
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes, Span};
use crate::planner::spans::{Spans, union};
use crate::problem::{CondIx, FixtureIx, Rig, UnitIx};

/// Where a visit stands in its rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::planner) enum Slot {
    /// Position, from 0, on a rig loaded each.
    Lane(u32),
    /// The run that loads at the visit's load, on a rig loaded together.
    Run,
    /// Anywhere inside, on a held rig.
    Held,
}

/// A rig's bookings.
#[derive(Clone, Debug)]
pub(in crate::planner) enum RigLine {
    /// One list a position.
    Each(Vec<Vec<Stay>>),
    /// Runs by load.
    Together(Vec<Run>),
    /// Stays by load, and the longest of them so far.
    Held(Vec<Stay>, Minutes),
}

/// One unit's time on a rig loaded each or held.
#[derive(Clone, Copy, Debug)]
pub(in crate::planner) struct Stay {
    pub(in crate::planner) span: Span,
    pub(in crate::planner) unit: UnitIx,
    /// Fixture on rigs loaded each, condition on held ones: what a changeover depends on.
    pub(in crate::planner) kind: u32,
}

/// A chamber run.
#[derive(Clone, Debug)]
pub(in crate::planner) struct Run {
    pub(in crate::planner) times: Times,
    pub(in crate::planner) condition: CondIx,
    /// Who is in it; never empty.
    pub(in crate::planner) units: Vec<UnitIx>,
}

impl Run {
    /// True where that many of the chamber's positions are left.
    pub(in crate::planner) fn has_room(&self, wanted: u32, positions: u32) -> bool {
        let inside = u32::try_from(self.units.len()).unwrap_or(u32::MAX);
        inside.saturating_add(wanted) <= positions
    }
}

impl RigLine {
    pub(super) fn new(rig: &Rig) -> Self {
        match rig.loading {
            Loading::Each => Self::Each(vec![Vec::new(); rig.positions as usize]),
            Loading::Together => Self::Together(Vec::new()),
            Loading::Held => Self::Held(Vec::new(), Minutes::ZERO),
        }
    }

    /// Calls `found` for every stretch of `window` in which a new stay, or a new run, may lie whole, position
    /// by position while it says true: changeovers to its neighbours are taken off, usable times of the rig
    /// are not.
    pub(in crate::planner) fn gaps(
        &self,
        rig: &Rig,
        fixture: FixtureIx,
        condition: CondIx,
        window: Span,
        found: &mut dyn FnMut(Slot, Span) -> bool,
    ) {
        match self {
            Self::Each(lanes) => {
                for (lane, stays) in (0..).zip(lanes) {
                    let taken = near(stays, window, rig.changeover)
                        .map(|stay| widened(stay, fixture.0, rig.changeover));
                    between(taken, window, &mut |gap| found(Slot::Lane(lane), gap));
                }
            }
            Self::Together(runs) => {
                let from =
                    runs.partition_point(|run| run.times.out + rig.changeover <= window.start);
                let taken = runs[from..]
                    .iter()
                    .take_while(|run| run.times.load < window.end + rig.changeover)
                    .map(|run| {
                        let pad = if run.condition == condition {
                            Minutes::ZERO
                        } else {
                            rig.changeover
                        };
                        Span::new(run.times.load - pad, run.times.out + pad)
                    });
                between(taken, window, &mut |gap| found(Slot::Run, gap));
            }
            Self::Held(stays, longest) => {
                let full = held_taken(stays, *longest, rig, condition, window);
                between(full.into_iter(), window, &mut |gap| found(Slot::Held, gap));
            }
        }
    }

    /// Units on the rig in `window`.
    pub(in crate::planner) fn inside(&self, window: Span, found: &mut Vec<UnitIx>) {
        match self {
            Self::Each(lanes) => {
                for stays in lanes {
                    found.extend(near(stays, window, Minutes::ZERO).map(|stay| stay.unit));
                }
            }
            Self::Together(runs) => {
                let from = runs.partition_point(|run| run.times.out <= window.start);
                let runs = runs[from..].iter();
                for run in runs.take_while(|run| run.times.load < window.end) {
                    found.extend_from_slice(&run.units);
                }
            }
            Self::Held(stays, longest) => {
                let from = stays.partition_point(|stay| stay.span.start + *longest <= window.start);
                let stays = stays[from..].iter();
                let stays = stays.take_while(|stay| stay.span.start < window.end);
                let stays = stays.filter(|stay| stay.span.end > window.start);
                found.extend(stays.map(|stay| stay.unit));
            }
        }
    }

    /// Units that would have to go so that one could be there in `window`.
    pub(in crate::planner) fn fewest_inside(&self, window: Span, found: &mut Vec<UnitIx>) {
        match self {
            Self::Each(lanes) => {
                let least = lanes
                    .iter()
                    .min_by_key(|stays| near(stays, window, Minutes::ZERO).count());
                if let Some(stays) = least {
                    found.extend(near(stays, window, Minutes::ZERO).map(|stay| stay.unit));
                }
            }
            Self::Together(_) => self.inside(window, found),
            Self::Held(..) => {}
        }
    }

    /// The run that loads at that minute.
    pub(super) fn run_at(&self, load: Minute) -> Option<&Run> {
        let Self::Together(runs) = self else {
            return None;
        };
        let ix = runs.binary_search_by_key(&load, |run| run.times.load);
        Some(&runs[ix.ok()?])
    }
}

/// Stays that own a minute of `window` widened by `pad`. Facts may overlap, so the search for the
/// first starts from the sorted loads and looks back while stays still reach in.
fn near(stays: &[Stay], window: Span, pad: Minutes) -> impl Iterator<Item = &Stay> {
    let mut from = match stays.last() {
        Some(last) if last.span.start > window.start - pad => {
            stays.partition_point(|stay| stay.span.start <= window.start - pad)
        }
        _ => stays.len(),
    };
    while from > 0 && stays[from - 1].span.end + pad > window.start {
        from -= 1;
    }
    stays[from..]
        .iter()
        .take_while(move |stay| stay.span.start < window.end + pad)
}

fn widened(stay: &Stay, kind: u32, changeover: Minutes) -> Span {
    let pad = if stay.kind == kind {
        Minutes::ZERO
    } else {
        changeover
    };
    Span::new(stay.span.start - pad, stay.span.end + pad)
}

/// Calls `found` for each stretch of `window` between the taken spans, which are sorted by start up to
/// the padding of changeovers, while it says true.
fn between(taken: impl Iterator<Item = Span>, window: Span, found: &mut dyn FnMut(Span) -> bool) {
    let mut free_from = window.start;
    for span in taken {
        let gap = Span::new(free_from, span.start.min(window.end));
        if !gap.is_empty() && !found(gap) {
            return;
        }
        free_from = free_from.max(span.end);
    }
    let rest = Span::new(free_from, window.end);
    if !rest.is_empty() {
        found(rest);
    }
}

/// Where a held rig cannot take one more unit of `condition`: another condition or its changeover, or
/// every position taken.
fn held_taken(
    stays: &[Stay],
    longest: Minutes,
    rig: &Rig,
    condition: CondIx,
    window: Span,
) -> Spans {
    let from = stays.partition_point(|s| s.span.start + longest + rig.changeover <= window.start);
    let near = stays[from..]
        .iter()
        .take_while(|s| s.span.start < window.end + rig.changeover);
    let mut taken = Spans::new();
    let mut edges: Vec<(Minute, i64)> = Vec::new();
    for stay in near {
        if stay.kind == condition.0 {
            edges.push((stay.span.start, 1));
            edges.push((stay.span.end, -1));
        } else {
            taken.push(widened(stay, condition.0, rig.changeover));
        }
    }
    edges.sort_unstable();
    let (mut inside, mut full_from) = (0, None);
    for (at, change) in edges {
        inside += change;
        match (full_from, inside >= i64::from(rig.positions)) {
            (None, true) => full_from = Some(at),
            (Some(start), false) => {
                taken.push(Span::new(start, at));
                full_from = None;
            }
            _ => {}
        }
    }
    union(taken)
}
