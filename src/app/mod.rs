//! State of the running program: actions, messages, update.
//!
//! [`desk`] is what a person at the desk can do, with or without a terminal: the command line and
//! the screens both go through it. [`walk`] puts what they show in words. [`scenario`] plays the story of
//! the demo.

pub mod demo_files;
pub mod desk;
pub mod scenario;
pub mod walk;
