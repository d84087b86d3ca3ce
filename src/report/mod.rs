//! What leaves the program: plan files, tables, calendars and papers, with text cleaned on the way out.
//!
//! The structs of files are this room's own, so that a change of the program's insides cannot change a
//! file that others read. Nothing here writes a file: that is the command line's.

pub mod chart;
pub mod evidence_svg;
pub mod forecast_json;
pub mod html;
pub mod ical;
pub mod openmetrics;
pub mod paper;
pub mod plain;
pub mod plan_json;
pub mod request_toml;
pub mod table;
