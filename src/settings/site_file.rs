//! The `[site]` of `farm.toml`: place, clock, units, and the farm's short name.

use chrono::NaiveDate;

use super::quantity::Allowed;
use super::table::Table;
use super::zone_data::ZoneData;
use crate::farm::FarmId;
use crate::farm::site::Site;
use crate::farm::zone::Zone;
use crate::units::{Degrees, DisplayUnits, Metres};

pub(super) const SITE: &[&str] = &["name", "id", "latitude", "longitude", "elevation_m", "zone", "units"];

const UNITS: &[(&str, DisplayUnits)] = &[("metric", DisplayUnits::Metric), ("imperial", DisplayUnits::Imperial)];

pub(super) fn site(table: &Table<'_>, zones: &ZoneData) -> Option<Site> {
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
pub(super) fn nowhere() -> Option<Site> {
    Some(Site {
        name: String::new(),
        latitude: Degrees(0.0),
        longitude: Degrees(0.0),
        elevation: Metres(0.0),
        zone: Zone::named("Etc/UTC")?,
        units: DisplayUnits::Metric,
    })
}

pub(super) fn farm_id(table: &Table<'_>, folder_name: &str) -> FarmId {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_becomes_a_short_key() {
        assert_eq!(slug("Larkrise Orchard (south)"), "larkrise-orchard-south");
        assert_eq!(slug("../.."), "");
    }
}
