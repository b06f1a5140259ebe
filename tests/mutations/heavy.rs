//! Bodies as large as a fetch lets through, made to be slow or to eat memory.

use std::fmt::Write as _;

/// As much as a fetch lets through.
const LARGEST: usize = 8 << 20;

/// What it is, and the body.
pub(crate) fn bodies(good: &[u8]) -> Vec<(&'static str, Vec<u8>)> {
    let filled = |head: &str, unit: &str, tail: &str| {
        let times = (LARGEST - head.len() - tail.len()) / unit.len();
        format!("{head}{}{tail}", unit.repeat(times)).into_bytes()
    };
    let keys = |head: &str, tail: &str| {
        let mut body = String::with_capacity(LARGEST);
        body.push_str(head);
        for k in 0..LARGEST / 16 {
            let _ = write!(body, "\"k{k:x}\":1,");
        }
        body.push_str("\"end\":1");
        body.push_str(tail);
        body.into_bytes()
    };
    vec![
        ("100,000 lists in each other", "[".repeat(100_000).into_bytes()),
        ("100,000 objects in each other", "{\"a\":".repeat(100_000).into_bytes()),
        ("a string of 8 MiB", filled("{\"latitude\":\"", "x", "\"}")),
        (
            "an unknown key with 8 MiB of nothings",
            filled("{\"x\":[", "{},", "1]}"),
        ),
        (
            "8 MiB of times",
            filled("{\"hourly\":{\"time\":[", "1772323200,", "1]}}"),
        ),
        (
            "8 MiB of times as text",
            filled("{\"hourly\":{\"time\":[", "\"2026-03-01T00:00\",", "\"\"]}}"),
        ),
        (
            "8 MiB of values",
            filled("{\"hourly\":{\"temperature_2m\":[", "1,", "1]}}"),
        ),
        (
            "8 MiB of 15-minute values",
            filled("{\"minutely_15\":{\"temperature_2m\":[", "1,", "1]}}"),
        ),
        (
            "8 MiB of empty steps",
            filled(
                "{\"properties\":{\"timeseries\":[",
                "{\"time\":\"\"},",
                "{\"time\":\"\"}]}}",
            ),
        ),
        (
            "8 MiB of blocks",
            filled(
                "{\"properties\":{\"temperature\":{\"values\":[",
                "{\"validTime\":\"\"},",
                "1]}}}",
            ),
        ),
        (
            "8 MiB of corners",
            filled("{\"geometry\":{\"coordinates\":[", "[1,2],", "[1,2]]}}"),
        ),
        ("8 MiB of reports", filled("{\"features\":[", "{},", "{}]}")),
        ("half a million keys", keys("{", "}")),
        ("half a million units", keys("{\"hourly_units\":{", "}}")),
        ("half a million columns", keys("{\"hourly\":{", "}}")),
        ("half a million layers", keys("{\"properties\":{", "}}")),
        ("8 MiB of brackets", filled("", "[]", "")),
        (
            "a good reply with 4 MiB of blanks before it",
            [" ".repeat(LARGEST / 2).into_bytes(), good.to_vec()].concat(),
        ),
        ("nothing but NUL", vec![0; LARGEST]),
        ("nothing but 0xff", vec![0xff; LARGEST]),
    ]
}
