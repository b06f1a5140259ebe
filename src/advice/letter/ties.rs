//! Ties in the next 48 hours: an estimate for warning, not an engineering check.

use chrono::TimeDelta;

use super::TieLine;
use super::morning::Morning;
use crate::advice::words;
use crate::alley::Alley;
use crate::farm::Job;
use crate::farm::block::BlockId;
use crate::physics::tie_load::{UNTESTED_N, carries};
use crate::plan::BlockPlan;
use crate::units::MetresPerSecond;
use crate::workability::outlook::TieHour;

impl Morning<'_> {
    /// `None` where nothing lies out.
    pub(super) fn ties(&self) -> Option<super::Ties> {
        let out: Vec<&BlockPlan> = self
            .inputs
            .plan
            .blocks
            .iter()
            .filter(|block| block.out.is_some())
            .collect();
        if out.is_empty() {
            return None;
        }
        let lines: Vec<TieLine> = out.iter().filter_map(|block| self.tie_line(block)).collect();
        if self.weather.is_some() && !out.iter().any(|block| self.worth_a_look(block)) {
            return Some(super::Ties {
                note: Some("Ties: no load worth a look.".to_owned()),
                lines: Vec::new(),
            });
        }
        let note = lines
            .is_empty()
            .then(|| "What the ties carry is not known: it could not be computed.".to_owned());
        Some(super::Ties { note, lines })
    }

    /// Half of what the ties carry, or an unknown gust.
    fn worth_a_look(&self, block: &BlockPlan) -> bool {
        let outlook = self.inputs.outlooks.iter().find(|outlook| outlook.block == block.block);
        outlook.is_none_or(|outlook| {
            outlook
                .worst_hour
                .is_none_or(|worst| worst.gust_high.0.max(worst.gust.0) >= outlook.critical_gust.0 / 2.0)
        })
    }

    /// What the ties carry rests on the block alone and holds without a forecast.
    fn carries(&self, id: &BlockId) -> Option<MetresPerSecond> {
        let told = self
            .inputs
            .outlooks
            .iter()
            .find(|outlook| outlook.block == *id)
            .map(|outlook| outlook.critical_gust);
        told.or_else(|| {
            let alley = &self.farm_block(id)?.alley;
            Some(MetresPerSecond(carries(alley)))
        })
    }

    /// What untested ties carry, from weak to strong; nobody has pulled at them yet.
    fn carry_range(&self, id: &BlockId) -> Option<String> {
        let block = self.farm_block(id).filter(|block| !block.tie_tested)?;
        let shown = |tie_allow_n: f64| {
            let alley = Alley {
                tie_allow_n,
                ..block.alley
            };
            self.words.wind_number(MetresPerSecond(carries(&alley)))
        };
        Some(format!("{} to {}", shown(UNTESTED_N.0), shown(UNTESTED_N.1)))
    }

    fn tie_line(&self, block: &BlockPlan) -> Option<TieLine> {
        let worst = self.outlook(&block.block).and_then(|outlook| outlook.worst_hour);
        let runs = !self.one_forecast();
        let lifts_before = |worst: &TieHour| {
            self.inputs.plan.tasks.iter().any(|task| {
                let job = self.inputs.plan.job(task.block, task.job);
                let same = self
                    .inputs
                    .plan
                    .blocks
                    .get(task.block)
                    .is_some_and(|of| of.block == block.block);
                same && task.start < worst.at && job.is_some_and(|job| job.job == Job::Lift)
            })
        };
        let name = words::name(&block.block.0);
        let still = worst.as_ref().is_some_and(lifts_before);
        let unknown = || "not known".to_owned();
        Some(TieLine {
            block: if still { format!("{name}, if still out") } else { name },
            when: worst.map_or_else(unknown, |worst| {
                let start = worst.at - TimeDelta::hours(1);
                format!(
                    "{} {}",
                    self.words.zone.local(start).format("%a"),
                    self.words.clock(start)
                )
            }),
            gust: worst.map_or_else(unknown, |worst| self.words.wind(worst.gust)),
            could_be: worst.filter(|_| runs).map(|worst| {
                format!(
                    "{} to {}",
                    self.words.wind_number(worst.gust_low),
                    self.words.wind_number(worst.gust_high)
                )
            }),
            carry: self.words.wind_number(self.carries(&block.block)?),
            carry_range: self.carry_range(&block.block),
            more: worst
                .filter(|_| runs)
                .and_then(|worst| worst.beaten)
                .map(|beaten| words::chance(beaten.share())),
        })
    }
}
