//! Walking a TOML file with places: every wrong key and value is noted, and the walk goes on.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::file::File;
use super::words::{closest, line_fault, listed};

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
            let empty_list =
                |value: &Spanned<DeValue<'_>>| value.get_ref().as_array().is_some_and(|list| list.is_empty());
            if self.find(key).is_none_or(empty_list) {
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

    /// Notes that a value is of the wrong kind; always `None`.
    pub(super) fn wrong_type<T>(&self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) -> Option<T> {
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

    /// The values of a list.
    pub(super) fn list(&self, key: &str, wanted: &str) -> Option<Vec<&'a Spanned<DeValue<'a>>>> {
        let value = self.find(key)?;
        match value.get_ref().as_array() {
            Some(values) => Some(values.iter().collect()),
            None => self.wrong_type(key, value, wanted),
        }
    }

    /// The table `[key]`.
    pub(super) fn table(&self, key: &str) -> Option<Table<'a>> {
        let value = self.find(key)?;
        match value.get_ref().as_table() {
            Some(body) => Some(self.below(key, value.span(), body)),
            None => self.wrong_type(key, value, &format!("a table with the head [{key}]")),
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
