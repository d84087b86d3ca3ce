//! When events happened, for finding the late ones among very many.
//!
//! Events stand in the order in which they were recorded, and any of them may have happened long before. Of each
//! block of events it is known when its last one happened, so that a block that is all too early is passed over.

use super::Floor;
use crate::domain::{Event, Minute};

/// Events of a block.
const BLOCK: usize = 1024;

/// When the first event happened, and the last of each block.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Spread {
    first: Option<Minute>,
    latest: Vec<Minute>,
}

impl Spread {
    /// Takes the event of that place in; places come in order, from 0.
    pub(super) fn take(&mut self, place: usize, event: &Event) {
        let at = event.happened;
        self.first = Some(self.first.map_or(at, |first| first.min(at)));
        match self.latest.get_mut(place / BLOCK) {
            Some(latest) => *latest = at.max(*latest),
            None => self.latest.push(at),
        }
    }
}

impl Floor {
    /// When the earliest event happened.
    pub fn first(&self) -> Option<Minute> {
        self.spread.first
    }

    /// Events that happened at `since` or later, in the order of their seq.
    pub fn happened_since(&self, since: Minute) -> impl Iterator<Item = &Event> {
        let blocks = self.events.chunks(BLOCK).zip(&self.spread.latest);
        blocks
            .filter(move |(_, latest)| **latest >= since)
            .flat_map(|(block, _)| block)
            .filter(move |event| event.happened >= since)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::event::Subject;
    use crate::domain::{Actor, EventBody, EventId, Seq};

    fn event(seq: u64, happened: Minute) -> Event {
        Event {
            seq: Seq(seq),
            id: EventId(u128::from(seq).to_be_bytes()),
            happened,
            recorded_ms: 0,
            clock_back: false,
            actor: Actor {
                uid: 1,
                login: String::new(),
                person: String::new(),
                host: String::new(),
                session: String::new(),
            }
            .into(),
            body: EventBody::Note {
                subject: Subject::Lab,
                text: "seen".to_owned(),
            },
        }
    }

    #[test]
    fn what_was_entered_late_is_found_and_what_is_old_is_not() {
        // Every hundredth was entered long after it happened, some of them before anything else.
        let at = |seq: u64| {
            let minutes = i64::try_from(seq).expect("few");
            Minute::new(if seq.is_multiple_of(100) {
                minutes - 3_000
            } else {
                minutes
            })
        };
        let events: Vec<Event> = (1..=5_000).map(|seq| event(seq, at(seq))).collect();
        let floor = Floor::fold(events.clone());
        assert_eq!(floor.first(), Some(Minute::new(100 - 3_000)));
        for since in [-9_000, 0, 1_500, 4_099, 4_999, 5_000] {
            let since = Minute::new(since);
            let plain = events.iter().filter(|event| event.happened >= since);
            assert!(floor.happened_since(since).eq(plain), "{since:?}");
        }
        assert_eq!(Floor::default().happened_since(Minute::new(0)).count(), 0);
    }
}
