//! Lines of text that will stand in letters, and the word that was probably meant.

use super::clean::is_plain;

/// Most words in a row in a message.
const MOST_WORDS: usize = 12;

/// What speaks against a line of text that will stand in letters.
pub(super) fn line_fault(text: &str, most: usize) -> Option<String> {
    let length = text.trim().chars().count();
    if let Some(sign) = text.chars().find(|sign| !is_plain(*sign)) {
        Some(format!("holds the control character U+{:04X}", u32::from(sign)))
    } else if length == 0 {
        Some("is blank".to_owned())
    } else if length > most {
        Some(format!("{length} characters; at most {most}"))
    } else {
        None
    }
}

/// The word that was probably meant.
pub(super) fn closest<'w>(word: &str, known: &[&'w str]) -> Option<&'w str> {
    let word = word.to_lowercase();
    known
        .iter()
        .map(|near| (strsim::jaro_winkler(&word, &near.to_lowercase()), *near))
        .filter(|(near, _)| *near > 0.82)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, near)| near)
}

/// A few words in a row.
pub(super) fn listed(words: &[&str]) -> String {
    let shown = words.get(..MOST_WORDS.min(words.len())).unwrap_or_default().join(", ");
    if words.len() > MOST_WORDS {
        shown + ", ..."
    } else {
        shown
    }
}
