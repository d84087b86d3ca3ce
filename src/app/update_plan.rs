//! The Plan screen's own actions: changes by hand that are a what-if until they are published, units assigned,
//! clashes walked, the morning sheet.

use super::actions::Action;
use super::lists::select;
use super::morning::About;
use super::plan::SCALES;
use super::plan::draft::{Draft, StepKey};
use super::plan::hand::{Hand, Table, plan_visits};
use super::state::{App, Effect, Overlay, RigOffer, Screen, Waiting};
use super::update_hand::left_of;
use crate::domain::steps::step_of;
use crate::domain::{Minute, Minutes, UnitId};
use crate::planner::first_free;
use crate::problem::{Plan, UnitIx};
use std::collections::BTreeSet;

impl App {
    /// The what-if, begun where there is none.
    pub(super) fn draft_mut(&mut self) -> &mut Draft {
        let published = self.desk.floor.now.published.as_ref();
        let now = self.now;
        self.plan
            .draft
            .get_or_insert_with(|| Draft::new(published, now))
    }

    /// How many bookings the what-if changes.
    pub fn changed(&self) -> usize {
        self.plan.changed
    }

    pub(super) fn count_changes(&self) -> usize {
        let published = self.desk.floor.now.published.as_ref();
        let draft = self.plan.draft.as_ref();
        draft.map_or(0, |draft| draft.changes(published, self.now).len())
    }

    /// What follows a change of the what-if: it is drawn, and kept for the next start.
    pub(super) fn after_change(&mut self) -> Vec<Effect> {
        self.renew_timeline();
        vec![Effect::Keep]
    }

    /// Where another plan came into force the what-if goes on from that one.
    pub(super) fn follow_published(&mut self) {
        let published = self.desk.floor.now.published.as_ref();
        let Some(draft) = &self.plan.draft else {
            return;
        };
        if draft.from == published.map(|own| own.seq) {
            return;
        }
        let moved = draft.moved_onto(published);
        let count = moved.by_hand().count();
        self.plan.hand = None;
        self.plan.draft = Some(moved).filter(|_| count > 0);
        let words =
            format!("another plan is in force; what you placed by hand ({count}) is on it now");
        self.said = Some((false, words));
    }

    /// Takes the selected booking off its rig, with the unit's later ones.
    pub(super) fn take_off(&mut self) -> Vec<Effect> {
        let row = self.view.rigs.get(self.plan.row);
        let Some(entry) = row.and_then(|row| row.entries.get(self.plan.entry)) else {
            self.said = Some((false, "there is no booking here to take off".to_owned()));
            return Vec::new();
        };
        if !entry.movable {
            let words = format!("{} {}: it cannot be taken off", entry.unit, entry.because);
            self.said = Some((false, words));
            return Vec::new();
        }
        let (unit, step) = (entry.unit.clone(), entry.step);
        let all = self.planned_bookings();
        let later = all
            .iter()
            .filter(|own| own.unit == unit && own.step >= step);
        let gone: Vec<(StepKey, Option<crate::domain::Booking>)> = later
            .map(|own| ((own.unit.clone(), own.step), None))
            .collect();
        let count = gone.len();
        self.draft_mut().place(gone);
        let words = match count {
            1 => format!("{unit} step {step} is off; a assigns it, p plans it anew"),
            _ => format!(
                "{unit} is off from step {step} on ({count} bookings); a assigns it, p plans it anew"
            ),
        };
        self.said = Some((true, words));
        let effects = self.after_change();
        self.select_near(self.plan.at);
        effects
    }

    /// Shows what the changes make different; refuses where a rule is broken, and says which.
    pub(super) fn commit(&mut self) {
        let published = self.desk.floor.now.published.as_ref();
        let Some(draft) = self.plan.draft.as_ref().filter(|_| self.changed() > 0) else {
            let words = "nothing is changed: Enter lifts a booking, p plans anew";
            self.said = Some((false, words.to_owned()));
            return;
        };
        let mut planning = self.desk.planning();
        let proposal = draft.proposal(&planning, published);
        if let Some(clash) = proposal.clashes.first() {
            let count = proposal.clashes.len();
            let more = if count == 1 {
                String::new()
            } else {
                format!(", and {} more", count - 1)
            };
            let words = format!(
                "not yet, {}{more}; p plans the rest around your changes",
                clash.words()
            );
            self.said = Some((false, words));
            return;
        }
        planning = planning.with_pins(&draft.pins(self.desk.now()));
        let mut proposal = Box::new(proposal);
        proposal.why = planning.why_late(&proposal, 20);
        self.said = None;
        self.overlays.push(Overlay::Difference {
            proposal,
            scroll: 0,
        });
    }

    /// Takes the proposal in front of the screen onto the timeline, still not in force.
    pub(super) fn onto_timeline(&mut self) -> Vec<Effect> {
        let Some(Overlay::Difference { proposal, .. }) = self.overlays.pop() else {
            return Vec::new();
        };
        self.draft_mut().adopt(&proposal.plan.bookings);
        let words = "on the timeline, not in force: * is changed, : is where it was; c commits, u takes it back";
        self.said = Some((true, words.to_owned()));
        self.after_change()
    }

    /// Takes the last change of the what-if back, else the last mark.
    pub(super) fn take_back(&mut self) -> Vec<Effect> {
        let draft = self.plan.draft.as_mut();
        let draft = draft.filter(|_| self.screen == Screen::Plan);
        if let Some(key) = draft.and_then(Draft::undo) {
            let words = "took back the last change of the what-if; U makes it again";
            return self.changed_again(&key, words);
        }
        vec![Effect::Undo]
    }

    /// Makes the change of the what-if again that was taken back, else the mark.
    pub(super) fn make_again(&mut self) -> Vec<Effect> {
        let draft = self.plan.draft.as_mut();
        let draft = draft.filter(|_| self.screen == Screen::Plan);
        if let Some(key) = draft.and_then(Draft::redo) {
            return self.changed_again(&key, "made the change of the what-if again");
        }
        vec![Effect::Redo]
    }

    /// Shows what a change was about that was taken back or made again.
    fn changed_again(&mut self, key: &StepKey, words: &str) -> Vec<Effect> {
        self.said = Some((true, words.to_owned()));
        let effects = self.after_change();
        self.go_to(key);
        effects
    }

    /// Units whose next step is in no plan, and the selected one.
    pub(super) fn choose_unit(&mut self) {
        let problem = self.desk.planning().problem();
        let bookings = self.planned_bookings();
        let booked: BTreeSet<(&UnitId, u32)> =
            bookings.iter().map(|own| (&own.unit, own.step)).collect();
        let in_force = self.desk.floor.now.published.as_ref();
        let selected = self.unit();
        let mut found: Vec<(usize, Waiting)> = Vec::new();
        for own in &problem.units {
            let step = own.facts.len();
            if step >= own.wanted {
                continue;
            }
            let number = u32::try_from(step + 1).unwrap_or(u32::MAX);
            let is_selected = selected.as_ref() == Some(&own.id);
            let is_booked = booked.contains(&(&own.id, number));
            if !is_selected && is_booked {
                continue;
            }
            let key = (own.id.clone(), number);
            let was_booked = in_force.is_some_and(|plan| plan.by_step.contains_key(&key));
            // Who was just taken off is who is meant, then who is selected; who does not wait comes last.
            let rank = match (was_booked, is_booked, is_selected) {
                (true, false, _) => 0,
                (_, false, true) => 1,
                (_, false, false) => 2,
                (_, true, _) => 3,
            };
            found.push((rank, self.waiting(&own.id, number, is_selected)));
        }
        found.sort_by_key(|(rank, _)| *rank);
        let chosen: Vec<Waiting> = found.into_iter().map(|(_, own)| own).collect();
        match &chosen[..] {
            [] => {
                let words = "no unit waits: every next step has a booking";
                self.said = Some((false, words.to_owned()));
            }
            [one] => {
                let unit = one.unit.clone();
                self.choose_rig(unit);
            }
            _ => self.overlays.push(Overlay::ChooseUnit {
                units: chosen,
                selected: 0,
            }),
        }
    }

    fn waiting(&self, unit: &UnitId, step: u32, selected: bool) -> Waiting {
        let request = self.desk.walks.request(&self.desk.lab, unit);
        let walk = request.and_then(|own| step_of(self.desk.walks.steps(own), step));
        let method = walk.map_or("", |own| own.method.as_str());
        let product = request.map_or(String::new(), |own| {
            format!("{} {}", own.product, own.build)
        });
        let note = match self.pin_words(unit, step) {
            Some(pin) => format!(", {pin}"),
            None if selected => ", selected".to_owned(),
            None => String::new(),
        };
        Waiting {
            unit: unit.clone(),
            step,
            words: format!("step {step} {method}{note}, {product}"),
        }
    }

    /// Where the lab's own pin puts a step, in words.
    fn pin_words(&self, unit: &UnitId, step: u32) -> Option<String> {
        let pins = &self.desk.lab.pins;
        let pin = pins
            .iter()
            .find(|own| own.unit == *unit && own.step == step)?;
        let at = self.asked().words(pin.start);
        Some(format!("pinned to {} at {at}", pin.rig))
    }

    /// Rigs that can do the next step of a unit, each with the first time at which it could.
    fn choose_rig(&mut self, unit: UnitId) {
        let problem = self.desk.planning().problem();
        let found = problem.units.iter().position(|own| own.id == unit);
        let next = found.map(|ix| (UnitIx::from(ix), problem.units[ix].facts.len()));
        let next = next.filter(|(ix, step)| *step < problem.units[ix.ix()].wanted);
        let Some((ix, step)) = next else {
            self.said = Some((false, format!("{unit} has no further step to assign")));
            return;
        };
        let number = u32::try_from(step + 1).unwrap_or(u32::MAX);
        if let Some(pin) = self.pin_words(&unit, number) {
            let words = format!("{unit} step {number} is {pin} by pins.toml: p plans it there");
            self.said = Some((false, words));
            return;
        }
        // What breaks a rule where it is has no claim to its place.
        let entries = self.view.rigs.iter().flat_map(|row| &row.entries);
        let broken: BTreeSet<(&UnitId, u32)> = entries
            .filter(|own| own.clash)
            .map(|own| (&own.unit, own.step))
            .collect();
        let mut bookings = self.planned_bookings();
        bookings.retain(|own| !broken.contains(&(&own.unit, own.step)));
        let plan = Plan {
            visits: plan_visits(&problem, &bookings),
            left: Vec::new(),
        };
        let offer = |(rig, _): &(crate::problem::RigIx, Minutes)| RigOffer {
            rig: problem.rigs[rig.ix()].id.clone(),
            earliest: first_free(&problem, &plan, ix, step, *rig),
        };
        let mut rigs: Vec<RigOffer> = problem
            .rigs_for(problem.step(ix, step))
            .iter()
            .map(offer)
            .collect();
        rigs.sort_by_key(|own| (own.earliest.is_none(), own.earliest));
        if rigs.is_empty() {
            self.said = Some((false, format!("no rig can do the next step of {unit}")));
            return;
        }
        self.overlays.push(Overlay::ChooseRig {
            unit,
            rigs,
            selected: 0,
        });
    }

    /// Puts the unit's next step on the chosen rig as early as it is free, and plans the rest around it.
    fn assign(&mut self, unit: &UnitId, offer: &RigOffer) -> Vec<Effect> {
        let Some(load) = offer.earliest else {
            let words = format!("{} has no place for {unit} within the horizon", offer.rig);
            self.said = Some((false, words));
            return Vec::new();
        };
        let published = self.desk.floor.now.published.as_ref();
        let pins = self
            .plan
            .draft
            .as_ref()
            .map_or(Vec::new(), |draft| draft.pins(self.desk.now()));
        let planning = self.desk.planning().with_pins(&pins);
        let bookings = self.planned_bookings();
        let record = self.desk.floor.now.units.get(unit);
        let done = record.map_or(0, |own| own.visits.len());
        let step = u32::try_from(done + 1).unwrap_or(u32::MAX);
        let table = Table {
            planning: &planning,
            bookings: &bookings,
            published: &[],
            left: left_of(published),
        };
        let Some(booking) = Hand::seated(&table, unit, step, &offer.rig, load) else {
            let words = format!("{} cannot do step {step} of {unit}", offer.rig);
            self.said = Some((false, words));
            return Vec::new();
        };
        self.overlays.clear();
        let key = (unit.clone(), step);
        self.draft_mut().place(vec![(key.clone(), Some(booking))]);
        let mut effects = self.after_change();
        self.go_to(&key);
        effects.push(Effect::Plan);
        effects
    }

    /// Selects the booking of the next clash and says what is wrong.
    pub(super) fn next_clash(&mut self) {
        let count = self.view.clashes.len();
        if count == 0 {
            self.said = Some((true, "the plan breaks no rule".to_owned()));
            return;
        }
        let next = self.plan.clash.map_or(0, |at| (at + 1) % count);
        self.plan.clash = Some(next);
        let clash = self.view.clashes[next].clone();
        let units = self.desk.lab.requests.iter().flat_map(|own| &own.units);
        let unit = clash.unit.and_then(|ix| units.clone().nth(ix.ix()));
        let step = clash.step.and_then(|step| u32::try_from(step + 1).ok());
        if let (Some(unit), Some(step)) = (unit, step) {
            self.go_to(&(unit.clone(), step));
        }
        let words = format!("clash {} of {count}: {}", next + 1, clash.words());
        self.said = Some((false, words));
    }

    /// The rule that a booking breaks, in words.
    pub fn clash_words(&self, unit: &UnitId, step: u32) -> Option<String> {
        let mut units = self.desk.lab.requests.iter().flat_map(|own| &own.units);
        let ix = units.position(|own| own == unit)?;
        let about = |clash: &&crate::checker::Clash| {
            clash.unit.map(UnitIx::ix) == Some(ix)
                && clash.step.map(|own| own + 1) == Some(step as usize)
        };
        let clash = self.view.clashes.iter().find(about)?;
        Some(clash.words())
    }

    /// Selects a booking in its row, wherever it is.
    pub(super) fn go_to(&mut self, key: &StepKey) {
        let has = |row: &super::view::RigRow| {
            row.entries
                .iter()
                .any(|own| own.unit == key.0 && own.step == key.1)
        };
        if let Some(row) = self.view.rigs.iter().position(has) {
            self.plan.row = row;
            self.select(key);
            if let Some(start) = self.selected_start() {
                self.plan.at = start;
                self.keep_in_sight(start);
            }
        }
    }

    /// Selects a booking in the selected row.
    pub(super) fn select(&mut self, key: &StepKey) {
        let row = self.view.rigs.get(self.plan.row);
        let found = row.and_then(|row| {
            row.entries
                .iter()
                .position(|own| own.unit == key.0 && own.step == key.1)
        });
        if let Some(entry) = found {
            self.plan.entry = entry;
        }
    }

    /// Shows now, and selects what is on the rig now or next.
    pub(super) fn go_to_now(&mut self) {
        self.plan.look_at(self.now);
        self.plan.at = self.now;
        self.select_near(self.now);
    }

    /// Zooms, and keeps the cursor in its column.
    pub(super) fn zoom(&mut self, by: isize) {
        let scale = self.plan.scale;
        let at = SCALES.iter().position(|own| *own == scale.get());
        let next = at
            .unwrap_or(6)
            .saturating_add_signed(by)
            .min(SCALES.len() - 1);
        self.plan.scale = Minutes::new(SCALES[next]);
        let about = self.selected_start().unwrap_or(self.plan.at);
        let column = (about - self.plan.from).get().div_euclid(scale.get());
        self.plan.from = about - self.plan.scale * column.max(0);
        self.keep_in_sight(about);
    }

    pub(super) fn selected_start(&self) -> Option<Minute> {
        let row = self.view.rigs.get(self.plan.row)?;
        row.entries
            .get(self.plan.entry)
            .map(|entry| entry.span.start)
    }

    pub(super) fn say_lift_first(&mut self) {
        let words = "first lift a booking (Enter); then < and > unload it earlier or later";
        self.said = Some((false, words.to_owned()));
    }

    /// The morning sheet; from now on it is not offered again today.
    pub(super) fn show_morning(&mut self) -> Vec<Effect> {
        self.overlays.push(Overlay::Morning { selected: 0 });
        self.sheet = Some(self.desk.lab.zone.local(self.now).date());
        self.said = None;
        vec![Effect::Keep]
    }

    /// Keys in lists and questions of the Plan screen.
    pub(super) fn key_in_plan_overlay(&mut self, key: &str) -> Vec<Effect> {
        let (action, page) = (self.settings.keys.action(key, self.screen), self.page);
        let entries = self.view.morning.len();
        match (self.overlays.last(), action) {
            (_, Some(Action::Back | Action::Quit)) => {
                self.overlays.pop();
                return Vec::new();
            }
            _ if key == "Enter" => return self.choose_line(),
            _ => {}
        }
        let (selected, count) = match self.overlays.last_mut() {
            Some(Overlay::ChooseUnit { units, selected }) => (selected, units.len()),
            Some(Overlay::ChooseRig { rigs, selected, .. }) => (selected, rigs.len()),
            Some(Overlay::Morning { selected }) => (selected, entries),
            _ => return Vec::new(),
        };
        let last = count.saturating_sub(1);
        match action {
            Some(Action::Up) => *selected = selected.saturating_sub(1),
            Some(Action::Down) => *selected = (*selected + 1).min(last),
            Some(Action::First) => *selected = 0,
            Some(Action::Last) => *selected = last,
            _ => {
                select(selected, count, page, key);
            }
        }
        Vec::new()
    }

    /// Enter in a list of the Plan screen.
    fn choose_line(&mut self) -> Vec<Effect> {
        match self.overlays.last().cloned() {
            Some(Overlay::ChooseUnit { units, selected }) => {
                if let Some(own) = units.get(selected) {
                    let unit = own.unit.clone();
                    self.choose_rig(unit);
                }
            }
            Some(Overlay::ChooseRig {
                unit,
                rigs,
                selected,
            }) => {
                if let Some(offer) = rigs.get(selected) {
                    return self.assign(&unit, offer);
                }
            }
            Some(Overlay::Morning { selected }) => self.go_to_entry(selected),
            _ => {}
        }
        Vec::new()
    }

    /// Goes where an entry of the morning sheet leads.
    fn go_to_entry(&mut self, selected: usize) {
        let Some(item) = self.view.morning.get(selected).cloned() else {
            return;
        };
        self.overlays.pop();
        self.said = Some((true, format!("{}: {}", item.words, item.next)));
        match item.about {
            About::Evidence(leg) => {
                self.screen = Screen::Evidence;
                let legs = &self.view.legs;
                let at = leg.and_then(|leg| legs.iter().position(|own| own.leg.request.id == leg));
                self.leg = at.unwrap_or(self.leg);
            }
            About::Plan => {}
            About::Rig(rig) => {
                let row = self.view.rigs.iter().position(|own| own.rig == rig);
                self.plan.row = row.unwrap_or(self.plan.row);
                self.go_to_now();
                self.keep_in_sight(self.now);
            }
            About::Unit(unit) => self.go_to_unit(|own| *own == unit),
            About::Request(request) => {
                let units = self.desk.walks.request_of_id(&self.desk.lab, &request);
                let units = units.map_or(Vec::new(), |own| own.units.clone());
                self.go_to_unit(|own| units.contains(own));
            }
        }
    }

    /// Selects what a unit is on now, else its next booking, else its last.
    fn go_to_unit(&mut self, is_one: impl Fn(&UnitId) -> bool) {
        let entries = self.view.rigs.iter().flat_map(|row| &row.entries);
        let own = entries.filter(|own| is_one(&own.unit));
        let far = |own: &&super::view::PlanEntry| {
            let ahead = own.span.end <= self.now;
            (ahead, (own.span.start - self.now).get().abs())
        };
        if let Some(key) = own.min_by_key(far).map(|own| (own.unit.clone(), own.step)) {
            self.go_to(&key);
        }
    }
}
