//! What is in hand on the Plan screen: lifted, moved, dropped, put back; by keys and by mouse.

use super::actions::Action;
use super::plan::draft::StepKey;
use super::plan::hand::{Hand, Table};
use super::pointer::{Pointer, PointerKind};
use super::state::{App, Effect, Field, Overlay};
use super::update::step_by;
use crate::domain::lab::Loading;
use crate::domain::plan::Unplannable;
use crate::domain::{Booking, Minute, Minutes};
use crate::floor::Published;

/// Rows of the header and the axis, above the rigs.
const ABOVE: u16 = 2;

impl App {
    /// Takes the selected booking in hand, or its whole run.
    pub(super) fn lift(&mut self, run: bool) {
        let row = self.view.rigs.get(self.plan.row);
        let entry = row.and_then(|row| Some((row, row.entries.get(self.plan.entry)?)));
        let Some((row, entry)) = entry else {
            self.said = Some((false, "there is no booking here to lift".to_owned()));
            return;
        };
        if !entry.movable {
            let words = format!("{} {}: it stays where it was", entry.unit, entry.because);
            self.said = Some((false, words));
            return;
        }
        let together = self
            .desk
            .lab
            .rigs
            .iter()
            .any(|own| own.id == row.rig && own.loading == Loading::Together);
        if run && !together {
            let words = format!(
                "{} takes units one by one: Enter lifts the booking",
                row.rig
            );
            self.said = Some((false, words));
            return;
        }
        let same = |own: &&super::view::PlanEntry| {
            own.movable && own.run == entry.run && own.span == entry.span
        };
        let mut keys: Vec<StepKey> = vec![(entry.unit.clone(), entry.step)];
        if run {
            let all = row.entries.iter().filter(same);
            keys = all.map(|own| (own.unit.clone(), own.step)).collect();
        }
        match self.hand_with(&keys) {
            Ok(hand) => {
                self.plan.hand = Some(Box::new(hand));
                self.said = None;
                self.show_hand();
            }
            Err(why) => self.said = Some((false, why)),
        }
    }

    fn hand_with(&self, keys: &[StepKey]) -> Result<Hand, String> {
        let published = self.desk.floor.now.published.as_ref();
        let bookings = self.planned_bookings();
        let pins = self
            .plan
            .draft
            .as_ref()
            .map_or(Vec::new(), |draft| draft.pins(self.desk.now()));
        let table = Table {
            planning: &self.desk.planning().with_pins(&pins),
            bookings: &bookings,
            published: published.map_or(&[][..], |own| &own.bookings[..]),
            left: left_of(published),
        };
        Hand::lift(&table, keys)
    }

    /// Bookings of the draft, or of the plan in force.
    pub(super) fn planned_bookings(&self) -> Vec<Booking> {
        let published = self.desk.floor.now.published.as_ref();
        match &self.plan.draft {
            Some(draft) => draft.bookings().cloned().collect(),
            None => published.map_or(Vec::new(), |own| own.bookings.clone()),
        }
    }

    /// An action while something is in hand; `None` where nothing is, or where it means the same as always.
    pub(super) fn run_in_hand(&mut self, action: Action) -> Option<Vec<Effect>> {
        let scale = self.plan.scale;
        let hand = self.plan.hand.as_mut()?;
        let mut refused = None;
        match action {
            Action::Lift => return Some(self.drop_hand()),
            Action::Back => {
                self.put_back();
                return Some(Vec::new());
            }
            Action::Left => hand.shift(-scale),
            Action::Right => hand.shift(scale),
            Action::PageUp => hand.shift(-Minutes::DAY),
            Action::PageDown => hand.shift(Minutes::DAY),
            Action::Up | Action::Down => {
                if !hand.turn(action == Action::Down) {
                    let rigs: Vec<&str> = hand.rigs().iter().map(|rig| rig.as_str()).collect();
                    refused = Some(format!("only {} can take it", rigs.join(", ")));
                }
            }
            Action::Shorter | Action::Longer => {
                let by = if action == Action::Longer {
                    scale
                } else {
                    -scale
                };
                if !hand.stretch(by) {
                    refused = Some(stretch_words(hand));
                }
            }
            Action::ZoomIn | Action::ZoomOut | Action::Help | Action::Palette | Action::Refresh => {
                return None;
            }
            // The list of actions: what needs a letter is found there too.
            Action::NextScreen | Action::LastScreen => {
                self.overlays.push(Overlay::Palette(Field::default()));
                return Some(Vec::new());
            }
            Action::Now => hand.shift(self.now - hand.times().load),
            _ => refused = Some("first Enter to drop it, or Esc to put it back".to_owned()),
        }
        self.said = refused.map(|why| (false, why));
        self.show_hand();
        Some(Vec::new())
    }

    /// Draws what is in hand where it is, and keeps it in sight.
    fn show_hand(&mut self) {
        self.renew_timeline();
        let Some(hand) = &self.plan.hand else { return };
        let (rig, load) = (hand.rig().clone(), hand.times().load);
        let Some(key) = hand.keys().into_iter().next() else {
            return;
        };
        let row = self.view.rigs.iter().position(|row| row.rig == rig);
        self.plan.row = row.unwrap_or(self.plan.row);
        self.select(&key);
        self.plan.at = load;
        self.keep_in_sight(load);
    }

    /// Drops what is in hand: a change of the what-if, with its clashes.
    pub(super) fn drop_hand(&mut self) -> Vec<Effect> {
        let Some(hand) = self.plan.hand.take() else {
            return Vec::new();
        };
        let key = hand.keys().into_iter().next();
        if hand.unmoved() {
            self.said = Some((true, "put back where it was".to_owned()));
        } else {
            let places = hand.keys().into_iter().zip(hand.bookings());
            let places = places.map(|(key, booking)| (key, Some(booking))).collect();
            self.draft_mut().place(places);
            let words = match hand.clashes.len() {
                0 => "dropped: c shows the difference, p plans the rest around it".to_owned(),
                1 => "dropped with a clash: e shows it, p plans the rest around it".to_owned(),
                n => format!("dropped with {n} clashes: e walks them, p plans the rest around it"),
            };
            self.said = Some((hand.clashes.is_empty(), words));
        }
        let effects = self.after_change();
        if let Some(key) = key {
            self.select(&key);
        }
        effects
    }

    /// Puts what is in hand back exactly.
    pub(super) fn put_back(&mut self) {
        let Some(hand) = self.plan.hand.take() else {
            return;
        };
        self.renew_timeline();
        let (rig, load) = hand.was();
        let row = self.view.rigs.iter().position(|row| row.rig == *rig);
        self.plan.row = row.unwrap_or(self.plan.row);
        self.plan.at = load;
        if let Some(key) = hand.keys().first() {
            self.select(key);
        }
        self.keep_in_sight(load);
        self.said = Some((true, "put back where it was".to_owned()));
    }

    /// The mouse on Plan: a press selects, and dragging moves a booking.
    pub(super) fn pointed_on_plan(&mut self, pointer: Pointer) -> Vec<Effect> {
        match pointer.kind {
            PointerKind::Press => self.press(pointer),
            PointerKind::Drag => self.drag(pointer),
            PointerKind::Release if self.plan.pressed.take().is_some() => {
                return self.drop_hand_of_mouse();
            }
            _ => {}
        }
        Vec::new()
    }

    fn drop_hand_of_mouse(&mut self) -> Vec<Effect> {
        if self.plan.hand.is_some() {
            self.drop_hand()
        } else {
            Vec::new()
        }
    }

    /// The rig row and the minute of a cell.
    fn under(&self, mouse: Pointer) -> Option<(usize, Minute)> {
        let layout = self.plan_layout(self.size.0, self.size.1.saturating_sub(3));
        let line = mouse
            .row
            .checked_sub(ABOVE)
            .filter(|line| *line < layout.rigs)?;
        let first = layout.first(self.plan.first, self.plan.row, self.view.rigs.len());
        let row = first + usize::from(line);
        let column = i64::from(mouse.column.checked_sub(layout.name)?);
        let at = self.plan.from + self.plan.scale * column;
        (row < self.view.rigs.len()).then_some((row, at))
    }

    fn press(&mut self, mouse: Pointer) {
        if self.plan.hand.is_some() {
            return;
        }
        let Some((row, at)) = self.under(mouse) else {
            return;
        };
        (self.plan.row, self.plan.at) = (row, at);
        let column = crate::domain::Span::new(at, at + self.plan.scale);
        let entries = &self.view.rigs[row].entries;
        let hit = entries.iter().position(|own| own.span.overlaps(column));
        match hit {
            Some(entry) => {
                self.plan.entry = entry;
                self.plan.pressed = Some((row, at));
            }
            None => self.select_near(at),
        }
    }

    fn drag(&mut self, mouse: Pointer) {
        let (Some((_, from)), Some((row, at))) = (self.plan.pressed, self.under(mouse)) else {
            return;
        };
        if self.plan.hand.is_none() {
            self.lift(false);
        }
        let rig = self.view.rigs[row].rig.clone();
        let near = Minutes::new(self.plan.scale.get() / 2);
        let Some(hand) = &mut self.plan.hand else {
            self.plan.pressed = None;
            return;
        };
        let load = hand.was().1 + (at - from);
        if !hand.put(&rig, load, near) {
            let own = hand.rig().clone();
            hand.put(&own, load, near);
        }
        self.show_hand();
    }

    /// Up and down change the rig and stay near the same time; left and right go from booking to booking.
    pub(super) fn go_plan(&mut self, action: Action) {
        let width = self.plan.scale * self.track_columns();
        match action {
            Action::Up | Action::Down | Action::First | Action::Last => {
                step_by(&mut self.plan.row, action, self.page);
                self.settle();
                self.select_near(self.plan.at);
            }
            Action::Left => self.plan.entry = self.plan.entry.saturating_sub(1),
            Action::Right => self.plan.entry += 1,
            Action::PageUp => {
                self.plan.from = self.plan.from - width;
                self.plan.at = self.plan.at - width;
                self.select_near(self.plan.at);
            }
            Action::PageDown => {
                self.plan.from += width;
                self.plan.at += width;
                self.select_near(self.plan.at);
            }
            _ => {}
        }
        self.settle();
        if matches!(action, Action::Left | Action::Right)
            && let Some(start) = self.selected_start()
        {
            self.plan.at = start;
            self.keep_in_sight(start);
        }
    }

    /// Columns of a track.
    fn track_columns(&self) -> i64 {
        let layout = self.plan_layout(self.size.0, self.size.1.saturating_sub(3));
        i64::from(layout.track).max(1)
    }

    /// How many rigs lie below those that are shown on a screen of so many columns and rows.
    pub fn rigs_below(&self, columns: u16, rows: u16) -> usize {
        let layout = self.plan_layout(columns, rows.saturating_sub(3));
        let all = self.view.rigs.len();
        let first = layout.first(self.plan.first, self.plan.row, all);
        all.saturating_sub(first + usize::from(layout.rigs))
    }

    /// Moves the window of time only where `at` is not in it.
    pub(super) fn keep_in_sight(&mut self, at: Minute) {
        let end = self.plan.from + self.plan.scale * self.track_columns();
        if !crate::domain::Span::new(self.plan.from, end).contains(at) {
            self.plan.look_at(at);
        }
        let layout = self.plan_layout(self.size.0, self.size.1.saturating_sub(3));
        self.plan.first = layout.first(self.plan.first, self.plan.row, self.view.rigs.len());
    }
}

/// Why the stay cannot be longer or shorter.
fn stretch_words(hand: &Hand) -> String {
    let (waits, most) = hand.waits();
    let exposure = hand.times().end - hand.times().start;
    let rule = if most >= Minutes::FOREVER {
        "it may wait in the rig as long as it likes".to_owned()
    } else if most == Minutes::ZERO {
        "and must be unloaded at once".to_owned()
    } else {
        format!("and it may wait in the rig for {most} at most, now {waits}")
    };
    format!("its exposure is {exposure} by its method, {rule}")
}

/// Requests that the plan in force leaves out.
pub(super) fn left_of(published: Option<&Published>) -> &[Unplannable] {
    published.map_or(&[][..], |own| &own.unplannable[..])
}
