//! A small seeded generator, so that a scene of a given name is the same on every run.

/// PCG-XSH-RR 64/32 (M. O'Neill, HMC-CS-2014-0905, 2014), with its reference multiplier and increment.
#[derive(Debug, Clone)]
pub struct Random {
    state: u64,
    increment: u64,
}

impl Random {
    const MULTIPLIER: u64 = 6_364_136_223_846_793_005;

    /// A generator of the given seed and stream; different streams are independent.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut random = Self {
            state: 0,
            increment: (stream << 1) | 1,
        };
        random.next_u32();
        random.state = random.state.wrapping_add(seed);
        random.next_u32();
        random
    }

    /// The next 32 bits.
    pub fn next_u32(&mut self) -> u32 {
        let old = self.state;
        self.state = old
            .wrapping_mul(Self::MULTIPLIER)
            .wrapping_add(self.increment);
        let shifted = (((old >> 18) ^ old) >> 27) as u32;
        shifted.rotate_right((old >> 59) as u32)
    }

    /// Uniform in [0, 1), 32 bits fine.
    pub fn uniform(&mut self) -> f64 {
        f64::from(self.next_u32()) / 4_294_967_296.0
    }

    /// Uniform in [`low`, `high`).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// An index below `count`.
    pub fn index(&mut self, count: usize) -> usize {
        (self.uniform() * count as f64) as usize
    }

    /// Normal, mean 0, standard deviation 1 (Box and Muller 1958, one value of the pair).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs of the reference implementation's demo, seed 42, stream 54 (pcg-c-basic `pcg32-demo`, from memory).
    #[test]
    fn equals_the_reference_implementation() {
        let mut random = Random::new(42, 54);
        let first: Vec<u32> = (0..6).map(|_| random.next_u32()).collect();
        assert_eq!(
            first,
            [
                0xa15c_02b7,
                0x7b47_f409,
                0xba1d_3330,
                0x83d2_f293,
                0xbfa4_784b,
                0xcbed_606e
            ]
        );
    }

    #[test]
    fn normal_has_the_moments_of_a_normal() {
        let mut random = Random::new(1, 1);
        let draws: Vec<f64> = (0..40_000).map(|_| random.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 4e4;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 4e4;
        // Four standard errors: 4/√40000 and 4·√(2/40000).
        assert!(
            mean.abs() < 0.02 && (variance - 1.0).abs() < 0.029,
            "{mean} {variance}"
        );
    }
}
