//! The cover of a row, divided into the parts that come off one roll each.

use super::length::Decimetres;

/// Overlap where two parts of one row meet. Assumed: half a metre, common practice from memory.
pub const OVERLAP: Decimetres = Decimetres(5);

/// Lengths of the parts of one row, in row order: full rolls first, the rest last.
///
/// `None` where no number of rolls would do: a roll of no length, or one no longer than the overlap.
pub(super) fn parts(cover: Decimetres, roll: Decimetres) -> Option<Vec<Decimetres>> {
    if roll.0 == 0 {
        return None;
    }
    if cover <= roll {
        return Some(vec![cover]);
    }
    let step = roll.0.checked_sub(OVERLAP.0).filter(|step| *step > 0)?;
    // Least n with n roll - (n - 1) overlap >= cover.
    let full = (cover.0 - OVERLAP.0).div_ceil(step) - 1;
    let rest = cover.0 + full * OVERLAP.0 - full * roll.0;
    let mut lengths = vec![roll; usize::try_from(full).ok()?];
    lengths.push(Decimetres(rest));
    Some(lengths)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn lengths(cover: u64, roll: u64) -> Vec<u64> {
        let found = parts(Decimetres(cover), Decimetres(roll)).unwrap();
        found.iter().map(|length| length.0).collect()
    }

    #[test]
    fn a_row_longer_than_a_roll_takes_a_full_roll_and_a_rest() {
        assert_eq!(lengths(1160, 800), [800, 365]);
        assert_eq!(lengths(880, 800), [800, 85]);
        assert_eq!(lengths(800, 800), [800]);
        assert_eq!(lengths(801, 800), [800, 6]);
        assert_eq!(lengths(1595, 800), [800, 800]);
        assert_eq!(lengths(1596, 800), [800, 800, 6]);
    }

    #[test]
    fn a_roll_of_no_length_divides_nothing() {
        assert_eq!(parts(Decimetres(100), Decimetres(0)), None);
        assert_eq!(parts(Decimetres(100), Decimetres(5)), None);
    }

    proptest! {
        #[test]
        fn the_parts_less_their_overlaps_are_the_row(cover in 1..20_000_u64, roll in 6..5_000_u64) {
            let found = lengths(cover, roll);
            let overlaps = OVERLAP.0 * (found.len() as u64 - 1);
            prop_assert_eq!(found.iter().sum::<u64>() - overlaps, cover);
            prop_assert!(found.iter().all(|length| *length > 0 && *length <= roll));
            // One roll less would be too short.
            let fewer = found.len() as u64 - 1;
            prop_assert!(fewer == 0 || fewer * roll - (fewer - 1) * OVERLAP.0 < cover);
        }
    }
}
