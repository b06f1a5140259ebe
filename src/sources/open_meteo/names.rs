//! Keys of a reply: quantity, member and model in one word, and the units they come in.

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Variable {
    Temperature,
    DewPoint,
    Humidity,
    Rain,
    Wind,
    Gust,
    Direction,
    Shortwave,
    Cloud,
    Code,
    Snowfall,
    SnowDepth,
}

/// Spelling of each variable in requests, and the older spelling that is still answered.
const NAMES: [(&str, Variable); 19] = [
    ("temperature_2m", Variable::Temperature),
    ("dew_point_2m", Variable::DewPoint),
    ("dewpoint_2m", Variable::DewPoint),
    ("relative_humidity_2m", Variable::Humidity),
    ("relativehumidity_2m", Variable::Humidity),
    ("precipitation", Variable::Rain),
    ("wind_speed_10m", Variable::Wind),
    ("windspeed_10m", Variable::Wind),
    ("wind_gusts_10m", Variable::Gust),
    ("windgusts_10m", Variable::Gust),
    ("wind_direction_10m", Variable::Direction),
    ("winddirection_10m", Variable::Direction),
    ("shortwave_radiation", Variable::Shortwave),
    ("cloud_cover", Variable::Cloud),
    ("cloudcover", Variable::Cloud),
    ("weather_code", Variable::Code),
    ("weathercode", Variable::Code),
    ("snowfall", Variable::Snowfall),
    ("snow_depth", Variable::SnowDepth),
];

/// Words that make another variable out of a name ("precipitation" + "probability"), so that they are
/// not taken for a model.
const OTHER_VARIABLE: [&str; 14] = [
    "probability",
    "hours",
    "low",
    "mid",
    "high",
    "2m",
    "height",
    "water",
    "instant",
    "sum",
    "max",
    "min",
    "mean",
    "previous",
];

impl Variable {
    /// Its name in a request.
    pub(super) fn name(self) -> &'static str {
        NAMES
            .iter()
            .find(|(_, variable)| *variable == self)
            .map_or("", |(name, _)| name)
    }

    /// Factor and offset from a reply's unit to °C, m/s, mm, W/m², degrees, shares or codes.
    pub(super) fn factor(self, unit: &str) -> Option<(f64, f64)> {
        let scaled = |factor: f64| Some((factor, 0.0));
        match (self, unit) {
            (Self::Temperature | Self::DewPoint, "°C") => scaled(1.0),
            (Self::Temperature | Self::DewPoint, "°F") => Some((5.0 / 9.0, -160.0 / 9.0)),
            (Self::Wind | Self::Gust, "m/s") => scaled(1.0),
            (Self::Wind | Self::Gust, "km/h") => scaled(1.0 / 3.6),
            (Self::Wind | Self::Gust, "mp/h" | "mph") => scaled(0.447_04),
            (Self::Wind | Self::Gust, "kn") => scaled(1852.0 / 3600.0),
            (Self::Rain, "mm") => scaled(1.0),
            (Self::Rain, "inch") => scaled(25.4),
            (Self::Humidity | Self::Cloud, "%") => scaled(0.01),
            (Self::Direction, "°") => scaled(1.0),
            (Self::Shortwave, "W/m²") => scaled(1.0),
            (Self::Code, "wmo code") => scaled(1.0),
            (Self::Snowfall, "cm" | "inch") | (Self::SnowDepth, "m" | "ft") => scaled(1.0),
            _ => None,
        }
    }

    /// Lowest and highest value that is kept, in canonical units. What lies outside is like no weather
    /// on a farm: WMO records of 2 m temperature are -89 and 57 °C, of a gust 113 m/s (a cyclone), of an
    /// hour's rain about 305 mm; the ends for wind and rain are taken lower on purpose, because an hour
    /// beyond them is better unknown.
    pub(super) fn range(self) -> (f64, f64) {
        match self {
            Self::Temperature => (-70.0, 60.0),
            Self::DewPoint => (-90.0, 40.0),
            Self::Humidity => (0.0, 1.05),
            Self::Rain => (0.0, 200.0),
            Self::Wind => (0.0, 70.0),
            Self::Gust => (0.0, 100.0),
            Self::Direction => (0.0, 360.0),
            Self::Shortwave => (0.0, 1500.0),
            Self::Cloud => (0.0, 1.0001),
            Self::Code => (0.0, 99.0),
            Self::Snowfall => (0.0, 100.0),
            Self::SnowDepth => (0.0, 100.0),
        }
    }
}

/// A key taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Key<'a> {
    pub(super) variable: Variable,
    /// 0 for the bare name: the only forecast, or the control run.
    pub(super) member: u16,
    /// Model behind the name; empty if only one was asked for.
    pub(super) model: &'a str,
}

impl<'a> Key<'a> {
    /// The parts of a key; `None` if it is no variable that is read here.
    ///
    /// The variable is matched from the front by its whole name, so what is left is the whole name of
    /// the model, however much one model's name is the end of another's.
    pub(super) fn parse(key: &'a str) -> Option<Self> {
        let (variable, rest) = NAMES
            .iter()
            .filter_map(|(name, variable)| Some((*variable, key.strip_prefix(name)?)))
            .find(|(_, rest)| rest.is_empty() || rest.starts_with('_'))?;
        let rest = rest.strip_prefix('_').unwrap_or(rest);
        if let Some(tail) = rest.strip_prefix("member") {
            let (digits, model) = tail.split_once('_').unwrap_or((tail, ""));
            if !(2..=3).contains(&digits.len()) || !digits.bytes().all(|digit| digit.is_ascii_digit()) {
                return None;
            }
            return Some(Self {
                variable,
                member: digits.parse().ok()?,
                model,
            });
        }
        let word = rest.split('_').next().unwrap_or_default();
        if OTHER_VARIABLE.contains(&word) || word == "spread" || rest.len() > 60 {
            return None;
        }
        Some(Self {
            variable,
            member: 0,
            model: rest,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_tells_quantity_member_and_model() {
        let parts = |key| Key::parse(key).map(|key| (key.variable, key.member, key.model));
        assert_eq!(parts("wind_gusts_10m"), Some((Variable::Gust, 0, "")));
        assert_eq!(parts("windgusts_10m_member07"), Some((Variable::Gust, 7, "")));
        assert_eq!(
            parts("temperature_2m_member50_gfs025"),
            Some((Variable::Temperature, 50, "gfs025"))
        );
        assert_eq!(
            parts("cloud_cover_icon_seamless"),
            Some((Variable::Cloud, 0, "icon_seamless"))
        );
        let longer = "temperature_2m_meteoswiss_icon_seamless";
        assert_eq!(
            parts(longer),
            Some((Variable::Temperature, 0, "meteoswiss_icon_seamless"))
        );
    }

    #[test]
    fn another_variable_is_not_taken_for_a_model() {
        for key in [
            "precipitation_probability",
            "cloud_cover_low",
            "cloud_cover_low_icon_seamless",
            "temperature_2m_max",
            "shortwave_radiation_instant",
            "wind_speed_10m_previous_day1",
            "temperature_80m",
            "snowfall_height",
            "temperature_2m_member7",
            "temperature_2m_memberxx",
            "temperature_2m_spread",
        ] {
            assert_eq!(Key::parse(key), None, "{key}");
        }
    }

    /// Factors: NIST SP 811 appendix B.8 (mile, inch, knot, degree Fahrenheit).
    #[test]
    fn units_turn_into_metres_per_second_millimetres_and_degrees() {
        let turned = |variable: Variable, unit, value: f64| {
            let (factor, offset) = variable.factor(unit).unwrap();
            value * factor + offset
        };
        assert!((turned(Variable::Gust, "km/h", 36.0) - 10.0).abs() < 1e-9);
        assert!((turned(Variable::Wind, "mp/h", 10.0) - 4.4704).abs() < 1e-9);
        assert!((turned(Variable::Wind, "kn", 10.0) - 5.144_444).abs() < 1e-5);
        assert!((turned(Variable::Temperature, "°F", 212.0) - 100.0).abs() < 1e-9);
        assert!((turned(Variable::Rain, "inch", 1.0) - 25.4).abs() < 1e-9);
        assert_eq!(Variable::Wind.factor("mm"), None);
        assert_eq!(Variable::Gust.factor(""), None);
    }
}
