//! Columns of a reply turned into canonical hours, with what is impossible taken out and what is not
//! offered filled in by rule.

use std::collections::{BTreeMap, BTreeSet};

use super::super::Refusal;
use super::super::refusal::cleaned;
use super::axis::Axis;
use super::names::{Key, Variable};
use super::reply::{Column, Columns};
use super::values::{canonical, flags, is_fog, is_thunder, snow};
use crate::weather::{Kind, Offer, Quantity, Run, Series, estimate};

/// Most members read.
const MOST_MEMBERS: usize = 200;
/// Share of impossible values above which none of a quantity is trusted.
const TOO_MANY_REJECTED: f64 = 0.05;
/// By how much a dew point may lie above the temperature, for rounding \[K\].
const DEW_ABOVE_AIR_K: f32 = 1.0;

/// Canonical hours of all members.
pub(super) struct Hours {
    pub(super) runs: Vec<Run>,
    pub(super) kind: Kind,
    pub(super) offers: BTreeMap<Quantity, Offer>,
    pub(super) rejected: usize,
}

/// The columns of one variable by member, in canonical units.
type ByMember = BTreeMap<u16, Vec<f32>>;

/// Everything read so far.
struct Table {
    members: BTreeSet<u16>,
    variables: BTreeMap<Variable, ByMember>,
    /// Offered, but not usable.
    refused: BTreeSet<Variable>,
    rejected: usize,
}

/// Turns columns into hours. `offered_before` holds what the service's reply before this one offered.
pub(super) fn hours(
    columns: Columns,
    units: &BTreeMap<String, String>,
    axis: &Axis,
    offered_before: &BTreeSet<Quantity>,
) -> Result<Hours, Refusal> {
    let mut table = Table::read(columns, units, axis)?;
    table.missing()?;
    table.refuse_dew_above_air()?;
    let kind = if table.members.iter().any(|member| *member > 0) {
        Kind::Members
    } else {
        Kind::Single
    };
    let members: Vec<u16> = table.members.iter().copied().collect();
    let offers = table.offers(offered_before);
    let has_dew = table.has(Variable::DewPoint);
    let mut runs: Vec<Run> = members.iter().map(|member| table.run(*member, axis, has_dew)).collect();
    for run in &mut runs {
        fill(run, &offers);
    }
    Ok(Hours {
        runs,
        kind,
        offers,
        rejected: table.rejected,
    })
}

impl Table {
    fn read(columns: Columns, units: &BTreeMap<String, String>, axis: &Axis) -> Result<Self, Refusal> {
        let keys = one_model(&columns)?;
        let members: BTreeSet<u16> = keys.iter().map(|(_, key, _)| key.member).collect();
        if members.len() > MOST_MEMBERS {
            return Err(Refusal::TooLong);
        }
        let model = keys.first().map(|(_, key, _)| key.model.to_owned()).unwrap_or_default();
        let mut table = Self {
            members,
            variables: BTreeMap::new(),
            refused: BTreeSet::new(),
            rejected: 0,
        };
        let mut counts: BTreeMap<Variable, (usize, usize)> = BTreeMap::new();
        for (name, column) in columns.columns {
            let name = name.as_str();
            let Some(key) = Key::parse(name).filter(|key| key.model == model) else {
                continue;
            };
            let by_member = table.variables.entry(key.variable).or_default();
            if by_member.contains_key(&key.member) {
                return Err(Refusal::Twice(cleaned(name)));
            }
            if !column.is_null && column.values.len() != axis.rows.len() {
                let (values, times) = (column.values.len(), axis.rows.len());
                return Err(Refusal::Lengths {
                    key: cleaned(name),
                    values,
                    times,
                });
            }
            // Nothing but nulls needs no unit.
            if column.odd == 0 && column.values.iter().all(|value| value.is_nan()) {
                by_member.insert(key.member, vec![f32::NAN; axis.rows.len()]);
                continue;
            }
            let Some(factor) = units.get(name).and_then(|unit| key.variable.factor(unit)) else {
                if key.variable.is_needed() {
                    return Err(Refusal::Unit {
                        key: cleaned(name),
                        unit: units.get(name).map(|unit| cleaned(unit)),
                    });
                }
                table.refused.insert(key.variable);
                continue;
            };
            let mut values = column.values;
            let (rejected, kept) = canonical(key.variable, &mut values, factor);
            let rejected = rejected + column.odd;
            table.rejected += rejected;
            let count = counts.entry(key.variable).or_default();
            count.0 += rejected;
            count.1 += kept + rejected;
            by_member.insert(key.member, values);
        }
        for (variable, (rejected, of)) in counts {
            table.judge(variable, rejected, of)?;
        }
        Ok(table)
    }

    /// Whether so many values were impossible that none of the variable is trusted.
    fn judge(&mut self, variable: Variable, rejected: usize, of: usize) -> Result<(), Refusal> {
        #[expect(clippy::cast_precision_loss, reason = "counts of values stay far below 2^52")]
        let too_many = rejected as f64 > TOO_MANY_REJECTED * of as f64;
        if too_many && variable.is_needed() {
            return Err(Refusal::Impossible {
                word: variable.name(),
                rejected,
                of,
            });
        }
        if too_many {
            self.refused.insert(variable);
        }
        Ok(())
    }

    /// Whether any member has any value of it.
    fn has(&self, variable: Variable) -> bool {
        !self.refused.contains(&variable)
            && self
                .variables
                .get(&variable)
                .is_some_and(|members| members.values().flatten().any(|value| !value.is_nan()))
    }

    /// Refuses a reply without a quantity that no rule fills in.
    fn missing(&self) -> Result<(), Refusal> {
        let bare = [Variable::Temperature, Variable::Wind, Variable::Rain, Variable::Cloud];
        let mut missing: Vec<&str> = bare
            .into_iter()
            .filter(|variable| !self.has(*variable))
            .map(Variable::name)
            .collect();
        if !self.has(Variable::DewPoint) && !self.has(Variable::Humidity) {
            missing.push(Variable::DewPoint.name());
        }
        if missing.is_empty() {
            Ok(())
        } else {
            Err(Refusal::Missing(missing))
        }
    }

    fn refuse_dew_above_air(&mut self) -> Result<(), Refusal> {
        let Some(mut dew) = self.variables.remove(&Variable::DewPoint) else {
            return Ok(());
        };
        let of = dew.values().flatten().filter(|value| !value.is_nan()).count();
        let mut rejected = 0;
        for (member, values) in &mut dew {
            let Some(air) = self
                .variables
                .get(&Variable::Temperature)
                .and_then(|members| members.get(member))
            else {
                continue;
            };
            for (dew_c, air_c) in values.iter_mut().zip(air) {
                // Never true of a gap.
                if *dew_c > air_c + DEW_ABOVE_AIR_K {
                    *dew_c = f32::NAN;
                    rejected += 1;
                }
            }
        }
        self.variables.insert(Variable::DewPoint, dew);
        self.rejected += rejected;
        self.judge(Variable::DewPoint, rejected, of)
    }

    /// One member's series on the axis, taken out of the table.
    fn run(&mut self, member: u16, axis: &Axis, has_dew: bool) -> Run {
        let mut taken = |variable: Variable| {
            let members = self.variables.get_mut(&variable);
            let values = members.and_then(|members| members.remove(&member));
            values.filter(|_| !self.refused.contains(&variable))
        };
        let codes = taken(Variable::Code);
        let (falls, depths) = (taken(Variable::Snowfall), taken(Variable::SnowDepth));
        let snow = snow(codes.as_deref(), falls.as_deref(), depths.as_deref(), axis.rows.len());
        let mut run = Run {
            snow: axis.series(snow),
            ..Run::default()
        };
        if let Some(codes) = &codes {
            run.thunder = axis.series(flags(codes, is_thunder));
            run.fog = axis.series(flags(codes, is_fog));
        }
        for (quantity, variable) in PLAIN {
            if let Some(values) = taken(variable) {
                *run.of_mut(quantity) = axis.series(values);
            }
        }
        if !has_dew && let Some(humidity) = taken(Variable::Humidity) {
            let humidity = axis.series(humidity);
            let dew = run
                .temperature
                .iter()
                .zip(humidity.iter())
                .map(|(air, share)| estimate::dew_point(air?, share?.min(1.0)));
            run.dew_point = Series::new(dew.collect::<Vec<_>>());
        }
        for quantity in Quantity::ALL {
            if run.of(quantity).is_empty() {
                *run.of_mut(quantity) = Series::gaps(axis.stamps.count);
            }
        }
        run
    }

    fn offers(&self, offered_before: &BTreeSet<Quantity>) -> BTreeMap<Quantity, Offer> {
        let mut offers = BTreeMap::new();
        for (quantity, variable) in PLAIN {
            let offer = if self.has(variable) {
                Offer::Given
            } else if offered_before.contains(&quantity) {
                Offer::Gone
            } else {
                Offer::Estimated
            };
            offers.insert(quantity, offer);
        }
        let code = [
            (Quantity::Thunder, &[Variable::Code][..]),
            (Quantity::Fog, &[Variable::Code]),
        ];
        let snow = (
            Quantity::Snow,
            &[Variable::Code, Variable::Snowfall, Variable::SnowDepth][..],
        );
        for (quantity, variables) in code.into_iter().chain([snow]) {
            if variables.iter().any(|variable| self.has(*variable)) {
                offers.insert(quantity, Offer::Given);
            } else if variables.iter().any(|variable| self.refused.contains(variable)) {
                offers.insert(quantity, Offer::Refused);
            } else if offered_before.contains(&quantity) {
                offers.insert(quantity, Offer::Gone);
            }
        }
        offers
    }
}

/// Quantities that are one variable.
const PLAIN: [(Quantity, Variable); 8] = [
    (Quantity::Temperature, Variable::Temperature),
    (Quantity::DewPoint, Variable::DewPoint),
    (Quantity::Wind, Variable::Wind),
    (Quantity::Gust, Variable::Gust),
    (Quantity::WindDirection, Variable::Direction),
    (Quantity::Rain, Variable::Rain),
    (Quantity::Shortwave, Variable::Shortwave),
    (Quantity::Cloud, Variable::Cloud),
];

impl Variable {
    /// Whether a reply in which it cannot be read has failed. Humidity counts: it stands in for the dew point.
    fn is_needed(self) -> bool {
        match self {
            Self::Temperature
            | Self::DewPoint
            | Self::Rain
            | Self::Wind
            | Self::Gust
            | Self::Direction
            | Self::Shortwave
            | Self::Cloud => true,
            Self::Humidity | Self::Code | Self::Snowfall | Self::SnowDepth => false,
        }
    }
}

/// The columns of the one model in a reply. Where names without a model stand, others are not looked at.
pub(super) fn one_model(columns: &Columns) -> Result<Vec<(&str, Key<'_>, &Column)>, Refusal> {
    let mut keys: Vec<(&str, Key<'_>, &Column)> = columns
        .columns
        .iter()
        .filter_map(|(name, column)| Some((name.as_str(), Key::parse(name)?, column)))
        .collect();
    let models: BTreeSet<&str> = keys.iter().map(|(_, key, _)| key.model).collect();
    if models.contains("") {
        keys.retain(|(_, key, _)| key.model.is_empty());
    } else if models.len() > 1 {
        return Err(Refusal::SeveralModels(models.into_iter().map(cleaned).collect()));
    }
    Ok(keys)
}

/// Rules after all series are in place: gust never below the mean, gusts that a source does not offer.
/// Radiation that it does not offer is left to `weather::stitch`, which knows the sun.
fn fill(run: &mut Run, offers: &BTreeMap<Quantity, Offer>) {
    let wind: Vec<Option<f64>> = run.wind.iter().collect();
    match offers.get(&Quantity::Gust) {
        Some(Offer::Given) => {
            let gusts: Vec<Option<f64>> = run
                .gust
                .iter()
                .zip(&wind)
                .map(|(gust, wind)| match (gust, *wind) {
                    // Some models give 0 for the first hour of a run: that is no calm but no value.
                    (Some(gust), Some(wind)) if gust < 0.05 && wind >= 1.0 => None,
                    (Some(gust), Some(wind)) => Some(gust.max(wind)),
                    (gust, _) => gust,
                })
                .collect();
            run.gust = Series::new(gusts);
        }
        Some(Offer::Estimated) => run.gust = Series::new(wind.into_iter().map(|wind| wind.map(estimate::gust))),
        Some(Offer::Refused | Offer::Gone) | None => {}
    }
    if offers.get(&Quantity::DewPoint) == Some(&Offer::Gone) {
        run.dew_point = Series::gaps(run.dew_point.len());
    }
}
