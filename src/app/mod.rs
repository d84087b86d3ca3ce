//! State of the running program: actions, messages, update.
//!
//! [`desk`] is what a person at the desk can do, with or without a terminal: the command line and
//! the screens both go through it.

pub mod desk;
