//! One run of the weather as the cover's balance reads it, with its holes.
//!
//! Holes of up to three hours in temperature, dew point, wind and cloud are bridged for the wetness
//! run alone; in them nothing dries. A hole in rain, sunshine or wind direction is never bridged.

use crate::physics::{Hour, Row};
use crate::weather::{Quantity, Run, Series};

/// Longest hole that is bridged \[h\].
const BRIDGED_HOURS: usize = 3;

/// The rows of a run, with irrigation \[mm\] by row.
pub(super) fn rows(run: &Run, count: usize, irrigation: &[f64]) -> Vec<Row> {
    if let Some(rows) = without_gaps(run, count, irrigation) {
        return rows;
    }
    let bridged = |quantity| bridge(run.of(quantity), count);
    let (air, dew) = (bridged(Quantity::Temperature), bridged(Quantity::DewPoint));
    let (wind, cloud) = (bridged(Quantity::Wind), bridged(Quantity::Cloud));
    let fog_is_told = !run.fog.is_all_gaps();
    let row = |k: usize| {
        let at = |series: &[Option<Value>]| series.get(k).copied().flatten();
        let (air, dew, wind, cloud) = (at(&air)?, at(&dew)?, at(&wind)?, at(&cloud)?);
        // Fog that is not known may be there.
        let fog = run.fog.get(k).map(|fog| fog > 0.5);
        let fog_unknown = fog.is_none() && fog_is_told;
        let hour = Hour {
            air_c: air.value,
            dew_c: if fog.unwrap_or(fog_unknown) {
                air.value
            } else {
                dew.value
            },
            wind: wind.value,
            gust: run.gust.get(k).unwrap_or(wind.value),
            direction_deg: run.wind_direction.get(k)?,
            rain_mm: run.rain.get(k)?,
            irrigation_mm: irrigation.get(k).copied().unwrap_or(0.0),
            shortwave: run.shortwave.get(k)?,
            cloud: cloud.value,
        };
        let known = !(air.bridged || dew.bridged || wind.bridged || cloud.bridged || fog_unknown);
        Some(if known { Row::Known(hour) } else { Row::Bridged(hour) })
    };
    (0..count).map(|k| row(k).unwrap_or(Row::Hole)).collect()
}

/// The rows of a run in which nothing is missing; `None` if something is.
fn without_gaps(run: &Run, count: usize, irrigation: &[f64]) -> Option<Vec<Row>> {
    let whole = |quantity| run.of(quantity).without_gaps(count);
    let (air, dew) = (whole(Quantity::Temperature)?, whole(Quantity::DewPoint)?);
    let (wind, cloud) = (whole(Quantity::Wind)?, whole(Quantity::Cloud)?);
    let (gust, direction) = (whole(Quantity::Gust)?, whole(Quantity::WindDirection)?);
    let (rain, shortwave) = (whole(Quantity::Rain)?, whole(Quantity::Shortwave)?);
    let fog = if run.fog.is_all_gaps() {
        None
    } else {
        Some(run.fog.without_gaps(count)?)
    };
    let at = |series: &[f32], k: usize| f64::from(series.get(k).copied().unwrap_or_default());
    let row = |k: usize| {
        let air_c = at(air, k);
        let in_fog = fog.is_some_and(|fog| at(fog, k) > 0.5);
        Row::Known(Hour {
            air_c,
            dew_c: if in_fog { air_c } else { at(dew, k) },
            wind: at(wind, k),
            gust: at(gust, k),
            direction_deg: at(direction, k),
            rain_mm: at(rain, k),
            irrigation_mm: irrigation.get(k).copied().unwrap_or(0.0),
            shortwave: at(shortwave, k),
            cloud: at(cloud, k),
        })
    };
    Some((0..count).map(row).collect())
}

#[derive(Clone, Copy)]
struct Value {
    value: f64,
    bridged: bool,
}

/// The series with its short inner holes filled along straight lines.
fn bridge(series: &Series, count: usize) -> Vec<Option<Value>> {
    let mut last: Option<(usize, f64)> = None;
    let mut filled: Vec<Option<Value>> = Vec::with_capacity(count);
    for k in 0..count {
        let Some(value) = series.get(k) else {
            filled.push(None);
            continue;
        };
        if let Some((from, before)) = last
            && (1..=BRIDGED_HOURS).contains(&(k - from - 1))
        {
            #[expect(clippy::cast_precision_loss, reason = "at most four rows")]
            let slope = (value - before) / (k - from) as f64;
            let mut along = before;
            for slot in filled.iter_mut().skip(from + 1) {
                along += slope;
                *slot = Some(Value {
                    value: along,
                    bridged: true,
                });
            }
        }
        filled.push(Some(Value { value, bridged: false }));
        last = Some((k, value));
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fine(count: usize) -> Run {
        let mut run = Run::unknown(count);
        for quantity in Quantity::NEEDED {
            *run.of_mut(quantity) = Series::new((0..count).map(|k| Some(k as f64)));
        }
        run
    }

    fn without(quantity: Quantity, holes: std::ops::Range<usize>) -> Vec<Row> {
        let mut run = fine(12);
        for k in holes {
            run.of_mut(quantity).put(k, None);
        }
        rows(&run, 12, &[])
    }

    #[test]
    fn three_hours_of_air_are_bridged_and_four_are_not() {
        let bridged = without(Quantity::DewPoint, 4..7);
        assert!(matches!(bridged[5], Row::Bridged(Hour { dew_c, .. }) if (dew_c - 5.0).abs() < 1e-9));
        assert!(matches!(bridged[7], Row::Known(_)));
        assert_eq!(without(Quantity::DewPoint, 4..8)[5], Row::Hole);
    }

    #[test]
    fn rain_is_never_bridged_and_the_end_of_a_series_is_no_hole_to_bridge() {
        assert_eq!(without(Quantity::Rain, 4..5)[4], Row::Hole);
        assert_eq!(without(Quantity::Wind, 10..12)[11], Row::Hole);
        assert_eq!(without(Quantity::Wind, 0..2)[0], Row::Hole);
    }

    #[test]
    fn a_gust_that_is_missing_says_nothing_about_water() {
        assert!(matches!(without(Quantity::Gust, 4..9)[5], Row::Known(_)));
    }

    #[test]
    fn in_fog_the_air_is_full_and_fog_that_is_not_known_may_be_there() {
        let mut run = fine(3);
        run.dew_point = Series::new([Some(-3.0), Some(-3.0), Some(-3.0)]);
        run.fog = Series::new([Some(1.0), Some(0.0), None]);
        let rows = rows(&run, 3, &[]);
        assert!(matches!(rows[0], Row::Known(Hour { dew_c, air_c, .. }) if (dew_c - air_c).abs() < 1e-9));
        assert!(matches!(rows[1], Row::Known(Hour { dew_c, .. }) if dew_c < -2.0));
        assert!(matches!(rows[2], Row::Bridged(Hour { dew_c, .. }) if dew_c > 1.0));
    }
}
