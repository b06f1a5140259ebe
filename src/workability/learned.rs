//! How far the modelled dry times were off in the grower's own notes, and what is made of it.
//!
//! A pair is one noted dry time beside the modelled one of the same face and day. The correction is the median of
//! the last ten differences, held within three hours either way. It shifts the dry times that are told, never a
//! verdict: windows rest on the model and on the noted number of dry times as before.
//!
//! Notes of all blocks of a farm count together, each against the model of its own block: what is least certain (water
//! held by the cloth, drying power of still air) is the same in all of them.

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::dry::first_dry;
use super::middle::median;
use super::model_run::{Member, ModelRun};
use super::outlook::DryDay;
use crate::farm::block::BlockId;
use crate::farm::zone::Zone;
use crate::record::{Entry, Event, Face};
use crate::units::Hours;
use crate::weather::Stamps;

/// Notes that count: the last so many.
pub const LAST: usize = 10;
/// Furthest correction \[h\].
const FURTHEST_H: f64 = 3.0;
/// Hours in which a run that started dry forgets its start.
const SETTLING: TimeDelta = TimeDelta::hours(24);

/// A dry time as noted, beside the modelled one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DryPair {
    /// The block.
    pub block: BlockId,
    /// The face that was felt.
    pub face: Face,
    /// When the grower found it dry.
    pub observed: DateTime<Utc>,
    /// When the model had it dry on that day; 21:00 if not at all, so that the difference is at least so large.
    pub modelled: DateTime<Utc>,
}

impl DryPair {
    /// Hours by which it dried later than modelled; negative if sooner.
    pub fn late(&self) -> Hours {
        Hours((self.observed - self.modelled).as_seconds_f64() / 3600.0)
    }
}

/// The correction: median of the last ten, within three hours either way; `None` without a pair.
pub fn offset(pairs: &[DryPair]) -> Option<Hours> {
    let mut late: Vec<f64> = last(pairs.to_vec()).iter().map(|pair| pair.late().0).collect();
    median(&mut late).map(|middle| Hours(middle.clamp(-FURTHEST_H, FURTHEST_H)))
}

/// Pairs kept from earlier mornings and those found now; of two about the same note the newer stays. At most ten.
pub fn joined(earlier: &[DryPair], found: Vec<DryPair>) -> Vec<DryPair> {
    let same = |a: &DryPair, b: &DryPair| (&a.block, a.face, a.observed) == (&b.block, b.face, b.observed);
    let mut all: Vec<DryPair> = earlier
        .iter()
        .filter(|old| !found.iter().any(|new| same(old, new)))
        .cloned()
        .collect();
    all.extend(found);
    last(all)
}

fn last(mut pairs: Vec<DryPair>) -> Vec<DryPair> {
    pairs.sort_by(|a, b| a.observed.cmp(&b.observed).then_with(|| a.block.cmp(&b.block)));
    let spare = pairs.len().saturating_sub(LAST);
    pairs.split_off(spare)
}

/// Pairs of one block's notes on days before `today` that lie in the timeline's past.
///
/// A day with an unknown hour gives none, nor does a face that the model had dry at dawn already: then nothing
/// dried, and the note only says when somebody came by.
pub fn pairs(
    notes: &[Entry],
    block: &BlockId,
    model: &ModelRun,
    stamps: Stamps,
    zone: &Zone,
    today: NaiveDate,
) -> Vec<DryPair> {
    let Some(past) = model.members.first() else {
        return Vec::new();
    };
    let local: Vec<NaiveDateTime> = (0..stamps.count).map(|k| zone.local(stamps.at(k))).collect();
    let settled = stamps.start(0) + SETTLING;
    let pair = |note: &Entry| {
        let Event::Dry { face } = note.event else { return None };
        let day = zone.day(note.at);
        let (dawn, dusk) = search(day);
        if note.block != *block || note.at < settled || day >= today || zone.instant(dawn) < settled {
            return None;
        }
        let modelled = modelled(past, face, &local, day)?;
        let modelled = modelled.map_or_else(|| zone.instant(dusk), |k| stamps.at(k));
        let dried = modelled > zone.instant(dawn) && note.at <= zone.instant(dusk);
        dried.then(|| DryPair {
            block: block.clone(),
            face,
            observed: note.at,
            modelled,
        })
    };
    notes.iter().filter_map(pair).collect()
}

/// The row at which a face is dry on a day; `None` if an hour of that day is not known, nothing in it if it stays wet.
fn modelled(past: &Member, face: Face, local: &[NaiveDateTime], day: NaiveDate) -> Option<Option<usize>> {
    let (dawn, dusk) = search(day);
    let water = |k: usize| past.hours.get(k).map(|hour| hour.water);
    let rows = local
        .iter()
        .enumerate()
        .filter(|(_, at)| (dawn..=dusk).contains(*at))
        .map(|(k, _)| k);
    let mut count = 0;
    for k in rows {
        count += 1;
        if !past.hours.get(k)?.water.known {
            return None;
        }
    }
    let dry = |k: usize| {
        water(k).is_some_and(|water| match face {
            Face::Top => !water.wet_top,
            Face::Underside => !water.wet_under,
        })
    };
    (count > 0).then(|| first_dry(local, day, dry))
}

/// Hours in which a face may be called dry: 05:00 to 21:00, as in [`first_dry`].
fn search(day: NaiveDate) -> (NaiveDateTime, NaiveDateTime) {
    let clock = |hour: i64| day.and_time(NaiveTime::MIN) + TimeDelta::hours(hour);
    (clock(5), clock(21))
}

/// Dry times moved by the correction. A face that was dry at dawn stays so; one that would dry after 21:00 does not
/// dry on that day; none dries before 05:00.
pub(super) fn shifted(dry: DryDay, late: Hours, zone: &Zone) -> DryDay {
    let (dawn, dusk) = search(dry.day);
    let (dawn, dusk) = (zone.instant(dawn), zone.instant(dusk));
    #[expect(clippy::cast_possible_truncation, reason = "at most three hours")]
    let late = TimeDelta::seconds((late.0 * 3600.0).round() as i64);
    let moved = |at: Option<DateTime<Utc>>| {
        let at = at?;
        if at <= dawn {
            return Some(at);
        }
        Some((at + late).max(dawn)).filter(|at| *at <= dusk)
    };
    DryDay {
        day: dry.day,
        top: moved(dry.top),
        under: moved(dry.under),
        both: moved(dry.both),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(day: u32, late_minutes: i64) -> DryPair {
        let modelled: DateTime<Utc> = format!("2026-03-{day:02}T09:00:00Z").parse().unwrap();
        DryPair {
            block: BlockId("Creek".to_owned()),
            face: Face::Underside,
            observed: modelled + TimeDelta::minutes(late_minutes),
            modelled,
        }
    }

    #[test]
    fn one_odd_note_among_many_changes_nothing() {
        let notes: Vec<_> = [60, 60, 90, 60, 540]
            .into_iter()
            .zip(1..)
            .map(|(late, day)| pair(day, late))
            .collect();
        assert_eq!(offset(&notes), Some(Hours(1.0)));
        assert_eq!(offset(&[]), None);
    }

    #[test]
    fn drying_is_never_moved_by_more_than_three_hours() {
        assert_eq!(offset(&[pair(1, 360)]), Some(Hours(3.0)));
        assert_eq!(offset(&[pair(1, -360)]), Some(Hours(-3.0)));
    }

    #[test]
    fn the_last_ten_notes_count_and_older_ones_are_forgotten() {
        let mut notes: Vec<_> = (1..=10).map(|day| pair(day, 180)).collect();
        notes.extend((11..=20).map(|day| pair(day, -60)));
        notes.reverse();
        assert_eq!(offset(&notes), Some(Hours(-1.0)));
        let kept = joined(&notes, vec![pair(21, 0), pair(20, -60)]);
        assert_eq!((kept.len(), kept.first().unwrap().clone()), (LAST, pair(12, -60)));
    }

    #[test]
    fn a_later_dry_time_may_fall_out_of_the_day_and_an_earlier_one_stops_at_five() {
        let zone = Zone::named("Etc/UTC").unwrap();
        let at = |hour: u32| -> Option<DateTime<Utc>> { format!("2026-03-10T{hour:02}:00:00Z").parse().ok() };
        let dry = DryDay {
            day: "2026-03-10".parse().unwrap(),
            top: at(5),
            under: at(19),
            both: at(7),
        };
        let later = shifted(dry, Hours(3.0), &zone);
        assert_eq!((later.top, later.under, later.both), (at(5), None, at(10)));
        let sooner = shifted(dry, Hours(-3.0), &zone);
        assert_eq!((sooner.top, sooner.under, sooner.both), (at(5), at(16), at(5)));
    }
}
