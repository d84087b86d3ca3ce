//! Whole-program tests, one module a subject.

mod cli;
mod hand_week;
mod house;
mod job_shop;
mod support;
