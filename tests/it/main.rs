//! Whole-program tests, one module a subject.

mod because;
mod cli;
mod hand_week;
mod house;
mod job_shop;
mod published_values;
mod random_labs;
mod support;
