//! Reliability arithmetic against worked and published values.

mod special_functions;
mod vectors;
