//! The distributions that rates need, from draws that are the same on any machine.
//!
//! Gamma: Marsaglia, Tsang, A simple method for generating gamma variables, 2000. Normal: Box, Muller, 1958.

use crate::planner::random;

/// A stream of numbers.
#[derive(Clone, Debug)]
pub(super) struct Random(random::Random);

impl Random {
    /// The stream of a seed and of what it is for: streams of different purposes have nothing in common.
    pub(super) fn new(seed: u64, purpose: &[u64]) -> Self {
        let mix = |state: u64, word: &u64| {
            random::Random::new(state ^ word.wrapping_mul(0xd6e8_feb8_6659_fd93)).next()
        };
        Self(random::Random::new(purpose.iter().fold(seed, mix)))
    }

    /// A fraction above 0 and below 1.
    pub(super) fn fraction(&mut self) -> f64 {
        ((self.0.next() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// A standard normal number.
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.fraction().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.fraction()).cos()
    }

    /// An exponential number of mean 1.
    pub(super) fn exponential(&mut self) -> f64 {
        -self.fraction().ln()
    }

    /// A gamma number of that shape, above 0, at scale 1.
    pub(super) fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            // A shape below 1 follows from the next one.
            return self.gamma(shape + 1.0) * self.fraction().powf(1.0 / shape);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.fraction().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }

    /// A beta number; both shapes above 0.
    pub(super) fn beta(&mut self, a: f64, b: f64) -> f64 {
        let (x, y) = (self.gamma(a), self.gamma(b));
        // Two shapes far below 1 may both underflow: then the larger one decides.
        if x + y > 0.0 {
            x / (x + y)
        } else {
            f64::from(u8::from(a > b))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and variance of many draws.
    fn moments(mut draw: impl FnMut(&mut Random) -> f64) -> (f64, f64) {
        const DRAWS: usize = 200_000;
        let mut random = Random::new(7, &[1]);
        let all: Vec<f64> = (0..DRAWS).map(|_| draw(&mut random)).collect();
        let mean = all.iter().sum::<f64>() / DRAWS as f64;
        let variance = all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / DRAWS as f64;
        (mean, variance)
    }

    #[test]
    fn draws_have_the_mean_and_the_variance_of_their_distribution() {
        let close = |(mean, variance): (f64, f64), wanted: (f64, f64)| {
            assert!(
                (mean - wanted.0).abs() < 0.02 * (1.0 + wanted.0),
                "{mean} {wanted:?}"
            );
            assert!(
                (variance - wanted.1).abs() < 0.04 * (0.2 + wanted.1),
                "{variance} {wanted:?}"
            );
        };
        close(moments(Random::fraction), (0.5, 1.0 / 12.0));
        close(moments(Random::normal), (0.0, 1.0));
        close(moments(Random::exponential), (1.0, 1.0));
        for shape in [0.5, 1.0, 2.5, 30.0] {
            close(moments(|random| random.gamma(shape)), (shape, shape));
        }
        for (a, b) in [(0.5, 9.5), (0.5, 0.5), (3.0, 40.0)] {
            let sum: f64 = a + b;
            let variance = a * b / (sum * sum * (sum + 1.0));
            close(moments(|random| random.beta(a, b)), (a / sum, variance));
        }
    }

    #[test]
    fn a_stream_depends_on_seed_and_purpose_and_on_nothing_else() {
        let first = |seed, purpose: &[u64]| Random::new(seed, purpose).fraction().to_bits();
        assert_eq!(first(1, &[2, 3]), first(1, &[2, 3]));
        let others = [
            first(2, &[2, 3]),
            first(1, &[3, 2]),
            first(1, &[2]),
            first(1, &[2, 3, 0]),
        ];
        assert!(others.iter().all(|own| *own != first(1, &[2, 3])));
    }
}
