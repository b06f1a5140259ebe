//! The code on a label: block, row, part and a check digit, readable by a person.
//!
//! `02-007-1-5` is block 2 of the farm file, row 7, part 1, check digit 5. The check digit is made as for ISBN-10
//! (ISO 2108:1992): of all digits before it, the last is worth 2, the one before 3, and so on; the sum of digit times
//! worth, with the check digit added once, is a multiple of 11. Ten is written X. One wrong digit, or two swapped
//! neighbours, never give a good code.

/// The code of one part. Numbers count from 1.
pub fn code(block: usize, row: u32, part: usize) -> String {
    let body = format!("{block:02}-{row:03}-{part}");
    let check = check_digit(&body);
    format!("{body}-{check}")
}

/// Whether a code is whole: its check digit fits the digits before it.
pub fn is_whole(code: &str) -> bool {
    code.trim().rsplit_once('-').is_some_and(|(body, check)| {
        body.chars().any(|sign| sign.is_ascii_digit())
            && body.chars().all(|sign| sign.is_ascii_digit() || sign == '-')
            && check.to_uppercase() == check_digit(body).to_string()
    })
}

/// The check digit of the digits of a text; other signs do not count.
fn check_digit(body: &str) -> char {
    let digits = body.chars().rev().filter_map(|sign| sign.to_digit(10));
    // A worth of 11 would not see its digit, so it begins again at 2 after 10.
    let sum: u32 = digits.zip((2..=10).cycle()).map(|(digit, worth)| digit * worth).sum();
    match (11 - sum % 11) % 11 {
        10 => 'X',
        digit => char::from_digit(digit, 10).unwrap_or('X'),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Published: 0-306-40615-2 and 0-8044-2957-X are whole numbers of ISBN-10.
    #[test]
    fn check_digits_agree_with_published_book_numbers() {
        assert_eq!(check_digit("0-306-40615"), '2');
        assert_eq!(check_digit("0-8044-2957"), 'X');
        assert!(is_whole("0-306-40615-2") && is_whole("0-8044-2957-x"));
        assert!(!is_whole("0-306-40615-3") && !is_whole("") && !is_whole("-0") && !is_whole("AB-0"));
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn one_wrong_digit_or_two_swapped_ones_are_seen(
            block in 1..100_usize, row in 1..401_u32, part in 1..100_usize, at in 0..9_usize, by in 1..10_u32,
        ) {
            let good = code(block, row, part);
            prop_assert!(is_whole(&good), "{good}");
            let signs: Vec<char> = good.chars().collect();
            if let Some(digit) = signs.get(at).and_then(|sign| sign.to_digit(10)) {
                let mut wrong = signs.clone();
                wrong[at] = char::from_digit((digit + by) % 10, 10).unwrap();
                prop_assert!(!is_whole(&wrong.iter().collect::<String>()), "{good} {wrong:?}");
            }
            if at + 1 < signs.len() && signs[at] != signs[at + 1] && signs[at] != '-' && signs[at + 1] != '-' {
                let mut wrong = signs.clone();
                wrong.swap(at, at + 1);
                prop_assert!(!is_whole(&wrong.iter().collect::<String>()), "{good} {wrong:?}");
            }
        }
    }
}
