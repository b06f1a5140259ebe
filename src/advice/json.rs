//! The letter for other programs. `letter.schema.json` says what every key means.

use super::letter::Letter;

/// JSON Schema (2020-12) of what [`render`] writes.
pub const LETTER_SCHEMA: &str = include_str!("letter.schema.json");

/// Writes the letter as JSON with RFC 3339 times in UTC.
///
/// # Errors
/// Never for a letter made by `compose`; the error is serde's own.
pub fn render(letter: &Letter) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(letter).map(|text| text + "\n")
}

/// Reads a letter that was written before.
///
/// # Errors
/// Says what in the text is not a letter of this version.
pub fn read(text: &str) -> Result<Letter, serde_json::Error> {
    serde_json::from_str(text)
}
