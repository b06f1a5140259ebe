//! Walking a TOML file with places: every wrong key and value is noted, and the walk goes on.

use std::cell::RefCell;
use std::ops::Range;

use chrono::{NaiveTime, Weekday};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::{Finding, Found, Text, is_plain};
use super::quantity::Allowed;

/// Most words in a row in a message.
const MOST_WORDS: usize = 12;

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

/// A table of a file, with what messages call it.
#[derive(Debug)]
pub(super) struct Table<'a> {
    pub(super) file: &'a File,
    pub(super) label: String,
    head: Range<usize>,
    body: &'a DeTable<'a>,
}

impl<'a> Table<'a> {
    pub(super) fn root(file: &'a File, body: &'a Spanned<DeTable<'a>>) -> Self {
        Self {
            file,
            label: String::new(),
            head: 0..0,
            body: body.get_ref(),
        }
    }

    /// Notes every key that is not in `known`, and the one that was probably meant.
    pub(super) fn knows(&self, known: &[&str]) {
        for key in self.body.keys() {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let cure = match closest(name, known) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("known here: {}", listed(known)),
            };
            self.file.mistake(
                key.span(),
                &self.say("unknown key"),
                &format!("{name} is not known"),
                &cure,
            );
        }
    }

    /// Notes every one of `keys` that is missing.
    pub(super) fn needs(&self, keys: &[(&str, &str)]) {
        for (key, example) in keys {
            if !self.body.contains_key(*key) {
                self.file.mistake(
                    self.head.clone(),
                    &self.say(&format!("{key} is missing")),
                    "belongs in here",
                    &format!("write, for example, {example}"),
                );
            }
        }
    }

    pub(super) fn find(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.body.get(key)
    }

    /// Place of a value, else of the table's head.
    pub(super) fn span(&self, key: &str) -> Range<usize> {
        self.find(key).map_or(self.head.clone(), Spanned::span)
    }

    /// Place of the table's head.
    pub(super) fn head(&self) -> Range<usize> {
        self.head.clone()
    }

    /// A sentence with the table's name in front.
    pub(super) fn say(&self, what: &str) -> String {
        if self.label.is_empty() {
            what.to_owned()
        } else {
            format!("{}: {what}", self.label)
        }
    }

    /// Notes a mistake at the value of `key`.
    pub(super) fn wrong(&self, key: &str, what: &str, at: &str, cure: &str) {
        self.file.mistake(self.span(key), &self.say(what), at, cure);
    }

    /// Notes a remark at the value of `key`.
    pub(super) fn doubt(&self, key: &str, what: &str, at: &str, cure: &str) {
        self.file.remark(self.span(key), &self.say(what), at, cure);
    }

    fn wrong_type<T>(&self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) -> Option<T> {
        let at = format!("{} stands here; {wanted} is wanted", kind(value.get_ref()));
        let cure = match value.get_ref().as_str() {
            Some(text) if text.replace(',', ".").parse::<f64>().is_ok() => {
                format!("without quotes, with a point: {key} = {}", text.replace(',', "."))
            }
            _ => String::new(),
        };
        self.file.mistake(
            value.span(),
            &self.say(&format!("{key} is of the wrong kind")),
            &at,
            &cure,
        );
        None
    }

    /// A number inside its range; a number that is none (nan, inf) is outside of every range.
    pub(super) fn number(&self, key: &str, allowed: &Allowed) -> Option<f64> {
        self.number_in(key, self.find(key)?, allowed)
    }

    pub(super) fn number_in(&self, key: &str, value: &Spanned<DeValue<'_>>, allowed: &Allowed) -> Option<f64> {
        let Some(number) = as_number(value.get_ref()) else {
            return self.wrong_type(key, value, "a number");
        };
        if allowed.holds(number) {
            return Some(number);
        }
        let at = format!("{}; allowed {allowed}", self.file.text.slice(value.span()));
        let cure = allowed.cure(number).unwrap_or_default();
        self.file
            .mistake(value.span(), &self.say(&format!("{key} is out of range")), &at, &cure);
        None
    }

    /// A whole number.
    pub(super) fn whole(&self, key: &str, min: u32, max: u32) -> Option<u32> {
        let value = self.find(key)?;
        let Some(number) = as_number(value.get_ref()) else {
            return self.wrong_type(key, value, "a whole number");
        };
        let whole = value
            .get_ref()
            .as_integer()
            .and_then(|digits| u32::from_str_radix(&digits.as_str().replace('_', ""), digits.radix()).ok());
        if let Some(whole) = whole.filter(|whole| (min..=max).contains(whole)) {
            return Some(whole);
        }
        let at = format!("{}; allowed {min} to {max}", self.file.text.slice(value.span()));
        let cure = if number.fract() != 0.0 {
            "a whole number is wanted"
        } else {
            ""
        };
        self.file
            .mistake(value.span(), &self.say(&format!("{key} is out of range")), &at, cure);
        None
    }

    /// A line of text of at most `most` characters, without control characters, not blank.
    pub(super) fn text(&self, key: &str, most: usize) -> Option<String> {
        self.text_in(key, self.find(key)?, most)
    }

    pub(super) fn text_in(&self, key: &str, value: &Spanned<DeValue<'_>>, most: usize) -> Option<String> {
        let Some(text) = value.get_ref().as_str() else {
            return self.wrong_type(key, value, "text in quotes");
        };
        match line_fault(text, most) {
            None => Some(text.trim().to_owned()),
            Some(fault) => {
                self.file
                    .mistake(value.span(), &self.say(&format!("{key} cannot be used")), &fault, "");
                None
            }
        }
    }

    pub(super) fn flag(&self, key: &str) -> Option<bool> {
        let value = self.find(key)?;
        value
            .get_ref()
            .as_bool()
            .or_else(|| self.wrong_type(key, value, "true or false"))
    }

    /// One of some words.
    pub(super) fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Option<T> {
        let value = self.find(key)?;
        let names: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let Some(text) = value.get_ref().as_str() else {
            return self.wrong_type(key, value, &format!("one of {}", listed(&names)));
        };
        if let Some((_, meaning)) = words.iter().find(|(word, _)| *word == text) {
            return Some(*meaning);
        }
        let at = format!("{}; allowed {}", self.file.text.slice(value.span()), listed(&names));
        let cure = closest(text, &names)
            .map(|near| format!("did you mean \"{near}\"?"))
            .unwrap_or_default();
        self.file
            .mistake(value.span(), &self.say(&format!("{key} is not known")), &at, &cure);
        None
    }

    /// A clock time, `"07:30"`.
    pub(super) fn time(&self, key: &str) -> Option<NaiveTime> {
        let value = self.find(key)?;
        let read = match value.get_ref() {
            DeValue::String(text) => NaiveTime::parse_from_str(text.trim(), "%H:%M").ok(),
            DeValue::Datetime(at) if at.date.is_none() && at.offset.is_none() => at
                .time
                .and_then(|time| NaiveTime::from_hms_opt(time.hour.into(), time.minute.into(), 0)),
            _ => return self.wrong_type(key, value, "a time such as \"07:30\""),
        };
        if read.is_none() {
            let at = format!("{}; allowed \"00:00\" to \"23:59\"", self.file.text.slice(value.span()));
            self.file.mistake(
                value.span(),
                &self.say(&format!("{key} is not a time")),
                &at,
                "hours and minutes of 24 hours, such as \"07:30\" or \"17:00\"",
            );
        }
        read
    }

    /// Weekdays: `["Mon", "Sat"]` or `["Mon-Fri"]`.
    pub(super) fn weekdays(&self, key: &str) -> Option<Vec<Weekday>> {
        let (mut days, mut clear) = (Vec::new(), true);
        for value in self.list(key, "weekdays such as [\"Mon-Fri\", \"Sat\"]")? {
            match value.get_ref().as_str().and_then(day_range) {
                Some(range) => days.extend(range),
                None => {
                    clear = false;
                    self.file.mistake(
                        value.span(),
                        &self.say(&format!("{key} has no such day")),
                        &format!(
                            "{}; allowed Mon Tue Wed Thu Fri Sat Sun",
                            self.file.text.slice(value.span())
                        ),
                        "a name or a range of names: \"Mon\", \"Mon-Fri\"",
                    );
                }
            }
        }
        days.sort_by_key(Weekday::num_days_from_monday);
        days.dedup();
        if days.is_empty() && clear {
            self.wrong(key, &format!("{key} names no day"), "at least one", "");
        }
        Some(days)
    }

    /// The values of a list.
    pub(super) fn list(&self, key: &str, wanted: &str) -> Option<Vec<&'a Spanned<DeValue<'a>>>> {
        let value = self.find(key)?;
        match value.get_ref() {
            DeValue::Array(values) => Some(values.iter().collect()),
            _ => self.wrong_type(key, value, wanted),
        }
    }

    /// The table `[key]`.
    pub(super) fn table(&self, key: &str) -> Option<Table<'a>> {
        let value = self.find(key)?;
        match value.get_ref() {
            DeValue::Table(body) => Some(self.below(key, value.span(), body)),
            _ => self.wrong_type(key, value, &format!("a table with the head [{key}]")),
        }
    }

    /// Every table `[[key]]`, called by its name or its number.
    pub(super) fn tables(&self, key: &str) -> Vec<Table<'a>> {
        let Some(value) = self.find(key) else { return Vec::new() };
        let DeValue::Array(values) = value.get_ref() else {
            let at = format!("{} stands here; a list of tables is wanted", kind(value.get_ref()));
            self.file.mistake(
                value.span(),
                &self.say(&format!("{key} is of the wrong kind")),
                &at,
                &format!("two brackets: [[{key}]]"),
            );
            return Vec::new();
        };
        let mut tables = Vec::new();
        for (place, value) in values.iter().enumerate() {
            let DeValue::Table(body) = value.get_ref() else {
                self.wrong_type::<()>(key, value, &format!("a table with the head [[{key}]]"));
                continue;
            };
            let named = body
                .get("name")
                .and_then(|name| name.get_ref().as_str())
                .filter(|name| line_fault(name, 40).is_none());
            let name = named.map_or_else(|| (place + 1).to_string(), |name| name.trim().to_owned());
            let own_word = name.to_lowercase().starts_with(key);
            let called = if own_word { name } else { format!("{key} {name}") };
            tables.push(self.below(&called, value.span(), body));
        }
        tables
    }

    fn below(&self, name: &str, span: Range<usize>, body: &'a DeTable<'a>) -> Table<'a> {
        let label = if self.label.is_empty() {
            name.to_owned()
        } else {
            format!("{} {name}", self.label)
        };
        // A head [a.b] is drawn as its first line only.
        let text = self.file.text.text.get(span.clone()).unwrap_or_default();
        let head = span.start..span.start + text.find('\n').unwrap_or(text.len());
        Table {
            file: self.file,
            label,
            head,
            body,
        }
    }
}

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

fn day_range(text: &str) -> Option<Vec<Weekday>> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let (mut day, last) = (
        first.trim().parse::<Weekday>().ok()?,
        last.trim().parse::<Weekday>().ok()?,
    );
    let mut days = vec![day];
    while day != last {
        day = day.succ();
        days.push(day);
    }
    Some(days)
}

fn as_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(digits) => i64::from_str_radix(&digits.as_str().replace('_', ""), digits.radix())
            .ok()
            .and_then(|whole| whole.to_string().parse().ok()),
        DeValue::Float(digits) => digits.as_str().replace('_', "").parse().ok(),
        DeValue::String(_) | DeValue::Boolean(_) | DeValue::Datetime(_) | DeValue::Array(_) | DeValue::Table(_) => None,
    }
}

fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
