//! How workable one hour is for one job: each factor 0 to 1, and the hour is worth its weakest.

use super::verdict::{Conditions, Factor};
use crate::farm::Job;
use crate::farm::limits::{Limits, Ramp};

/// Worth of an hour from which a job succeeds in it.
pub const SUCCESS: f64 = 0.35;

/// Everything of an hour that is the same for all jobs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Elevation of the sun half an hour before the stamp \[degrees\].
    pub elevation_deg: f64,
    /// Whether thunder is about.
    pub thunder: bool,
    /// Whether snow falls or lies.
    pub snow: bool,
    /// Water, wind and warmth.
    pub conditions: Conditions,
}

/// Worth of one hour for one job under each factor, in the order of [`Factor`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worths([f64; FACTORS.len()]);

/// All factors in the order in which ties are broken.
pub const FACTORS: [Factor; 11] = [
    Factor::Daylight,
    Factor::Lightning,
    Factor::Gust10,
    Factor::GustCover,
    Factor::Rain,
    Factor::Film,
    Factor::Under,
    Factor::Pond,
    Factor::Cold,
    Factor::Heat,
    Factor::Snow,
];

impl Worths {
    /// The worths of an hour.
    pub fn of(job: Job, limits: &Limits, hour: &Setting) -> Self {
        let of_job = limits.of(job);
        let seen = &hour.conditions;
        let optional = |limit: Option<Ramp>, value: f64| limit.map_or(1.0, |limit| worth(limit, value));
        let air = [worth(limits.cold, seen.air.0), worth(limits.heat, seen.air.0)];
        let light = [daylight(hour.elevation_deg), f64::from(u8::from(!hour.thunder))];
        if job == Job::Redry {
            // Spreading asks for no rain and little wind at the cover; the rest is light, thunder and people.
            let calm = f64::from(u8::from(seen.gust_cover.0 <= limits.redry_gust_cover));
            let dry = f64::from(u8::from(seen.rain.0 <= 0.0));
            return Self([light[0], light[1], 1.0, calm, dry, 1.0, 1.0, 1.0, air[0], air[1], 1.0]);
        }
        let snow_stops = hour.snow && matches!(job, Job::Lay | Job::Lift);
        Self([
            light[0],
            light[1],
            worth(of_job.gust, seen.gust.0),
            optional(of_job.gust_cover, seen.gust_cover.0),
            worth(of_job.rain, seen.rain.0),
            optional(of_job.film, seen.film.0),
            optional(of_job.under, seen.under.0),
            optional(of_job.pond, seen.pond.0),
            air[0],
            air[1],
            f64::from(u8::from(!snow_stops)),
        ])
    }

    /// Worth of the hour and the first factor that sets it.
    pub fn weakest(&self) -> (f64, Factor) {
        let mut found = (f64::INFINITY, Factor::Daylight);
        for (factor, worth) in self.iter() {
            if worth < found.0 {
                found = (worth, factor);
            }
        }
        found
    }

    /// Worth of the hour when `factor` is left out of account.
    pub fn without(&self, factor: Factor) -> f64 {
        self.iter()
            .filter(|(other, _)| *other != factor)
            .map(|(_, worth)| worth)
            .fold(1.0, f64::min)
    }

    /// Worth under one factor.
    pub fn get(&self, factor: Factor) -> f64 {
        self.iter()
            .find(|(other, _)| *other == factor)
            .map_or(1.0, |(_, worth)| worth)
    }

    /// Each factor with its worth.
    pub fn iter(&self) -> impl Iterator<Item = (Factor, f64)> + '_ {
        FACTORS.into_iter().zip(self.0)
    }
}

/// The value of an hour that a factor judges, in the factor's own unit.
pub fn value(factor: Factor, hour: &Setting) -> Option<f64> {
    let seen = &hour.conditions;
    match factor {
        Factor::Gust10 => Some(seen.gust.0),
        Factor::GustCover => Some(seen.gust_cover.0),
        Factor::Rain => Some(seen.rain.0),
        Factor::Film => Some(seen.film.0),
        Factor::Under => Some(seen.under.0),
        Factor::Pond => Some(seen.pond.0),
        Factor::Cold | Factor::Heat => Some(seen.air.0),
        Factor::Daylight | Factor::Lightning | Factor::Snow => None,
    }
}

/// Worth of a window from the worths of its hours, 0 to 100; 0 if any hour stops the job.
pub fn window_score(hours: impl Iterator<Item = f64>) -> f64 {
    let (mut least, mut sum, mut count) = (1.0_f64, 0.0, 0.0);
    for worth in hours {
        least = least.min(worth);
        sum += worth;
        count += 1.0;
    }
    if least <= 0.0 || count < 1.0 {
        0.0
    } else {
        100.0 * (0.6 * least + 0.4 * sum / count)
    }
}

/// Worth of a value under a limit.
#[inline]
fn worth(limit: Ramp, value: f64) -> f64 {
    let span = limit.bad - limit.good;
    // Most values lie beyond one end or the other, and a division is dear.
    let (fine, hopeless) = if span > 0.0 {
        (value <= limit.good, value >= limit.bad)
    } else if span < 0.0 {
        (value >= limit.good, value <= limit.bad)
    } else {
        (value <= limit.good, true)
    };
    let ramp = if fine {
        1.0
    } else if hopeless {
        0.0
    } else {
        ((limit.bad - value) / span).clamp(0.0, 1.0)
    };
    ramp.max(limit.floor)
}

/// Full worth with the sun up, a third in civil twilight.
fn daylight(elevation_deg: f64) -> f64 {
    if elevation_deg >= 0.0 {
        1.0
    } else if elevation_deg >= -6.0 {
        0.3
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::float_cmp, reason = "worths are exact at the ends of a ramp")]

    use proptest::prelude::*;

    use super::*;
    use crate::units::{Celsius, MetresPerSecond, Millimetres};

    fn fine() -> Setting {
        Setting {
            elevation_deg: 30.0,
            thunder: false,
            snow: false,
            conditions: Conditions {
                gust: MetresPerSecond(3.0),
                gust_cover: MetresPerSecond(1.0),
                rain: Millimetres(0.0),
                film: Millimetres(0.0),
                under: Millimetres(0.0),
                pond: Millimetres(0.0),
                air: Celsius(15.0),
            },
        }
    }

    fn lift(hour: &Setting) -> (f64, Factor) {
        Worths::of(Job::Lift, &Limits::default(), hour).weakest()
    }

    #[test]
    fn a_fine_hour_is_worth_everything_for_every_job() {
        for job in Job::ALL {
            assert_eq!(
                Worths::of(job, &Limits::default(), &fine()).weakest(),
                (1.0, Factor::Daylight)
            );
        }
    }

    #[test]
    fn thunder_and_snow_stop_the_work() {
        assert_eq!(
            lift(&Setting {
                thunder: true,
                ..fine()
            }),
            (0.0, Factor::Lightning)
        );
        assert_eq!(lift(&Setting { snow: true, ..fine() }), (0.0, Factor::Snow));
        let fold = Worths::of(Job::Fold, &Limits::default(), &Setting { snow: true, ..fine() });
        assert_eq!(fold.weakest().0, 1.0);
    }

    #[test]
    fn between_good_and_bad_the_worth_falls_evenly_and_the_first_factor_is_named() {
        let mut hour = fine();
        hour.conditions.gust = MetresPerSecond(9.0);
        hour.conditions.gust_cover = MetresPerSecond(3.75);
        let (worth, factor) = lift(&hour);
        assert!((worth - 0.5).abs() < 1e-12);
        assert_eq!(factor, Factor::Gust10);
    }

    #[test]
    fn wet_grass_never_stops_laying_alone() {
        let mut hour = fine();
        hour.conditions.film = Millimetres(2.0);
        let (worth, factor) = Worths::of(Job::Lay, &Limits::default(), &hour).weakest();
        assert!((SUCCESS..1.0).contains(&worth));
        assert_eq!(factor, Factor::Film);
    }

    #[test]
    fn the_grower_s_own_limit_is_the_one_that_counts() {
        let mut limits = Limits::default();
        limits.lift.gust = Ramp {
            good: 2.0,
            bad: 3.0,
            floor: 0.0,
        };
        assert_eq!(Worths::of(Job::Lift, &limits, &fine()).weakest(), (0.0, Factor::Gust10));
        limits.lift.gust = Ramp {
            good: 3.0,
            bad: 3.0,
            floor: 0.0,
        };
        assert_eq!(Worths::of(Job::Lift, &limits, &fine()).weakest().0, 1.0);
    }

    #[test]
    fn one_stopped_hour_stops_the_window() {
        assert_eq!(window_score([1.0, 0.0, 1.0].into_iter()), 0.0);
        assert!((window_score([1.0, 0.5].into_iter()) - 60.0).abs() < 1e-9);
        assert_eq!(window_score(std::iter::empty()), 0.0);
    }

    proptest! {
        #[test]
        fn more_wind_rain_or_water_never_makes_an_hour_better(
            gust in 0.0..20.0_f64, cover in 0.0..8.0_f64, rain in 0.0..3.0_f64, film in 0.0..0.6_f64,
            under in 0.0..0.3_f64, pond in 0.0..1.0_f64, which in 0..6_usize, more in 0.0..5.0_f64,
        ) {
            let mut hour = fine();
            let seen = &mut hour.conditions;
            (seen.gust.0, seen.gust_cover.0, seen.rain.0) = (gust, cover, rain);
            (seen.film.0, seen.under.0, seen.pond.0) = (film, under, pond);
            let mut worse = hour;
            let seen = &mut worse.conditions;
            *[&mut seen.gust.0, &mut seen.gust_cover.0, &mut seen.rain.0, &mut seen.film.0, &mut seen.under.0,
              &mut seen.pond.0][which] += more;
            for job in Job::ALL {
                let worth = |hour| Worths::of(job, &Limits::default(), hour).weakest().0;
                prop_assert!(worth(&worse) <= worth(&hour));
            }
        }
    }
}
