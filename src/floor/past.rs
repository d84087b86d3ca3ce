//! Events that the floor has taken in, for reading them again.

use crate::domain::event::Subject;
use crate::domain::{Event, Seq};
use std::convert::Infallible;

/// Where events that the floor has taken in are read again.
pub trait Past {
    /// Why it cannot be read.
    type Error;

    /// The event of that seq, where there is one.
    fn event(&self, seq: Seq) -> Result<Option<Event>, Self::Error>;

    /// At least every event that tells of a unit or a rig, in order; see [`crate::domain::EventBody::tells_of`].
    fn history(&self, of: &Subject) -> Result<Vec<Event>, Self::Error>;

    /// The next events after `seq`, in order; none at the end.
    fn after(&self, seq: Seq) -> Result<Vec<Event>, Self::Error>;
}

/// A whole past in memory, in the order of seq.
impl Past for [Event] {
    type Error = Infallible;

    fn event(&self, seq: Seq) -> Result<Option<Event>, Infallible> {
        let found = self.binary_search_by_key(&seq, |event| event.seq);
        Ok(found.ok().map(|ix| self[ix].clone()))
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, Infallible> {
        let about = |event: &&Event| event.body.tells_of().as_ref() == Some(of);
        Ok(self.iter().filter(about).cloned().collect())
    }

    fn after(&self, seq: Seq) -> Result<Vec<Event>, Infallible> {
        let from = self.partition_point(|event| event.seq <= seq);
        Ok(self[from..].to_vec())
    }
}
