//! Time and fill of rigs, backlog; pure.
