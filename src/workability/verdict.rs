//! Verdicts and the reasons they carry.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::units::{Celsius, MetresPerSecond, Millimetres};
use crate::weather::Quantity;

/// What can be said of a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Something needed is not known.
    Unknown,
    /// It will not work.
    No,
    /// It may work; look again.
    Maybe,
    /// Do it.
    Go,
}

/// What holds an hour back, in the order in which ties are broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Factor {
    /// Too dark.
    Daylight,
    /// Thunder about.
    Lightning,
    /// Gust at 10 m.
    Gust10,
    /// Gust at the cover inside the rows.
    GustCover,
    /// Rain.
    Rain,
    /// Water on top.
    Film,
    /// Water on the underside.
    Under,
    /// Puddles.
    Pond,
    /// Too cold for the crew.
    Cold,
    /// Too hot for the crew.
    Heat,
    /// Snow lies or falls.
    Snow,
}

impl Factor {
    /// The word printed in the reason columns of `trace`.
    pub fn code(self) -> &'static str {
        match self {
            Self::Daylight => "daylight",
            Self::Lightning => "lightning",
            Self::Gust10 => "gust10",
            Self::GustCover => "gust_cover",
            Self::Rain => "rain",
            Self::Film => "film",
            Self::Under => "under",
            Self::Pond => "pond",
            Self::Cold => "cold",
            Self::Heat => "heat",
            Self::Snow => "snow",
        }
    }
}

/// One thing that holds a window back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reason {
    /// What.
    pub factor: Factor,
    /// Its worst value in the window, in the factor's own unit (m/s, mm, mm/h, °C).
    pub value: Option<f64>,
    /// Worth of the hour under this factor, 0 to 1.
    pub worth: f64,
    /// The span of hours of that local day in which this factor stops the job, if it does.
    pub from: Option<DateTime<Utc>>,
    /// End of that span; `None` where it lasts to the end of the day's light.
    pub until: Option<DateTime<Utc>>,
}

/// Something a reader must know beside the reasons.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Remark {
    /// Damp at best: roll and re-dry.
    Damp,
    /// Only the modelled underside holds it back: feel it at the shaded edge.
    FeelUnderside {
        /// When to feel.
        at: DateTime<Utc>,
    },
    /// Only puddles in the sags hold it back: they can be tipped off.
    TipPuddles,
    /// A gale follows within 24 h of laying or folding.
    GaleAfter {
        /// First hour in which ties could be beaten.
        at: DateTime<Utc>,
        /// Expected gust there.
        gust: MetresPerSecond,
    },
    /// The forecast is old: maybe at best.
    OldForecast,
    /// The gust was estimated from the wind: maybe at best.
    EstimatedGust,
    /// The forecast does not tell this quantity at all, or it was estimated: maybe at best.
    NotTold {
        /// The quantity.
        quantity: Quantity,
    },
    /// The forecast tells this time in steps of several hours only: maybe at best.
    LongSteps,
    /// An official wind warning holds in these hours: maybe at best.
    OfficialWarning,
    /// The main forecast fails where the members pass.
    MainDisagrees {
        /// What the main forecast stops at.
        factor: Factor,
    },
    /// One forecast only: no chance is given.
    OneForecast,
    /// The cover's state is not known until it has been seen dry.
    WetnessNotKnown,
    /// An hour of it is not known.
    Missing {
        /// What is missing.
        missing: Missing,
        /// The first such hour.
        at: DateTime<Utc>,
    },
}

/// What an hour cannot be judged without.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Missing {
    /// A quantity of the forecast.
    Weather(Quantity),
    /// The forecast is too old.
    TooOld,
    /// The forecast ends before.
    BeyondForecast,
}

/// Water, wind and warmth of one hour as the limits see them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Gust at 10 m.
    pub gust: MetresPerSecond,
    /// Gust at the cover inside the rows.
    pub gust_cover: MetresPerSecond,
    /// Rain in the hour.
    pub rain: Millimetres,
    /// Water on top, the worst that counts.
    pub film: Millimetres,
    /// Water on the underside, the worst that counts.
    pub under: Millimetres,
    /// Water in puddles, the worst that counts.
    pub pond: Millimetres,
    /// Air temperature.
    pub air: Celsius,
}
