//! Random numbers that are the same on every machine and for ever, so that the demo's bytes are too.
//!
//! SplitMix64 by its published constants (Steele, Lea, Flood, "Fast splittable pseudorandom number
//! generators", OOPSLA 2014). A stream is made from the names of what it is for, so that a change
//! to one aircraft's story leaves every other file as it was.

const GAMMA: u64 = 0x9E37_79B9_7F4A_7C15;

/// One stream.
pub struct Random(u64);

impl Random {
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// A stream for `what`, `number` (a day, a flight); FNV-1a over the name, from memory.
    pub fn of(what: &str, number: i64) -> Self {
        let name =
            what.bytes().fold(0xCBF2_9CE4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x100_0000_01B3));
        let mut stream = Self(name ^ number.cast_unsigned().wrapping_mul(GAMMA));
        stream.next();
        stream
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GAMMA);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0 up to 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Whole, both ends included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        low + (self.unit() * (high - low + 1) as f64) as i64
    }

    pub fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// Near enough normal, mean 0, sd 1: twelve uniforms less six, since additions alone are exact everywhere.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}
