//! Rigday: the terminal program that a durability lab runs its day on.
//!
//! One flow carries the program:
//! **lab folder + events → floor → problem → plan → checker → published event → screens.**
//!
//! The rooms of the house, in reading order:
//!
//! - [`domain`]: the words of the trade: ids, minutes, spans, rigs, methods, units, requests, events. No IO.
//! - [`clock`]: the only reader of wall clock, monotonic clock and zone data.
//! - [`lab`]: TOML folder and built-in catalogue → checked lab; faults with file, line and column.
//! - [`problem`]: lab, facts and now → compiled problem: dense indexes, whole minutes, step functions.
//! - [`planner`]: problem, seed and budget in; plan, bound and reasons out. Pure.
//! - [`checker`]: the judge of plans, one file a rule; never the planner.
//! - [`ledger`]: the only SQL and the only path to the record of what happened.
//! - [`floor`]: events → what is where, what is due, what failed, what is booked. A pure fold.
//! - [`evidence`]: reliability arithmetic on what results show.
//! - [`usage`]: time and fill of rigs, and the backlog. Pure.
//! - [`report`]: plan files and tables on the way out, with text cleaned.
//! - [`app`]: the desk, and the state of the running program: actions, messages, update, effects.
//! - [`widgets`]: timeline, heat map, table, text cut by columns.
//! - [`screens`]: Plan, Bench, Load, Units and the overlays.
//! - [`terminal`]: raw mode, signals and the loop.
//! - [`cli`]: the command line, where the parts are put together.

pub mod app;
pub mod checker;
pub mod cli;
pub mod clock;
pub mod domain;
pub mod evidence;
pub mod floor;
pub mod lab;
pub mod ledger;
pub mod planner;
pub mod problem;
pub mod report;
pub mod screens;
pub mod terminal;
pub mod usage;
pub mod widgets;

// The parts of labs that unit tests share with the integration tests name the library.
#[cfg(test)]
extern crate self as rigday;
