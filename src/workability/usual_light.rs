//! Light that a cover usually gets on a day for which nothing is forecast.
//!
//! Without a climate table it is a share of the light of a cloudless day; the share is assumed.

use chrono::{NaiveDate, TimeDelta};

use crate::alley::Alley;
use crate::farm::zone::Zone;
use crate::physics::Sunlight;
use crate::units::Megajoules;
use crate::weather::{Stamps, estimate};

/// Usual light over that of a cloudless day. Assumed.
const OF_CLEAR: f64 = 0.55;

/// Usual light at the cover on one local day.
pub fn usual_light(alley: &Alley, zone: &Zone, day: NaiveDate) -> Megajoules {
    let begin = zone.day_start(day);
    let stamps = Stamps {
        first: begin + TimeDelta::hours(1),
        count: 24,
    };
    let light = Sunlight::of(alley, stamps);
    let steps = light.hours.iter().flat_map(|hour| &hour.steps);
    let sum: f64 = steps
        .map(|step| {
            let clear = estimate::shortwave(step.sin_elevation, 0.0);
            step.at_cover(OF_CLEAR * clear, light.sky_view)
        })
        .sum();
    // Six steps an hour of 600 s each.
    Megajoules(sum * 600.0 / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Megajoules {
        let alley = Alley {
            lat: 46.5,
            lon: 11.3,
            ..Alley::default()
        };
        usual_light(&alley, &Zone::named("Europe/Rome").unwrap(), text.parse().unwrap())
    }

    #[test]
    fn a_summer_day_usually_brings_more_light_under_the_trees_than_an_autumn_day() {
        let (summer, autumn) = (day("2026-06-21").0, day("2026-10-21").0);
        assert!(summer > 1.5 * autumn && autumn > 0.5, "{summer} {autumn}");
        assert!(summer < 18.0, "{summer}");
    }

    #[test]
    fn in_the_polar_night_there_is_none() {
        let alley = Alley {
            lat: 75.0,
            lon: 20.0,
            ..Alley::default()
        };
        let light = usual_light(&alley, &Zone::named("UTC").unwrap(), "2026-12-20".parse().unwrap());
        assert!(light.0.abs() < 1e-12);
    }
}
