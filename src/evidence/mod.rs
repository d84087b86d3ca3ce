//! What results show about reliability.
//!
//! Pure arithmetic on slices and numbers: it reads no clock and no file, never rounds what it returns, and
//! answers what has no answer by type ([`CannotSay`]). **Every confidence is one-sided unless its name says
//! otherwise.** Time is any one unit, hours or cycles; never mix. [`calc`] has every function by its name.

#![expect(
    clippy::doc_markdown,
    clippy::many_single_char_names,
    reason = "formulas and their letters read as the sources write them"
)]
#![expect(
    clippy::float_cmp,
    reason = "times of one check are the same number, and limits such as 0 and 1 are exact"
)]

pub mod acceleration;
pub mod axis;
pub mod calc;
mod cannot;
pub mod coverage;
pub mod demonstration;
pub mod duty;
pub mod leg;
pub mod line;
pub mod mtbf;
pub mod picture;
pub mod ranks;
pub mod sampling;
pub mod series;
pub mod shown;
pub mod sizing;
pub mod special;
pub mod sprt;
pub mod survival;
pub mod turnbull;
pub mod weibayes;
pub mod weibull;

pub use cannot::{CannotSay, Said};
