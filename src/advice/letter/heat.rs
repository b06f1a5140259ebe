//! Heat over the white cover, by the wet bulb globe temperature (WBGT).
//!
//! In:     air, dew point, wind and sunlight of each run; the site's place and height.
//! Out:    when it gets hot for a crew, in words.
//! Source: WBGT by Liljegren et al. 2008; limits of NIOSH 2016-106 (from memory): the recommended exposure limit of
//!         a crew used to heat, the recommended alert limit of people who are not. Laying and lifting is moderate
//!         work, 300 W: ISO 8996 (from memory).
//! Valid:  the method knows ground that reflects 0.45; a white cover throws back more, so the truth is no cooler.

use chrono::{Datelike, TimeDelta, Timelike};

use super::care::{Danger, Hours};
use super::morning::Morning;
use crate::advice::spread::{Spread, spread};
use crate::physics::heat::{Crew, wbgt_limit_c, wbgt_simple_c};
use crate::physics::sky::{diffuse_share, extraterrestrial};
use crate::physics::sun::SunTrack;
use crate::physics::vapour::{humidity, pressure_kpa};
use crate::physics::wbgt::{Outdoors, wbgt_c};
use crate::weather::Run;

/// Work of laying and lifting \[W\].
const WORK_W: f64 = 300.0;
/// Below the lower limit by less than this, an hour without weather may be too hot \[K\]. Assumed.
const NEAR_K: f64 = 5.0;

impl Morning<'_> {
    pub(super) fn heat(&self, hours: &Hours<'_>) -> Option<(Danger, String)> {
        let wbgt = self.wbgt(hours);
        let from = |over: &dyn Fn(&Spread) -> bool| {
            let found = wbgt.iter().find(|(_, wbgt)| wbgt.as_ref().is_some_and(over));
            found.map(|(k, _)| self.words.clock(hours.weather.stamps.start(*k)))
        };
        let (used, new) = (
            wbgt_limit_c(Crew::Acclimatised, WORK_W),
            wbgt_limit_c(Crew::New, WORK_W),
        );
        if let Some(at) = from(&|wbgt| wbgt.middle >= used) {
            let said = format!(
                "Hot over the white cover from {at}: water, shade, shorter turns. Local heat rules come first."
            );
            return Some((Danger::Heat, said));
        }
        if let Some(at) = from(&|wbgt| wbgt.high >= used) {
            let said =
                format!("Perhaps hot over the white cover from {at}: water and shade. Local heat rules come first.");
            return Some((Danger::PerhapsHeat, said));
        }
        if let Some(at) = from(&|wbgt| wbgt.middle >= new) {
            let said = format!(
                "Warm over the white cover from {at}: hard on whoever is new to heat. Water, shade. Local heat rules \
                 come first."
            );
            return Some((Danger::PerhapsHeat, said));
        }
        let known = wbgt.iter().filter_map(|(_, wbgt)| *wbgt);
        let warmest = known.map(|wbgt| wbgt.high).reduce(f64::max);
        let holes = wbgt.iter().any(|(_, wbgt)| wbgt.is_none());
        (holes && warmest.is_none_or(|warmest| warmest >= new - NEAR_K)).then(|| {
            let said = "How hot it gets is not known: keep water and shade at hand.".to_owned();
            (Danger::PerhapsHeat, said)
        })
    }

    /// WBGT \[°C\] of each crew hour.
    fn wbgt(&self, hours: &Hours<'_>) -> Vec<(usize, Option<Spread>)> {
        let (site, stamps) = (&self.inputs.farm.site, &hours.weather.stamps);
        let track = SunTrack::over(site.latitude.0, site.longitude.0, hours.from, hours.to);
        let pressure_hpa = 10.0 * pressure_kpa(site.elevation.0);
        let of_hour = |k: usize| {
            let middle = stamps.at(k) - TimeDelta::minutes(30);
            let sun = track.at(middle).up;
            let outside = extraterrestrial(f64::from(middle.ordinal0()) + f64::from(middle.hour()) / 24.0);
            let of_run = |run: &Run| {
                let air_c = run.temperature.get(k)?;
                let humidity_pct = 100.0 * humidity(air_c, run.dew_point.get(k)?).min(1.0);
                let (Some(wind), Some(shortwave)) = (run.wind.get(k), run.shortwave.get(k)) else {
                    // Full sun and little wind are taken: never cooler than it is.
                    return Some(wbgt_simple_c(air_c, humidity_pct));
                };
                Some(wbgt_c(&Outdoors {
                    air_c,
                    humidity_pct,
                    wind,
                    shortwave,
                    direct_share: 1.0 - diffuse_share(shortwave, sun, outside),
                    cos_zenith: sun,
                    pressure_hpa,
                }))
            };
            spread(hours.weather.runs.iter().map(of_run))
        };
        hours.rows().map(|k| (k, of_hour(k))).collect()
    }
}
