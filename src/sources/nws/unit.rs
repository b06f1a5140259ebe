//! Units, spelt `wmoUnit:km_h-1`, `unit:degC` or without a prefix.
//!
//! Source: WMO code table of units as the service uses it; factors NIST SP 811 appendix B.8.

use super::super::gather::Factor;
use crate::weather::Quantity;

/// Factor and offset to °C, m/s, mm, degrees or shares.
pub(super) fn factor(quantity: Quantity, unit: &str) -> Option<Factor> {
    let unit = unit.rsplit(':').next().unwrap_or(unit);
    let scaled = |factor: f64| Some((factor, 0.0));
    match (quantity, unit) {
        (Quantity::Temperature | Quantity::DewPoint, "degC") => scaled(1.0),
        (Quantity::Temperature | Quantity::DewPoint, "degF") => Some((5.0 / 9.0, -160.0 / 9.0)),
        (Quantity::Temperature | Quantity::DewPoint, "K") => Some((1.0, -273.15)),
        (Quantity::Wind | Quantity::Gust, "km_h-1") => scaled(1.0 / 3.6),
        (Quantity::Wind | Quantity::Gust, "m_s-1") => scaled(1.0),
        (Quantity::Wind | Quantity::Gust, "kt" | "kn") => scaled(1852.0 / 3600.0),
        (Quantity::Wind | Quantity::Gust, "mi_h-1" | "mph") => scaled(0.447_04),
        (Quantity::WindDirection, "degree_(angle)") => scaled(1.0),
        (Quantity::Rain, "mm") => scaled(1.0),
        (Quantity::Rain, "m") => scaled(1000.0),
        (Quantity::Rain, "in") => scaled(25.4),
        // 1 kg of water on a square metre stands 1 mm high.
        (Quantity::Rain, "kg_m-2") => scaled(1.0),
        (Quantity::Cloud, "percent") => scaled(0.01),
        _ => None,
    }
}

/// Factor of a share, such as humidity.
pub(super) fn share(unit: &str) -> Option<Factor> {
    factor(Quantity::Cloud, unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_known_with_and_without_its_prefix_and_never_guessed() {
        for unit in ["wmoUnit:km_h-1", "unit:km_h-1", "km_h-1"] {
            let (factor, _) = factor(Quantity::Gust, unit).unwrap();
            assert!((36.0 * factor - 10.0).abs() < 1e-9, "{unit}");
        }
        let (scale, offset) = factor(Quantity::Temperature, "unit:degF").unwrap();
        assert!((212.0 * scale + offset - 100.0).abs() < 1e-9);
        assert_eq!(factor(Quantity::Gust, "wmoUnit:degC"), None);
        assert_eq!(factor(Quantity::Rain, ""), None);
    }
}
