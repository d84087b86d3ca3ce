//! Reproducible choices for random tests.
//!
//! `SplitMix64` (Steele, Lea, Flood: Fast splittable pseudorandom number generators, 2014).

pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`, both included.
    pub(crate) fn range(&mut self, low: i64, high: i64) -> i64 {
        let count = (high - low + 1).cast_unsigned();
        low + (self.next() % count).cast_signed()
    }

    /// A place in a list of `count`, which is above zero.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.next() % count as u64).expect("below a usize")
    }

    /// True in `percent` of a hundred cases.
    pub(crate) fn chance(&mut self, percent: i64) -> bool {
        self.range(0, 99) < percent
    }

    pub(crate) fn pick<T: Clone>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())].clone()
    }

    /// A number above 0 and up to 1.
    pub(crate) fn fraction(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn count(&mut self, low: u32, high: u32) -> u32 {
        u32::try_from(self.range(i64::from(low), i64::from(high))).expect("a small number")
    }
}
