//! Rules beyond the hours of a window: the gale that follows, the forecast's age and what it does not
//! tell, and how far off the limits are.

use std::ops::Range;

use chrono::TimeDelta;

use super::doubt;
use super::judge::Judge;
use super::middle::median;
use super::verdict::{Missing, Remark, Verdict};
use super::window::{Chance, Margin};
use crate::farm::Job;
use crate::units::{Hours, MetresPerSecond};
use crate::weather::forecast::Kind;
use crate::weather::{Freshness, Quantity};

/// Hours after laying or folding in which a gale counts.
const AFTER_H: usize = 24;
/// Load on the ties from which a window is a maybe.
const NEAR_LOAD: f64 = 0.8;
/// Share of the allowance that a folded piece carries.
pub(super) const FOLDED: f64 = 0.25;

impl Judge<'_> {
    /// The remark for an hour that is not known.
    pub(super) fn missing(&self, k: usize, quantity: Quantity) -> Remark {
        let ended = self.model.members.iter().any(|member| k >= member.known_until());
        let missing = if ended {
            Missing::BeyondForecast
        } else {
            Missing::Weather(quantity)
        };
        Remark::Missing {
            missing,
            at: self.timeline.stamps.start(k),
        }
    }

    /// The best that may be said where a gale may follow on laid or folded covers.
    pub(super) fn gale_after(&self, after: usize, remarks: &mut Vec<Remark>) -> Verdict {
        let allowance = match self.request.job {
            Job::Lay => 1.0,
            Job::Fold => FOLDED,
            Job::Lift | Job::Check | Job::Redry => return Verdict::Go,
        };
        let rows = after..after + AFTER_H;
        let (mut beaten, mut near, mut unknown) = (0, 0, None);
        let mut first = Vec::new();
        for member in &self.model.members {
            let (mut most, mut at) = (0.0_f64, None);
            for k in rows.clone() {
                match member.hours.get(k).map(|hour| hour.weather) {
                    Some(Ok(felt)) => {
                        let load = felt.utilisation / allowance;
                        if load >= 1.0 && at.is_none() {
                            at = Some((k, felt.gust));
                        }
                        most = most.max(load);
                    }
                    Some(Err(quantity)) => unknown = unknown.or(Some((k, quantity))),
                    None => unknown = unknown.or(Some((k, Quantity::Gust))),
                }
            }
            first.extend(at);
            beaten += usize::from(most >= 1.0);
            near += usize::from(most >= NEAR_LOAD);
        }
        let of = self.model.members.len();
        let many = |good: usize| Chance { good, of }.share() > self.limits.act_cost_share;
        if many(near) {
            first.sort_by_key(|(k, _)| *k);
            let mut gusts: Vec<f64> = first.iter().map(|(_, gust)| *gust).collect();
            let (k, gust) = match (first.first(), median(&mut gusts)) {
                (Some((k, _)), Some(gust)) => (*k, gust),
                _ => self.windiest(&rows),
            };
            remarks.push(Remark::GaleAfter {
                at: self.timeline.stamps.start(k),
                gust: MetresPerSecond(gust),
            });
        }
        if many(beaten) {
            return Verdict::No;
        }
        if let Some((k, quantity)) = unknown {
            remarks.push(self.missing(k, quantity));
            return Verdict::Unknown;
        }
        if many(near) { Verdict::Maybe } else { Verdict::Go }
    }

    /// The row of the strongest middle gust, and that gust.
    fn windiest(&self, rows: &Range<usize>) -> (usize, f64) {
        rows.clone()
            .filter_map(|k| Some((k, self.middle.get(k)?.as_ref()?.gust)))
            .fold(
                (rows.start, 0.0),
                |best, next| if next.1 > best.1 { next } else { best },
            )
    }

    /// The best that may be said of these rows by the forecast's age and by what it tells.
    pub(super) fn trust(&self, rows: &Range<usize>, remarks: &mut Vec<Remark>) -> Verdict {
        let before = remarks.len();
        if self.timeline.freshness != Freshness::Fresh {
            remarks.push(Remark::OldForecast);
        }
        for quantity in self.timeline.estimated.union(&self.timeline.untold) {
            remarks.push(if *quantity == Quantity::Gust {
                Remark::EstimatedGust
            } else {
                Remark::NotTold { quantity: *quantity }
            });
        }
        if self.timeline.coarse_from.is_some_and(|coarse| coarse < rows.end) {
            remarks.push(Remark::LongSteps);
        }
        let (start, end) = (
            self.timeline.stamps.start(rows.start),
            self.timeline.stamps.start(rows.end),
        );
        if self.timeline.warned.iter().any(|(from, to)| *from < end && start < *to) {
            remarks.push(Remark::OfficialWarning);
        }
        if remarks.len() > before {
            Verdict::Maybe
        } else {
            Verdict::Go
        }
    }

    pub(super) fn margin(&self, rows: &Range<usize>, lead_h: f64) -> Margin {
        if self.request.job == Job::Redry {
            return Margin::default();
        }
        let share = if self.timeline.kind == Kind::Single {
            doubt::alpha(lead_h)
        } else {
            1.0
        };
        let limit = self.limits.of(self.request.job).gust.bad * share;
        let gust = self.windiest(rows).1;
        Margin {
            wind: Some(MetresPerSecond(limit - gust)),
            wind_limit: Some(MetresPerSecond(limit)),
            drying: (self.request.job == Job::Lift)
                .then(|| self.dry_before(rows.start))
                .flatten(),
        }
    }

    /// How long both faces have been dry before row `k`, at most a day.
    fn dry_before(&self, k: usize) -> Option<Hours> {
        let dry = |k: &usize| {
            let hour = self.middle.get(*k).copied().flatten();
            hour.and_then(|hour| hour.water)
                .is_some_and(|water| !water.wet_top && !water.wet_under)
        };
        let since = (0..k).rev().take(24).take_while(dry).last()?;
        let dried = self.timeline.stamps.start(k) - self.timeline.stamps.at(since);
        Some(Hours(dried.max(TimeDelta::zero()).as_seconds_f64() / 3600.0))
    }
}
