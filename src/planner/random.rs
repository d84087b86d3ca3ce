//! A small reproducible generator: the same seed gives the same choices on any machine.
//!
//! SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators, 2014).

/// A stream of numbers.
#[derive(Clone, Debug)]
pub(crate) struct Random(u64);

impl Random {
    /// The stream of a seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `count`, which is above zero.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        assert!(count > 0, "nothing to choose from");
        usize::try_from(self.next() % count as u64).expect("below a usize")
    }

    /// A fraction from 0 up to, not including, 1.
    pub(crate) fn fraction(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}
