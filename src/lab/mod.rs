//! The lab folder: TOML files and the built-in catalogue become a checked [`crate::domain::Lab`], or faults.
