//! Words for the wind.
//!
//! In:     mean wind at 10 m in the open, never a gust \[m/s or km/h\].
//! Out:    Beaufort force 0 to 12 and its name.
//! Source: WMO Manual on Codes (WMO-No. 306), code table 1100; bounds as restated in public tables.
//!
//! Classes are stated to 0.1 m/s and to 1 km/h, so the speed is rounded first. The two columns were
//! rounded apart: a reader of km/h is classed in km/h.

/// Lowest speed of the forces 1 to 12 \[m/s\].
const FROM_M_S: [f64; 12] = [0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7];

/// The same in km/h.
const FROM_KM_H: [f64; 12] = [1.0, 6.0, 12.0, 20.0, 29.0, 39.0, 50.0, 62.0, 75.0, 89.0, 103.0, 118.0];

/// Force on the Beaufort scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Force(u8);

impl Force {
    /// Force of a wind in m/s.
    pub fn of_m_s(wind: f64) -> Self {
        let tenths = (wind * 10.0).round();
        Self::above(FROM_M_S.map(|from| tenths >= (from * 10.0).round()))
    }

    /// Force of a wind in km/h; below 1 km/h it is calm.
    pub fn of_km_h(wind: f64) -> Self {
        let whole = if wind < 1.0 { 0.0 } else { wind.round() };
        Self::above(FROM_KM_H.map(|from| whole >= from))
    }

    fn above(reached: [bool; 12]) -> Self {
        Self(reached.into_iter().map(u8::from).sum())
    }

    /// The number, 0 to 12.
    pub fn number(self) -> u8 {
        self.0
    }

    /// The name in lower case.
    pub fn name(self) -> &'static str {
        match self.0 {
            0 => "calm",
            1 => "light air",
            2 => "light breeze",
            3 => "gentle breeze",
            4 => "moderate breeze",
            5 => "fresh breeze",
            6 => "strong breeze",
            7 => "near gale",
            8 => "gale",
            9 => "strong gale",
            10 => "storm",
            11 => "violent storm",
            _ => "hurricane",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fresh_breeze_begins_at_8_m_s_and_at_29_km_h() {
        assert_eq!(Force::of_m_s(7.94).name(), "moderate breeze");
        assert_eq!(Force::of_m_s(7.96).name(), "fresh breeze");
        assert_eq!(Force::of_km_h(28.4).name(), "moderate breeze");
        assert_eq!(Force::of_km_h(28.6).name(), "fresh breeze");
        assert_eq!(
            (Force::of_m_s(0.0).number(), Force::of_m_s(60.0).name()),
            (0, "hurricane")
        );
    }
}
