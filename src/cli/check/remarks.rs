//! What the dates and the ties say that one file alone cannot tell.

use chrono::NaiveDate;

use super::report::count;
use crate::daemon::LetterTime;
use crate::farm::{Farm, Job};
use crate::physics::tie_load::carries;
use crate::units::MetresPerSecond;

/// Fewer days under cover are not worth laying for. Common practice: three weeks at the very least.
const LEAST_DAYS: i64 = 7;
const SHORT_DAYS: i64 = 21;

/// What the dates say seen from today; the files alone cannot tell.
pub(super) fn dated_remarks(farm: &Farm, today: NaiveDate) -> Vec<String> {
    let mut remarks = Vec::new();
    for block in &farm.blocks {
        let Some(pick) = farm.next_pick(&block.id, today) else {
            let over = farm.picks.iter().any(|pick| pick.block == block.id);
            let what = if over {
                "its picking is over and no later one is"
            } else {
                "first pick not"
            };
            remarks.push(format!("{}: {what} known; its jobs get no last day.", block.id));
            continue;
        };
        let days = (pick.earliest(today) - today).num_days();
        if (0..LEAST_DAYS).contains(&days) {
            remarks.push(format!(
                "{}: picking may begin in {}. If no cover lies there now, it is too late to lay one.",
                block.id,
                day_count(days)
            ));
        } else if (LEAST_DAYS..SHORT_DAYS).contains(&days) {
            remarks.push(format!(
                "{}: picking may begin in {days} days. A cover laid now lies less than the usual three weeks.",
                block.id
            ));
        }
    }
    remarks
}

/// A letter that the crew reads too late.
pub(super) fn late_letter(farm: &Farm, letter: &LetterTime) -> Option<String> {
    let LetterTime::Daily(at) = letter else { return None };
    let start = farm.crew.start;
    (*at > start).then(|| {
        let (at, start) = (at.format("%H:%M"), start.format("%H:%M"));
        format!("The letter comes at {at}, after work begins at {start}.")
    })
}

/// Jobs that are allowed in gusts in which the ties of a block may already give way.
pub(super) fn tie_remarks(farm: &Farm) -> Vec<String> {
    let mut remarks = Vec::new();
    for block in &farm.blocks {
        let carry = MetresPerSecond(carries(&block.alley));
        let over = [
            ("lifting", Job::Lift),
            ("laying", Job::Lay),
            ("folding", Job::Fold),
            ("checking", Job::Check),
        ]
        .into_iter()
        .filter(|(_, job)| farm.limits.of(*job).gust.bad > carry.0);
        let names: Vec<&str> = over.map(|(name, _)| name).collect();
        if !names.is_empty() {
            remarks.push(format!(
                "{}: work is allowed ({}) in gusts above those that its ties are estimated to carry, {:.0} {}. Lower the limits or set more ties. Estimate for warning, not an engineering check.",
                block.id,
                names.join(", "),
                farm.site.units.wind(carry),
                farm.site.units.wind_sign(),
            ));
        }
    }
    remarks
}

fn day_count(days: i64) -> String {
    count(usize::try_from(days).unwrap_or_default(), "day")
}
