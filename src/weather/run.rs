//! One run of the weather: the canonical quantities of one forecast member, hour by hour.

use serde::{Deserialize, Serialize};

use super::series::Series;

/// A canonical quantity of a [`Run`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// Air temperature at 2 m \[°C\], at the stamp.
    Temperature,
    /// Dew point at 2 m \[°C\], at the stamp.
    DewPoint,
    /// Mean wind at 10 m \[m/s\], at the stamp.
    Wind,
    /// Highest gust at 10 m \[m/s\] in the hour before the stamp, never below the mean wind.
    Gust,
    /// Direction the wind comes from \[degrees\], at the stamp.
    WindDirection,
    /// Total precipitation \[mm\] in the hour before the stamp.
    Rain,
    /// Global radiation on the level \[W/m²\], mean of the hour before the stamp.
    Shortwave,
    /// Cloud cover \[0..1\], at the stamp.
    Cloud,
    /// 1 where thunder is about in the hour, else 0.
    Thunder,
    /// 1 where there is fog in the hour, else 0.
    Fog,
    /// 1 where snow falls or lies in the hour, else 0.
    Snow,
}

impl Quantity {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Temperature,
        Self::DewPoint,
        Self::Wind,
        Self::Gust,
        Self::WindDirection,
        Self::Rain,
        Self::Shortwave,
        Self::Cloud,
        Self::Thunder,
        Self::Fog,
        Self::Snow,
    ];

    /// The quantities without a value of which an hour cannot be judged.
    pub const NEEDED: [Self; 8] = [
        Self::Temperature,
        Self::DewPoint,
        Self::Wind,
        Self::Gust,
        Self::WindDirection,
        Self::Rain,
        Self::Shortwave,
        Self::Cloud,
    ];

    /// The quantities without which an hour can be judged if the source never tells them; where it
    /// tells them for other hours, an hour without is a hole.
    pub const OPTIONAL: [Self; 3] = [Self::Thunder, Self::Fog, Self::Snow];

    /// How a sentence calls it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::DewPoint => "dew point",
            Self::Wind => "wind",
            Self::Gust => "gusts",
            Self::WindDirection => "wind direction",
            Self::Rain => "rain",
            Self::Shortwave => "sunshine",
            Self::Cloud => "cloud",
            Self::Thunder => "thunder",
            Self::Fog => "fog",
            Self::Snow => "snow",
        }
    }
}

/// One member: a series for each quantity, all of the same length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Run {
    /// [`Quantity::Temperature`].
    pub temperature: Series,
    /// [`Quantity::DewPoint`].
    pub dew_point: Series,
    /// [`Quantity::Wind`].
    pub wind: Series,
    /// [`Quantity::Gust`].
    pub gust: Series,
    /// [`Quantity::WindDirection`].
    pub wind_direction: Series,
    /// [`Quantity::Rain`].
    pub rain: Series,
    /// [`Quantity::Shortwave`].
    pub shortwave: Series,
    /// [`Quantity::Cloud`].
    pub cloud: Series,
    /// [`Quantity::Thunder`].
    pub thunder: Series,
    /// [`Quantity::Fog`].
    pub fog: Series,
    /// [`Quantity::Snow`].
    pub snow: Series,
    /// The source never tells where the wind comes from: each hour counts with the worst for the block.
    pub any_direction: bool,
}

impl Run {
    /// A run of `count` unknown hours.
    pub fn unknown(count: usize) -> Self {
        let mut run = Self::default();
        for quantity in Quantity::ALL {
            *run.of_mut(quantity) = Series::gaps(count);
        }
        run
    }

    /// The series of a quantity.
    pub fn of(&self, quantity: Quantity) -> &Series {
        match quantity {
            Quantity::Temperature => &self.temperature,
            Quantity::DewPoint => &self.dew_point,
            Quantity::Wind => &self.wind,
            Quantity::Gust => &self.gust,
            Quantity::WindDirection => &self.wind_direction,
            Quantity::Rain => &self.rain,
            Quantity::Shortwave => &self.shortwave,
            Quantity::Cloud => &self.cloud,
            Quantity::Thunder => &self.thunder,
            Quantity::Fog => &self.fog,
            Quantity::Snow => &self.snow,
        }
    }

    /// The series of a quantity, to be changed.
    pub fn of_mut(&mut self, quantity: Quantity) -> &mut Series {
        match quantity {
            Quantity::Temperature => &mut self.temperature,
            Quantity::DewPoint => &mut self.dew_point,
            Quantity::Wind => &mut self.wind,
            Quantity::Gust => &mut self.gust,
            Quantity::WindDirection => &mut self.wind_direction,
            Quantity::Rain => &mut self.rain,
            Quantity::Shortwave => &mut self.shortwave,
            Quantity::Cloud => &mut self.cloud,
            Quantity::Thunder => &mut self.thunder,
            Quantity::Fog => &mut self.fog,
            Quantity::Snow => &mut self.snow,
        }
    }

    /// The quantities without a value of which an hour of this run cannot be judged.
    pub fn needed(&self) -> impl Iterator<Item = Quantity> + use<> {
        let any_direction = self.any_direction;
        Quantity::NEEDED
            .into_iter()
            .filter(move |quantity| !(any_direction && *quantity == Quantity::WindDirection))
    }

    /// Whether every needed quantity has a value in row `k`.
    pub fn known(&self, k: usize) -> bool {
        self.missing(k).is_none()
    }

    /// The first quantity whose value row `k` lacks: a needed one, or an optional one that the run
    /// tells for other hours (else taking a thunderstorm away would make its hour better).
    pub fn missing(&self, k: usize) -> Option<Quantity> {
        let told = Quantity::OPTIONAL
            .into_iter()
            .filter(|quantity| !self.of(*quantity).is_all_gaps());
        self.needed()
            .chain(told)
            .find(|quantity| self.of(*quantity).get(k).is_none())
    }

    /// The number of rows up to the last that has any value.
    pub fn horizon(&self) -> usize {
        Quantity::ALL
            .into_iter()
            .map(|quantity| self.of(quantity).horizon())
            .max()
            .unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_hour_without_its_thunder_is_unknown_unless_the_source_never_tells_thunder() {
        let mut run = Run::unknown(2);
        for quantity in Quantity::NEEDED {
            run.of_mut(quantity).put(0, Some(1.0));
            run.of_mut(quantity).put(1, Some(1.0));
        }
        assert!(run.known(0) && run.known(1));
        run.thunder.put(0, Some(0.0));
        assert_eq!(run.missing(0), None);
        assert_eq!(run.missing(1), Some(Quantity::Thunder));
        run.wind.put(1, None);
        assert_eq!(run.missing(1), Some(Quantity::Wind));
        assert_eq!(run.horizon(), 2);
    }
}
