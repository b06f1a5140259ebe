//! The subject of the mail: verdict word first, date last, at most 60 signs.

use super::headline::{doing, fitting, place_name};
use super::lead::Lead;
use super::morning::{Morning, Place, share};
use crate::advice::words;
use crate::farm::Job;
use crate::workability::{Opening, Verdict};

/// Longest subject.
const MOST_SIGNS: usize = 60;

impl<'a> Morning<'a> {
    pub(super) fn subject(&self, lead: &Lead<'a>, partly_unknown: bool) -> String {
        let prefix = if partly_unknown { "PARTLY UNKNOWN, " } else { "" };
        if let Some(rolls) = self.dry_by(lead) {
            return format!("{prefix}{}", fitting(MOST_SIGNS - prefix.len(), &rolls));
        }
        let date = format!(" | {}", words::date(self.words.today));
        let room = MOST_SIGNS - prefix.len() - date.len();
        let texts = match lead {
            Lead::Unknown => vec![format!("UNKNOWN: {}", self.no_forecast())],
            Lead::Do { place, task, opening } => self.act(*place, task.start, opening),
            Lead::Stopped { place, next } => self.stopped(*place, *next),
            Lead::Wait { place, opening } => self.next(Some((*place, Some(*opening)))),
            Lead::Dark { place, .. } => {
                let job = words::gerund(place.job.job);
                vec![
                    format!("UNKNOWN: {job} {} today", place_name(*place)),
                    format!("UNKNOWN: {job} today"),
                ]
            }
            Lead::Nothing { next } => self.next(*next),
        };
        format!("{prefix}{}{date}", fitting(room, &texts))
    }

    /// "DRY BY Fri 13 Mar: rolls Gate 7 and Gate 8", where opening rolls is all that leads the day. The date in front is
    /// the one that counts; a date that has passed is today's.
    fn dry_by(&self, lead: &Lead<'a>) -> Option<Vec<String>> {
        let Lead::Do { place, opening, .. } = lead else {
            return None;
        };
        if place.job.job != Job::Redry || opening.best.verdict != Verdict::Go {
            return None;
        }
        let clock = self.first_due(place.block)?;
        let (name, rows) = (place_name(*place), clock.rows);
        let day = words::date(self.words.day_of(clock.redry_by).max(self.words.today));
        let numbers = words::row_numbers(rows);
        Some(match rows.count() {
            1 => vec![format!("DRY BY {day}: roll {name} {numbers}")],
            2 => vec![
                format!("DRY BY {day}: rolls {name} {} and {name} {}", rows.first, rows.last),
                format!("DRY BY {day}: rolls {name} {numbers}"),
            ],
            _ => vec![format!("DRY BY {day}: rolls {name} {numbers}")],
        })
    }

    fn act(&self, place: Place<'a>, start: chrono::DateTime<chrono::Utc>, opening: &Opening) -> Vec<String> {
        let (clock, short) = (self.words.clock(start), short_doing(place));
        let rows = format!("{short} {}", words::row_numbers(place.job.rows));
        if opening.best.verdict == Verdict::Maybe {
            let look = self.words.clock(self.look_again(&opening.best, start));
            return vec![
                format!("MAYBE {clock}: {short}, decide {look}"),
                format!("MAYBE {clock}: {short}"),
                format!("MAYBE: {short}"),
            ];
        }
        let mut texts = Vec::new();
        if place.job.job == Job::Lift && place.job.last_day.is_some() && place.job.chances_left == 0 {
            texts.push(format!("GO {clock}, last dry chance: {rows}"));
            texts.push(format!("GO {clock}, last dry chance: {short}"));
        }
        texts.extend([format!("GO {clock}: {rows}"), format!("GO {clock}: {short}")]);
        texts
    }

    fn stopped(&self, place: Place<'a>, next: Option<&Opening>) -> Vec<String> {
        let job = words::gerund(place.job.job);
        let why = self.why_not_today(place);
        let then = next.map(|opening| {
            let day = self.words.day(self.words.day_of(opening.start));
            share(&opening.best).map_or_else(
                || format!("; next {day}"),
                |share| format!("; {day} {}", words::chance(share)),
            )
        });
        let then = then.unwrap_or_default();
        let first = why.split(", ").next().unwrap_or_default();
        vec![
            format!("NO {job}, {why}{then}"),
            format!("NO {job}, {first}{then}"),
            format!("NO {job}, {first}"),
            format!("NO {job} of {}", place_name(place)),
            format!("NO {job}"),
        ]
    }

    fn next(&self, next: Option<(Place<'a>, Option<&Opening>)>) -> Vec<String> {
        let Some((place, opening)) = next else {
            return vec!["NO work due".to_owned()];
        };
        let day = opening.map_or(place.job.from, |opening| self.words.day_of(opening.best.start));
        let day = self.words.day(day);
        vec![
            format!("NO work due; next: {} {day}", short_doing(place)),
            "NO work due".to_owned(),
        ]
    }
}

/// "check ties Hill": as in the letter, without small words.
fn short_doing(place: Place<'_>) -> String {
    let name = place_name(place);
    match place.job.job {
        Job::Check => format!("check ties {name}"),
        Job::Redry => format!("dry rolls {name}"),
        Job::Lay | Job::Fold | Job::Lift => doing(place),
    }
}
