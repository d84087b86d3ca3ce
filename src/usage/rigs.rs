//! What each rig does over time: one state a minute, and how many units are inside.
//!
//! A rig that is empty has waiting work where a unit in the lab is to go on it, by what it then did or by the
//! plan in force. Its request is taken in and ready; with the step before over and the smallest rest passed, and
//! not on hold, the unit *stands ready* for the rig. On a rig with one door a run stands ready when the last
//! of its units does.

use super::Calendars;
use super::crews::CrewUse;
use super::state::{ByState, Layers, State, Top, pieces};
use super::stay::Stay;
use super::waits::Ready;
use crate::domain::lab::{Lab, Loading, Rig};
use crate::domain::{Minute, Minutes, Span};
use crate::floor::Floor;
use crate::problem::OnTime;
use std::collections::BTreeMap;

/// Minutes of a rig in an interval. Its states add up to its calendar.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RigMinutes {
    /// Minutes by state.
    pub states: ByState,
    /// Position-minutes with a unit in them, outside down and calibration.
    pub filled: Minutes,
    /// How many units the rig holds.
    pub positions: u32,
    /// True where the whole rig is taken by one run however few units it has.
    pub one_door: bool,
}

impl RigMinutes {
    /// Length of the interval.
    pub fn calendar(&self) -> Minutes {
        self.states.total()
    }

    /// Minutes in which the rig could be used.
    pub fn usable(&self) -> Minutes {
        self.states.of(|state| !state.is_out())
    }

    /// Minutes with at least one unit inside.
    pub fn occupied(&self) -> Minutes {
        self.states.of(State::is_occupied)
    }

    /// Minutes down and in calibration.
    pub fn out(&self) -> Minutes {
        self.states.of(State::is_out)
    }

    /// Position-minutes that the rig offers outside down and calibration.
    pub fn open(&self) -> Minutes {
        self.usable() * i64::from(self.positions)
    }

    /// Minutes of loading and of changing over.
    pub fn setup(&self) -> Minutes {
        self.states[State::Loading] + self.states[State::Changeover]
    }

    /// Position-minutes filled in percent of those open; `None` where none is.
    pub fn filled_percent(&self) -> Option<i64> {
        percent(self.filled, self.open())
    }

    /// The share of the rig's capacity that is taken, in percent of its usable minutes: the time it is
    /// occupied where its units share a door, else its positions filled. `None` where it cannot be used.
    pub fn taken_percent(&self) -> Option<i64> {
        if self.one_door {
            percent(self.occupied(), self.usable())
        } else {
            self.filled_percent()
        }
    }

    /// Time of the rig that is taken: see [`RigMinutes::taken_percent`].
    pub fn taken(&self) -> Minutes {
        if self.one_door {
            self.occupied()
        } else {
            Minutes::new(self.filled.get() / i64::from(self.positions.max(1)))
        }
    }

    /// The sum of two intervals of one rig.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        for state in State::ALL {
            self.states.add(state, other.states[state]);
        }
        self.filled += other.filled;
        self.positions = self.positions.max(other.positions);
        self.one_door |= other.one_door;
        self
    }
}

/// `part` in percent of `whole`, rounded down; `None` where there is no whole.
pub(crate) fn percent(part: Minutes, whole: Minutes) -> Option<i64> {
    (whole > Minutes::ZERO).then(|| part.get() * 100 / whole.get())
}

/// A rig over time.
#[derive(Clone, Debug)]
pub(super) struct RigUse {
    positions: u32,
    one_door: bool,
    tops: Vec<Top>,
    /// When it cannot be used.
    pub(super) out: OnTime,
    /// When no unit more has a place in it.
    pub(super) full: OnTime,
}

impl RigUse {
    pub(super) fn within(&self, interval: Span) -> RigMinutes {
        let mut own = RigMinutes {
            one_door: self.one_door,
            positions: self.positions,
            ..RigMinutes::default()
        };
        for (span, top) in pieces(&self.tops, interval) {
            let state = State::ALL[top.layer.min(State::Idle as usize)];
            own.states.add(state, span.length());
            if !state.is_out() {
                own.filled += span.length() * i64::from(top.count);
            }
        }
        own
    }
}

/// Layers of states; the layer after the last only counts units.
const LAYERS: usize = State::Idle as usize;

/// What the states of rigs follow from.
pub(super) struct RigsOf<'u> {
    pub(super) lab: &'u Lab,
    pub(super) floor: &'u Floor,
    pub(super) now: Minute,
    pub(super) stays: &'u [Stay],
    pub(super) calendars: &'u Calendars,
}

impl RigsOf<'_> {
    /// Every rig of the lab.
    pub(super) fn uses(&self, ready: &[Ready], crews: &[CrewUse]) -> Vec<RigUse> {
        let mut on_rig: Vec<Vec<usize>> = vec![Vec::new(); self.lab.rigs.len()];
        for (ix, stay) in self.stays.iter().enumerate() {
            on_rig[stay.rig].push(ix);
        }
        let rigs = self.lab.rigs.iter().zip(on_rig);
        rigs.map(|(rig, mut own)| {
            own.sort_by_key(|ix| self.stays[*ix].times.load);
            self.rig_use(rig, &own, ready, crews)
        })
        .collect()
    }

    fn rig_use(&self, rig: &Rig, own: &[usize], ready: &[Ready], crews: &[CrewUse]) -> RigUse {
        let mut layers = Layers::default();
        let out = self.outages(rig, &mut layers);
        for ix in own {
            self.stay(&self.stays[*ix], &mut layers);
        }
        for span in self.changeovers(rig, own) {
            layers.add(State::Changeover as usize, span);
        }
        self.waiting_work(own, ready, crews, &mut layers);
        let tops = layers.tops(LAYERS);
        RigUse {
            positions: rig.positions,
            one_door: rig.loading == Loading::Together,
            full: full(rig, &tops),
            tops,
            out,
        }
    }

    /// When the rig cannot be used: as planned, as reported, and after its calibration date.
    fn outages(&self, rig: &Rig, layers: &mut Layers) -> OnTime {
        let mut all: Vec<(State, Span)> = Vec::new();
        for own in self.lab.outages.iter().filter(|own| own.rig == rig.id) {
            let is_calibration = own.reason.to_lowercase().contains("calibrat");
            let state = if is_calibration {
                State::Calibration
            } else {
                State::Down
            };
            all.push((state, own.span));
        }
        if let Some(record) = self.floor.now.rigs.get(&rig.id) {
            let repairs = record.repairs.iter();
            all.extend(repairs.map(|(from, to, _)| (State::Down, Span::new(*from, *to))));
            if let Some(down) = record.down() {
                all.push((State::Down, Span::new(down.since, down.back(self.now).0)));
            }
        }
        if let Some(date) = rig.calibration_due {
            let after = Span::new(self.lab.zone.end_of_day(date), Minute::LAST);
            all.push((State::Calibration, after));
        }
        for (state, span) in &all {
            layers.add(*state as usize, *span);
        }
        OnTime::new(all.into_iter().map(|(_, span)| span).collect())
    }

    fn stay(&self, stay: &Stay, layers: &mut Layers) {
        let times = &stay.times;
        layers.add(LAYERS, times.stay());
        layers.add(State::Loading as usize, Span::new(times.load, times.start));
        layers.add(State::Loading as usize, Span::new(times.unload, times.out));
        layers.add(State::Waiting as usize, Span::new(times.end, times.unload));
        let whole = Span::new(times.start, times.end);
        if stay.watch(self.calendars).is_none() {
            layers.add(State::Exposure as usize, whole);
            return;
        }
        layers.add(State::Paused as usize, whole);
        for span in stay.advancing(self.calendars) {
            layers.add(State::Exposure as usize, span);
        }
    }

    /// The minutes before a load that are needed for another fixture or condition than the one before.
    fn changeovers(&self, rig: &Rig, own: &[usize]) -> Vec<Span> {
        let mut before: BTreeMap<Option<u32>, (Minute, Option<u32>)> = BTreeMap::new();
        let mut spans = Vec::new();
        for stay in own.iter().map(|ix| &self.stays[*ix]) {
            let place = stay.position.filter(|_| rig.loading == Loading::Each);
            let kind = stay.step_on.as_ref().map(|own| own.kind);
            let (load, out) = (stay.times.load, stay.times.out);
            let known = before.get(&place).copied();
            let differs = |(_, last): &(Minute, Option<u32>)| {
                last.is_some() && kind.is_some() && *last != kind
            };
            if let Some((last_out, _)) = known.filter(differs) {
                spans.push(Span::new(last_out.max(load - rig.changeover), load));
            }
            let out = known.map_or(out, |(last_out, _)| last_out.max(out));
            before.insert(place, (out, kind));
        }
        spans
    }

    /// What an empty rig waits for.
    fn waiting_work(&self, own: &[usize], ready: &[Ready], crews: &[CrewUse], layers: &mut Layers) {
        let mut by_crew: BTreeMap<Option<usize>, Vec<Span>> = BTreeMap::new();
        for ix in own {
            let load = self.stays[*ix].times.load;
            layers.add(
                State::NoUnits as usize,
                Span::new(ready[*ix].released, load),
            );
            let stands = Span::new(ready[*ix].run_from, load);
            by_crew
                .entry(self.stays[*ix].crew())
                .or_default()
                .push(stands);
        }
        for (crew, stands) in by_crew {
            let free = crew.and_then(|crew| crews.get(crew));
            for span in OnTime::new(stands).spans() {
                layers.add(State::NoPeople as usize, *span);
                for piece in free.iter().flat_map(|crew| crew.free.within(*span)) {
                    layers.add(State::HeldBack as usize, piece);
                }
            }
        }
    }
}

/// When no unit more has a place in a rig: every position is taken, or the door is shut.
fn full(rig: &Rig, tops: &[Top]) -> OnTime {
    let most = if rig.loading == Loading::Together {
        1
    } else {
        rig.positions
    };
    let spans = tops.windows(2).filter(|pair| pair[0].count >= most);
    OnTime::new(
        spans
            .map(|pair| Span::new(pair[0].from, pair[1].from))
            .collect(),
    )
}
