//! The program on a real terminal: a morning of work, how it leaves, what it sends, how fast it is.

mod hand_out;
mod leaving;
mod morning;
mod parts;
mod speed;
mod stopping;
mod together;
