//! Numbers from a seed, the same on every machine, for what is made up.

/// The generator xorshift (Marsaglia 2003, doi:10.18637/jss.v008.i14).
#[derive(Debug, Clone)]
pub struct Draw(u64);

impl Draw {
    /// Draws from a seed; an even one and the next give the same.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut draw = Self(seed | 1);
        for _ in 0..8 {
            draw.below(2);
        }
        draw
    }

    /// A whole number from 0 up to below `bound`, which is at least 1.
    pub fn below(&mut self, bound: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) % bound as u64) as i64
    }

    /// One of them; `None` where there are none.
    pub fn one<T: Copy>(&mut self, of: &[T]) -> Option<T> {
        (!of.is_empty()).then(|| of[self.below(of.len() as i64) as usize])
    }
}
