//! Fire, on days on which a hot tool is used: a caution, never a permit.
//!
//! In:     weather at noon local standard time of today and the days before it on the timeline.
//! Out:    how readily grass catches fire, in words; without weather the caution stands all the same.
//! Source: fine fuel moisture code and initial spread index of Van Wagner 1987, begun at 85 up to five days back;
//!         the bounds 85 (high) and 92 (extreme) of the code as Canadian fire services print them (from memory).
//! Valid:  litter under pine: cured grass dries faster. A low code says nothing about a torch.

use chrono::TimeDelta;

use super::morning::Morning;
use crate::advice::{spread, words};
use crate::physics::fire::{FIRST_CODE, Noon, fine_fuel_code, initial_spread};
use crate::physics::vapour::humidity;
use crate::weather::{Run, Timeline};

/// Code from which grass catches fire easily.
const EASILY: f64 = 85.0;
/// Code from which a spark is enough.
const BY_A_SPARK: f64 = 92.0;
/// Initial spread index from which wind carries a fire fast. Assumed.
const FAST: f64 = 10.0;
/// Days back at most.
const DAYS: i64 = 5;

impl Morning<'_> {
    pub(super) fn hot_tool(&self) -> Option<String> {
        let today = self.words.today;
        let of_today = |from, to| (from..=to).contains(&today);
        let planned = self.inputs.farm.hot_cutting.iter();
        let planned: Vec<_> = planned.filter(|hot| of_today(hot.from, hot.to)).collect();
        if planned.is_empty() {
            return None;
        }
        let mut places: Vec<String> = Vec::new();
        if planned.iter().all(|hot| !hot.blocks.is_empty()) {
            for name in planned.iter().flat_map(|hot| &hot.blocks).map(|id| words::name(&id.0)) {
                if !places.contains(&name) {
                    places.push(name);
                }
            }
        }
        let place = if places.is_empty() {
            String::new()
        } else {
            format!(" in {}", places.join(", "))
        };
        Some(format!(
            "Cutting with a hot tool{place}: {}. Water and a second person at hand. Local fire rules decide.",
            self.tinder()
        ))
    }

    /// What the grass does today; of the runs the driest tenth speaks.
    fn tinder(&self) -> &'static str {
        let Some(weather) = self.weather else {
            return "how dry the grass is, is not known";
        };
        let codes: Vec<Option<(f64, f64)>> = weather.runs.iter().map(|run| self.codes(weather, run)).collect();
        let high = |part: &dyn Fn(&(f64, f64)) -> f64| {
            let values = codes.iter().map(|codes| codes.as_ref().map(part));
            spread::spread(values).map(|spread| spread.high)
        };
        match (high(&|codes| codes.0), high(&|codes| codes.1)) {
            (Some(code), Some(index)) if code >= EASILY && index >= FAST => {
                "grass catches fire easily, wind carries it fast"
            }
            (Some(code), _) if code >= BY_A_SPARK => "a spark is enough for dry grass today",
            (Some(code), _) if code >= EASILY => "dry grass catches fire easily today",
            (Some(_), _) => "grass and twigs can burn on any day",
            (None, _) => "how dry the grass is, is not known",
        }
    }

    /// Fine fuel moisture code and initial spread index of today's noon; `None` where weather before it is missing.
    fn codes(&self, weather: &Timeline, run: &Run) -> Option<(f64, f64)> {
        let mut found = None;
        let mut code = FIRST_CODE;
        for back in (0..=DAYS).rev() {
            let noon = self.words.zone.standard_noon(self.words.today - TimeDelta::days(back));
            let Some(k) = weather.stamps.row(noon).filter(|k| *k >= 23) else {
                found = None;
                continue;
            };
            let air_c = run.temperature.get(k)?;
            let noon = Noon {
                air_c,
                humidity_pct: 100.0 * humidity(air_c, run.dew_point.get(k)?).min(1.0),
                wind_km_h: 3.6 * run.wind.get(k)?,
                rain_mm: (k - 23..=k).map(|k| run.rain.get(k)).sum::<Option<f64>>()?,
            };
            code = fine_fuel_code(code, noon);
            found = Some((code, initial_spread(code, noon.wind_km_h)));
        }
        found
    }
}
