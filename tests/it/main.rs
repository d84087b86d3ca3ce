//! Whole-program tests, one module a subject.

mod hand_week;
mod job_shop;
mod mutants;
mod random_labs;
mod rules;
mod support;
