//! Whole-program tests, one module a subject.
