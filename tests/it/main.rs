//! Whole-program tests, one module a subject.

mod because;
mod broken_labs;
mod built_in_methods;
mod catalogue_times;
mod cli;
mod floor;
mod hand_week;
mod hostile;
mod house;
mod job_shop;
mod ledger;
mod ledger_commands;
mod mutants;
mod mutated_labs;
mod networks;
mod noise;
mod published_values;
mod random_labs;
mod rules;
mod sharing;
mod support;
mod terminal;
mod text_out;
mod time_cases;
mod users;
mod warnings;
