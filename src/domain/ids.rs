//! Names that people gave: each kind of id is a type of its own.

use std::fmt;
use std::sync::Arc;

macro_rules! text_id {
    ($(#[$doc:meta] $name:ident),+ $(,)?) => {$(
        #[$doc]
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// Takes the text as it stands; whoever reads input has checked it.
            pub fn new(text: &str) -> Self {
                Self(Arc::from(text))
            }

            /// The text as the user wrote it.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    )+};
}

text_id! {
    /// A crew, such as `bench`.
    CrewId,
    /// A method, such as `damp-heat-cyclic-55`.
    MethodId,
    /// A published plan.
    PlanId,
    /// A request, such as `R-101`.
    RequestId,
    /// A rig, such as `dh-1`.
    RigId,
    /// A sequence, such as `dv-slide`.
    SequenceId,
    /// What a standard says about one kind of exposure, such as `cold`.
    StandardId,
    /// A unit: its serial, unique in the lab.
    UnitId,
}
