//! What water, sun and wind do to a cover: plain functions of numbers with units.
//!
//! [`Sunlight`] holds what depends on the place, the block and the time only; [`run`](run::run)
//! then takes one run of the weather through both faces of the cover. [`wind`] and [`tie_load`]
//! turn the wind of one hour into what the cover and its ties feel.

pub mod vapour;
pub mod sky;
pub mod sun;
pub mod daylight;
pub mod hedge;
pub mod sunlight;
pub mod wind;
pub mod mast;
pub mod tie_load;
pub mod ground;
pub mod sheet;
pub mod hour;
pub mod run;
pub mod mould;
pub mod wetness_rules;
pub mod beaufort;
pub mod heat;
pub mod wbgt;
pub mod fire;
pub mod lightning;
#[cfg(test)]
mod laws;

pub use hour::{CoverHour, Hour, Row, Start};
pub use sunlight::Sunlight;

/// Sub-steps of the cover's balance in an hour.
pub const SUB_STEPS: usize = 6;

/// Heat capacity of air at constant pressure \[J/kg/K\].
pub const C_P: f64 = 1010.0;

/// Gas constant of dry air \[J/kg/K\].
pub const R_D: f64 = 287.05;

/// Molar mass of water over that of dry air.
pub const EPSILON: f64 = 0.622;

/// Stefan-Boltzmann constant \[W/m²/K⁴\], CODATA 2018 rounded.
pub const SIGMA: f64 = 5.670_374e-8;

/// Gravity \[m/s²\].
pub const G: f64 = 9.81;

/// Absolute temperature \[K\] of `t_c` \[°C\].
pub fn kelvin(t_c: f64) -> f64 {
    t_c + 273.15
}

/// Fourth power of the absolute temperature \[K⁴\] of `t_c` \[°C\].
pub fn kelvin4(t_c: f64) -> f64 {
    let square = kelvin(t_c) * kelvin(t_c);
    square * square
}
