//! Sun, hedge shade and sky view of one block over a stretch of hours: the same for all runs of the
//! weather, so computed once and shared.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};

use super::SUB_STEPS;
use super::hedge::Hedges;
use super::sky;
use super::sun::SunTrack;
use crate::alley::Alley;
use crate::weather::Stamps;

/// The light of a block, hour by hour.
#[derive(Debug, Clone, PartialEq)]
pub struct Sunlight {
    /// One entry an hour, on the stamps it was made for.
    pub hours: Vec<SunHour>,
    /// Share of the sky the cover sees.
    pub sky_view: f64,
}

/// The light of one hour.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SunHour {
    /// Sub-steps of the hour in time order, each at its middle.
    pub steps: [SunStep; SUB_STEPS],
    /// Sum of the sines of the elevation while the sun is up.
    pub weight: f64,
    /// Elevation half an hour before the stamp \[degrees\].
    pub elevation_deg: f64,
}

/// The light of one sub-step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SunStep {
    /// Sine of the elevation.
    pub sin_elevation: f64,
    /// Share of the direct beam that reaches the cover.
    pub beam: f64,
    /// Irradiance outside the air \[W/m²\].
    pub outside: f64,
}

impl SunStep {
    /// Light at the cover \[W/m²\] when the level outside gets `shortwave` \[W/m²\].
    pub fn at_cover(&self, shortwave: f64, sky_view: f64) -> f64 {
        if shortwave <= 0.0 {
            return 0.0;
        }
        let diffuse = sky::diffuse_share(shortwave, self.sin_elevation, self.outside);
        shortwave * ((1.0 - diffuse) * self.beam + diffuse * sky_view)
    }
}

impl SunHour {
    /// Shortwave of sub-step `step` \[W/m²\] when the hour's mean is `mean`: follows the sun and keeps the mean.
    pub fn shortwave(&self, step: &SunStep, mean: f64) -> f64 {
        if self.weight > 1e-6 {
            mean * 6.0 * step.sin_elevation.max(0.0) / self.weight
        } else {
            mean
        }
    }
}

impl Sunlight {
    /// The light of a block over the hours of `stamps`.
    pub fn of(alley: &Alley, stamps: Stamps) -> Self {
        Self::under(alley, stamps, &Self::track(alley, stamps))
    }

    /// The sun over the place of a block, to be shared by blocks of one place.
    pub fn track(alley: &Alley, stamps: Stamps) -> SunTrack {
        SunTrack::over(alley.lat, alley.lon, stamps.start(0), stamps.at(stamps.count))
    }

    /// The light of a block under a sun already tracked for its place and these hours.
    pub fn under(alley: &Alley, stamps: Stamps, track: &SunTrack) -> Self {
        let hedges = Hedges::of(alley);
        let sky_view = hedges.map_or(1.0, |hedges| hedges.sky_view());
        let hours = (0..stamps.count)
            .map(|k| hour(hedges.as_ref(), track, stamps.start(k)))
            .collect();
        Self { hours, sky_view }
    }
}

fn hour(hedges: Option<&Hedges>, track: &SunTrack, start: DateTime<Utc>) -> SunHour {
    let mut hour = SunHour {
        elevation_deg: track.at(start + TimeDelta::seconds(1800)).elevation_deg(),
        ..SunHour::default()
    };
    let mut middle = start + TimeDelta::seconds(300);
    for step in &mut hour.steps {
        let sun = track.at(middle);
        step.sin_elevation = sun.up;
        if sun.up > 0.0 {
            step.beam = match hedges {
                Some(hedges) => hedges.beam(sun.up, sun.north, sun.east),
                None => 1.0,
            };
            step.outside = sky::extraterrestrial(day_of_year(middle));
            hour.weight += sun.up;
        }
        middle += TimeDelta::seconds(600);
    }
    hour
}

/// Days since 1 January 00:00 UTC, fractional.
fn day_of_year(at: DateTime<Utc>) -> f64 {
    let new_year = NaiveDate::from_ymd_opt(at.year(), 1, 1)
        .unwrap_or(NaiveDate::MIN)
        .and_hms_opt(0, 0, 0)
        .unwrap_or_default();
    #[expect(clippy::cast_precision_loss, reason = "seconds of a year")]
    let days = (at.naive_utc() - new_year).num_seconds() as f64 / 86_400.0;
    days
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sub_steps_keep_the_mean_of_the_hour_through_dawn() {
        let stamps = Stamps {
            first: "2026-03-10T00:00:00Z".parse().unwrap(),
            count: 48,
        };
        let alley = Alley {
            lat: 46.5,
            lon: 11.3,
            ..Alley::default()
        };
        let light = Sunlight::of(&alley, stamps);
        for hour in &light.hours {
            let sum: f64 = hour.steps.iter().map(|step| hour.shortwave(step, 300.0)).sum();
            assert!((sum / 6.0 - 300.0).abs() < 1e-9);
        }
        assert!(light.hours.iter().any(|hour| hour.elevation_deg > 30.0));
        assert!(light.sky_view > 0.2 && light.sky_view < 0.8);
    }
}
