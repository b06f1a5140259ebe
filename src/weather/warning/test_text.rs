//! Whether a text says that it is only a test, although its message claims to be meant.

/// Phrases that nobody writes into a warning that is meant, in lower case. From memory, of issuers' own wording.
const PHRASES: [&str; 16] = [
    "this is a test",
    "this is only a test",
    "this message is for test",
    "for test purposes",
    "for testing and evaluation purposes",
    "test message",
    "test alert",
    "not a real alert",
    "just for testing",
    "exercise exercise exercise",
    "dies ist ein test",
    "testwarnung",
    "ceci est un test",
    "esto es una prueba",
    "questo è un test",
    "dit is een test",
];

/// Whether an event's name or a headline, or a longer text, says so.
pub(super) fn says_test(short: &[&str], long: &[&str]) -> bool {
    let plain = |text: &str| text.to_lowercase().replace('_', " ");
    let phrase = |text: &&str| {
        let text = plain(text);
        PHRASES.iter().any(|phrase| text.contains(phrase))
    };
    let word = |text: &&str| {
        let text = plain(text);
        let mut words = text.split(|sign: char| !sign.is_alphanumeric());
        words.any(|word| matches!(word, "test" | "testing"))
    };
    short.iter().any(word) || short.iter().chain(long).any(phrase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_test_is_known_by_its_words_and_a_storm_that_tests_ties_is_none() {
        assert!(says_test(&["TEST Wind Advisory"], &[]));
        assert!(says_test(
            &["Tsunami Warning"],
            &["...THIS_MESSAGE_IS_FOR_TEST_PURPOSES_ONLY..."]
        ));
        assert!(says_test(&["Wind"], &["This is not a real alert."]));
        assert!(!says_test(
            &["Wind Advisory"],
            &["Gusts will test loose sheets and greatest waves."]
        ));
    }
}
