//! Whole-program tests, one module a subject.

mod because;
mod cli;
mod floor;
mod hand_week;
mod house;
mod job_shop;
mod ledger;
mod published_values;
mod random_labs;
mod support;
