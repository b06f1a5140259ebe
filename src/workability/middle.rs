//! The middle of all runs, for charts and sentences.

use super::model_run::{Member, MemberHour, ModelRun};

/// The middle of one hour; only of hours known in every run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MiddleHour {
    pub(super) gust: f64,
    /// One run in ten is below, one in ten above.
    pub(super) gust_low: f64,
    pub(super) gust_high: f64,
    pub(super) utilisation: f64,
    /// Share of runs in which the ties are beaten.
    pub(super) beaten: f64,
    pub(super) light: f64,
    /// Water in half the runs or more; `None` while it is not known.
    pub(super) water: Option<MiddleWater>,
}

/// Water on the cover in half the runs or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct MiddleWater {
    pub(super) wet_top: bool,
    pub(super) wet_under: bool,
    pub(super) frost: bool,
}

/// The middle of every hour; ties carry `allowance` of what they may.
pub(super) fn middle(model: &ModelRun, allowance: f64) -> Vec<Option<MiddleHour>> {
    let count = model.light.hours.len();
    let mut sorted = Vec::with_capacity(model.members.len());
    (0..count)
        .map(|k| hour(&model.members, k, allowance, &mut sorted))
        .collect()
}

fn hour(members: &[Member], k: usize, allowance: f64, sorted: &mut Vec<f64>) -> Option<MiddleHour> {
    let hours: Vec<&MemberHour> = members
        .iter()
        .map(|member| member.hours.get(k))
        .collect::<Option<_>>()?;
    if hours.is_empty() || hours.iter().any(|hour| hour.weather.is_err()) {
        return None;
    }
    let mut of = |value: fn(&MemberHour) -> f64| {
        sorted.clear();
        sorted.extend(hours.iter().map(|hour| value(hour)));
        sorted.sort_by(f64::total_cmp);
        (at_share(sorted, 0.1), at_share(sorted, 0.5), at_share(sorted, 0.9))
    };
    let (gust_low, gust, gust_high) = of(|hour| hour.weather.map_or(0.0, |felt| felt.gust));
    let utilisation = of(|hour| hour.weather.map_or(0.0, |felt| felt.utilisation)).1 / allowance;
    let light = of(|hour| hour.water.light).1;
    let count = |is: &dyn Fn(&MemberHour) -> bool| hours.iter().filter(|hour| is(hour)).count();
    let half = |is: fn(&MemberHour) -> bool| 2 * count(&is) >= hours.len();
    let beaten = count(&|hour| hour.weather.is_ok_and(|felt| felt.utilisation >= allowance));
    let water = hours.iter().all(|hour| hour.water.known).then(|| MiddleWater {
        wet_top: half(|hour| hour.water.wet_top),
        wet_under: half(|hour| hour.water.wet_under),
        frost: half(|hour| hour.water.frost),
    });
    #[expect(clippy::cast_precision_loss, reason = "member counts are small")]
    let beaten = beaten as f64 / hours.len() as f64;
    Some(MiddleHour {
        gust,
        gust_low,
        gust_high,
        utilisation,
        beaten,
        light,
        water,
    })
}

/// The median; `None` of nothing.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (!values.is_empty()).then(|| at_share(values, 0.5))
}

/// The value below which a share of the sorted values lies, between neighbours in proportion.
pub(super) fn at_share(sorted: &[f64], share: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "member counts are small")]
    let place = share * sorted.len().saturating_sub(1) as f64;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in the list"
    )]
    let below = place.floor() as usize;
    let (Some(low), high) = (sorted.get(below), sorted.get(below + 1)) else {
        return f64::NAN;
    };
    low + (high.unwrap_or(low) - low) * (place - place.floor())
}

#[cfg(test)]
mod tests {
    use super::super::model_run::{Felt, Water};
    use super::*;

    #[test]
    fn the_middle_of_an_even_number_lies_between() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0, 10.0]), Some(2.5));
        assert_eq!(median(&mut [7.0]), Some(7.0));
        assert_eq!(median(&mut []), None);
    }

    fn member(gust: f64, utilisation: f64, wet: bool) -> Member {
        let felt = Felt {
            gust,
            gust_cover: 0.0,
            utilisation,
            rain: 0.0,
            air: 10.0,
            thunder: false,
            snow: false,
        };
        let water = Water {
            film: 0.0,
            pond: 0.0,
            under: 0.0,
            wet_top: wet,
            wet_under: wet,
            frost: wet,
            known: true,
            doubtful: false,
            light: 0.0,
        };
        Member {
            hours: vec![MemberHour {
                weather: Ok(felt),
                water,
            }],
            rows: Vec::new(),
            horizon: 1,
        }
    }

    #[test]
    fn eight_of_ten_runs_lie_between_low_and_high() {
        let members: Vec<Member> = (0..=10).map(|run| member(f64::from(run), 0.0, false)).collect();
        let found = hour(&members, 0, 1.0, &mut Vec::new()).unwrap();
        for (found, stated) in [(found.gust_low, 1.0), (found.gust, 5.0), (found.gust_high, 9.0)] {
            assert!((found - stated).abs() < 1e-9, "{found}, {stated}");
        }
    }

    /// When in doubt it is wet; a tie is beaten at its allowance, and folded covers have a quarter of it.
    #[test]
    fn half_of_the_runs_make_it_wet_and_a_tie_is_beaten_at_what_it_may_carry() {
        let members = [member(5.0, 0.25, true), member(5.0, 0.2499, false)];
        let found = hour(&members, 0, 0.25, &mut Vec::new()).unwrap();
        let water = found.water.unwrap();
        assert!(water.wet_top && water.wet_under && water.frost);
        assert!((found.beaten - 0.5).abs() < 1e-12, "{}", found.beaten);
    }
}
