//! The command line: where the parts are put together.
