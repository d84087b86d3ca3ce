//! The forecast: whether its dates hold, and how it is told.

mod dates;
mod told;

/// True where the long form of the tests is asked for.
#[expect(
    clippy::disallowed_methods,
    reason = "whoever runs the tests says how many"
)]
fn is_full() -> bool {
    std::env::var("TEST_FULL").is_ok_and(|own| own == "1")
}
