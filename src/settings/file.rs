//! One file of the grower or the operator, and what was found in it.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::DeTable;

use super::mistake::{Finding, Found, Text};

/// One file and what was found in it.
#[derive(Debug)]
pub(super) struct File {
    pub(super) text: Text,
    found: RefCell<Found>,
}

impl File {
    pub(super) fn new(text: Text) -> Self {
        Self {
            text,
            found: RefCell::default(),
        }
    }

    pub(super) fn mistake(&self, span: Range<usize>, what: &str, at: &str, cure: &str) {
        self.found
            .borrow_mut()
            .mistakes
            .push(self.text.finding(span, what, at, cure));
    }

    pub(super) fn remark(&self, span: Range<usize>, what: &str, at: &str, cure: &str) {
        self.found
            .borrow_mut()
            .remarks
            .push(self.text.finding(span, what, at, cure));
    }

    /// Moves what was found over.
    pub(super) fn give(self, to: &mut Found) {
        let found = self.found.into_inner();
        to.mistakes.extend(found.mistakes);
        to.remarks.extend(found.remarks);
    }

    /// The tables of the text; with a syntax error none, since what follows one cannot be trusted.
    pub(super) fn parse(&self) -> Option<Spanned<DeTable<'_>>> {
        if self.text.text.trim().is_empty() {
            let finding = Finding::whole(&self.text.name, "is empty", "see the explained sample in config/");
            self.found.borrow_mut().mistakes.push(finding);
            return None;
        }
        let (table, errors) = DeTable::parse_recoverable(&self.text.text);
        let mut last_line = 0;
        for error in &errors {
            let span = error.span().unwrap_or(0..0);
            let finding = self.text.finding(
                span.clone(),
                "cannot be read as TOML",
                error.message(),
                self.syntax_cure(&span, error.message()),
            );
            // One slip often makes several errors on its line; the first names it.
            if finding.line > last_line {
                last_line = finding.line;
                self.found.borrow_mut().mistakes.push(finding);
            }
        }
        errors.is_empty().then_some(table)
    }

    fn syntax_cure(&self, span: &Range<usize>, message: &str) -> &'static str {
        let text = &self.text.text;
        let start = text
            .get(..span.start)
            .and_then(|before| before.rfind('\n'))
            .map_or(0, |end| end + 1);
        let line = text
            .get(start..)
            .and_then(|rest| rest.lines().next())
            .unwrap_or_default();
        let value = line.split_once('=').map_or("", |(_, value)| value.trim());
        if message.contains("duplicate key") {
            return "keep one of the two";
        }
        let decimal_comma = value.split_once(',').is_some_and(|(whole, part)| {
            whole.trim_start_matches('-').chars().all(|sign| sign.is_ascii_digit())
                && !whole.is_empty()
                && part.starts_with(|sign: char| sign.is_ascii_digit())
        });
        if decimal_comma {
            "a decimal comma? Write a point: 3.5"
        } else if value.starts_with(char::is_alphabetic) {
            "text stands in quotes: key = \"text\""
        } else if line.matches('"').count() % 2 == 1 {
            "a quotation mark is missing"
        } else {
            ""
        }
    }
}
