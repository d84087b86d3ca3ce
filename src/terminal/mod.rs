//! Raw mode, signals, the loop.
