//! The words of the trade: time, ids, the checked lab, plans, events and facts.
//!
//! Plain data and pure functions. This room knows no file, no clock, no database and no serde.

pub mod csv;
pub mod event;
pub mod facts;
pub mod ids;
pub mod lab;
pub mod plan;
pub mod roles;
pub mod standard;
pub mod steps;
pub mod text;
pub mod time;
pub mod zone;

/// Parts of labs for unit tests, the same as the integration tests have.
#[cfg(test)]
#[path = "../../tests/it/support/parts.rs"]
pub(crate) mod parts;

pub use event::{Actor, Event, EventBody, EventId, NewEvent, Seq, Verdict};
pub use facts::Facts;
pub use ids::{CrewId, MethodId, PlanId, RequestId, RigId, SequenceId, StandardId, UnitId};
pub use lab::Lab;
pub use plan::{Booking, Plan};
pub use roles::{Role, Roles};
pub use time::{Minute, Minutes, Span};
pub use zone::Zone;
