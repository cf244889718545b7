//! Seeded randomness of our own, so that no library's update changes a test.

/// SplitMix64: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, fig. 16.
#[derive(Clone, Debug)]
pub(crate) struct Random(u64);

impl Random {
    pub(crate) const fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Above 0, at most 1.
    pub(crate) fn unit(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// Two independent draws of mean 0 and standard deviation 1 (G. E. P. Box, M. E. Muller, 1958).
    pub(crate) fn normal_pair(&mut self) -> [f64; 2] {
        let radius = (-2.0 * self.unit().ln()).sqrt();
        let (sin, cos) = (self.unit() * std::f64::consts::TAU).sin_cos();
        [radius * cos, radius * sin]
    }

    /// Mean 0, standard deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        self.normal_pair()[0]
    }
}
