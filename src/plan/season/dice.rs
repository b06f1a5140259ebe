//! Chance that falls the same way on every machine: a small generator and an exponential of our own.
//!
//! Both use whole numbers and the four basic operations only, which every machine rounds alike; the `exp` of a C
//! library does not.

/// A stream of numbers from a seed (SplitMix64, Steele, Lea and Flood 2014; constants from memory).
#[derive(Debug, Clone)]
pub(super) struct Dice(u64);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A whole number below `end`; 0 if `end` is 0.
    pub(super) fn below(&mut self, end: usize) -> usize {
        let wide = u128::from(self.next()) * u128::try_from(end).unwrap_or(0);
        usize::try_from(wide >> 64).unwrap_or(0)
    }

    /// A number from 0 up to, not including, 1.
    pub(super) fn share(&mut self) -> f64 {
        let bits = u32::try_from(self.next() >> 32).unwrap_or(0);
        f64::from(bits) / 4_294_967_296.0
    }
}

/// `exp(-x)` for `x >= 0`, within a millionth: eight squarings of a short series at `x/256`.
pub(super) fn decay(x: f64) -> f64 {
    if x > 40.0 {
        return 0.0;
    }
    let y = x / 256.0;
    let mut value = 1.0 - y * (1.0 - y / 2.0 * (1.0 - y / 3.0 * (1.0 - y / 4.0 * (1.0 - y / 5.0))));
    for _ in 0..8 {
        value *= value;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_own_exponential_agrees_with_the_library() {
        for tenth in 0..400 {
            let x = f64::from(tenth) / 10.0;
            assert!((decay(x) - (-x).exp()).abs() < 1e-6, "{x}");
        }
    }

    #[test]
    fn dice_fall_in_range_and_reach_every_number() {
        let mut dice = Dice::new(5);
        let mut seen = [0_u32; 6];
        for _ in 0..6000 {
            seen[dice.below(6)] += 1;
            assert!((0.0..1.0).contains(&dice.share()));
        }
        assert!(seen.iter().all(|count| (850..1150).contains(count)), "{seen:?}");
        assert_eq!(dice.below(0), 0);
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let (mut one, mut other) = (Dice::new(3), Dice::new(3));
        assert!((0..100).all(|_| one.below(1000) == other.below(1000)));
    }
}
