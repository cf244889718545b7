//! Random numbers from a seed, so that what is drawn is the same each time.

/// G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number generators, OOPSLA 2014 (SplitMix64).
pub struct Dice(pub u64);

impl Dice {
    /// Normal with mean 0 and standard deviation 1: G. Box and M. Muller, A note on the generation of random normal
    /// deviates, Annals of Mathematical Statistics 29 (1958).
    pub fn normal(&mut self) -> f64 {
        let (radius, turn) = (self.uniform(), self.uniform());
        (-2.0 * radius.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
    }

    /// Above 0, at most 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }
}
