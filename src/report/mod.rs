//! What leaves the program: plan files and tables, with text cleaned on the way out.
//!
//! The structs of files are this room's own, so that a change of the program's insides cannot change a
//! file that others read.

pub mod evidence_svg;
pub mod forecast_json;
pub mod openmetrics;
pub mod plan_json;
pub mod request_toml;
pub mod table;
