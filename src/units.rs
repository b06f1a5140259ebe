//! Quantities, one type each, and how a reader wants them printed.
//!
//! A number that crosses a function has its unit in the type; a bare number has it in its name.
//! Values are SI (or the trade's metric unit) inside; [`Display`](DisplayUnits) is for the edge.

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);
    };
}

quantity!(
    /// Length, distance or height \[m\].
    Metres
);
quantity!(
    /// Temperature \[°C\].
    Celsius
);
quantity!(
    /// Wind speed \[m/s\].
    MetresPerSecond
);
quantity!(
    /// Depth of water \[mm\], which is litres per square metre.
    Millimetres
);
quantity!(
    /// Angle \[degrees\], clockwise from north where it is a direction.
    Degrees
);
quantity!(
    /// Irradiance \[W/m²\].
    WattsPerSquareMetre
);
quantity!(
    /// Light dose \[MJ/m²\].
    Megajoules
);
quantity!(
    /// Duration \[h\].
    Hours
);

/// The units a farm wants to read. Files always hold metric values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DisplayUnits {
    /// km/h, mm, m, °C.
    #[default]
    Metric,
    /// mph, inches, feet, °F.
    Imperial,
}

impl DisplayUnits {
    /// Wind in the reader's unit, unrounded (km/h or mph).
    pub fn wind(self, speed: MetresPerSecond) -> f64 {
        match self {
            Self::Metric => speed.0 * 3.6,
            Self::Imperial => speed.0 / 0.447_04,
        }
    }

    /// Rain in the reader's unit, unrounded (mm or inches).
    pub fn rain(self, depth: Millimetres) -> f64 {
        match self {
            Self::Metric => depth.0,
            Self::Imperial => depth.0 / 25.4,
        }
    }

    /// Length in the reader's unit, unrounded (m or feet).
    pub fn length(self, length: Metres) -> f64 {
        match self {
            Self::Metric => length.0,
            Self::Imperial => length.0 / 0.3048,
        }
    }

    /// Temperature in the reader's unit, unrounded (°C or °F).
    pub fn temperature(self, temperature: Celsius) -> f64 {
        match self {
            Self::Metric => temperature.0,
            Self::Imperial => temperature.0 * 1.8 + 32.0,
        }
    }

    /// The sign printed behind a wind.
    pub fn wind_sign(self) -> &'static str {
        match self {
            Self::Metric => "km/h",
            Self::Imperial => "mph",
        }
    }

    /// The sign printed behind a depth of rain.
    pub fn rain_sign(self) -> &'static str {
        match self {
            Self::Metric => "mm",
            Self::Imperial => "in",
        }
    }

    /// The sign printed behind a length.
    pub fn length_sign(self) -> &'static str {
        match self {
            Self::Metric => "m",
            Self::Imperial => "ft",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conversion factors: SI Brochure (9th ed.) table 8 and NIST SP 811 appendix B.
    #[test]
    fn a_gust_reads_the_same_in_either_unit() {
        let gust = MetresPerSecond(10.0);
        assert!((DisplayUnits::Metric.wind(gust) - 36.0).abs() < 1e-9);
        assert!((DisplayUnits::Imperial.wind(gust) - 22.369_362_92).abs() < 1e-6);
        assert!((DisplayUnits::Imperial.rain(Millimetres(25.4)) - 1.0).abs() < 1e-12);
        assert!((DisplayUnits::Imperial.length(Metres(0.3048)) - 1.0).abs() < 1e-12);
        assert!((DisplayUnits::Imperial.temperature(Celsius(100.0)) - 212.0).abs() < 1e-9);
    }
}
