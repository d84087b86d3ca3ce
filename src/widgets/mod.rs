//! Timeline, heat cells, lists and text cut by columns: they know cells, not the program.

pub mod big;
pub mod heat;
pub mod list;
pub mod plot;
pub mod text;
pub mod timeline;
