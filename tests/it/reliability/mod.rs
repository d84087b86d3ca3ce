//! Reliability arithmetic against worked and published values, and the evidence of whole legs.

mod commands;
mod coverage;
mod histories;
mod legs;
mod special_functions;
mod vectors;

/// True where the long form of the tests is asked for.
#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the tests says how many"
)]
fn is_full() -> bool {
    std::env::var("TEST_FULL").is_ok_and(|own| own == "1")
}
