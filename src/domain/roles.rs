//! Who may do what: viewer, technician, coordinator, manager.
//!
//! Roles are events of the ledger. The user who recorded the first event is the first manager; a user
//! whom no event names is a viewer.

use super::event::{Actor, Event, EventBody, Seq};
use std::collections::BTreeMap;

/// What somebody may do; each may also do what those before may.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// See, export, verify.
    #[default]
    Viewer,
    /// Start, end, give verdicts, report rigs, note; correct an own mark for a day.
    Technician,
    /// Take in requests, publish plans, withdraw, correct any mark.
    Coordinator,
    /// Sign, grant and revoke roles.
    Manager,
}

impl Role {
    /// All of them, the least first.
    pub const ALL: [Self; 4] = [
        Self::Viewer,
        Self::Technician,
        Self::Coordinator,
        Self::Manager,
    ];

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Viewer => "viewer",
            Self::Technician => "technician",
            Self::Coordinator => "coordinator",
            Self::Manager => "manager",
        }
    }

    /// The role of that word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }

    /// The least role that may record this, apart from what corrections ask beyond it.
    pub const fn needed(body: &EventBody) -> Self {
        match body {
            EventBody::VisitStarted { .. }
            | EventBody::VisitEnded { .. }
            | EventBody::VerdictGiven { .. }
            | EventBody::RigDown { .. }
            | EventBody::RigUp { .. }
            | EventBody::Note { .. }
            | EventBody::LateEntry { .. }
            | EventBody::Correction { .. } => Self::Technician,
            EventBody::RequestTaken { .. }
            | EventBody::FileTaken { .. }
            | EventBody::PlanPublished { .. }
            | EventBody::PlanBookings { .. }
            | EventBody::UnitWithdrawn { .. } => Self::Coordinator,
            EventBody::RoleGranted { .. }
            | EventBody::RoleRevoked { .. }
            | EventBody::Signed { .. }
            | EventBody::AttemptRefused { .. } => Self::Manager,
        }
    }
}

/// Who holds a role.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holder {
    /// A user of the host, by the number that the kernel gives.
    User(u32),
    /// A person who acts at a terminal of somebody else, by name.
    Person(String),
}

impl std::fmt::Display for Holder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::User(uid) => write!(f, "user {uid}"),
            Self::Person(name) => write!(f, "person {}", super::text::shown(name)),
        }
    }
}

/// The roles that the events up to some point give.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Roles {
    held: BTreeMap<Holder, Role>,
    seen: Seq,
}

impl Roles {
    /// Takes the next event in; those that are about no role but the first change nothing.
    pub fn take(&mut self, event: &Event) {
        if event.seq == Seq(1) {
            self.held
                .insert(Holder::User(event.actor.uid), Role::Manager);
        }
        self.change(&event.body);
        self.seen = event.seq;
    }

    /// What a body changes.
    pub fn change(&mut self, body: &EventBody) {
        match body {
            EventBody::RoleGranted { holder, role } => {
                self.held.insert(holder.clone(), *role);
            }
            EventBody::RoleRevoked { holder } => {
                self.held.remove(holder);
            }
            _ => {}
        }
    }

    /// The last event that was taken in.
    pub fn seen(&self) -> Seq {
        self.seen
    }

    /// The role of somebody who acts: the lower of the user's, and the person's where one has been given.
    /// In an empty ledger nobody has a role yet, and whoever begins it is its manager.
    pub fn of(&self, actor: &Actor) -> Role {
        if self.seen == Seq(0) {
            return Role::Manager;
        }
        let user = self.held.get(&Holder::User(actor.uid)).copied();
        let user = user.unwrap_or_default();
        if actor.person == actor.login {
            return user;
        }
        let person = self.held.get(&Holder::Person(actor.person.clone()));
        person.map_or(user, |person| user.min(*person))
    }

    /// True where some user is a manager.
    pub fn has_manager(&self) -> bool {
        self.held
            .iter()
            .any(|(holder, role)| matches!(holder, Holder::User(_)) && *role == Role::Manager)
    }

    /// Every holder with its role.
    pub fn iter(&self) -> impl Iterator<Item = (&Holder, Role)> {
        self.held.iter().map(|(holder, role)| (holder, *role))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn actor(uid: u32, person: &str) -> Actor {
        Actor {
            uid,
            login: format!("user-{uid}"),
            person: person.to_owned(),
            host: "bench-1".to_owned(),
            session: "s-1".to_owned(),
        }
    }

    fn granted(holder: Holder, role: Role) -> EventBody {
        EventBody::RoleGranted { holder, role }
    }

    #[test]
    fn the_lower_of_user_and_person_counts() {
        let mut roles = Roles {
            seen: Seq(1),
            ..Roles::default()
        };
        let bench = || Holder::User(7);
        let ines = || Holder::Person("Ines".to_owned());
        assert_eq!(roles.of(&actor(7, "user-7")), Role::Viewer);
        roles.change(&granted(bench(), Role::Technician));
        roles.change(&granted(ines(), Role::Manager));
        assert_eq!(roles.of(&actor(7, "Ines")), Role::Technician);
        roles.change(&granted(bench(), Role::Manager));
        roles.change(&granted(ines(), Role::Coordinator));
        assert_eq!(roles.of(&actor(7, "Ines")), Role::Coordinator);
        assert_eq!(roles.of(&actor(7, "user-7")), Role::Manager);
        roles.change(&EventBody::RoleRevoked { holder: bench() });
        assert_eq!(roles.of(&actor(7, "Ines")), Role::Viewer);
        assert!(!roles.has_manager(), "a person alone cannot act");
    }
}
