//! Forecast doubt with a single forecast: limits shrink and drying is given more time with lead.
//!
//! The idea is that of weather-restricted work at sea: design limit = alpha x operation limit, alpha
//! falling with time from the issue of the forecast, planned time plus contingency, nothing
//! weather-restricted beyond 72 h (DNV-ST-N001 sections 2.6.7, 2.6.9, 2.6.10, public summary).
//! Assumed: the values are lower than those for waves, because orchard gusts are less predictable.

/// Lead \[h\] beyond which nothing is firm.
pub const FIRM_H: f64 = 72.0;

/// Share of a wind limit that may be used at a lead of `lead_h` hours.
pub fn alpha(lead_h: f64) -> f64 {
    const TABLE: [(f64, f64); 5] = [(12.0, 0.90), (24.0, 0.85), (48.0, 0.80), (72.0, 0.75), (120.0, 0.65)];
    TABLE
        .into_iter()
        .find(|(up_to, _)| lead_h <= *up_to)
        .map_or(0.60, |(_, alpha)| alpha)
}

/// Hours a face must have been dry longer, at a lead of `lead_h` hours.
pub fn dry_margin(lead_h: f64) -> usize {
    if lead_h <= 12.0 {
        0
    } else if lead_h <= 48.0 {
        1
    } else {
        2
    }
}

/// Chance that planning counts with for a single forecast that passes the reduced limits, or only the
/// full ones, or none.
pub fn single_chance(passes: Passes, lead_h: f64) -> f64 {
    match passes {
        Passes::Reduced if lead_h <= 24.0 => 0.8,
        Passes::Reduced if lead_h <= FIRM_H => 0.7,
        Passes::Reduced => 0.6,
        Passes::FullOnly => 0.4,
        Passes::Neither => 0.1,
    }
}

/// Which limits a single forecast passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Passes {
    /// The reduced limits.
    Reduced,
    /// Only the full limits.
    FullOnly,
    /// Not even these.
    Neither,
}

/// Whether going pays: strictly more than the chance at which gain and loss are equal.
pub fn going_pays(chance: f64, threshold: f64) -> bool {
    chance > threshold
}

/// The chance at which going and staying cost the same, when a failed outing costs `cost` and a
/// missed window `loss`.
pub fn break_even(cost: f64, loss: f64) -> f64 {
    cost / (cost + loss)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn doubt_never_shrinks_with_lead(lead in 0.0..400.0_f64, more in 0.0..100.0_f64) {
            prop_assert!(alpha(lead + more) <= alpha(lead));
            prop_assert!(dry_margin(lead + more) >= dry_margin(lead));
            for passes in [Passes::Reduced, Passes::FullOnly, Passes::Neither] {
                prop_assert!(single_chance(passes, lead + more) <= single_chance(passes, lead));
            }
        }
    }

    #[test]
    fn at_the_break_even_chance_itself_nobody_goes() {
        assert!(!going_pays(break_even(30.0, 70.0), break_even(30.0, 70.0)));
        assert!(going_pays(break_even(30.0, 70.0) + 1e-9, break_even(30.0, 70.0)));
    }
}
