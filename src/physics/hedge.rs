//! Light through the hedges onto the cover.
//!
//! In:     geometry of the alley, direction of a ray.
//! Out:    share of that light that reaches the cover, mean over its width, 0 to 1.
//! Source: endless rectangles of even foliage, attenuation after Beer and Lambert.
//!
//! Light scattered by leaves is left out (apple leaves absorb about 85 % of visible light, Palmer
//! 1977, abstract). Means over the alley hide that the shaded edge dries later than the middle.

use crate::alley::Alley;

/// Points across the cover.
const POINTS: u32 = 20;

/// Most hedges a ray is followed through.
const HEDGES: f64 = 50.0;

/// Trees below this height \[m\] count as an open field.
pub const OPEN_FIELD_M: f64 = 0.5;

/// Hedges on both sides of an alley.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hedges {
    height: f64,
    skirt: f64,
    width: f64,
    spacing: f64,
    /// Attenuation per metre of foliage.
    mu: f64,
    /// Distance of the cover's edge from the hedge face, and its width.
    margin: f64,
    strip: f64,
    sin_row: f64,
    cos_row: f64,
}

impl Hedges {
    /// The hedges of an alley; `None` in an open field.
    pub fn of(alley: &Alley) -> Option<Self> {
        if alley.tree_height_m < OPEN_FIELD_M {
            return None;
        }
        let clear = (alley.row_spacing_m - alley.hedge_width_m).max(0.0);
        let strip = alley.cover_width_m.min(clear);
        let (sin_row, cos_row) = alley.row_azimuth_deg.to_radians().sin_cos();
        Some(Self {
            height: alley.tree_height_m,
            skirt: alley.skirt_m,
            width: alley.hedge_width_m,
            spacing: alley.row_spacing_m,
            mu: -alley.porosity.max(1e-6).ln() / alley.hedge_width_m,
            margin: (clear - strip) / 2.0,
            strip,
            sin_row,
            cos_row,
        })
    }

    /// Share of the direct beam of a sun at `up`, `north`, `east` (unit vector) that reaches the cover.
    pub fn beam(&self, up: f64, north: f64, east: f64) -> f64 {
        if up <= 0.01 {
            return 0.0;
        }
        let cos_elevation = (1.0 - up * up).max(0.0).sqrt();
        // sin(azimuth - row) cos(elevation), kept from vanishing as q >= 0.001.
        let across = (east * self.cos_row - north * self.sin_row)
            .abs()
            .max(1e-3 * cos_elevation);
        self.through(across / up, across)
    }

    /// Share of the sky the cover sees, weighted by what falls on the level.
    pub fn sky_view(&self) -> f64 {
        let (mut seen, mut all) = (0.0, 0.0);
        for step in 0..18_u32 {
            let (sin, cos) = ((f64::from(step) + 0.5) * 5.0).to_radians().sin_cos();
            seen += sin * self.through(cos / sin, cos);
            all += sin;
        }
        seen / all
    }

    /// Mean transmission of a ray that goes `cotangent` metres across the rows per metre up, with
    /// `across` the horizontal part of its unit vector in that direction.
    fn through(&self, cotangent: f64, across: f64) -> f64 {
        if across <= 0.0 {
            return 1.0;
        }
        let (near, far) = (self.skirt * cotangent, self.height * cotangent);
        let hedges = ((far / self.spacing).ceil() + 1.0).min(HEDGES);
        let mut sum = 0.0;
        for point in 0..POINTS {
            let x = self.margin + self.strip * (f64::from(point) + 0.5) / f64::from(POINTS);
            let (mut inside, mut hedge) = (0.0, 0.0);
            while hedge <= hedges {
                let start = x + hedge * self.spacing;
                if start >= far {
                    break;
                }
                inside += ((start + self.width).min(far) - start.max(near)).max(0.0);
                hedge += 1.0;
            }
            sum += if inside > 0.0 {
                (-self.mu * inside / across).exp()
            } else {
                1.0
            };
        }
        sum / f64::from(POINTS)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn beam(alley: &Alley, elevation_deg: f64, azimuth_deg: f64) -> f64 {
        let (up, level) = elevation_deg.to_radians().sin_cos();
        let (east, north) = azimuth_deg.to_radians().sin_cos();
        Hedges::of(alley).map_or(1.0, |hedges| hedges.beam(up, level * north, level * east))
    }

    #[test]
    fn opaque_hedges_stop_a_low_sun_across_the_rows_and_not_along_them() {
        let alley = Alley {
            porosity: 1e-6,
            skirt_m: 0.0,
            ..Alley::default()
        };
        assert!(beam(&alley, 30.0, 90.0) < 1e-3);
        assert!(beam(&alley, 30.0, 0.0) > 0.99);
    }

    #[test]
    fn a_low_cover_of_trees_is_an_open_field() {
        assert!(
            Hedges::of(&Alley {
                tree_height_m: 0.49,
                ..Alley::default()
            })
            .is_none()
        );
    }

    proptest! {
        #[test]
        fn foliage_that_lets_all_light_through_is_not_there(elevation in 1.0..89.0_f64, azimuth in 0.0..360.0_f64) {
            let alley = Alley { porosity: 1.0, ..Alley::default() };
            prop_assert!((beam(&alley, elevation, azimuth) - 1.0).abs() < 1e-12);
            prop_assert!((Hedges::of(&alley).unwrap().sky_view() - 1.0).abs() < 1e-12);
        }

        #[test]
        fn taller_trees_hide_more_sky(height in 0.6..8.0_f64, taller in 0.05..4.0_f64) {
            let view = |tree_height_m| Hedges::of(&Alley { tree_height_m, ..Alley::default() }).unwrap().sky_view();
            prop_assert!(view(height + taller) < view(height));
        }

        #[test]
        fn a_share_of_light_is_a_share(
            elevation in -5.0..90.0_f64, azimuth in 0.0..360.0_f64, row in 0.0..360.0_f64,
            porosity in 0.0..=1.0_f64, height in 0.0..12.0_f64, skirt in 0.0..5.0_f64, spacing in 1.0..12.0_f64,
        ) {
            let alley = Alley { row_azimuth_deg: row, porosity, tree_height_m: height, skirt_m: skirt,
                row_spacing_m: spacing, ..Alley::default() };
            prop_assert!((0.0..=1.0).contains(&beam(&alley, elevation, azimuth)));
        }
    }
}
