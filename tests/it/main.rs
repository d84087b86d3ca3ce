//! Whole-program tests, one module a subject.

mod because;
mod broken_labs;
mod built_in_methods;
mod cli;
mod hand_week;
mod house;
mod job_shop;
mod mutated_labs;
mod published_values;
mod random_labs;
mod support;
