//! Who tells the past of a timeline: the farm's own station, a near one, archived forecasts, the service.
//!
//! Each hour of each quantity is told by the best teller that covers it. A teller that covers an hour and has
//! no value for it leaves a hole there: nobody else is asked, for taking a wet hour away from a station must
//! not let a drier forecast tell it. A station covers from its first reading on. After its last one it is
//! waited for: for a day its silent hours are holes, then it counts as gone and the next teller goes on.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::estimate;
use super::gates::Checked;
use super::reading::{Mast, Measured, Owner, Readings, SILENT, rain_between};
use super::valid::{Told, Valid, hours};
use super::{Credit, Quantity, Run, Stamps};

/// Hours of past on a timeline.
pub const PAST_HOURS: usize = 120;
/// Hours of an archived forecast that may tell the past.
pub const FIRST_HOURS: i64 = 6;
/// Two instants further apart are not interpolated.
const LONGEST_PAUSE: TimeDelta = TimeDelta::minutes(90);
/// An instant of rain or sun stands for the time since the one before, up to this.
const STANDS_FOR: TimeDelta = TimeDelta::minutes(70);
/// What wets and dries a cover most; a station that does not tell it is said to.
const OF_WATER: [Quantity; 4] = [
    Quantity::Temperature,
    Quantity::DewPoint,
    Quantity::Wind,
    Quantity::Rain,
];
/// A station silent for longer counts as gone.
const GONE: TimeDelta = TimeDelta::hours(24);

/// The axis of the past: the hours that ended by `now`.
pub fn axis(now: DateTime<Utc>) -> Stamps {
    let second = now.timestamp();
    let full_hour = DateTime::from_timestamp(second - second.rem_euclid(3600), 0).unwrap_or(now);
    let back = i64::try_from(PAST_HOURS).unwrap_or(0) - 1;
    Stamps {
        first: full_hour - TimeDelta::hours(back),
        count: PAST_HOURS,
    }
}

/// Who told an hour, the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Teller {
    /// The farm's own station.
    OwnStation,
    /// A station near the farm.
    NearStation,
    /// The first hours of an archived forecast.
    Archive,
    /// The past days of the forecast service.
    Service,
}

impl Teller {
    /// How a sentence calls it.
    pub fn word(self) -> &'static str {
        match self {
            Self::OwnStation => "your station",
            Self::NearStation => "a near station",
            Self::Archive => "earlier forecasts",
            Self::Service => "the forecast service",
        }
    }
}

/// A station as last heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// Its name in the service file.
    pub name: String,
    /// Whose it is.
    pub owner: Owner,
    /// Time of its last reading.
    pub last: DateTime<Utc>,
}

/// What a timeline knows about its past.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Past {
    /// For each quantity, who told each past hour; a hole belongs to who should have told it.
    pub from: BTreeMap<Quantity, Vec<Teller>>,
    /// The best station, if one has ever been heard.
    pub station: Option<Heard>,
}

/// One teller's hours on the axis of the past.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Who.
    pub teller: Teller,
    /// Its station, if it is one.
    pub heard: Option<Heard>,
    /// Sentences for the reader.
    pub remarks: Vec<String>,
    /// To whom it is owed.
    pub credit: Option<Credit>,
    run: Run,
    covers: BTreeMap<Quantity, Vec<bool>>,
    /// Rain of an hour that was not over when the station last spoke.
    rain_so_far: BTreeMap<usize, f64>,
}

/// An archived forecast: one run with its issue.
#[derive(Debug, Clone, PartialEq)]
pub struct Archived {
    /// When it was issued.
    pub issued: DateTime<Utc>,
    /// Its axis.
    pub stamps: Stamps,
    /// Its control run, or the only one.
    pub run: Run,
}

impl Known {
    /// The past as a station tells it. Its wind must have been brought to 10 m in open terrain, or left out.
    /// `None` if it has never told anything, or stands too far away.
    pub fn from_station(mast: &Mast, checked: &Checked, now: DateTime<Utc>) -> Option<Self> {
        let readings = &checked.readings;
        let last = readings.last()?;
        if !mast.is_close() {
            return None;
        }
        let stamps = axis(now);
        let mut known = Self {
            teller: match mast.owner {
                Owner::Own => Teller::OwnStation,
                Owner::Near => Teller::NearStation,
            },
            heard: Some(Heard {
                name: mast.name.clone(),
                owner: mast.owner,
                last,
            }),
            remarks: remarks(mast, checked, last, now),
            credit: mast.credit.clone(),
            run: Run::unknown(stamps.count),
            covers: BTreeMap::new(),
            rain_so_far: BTreeMap::new(),
        };
        for quantity in Quantity::NEEDED {
            let told = told(quantity, readings);
            if let (Some(first), Some(last)) = (told.first(), told.last()) {
                let (first, last) = (start(first.valid), last.valid.end());
                *known.run.of_mut(quantity) = hours(quantity, &told, stamps).series;
                let series = known.run.of(quantity);
                let cover = |k: usize| covers(quantity, series.get(k).is_some(), stamps.at(k), (first, last), now);
                known.covers.insert(quantity, (0..stamps.count).map(cover).collect());
                if quantity == Quantity::Rain {
                    known.rain_so_far = rain_so_far(&told, stamps, last);
                }
            }
        }
        Some(known)
    }

    /// The past as the first six hours of archived forecasts tell it, the latest issue first.
    pub fn from_archive(archived: &[Archived], now: DateTime<Utc>) -> Option<Self> {
        let stamps = axis(now);
        let mut run = Run::unknown(stamps.count);
        let mut covers: BTreeMap<Quantity, Vec<bool>> = BTreeMap::new();
        let mut newest: Vec<&Archived> = archived.iter().filter(|one| one.issued <= now).collect();
        newest.sort_by_key(|one| std::cmp::Reverse(one.issued));
        for k in 0..stamps.count {
            let stamp = stamps.at(k);
            for one in &newest {
                let lead = stamp - one.issued;
                if lead <= TimeDelta::zero() || lead > TimeDelta::hours(FIRST_HOURS) {
                    continue;
                }
                let Some(row) = one.stamps.row(stamp) else { continue };
                for quantity in Quantity::NEEDED {
                    let cover = covers.entry(quantity).or_insert_with(|| vec![false; stamps.count]);
                    let Some(covered) = cover.get_mut(k) else { continue };
                    let offers = !one.run.of(quantity).is_all_gaps();
                    if offers && !*covered {
                        *covered = true;
                        run.of_mut(quantity).put(k, one.run.of(quantity).get(row));
                    }
                }
            }
        }
        let any = covers.values().flatten().any(|covered| *covered);
        any.then_some(Self {
            teller: Teller::Archive,
            heard: None,
            remarks: Vec::new(),
            credit: None,
            run,
            covers,
            rain_so_far: BTreeMap::new(),
        })
    }

    fn covers(&self, quantity: Quantity, k: usize) -> bool {
        self.covers
            .get(&quantity)
            .and_then(|rows| rows.get(k))
            .copied()
            .unwrap_or(false)
    }
}

/// Puts what the tellers know into the past of every run; the runs already hold what the service told.
/// `tellers` stand best first.
pub(super) fn tell(runs: &mut [&mut Run], tellers: &[Known], now_row: usize) -> Past {
    let mut past = Past {
        station: tellers.iter().find_map(|known| known.heard.clone()),
        ..Past::default()
    };
    for quantity in Quantity::NEEDED {
        let by = |k: usize| tellers.iter().find(|known| known.covers(quantity, k));
        let so_far = |k: usize| {
            tellers
                .iter()
                .filter_map(move |known| known.rain_so_far.get(&k).copied())
        };
        for run in runs.iter_mut() {
            // What the forecast never tells stays unknown, and must not look like a series with holes.
            if run.of(quantity).is_all_gaps() {
                continue;
            }
            for k in 0..now_row {
                match by(k) {
                    Some(known) => run.of_mut(quantity).put(k, known.run.of(quantity).get(k)),
                    None if quantity == Quantity::Rain => {
                        let more = run.rain.get(k).map(|mm| so_far(k).fold(mm, f64::max));
                        run.rain.put(k, more);
                    }
                    None => {}
                }
            }
        }
        let from = (0..now_row).map(|k| by(k).map_or(Teller::Service, |known| known.teller));
        past.from.insert(quantity, from.collect());
    }
    past
}

impl Past {
    /// A sentence for each teller but the service: "Past hours from your station: 118 of 120, without rain."
    pub fn sentences(&self) -> Vec<String> {
        let of = |teller: Teller| -> Option<String> {
            let told = |quantity: &Quantity| {
                let from = self.from.get(quantity)?;
                let hours = from.iter().filter(|other| **other == teller).count();
                (hours > 0).then_some((*quantity, hours))
            };
            let told: Vec<(Quantity, usize)> = Quantity::NEEDED.iter().filter_map(told).collect();
            let most = told.iter().map(|(_, hours)| *hours).max()?;
            let lacks = |quantity: &&Quantity| !told.iter().any(|(other, _)| other == *quantity);
            let without: Vec<&str> = OF_WATER.iter().filter(lacks).map(|quantity| quantity.word()).collect();
            let without = if without.is_empty() {
                String::new()
            } else {
                format!(", without {}", without.join(" and "))
            };
            Some(format!(
                "Past hours from {}: {most} of {PAST_HOURS}{without}.",
                teller.word()
            ))
        };
        [Teller::OwnStation, Teller::NearStation, Teller::Archive]
            .into_iter()
            .filter_map(of)
            .collect()
    }
}

fn start(valid: Valid) -> DateTime<Utc> {
    match valid {
        Valid::At(at) => at,
        Valid::Over { from, .. } => from,
    }
}

/// Whether a station covers the hour that ends at `stamp`.
fn covers(
    quantity: Quantity,
    known: bool,
    stamp: DateTime<Utc>,
    (first, last): (DateTime<Utc>, DateTime<Utc>),
    now: DateTime<Utc>,
) -> bool {
    let begin = stamp - TimeDelta::hours(1);
    if begin < first {
        // The hour in which it began to speak: only what it tells whole.
        return known;
    }
    if stamp <= last {
        return true;
    }
    if stamp <= last + SILENT {
        return known;
    }
    let gone = now - last > GONE;
    // The hour in which it fell silent stays a hole for the rain: nobody knows what fell in it.
    let joint = quantity == Quantity::Rain && stamp <= last + SILENT + TimeDelta::hours(1);
    !gone || joint
}

/// The told values of a quantity out of what was measured.
fn told(quantity: Quantity, readings: &Readings) -> Vec<Told> {
    match quantity {
        Quantity::Temperature => paused(readings.of(Measured::Temperature)),
        Quantity::DewPoint if readings.of(Measured::DewPoint).is_empty() => paused(&dew_points(readings)),
        Quantity::DewPoint => paused(readings.of(Measured::DewPoint)),
        Quantity::Wind => paused(readings.of(Measured::Wind)),
        Quantity::Gust => readings.of(Measured::Gust).to_vec(),
        Quantity::WindDirection => paused(readings.of(Measured::WindDirection)),
        Quantity::Rain if readings.of(Measured::Rain).is_empty() => rain_between(readings.of(Measured::RainCounter)),
        Quantity::Rain => spanned(readings.of(Measured::Rain)),
        Quantity::Shortwave => spanned(readings.of(Measured::Shortwave)),
        Quantity::Cloud | Quantity::Thunder | Quantity::Fog | Quantity::Snow => Vec::new(),
    }
}

/// With a hole in the middle of every pause, so that nothing is interpolated across it.
fn paused(told: &[Told]) -> Vec<Told> {
    let mut found = Vec::with_capacity(told.len());
    for (k, one) in told.iter().enumerate() {
        let before = k.checked_sub(1).and_then(|before| told.get(before));
        if let Some(before) = before {
            let pause = start(one.valid) - before.valid.end();
            if pause > LONGEST_PAUSE {
                found.push(Told {
                    valid: Valid::At(before.valid.end() + pause / 2),
                    value: None,
                });
            }
        }
        found.push(*one);
    }
    found
}

/// Instants as spans since the reading before.
fn spanned(told: &[Told]) -> Vec<Told> {
    let mut found = Vec::with_capacity(told.len());
    let mut before: Option<DateTime<Utc>> = None;
    for one in told {
        let end = one.valid.end();
        match (one.valid, before) {
            (Valid::Over { .. }, _) => found.push(*one),
            (Valid::At(to), Some(from)) if to - from <= STANDS_FOR => found.push(Told {
                valid: Valid::Over { from, to },
                value: one.value,
            }),
            (Valid::At(_), _) => {}
        }
        before = Some(end);
    }
    found
}

/// Dew points where temperature and humidity were read together; a hole where one of the two is.
fn dew_points(readings: &Readings) -> Vec<Told> {
    let humidity: BTreeMap<DateTime<Utc>, Option<f64>> = readings
        .of(Measured::Humidity)
        .iter()
        .map(|told| (told.valid.end(), told.value))
        .collect();
    readings
        .of(Measured::Temperature)
        .iter()
        .filter_map(|air| {
            let share = humidity.get(&air.valid.end())?;
            let value = air
                .value
                .zip(*share)
                .and_then(|(air, share)| estimate::dew_point(air, share));
            Some(Told {
                valid: air.valid,
                value,
            })
        })
        .collect()
}

/// Rain of the hours that had begun but were not over at the last reading.
fn rain_so_far(told: &[Told], stamps: Stamps, last: DateTime<Utc>) -> BTreeMap<usize, f64> {
    let open = (0..stamps.count).filter(|k| stamps.start(*k) < last && stamps.at(*k) > last);
    open.map(|k| {
        let inside = told.iter().filter(|one| start(one.valid) >= stamps.start(k));
        (k, inside.filter_map(|one| one.value).sum())
    })
    .collect()
}

fn remarks(mast: &Mast, checked: &Checked, last: DateTime<Utc>, now: DateTime<Utc>) -> Vec<String> {
    let whose = match mast.owner {
        Owner::Own => "Your station",
        Owner::Near => "The near station",
    };
    let mut found = Vec::new();
    for (measured, since) in &checked.stuck {
        let hours = (now - *since).num_hours();
        let word = measured.name().replace('-', " ");
        found.push(format!(
            "{whose}'s {word} has not moved for {hours} hours and is not used."
        ));
    }
    let silent = now - last;
    if silent > SILENT && silent <= GONE {
        found.push(format!(
            "{whose} has been silent for {} hours; what it should have told is not known.",
            silent.num_hours()
        ));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::gates;
    use super::super::reading::Reading;
    use super::*;

    const NOW: &str = "2026-03-10T05:30:00Z";

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn mast() -> Mast {
        Mast {
            name: "mast".to_owned(),
            owner: Owner::Own,
            exposure: None,
            distance: None,
            credit: None,
        }
    }

    /// Air and rain counter every ten minutes, from `from` to `until` hours before now.
    fn readings(from: i64, until: i64) -> Vec<Reading> {
        let now = at(NOW);
        let mut found = Vec::new();
        for minute in (until * 60..=from * 60).rev().step_by(10) {
            let at = now - TimeDelta::minutes(minute);
            let wobble = if minute % 20 == 0 { 0.1 } else { 0.0 };
            for (measured, value) in [(Measured::Temperature, 8.0 + wobble), (Measured::RainCounter, 4.0)] {
                let told = Told {
                    valid: Valid::At(at),
                    value: Some(value),
                };
                found.push(Reading {
                    measured,
                    told,
                    received: at,
                });
            }
        }
        found
    }

    fn known(readings: Vec<Reading>) -> Known {
        Known::from_station(&mast(), &gates::check(&Readings::gather(readings)), at(NOW)).unwrap()
    }

    /// A run whose past the service told: 1 mm of rain in each hour.
    fn service() -> Run {
        let mut run = Run::unknown(PAST_HOURS);
        for quantity in Quantity::NEEDED {
            for k in 0..PAST_HOURS {
                run.of_mut(quantity).put(k, Some(1.0));
            }
        }
        run
    }

    fn told_rain(tellers: &[Known]) -> (Run, Past) {
        let mut run = service();
        let past = tell(&mut [&mut run], tellers, PAST_HOURS);
        (run, past)
    }

    #[test]
    fn the_own_station_tells_what_it_measures_and_the_service_the_rest() {
        let (run, past) = told_rain(&[known(readings(130, 0))]);
        assert_eq!(run.rain.get(PAST_HOURS - 1), Some(0.0));
        assert_eq!(run.shortwave.get(PAST_HOURS - 1), Some(1.0));
        assert!(
            past.from[&Quantity::Rain]
                .iter()
                .all(|teller| *teller == Teller::OwnStation)
        );
        assert!(
            past.from[&Quantity::Cloud]
                .iter()
                .all(|teller| *teller == Teller::Service)
        );
        assert_eq!(
            past.sentences(),
            ["Past hours from your station: 120 of 120, without dew point and wind."]
        );
    }

    #[test]
    fn before_a_station_was_there_the_next_best_tells() {
        let (run, past) = told_rain(&[known(readings(48, 0))]);
        assert_eq!(run.rain.get(0), Some(1.0));
        assert_eq!(past.from[&Quantity::Rain][0], Teller::Service);
        assert_eq!(run.rain.get(PAST_HOURS - 2), Some(0.0));
    }

    #[test]
    fn an_hour_of_silence_is_a_hole_and_not_told_by_a_drier_forecast() {
        let silent = (at("2026-03-09T20:00:00Z"), at("2026-03-10T00:00:00Z"));
        let wet_after = |reading: &mut Reading| {
            if reading.measured == Measured::RainCounter && reading.told.valid.end() >= silent.1 {
                reading.told.value = Some(5.0);
            }
        };
        let mut all = readings(130, 0);
        all.retain(|reading| !(silent.0..silent.1).contains(&reading.told.valid.end()));
        all.iter_mut().for_each(wet_after);
        let (run, past) = told_rain(&[known(all)]);
        let stamps = axis(at(NOW));
        let row = |text: &str| stamps.row(at(text)).unwrap();
        for hour in ["2026-03-09T21:00:00Z", "2026-03-09T23:00:00Z"] {
            assert_eq!(
                (run.rain.get(row(hour)), run.temperature.get(row(hour))),
                (None, None),
                "{hour}"
            );
            assert_eq!(past.from[&Quantity::Rain][row(hour)], Teller::OwnStation);
        }
        assert_eq!(run.rain.get(row("2026-03-10T03:00:00Z")), Some(0.0));
    }

    #[test]
    fn a_station_that_fell_silent_is_waited_for_a_day_and_then_gone() {
        let last_rows = |hours: i64| {
            let (run, past) = told_rain(&[known(readings(130, hours))]);
            let from = &past.from[&Quantity::Rain];
            (run.rain.get(PAST_HOURS - 1), from[PAST_HOURS - 1])
        };
        assert_eq!(last_rows(5), (None, Teller::OwnStation));
        assert_eq!(last_rows(20), (None, Teller::OwnStation));
        assert_eq!(last_rows(30), (Some(1.0), Teller::Service));
        let said = known(readings(130, 5)).remarks;
        assert_eq!(
            said,
            ["Your station has been silent for 5 hours; what it should have told is not known."]
        );
        // The hour in which it went stays a hole for the rain.
        let (run, _) = told_rain(&[known(readings(130, 30))]);
        assert_eq!(run.rain.iter().filter(Option::is_none).count(), 1);
    }

    #[test]
    fn the_last_reading_speaks_for_an_hour() {
        let (run, past) = told_rain(&[known(readings(130, 1))]);
        // 04:30 was the last one: the hour that ended at 05:00 is the service's.
        assert_eq!(run.rain.get(PAST_HOURS - 1), Some(1.0));
        assert_eq!(past.from[&Quantity::Rain][PAST_HOURS - 1], Teller::Service);
        assert_eq!(run.rain.get(PAST_HOURS - 2), Some(0.0));
    }

    #[test]
    fn a_far_station_tells_nothing_and_earlier_forecasts_tell_their_first_six_hours() {
        let far = Mast {
            owner: Owner::Near,
            distance: Some(crate::units::Metres(15_000.0)),
            ..mast()
        };
        let checked = gates::check(&Readings::gather(readings(130, 0)));
        assert_eq!(Known::from_station(&far, &checked, at(NOW)), None);
        let issued = at("2026-03-09T18:00:00Z");
        let mut run = Run::unknown(48);
        (0..48).for_each(|k| run.rain.put(k, Some(0.2)));
        let archived = Archived {
            issued,
            stamps: Stamps {
                first: issued + TimeDelta::hours(1),
                count: 48,
            },
            run,
        };
        let (run, past) = told_rain(&[Known::from_archive(&[archived], at(NOW)).unwrap()]);
        let told = past.from[&Quantity::Rain]
            .iter()
            .filter(|teller| **teller == Teller::Archive);
        assert_eq!(told.count(), 6);
        let row = axis(at(NOW)).row(at("2026-03-09T19:00:00Z")).unwrap();
        assert!((run.rain.get(row).unwrap() - 0.2).abs() < 1e-6);
        assert_eq!(run.rain.get(row - 1), Some(1.0));
        assert_eq!(run.rain.get(row + 6), Some(1.0));
    }
}
