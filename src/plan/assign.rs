//! A first matching of jobs to work windows: the job whose last sensible day comes first chooses first.
//!
//! The matching is greedy and looks at one job at a time; see "Why does a lift wait?" in `DEVELOPERS.md`.

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};

use super::booked::{Booked, booked};
use super::need::{Need, out_view, pick_view};
use super::of_farm::{HalfDay, SeasonPlan, crew_hours};
use super::offer::{blacked_out, next_job, no_entry, works_that_day};
use super::{BlockPlan, Headline, NextJob, Plan, Task};
use crate::farm::{Farm, Job};
use crate::record::Ground;
use crate::workability::{BlockOutlook, Opening, Verdict};

/// Most jobs one letter asks for on one day.
const MOST_TASKS_A_DAY: usize = 4;

/// Matches the needs to the windows found for them. `outlooks` may miss blocks: their jobs have no openings.
///
/// With a `season` its half-days come first; without one the matching is greedy.
pub fn assign(
    farm: &Farm,
    ground: &Ground,
    needs: &[Need],
    outlooks: &[BlockOutlook],
    season: Option<SeasonPlan>,
    now: DateTime<Utc>,
) -> Plan {
    let today = farm.site.zone.day(now);
    let needs: Vec<(Need, Option<Booked>)> = match &season {
        Some(season) => booked(farm, needs, season, last_day_told(farm, today)),
        None => needs.iter().map(|need| (need.clone(), None)).collect(),
    };
    let mut plan = Plan {
        today,
        blocks: Vec::new(),
        tasks: Vec::new(),
        headline: None,
        season,
    };
    for block in &farm.blocks {
        let outlook = outlooks.iter().find(|outlook| outlook.block == block.id);
        let own = needs.iter().filter(|(need, _)| need.block == block.id);
        let mut jobs: Vec<NextJob> = own
            .map(|(need, booked)| NextJob {
                booked: booked.clone(),
                ..next_job(farm, need, outlook, now)
            })
            .collect();
        jobs.sort_by_key(|job| (job.from > today, job.last_day.unwrap_or(NaiveDate::MAX), rank(job.job)));
        plan.blocks.push(BlockPlan {
            block: block.id.clone(),
            variety: block.variety.clone(),
            pick: farm.next_pick(&block.id, today).map(|pick| pick_view(pick, today)),
            out: out_view(ground, &block.id, now),
            jobs,
            no_entry: no_entry(farm, &block.id, now),
        });
    }
    let order = by_urgency(&plan);
    for (block, job) in order {
        if !spared(farm, &plan, block, job) {
            choose(farm, &mut plan, block, job, now);
        }
    }
    drop_spared(farm, &mut plan);
    plan.tasks.sort_by_key(|task| task.start);
    plan.headline = headline(farm, &plan);
    plan
}

/// The order of choosing among equal last days: what is dearer to miss comes first.
fn rank(job: Job) -> u8 {
    match job {
        Job::Lift => 0,
        Job::Fold => 1,
        Job::Redry => 2,
        Job::Check => 3,
        Job::Lay => 4,
    }
}

/// Takes the walks that are spared off the list; the tasks keep pointing at their jobs.
fn drop_spared(farm: &Farm, plan: &mut Plan) {
    for block in 0..plan.blocks.len() {
        let jobs = plan.blocks.get(block).map_or(0, |block| block.jobs.len());
        let Some(job) = (0..jobs).find(|job| spared(farm, plan, block, *job)) else {
            continue;
        };
        if let Some(block) = plan.blocks.get_mut(block) {
            block.jobs.remove(job);
        }
        for task in plan
            .tasks
            .iter_mut()
            .filter(|task| task.block == block && task.job > job)
        {
            task.job -= 1;
        }
    }
}

/// Whether a walk along the ties is spared because the cover is lifted or folded before it is due.
fn spared(farm: &Farm, plan: &Plan, block: usize, job: usize) -> bool {
    let Some(walk) = plan.job(block, job).filter(|job| job.job == Job::Check) else {
        return false;
    };
    let gone = plan
        .blocks
        .get(block)
        .into_iter()
        .flat_map(|block| &block.jobs)
        .filter(|other| {
            matches!(other.job, Job::Lift | Job::Fold)
                && other.rows.first <= walk.rows.first
                && walk.rows.last <= other.rows.last
        });
    let days = gone
        .filter_map(|other| other.openings.get(other.chosen?))
        .map(|opening| farm.site.zone.day(opening.start));
    days.min()
        .is_some_and(|day| walk.last_day.is_none_or(|last| day <= last))
}

/// Jobs in force, the one whose last sensible day comes first at the front. A walk along the ties takes few hands and
/// little time, so it fits in after the others.
fn by_urgency(plan: &Plan) -> Vec<(usize, usize)> {
    let mut order: Vec<(usize, usize)> = Vec::new();
    for (block, of_block) in plan.blocks.iter().enumerate() {
        order.extend((0..of_block.jobs.len()).map(|job| (block, job)));
    }
    order.sort_by_key(|(block, job)| {
        let job = plan.job(*block, *job);
        (
            job.is_some_and(|job| job.job == Job::Check),
            job.and_then(|job| job.last_day).unwrap_or(NaiveDate::MAX),
            job.map_or(u8::MAX, |job| rank(job.job)),
            *block,
        )
    });
    order
}

/// Picks an opening for one job and, if it is today or tomorrow, puts it among the tasks.
fn choose(farm: &Farm, plan: &mut Plan, block: usize, job: usize, now: DateTime<Utc>) {
    let today = plan.today;
    let Some(next) = plan.job(block, job) else { return };
    if next.held.is_some() {
        return;
    }
    let mut order: Vec<usize> = (0..next.openings.len()).collect();
    order.retain(|place| {
        next.openings
            .get(*place)
            .is_some_and(|opening| eligible(farm, next, opening))
    });
    order.sort_by_key(|place| {
        next.openings.get(*place).map(|opening| {
            let off = next
                .booked
                .as_ref()
                .map_or(0, |booked| off_plan(farm, booked.when, opening));
            (off, preference(farm, next, opening, today))
        })
    });
    if next
        .booked
        .as_ref()
        .is_some_and(|booked| ahead_of_plan(farm, next, booked, &order))
    {
        return;
    }
    if let Some(wait_for) = worth_waiting(farm, next, &order, today) {
        order.retain(|place| {
            next.openings
                .get(*place)
                .is_some_and(|opening| opening.start >= wait_for)
        });
    }
    let picked = order
        .into_iter()
        .find_map(|place| Some((place, slot(farm, plan, block, job, place, now)?)));
    let Some((place, task)) = picked else { return };
    let near = farm.site.zone.day(task.start) <= last_day_told(farm, today);
    if let Some(next) = plan.blocks.get_mut(block).and_then(|block| block.jobs.get_mut(job)) {
        next.chosen = Some(place);
        next.chances_left = next.chances_left.saturating_sub(1);
    }
    if near {
        plan.tasks.push(task);
    }
}

/// The letter before a rest day covers all days to the next workday.
fn last_day_told(farm: &Farm, today: NaiveDate) -> NaiveDate {
    let mut day = today + Days::new(1);
    for _ in 0..7 {
        if farm.crew.workdays.contains(&day.weekday()) {
            return day;
        }
        day = day + Days::new(1);
    }
    day
}

/// How far an opening lies from the planned half-day: in it, on its day, later by days, or earlier by days.
fn off_plan(farm: &Farm, when: HalfDay, opening: &Opening) -> i64 {
    let day = farm.site.zone.day(opening.start);
    let days = (day - when.day).num_days();
    let (from, to) = crew_hours(farm, when.day, when.half);
    match days {
        0 if opening.start < to && from < opening.end => 0,
        0 => 1,
        // Of two days equally far the later one keeps the light.
        days if days > 0 => 2 * days,
        days => -2 * days + 1,
    }
}

/// Whether the plan's half-day lies beyond everything that the forecast offers: nothing is to be done before.
fn ahead_of_plan(farm: &Farm, job: &NextJob, booked: &Booked, order: &[usize]) -> bool {
    let last = order
        .iter()
        .filter_map(|place| job.openings.get(*place))
        .map(|opening| farm.site.zone.day(opening.start))
        .max();
    last.is_none_or(|last| last < booked.when.day)
}

/// The best start in an opening: in the planned half-day if it reaches into it.
fn first_start(farm: &Farm, job: &NextJob, opening: &Opening) -> DateTime<Utc> {
    let Some(booked) = &job.booked else {
        return opening.best.start;
    };
    let (from, to) = crew_hours(farm, booked.when.day, booked.when.half);
    if (from..to).contains(&opening.best.start) {
        opening.best.start
    } else if opening.start < to && from < opening.end {
        opening.start.max(from)
    } else {
        opening.best.start
    }
}

fn eligible(farm: &Farm, job: &NextJob, opening: &Opening) -> bool {
    opening.best.verdict >= Verdict::Maybe
        && works_that_day(farm, opening.start)
        && farm.site.zone.day(opening.start) >= job.from
}

/// Go before maybe; in time for the last sensible day before late; then the earlier day, then the better score.
fn preference(farm: &Farm, job: &NextJob, opening: &Opening, today: NaiveDate) -> (bool, bool, i64, i64) {
    let day = farm.site.zone.day(opening.start);
    let late = job.last_day.is_some_and(|last| day > last);
    #[expect(clippy::cast_possible_truncation, reason = "a score is at most 100")]
    let score = (-opening.best.score * 1000.0) as i64;
    (
        opening.best.verdict != Verdict::Go,
        late,
        (day - today).num_days(),
        score,
    )
}

/// A dry lift may wait, for the colour, while two more good days are in sight before the last one.
fn worth_waiting(farm: &Farm, job: &NextJob, order: &[usize], today: NaiveDate) -> Option<DateTime<Utc>> {
    if job.job != Job::Lift || job.booked.is_some() {
        return None;
    }
    let good = |opening: &&Opening| {
        let day = farm.site.zone.day(opening.start);
        opening.best.verdict == Verdict::Go && day > today && job.last_day.is_some_and(|last| day <= last)
    };
    let later: Vec<&Opening> = order
        .iter()
        .filter_map(|place| job.openings.get(*place))
        .filter(good)
        .collect();
    let mut days: Vec<NaiveDate> = later.iter().map(|opening| farm.site.zone.day(opening.start)).collect();
    days.sort_unstable();
    days.dedup();
    // The last but one good day leaves one more chance after it.
    let chosen = days.len().checked_sub(2).and_then(|place| days.get(place))?;
    Some(farm.site.zone.day_start(*chosen))
}

/// The first start in the opening at which enough people are free.
fn slot(farm: &Farm, plan: &Plan, block: usize, job: usize, place: usize, now: DateTime<Utc>) -> Option<Task> {
    let next = plan.job(block, job)?;
    let opening = next.openings.get(place)?;
    #[expect(clippy::cast_possible_truncation, reason = "a job takes hours")]
    let length = TimeDelta::minutes((next.length.0 * 60.0).round() as i64);
    let latest_start = half_hour_down(opening.end - length);
    let day = farm.site.zone.day(opening.start);
    let that_day = plan
        .tasks
        .iter()
        .filter(|task| farm.site.zone.day(task.start) == day)
        .count();
    if that_day >= MOST_TASKS_A_DAY {
        return None;
    }
    let earliest = half_hour_up(first_start(farm, next, opening).max(now));
    let steps = (latest_start - earliest).num_minutes().div_euclid(30);
    (0..=steps.max(-1))
        .map(|step| earliest + TimeDelta::minutes(30 * step))
        .find_map(|start| {
            let end = start + length;
            let free = people_free(farm, plan, start, end) >= next.people.min(farm.crew.people);
            let allowed = !blacked_out(farm, &plan.blocks.get(block)?.block, next.job, start, end);
            (free && allowed && end <= opening.end).then_some(Task {
                start,
                end: opening.end,
                latest_start,
                block,
                job,
            })
        })
}

fn people_free(farm: &Farm, plan: &Plan, start: DateTime<Utc>, end: DateTime<Utc>) -> u32 {
    let busy: u32 = plan
        .tasks
        .iter()
        .filter_map(|task| {
            let job = plan.job(task.block, task.job)?;
            #[expect(clippy::cast_possible_truncation, reason = "a job takes hours")]
            let until = task.start + TimeDelta::minutes((job.length.0 * 60.0).round() as i64);
            (task.start < end && start < until).then_some(job.people)
        })
        .sum();
    farm.crew.people.saturating_sub(busy)
}

fn half_hour_up(at: DateTime<Utc>) -> DateTime<Utc> {
    at + TimeDelta::seconds((-at.timestamp()).rem_euclid(1800))
}

fn half_hour_down(at: DateTime<Utc>) -> DateTime<Utc> {
    at - TimeDelta::seconds(at.timestamp().rem_euclid(1800))
}

/// The job that costs most to miss: of today's tasks the one with the earliest last sensible day, weather-bound jobs
/// before the walk along the ties; with nothing to do today, the most pressing job that cannot be done. A block that is
/// shut is no news and must not hide the others.
fn headline(farm: &Farm, plan: &Plan) -> Option<Headline> {
    let weight = |headline: &Headline| {
        let job = plan.job(headline.block, headline.job);
        let walk = job.is_some_and(|job| matches!(job.job, Job::Check | Job::Redry));
        (
            walk,
            job.and_then(|job| job.last_day).unwrap_or(NaiveDate::MAX),
            job.map_or(u8::MAX, |job| rank(job.job)),
            headline.block,
        )
    };
    let tasks = plan
        .tasks
        .iter()
        .filter(|task| farm.site.zone.day(task.start) == plan.today)
        .map(|task| Headline {
            block: task.block,
            job: task.job,
        });
    let all = by_urgency(plan).into_iter().map(|(block, job)| Headline { block, job });
    let wanted = all.filter(|headline| {
        let open = plan
            .blocks
            .get(headline.block)
            .is_some_and(|block| block.no_entry.is_none());
        plan.job(headline.block, headline.job)
            .is_some_and(|job| open && job.from <= plan.today && job.held.is_none())
    });
    tasks.min_by_key(weight).or_else(|| wanted.min_by_key(weight))
}
