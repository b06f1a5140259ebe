//! Stations: files dropped into a folder, MQTT messages and METAR reports, turned into readings.
//!
//! A station says neither unit nor zone that could be trusted: keys of imperial name carry metric values, and
//! clocks stand on local time. So the service file states them, and nothing is guessed from a name.

pub mod broker;
pub mod clock;
pub mod folder;
pub mod listen;
pub mod message;
pub mod metar;
pub mod sheet;
pub mod unit;

use std::path::PathBuf;

use chrono::{DateTime, TimeDelta, Utc};

pub use clock::{Clock, Form};
pub use listen::{News, listen};
pub use unit::Unit;

use crate::farm::FarmId;
use crate::farm::site::Site;
use crate::units::{Degrees, Metres};
use crate::weather::reading::{Exposure, Mast, Measured, Owner, Reading};
use crate::weather::{Told, Valid};

/// A station of the service file.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Name in status and log, unique.
    pub name: String,
    /// Whose it is.
    pub owner: Owner,
    /// Farms it tells about; empty for all.
    pub farms: Vec<FarmId>,
    /// Where it stands, if declared.
    pub place: Option<(Degrees, Degrees)>,
    /// Where its wind sensor stands, if declared.
    pub exposure: Option<Exposure>,
    /// How its readings come.
    pub way: Way,
}

/// How readings come.
#[derive(Debug, Clone, PartialEq)]
pub enum Way {
    /// Tables in a folder.
    Csv {
        /// Where they are dropped.
        drop: Drop,
        /// How they are laid out.
        layout: Layout,
    },
    /// JSON in a folder, one object a file or a line.
    Json {
        /// Where it is dropped.
        drop: Drop,
        /// What is where in it.
        message: Message,
    },
    /// METAR reports in a folder.
    Metar {
        /// Where they are dropped.
        drop: Drop,
        /// The station's four-letter name; reports of others are passed over.
        code: String,
    },
    /// Messages of a broker.
    Mqtt {
        /// The broker.
        broker: Broker,
        /// What is where in a message.
        message: Message,
    },
}

/// A folder into which a station's files are dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drop {
    /// The folder.
    pub folder: PathBuf,
    /// End of the names that count, such as ".csv".
    pub suffix: String,
}

/// How a table is laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Between two cells.
    pub separator: u8,
    /// Decimal sign, point or comma.
    pub decimal: char,
    /// Lines before the first reading.
    pub header_rows: usize,
    /// Order of the lines.
    pub order: Order,
    /// Texts that mean "no value", beside the empty cell.
    pub missing: Vec<String>,
    /// Columns that make up the time, joined by a space.
    pub time: Vec<Key>,
    /// How the time is written.
    pub clock: Clock,
    /// What is read.
    pub columns: Vec<Column>,
}

/// Order of the lines of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The newest line stands last.
    OldestFirst,
    /// The newest line stands first.
    NewestFirst,
}

/// What is where in a JSON message.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// Where the time stands and how it is written; without one, or with one that cannot be read, the time of receipt
    /// counts.
    pub time: Option<(String, Clock)>,
    /// What is read.
    pub columns: Vec<Column>,
}

/// Where a value stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Key {
    /// Column with this text in one of its header cells.
    Name(String),
    /// Column by number, from 1.
    Number(usize),
    /// JSON pointer, such as "/outdoor/temperature"; empty for the whole message. `topic` if it comes under another
    /// topic than the station's.
    Pointer {
        /// Where in the message.
        pointer: String,
        /// Under which topic, if not the station's own.
        topic: Option<String>,
    },
}

/// One quantity of a station.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Where it stands.
    pub key: Key,
    /// What it is.
    pub measured: Measured,
    /// In which unit.
    pub unit: Unit,
    /// Time before the stamp for which the value stands; without it, the instant, and for rain the time since the
    /// reading before.
    pub over: Option<TimeDelta>,
}

/// An MQTT broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Topic of the station; wildcards as in MQTT.
    pub topic: String,
    /// Whether the line is encrypted.
    pub tls: Tls,
    /// User, if the broker wants one.
    pub user: Option<String>,
    /// File with the password.
    pub password_file: Option<PathBuf>,
    /// Further root certificate (PEM).
    pub root_certificate: Option<PathBuf>,
    /// Largest message \[bytes\].
    pub largest: usize,
}

/// Encryption of the line to a broker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tls {
    /// TLS, the certificate checked.
    On,
    /// None, for a broker on the farm's own network.
    Off,
}

/// What came in at once.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Batch {
    /// Readings, in the order in which they stood there.
    pub readings: Vec<Reading>,
    /// Values and lines that could not be read.
    pub unreadable: usize,
    /// The first of them, said so that it can be found.
    pub first_unreadable: Option<String>,
}

impl Batch {
    pub(super) fn unreadable(&mut self, what: impl FnOnce() -> String) {
        self.unreadable += 1;
        if self.first_unreadable.is_none() {
            self.first_unreadable = Some(super::refusal::cleaned(&what()));
        }
    }

    pub(super) fn push(&mut self, column: &Column, at: DateTime<Utc>, value: Option<f64>, received: DateTime<Utc>) {
        let valid = match column.over {
            Some(over) => Valid::Over {
                from: at - over,
                to: at,
            },
            None => Valid::At(at),
        };
        let value = value.map(|value| column.unit.canonical(value));
        self.readings.push(Reading {
            measured: column.measured,
            told: Told { valid, value },
            received,
        });
    }

    pub(super) fn append(&mut self, other: Self) {
        self.readings.extend(other.readings);
        self.unreadable += other.unreadable;
        self.first_unreadable = self.first_unreadable.take().or(other.first_unreadable);
    }
}

/// A number as stations write it: digits, sign, decimal sign, exponent. Words such as "nan" are none.
pub(super) fn number(text: &str, decimal: char) -> Option<f64> {
    let text = text.trim();
    let plain = |sign: char| sign.is_ascii_digit() || "+-eE".contains(sign) || sign == decimal;
    if text.is_empty() || text.len() > 40 || !text.chars().all(plain) {
        return None;
    }
    let value: f64 = text.replace(decimal, ".").parse().ok()?;
    value.is_finite().then_some(value)
}

impl Station {
    /// Whether it tells about that farm.
    pub fn tells(&self, farm: &FarmId) -> bool {
        self.farms.is_empty() || self.farms.contains(farm)
    }

    /// As the farm at `site` sees it.
    pub fn mast(&self, site: &Site) -> Mast {
        Mast {
            name: self.name.clone(),
            owner: self.owner,
            exposure: self.exposure,
            distance: self
                .place
                .map(|(latitude, longitude)| distance((latitude.0, longitude.0), (site.latitude.0, site.longitude.0))),
        }
    }

    /// Reads what lies in its folder now, once; nothing for a station that is listened to.
    ///
    /// # Errors
    /// Says why the folder cannot be read.
    pub fn read_now(&self, now: DateTime<Utc>) -> Result<Batch, String> {
        match &self.way {
            Way::Mqtt { .. } => Ok(Batch::default()),
            Way::Csv { drop, .. } | Way::Json { drop, .. } | Way::Metar { drop, .. } => {
                folder::Watch::new(drop.clone()).poll(&self.way, now)
            }
        }
    }
}

/// Mean radius of the earth \[m\], IUGG.
const EARTH_M: f64 = 6_371_008.8;

/// Distance on the globe (haversine).
fn distance(a: (f64, f64), b: (f64, f64)) -> Metres {
    let (north_a, north_b) = (a.0.to_radians(), b.0.to_radians());
    let (up, along) = ((north_b - north_a) / 2.0, (b.1 - a.1).to_radians() / 2.0);
    let share = up.sin().powi(2) + north_a.cos() * north_b.cos() * along.sin().powi(2);
    Metres(2.0 * EARTH_M * share.sqrt().min(1.0).asin())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_thousands_and_endless_digits_are_no_numbers() {
        assert_eq!(number(" -4.4 ", '.'), Some(-4.4));
        assert_eq!(number("12,5", ','), Some(12.5));
        assert_eq!(number("3e2", '.'), Some(300.0));
        for wrong in [
            "",
            "nan",
            "inf",
            "1e999",
            "1.234,5",
            "12,5",
            "0x10",
            "--",
            &"9".repeat(400),
        ] {
            assert_eq!(number(wrong, '.'), None, "{wrong}");
        }
    }

    #[test]
    fn a_degree_of_latitude_is_a_hundred_and_eleven_kilometres() {
        // IUGG mean radius: 6371008.8 m * pi / 180.
        assert!((distance((45.0, 8.0), (46.0, 8.0)).0 - 111_195.08).abs() < 0.1);
    }
}
