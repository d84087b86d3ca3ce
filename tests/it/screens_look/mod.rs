//! How the screens look and are steered: sizes, text, keys, colours, marks, dates.

mod colours;
mod dates;
mod deeds;
mod keys;
mod resize;
mod sizes;
mod snapshots;
