//! What goes into an hour of the cover's balance and what comes out of it.

use crate::alley::Alley;

/// Weather of one hour; instants at its stamp, sums and means over the hour before.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hour {
    /// Air at 2 m \[°C\].
    pub air_c: f64,
    /// Dew point at 2 m \[°C\], not yet corrected for the site.
    pub dew_c: f64,
    /// Wind at 10 m \[m/s\].
    pub wind: f64,
    /// Highest gust at 10 m \[m/s\].
    pub gust: f64,
    /// Where the wind comes from \[degrees\].
    pub direction_deg: f64,
    /// Rain \[mm\].
    pub rain_mm: f64,
    /// Irrigation on the ground under the cover \[mm\].
    pub irrigation_mm: f64,
    /// Global radiation on the level \[W/m²\].
    pub shortwave: f64,
    /// Cloud, 0 to 1.
    pub cloud: f64,
}

/// How much is known of an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Row {
    /// Everything.
    Known(Hour),
    /// Rain, and the rest from its neighbours: nothing dries in it and the most dew falls.
    Bridged(Hour),
    /// Not enough: afterwards all stores are full until both faces have been dry.
    Hole,
}

impl Row {
    /// The hour as far as it is known.
    pub fn hour(&self) -> Option<&Hour> {
        match self {
            Self::Known(hour) | Self::Bridged(hour) => Some(hour),
            Self::Hole => None,
        }
    }
}

/// What is on the cover when a run starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// Nothing.
    Empty,
    /// As much as it holds; not known until both faces have been dry.
    Full,
}

/// One hour of the cover.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CoverHour {
    /// Water on top at the end \[mm\].
    pub film_mm: f64,
    /// Water in puddles at the end \[mm\].
    pub pond_mm: f64,
    /// Water on the underside at the end \[mm\].
    pub under_mm: f64,
    /// Cloth in the last sub-step \[°C\].
    pub sheet_c: f64,
    /// Ground surface at the end \[°C\].
    pub ground_c: f64,
    /// Water in the top soil at the end \[mm\].
    pub soil_mm: f64,
    /// Share of the hour in which the top is wet.
    pub wet_top: f64,
    /// Share of the hour in which the underside is wet.
    pub wet_under: f64,
    /// Evaporation from film and puddles, negative for dew \[mm\].
    pub evap_top_mm: f64,
    /// Evaporation from the underside, negative for dew \[mm\].
    pub evap_under_mm: f64,
    /// Water that ran off \[mm\].
    pub runoff_mm: f64,
    /// Water that dripped from the underside \[mm\].
    pub drip_mm: f64,
    /// Mean light at the cover \[W/m²\].
    pub light: f64,
    /// Mean wind at the cover \[m/s\].
    pub wind: f64,
    /// Largest left-over of the heat balance \[W/m²\].
    pub residual: f64,
    /// Whether the water is known: no hole since both faces were last dry.
    pub water_known: bool,
    /// Whether the run has met an hour that was not fully known.
    pub doubtful: bool,
}

impl CoverHour {
    /// Whether the top is wet at the end of the hour.
    pub fn top_is_wet(&self, alley: &Alley) -> bool {
        self.film_mm >= alley.wet_thr_mm
    }

    /// Whether the underside is wet at the end of the hour.
    pub fn under_is_wet(&self, alley: &Alley) -> bool {
        self.under_mm >= alley.wet_thr_mm
    }

    /// Whether the water on either face is frost.
    pub fn is_frost(&self, alley: &Alley) -> bool {
        self.sheet_c < 0.0 && (self.top_is_wet(alley) || self.under_is_wet(alley))
    }
}
