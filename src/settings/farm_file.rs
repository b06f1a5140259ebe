//! `farm.toml`: the whole of it but blocks, covers and limits, which have their own files beside this one.

use chrono::{NaiveDate, NaiveTime, Weekday};

use super::block_file;
use super::cover_file;
use super::limits_file;
use super::quantity::Allowed;
use super::table::{File, Table};
use super::zone_data::ZoneData;
use crate::farm::crew::{Crew, Machine, Person, Role};
use crate::farm::limits::Limits;
use crate::farm::site::Site;
use crate::farm::zone::Zone;
use crate::farm::{Costs, Farm, FarmId};
use crate::units::{Degrees, DisplayUnits, Metres};

pub(super) const ROOT: &[&str] = &[
    "site", "people", "crew", "machine", "set", "limits", "costs", "alley", "block",
];
pub(super) const SITE: &[&str] = &["name", "id", "latitude", "longitude", "elevation_m", "zone", "units"];
pub(super) const PERSON: &[&str] = &["name", "email", "role", "letter"];
pub(super) const CREW: &[&str] = &["people", "workdays", "start", "end", "break_start", "break_end"];
pub(super) const MACHINE: &[&str] = &["name", "lay_m_per_hour", "lift_m_per_hour"];
pub(super) const COSTS: &[&str] = &["currency", "wage_per_hour", "tractor_per_hour", "fold_extra_per_m"];

const ROLES: &[(&str, Role)] = &[
    ("manager", Role::Manager),
    ("foreman", Role::Foreman),
    ("crew", Role::Crew),
];
const UNITS: &[(&str, DisplayUnits)] = &[("metric", DisplayUnits::Metric), ("imperial", DisplayUnits::Imperial)];

/// Reads `farm.toml`. What could not be read stands in `file` and is filled up only so that the rest can be
/// looked at: the farm is one only if `file` holds no mistake. `None` if it is no TOML at all.
pub(super) fn read(file: &File, folder_name: &str, zones: &ZoneData) -> Option<Farm> {
    let body = file.parse()?;
    let root = Table::root(file, &body);
    root.knows(ROOT);
    root.needs(&[
        ("site", "[site] with name, latitude, longitude, elevation_m and zone"),
        ("people", "[[people]] with name and email"),
        ("crew", "[crew] with people = 5"),
        ("block", "[[block]] with name, variety, rows and row_length_m"),
    ]);
    let (id, site) = match root.table("site") {
        Some(table) => (farm_id(&table, folder_name), site(&table, zones)?),
        None => (FarmId(String::new()), nowhere()?),
    };
    let sets = cover_file::read(&root);
    let blocks = block_file::read(&root, &site, &sets);
    let sets = cover_file::checked(&root, sets, &blocks);
    let farm = Farm {
        id,
        site,
        people: people(&root),
        crew: crew(root.table("crew").as_ref()),
        machines: root.tables("machine").iter().filter_map(machine).collect(),
        sets,
        limits: root
            .table("limits")
            .map_or_else(Limits::default, |table| limits_file::read(&table)),
        costs: root.table("costs").map_or_else(Costs::default, |table| costs(&table)),
        blocks: blocks.into_iter().map(|draft| draft.block).collect(),
        picks: Vec::new(),
        blackouts: Vec::new(),
    };
    Some(farm)
}

fn farm_id(table: &Table<'_>, folder_name: &str) -> FarmId {
    let Some(id) = table.text("id", 40) else {
        let from_name = table
            .find("name")
            .and_then(|name| name.get_ref().as_str())
            .map(slug)
            .unwrap_or_default();
        let from_folder = slug(folder_name);
        return FarmId(if from_folder.is_empty() { from_name } else { from_folder });
    };
    let fit = slug(&id);
    if fit != id {
        table.wrong(
            "id",
            "id cannot be used",
            "small letters, digits and hyphens only",
            &format!("write id = \"{fit}\""),
        );
    }
    FarmId(id)
}

/// Lower-case letters, digits and hyphens out of a name.
fn slug(name: &str) -> String {
    let words: Vec<String> = name
        .split(|sign: char| !sign.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    words.join("-").chars().take(40).collect()
}

fn site(table: &Table<'_>, zones: &ZoneData) -> Option<Site> {
    table.knows(SITE);
    table.needs(&[
        ("name", "name = \"Larkrise Orchard\""),
        ("latitude", "latitude = -39.6 (south is negative)"),
        ("longitude", "longitude = 176.7 (west is negative)"),
        ("elevation_m", "elevation_m = 20"),
        ("zone", "zone = \"Pacific/Auckland\""),
    ]);
    let (latitude, longitude) = place(table);
    let name = table.text("name", 60).unwrap_or_default();
    let elevation = table
        .number("elevation_m", &Allowed::new(-430.0, 5000.0, "m"))
        .unwrap_or_default();
    let units = table.choice("units", UNITS).unwrap_or_default();
    let zone = zone(table, zones);
    if let (Some(latitude), Some(longitude), Some(zone)) = (latitude, longitude, &zone) {
        doubt_place(table, latitude, longitude, zone);
    }
    Some(Site {
        name,
        latitude: Degrees(latitude.unwrap_or_default()),
        longitude: Degrees(longitude.unwrap_or_default()),
        elevation: Metres(elevation),
        zone: zone.or_else(|| nowhere().map(|site| site.zone))?,
        units,
    })
}

/// Stands in for a site that could not be read; never part of a farm without mistakes.
fn nowhere() -> Option<Site> {
    Some(Site {
        name: String::new(),
        latitude: Degrees(0.0),
        longitude: Degrees(0.0),
        elevation: Metres(0.0),
        zone: Zone::named("Etc/UTC")?,
        units: DisplayUnits::Metric,
    })
}

fn place(table: &Table<'_>) -> (Option<f64>, Option<f64>) {
    let anything = Allowed::new(-360.0, 360.0, "deg");
    let latitude = table.number("latitude", &anything);
    let longitude = table.number("longitude", &Allowed::new(-180.0, 180.0, "deg"));
    if let Some(bad) = latitude.filter(|value| value.abs() > 90.0) {
        let swapped = longitude.is_some_and(|longitude| longitude.abs() <= 90.0);
        let cure = if swapped {
            "are latitude and longitude swapped?"
        } else {
            "degrees with a decimal point, south negative"
        };
        table.wrong(
            "latitude",
            "latitude is out of range",
            &format!("{bad}; allowed -90 to 90 degrees"),
            cure,
        );
    }
    if let (Some(north), Some(east)) = (latitude, longitude)
        && north.abs() < 0.01
        && east.abs() < 0.01
    {
        table.wrong(
            "latitude",
            "latitude and longitude are both 0",
            "a spot in the open sea",
            "write the place of the orchard",
        );
    }
    (latitude, longitude)
}

fn zone(table: &Table<'_>, zones: &ZoneData) -> Option<Zone> {
    let name = table.text("zone", 60)?;
    let zone = zones.zone(&name);
    if zone.is_none() {
        let cure = match zones.like(&name) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "a name of the IANA database: area, slash, town, such as \"Europe/Rome\"".to_owned(),
        };
        table.wrong(
            "zone",
            "zone is not known",
            &format!("no zone of this name in data {}", zones.version),
            &cure,
        );
    }
    zone
}

/// Place and zone that do not go together: a wrong sign moves the sun and the weather to another continent.
fn doubt_place(table: &Table<'_>, latitude: f64, longitude: f64, zone: &Zone) {
    let offset = |month: u32| {
        let noon = NaiveDate::from_ymd_opt(2026, month, 1)
            .and_then(|day| day.and_hms_opt(12, 0, 0))
            .unwrap_or_default();
        f64::from(i32::try_from((zone.local(noon.and_utc()) - noon).num_minutes()).unwrap_or_default()) / 60.0
    };
    let (january, july) = (offset(1), offset(7));
    let standard = january.min(july);
    let apart = |longitude: f64| {
        let hours = (standard - longitude / 15.0).rem_euclid(24.0);
        hours.min(24.0 - hours)
    };
    // Clocks run up to three hours off the sun in places; much off, or right with the other sign, is odd.
    let mirrored = apart(longitude) > 1.7 && apart(-longitude) < 0.5;
    if apart(longitude) > 3.5 || mirrored {
        let cure = if mirrored || apart(-longitude) < 2.0 {
            "is the sign of longitude right? West is negative"
        } else {
            "look at both again"
        };
        let at = format!(
            "{longitude} degrees is about {:+.0} h from UTC, {} is {standard:+} h",
            longitude / 15.0,
            zone.name()
        );
        table.doubt("longitude", "longitude and zone do not go together", &at, cure);
    }
    // Summer time tells the hemisphere.
    let northern = july > january;
    if (july - january).abs() > 0.1 && latitude.abs() > 15.0 && northern != (latitude > 0.0) {
        let half = if northern { "northern" } else { "southern" };
        let at = format!("{} has its summer time in the {half} summer", zone.name());
        table.doubt(
            "latitude",
            "latitude and zone do not go together",
            &at,
            "is the sign of latitude right? South is negative",
        );
    }
}

fn people(root: &Table<'_>) -> Vec<Person> {
    let tables = root.tables("people");
    let people: Vec<Person> = tables.iter().map(person).collect();
    for (place, table) in tables.iter().enumerate() {
        let same = |one: &&Person| {
            people
                .get(place)
                .is_some_and(|own| one.email.is_some() && one.email == own.email)
        };
        if people.iter().take(place).any(|one| same(&one)) {
            table.wrong(
                "email",
                "email stands twice",
                "somebody before has it too",
                "one address, one person",
            );
        }
    }
    if !tables.is_empty() && !people.iter().any(|person| person.letter) {
        root.wrong(
            "people",
            "nobody gets the letter",
            "no person with email and letter = true",
            "give one person an email",
        );
    }
    people
}

fn person(table: &Table<'_>) -> Person {
    table.knows(PERSON);
    table.needs(&[("name", "name = \"Tama\"")]);
    let email = table.text("email", 254).filter(|email| {
        let fault = email.parse::<lettre::Address>().err();
        if fault.is_some() {
            table.wrong(
                "email",
                "email is no address",
                &format!("{email}; wanted name@host"),
                "one address only, without < >",
            );
        }
        fault.is_none()
    });
    let letter = table.flag("letter");
    if letter == Some(true) && table.find("email").is_none() {
        table.wrong(
            "letter",
            "letter = true without an address",
            "where to?",
            "write email = \"name@host\"",
        );
    }
    Person {
        name: table.text("name", 40).unwrap_or_default(),
        letter: letter.unwrap_or(email.is_some()) && email.is_some(),
        email,
        role: table.choice("role", ROLES).unwrap_or(Role::Crew),
    }
}

fn crew(table: Option<&Table<'_>>) -> Crew {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
    let mut crew = Crew {
        people: 0,
        workdays: vec![
            Weekday::Mon,
            Weekday::Tue,
            Weekday::Wed,
            Weekday::Thu,
            Weekday::Fri,
            Weekday::Sat,
        ],
        start: clock(7),
        end: clock(17),
        break_start: clock(12),
        break_end: clock(13),
    };
    let Some(table) = table else { return crew };
    table.knows(CREW);
    table.needs(&[("people", "people = 5")]);
    crew.people = table.whole("people", 1, 200).unwrap_or_default();
    crew.workdays = table.weekdays("workdays").unwrap_or(crew.workdays);
    let mut in_order = true;
    for (key, time) in [
        ("start", &mut crew.start),
        ("break_start", &mut crew.break_start),
        ("break_end", &mut crew.break_end),
        ("end", &mut crew.end),
    ] {
        if let Some(read) = table.time(key) {
            *time = read;
        } else if table.find(key).is_some() {
            in_order = false;
        }
    }
    let order = [
        ("start", crew.start),
        ("break_start", crew.break_start),
        ("break_end", crew.break_end),
        ("end", crew.end),
    ];
    for ((before, early), (after, late)) in order.iter().zip(order.iter().skip(1)) {
        let equal_is_fine = *before == "break_start";
        if in_order && (late < early || (late == early && !equal_is_fine)) {
            let at = format!(
                "{after} {} is not after {before} {}",
                late.format("%H:%M"),
                early.format("%H:%M")
            );
            let key = if table.find(after).is_some() { after } else { before };
            table.wrong(
                key,
                "the day is not in order",
                &at,
                "start, break_start, break_end, end, one after the other",
            );
        }
    }
    crew
}

fn machine(table: &Table<'_>) -> Option<Machine> {
    table.knows(MACHINE);
    table.needs(&[("name", "name = \"winder\"")]);
    let speed = Allowed::new(50.0, 3000.0, "m/h");
    let rate = |key| table.number(key, &speed).map(Metres);
    let machine = Machine {
        name: table.text("name", 40)?,
        lay_per_hour: rate("lay_m_per_hour"),
        lift_per_hour: rate("lift_m_per_hour"),
    };
    if table.find("lay_m_per_hour").is_none() && table.find("lift_m_per_hour").is_none() {
        table.wrong(
            "name",
            "neither lays nor lifts",
            "no rate given",
            "write lay_m_per_hour = 700 or lift_m_per_hour = 800",
        );
    }
    Some(machine)
}

fn costs(table: &Table<'_>) -> Costs {
    table.knows(COSTS);
    let usual = Costs::default();
    let money = |key, most, usual| table.number(key, &Allowed::new(0.0, most, "")).unwrap_or(usual);
    Costs {
        currency: table.text("currency", 4).unwrap_or(usual.currency),
        wage_per_hour: money("wage_per_hour", 1.0e6, usual.wage_per_hour),
        tractor_per_hour: money("tractor_per_hour", 1.0e6, usual.tractor_per_hour),
        fold_extra_per_m: money("fold_extra_per_m", 1.0e5, usual.fold_extra_per_m),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_becomes_a_short_key() {
        assert_eq!(slug("Larkrise Orchard (south)"), "larkrise-orchard-south");
        assert_eq!(slug("../.."), "");
    }
}
