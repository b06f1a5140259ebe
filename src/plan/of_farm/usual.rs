//! What is usual for the season at the farm, half-day by half-day: beyond the forecast nothing else is known.

use chrono::{Datelike, NaiveDate};

use crate::farm::climate::{Climate, HalfClimate};
use crate::workability::Half;

/// What is usual in one half of one week of the year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualHalf {
    /// Share of half-days with hours for laying, 0 to 1.
    pub lay: f64,
    /// Share of half-days with hours for lifting dry, 0 to 1.
    pub lift: f64,
    /// Share of half-days in which the ties of a common cover are beaten, 0 to 1.
    pub beaten: f64,
}

/// What is usual, by week of the year.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    weeks: Vec<[UsualHalf; 2]>,
    coarse: bool,
}

/// Assumed where no climate table is given: mornings are dewy, so a dry lift is rarer then.
const COARSE: [UsualHalf; 2] = [
    UsualHalf {
        lay: 0.75,
        lift: 0.33,
        beaten: 0.003,
    },
    UsualHalf {
        lay: 0.65,
        lift: 0.60,
        beaten: 0.005,
    },
];

impl Default for Usual {
    fn default() -> Self {
        Self {
            weeks: vec![COARSE],
            coarse: true,
        }
    }
}

impl Usual {
    /// Out of a table with one entry a week of the year, morning and afternoon; `None` of an empty one.
    pub fn of_weeks(weeks: Vec<[UsualHalf; 2]>) -> Option<Self> {
        (!weeks.is_empty()).then_some(Self { weeks, coarse: false })
    }

    /// Out of a climate table; a half of a week of which it tells nothing stays coarse.
    pub fn of_climate(climate: &Climate) -> Self {
        let half = |known: Option<HalfClimate>, coarse: UsualHalf| {
            known.map_or(coarse, |known| UsualHalf {
                lay: known.lay,
                lift: known.lift,
                beaten: known.beaten,
            })
        };
        let weeks = climate.weeks.iter().map(|[morning, afternoon]| {
            let [coarse_morning, coarse_afternoon] = COARSE;
            [half(*morning, coarse_morning), half(*afternoon, coarse_afternoon)]
        });
        Self {
            coarse: climate.known() == 0,
            ..Self::of_weeks(weeks.collect()).unwrap_or_default()
        }
    }

    /// Whether these are the coarse numbers for anywhere.
    pub fn is_coarse(&self) -> bool {
        self.coarse
    }

    /// What is usual in one half of a day.
    pub fn of(&self, day: NaiveDate, half: Half) -> UsualHalf {
        let week = usize::try_from(day.ordinal0() / 7)
            .unwrap_or(0)
            .min(self.weeks.len() - 1);
        let halves = self.weeks.get(week).unwrap_or(&COARSE);
        let [morning, afternoon] = halves;
        match half {
            Half::Morning => *morning,
            Half::Afternoon => *afternoon,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_days_of_the_year_belong_to_its_last_week() {
        let mut weeks = vec![COARSE; 52];
        weeks[51][0].lay = 0.1;
        let usual = Usual::of_weeks(weeks).unwrap();
        let lay = |day: &str| usual.of(day.parse().unwrap(), Half::Morning).lay;
        assert!((lay("2026-12-31") - 0.1).abs() < 1e-12);
        assert!((lay("2026-01-01") - 0.75).abs() < 1e-12);
        assert!(!usual.is_coarse() && Usual::default().is_coarse());
        assert_eq!(Usual::of_weeks(Vec::new()), None);
    }
}
