//! Whole-program tests, one module a subject.

mod broken_labs;
mod built_in_methods;
mod hand_week;
mod job_shop;
mod mutated_labs;
mod published_values;
mod support;
