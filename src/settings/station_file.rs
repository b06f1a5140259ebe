//! The `[[station]]` tables of `service.toml`.

use std::path::Path;

use chrono::TimeDelta;
use toml::Spanned;
use toml::de::DeValue;

use super::quantity::Allowed;
use super::service_file::{path, secret};
use super::table::Table;
use super::words::{closest, listed};
use crate::farm::FarmId;
use crate::farm::zone::Zone;
use crate::sources::station::{
    Broker, Clock, Column, Drop, Form, Key, Layout, Message, Order, Station, Tls, Unit, Way,
};
use crate::units::{Degrees, Metres};
use crate::weather::reading::{Exposure, Measured, Owner, Terrain};

/// Keys of every station.
const ALL: &[&str] = &[
    "name",
    "kind",
    "owner",
    "farms",
    "latitude",
    "longitude",
    "wind_height",
    "terrain",
    "trees_height",
];
/// Keys of a station whose files are dropped into a folder.
const DROPPED: &[&str] = &["folder", "suffix"];
/// Keys of what is read by columns.
const TIMED: &[&str] = &["time", "time_format", "zone", "columns"];
const CSV: &[&str] = &["separator", "decimal", "header_rows", "order", "missing"];
const METAR: &[&str] = &["code"];
const MQTT: &[&str] = &[
    "host",
    "port",
    "topic",
    "tls",
    "user",
    "password_file",
    "root_certificate",
    "largest_kb",
];
/// Every key, for the explained sample.
#[cfg(test)]
pub(super) const STATION: &[&[&str]] = &[ALL, DROPPED, TIMED, CSV, METAR, MQTT];
/// Keys of a column.
pub(super) const COLUMN: &[&str] = &["column", "pointer", "topic", "quantity", "unit", "minutes"];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Csv,
    Json,
    Metar,
    Mqtt,
}

const KINDS: &[(&str, Kind)] = &[
    ("csv", Kind::Csv),
    ("json", Kind::Json),
    ("metar", Kind::Metar),
    ("mqtt", Kind::Mqtt),
];

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Json => "json",
            Self::Metar => "metar",
            Self::Mqtt => "mqtt",
        }
    }

    fn keys(self) -> &'static [&'static [&'static str]] {
        match self {
            Self::Csv => &[ALL, DROPPED, TIMED, CSV],
            Self::Json => &[ALL, DROPPED, TIMED],
            Self::Metar => &[ALL, DROPPED, METAR],
            Self::Mqtt => &[ALL, TIMED, MQTT],
        }
    }
}

/// Every station of the file.
pub(super) fn stations(root: &Table<'_>, folder: &Path) -> Vec<Station> {
    let mut found: Vec<Station> = Vec::new();
    for table in root.tables("station") {
        let Some(station) = station(&table, folder) else { continue };
        if found.iter().any(|other| other.name == station.name) {
            let at = "status and letter need one name a station";
            table.wrong("name", "name stands twice", at, "");
        }
        found.push(station);
    }
    found
}

fn station(table: &Table<'_>, folder: &Path) -> Option<Station> {
    table.needs(&[("name", "name = \"mast\""), ("kind", "kind = \"csv\"")]);
    let kind = table.choice("kind", KINDS);
    let known: Vec<&str> = match kind {
        Some(kind) => kind.keys().concat(),
        None => [ALL, DROPPED, TIMED, CSV, METAR, MQTT].concat(),
    };
    known_here(table, kind, &known);
    let owners = [("own", Owner::Own), ("near", Owner::Near)];
    let owner = table.choice("owner", &owners).unwrap_or(Owner::Own);
    let place = place(table);
    if owner == Owner::Near && place.is_none() {
        let cure = "write latitude = and longitude = of the station; one further than 10 km serves for checks only";
        table.wrong("owner", "a near station without its place", "how near is not known", cure);
    }
    let name = table.text("name", 30);
    let exposure = exposure(table);
    let farms = farms(table);
    let way = match kind? {
        Kind::Csv => Way::Csv {
            drop: drop(table, folder, ".csv")?,
            layout: layout(table)?,
        },
        Kind::Json => Way::Json {
            drop: drop(table, folder, ".json")?,
            message: message(table)?,
        },
        Kind::Metar => Way::Metar {
            drop: drop(table, folder, ".txt")?,
            code: code(table)?,
        },
        Kind::Mqtt => Way::Mqtt {
            broker: broker(table, folder)?,
            message: message(table)?,
        },
    };
    Some(Station {
        name: name?,
        owner,
        farms,
        place,
        exposure,
        way,
    })
}

/// Notes keys that no station has, and those that say nothing for one of this kind.
fn known_here(table: &Table<'_>, kind: Option<Kind>, known: &[&str]) {
    let all = [ALL, DROPPED, TIMED, CSV, METAR, MQTT].concat();
    table.knows(&all);
    let Some(kind) = kind else { return };
    for key in all.iter().filter(|key| !known.contains(key)) {
        if table.find(key).is_some() {
            let others: Vec<&str> = KINDS
                .iter()
                .filter(|(_, other)| other.keys().concat().contains(key))
                .map(|(word, _)| *word)
                .collect();
            let at = format!("{key} belongs to kind {}", listed(&others));
            let cure = format!("kind is \"{}\"; remove {key} or change kind", kind.word());
            table.wrong(key, "a key without effect", &at, &cure);
        }
    }
}

fn place(table: &Table<'_>) -> Option<(Degrees, Degrees)> {
    let latitude = table.number("latitude", &Allowed::new(-90.0, 90.0, "deg"));
    let longitude = table.number("longitude", &Allowed::new(-180.0, 180.0, "deg"));
    for (key, other) in [("latitude", "longitude"), ("longitude", "latitude")] {
        if table.find(key).is_some() && table.find(other).is_none() {
            table.wrong(key, "half a place", &format!("{other} is missing"), &format!("write {other} = too"));
        }
    }
    Some((Degrees(latitude?), Degrees(longitude?)))
}

fn exposure(table: &Table<'_>) -> Option<Exposure> {
    let trees = table.number("trees_height", &Allowed::new(0.5, 40.0, "m")).map(Metres);
    let words = [
        ("open", Terrain::Open),
        ("scattered", Terrain::Scattered),
        ("rough", Terrain::Rough),
        ("trees", Terrain::Trees(trees.unwrap_or_default())),
    ];
    let terrain = table.choice("terrain", &words);
    let height = table.number("wind_height", &Allowed::new(0.5, 60.0, "m")).map(Metres);
    let above_trees = matches!(terrain, Some(Terrain::Trees(_)));
    if above_trees && trees.is_none() {
        let cure = "write trees_height = 3.5, in metres";
        table.wrong("terrain", "trees of no height", "trees_height is missing", cure);
    }
    for (key, other) in [("wind_height", "terrain"), ("terrain", "wind_height")] {
        if table.find(key).is_some() && table.find(other).is_none() {
            let at = format!("{other} is missing, so its wind is not used");
            table.doubt(key, "half of where the wind sensor stands", &at, &format!("write {other} = too"));
        }
    }
    let exposure = Exposure {
        height: height?,
        terrain: terrain?,
    };
    if crate::physics_of_mast(exposure).is_none() && !(above_trees && trees.is_none()) {
        let at = "it stands too low among what surrounds it to tell the wind at 10 m; its wind is not used";
        table.doubt("wind_height", "a sheltered wind sensor", at, "put it higher or in the open, if you want its wind");
    }
    Some(exposure)
}

fn farms(table: &Table<'_>) -> Vec<FarmId> {
    let mut farms = Vec::new();
    for value in table.list("farms", "a list of short names of farms").unwrap_or_default() {
        farms.extend(table.text_in("farms", value, 60).map(FarmId));
    }
    farms
}

fn drop(table: &Table<'_>, folder: &Path, usual: &str) -> Option<Drop> {
    table.needs(&[("folder", "folder = \"/var/lib/station\"")]);
    let suffix = table.text("suffix", 30).unwrap_or_else(|| usual.to_owned());
    Some(Drop {
        folder: path(table, "folder", folder)?,
        suffix,
    })
}

fn code(table: &Table<'_>) -> Option<String> {
    table.needs(&[("code", "code = \"KXYZ\"")]);
    let code = table.text("code", 10)?;
    let four = code.len() == 4 && code.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
    if !four {
        let at = format!("{code}; wanted four capital letters or digits");
        table.wrong("code", "code is no name of a METAR station", &at, "");
        return None;
    }
    Some(code)
}

fn layout(table: &Table<'_>) -> Option<Layout> {
    table.needs(&[
        ("time", "time = \"Date and time\", the column or columns of the time"),
        ("time_format", "time_format = \"%Y-%m-%d %H:%M\""),
        ("columns", "columns = [{ column = \"Air\", quantity = \"temperature\", unit = \"°C\" }]"),
    ]);
    let separators = [(";", b';'), (",", b','), ("tab", b'\t'), ("|", b'|')];
    let decimals = [(".", '.'), (",", ',')];
    let orders = [("oldest-first", Order::OldestFirst), ("newest-first", Order::NewestFirst)];
    let separator = table.choice("separator", &separators).unwrap_or(b',');
    let decimal = table.choice("decimal", &decimals).unwrap_or('.');
    if separator == b',' && decimal == ',' {
        let at = "the separator is a comma too";
        table.wrong("decimal", "two meanings for one comma", at, "write separator = \";\" if it is one");
    }
    let mut missing = Vec::new();
    for value in table.list("missing", "a list of texts").unwrap_or_default() {
        missing.extend(table.text_in("missing", value, 30));
    }
    let clock = clock(table);
    let columns = columns(table, Kind::Csv);
    Some(Layout {
        separator,
        decimal,
        header_rows: usize::try_from(table.whole("header_rows", 0, 20).unwrap_or(1)).unwrap_or(1),
        order: table.choice("order", &orders).unwrap_or(Order::OldestFirst),
        missing,
        time: time_columns(table),
        clock: clock?,
        columns,
    })
}

fn message(table: &Table<'_>) -> Option<Message> {
    let example = "columns = [{ pointer = \"/outdoor/temp\", quantity = \"temperature\", unit = \"°C\" }]";
    table.needs(&[("columns", example)]);
    let time = match table.find("time") {
        None => {
            for key in ["time_format", "zone"] {
                if table.find(key).is_some() {
                    let at = "time is missing, so the time of receipt counts";
                    table.wrong(key, "a key without effect", at, "write time = \"/time\" too, or remove it");
                }
            }
            None
        }
        Some(_) => {
            table.needs(&[("time_format", "time_format = \"unix\"")]);
            let pointer = table.text("time", 200).and_then(|text| pointer(table, "time", text));
            Some((pointer?, clock(table)?))
        }
    };
    Some(Message {
        time,
        columns: columns(table, Kind::Json),
    })
}

fn clock(table: &Table<'_>) -> Option<Clock> {
    let text = table.text("time_format", 60)?;
    let form = match text.as_str() {
        "rfc3339" => Form::Rfc3339,
        "unix" => Form::UnixSeconds,
        "unix-ms" => Form::UnixMillis,
        parts => {
            let items: Vec<_> = chrono::format::StrftimeItems::new(parts).collect();
            let wrong = items.iter().any(|item| matches!(item, chrono::format::Item::Error));
            if wrong || !parts.contains('%') {
                let at = format!("{parts}; allowed rfc3339, unix, unix-ms or parts such as %d.%m.%Y %H:%M");
                table.wrong("time_format", "time_format is not known", &at, "");
                return None;
            }
            Form::Parts(text)
        }
    };
    let zone = match table.text("zone", 60) {
        Some(name) => {
            let zone = Zone::named(&name);
            if zone.is_none() {
                let at = format!("{name}; wanted such as UTC, Europe/Rome or Etc/GMT-1");
                table.wrong("zone", "zone is not known", &at, "a clock that never changes: Etc/GMT-1 is one hour before UTC");
                return None;
            }
            zone
        }
        None => None,
    };
    if zone.is_none() && !form.has_zone() && table.find("zone").is_none() {
        let cure = "write zone = \"UTC\" or the zone on which the station's clock stands; nobody may guess it";
        table.wrong("time_format", "a clock without zone", "no zone in the format and none named", cure);
        return None;
    }
    Some(Clock { form, zone })
}

fn time_columns(table: &Table<'_>) -> Vec<Key> {
    let Some(value) = table.find("time") else { return Vec::new() };
    match value.get_ref() {
        DeValue::Array(values) => values.iter().filter_map(|value| column_key(table, "time", value)).collect(),
        _ => column_key(table, "time", value).into_iter().collect(),
    }
}

/// A column by its text in the header, or by its number.
fn column_key(table: &Table<'_>, key: &str, value: &Spanned<DeValue<'_>>) -> Option<Key> {
    if value.get_ref().as_str().is_some() {
        return table.text_in(key, value, 120).map(Key::Name);
    }
    let number = table.number_in(key, value, &Allowed::new(1.0, 500.0, "as the number of a column"))?;
    let number: usize = format!("{number:.0}").parse().ok()?;
    Some(Key::Number(number))
}

fn pointer(table: &Table<'_>, key: &str, text: String) -> Option<String> {
    if text.starts_with('/') {
        return Some(text);
    }
    let cure = format!("write {key} = \"/{text}\"");
    table.wrong(key, &format!("{key} is no place in a message"), "it begins with /", &cure);
    None
}

fn columns(table: &Table<'_>, kind: Kind) -> Vec<Column> {
    table
        .tables("columns")
        .iter()
        .filter_map(|column| self::column(column, kind))
        .collect()
}

fn column(table: &Table<'_>, kind: Kind) -> Option<Column> {
    table.knows(COLUMN);
    let (place, other) = match kind {
        Kind::Csv => ("column", "pointer"),
        Kind::Json | Kind::Metar | Kind::Mqtt => ("pointer", "column"),
    };
    table.needs(&[
        (
            place,
            if place == "column" {
                "column = \"Air temperature\""
            } else {
                "pointer = \"/outdoor/temp\""
            },
        ),
        ("quantity", "quantity = \"temperature\""),
        ("unit", "unit = \"°C\"; a unit is never taken from a name"),
    ]);
    if table.find(other).is_some() {
        let cure = format!("write {place} = instead");
        table.wrong(other, "a key without effect", &format!("{other} is for another kind"), &cure);
    }
    let quantities: Vec<(&str, Measured)> = Measured::ALL
        .iter()
        .map(|measured| (measured.name(), *measured))
        .collect();
    let measured = table.choice("quantity", &quantities);
    let key = match kind {
        Kind::Csv => column_key(table, "column", table.find("column")?),
        Kind::Json | Kind::Metar | Kind::Mqtt => table
            .find("pointer")
            .and_then(|value| value.get_ref().as_str())
            .filter(|text| text.is_empty())
            // The whole message is the number.
            .map(|_| String::new())
            .or_else(|| table.text("pointer", 200).and_then(|text| pointer(table, "pointer", text)))
            .map(|pointer| Key::Pointer {
                pointer,
                topic: table.text("topic", 200),
            }),
    };
    let over = table
        .whole("minutes", 1, 1440)
        .map(|minutes| TimeDelta::minutes(i64::from(minutes)));
    if over.is_some() && measured == Some(Measured::RainCounter) {
        let at = "a counter counts on; the time between two of its values is known";
        table.wrong("minutes", "minutes of a counter", at, "for rain of a fixed time: quantity = \"rain\"");
    }
    let measured = measured?;
    Some(Column {
        key: key?,
        measured,
        unit: unit(table, measured)?,
        over,
    })
}

/// The stated unit; one that is not known is answered with those that are.
fn unit(table: &Table<'_>, measured: Measured) -> Option<Unit> {
    let name = table.text("unit", 20)?;
    if let Some(unit) = Unit::named(measured, &name) {
        return Some(unit);
    }
    let known: Vec<&str> = Unit::of(measured).iter().map(|unit| unit.name).collect();
    let at = format!("{name}; allowed for {} {}", measured.name(), listed(&known));
    let cure = closest(&name, &known).map_or_else(String::new, |near| format!("did you mean \"{near}\"?"));
    table.wrong("unit", "unit is not known", &at, &cure);
    None
}

fn broker(table: &Table<'_>, folder: &Path) -> Option<Broker> {
    table.needs(&[("host", "host = \"broker.example.org\""), ("topic", "topic = \"farm/mast\"")]);
    let tls = table
        .choice("tls", &[("on", Tls::On), ("off", Tls::Off)])
        .unwrap_or(Tls::On);
    let port = table
        .whole("port", 1, 65_535)
        .and_then(|port| u16::try_from(port).ok())
        .unwrap_or(match tls {
            Tls::On => 8883,
            Tls::Off => 1883,
        });
    let host = table.text("host", 253)?;
    let plain = |sign: char| sign.is_ascii_alphanumeric() || ".-:".contains(sign);
    if !host.chars().all(plain) {
        let at = format!("{host}; wanted a name such as broker.example.org");
        table.wrong("host", "host cannot be used", &at, "without mqtt:// and without a path");
    }
    let here = matches!(host.as_str(), "localhost" | "127.0.0.1" | "::1");
    let (user, password) = (table.text("user", 200), secret(table, "password_file", folder));
    if tls == Tls::Off && !here && password.is_some() {
        let at = "tls is off, so everybody on the way reads it";
        table.doubt("password_file", "a password in clear text", at, "tls = \"on\", or a password used for nothing else");
    }
    if user.is_none() && password.is_some() {
        table.wrong("password_file", "a password without user", "user is missing", "write user = \"name\"");
    }
    let root_certificate = path(table, "root_certificate", folder);
    if let Some(missing) = root_certificate.as_ref().filter(|path| !path.is_file()) {
        let at = missing.display().to_string();
        table.wrong("root_certificate", "root_certificate is not there", &at, "a PEM file");
    }
    let kilobytes = table.whole("largest_kb", 1, 1024).unwrap_or(64);
    Some(Broker {
        host,
        port,
        topic: table.text("topic", 200)?,
        tls,
        user,
        password_file: password,
        root_certificate,
        largest: usize::try_from(kilobytes).unwrap_or(64) * 1024,
    })
}
