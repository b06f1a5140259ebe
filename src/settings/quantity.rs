//! Allowed ranges, and the unit that was probably meant by a number outside of one.

use std::fmt;

use crate::alley::Number;

/// A closed range with its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Allowed {
    pub(super) min: f64,
    pub(super) max: f64,
    pub(super) unit: &'static str,
}

impl Allowed {
    pub(super) const fn new(min: f64, max: f64, unit: &'static str) -> Self {
        Self { min, max, unit }
    }

    /// False for nan and for the infinities too.
    pub(super) fn holds(&self, value: f64) -> bool {
        value >= self.min && value <= self.max
    }

    /// A question that names the mistake, if another unit would make sense of the number.
    pub(super) fn cure(&self, value: f64) -> Option<String> {
        if !value.is_finite() {
            return Some("write a plain number".to_owned());
        }
        others(self.unit).iter().find_map(|(other, convert)| {
            let here = convert(value);
            (self.holds(here) && here != 0.0).then(|| {
                format!(
                    "is this {other}? {} {other} = {} {}",
                    plain(value),
                    plain(here),
                    self.sign()
                )
                .trim()
                .to_owned()
            })
        })
    }

    fn sign(&self) -> &'static str {
        match self.unit {
            "deg" => "degrees",
            unit => unit,
        }
    }
}

impl From<&Number> for Allowed {
    fn from(number: &Number) -> Self {
        Self::new(number.min, number.max, number.unit)
    }
}

impl fmt::Display for Allowed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {} {}", self.min, self.max, self.sign())?;
        Ok(())
    }
}

type Conversion = (&'static str, fn(f64) -> f64);

/// Units people write instead of ours, the likelier first. Factors: SI Brochure (9th ed.) table 8 and
/// NIST SP 811 appendix B.
fn others(unit: &str) -> &'static [Conversion] {
    match unit {
        "m/s" => &[("km/h", |v| v / 3.6), ("mph", |v| v * 0.447_04)],
        "m" => &[("ft", |v| v * 0.3048), ("cm", |v| v / 100.0), ("mm", |v| v / 1000.0)],
        "" => &[("%", |v| v / 100.0)],
        "°C" => &[("°F", |v| (v - 32.0) / 1.8)],
        "kg/m2" => &[("g/m2", |v| v / 1000.0)],
        "N" => &[("kg", |v| v * 9.806_65)],
        "m/h" => &[("ft/h", |v| v * 0.3048)],
        _ => &[],
    }
}

/// At most three digits that say something.
fn plain(value: f64) -> String {
    let decimals = match value.abs() {
        large if large >= 100.0 => 0,
        middle if middle >= 1.0 => 1,
        _ => 2,
    };
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_in_the_wrong_unit_is_asked_about() {
        for (allowed, value, cure) in [
            (Allowed::new(0.0, 20.0, "m/s"), 40.0, "is this km/h? 40 km/h = 11.1 m/s"),
            (Allowed::new(1.0, 12.0, "m"), 14.0, "is this ft? 14 ft = 4.3 m"),
            (Allowed::new(0.0, 1.5, "m"), 30.0, "is this cm? 30 cm = 0.3 m"),
            (Allowed::new(0.0, 1.0, ""), 30.0, "is this %? 30 % = 0.3"),
            (Allowed::new(-20.0, 45.0, "°C"), 82.0, "is this °F? 82 °F = 27.8 °C"),
            (Allowed::new(0.0, 5.0, "m"), f64::NAN, "write a plain number"),
        ] {
            assert!(!allowed.holds(value));
            assert_eq!(allowed.cure(value).as_deref(), Some(cure));
        }
        assert_eq!(Allowed::new(0.0, 30.0, "d").cure(40.0), None);
        assert!(!Allowed::new(0.0, f64::MAX, "").holds(f64::INFINITY));
    }
}
