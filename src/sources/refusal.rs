//! Why a reply cannot be used. Each reason is one sentence that says what to do about it.

use std::fmt;

use chrono::{DateTime, Utc};

/// A reply that is not used.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// No bytes.
    Empty,
    /// Markup: a login page or an error page.
    WebPage,
    /// Not JSON from this byte on.
    NotJson {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
    },
    /// Coordinates are `nan`: the model does not cover the place.
    NotCovered,
    /// JSON, but built otherwise than documented.
    Shape {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
    },
    /// The service answers with its own error.
    ServiceError(String),
    /// A list of places.
    SeveralPlaces,
    /// A key stands twice, or the same quantity under two spellings.
    Twice(String),
    /// No hourly values.
    NoHours {
        /// What it holds instead.
        instead: Vec<&'static str>,
    },
    /// Values of several models in one reply.
    SeveralModels(Vec<String>),
    /// No list of times, or one that cannot be read.
    Times,
    /// Local times with one fixed offset.
    LocalTimes {
        /// The offset told \[s\], if one was.
        offset_s: Option<i64>,
    },
    /// A time that is not a full hour.
    NotFullHours,
    /// A time not later than the one before.
    NotAscending {
        /// Position from 1.
        position: usize,
    },
    /// Steps longer than an hour.
    NotHourly {
        /// The usual step \[h\].
        step_h: i64,
    },
    /// More hours or members than any forecast has.
    TooLong,
    /// A series with another number of values than the times.
    Lengths {
        /// Its key.
        key: String,
        /// Its number of values.
        values: usize,
        /// The number of times.
        times: usize,
    },
    /// Needed quantities that no rule may fill in.
    Missing(Vec<&'static str>),
    /// A needed quantity without a unit, or with one we do not know.
    Unit {
        /// Its key.
        key: String,
        /// The unit told, if one was.
        unit: Option<String>,
    },
    /// Too many values that no weather has.
    Impossible {
        /// Of what.
        word: &'static str,
        /// How many.
        rejected: usize,
        /// Of how many.
        of: usize,
    },
    /// No coordinates told, or impossible ones.
    NoPlace,
    /// Another place than the site.
    OtherPlace {
        /// Distance in latitude or longitude, the greater \[degrees\].
        degrees: f64,
        /// What is allowed \[degrees\].
        allowed: f64,
    },
    /// Another height than the site.
    OtherHeight {
        /// Height told \[m\].
        told_m: f64,
        /// Height of the site \[m\].
        site_m: f64,
    },
    /// Made later than now.
    Future {
        /// When its time axis, or its run-time file, says it was made.
        at: DateTime<Utc>,
    },
    /// All its hours are past.
    Past {
        /// Its last hour.
        last: DateTime<Utc>,
    },
    /// A proper reply, but no forecast.
    NoForecast {
        /// What it holds.
        holds: &'static str,
    },
    /// Quantities, by their words, that no rule may fill in.
    Lacks(Vec<&'static str>),
    /// No time steps or layers of values.
    NoSteps,
    /// A time step whose time cannot be read.
    StepTimes,
    /// It does not tell when it was made, though its service always does.
    NoIssueTime,
    /// No radar reaches the place now.
    NoRadar(String),
    /// Hourly periods of a national service, without gusts and amounts of rain.
    HourlyPeriods,
    /// A block of time that cannot be read.
    Block(String),
    /// No 15-minute values.
    NoQuarters,
    /// The reply about a point names no grid.
    NoGrid,
    /// No report of a station with a time and a value.
    NoReports,
    /// An archive that cannot be opened, or that does not hold what belongs in it.
    Archive,
    /// More bytes, files or levels than any such reply has.
    TooBig,
    /// Markup that is broken or cut off.
    NotXml {
        /// Byte, from 0, of the markup.
        at: u64,
    },
    /// Markup that brings rules or entities of its own.
    Doctype,
    /// The station asked for is not in the file.
    NoStation(String),
    /// The nearest station is too far away.
    FarStation {
        /// Its name and id.
        station: String,
        /// How far away \[km\].
        km: f64,
        /// How much higher \[m\].
        metres: f64,
    },
    /// Neither a message of warning nor an index of them.
    NoWarnings,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the reply is empty; ask again later"),
            Self::WebPage => write!(
                f,
                "the reply is a web page, not a forecast; check the address, and whether the network wants a login"
            ),
            Self::NotJson { line, column } => write!(
                f,
                "the reply is not valid JSON at line {line} column {column}; it may be cut off, fetch it again"
            ),
            Self::NotCovered => write!(
                f,
                "the reply has no coordinates (nan): the model does not cover this place, ask for another model"
            ),
            Self::Shape { line, column } => write!(
                f,
                "the reply is not built as documented at line {line} column {column}; check that the address \
                    is the forecast or ensemble interface"
            ),
            Self::ServiceError(reason) => write!(f, "the service refused the request: \"{reason}\""),
            Self::SeveralPlaces => write!(f, "the reply is a list of places; ask for one place only"),
            Self::Twice(key) => write!(
                f,
                "the reply tells \"{key}\" twice, so neither can be trusted; fetch it again"
            ),
            Self::NoHours { instead } if instead.is_empty() => {
                write!(f, "the reply has no hourly values; ask for hourly=temperature_2m,…")
            }
            Self::NoHours { instead } => write!(
                f,
                "the reply has no hourly values, only {}; ask for hourly=temperature_2m,…",
                instead.join(" and ")
            ),
            Self::SeveralModels(models) => write!(
                f,
                "the reply mixes the models {}; ask for one model only",
                models.join(", ")
            ),
            Self::Times => write!(
                f,
                "the times of the hourly values cannot be read; ask with timeformat=unixtime"
            ),
            Self::LocalTimes {
                offset_s: Some(offset_s),
            } => write!(
                f,
                "the times are local with one fixed offset of {offset_s} s, which is wrong across a clock \
                    change; ask with timeformat=unixtime or timezone=GMT"
            ),
            Self::LocalTimes { offset_s: None } => write!(
                f,
                "the times are written without any offset from UTC; ask with timeformat=unixtime"
            ),
            Self::NotFullHours => write!(
                f,
                "the times are not full hours UTC; ask with timezone=GMT for hourly values"
            ),
            Self::NotAscending { position } => write!(
                f,
                "time number {position} is not later than the one before; fetch the reply again"
            ),
            Self::NotHourly { step_h } => write!(
                f,
                "the values stand {step_h} h apart and only hourly ones can be judged; ask without \
                    temporal_resolution"
            ),
            Self::TooLong => write!(
                f,
                "the reply has more hours or members than any forecast has; ask for at most 92 past and 35 \
                    coming days"
            ),
            Self::Lengths { key, values, times } => write!(
                f,
                "\"{key}\" has {values} values for {times} times; fetch the reply again"
            ),
            Self::Missing(keys) => write!(
                f,
                "the reply has no values of {}, without which no hour can be judged; ask for them in hourly=",
                keys.join(", ")
            ),
            Self::Unit { key, unit: Some(unit) } => write!(
                f,
                "\"{key}\" is in \"{unit}\", a unit that is not known here; ask for metric units"
            ),
            Self::Unit { key, unit: None } => write!(
                f,
                "\"{key}\" is told without a unit, and none is guessed; fetch the reply whole, with hourly_units"
            ),
            Self::Impossible { word, rejected, of } => write!(
                f,
                "{rejected} of {of} values of {word} are like no weather, so none is trusted; check the \
                    source or fetch again"
            ),
            Self::NoPlace => write!(
                f,
                "the reply does not tell which place it is for; fetch it whole, with latitude and longitude"
            ),
            Self::OtherPlace { degrees, allowed } => write!(
                f,
                "the reply is for a place {degrees:.2}° away from the site ({allowed}° allowed); check \
                    latitude and longitude"
            ),
            Self::OtherHeight { told_m, site_m } => write!(
                f,
                "the reply is for {told_m:.0} m above sea level and the site lies at {site_m:.0} m (300 m \
                    apart allowed); check the site's elevation or ask with elevation="
            ),
            Self::Future { at } => write!(
                f,
                "the reply was made at {} or later, which is after now; check the clock",
                at.format("%Y-%m-%d %H:%M UTC")
            ),
            Self::Past { last } => write!(
                f,
                "the reply ends at {}, before now; fetch a new one, or set --now for an old recording",
                last.format("%Y-%m-%d %H:%M UTC")
            ),
            Self::NoForecast { holds } => write!(f, "the reply is no forecast but holds {holds}"),
            Self::Lacks(words) => write!(
                f,
                "the reply has no values of {}, without which no hour can be judged; ask the service's fuller \
                    forecast or another service",
                words.join(", ")
            ),
            Self::NoSteps => write!(
                f,
                "the reply holds no values with a time; check that the address is the forecast's"
            ),
            Self::StepTimes => write!(f, "a time in the reply cannot be read; fetch the reply again"),
            Self::NoIssueTime => write!(
                f,
                "the reply does not tell when it was made, so its age is not known; fetch it again"
            ),
            Self::NoRadar(state) => write!(
                f,
                "no radar sees the place now (radar coverage: \"{state}\"); the next quarter of an hour may do"
            ),
            Self::HourlyPeriods => write!(
                f,
                "the reply is the hourly text forecast, which tells neither gusts nor amounts of rain; ask for \
                    the grid it is made from (forecastGridData)"
            ),
            Self::NoQuarters => write!(
                f,
                "the reply has no 15-minute values; ask for minutely_15=precipitation,…"
            ),
            Self::NoGrid => write!(
                f,
                "the reply names no forecast grid for the place; the service covers the United States only"
            ),
            Self::NoReports => write!(
                f,
                "the station's reply holds no report with a time and a value; another station may do"
            ),
            Self::Block(text) => write!(f, "the block of time \"{text}\" cannot be read; fetch the reply again"),
            Self::Archive => write!(
                f,
                "the archive cannot be opened or holds something else than was asked for; fetch it again"
            ),
            Self::TooBig => write!(
                f,
                "the reply is larger or deeper than any of its kind, so it is not read; check the address"
            ),
            Self::NotXml { at } => write!(f, "the markup is broken or cut off at byte {at}; fetch it again"),
            Self::Doctype => write!(
                f,
                "the markup brings a document type of its own, which can hide anything, so it is not read; check \
                    the address"
            ),
            Self::NoStation(station) => write!(
                f,
                "the reply has no station \"{station}\"; write station = with the id the service gives it"
            ),
            Self::FarStation { station, km, metres } => write!(
                f,
                "the station {station} lies {km:.0} km away and {metres:+.0} m against the site, too far to stand \
                    for it; name another station"
            ),
            Self::NoWarnings => write!(
                f,
                "the reply holds neither official warnings nor an index of them; check the address"
            ),
        }
    }
}

impl std::error::Error for Refusal {}

/// Text from outside, cut to printable signs so that it can stand in a sentence or a log line.
pub(super) fn cleaned(text: &str) -> String {
    let hidden = |sign: char| {
        sign.is_control()
            || matches!(sign, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    text.chars()
        .map(|sign| if hidden(sign) { ' ' } else { sign })
        .take(120)
        .collect::<String>()
        .trim()
        .to_owned()
}
