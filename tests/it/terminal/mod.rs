//! The program on a real terminal: a morning of work, how it leaves, what it sends, how fast it is.

mod broken_clock;
mod hand_out;
mod leaving;
mod morning;
mod stopping;
