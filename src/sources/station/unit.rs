//! Units as a service file names them.
//!
//! Source: conversion factors of the SI Brochure (9th ed.) table 8 and NIST SP 811 appendix B.

use crate::weather::reading::Measured;

/// A unit of one quantity: canonical = value * factor + offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Its name in the service file.
    pub name: &'static str,
    factor: f64,
    offset: f64,
}

const fn unit(name: &'static str, factor: f64, offset: f64) -> Unit {
    Unit { name, factor, offset }
}

const TEMPERATURE: &[Unit] = &[
    unit("°C", 1.0, 0.0),
    unit("C", 1.0, 0.0),
    unit("°F", 5.0 / 9.0, -160.0 / 9.0),
    unit("F", 5.0 / 9.0, -160.0 / 9.0),
    unit("K", 1.0, -273.15),
];
const SHARE: &[Unit] = &[unit("%", 0.01, 0.0), unit("0-1", 1.0, 0.0)];
/// Wetness sensors also count to fifteen.
const WETNESS: &[Unit] = &[
    unit("%", 0.01, 0.0),
    unit("0-1", 1.0, 0.0),
    unit("0-15", 1.0 / 15.0, 0.0),
];
const SPEED: &[Unit] = &[
    unit("m/s", 1.0, 0.0),
    unit("km/h", 1.0 / 3.6, 0.0),
    unit("mph", 0.447_04, 0.0),
    unit("kn", 1852.0 / 3600.0, 0.0),
];
const ANGLE: &[Unit] = &[unit("deg", 1.0, 0.0), unit("°", 1.0, 0.0)];
const DEPTH: &[Unit] = &[unit("mm", 1.0, 0.0), unit("l/m2", 1.0, 0.0), unit("in", 25.4, 0.0)];
const LIGHT: &[Unit] = &[unit("W/m2", 1.0, 0.0)];
const FLAG: &[Unit] = &[unit("0-1", 1.0, 0.0)];

impl Unit {
    /// The units a quantity may be told in.
    pub fn of(measured: Measured) -> &'static [Self] {
        match measured {
            Measured::Temperature | Measured::DewPoint | Measured::NearGround => TEMPERATURE,
            Measured::Humidity => SHARE,
            Measured::LeafWetness | Measured::CoverWetness => WETNESS,
            Measured::Wind | Measured::Gust => SPEED,
            Measured::WindDirection => ANGLE,
            Measured::Rain | Measured::RainCounter => DEPTH,
            Measured::Shortwave => LIGHT,
            Measured::Thunder | Measured::Fog => FLAG,
        }
    }

    /// The unit of a quantity with that name.
    pub fn named(measured: Measured, name: &str) -> Option<Self> {
        Self::of(measured).iter().find(|unit| unit.name == name).copied()
    }

    /// A value of this unit in the unit that readings have inside the program.
    pub fn canonical(self, value: f64) -> f64 {
        value * self.factor + self.offset
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811 appendix B: 1 mph = 0.44704 m/s, 1 knot = 0.514444 m/s, t/°C = (t/°F - 32)/1.8.
    #[test]
    fn readings_mean_the_same_in_every_unit() {
        let of = |measured, name, value| Unit::named(measured, name).unwrap().canonical(value);
        assert!((of(Measured::Temperature, "°F", 89.42) - 31.9).abs() < 1e-9);
        assert!((of(Measured::Temperature, "K", 273.15)).abs() < 1e-9);
        assert!((of(Measured::Gust, "kn", 65.0) - 33.438_888_9).abs() < 1e-6);
        assert!((of(Measured::Wind, "mph", 10.0) - 4.4704).abs() < 1e-9);
        assert!((of(Measured::Rain, "in", 0.46) - 11.684).abs() < 1e-9);
        assert!((of(Measured::LeafWetness, "0-15", 15.0) - 1.0).abs() < 1e-9);
        assert_eq!(Unit::named(Measured::Wind, "%"), None);
    }
}
