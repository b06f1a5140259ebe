//! A forecast as one service gave it, and how old it is by its content.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::{Credit, Quantity, Run, Stamps};
use crate::units::{Degrees, Metres};

/// One reply turned into canonical hours.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Who gave it.
    pub credit: Credit,
    /// Where the service says it is for: grid point and its height.
    pub place: Place,
    /// Its time axis.
    pub stamps: Stamps,
    /// The members; one for a deterministic forecast.
    pub runs: Vec<Run>,
    /// Whether these are members of an ensemble or a single best forecast.
    pub kind: Kind,
    /// How each quantity came to be. One that is not named is optional and not in the reply.
    pub offers: BTreeMap<Quantity, Offer>,
    /// When it was issued, and how that is known.
    pub issue: Issue,
    /// When it was fetched.
    pub fetched: DateTime<Utc>,
    /// Values refused because no weather is like that.
    pub rejected: usize,
    /// First stamp at which a value comes from a step longer than an hour; `None` if all are hourly.
    pub coarse_from: Option<DateTime<Utc>>,
}

/// A point of a forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Latitude.
    pub latitude: Degrees,
    /// Longitude.
    pub longitude: Degrees,
    /// Height of the grid point, if told.
    pub elevation: Option<Metres>,
}

/// Distance \[km\] and height difference \[m\] beyond which a forecast is for another place, and said to be.
/// Assumed.
pub const FAR_KM: f64 = 20.0;
/// See [`FAR_KM`].
pub const FAR_M: f64 = 150.0;
/// Mean radius of the earth \[km\], IUGG.
const EARTH_KM: f64 = 6371.0088;

/// How far two places lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Along the ground \[km\].
    pub km: f64,
    /// How much higher the first lies \[m\], where both heights are known.
    pub metres: Option<f64>,
}

impl Place {
    /// How far this place lies from another: great circle by the haversine formula.
    pub fn apart(&self, other: &Self) -> Apart {
        let (here, there) = (self.latitude.0.to_radians(), other.latitude.0.to_radians());
        let east = (self.longitude.0 - other.longitude.0).to_radians();
        let share = ((here - there) / 2.0).sin().powi(2) + here.cos() * there.cos() * (east / 2.0).sin().powi(2);
        Apart {
            km: 2.0 * EARTH_KM * share.sqrt().min(1.0).asin(),
            metres: self
                .elevation
                .zip(other.elevation)
                .map(|(here, there)| here.0 - there.0),
        }
    }
}

impl Forecast {
    /// A sentence for the reader, if this single forecast is for a place far from the site or much higher or lower.
    pub fn far_off(&self, site: &Place) -> Option<String> {
        let Apart { km, metres } = self.place.apart(site);
        let high = metres.filter(|metres| metres.abs() > FAR_M);
        if self.kind == Kind::Members || (km <= FAR_KM && high.is_none()) {
            return None;
        }
        let height = high.map(|metres| {
            let side = if metres > 0.0 { "higher" } else { "lower" };
            format!("{:.0} m {side}", metres.abs())
        });
        let way = (km > FAR_KM).then(|| format!("{km:.0} km away"));
        let off: Vec<String> = way.into_iter().chain(height).collect();
        Some(format!("{} is for a place {}.", self.credit.service, off.join(" and ")))
    }
}

/// One best forecast, or members.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A single forecast: no chance can be given.
    Single,
    /// Members of an ensemble, equally likely.
    Members,
}

/// How a quantity came into the canonical hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Offer {
    /// As the service gave it.
    Given,
    /// The service does not offer it; a rule of `weather` filled it in.
    Estimated,
    /// Offered, but refused: unit unknown, or too many impossible values. Its hours are holes.
    Refused,
    /// In the service's reply before this one and gone from this one. Its hours are holes.
    Gone,
}

/// When a forecast was issued.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Issue {
    /// Time from which its age counts.
    pub at: DateTime<Utc>,
    /// How that is known.
    pub basis: IssueBasis,
}

/// How the issue time is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum IssueBasis {
    /// The data or the service's own run-time file says so.
    Said,
    /// Fetch time of the first reply whose values differed from the one before.
    ValuesChanged,
    /// Taken from the days the reply covers: there was no earlier reply to compare with.
    Implied,
}

/// What sort of product it is; it sets how long a forecast counts as fresh.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Product {
    /// Hourly model: 2 h between updates, 3 h until it is out.
    HourlyModel,
    /// Global model or ensemble: 6 h between updates, 9 h until it is out.
    SixHourlyModel,
}

/// How far a forecast may be trusted by its age.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Freshness {
    /// Within one update interval and its delay.
    Fresh,
    /// Within one more such span: said so, maybe at best.
    Old,
    /// Older: nothing may be judged by it.
    Unknown,
}

impl Product {
    /// Update interval plus publication delay.
    pub fn span(self) -> TimeDelta {
        match self {
            Self::HourlyModel => TimeDelta::hours(5),
            Self::SixHourlyModel => TimeDelta::hours(15),
        }
    }

    /// Time between two updates.
    pub fn interval(self) -> TimeDelta {
        match self {
            Self::HourlyModel => TimeDelta::hours(2),
            Self::SixHourlyModel => TimeDelta::hours(6),
        }
    }

    /// Whether two updates have been missed: the service gives the same forecast again and again.
    pub fn is_stuck(self, issued: DateTime<Utc>, now: DateTime<Utc>) -> bool {
        now - issued > self.span() + self.interval()
    }

    /// Freshness at `now` of a forecast issued at `issued`: two spans, and never more than 24 h, of use.
    pub fn freshness(self, issued: DateTime<Utc>, now: DateTime<Utc>) -> Freshness {
        let age = now - issued;
        if age <= self.span() {
            Freshness::Fresh
        } else if age <= (self.span() * 2).min(TimeDelta::hours(24)) {
            Freshness::Old
        } else {
            Freshness::Unknown
        }
    }

    /// From when a forecast issued at `issued` may no longer be judged by.
    pub fn turns_unknown(self, issued: DateTime<Utc>) -> DateTime<Utc> {
        issued + (self.span() * 2).min(TimeDelta::hours(24))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_forecast_ages_from_fresh_to_old_to_unknown_and_never_lasts_past_a_day() {
        let issued: DateTime<Utc> = "2026-03-10T00:00:00Z".parse().unwrap();
        let after = |product: Product, hours: i64| product.freshness(issued, issued + TimeDelta::hours(hours));
        assert_eq!(after(Product::HourlyModel, 5), Freshness::Fresh);
        assert_eq!(after(Product::HourlyModel, 6), Freshness::Old);
        assert_eq!(after(Product::HourlyModel, 11), Freshness::Unknown);
        assert_eq!(after(Product::SixHourlyModel, 15), Freshness::Fresh);
        assert_eq!(after(Product::SixHourlyModel, 24), Freshness::Old);
        assert_eq!(after(Product::SixHourlyModel, 25), Freshness::Unknown);
    }
}
