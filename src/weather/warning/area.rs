//! Where a warning holds: polygons and circles on the globe, and codes of regions.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::units::Degrees;
use crate::weather::Place;

/// One area of a message.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Area {
    /// What the issuer calls it.
    pub description: String,
    /// Rings of latitude and longitude \[degrees\].
    pub polygons: Vec<Vec<(f64, f64)>>,
    /// Circles.
    pub circles: Vec<Circle>,
    /// Codes of regions.
    pub codes: Vec<Code>,
}

/// A circle on the globe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Latitude of its centre \[degrees\].
    pub latitude: f64,
    /// Longitude of its centre \[degrees\].
    pub longitude: f64,
    /// Radius \[km\].
    pub km: f64,
}

/// A code of a region in some system of codes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Code {
    /// Such as `UGC`, `SAME`, `EMMA_ID`, `WARNCELLID`, `CLC`; empty for any.
    pub system: String,
    /// Such as `NMZ501`.
    pub value: String,
}

/// A place to be matched.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Latitude \[degrees\].
    pub latitude: f64,
    /// Longitude \[degrees\].
    pub longitude: f64,
    /// Codes of the regions it lies in.
    pub codes: BTreeSet<Code>,
}

/// How an area covers a spot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Found {
    /// By the code of a region only, part of which may be meant.
    Coarse,
    /// Inside a polygon or a circle.
    Inside,
}

impl Area {
    /// How it covers a spot, if it does. Where a shape is drawn, the shape alone decides.
    pub fn covers(&self, spot: &Spot) -> Option<Found> {
        if !self.polygons.is_empty() || !self.circles.is_empty() {
            let inside = self.polygons.iter().any(|ring| in_ring(ring, spot))
                || self.circles.iter().any(|circle| in_circle(*circle, spot));
            return inside.then_some(Found::Inside);
        }
        let known = |code: &Code| spot.codes.iter().any(|own| own.names(code));
        self.codes.iter().any(known).then_some(Found::Coarse)
    }

    /// Whether it says where it is in a way that can be matched.
    pub fn is_told(&self) -> bool {
        !(self.polygons.is_empty() && self.circles.is_empty() && self.codes.is_empty())
    }
}

impl Code {
    /// From `UGC:NMZ501`, or from a bare value that counts in any system.
    pub fn parse(written: &str) -> Option<Self> {
        let (system, value) = written.rsplit_once(':').unwrap_or(("", written));
        let code = Self {
            system: system.trim().to_owned(),
            value: value.trim().to_owned(),
        };
        let plain = |text: &str| {
            text.len() <= 60
                && text
                    .chars()
                    .all(|sign| sign.is_alphanumeric() || " ._-:".contains(sign))
        };
        (!code.value.is_empty() && plain(&code.value) && plain(&code.system)).then_some(code)
    }

    /// Whether this own code names a code of a message. Issuers write their systems with a prefix of their own.
    fn names(&self, other: &Self) -> bool {
        let (own, there) = (self.system.to_ascii_lowercase(), other.system.to_ascii_lowercase());
        self.value.eq_ignore_ascii_case(&other.value)
            && (own.is_empty() || there == own || there.ends_with(&format!(":{own}")))
    }
}

/// How far east `to` lies of `from`, the short way round \[degrees\].
fn east(from: f64, to: f64) -> f64 {
    (to - from + 180.0).rem_euclid(360.0) - 180.0
}

/// Whether a spot lies in a ring or on its edge: even-odd rule, with longitudes unrolled along the ring so that
/// one across the date line is not read the long way round.
fn in_ring(ring: &[(f64, f64)], spot: &Spot) -> bool {
    let Some((_, start)) = ring.first().copied() else {
        return false;
    };
    if ring.len() < 3 {
        return false;
    }
    let mut x = east(spot.longitude, start);
    let mut before = start;
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(ring.len() + 1);
    for (latitude, longitude) in ring {
        x += east(before, *longitude);
        before = *longitude;
        points.push((x, *latitude - spot.latitude));
    }
    points.extend(points.first().copied());
    [-360.0, 0.0, 360.0].iter().any(|turn| around_origin(&points, *turn))
}

/// Whether the origin lies inside a closed ring that is moved by `turn`, or on its edge.
fn around_origin(points: &[(f64, f64)], turn: f64) -> bool {
    const EDGE: f64 = 1e-9;
    let mut inside = false;
    for pair in points.windows(2) {
        let [(x1, y1), (x2, y2)] = pair else { continue };
        let (x1, x2) = (x1 + turn, x2 + turn);
        let cross = x1 * y2 - x2 * y1;
        let between = x1.min(x2) <= EDGE && x1.max(x2) >= -EDGE && y1.min(*y2) <= EDGE && y1.max(*y2) >= -EDGE;
        if between && cross.abs() <= EDGE * (1.0 + (x2 - x1).hypot(y2 - y1)) {
            return true;
        }
        if (*y1 > 0.0) != (*y2 > 0.0) && x1 - y1 * (x2 - x1) / (y2 - y1) > 0.0 {
            inside = !inside;
        }
    }
    inside
}

fn in_circle(circle: Circle, spot: &Spot) -> bool {
    let place = |latitude: f64, longitude: f64| Place {
        latitude: Degrees(latitude),
        longitude: Degrees(longitude),
        elevation: None,
    };
    let apart = place(circle.latitude, circle.longitude).apart(&place(spot.latitude, spot.longitude));
    apart.km <= circle.km
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(latitude: f64, longitude: f64) -> Spot {
        Spot {
            latitude,
            longitude,
            codes: ["UGC:NMZ501", "041420"]
                .iter()
                .filter_map(|code| Code::parse(code))
                .collect(),
        }
    }

    fn ring(points: &[(f64, f64)]) -> Area {
        Area {
            polygons: vec![points.to_vec()],
            ..Area::default()
        }
    }

    #[test]
    fn a_farm_is_inside_a_ring_on_its_edge_and_not_beside_it() {
        let area = ring(&[(46.0, 11.0), (46.0, 12.0), (47.0, 12.0), (47.0, 11.0), (46.0, 11.0)]);
        assert_eq!(area.covers(&spot(46.5, 11.5)), Some(Found::Inside));
        assert_eq!(area.covers(&spot(46.5, 12.0)), Some(Found::Inside));
        assert_eq!(area.covers(&spot(46.5, 12.01)), None);
        let open = ring(&[(46.0, 11.0), (46.0, 12.0), (47.0, 12.0), (47.0, 11.0)]);
        assert_eq!(open.covers(&spot(46.5, 11.0)), Some(Found::Inside));
        // A bay in the ring is outside.
        let bay = ring(&[
            (0.0, 0.0),
            (0.0, 3.0),
            (3.0, 3.0),
            (3.0, 2.0),
            (1.0, 1.5),
            (3.0, 1.0),
            (3.0, 0.0),
        ]);
        assert_eq!(bay.covers(&spot(2.5, 1.5)), None);
        assert_eq!(bay.covers(&spot(0.5, 1.5)), Some(Found::Inside));
    }

    #[test]
    fn a_ring_across_the_date_line_is_not_read_the_long_way_round() {
        let area = ring(&[(-20.0, 177.0), (-20.0, -178.0), (-15.0, -178.0), (-15.0, 177.0)]);
        for (longitude, found) in [
            (179.5, true),
            (-179.5, true),
            (176.0, false),
            (-177.0, false),
            (0.0, false),
        ] {
            assert_eq!(area.covers(&spot(-17.0, longitude)).is_some(), found, "{longitude}");
        }
        let beyond = ring(&[(-20.0, 177.0), (-20.0, 182.0), (-15.0, 182.0), (-15.0, 177.0)]);
        assert_eq!(beyond.covers(&spot(-17.0, -179.0)), Some(Found::Inside));
    }

    #[test]
    fn a_circle_reaches_as_far_as_its_radius_says() {
        let area = Area {
            circles: vec![Circle {
                latitude: 50.0,
                longitude: 8.0,
                km: 111.5,
            }],
            ..Area::default()
        };
        assert_eq!(area.covers(&spot(51.0, 8.0)), Some(Found::Inside));
        assert_eq!(area.covers(&spot(51.01, 8.0)), None);
    }

    #[test]
    fn a_code_matches_coarsely_and_only_where_no_shape_is_drawn() {
        let coded = |system: &str, value: &str| Area {
            codes: vec![Code {
                system: system.to_owned(),
                value: value.to_owned(),
            }],
            ..Area::default()
        };
        let farm = spot(46.5, 11.5);
        assert_eq!(coded("UGC", "NMZ501").covers(&farm), Some(Found::Coarse));
        assert_eq!(coded("FIPS6", "NMZ501").covers(&farm), None);
        assert_eq!(
            coded("layer:EC-MSC-SMC:1.0:CLC", "041420").covers(&farm),
            Some(Found::Coarse)
        );
        let mut elsewhere = ring(&[(0.0, 0.0), (0.0, 1.0), (1.0, 1.0)]);
        elsewhere.codes = coded("UGC", "NMZ501").codes;
        assert_eq!(elsewhere.covers(&farm), None);
    }

    #[test]
    fn a_code_is_written_with_its_system_or_bare() {
        assert_eq!(Code::parse("EMMA_ID:HR004").unwrap().system, "EMMA_ID");
        assert_eq!(Code::parse(" NMZ501 ").unwrap().value, "NMZ501");
        assert_eq!(Code::parse("UGC:"), None);
        assert_eq!(Code::parse("UGC:a\nb"), None);
    }
}
