//! What results show about reliability.
//!
//! Pure arithmetic on slices and numbers: it reads no clock and no file, never rounds what it returns, and
//! answers what has no answer by type ([`CannotSay`]). **Every confidence is one-sided unless its name says
//! otherwise.** Time is any one unit, hours or cycles; never mix. [`calc`] has every function by its name.

pub mod acceleration;
pub mod calc;
mod cannot;
pub mod demonstration;
pub mod duty;
pub mod line;
pub mod mtbf;
pub mod ranks;
pub mod sampling;
pub mod special;
pub mod sprt;
pub mod survival;
pub mod turnbull;
pub mod weibayes;
pub mod weibull;

pub use cannot::{CannotSay, Said};
