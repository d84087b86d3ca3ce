#![no_main]

// Each binary uses one of them.
#[allow(dead_code)]
#[path = "../targets.rs"]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| targets::keys(bytes));
