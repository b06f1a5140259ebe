//! JSON of replies: how it begins, single values of any sort, and lists that cannot grow without end.

use std::fmt;
use std::marker::PhantomData;

use serde::de::{self, Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::Refusal;

/// Reads a reply, or says what stands in its place.
pub(super) fn parse<'de, T: Deserialize<'de>>(bytes: &'de [u8]) -> Result<T, Refusal> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match first_sign(bytes) {
        None => return Err(Refusal::Empty),
        Some(b'<') => return Err(Refusal::WebPage),
        Some(_) => {}
    }
    serde_json::from_slice(bytes).map_err(|error| {
        let (line, column) = (error.line(), error.column());
        let bare_nan = bytes.windows(5).take(4096).any(|part| part == b":nan,");
        match error.classify() {
            _ if bare_nan => Refusal::NotCovered,
            serde_json::error::Category::Data => Refusal::Shape { line, column },
            serde_json::error::Category::Io
            | serde_json::error::Category::Syntax
            | serde_json::error::Category::Eof => Refusal::NotJson { line, column },
        }
    })
}

/// The first byte that is no white space, a byte order mark not counted.
pub(super) fn first_sign(bytes: &[u8]) -> Option<u8> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    bytes.iter().copied().find(|byte| !byte.is_ascii_whitespace())
}

/// A single value where a number belongs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    /// A number.
    Number(f64),
    /// A number written as text; some services mix these in, others never do.
    Quoted(f64),
    /// Told as missing.
    Null,
    /// Anything else.
    Odd,
}

impl<'de> Deserialize<'de> for Cell {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(CellVisitor)
    }
}

struct CellVisitor;

impl<'de> Visitor<'de> for CellVisitor {
    type Value = Cell;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    #[expect(
        clippy::cast_precision_loss,
        reason = "no weather value has more than fifteen digits"
    )]
    fn visit_i64<E: de::Error>(self, value: i64) -> Result<Cell, E> {
        Ok(Cell::Number(value as f64))
    }

    #[expect(
        clippy::cast_precision_loss,
        reason = "no weather value has more than fifteen digits"
    )]
    fn visit_u64<E: de::Error>(self, value: u64) -> Result<Cell, E> {
        Ok(Cell::Number(value as f64))
    }

    fn visit_f64<E: de::Error>(self, value: f64) -> Result<Cell, E> {
        Ok(Cell::Number(value))
    }

    fn visit_str<E: de::Error>(self, value: &str) -> Result<Cell, E> {
        let number = if value.len() <= 40 {
            value.trim().parse::<f64>().ok().filter(|number| number.is_finite())
        } else {
            None
        };
        Ok(number.map_or(Cell::Odd, Cell::Quoted))
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<Cell, E> {
        Ok(Cell::Odd)
    }

    fn visit_unit<E: de::Error>(self) -> Result<Cell, E> {
        Ok(Cell::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Cell, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Cell::Odd)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Cell, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Cell::Odd)
    }
}

/// A list of at most `MOST` entries; a longer one is no reply of this service.
#[derive(Debug)]
pub(super) struct Few<T, const MOST: usize>(pub(super) Vec<T>);

impl<T, const MOST: usize> Default for Few<T, MOST> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<'de, T: Deserialize<'de>, const MOST: usize> Deserialize<'de> for Few<T, MOST> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct FewVisitor<T, const MOST: usize>(PhantomData<T>);

        impl<'de, T: Deserialize<'de>, const MOST: usize> Visitor<'de> for FewVisitor<T, MOST> {
            type Value = Few<T, MOST>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a list of at most {MOST} entries")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
                let mut entries = Vec::new();
                while let Some(entry) = list.next_element()? {
                    if entries.len() == MOST {
                        return Err(de::Error::custom("too many entries"));
                    }
                    entries.push(entry);
                }
                Ok(Few(entries))
            }
        }

        from.deserialize_seq(FewVisitor(PhantomData))
    }
}

/// A text, or nothing where something else stands.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Text(pub(super) Option<String>);

impl Text {
    /// The text.
    pub(super) fn get(&self) -> Option<&str> {
        self.0.as_deref()
    }
}

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(TextVisitor)
    }
}

struct TextVisitor;

impl<'de> Visitor<'de> for TextVisitor {
    type Value = Text;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a text")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<Text, E> {
        // Nothing that is read here is longer than a METAR.
        Ok(Text(Some(text.chars().take(1000).collect())))
    }

    fn visit_i64<E: de::Error>(self, _: i64) -> Result<Text, E> {
        Ok(Text(None))
    }

    fn visit_u64<E: de::Error>(self, _: u64) -> Result<Text, E> {
        Ok(Text(None))
    }

    fn visit_f64<E: de::Error>(self, _: f64) -> Result<Text, E> {
        Ok(Text(None))
    }

    fn visit_bool<E: de::Error>(self, _: bool) -> Result<Text, E> {
        Ok(Text(None))
    }

    fn visit_unit<E: de::Error>(self) -> Result<Text, E> {
        Ok(Text(None))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Text, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Text(None))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Text, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Text(None))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_a_quoted_number_nothing_and_nonsense_are_told_apart() {
        let cells: Few<Cell, 9> = parse(br#"[1, -2.5, "3.5", null, "x", true, {"a": [1]}, 1e300, "1e999"]"#).unwrap();
        assert_eq!(
            cells.0,
            [
                Cell::Number(1.0),
                Cell::Number(-2.5),
                Cell::Quoted(3.5),
                Cell::Null,
                Cell::Odd,
                Cell::Odd,
                Cell::Odd,
                Cell::Number(1e300),
                Cell::Odd
            ]
        );
    }

    #[test]
    fn a_list_that_is_too_long_and_a_web_page_are_refused() {
        assert!(matches!(parse::<Few<Cell, 2>>(b"[1,2,3]"), Err(Refusal::Shape { .. })));
        assert_eq!(parse::<Cell>(b" \n<html>").unwrap_err(), Refusal::WebPage);
        assert_eq!(parse::<Cell>(b"\xef\xbb\xbf ").unwrap_err(), Refusal::Empty);
    }
}
