//! The embedded font and how wide its letters are.
//!
//! Noto Sans by The Noto Project Authors, SIL Open Font License 1.1 (`src/advice/fonts/OFL.txt`), fixed at two weights
//! and cut to Latin, Greek and a few signs.

/// Regular.
pub(in crate::advice) const REGULAR: &[u8] = include_bytes!("../fonts/NotoSans-Regular.ttf");
/// Semibold.
pub(in crate::advice) const SEMIBOLD: &[u8] = include_bytes!("../fonts/NotoSans-SemiBold.ttf");
/// Name under which both are found.
pub(in crate::advice) const FAMILY: &str = "Noto Sans";

/// How heavy a text is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::advice) enum Weight {
    Regular,
    Semibold,
}

/// Advances of the signs from space to tilde, in thousandths of the size; read from the fonts' `hmtx` tables.
const REGULAR_ADVANCES: [u16; 95] = [
    260, 269, 408, 646, 572, 831, 732, 225, 300, 300, 551, 572, 268, 322, 268, 372, 572, 572, 572, 572, 572, 572, 572,
    572, 572, 572, 268, 268, 572, 572, 572, 434, 899, 639, 650, 632, 730, 556, 519, 728, 741, 339, 273, 619, 524, 907,
    760, 781, 605, 781, 622, 549, 556, 731, 600, 930, 586, 566, 572, 329, 372, 329, 572, 444, 281, 561, 615, 480, 615,
    564, 344, 615, 618, 258, 258, 534, 258, 935, 618, 605, 615, 615, 413, 479, 361, 618, 508, 786, 529, 510, 470, 380,
    551, 380, 572,
];
const SEMIBOLD_ADVANCES: [u16; 95] = [
    260, 277, 452, 646, 572, 875, 743, 250, 324, 324, 546, 572, 279, 320, 276, 399, 572, 572, 572, 572, 572, 572, 572,
    572, 572, 572, 276, 279, 572, 572, 572, 461, 898, 672, 659, 638, 732, 558, 538, 726, 756, 370, 309, 647, 546, 929,
    793, 787, 615, 787, 643, 550, 569, 747, 631, 953, 638, 603, 576, 330, 399, 330, 572, 423, 333, 585, 626, 502, 626,
    585, 371, 626, 638, 283, 283, 588, 283, 960, 638, 617, 626, 626, 434, 493, 406, 638, 547, 830, 560, 548, 484, 389,
    551, 389, 572,
];
/// Any other sign: a wide letter.
const OTHER: u16 = 700;

/// Width of a text at a size, in the size's unit.
pub(in crate::advice) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let table = match weight {
        Weight::Regular => &REGULAR_ADVANCES,
        Weight::Semibold => &SEMIBOLD_ADVANCES,
    };
    let advance = |sign: char| {
        let place = u32::from(sign)
            .checked_sub(32)
            .and_then(|place| usize::try_from(place).ok());
        f64::from(place.and_then(|place| table.get(place)).copied().unwrap_or(OTHER))
    };
    text.chars().map(advance).sum::<f64>() * size / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::chart::png::tree;

    /// Measured by the drawing library with the fonts themselves.
    #[test]
    fn a_text_is_as_wide_as_the_font_draws_it() {
        for text in [
            "lifting stops at 40",
            "57, perhaps 70",
            "wet and dry: cover on Creek",
            "AVATAR To Wy.",
            "Tue 10",
        ] {
            for (weight, number) in [(Weight::Regular, 400), (Weight::Semibold, 600)] {
                let svg = format!(
                    r#"<svg xmlns="http://www.w3.org/2000/svg" width="400" height="40" font-family="{FAMILY}"><text x="0" y="20" font-size="10" font-weight="{number}">{text}</text></svg>"#
                );
                let tree = tree(&svg).unwrap();
                let drawn = f64::from(tree.root().abs_bounding_box().width());
                let own = width(text, 10.0, weight);
                // Kerning and the bearings of the first and last sign make the drawn text a little narrower.
                assert!(
                    drawn <= own + 0.5 && own <= drawn + 4.0,
                    "{text} {number}: {drawn} drawn, {own} counted"
                );
            }
        }
    }
}
