//! What a ledger needs from the world: the clock, ids, the lab's name and zone.

use super::heads::Heads;
use crate::clock::Clock;
use crate::domain::{EventId, Zone};
use std::sync::{Arc, Mutex, PoisonError};

/// The doors through which a ledger reaches the world.
#[derive(Clone)]
pub struct Env {
    /// When things are recorded.
    pub clock: Arc<dyn Clock>,
    /// New ids.
    pub ids: Ids,
    /// The lab's name, as the site of the events.
    pub site: String,
    /// The lab's zone, recorded beside each time.
    pub zone: Zone,
    /// Where the user's remembered heads are kept; without it none is kept and none is compared.
    pub heads: Option<Heads>,
}

/// A source of ids of 128 bits.
#[derive(Clone)]
pub enum Ids {
    /// From the system.
    System,
    /// Counted on from a seed, for tests.
    Seeded(Arc<Mutex<u128>>),
}

impl Ids {
    /// The same ids again for the same seed.
    pub fn seeded(seed: u64) -> Self {
        Self::Seeded(Arc::new(Mutex::new(u128::from(seed) << 64)))
    }

    /// A new id.
    ///
    /// # Panics
    /// If the system gives no random bytes, as nothing safe could be recorded then.
    pub fn next(&self) -> EventId {
        let mut bytes = [0_u8; 16];
        match self {
            Self::System => {
                getrandom::fill(&mut bytes).expect("the system gives random bytes");
            }
            Self::Seeded(count) => {
                let mut count = count.lock().unwrap_or_else(PoisonError::into_inner);
                *count = count.wrapping_add(1);
                bytes = count.to_be_bytes();
            }
        }
        EventId(bytes)
    }
}
