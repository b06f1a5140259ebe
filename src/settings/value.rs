//! Single values of a table: numbers in their range, lines of text, words, times, weekdays.

use chrono::{NaiveTime, Weekday};
use toml::Spanned;
use toml::de::DeValue;

use super::quantity::Allowed;
use super::table::Table;
use super::words::{closest, line_fault, listed};

impl Table<'_> {
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
        let here = value.get_ref();
        let read = if let Some(text) = here.as_str() {
            NaiveTime::parse_from_str(text.trim(), "%H:%M").ok()
        } else if let Some(at) = here.as_datetime().filter(|at| at.date.is_none() && at.offset.is_none()) {
            at.time
                .and_then(|time| NaiveTime::from_hms_opt(time.hour.into(), time.minute.into(), 0))
        } else {
            return self.wrong_type(key, value, "a time such as \"07:30\"");
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
