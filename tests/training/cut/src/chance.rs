//! Chance from a seed and a word: streams are told apart by hashing, never by adding.

/// Numbers in an order that the seed fixes (Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators").
pub struct Chance(u64);

impl Chance {
    /// The stream of this seed for this purpose.
    pub fn of(seed: u64, purpose: &str) -> Self {
        // FNV-1a, 64 bits.
        let mut hash = 0xcbf2_9ce4_8422_2325u64;
        for byte in seed.to_le_bytes().iter().chain(purpose.as_bytes()) {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
        Self(hash)
    }
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}
