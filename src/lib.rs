//! Rigday: the terminal program that a durability lab runs its day on.
//!
//! The rooms of the house, in reading order. Arrows run one way, down this list's dependencies:
//! **lab folder + events → floor → problem → plan → checker → published event → screens.**

/// State of the running program: actions, messages, update, effects.
pub mod app;
/// The judge of plans, one file a rule; never the planner.
pub mod checker;
/// The command line, where the parts are put together.
pub mod cli;
/// The only reader of wall clock, monotonic clock and zone data.
pub mod clock;
/// The words of the trade: ids, minutes, spans, rigs, methods, units, requests, events. No IO.
pub mod domain;
/// Reliability arithmetic on what results show.
pub mod evidence;
/// Events → what is where, what is due, what failed, what is booked. A pure fold.
pub mod floor;
/// TOML folder and built-in catalogue → checked lab; faults with file, line and column.
pub mod lab;
/// The only SQL and the only path to the record of what happened.
pub mod ledger;
/// Problem, seed and budget in; plan, bound and reasons out. Pure.
pub mod planner;
/// Lab, facts and now → compiled problem: dense indexes, whole minutes, step functions.
pub mod problem;
/// Plan files and tables on the way out, with text cleaned.
pub mod report;
/// Plan, Bench, Load, Units and the overlays.
pub mod screens;
/// Raw mode, signals and the loop.
pub mod terminal;
/// Time and fill of rigs, and the backlog. Pure.
pub mod usage;
/// Timeline, heat map, table, text cut by columns.
pub mod widgets;

// The parts of labs that unit tests share with the integration tests name the library.
#[cfg(test)]
extern crate self as rigday;
