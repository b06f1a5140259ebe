//! What holds for every letter, whatever the morning.

use std::collections::BTreeSet;

use covercast::advice::letter::Letter;
use covercast::advice::{calendar, html, json, text};
use covercast::farm::Job;
use covercast::workability::Verdict;
use serde_json::Value;

use crate::small_orchard::SmallOrchard;

/// Every morning that a test keeps, and a few that no grower would name so.
pub(crate) fn mornings() -> Vec<(&'static str, SmallOrchard)> {
    let dry = SmallOrchard::on_a_dry_morning;
    vec![
        ("dry", dry()),
        ("wet", dry().wet_all_day()),
        (
            "wet, nothing else to do",
            dry().with_ties_checked_and_rolls_dry().wet_all_day(),
        ),
        ("no forecast", dry().without_a_forecast()),
        ("too old", dry().with_a_forecast_too_old()),
        ("season", dry().with_its_season_planned()),
        ("old", dry().with_an_old_forecast()),
        ("hole before noon", dry().with_a_hole_today(8.0, 11.0)),
        ("hole after noon", dry().with_a_hole_today(12.0, 18.0)),
        ("in the shed", dry().with_everything_in_the_shed()),
        ("one forecast", dry().one_forecast_only()),
        ("estimated gust", dry().with_an_estimated_gust()),
        ("rest days", dry().before_two_rest_days()),
        ("sprayed", dry().with_a_sprayed_creek()),
        ("miles", dry().in_miles()),
        (
            "dry days to come",
            dry().with_ties_checked_and_rolls_dry().with_two_dry_days_to_come(),
        ),
        ("long names", dry().with_long_names()),
    ]
}

fn letters() -> Vec<(&'static str, Letter)> {
    mornings()
        .into_iter()
        .map(|(name, orchard)| (name, orchard.letter()))
        .collect()
}

#[test]
fn the_first_three_lines_say_issued_good_until_and_forecast() {
    for (morning, letter) in letters() {
        let text = text::render(&letter);
        let starts: Vec<bool> = ["Issued: ", "Good until: ", "Forecast: "]
            .iter()
            .zip(text.lines())
            .map(|(start, line)| line.starts_with(start))
            .collect();
        assert_eq!(starts, [true; 3], "{morning}");
        let html = html::render(&letter, None, None).unwrap();
        let places: Vec<_> = ["<b>Issued</b>", "<b>Good until</b>", "<b>Forecast</b>", "<h1"]
            .map(|part| html.find(part))
            .into();
        assert!(places.is_sorted() && places[0].is_some(), "{morning}: {places:?}");
    }
}

#[test]
fn a_subject_has_the_verdict_first_the_date_last_and_at_most_60_signs() {
    for (morning, letter) in letters() {
        let subject = &letter.subject;
        assert!(subject.chars().count() <= 60, "{morning}: {subject}");
        assert!(subject.ends_with(" | Tue 10 Mar"), "{morning}: {subject}");
        let word = match letter.verdict {
            Verdict::Go => "GO ",
            Verdict::Maybe => "MAYBE ",
            Verdict::No => "NO ",
            Verdict::Unknown => "UNKNOWN: ",
        };
        let start = if letter.partly_unknown {
            format!("PARTLY UNKNOWN, {word}")
        } else {
            word.to_owned()
        };
        assert!(subject.starts_with(&start), "{morning}: {subject}");
    }
}

#[test]
fn no_line_is_over_80_signs_and_no_word_promises_too_much() {
    let banned = [
        "consider",
        "optimal",
        "safe",
        "certain",
        "likely",
        "impossible",
        "suitable",
        "%",
        "!",
    ];
    for (morning, letter) in letters() {
        let text = text::render(&letter);
        assert!(
            text.is_ascii(),
            "{morning}: {:?}",
            text.chars().find(|sign| !sign.is_ascii())
        );
        for line in text.lines() {
            assert!(line.len() <= 80, "{morning}: {line}");
        }
        let low = format!("{} {}", letter.subject, text).to_lowercase();
        for word in banned {
            assert!(!low.contains(word), "{morning} says {word}");
        }
    }
}

#[test]
fn every_go_or_maybe_says_what_would_turn_it() {
    let mut judged = 0;
    for (morning, letter) in letters() {
        let advised = letter.verdict >= Verdict::Maybe;
        assert_eq!(letter.turns.is_some(), advised, "{morning}");
        judged += usize::from(advised);
        if let Some(turns) = &letter.turns {
            assert!(turns.turns.contains("gusts pass"), "{morning}: {}", turns.turns);
            let text = text::render(&letter);
            assert!(
                text.contains("\nTurns to NO if ") && text.contains("\nMargin now: "),
                "{morning}"
            );
        }
        let looks = letter.headline.look.is_some();
        assert_eq!(
            looks,
            letter.verdict == Verdict::Maybe,
            "{morning}: a MAYBE names the time to look again"
        );
    }
    assert!(judged >= 6, "only {judged} mornings advised anything");
}

#[test]
fn with_covers_out_and_picking_near_the_way_out_stands_last() {
    for (morning, letter) in letters() {
        let out = morning != "in the shed";
        let last = letter.fails.as_ref().and_then(|fails| fails.last.last());
        assert_eq!(last.is_some(), out, "{morning}");
        if let Some(last) = last {
            assert!(
                last.text.ends_with("untie one side and fold aside"),
                "{morning}: {}",
                last.text
            );
            assert!(
                last.notes.iter().any(|note| note.contains("dearer than a dry lift")),
                "{morning}: {:?}",
                last.notes
            );
        }
    }
}

#[test]
fn without_a_forecast_no_number_rests_on_one() {
    for orchard in [
        SmallOrchard::on_a_dry_morning().without_a_forecast(),
        SmallOrchard::on_a_dry_morning().with_a_forecast_too_old(),
    ] {
        let letter = orchard.letter();
        let text = text::render(&letter);
        for number in [" in 10", "km/h", " mm", "out of"] {
            assert!(!text.contains(number), "{number}: {text}");
        }
        assert!(letter.chart.is_none() && letter.windows.is_none() && letter.jobs.is_empty());
        assert!(
            text.contains("Hill: ties carry about "),
            "what the ties carry still holds"
        );
        assert!(text.contains("First pick: 16 Mar"), "pick dates still hold");
    }
}

#[test]
fn one_forecast_only_gives_no_chance_and_no_spread() {
    let letter = SmallOrchard::on_a_dry_morning().one_forecast_only().letter();
    let whole = text::render(&letter) + &html::render(&letter, Some("chart"), Some("season")).unwrap();
    for word in ["in 10", "in\u{a0}10", "perhaps", "8 of 10", "almost sure", "1 in 20"] {
        assert!(!whole.contains(word), "{word}");
    }
    assert!(whole.contains("no chance given"));
}

#[test]
fn a_shut_block_has_no_window_anywhere() {
    let letter = SmallOrchard::on_a_dry_morning().with_a_sprayed_creek().letter();
    assert!(letter.jobs.iter().all(|job| job.block.0 != "Creek"));
    let creek = letter.blocks.lines.iter().find(|line| line.block == "Creek").unwrap();
    assert_eq!(creek.next, ["No entry until Wed 10:00: spray re-entry."]);
    assert!(
        letter
            .windows
            .unwrap()
            .lines
            .iter()
            .all(|line| !line.blocks.contains("Creek"))
    );
}

#[test]
fn after_three_quiet_days_the_blocks_say_as_of_when() {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    orchard
        .entries
        .retain(|entry| entry.at < orchard.now - chrono::TimeDelta::days(5));
    let told = orchard.letter().blocks.told.unwrap();
    assert_eq!(
        told,
        "As told on Wed 4 Mar. If you have lifted since: covercast note lifted --block NAME"
    );
    assert!(SmallOrchard::on_a_dry_morning().letter().blocks.told.is_none());
}

#[test]
fn the_html_is_small_and_whole_without_its_style_block() {
    for (morning, letter) in letters() {
        let html = html::render(&letter, letter.chart.as_ref().map(|_| "chart@covercast"), None).unwrap();
        assert!(html.len() <= 60_000, "{morning}: {} bytes", html.len());
        assert_eq!(
            html.matches("<img ").count(),
            usize::from(letter.chart.is_some()),
            "{morning}"
        );
        assert_eq!(
            html.matches("alt=\"").count(),
            usize::from(letter.chart.is_some()),
            "{morning}"
        );
        for word in ["<script", "http://", "https://", "url(", "@import"] {
            assert!(!html.contains(word), "{morning} has {word}");
        }
        assert_eq!(
            html.matches("<table").count(),
            html.matches("<caption").count(),
            "{morning}: a table without caption"
        );
        assert_eq!(
            html.matches("<th ").count(),
            html.matches("scope=\"").count(),
            "{morning}: a heading without scope"
        );
        assert!(html.contains("<html lang=\"en\">"));
    }
}

#[test]
fn everything_in_the_html_is_in_the_text() {
    for (morning, letter) in letters() {
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        let text = flat(&text::render(&letter));
        let mut sentences: Vec<&str> = letter.headline.because.iter().map(String::as_str).collect();
        sentences.extend(
            letter
                .today
                .items
                .iter()
                .flat_map(|item| &item.notes)
                .map(String::as_str),
        );
        for days in [&letter.why, &letter.fails].into_iter().flatten() {
            sentences.extend(
                days.lines
                    .iter()
                    .chain(&days.last)
                    .flat_map(|line| line.notes.iter().chain([&line.text]))
                    .map(String::as_str),
            );
        }
        sentences.extend(
            letter
                .blocks
                .lines
                .iter()
                .flat_map(|line| &line.next)
                .map(String::as_str),
        );
        sentences.extend(letter.care.iter().chain(&letter.rolls).map(String::as_str));
        for sentence in sentences {
            assert!(text.contains(&flat(sentence)), "{morning}: {sentence}");
        }
    }
}

#[test]
fn a_hostile_name_stays_a_name() {
    let letter = SmallOrchard::on_a_dry_morning().with_a_hostile_name().letter();
    assert!(!letter.subject.contains(['\r', '\n']), "{:?}", letter.subject);
    let html = html::render(&letter, Some("chart"), Some("season")).unwrap();
    assert!(!html.contains("<img src=x") && html.contains("&#60;img src=x"));
    let calendar = calendar::ics(&letter, 1);
    assert!(!calendar.lines().any(|line| line.starts_with("ATTENDEE")), "{calendar}");
    for line in text::render(&letter).lines() {
        assert!(!line.starts_with("ATTENDEE"), "{line}");
    }
}

#[test]
fn the_calendar_keeps_the_name_of_a_window_from_letter_to_letter() {
    let letter = SmallOrchard::on_a_dry_morning().letter();
    let (first, second) = (calendar::ics(&letter, 1), calendar::ics(&letter, 2));
    let uids = |text: &str| {
        text.lines()
            .filter(|line| line.starts_with("UID:"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(uids(&first), uids(&second));
    let different: BTreeSet<String> = uids(&first).into_iter().collect();
    assert_eq!(different.len(), letter.jobs.len(), "one UID a window");
    assert!(first.contains("SEQUENCE:1\r\n") && second.contains("SEQUENCE:2\r\n"));
    assert!(
        first.contains("DTSTAMP:20260309T163000Z\r\n"),
        "the stamp is the letter's issue: {first}"
    );
    assert!(
        first.contains("DTSTART:20260310T003000Z\r\n"),
        "lifting starts at 13:30 local, 00:30 UTC: {first}"
    );
}

/// RFC 5545: lines end in CR LF and hold at most 75 octets (3.1), METHOD and PRODID (3.7), times in UTC (3.3.5).
#[test]
fn the_calendar_keeps_to_its_standard() {
    for (morning, letter) in letters() {
        let calendar = calendar::ics(&letter, 7);
        assert!(
            calendar.starts_with("BEGIN:VCALENDAR\r\n") && calendar.ends_with("END:VCALENDAR\r\n"),
            "{morning}"
        );
        for line in calendar.split("\r\n") {
            assert!(line.len() <= 75 && !line.contains('\n'), "{morning}: {line}");
        }
        for once in [
            "VERSION:2.0",
            "PRODID:-//covercast//morning letter//EN",
            "METHOD:PUBLISH",
        ] {
            assert_eq!(calendar.matches(once).count(), 1, "{morning}: {once}");
        }
        assert_eq!(calendar.matches("BEGIN:VEVENT").count(), letter.jobs.len(), "{morning}");
        assert_eq!(
            calendar.matches("\r\nDTSTAMP:").count(),
            letter.jobs.len(),
            "{morning}: one stamp an event"
        );
        let times = calendar
            .lines()
            .filter(|line| line.starts_with("DTSTART") || line.starts_with("DTEND"));
        assert!(times.clone().all(|line| line.ends_with('Z')), "{morning}");
    }
}

#[test]
fn the_letter_reads_back_from_its_json() {
    for (morning, letter) in letters() {
        let written = json::render(&letter).unwrap();
        assert_eq!(json::read(&written).unwrap(), letter, "{morning}");
        assert!(written.contains("\"schema\": \"covercast-letter/1\""));
        assert!(
            written.contains("\"issued\": \"2026-03-09T16:30:00Z\""),
            "{morning}: RFC 3339 in UTC"
        );
    }
}

/// Every key of the JSON is in the schema, and every key of the schema is in the JSON.
#[test]
fn the_json_has_the_keys_of_its_schema_and_no_others() {
    let schema: Value = serde_json::from_str(json::LETTER_SCHEMA).unwrap();
    let mut seen = BTreeSet::new();
    // What the others do not show: an official warning, and a cover that could be lifted today or later.
    let mut warned = SmallOrchard::on_a_dry_morning().with_its_season_planned();
    warned.warnings = crate::warnings::long_notices();
    for notice in &mut warned.warnings {
        notice.sent = warned.now - chrono::TimeDelta::hours(1);
        (notice.from, notice.until) = (
            warned.now + chrono::TimeDelta::hours(6),
            warned.now + chrono::TimeDelta::hours(14),
        );
    }
    for outlook in &mut warned.outlooks {
        outlook.slots = crate::farm_season::slots(10, 9, 0);
    }
    for (morning, letter) in letters().into_iter().chain([("warned", warned.letter())]) {
        let value: Value = serde_json::from_str(&json::render(&letter).unwrap()).unwrap();
        fits(&value, &schema, &schema, morning, &mut seen);
    }
    let named: BTreeSet<String> = schema["$defs"]
        .as_object()
        .unwrap()
        .keys()
        .map(|name| format!("#/$defs/{name}"))
        .collect();
    assert_eq!(
        seen, named,
        "kinds of the schema that no letter shows, or the other way round"
    );
}

/// The part of JSON Schema 2020-12 that the letter's schema uses.
fn fits(value: &Value, schema: &Value, root: &Value, path: &str, seen: &mut BTreeSet<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        seen.insert(name.to_owned());
        return fits(
            value,
            root.pointer(name.trim_start_matches('#')).unwrap(),
            root,
            path,
            seen,
        );
    }
    if let Some(choices) = schema["anyOf"].as_array() {
        assert_eq!(choices[1]["type"], "null", "{path}");
        if !value.is_null() {
            fits(value, &choices[0], root, path, seen);
        }
        return;
    }
    if let Some(wanted) = schema.get("const") {
        return assert_eq!(value, wanted, "{path}");
    }
    if let Some(words) = schema["enum"].as_array() {
        return assert!(words.contains(value), "{path}: {value}");
    }
    match schema["type"].as_str().unwrap() {
        "object" if schema["additionalProperties"].is_object() => {
            for (key, part) in value.as_object().unwrap() {
                fits(
                    part,
                    &schema["additionalProperties"],
                    root,
                    &format!("{path}.{key}"),
                    seen,
                );
            }
        }
        "object" => {
            let (given, known) = (value.as_object().unwrap(), schema["properties"].as_object().unwrap());
            let keys = |map: &serde_json::Map<String, Value>| map.keys().cloned().collect::<BTreeSet<_>>();
            assert_eq!(keys(given), keys(known), "{path}");
            for (key, part) in known {
                assert!(
                    part["description"].is_string() || part["$ref"].is_string(),
                    "{path}.{key} is not explained"
                );
                fits(&given[key], part, root, &format!("{path}.{key}"), seen);
            }
        }
        "array" if schema["prefixItems"].is_array() => {
            let (given, known) = (value.as_array().unwrap(), schema["prefixItems"].as_array().unwrap());
            assert_eq!(given.len(), known.len(), "{path}");
            for (part, schema) in given.iter().zip(known) {
                fits(part, schema, root, &format!("{path}[]"), seen);
            }
        }
        "array" => {
            for part in value.as_array().unwrap() {
                fits(part, &schema["items"], root, &format!("{path}[]"), seen);
            }
        }
        "string" => assert!(value.is_string(), "{path}: {value}"),
        "boolean" => assert!(value.is_boolean(), "{path}: {value}"),
        "number" => assert!(value.is_number(), "{path}: {value}"),
        "integer" => assert!(value.is_u64(), "{path}: {value}"),
        other => panic!("{path}: the test does not know {other}"),
    }
}

#[test]
fn the_next_letter_says_what_changed() {
    let today = SmallOrchard::on_a_dry_morning().letter();
    assert_eq!(
        today.since_yesterday.as_deref(),
        Some("Saturday fell from 8 in 10 to 6 in 10 for lifting Creek.")
    );
    let mut unchanged = SmallOrchard::on_a_dry_morning();
    unchanged.yesterday = Some(today.digest().clone());
    assert_eq!(unchanged.letter().since_yesterday, None);
    let mut moved = SmallOrchard::on_a_dry_morning()
        .wet_all_day()
        .with_ties_checked_and_rolls_dry();
    moved.yesterday = Some(today.digest().clone());
    assert_eq!(
        moved.letter().since_yesterday.as_deref(),
        Some("Lifting Creek moved from today to Sat.")
    );
}

#[test]
fn a_storm_in_crew_hours_comes_first_among_the_cautions() {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    let timeline = orchard.timeline.as_mut().unwrap();
    let row = timeline.stamps.first_row_from(crate::small_orchard::at(0, 15.0));
    let fifth = timeline.runs.len().div_ceil(5);
    for run in timeline.runs.iter_mut().take(fifth) {
        run.thunder.put(row, Some(1.0));
    }
    let care = orchard.letter().care;
    // Holle, Lopez and Zimmermann 1999, BAMS 80: stop at thunder, resume 30 minutes after the last.
    assert_eq!(
        care[0],
        "Thunder possible from 15:00: stop at the first thunder; back 30 minutes after the last."
    );
    assert!(care.len() <= 3, "{care:?}");
    assert!(
        !SmallOrchard::on_a_dry_morning()
            .letter()
            .care
            .iter()
            .any(|care| care.contains("hunder"))
    );
}

#[test]
fn jobs_of_the_letter_are_plain_values_in_time_order() {
    let letter = SmallOrchard::on_a_dry_morning().letter();
    let lift = letter.jobs.iter().find(|job| job.job == Job::Lift).unwrap();
    assert_eq!(
        (lift.block.0.as_str(), lift.rows.first, lift.rows.last, lift.people),
        ("Creek", 1, 12, 4)
    );
    assert!((lift.stops_at_gust_m_s.0 - 11.0).abs() < 1e-9);
    assert!(letter.jobs.is_sorted_by_key(|job| job.start));
}
