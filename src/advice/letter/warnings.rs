//! Official warnings, quoted with issuer and time; each once, the most dangerous first.

use chrono::TimeDelta;

use super::Official;
use super::morning::Morning;
use crate::advice::words;
use crate::weather::warning::{Found, Notice, Until};

/// Most warnings in one letter.
const MOST: usize = 5;
/// Longest quotation, in signs.
const LONGEST: usize = 280;
/// Longest word that is kept whole.
const LONGEST_WORD: usize = 60;
/// Warnings of days further off are left to later letters.
const AHEAD_DAYS: i64 = 3;

impl Morning<'_> {
    /// What holds now or within the next days.
    pub(super) fn warnings(&self) -> Vec<Official> {
        let near = self.inputs.now + TimeDelta::days(AHEAD_DAYS);
        let notices = self.inputs.warnings.iter();
        let soon = notices.filter(|notice| self.inputs.now < notice.until && notice.from < near);
        soon.take(MOST).map(|notice| self.official(notice)).collect()
    }

    fn official(&self, notice: &Notice) -> Official {
        let until = self.words.moment(notice.until);
        let when = if notice.from <= self.inputs.now {
            format!("now, until {until}")
        } else {
            format!("{} to {until}", self.words.moment(notice.from))
        };
        let mut notes = vec![format!("Issued {}.", self.words.moment(notice.sent))];
        if notice.found == Found::Coarse {
            let area = shortened(&notice.area, 60);
            notes.push(format!(
                "Coarse match, by the region only{}: it may mean another part of it.",
                if area.is_empty() {
                    String::new()
                } else {
                    format!(" ({area})")
                }
            ));
        }
        if notice.until_is == Until::OwnLimit {
            notes.push("The issuer tells no end: it is taken to hold for a day from its issue.".to_owned());
        }
        Official {
            kind: notice.kind,
            severity: notice.severity,
            issuer: shortened(&notice.issuer, 80),
            event: words::capital(&shortened(&notice.event, 80)),
            from: notice.from,
            until: notice.until,
            when,
            quote: shortened(said(notice), LONGEST),
            notes,
        }
    }
}

/// The description, or the headline where there is none.
fn said(notice: &Notice) -> &str {
    let description = notice.description.trim();
    if description.is_empty() {
        &notice.headline
    } else {
        description
    }
}

/// A text of at most `most` signs: whole sentences if the first one fits, else whole words and three dots.
fn shortened(text: &str, most: usize) -> String {
    let mut line = String::new();
    let mut sentence = 0;
    for word in text.split_whitespace() {
        let word: String = word.chars().take(LONGEST_WORD).collect();
        let longer = line.chars().count() + 1 + word.chars().count();
        if longer > most {
            return match line.get(..sentence) {
                Some(whole) if sentence * 2 > line.len() => whole.to_owned(),
                _ => format!("{}...", line.trim_end_matches(['.', ',', ';', ':'])),
            };
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
        if word.ends_with(['.', '!', '?']) {
            sentence = line.len();
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_text_ends_with_a_sentence_or_says_that_it_goes_on() {
        assert_eq!(shortened("Gusts to 90. Stay in.", 40), "Gusts to 90. Stay in.");
        assert_eq!(shortened("Gusts to 90 at noon. Then less.", 25), "Gusts to 90 at noon.");
        assert_eq!(
            shortened("Gusts of ninety, and more still", 22),
            "Gusts of ninety, and..."
        );
        assert_eq!(shortened(&"x".repeat(500), 100).len(), 60);
    }
}
