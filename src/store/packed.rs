//! A forecast as scaled whole numbers, compressed.
//!
//! Form 1: a zlib stream (its own check sum tells damage) of: version, first stamp, hours, runs, the quantities;
//! then run by run and quantity by quantity one number an hour: the step from the value before, in units of
//! [`scale`], as zigzag + 1 in base 128; 0 is a gap. A reading is off by at most half a unit.

use std::io::{Read, Write};

use chrono::{DateTime, TimeDelta, Utc};
use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;

use super::fault::Fault;
use super::{seconds, time};
use crate::weather::past::Archived;
use crate::weather::{Forecast, Kind, Quantity, Run, Series, Stamps};

/// Version of the form.
const VERSION: u8 = 1;
/// Hours ahead of its issue that are kept of a forecast with members.
const MEMBER_HOURS: i64 = 240;
/// Hours before its issue that are kept.
const BEFORE: i64 = 1;
/// What is kept of members.
const OF_MEMBERS: [Quantity; 6] = [
    Quantity::Temperature,
    Quantity::DewPoint,
    Quantity::Wind,
    Quantity::Gust,
    Quantity::Rain,
    Quantity::Shortwave,
];
/// Most bytes a body may unpack to.
const MOST_UNPACKED: u64 = 16 << 20;
/// Most hours and runs of a body.
const MOST_HOURS: usize = 2400;
const MOST_RUNS: usize = 200;

/// A forecast ready for the archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// Name of the service.
    pub service: String,
    /// Its issue.
    pub issued: DateTime<Utc>,
    /// When it was fetched.
    pub fetched: DateTime<Utc>,
    /// Whether it has members.
    pub members: bool,
    /// The numbers.
    pub body: Vec<u8>,
}

/// One unit of a stored number.
pub fn scale(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Temperature | Quantity::DewPoint | Quantity::Wind | Quantity::Gust | Quantity::Rain => 0.1,
        Quantity::WindDirection | Quantity::Thunder | Quantity::Fog | Quantity::Snow => 1.0,
        Quantity::Shortwave => 2.0,
        Quantity::Cloud => 0.01,
    }
}

impl Packed {
    /// Packs a forecast: of members ten days and six quantities, of a single one everything. `None` if it cannot be
    /// written, which memory alone could cause.
    pub fn of(service: &str, forecast: &Forecast) -> Option<Self> {
        let members = forecast.kind == Kind::Members;
        let mut zip = ZlibEncoder::new(Vec::new(), Compression::best());
        zip.write_all(&plain(forecast, members)).ok()?;
        Some(Self {
            service: service.to_owned(),
            issued: time(seconds(forecast.issue.at)),
            fetched: time(seconds(forecast.fetched)),
            members,
            body: zip.finish().ok()?,
        })
    }

    /// Every run, as it was packed.
    ///
    /// # Errors
    /// A body that is damaged or of a newer form.
    pub fn unpack(&self) -> Result<(Stamps, Vec<Run>), Fault> {
        self.some(MOST_RUNS)
    }

    /// The control run, or the only one, for the past.
    ///
    /// # Errors
    /// As [`Packed::unpack`].
    pub fn first(&self) -> Result<Archived, Fault> {
        let (stamps, runs) = self.some(1)?;
        let run = runs
            .into_iter()
            .next()
            .ok_or_else(|| self.unreadable("it has no runs"))?;
        Ok(Archived {
            issued: self.issued,
            stamps,
            run,
        })
    }

    fn unreadable(&self, how: &str) -> Fault {
        Fault::Unreadable {
            what: "an archived forecast",
            detail: format!("{} of {}: {how}", self.service, self.issued.format("%Y-%m-%d %H:%M")),
        }
    }

    fn some(&self, most: usize) -> Result<(Stamps, Vec<Run>), Fault> {
        let unzip = ZlibDecoder::new(self.body.as_slice()).take(MOST_UNPACKED);
        let mut bytes = Bytes(std::io::BufReader::new(unzip));
        let cut = || self.unreadable("it is damaged");
        match bytes.one() {
            Some(VERSION) => {}
            Some(other) => return Err(self.unreadable(&format!("form {other} is not known"))),
            None => return Err(cut()),
        }
        let first = bytes.signed().ok_or_else(cut)?;
        let count = bytes.size(MOST_HOURS).ok_or_else(cut)?;
        let runs = bytes.size(MOST_RUNS).ok_or_else(cut)?;
        let kinds = bytes.size(Quantity::ALL.len()).ok_or_else(cut)?;
        let mut quantities = Vec::new();
        for _ in 0..kinds {
            let place = usize::from(bytes.one().ok_or_else(cut)?);
            quantities.push(Quantity::ALL.get(place).copied().ok_or_else(cut)?);
        }
        let mut found = Vec::new();
        for _ in 0..runs.min(most) {
            let mut run = Run::unknown(count);
            for quantity in &quantities {
                *run.of_mut(*quantity) = bytes.series(count, scale(*quantity)).ok_or_else(cut)?;
            }
            found.push(run);
        }
        if runs <= most && bytes.one().is_some() {
            return Err(self.unreadable("there is more in it than it says"));
        }
        let stamps = Stamps {
            first: DateTime::from_timestamp(first, 0).ok_or_else(cut)?,
            count,
        };
        Ok((stamps, found))
    }
}

fn plain(forecast: &Forecast, members: bool) -> Vec<u8> {
    let stamps = forecast.stamps;
    let (from, until) = if members {
        let issue = forecast.issue.at;
        let until = issue + TimeDelta::hours(MEMBER_HOURS);
        let rows = (0..stamps.count).filter(|k| stamps.at(*k) <= until);
        (
            stamps.first_row_from(issue - TimeDelta::hours(BEFORE)),
            rows.max().map_or(0, |last| last + 1),
        )
    } else {
        (0, stamps.count)
    };
    let until = until.min(from.saturating_add(MOST_HOURS)).max(from);
    let quantities: &[Quantity] = if members { &OF_MEMBERS } else { &Quantity::ALL };
    let mut out = vec![VERSION];
    put_signed(&mut out, stamps.at(from).timestamp());
    put(&mut out, u64::try_from(until - from).unwrap_or(0));
    let runs = forecast.runs.get(..MOST_RUNS).unwrap_or(&forecast.runs);
    put(&mut out, u64::try_from(runs.len()).unwrap_or(0));
    put(&mut out, u64::try_from(quantities.len()).unwrap_or(0));
    for quantity in quantities {
        let place = Quantity::ALL.iter().position(|other| other == quantity);
        out.push(u8::try_from(place.unwrap_or_default()).unwrap_or_default());
    }
    for run in runs {
        for quantity in quantities {
            let series = run.of(*quantity);
            let unit = scale(*quantity);
            let mut before = 0_i64;
            for k in from..until {
                match series.get(k) {
                    None => put(&mut out, 0),
                    Some(value) => {
                        let units = whole(value / unit);
                        put(&mut out, zigzag(units - before) + 1);
                        before = units;
                    }
                }
            }
        }
    }
    out
}

/// The nearest whole number; weather has few digits.
fn whole(value: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "held to a range that fits before")]
    let units = value.round().clamp(-1e9, 1e9) as i64;
    units
}

fn zigzag(value: i64) -> u64 {
    (value.unsigned_abs() << 1) - u64::from(value < 0)
}

fn unzigzag(value: u64) -> Option<i64> {
    let half = i64::try_from(value.div_ceil(2)).ok()?;
    Some(if value % 2 == 1 { -half } else { half })
}

fn put_signed(out: &mut Vec<u8>, value: i64) {
    put(out, zigzag(value));
}

fn put(out: &mut Vec<u8>, mut value: u64) {
    loop {
        let low = u8::try_from(value & 0x7f).unwrap_or_default();
        value >>= 7;
        if value == 0 {
            out.push(low);
            return;
        }
        out.push(low | 0x80);
    }
}

struct Bytes<R>(R);

impl<R: Read> Bytes<R> {
    fn one(&mut self) -> Option<u8> {
        let mut byte = [0];
        self.0.read_exact(&mut byte).ok()?;
        let [byte] = byte;
        Some(byte)
    }

    fn number(&mut self) -> Option<u64> {
        let mut value = 0_u64;
        for shift in (0..63).step_by(7) {
            let byte = self.one()?;
            value |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Some(value);
            }
        }
        None
    }

    fn signed(&mut self) -> Option<i64> {
        unzigzag(self.number()?)
    }

    fn size(&mut self, most: usize) -> Option<usize> {
        usize::try_from(self.number()?).ok().filter(|size| *size <= most)
    }

    fn series(&mut self, count: usize, unit: f64) -> Option<Series> {
        let mut before = 0_i64;
        let mut values = Vec::with_capacity(count);
        for _ in 0..count {
            values.push(match self.number()? {
                0 => None,
                step => {
                    before = before.checked_add(unzigzag(step - 1)?)?;
                    #[expect(clippy::cast_precision_loss, reason = "a number of units of weather")]
                    let value = before as f64 * unit;
                    Some(value)
                }
            });
        }
        Some(Series::new(values))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;
    use crate::units::Degrees;
    use crate::weather::{Credit, Issue, IssueBasis, Place};

    pub(in super::super) fn forecast(kind: Kind, runs: usize, hours: usize, seed: u64) -> Forecast {
        let mut chance = fastrand::Rng::with_seed(seed);
        let run = |chance: &mut fastrand::Rng| {
            let mut run = Run::unknown(hours);
            for quantity in Quantity::ALL {
                let mut level = 10.0;
                for k in 0..hours {
                    level += chance.f64() - 0.5;
                    let dry = quantity == Quantity::Rain && chance.u32(0..10) > 0;
                    let value = if dry { 0.0 } else { level };
                    run.of_mut(quantity).put(k, (chance.u32(0..50) > 0).then_some(value));
                }
            }
            run
        };
        let first: DateTime<Utc> = "2026-03-05T01:00:00Z".parse().unwrap();
        Forecast {
            credit: Credit::invented(),
            place: Place {
                latitude: Degrees(44.1),
                longitude: Degrees(12.2),
                elevation: None,
            },
            stamps: Stamps { first, count: hours },
            runs: (0..runs).map(|_| run(&mut chance)).collect(),
            kind,
            offers: BTreeMap::new(),
            coarse_from: None,
            issue: Issue {
                at: first + TimeDelta::hours(119),
                basis: IssueBasis::Said,
            },
            fetched: first + TimeDelta::hours(125),
            rejected: 0,
        }
    }

    fn assert_same(forecast: &Forecast, packed: &Packed, quantities: &[Quantity]) {
        let (stamps, runs) = packed.unpack().unwrap();
        let offset = usize::try_from((stamps.first - forecast.stamps.first).num_hours()).unwrap();
        assert_eq!(runs.len(), forecast.runs.len());
        for (kept, run) in runs.iter().zip(&forecast.runs) {
            for quantity in quantities {
                for k in 0..stamps.count {
                    match (kept.of(*quantity).get(k), run.of(*quantity).get(k + offset)) {
                        (None, None) => {}
                        (Some(kept), Some(was)) => {
                            assert!(
                                (kept - was).abs() <= scale(*quantity) / 2.0 + 1e-5,
                                "{quantity:?} {was} {kept}"
                            );
                        }
                        other => panic!("{quantity:?} hour {k}: {other:?}"),
                    }
                }
            }
        }
    }

    #[test]
    fn of_members_ten_days_and_six_quantities_come_back_within_half_a_unit() {
        let forecast = forecast(Kind::Members, 51, 500, 7);
        let packed = Packed::of("ensemble", &forecast).unwrap();
        assert_same(&forecast, &packed, &OF_MEMBERS);
        let (stamps, runs) = packed.unpack().unwrap();
        assert_eq!(stamps.count, 241);
        assert!(runs[0].cloud.is_all_gaps());
        assert!(packed.body.len() < 90_000, "{} bytes", packed.body.len());
    }

    #[test]
    fn a_single_forecast_comes_back_whole() {
        let forecast = forecast(Kind::Single, 1, 240, 8);
        let packed = Packed::of("forecast", &forecast).unwrap();
        assert_same(&forecast, &packed, &Quantity::ALL);
        assert_eq!(packed.unpack().unwrap().0, forecast.stamps);
        let first = packed.first().unwrap();
        assert_eq!(first.issued, forecast.issue.at);
    }

    #[test]
    fn a_damaged_or_newer_body_is_said_and_never_taken_for_weather() {
        let packed = Packed::of("forecast", &forecast(Kind::Members, 5, 300, 9)).unwrap();
        let mut refused = 0;
        for place in 0..packed.body.len() {
            let mut harmed = packed.clone();
            harmed.body[place] ^= 0x41;
            refused += u32::from(harmed.unpack().is_err());
        }
        // A flipped bit that inflates to the same length is found by the check sum at the end.
        assert_eq!(refused as usize, packed.body.len());
        let mut cut = packed.clone();
        cut.body.truncate(packed.body.len() / 2);
        let text = cut.unpack().unwrap_err().to_string();
        assert!(
            text.contains("an archived forecast") && text.contains("damaged"),
            "{text}"
        );
        let mut zip = ZlibEncoder::new(Vec::new(), Compression::fast());
        zip.write_all(&[9]).unwrap();
        let newer = Packed {
            body: zip.finish().unwrap(),
            ..packed
        };
        assert!(newer.unpack().unwrap_err().to_string().contains("form 9 is not known"));
    }

    proptest! {
        #[test]
        fn any_bytes_are_refused_or_read_without_harm(body in prop::collection::vec(any::<u8>(), 0..200)) {
            let at: DateTime<Utc> = "2026-03-05T01:00:00Z".parse().unwrap();
            let packed = Packed { service: "x".to_owned(), issued: at, fetched: at, members: true, body };
            prop_assert!(packed.unpack().is_err());
        }

        #[test]
        fn steps_up_and_down_survive(value in -1_000_000_000_i64..1_000_000_000) {
            prop_assert_eq!(unzigzag(zigzag(value)), Some(value));
        }
    }
}
