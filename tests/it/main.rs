//! Whole-program tests, one module a subject.

mod because;
mod hand_week;
mod job_shop;
mod published_values;
mod random_labs;
mod support;
