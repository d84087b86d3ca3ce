//! Whole-program tests, one module a subject.

mod because;
mod broken_labs;
mod built_in_methods;
mod cli;
mod floor;
mod hand_week;
mod house;
mod job_shop;
mod ledger;
mod mutants;
mod mutated_labs;
mod published_values;
mod random_labs;
mod reliability;
mod rules;
mod support;
mod terminal;
