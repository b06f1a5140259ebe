//! The season before any forecast: usual half-days for each job against the work that is due, week by week.
//!
//! In:     picking dates, rows, crew, machines, stock; what is usual for the season.
//! Out:    weeks; jobs that do not fit before their last day, and what holds them; sets whose metres do not do.
//! Source: 28 days of cover aimed at and 21 at least before the earliest picking, laid from 49 days on and lifted in
//!         the last 10 (common practice; see [`crate::plan::of_farm`]). Hours are expected ones: a half-day that is
//!         usable six times in ten counts as six tenths of a half-day.

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};

use super::effort::{crew_hours, fastest, ties_in};
use super::of_farm::usual::{Usual, UsualHalf};
use super::of_farm::{Inputs, plan_season};
use crate::farm::block::{Block, BlockId};
use crate::farm::cover::SetId;
use crate::farm::{Farm, Job};
use crate::record::Ground;
use crate::units::{Hours, Metres};
use crate::workability::Half;

/// Days of cover before the earliest picking: aimed at, at least, and what still counts as a short one.
const AIM_DAYS: u64 = 28;
const LEAST_DAYS: u64 = 21;
const SHORT_DAYS: u64 = 7;
/// First day of laying and of lifting before the earliest picking.
const LAY_FROM_DAYS: u64 = 49;
const LIFT_FROM_DAYS: u64 = 10;
/// Weeks looked ahead at most.
const MOST_WEEKS: u64 = 53;
/// Metres more that are tried in [`what_pays`].
pub const MORE_METRES: Metres = Metres(100.0);

/// The season ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct Prospect {
    /// Day from which it is seen.
    pub today: NaiveDate,
    /// Whether the shares are the coarse ones for anywhere.
    pub coarse: bool,
    /// Hours of one half-day of the crew, the mean of morning and afternoon.
    pub half_day: Hours,
    /// Weeks from this one to that of the last picking.
    pub weeks: Vec<Week>,
    /// Jobs that do not fit before their last day, as things usually are.
    pub late: Vec<Late>,
    /// Sets whose metres do not do.
    pub short: Vec<Short>,
    /// Blocks left out: no picking to come, or no set of covers.
    pub left_out: Vec<(BlockId, LeftOut)>,
}

/// Why a block is not in the outlook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    /// No picking to come is known.
    NoPick,
    /// No set of covers serves it.
    NoSet,
    /// Fewer than seven days are left before picking.
    TooLate,
}

/// One week.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    /// Its Monday.
    pub monday: NaiveDate,
    /// Half-days of the crew from today on.
    pub half_days: u32,
    /// Of those usually usable for laying.
    pub lay_usable: f64,
    /// Of those usually usable for lifting dry.
    pub lift_usable: f64,
    /// Laying due: 28 days before the earliest picking.
    pub lay: Due,
    /// Lifting due: the day before the earliest picking.
    pub lift: Due,
}

/// Work due in one week.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Due {
    /// Its blocks.
    pub blocks: Vec<BlockId>,
    /// Metres of cover.
    pub metres: Metres,
    /// Hours of the whole crew.
    pub crew: Hours,
    /// Hours of the machine; none by hand.
    pub machine: Hours,
}

/// What holds a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Binds {
    /// The machine's metres an hour: more people would wait.
    Machine,
    /// The people's hours.
    Crew,
}

/// A job that does not fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Late {
    /// The block.
    pub block: BlockId,
    /// Laying or lifting.
    pub job: Job,
    /// Its last day.
    pub by: NaiveDate,
    /// Hours of the whole crew that are missing.
    pub missing: Hours,
    /// The same as metres of cover.
    pub metres: Metres,
    /// What holds it.
    pub binds: Binds,
}

/// A set whose metres do not do.
#[derive(Debug, Clone, PartialEq)]
pub struct Short {
    /// The set.
    pub set: SetId,
    /// First day on which more would lie out than there is, with 28 days of cover.
    pub from: NaiveDate,
    /// Last such day.
    pub to: NaiveDate,
    /// Metres missing on the worst day with 28 days of cover.
    pub missing: Metres,
    /// Metres missing on the worst day with 21 days of cover.
    pub missing_at_least: Metres,
}

/// More of something, and what the season's plan gains by it.
#[derive(Debug, Clone, PartialEq)]
pub struct Pay {
    /// More of what.
    pub more: More,
    /// Gain over the plan's horizon \[cents\], before it is paid for.
    pub gain_cents: i64,
}

/// More of something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum More {
    /// One person.
    Person,
    /// One machine like the first.
    Machine,
    /// [`MORE_METRES`] of a set.
    Cover(SetId),
}

/// A job of a block with its days.
struct Task {
    block: BlockId,
    job: Job,
    from: NaiveDate,
    by: NaiveDate,
    due: NaiveDate,
    metres: Metres,
    need_h: f64,
    machine_h: f64,
}

/// Looks ahead.
pub fn prospect(farm: &Farm, usual: &Usual, today: NaiveDate) -> Prospect {
    let (mut tasks, mut left_out) = (Vec::new(), Vec::new());
    for block in &farm.blocks {
        match tasks_of(farm, block, today) {
            Ok(two) => tasks.extend(two),
            Err(why) => left_out.push((block.id.clone(), why)),
        }
    }
    let lengths = half_lengths(farm);
    Prospect {
        today,
        coarse: usual.is_coarse(),
        half_day: Hours(0.5 * (lengths[0] + lengths[1])),
        weeks: weeks(farm, usual, today, &tasks),
        late: late(farm, usual, today, tasks, lengths),
        short: short(farm, today),
        left_out,
    }
}

/// What one person, one machine or some metres more would gain, by planning the season with each: the prices of what
/// binds, told in money. `None` if nothing can be planned within the plan's horizon.
pub fn what_pays(farm: &Farm, usual: &Usual, now: DateTime<Utc>) -> Option<Vec<Pay>> {
    let ground = Ground::at(&[], now);
    let before = std::collections::BTreeMap::new();
    let value = |farm: &Farm| {
        let plan = plan_season(&Inputs {
            farm,
            ground: &ground,
            outlooks: &[],
            usual,
            before: &before,
            now,
        });
        plan.ok()
            .filter(|plan| !plan.lots.is_empty())
            .map(|plan| plan.value_cents)
    };
    let base = value(farm)?;
    let mut found = Vec::new();
    let mut trial = |more: More, change: &dyn Fn(&mut Farm)| {
        let mut richer = farm.clone();
        change(&mut richer);
        if let Some(with) = value(&richer) {
            found.push(Pay {
                more,
                gain_cents: (with - base).max(0),
            });
        }
    };
    trial(More::Person, &|farm| farm.crew.people += 1);
    if let Some(first) = farm.machines.first() {
        trial(More::Machine, &|farm| farm.machines.push(first.clone()));
    }
    for (place, set) in farm.sets.iter().enumerate() {
        trial(More::Cover(set.id.clone()), &|farm| {
            if let Some(set) = farm.sets.get_mut(place) {
                set.length = Metres(set.length.0 + MORE_METRES.0);
            }
        });
    }
    Some(found)
}

fn before(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_sub_days(Days::new(days)).unwrap_or(day)
}

/// The earliest day on which picking may begin, cover's advance included.
fn earliest(farm: &Farm, block: &Block, today: NaiveDate) -> Option<NaiveDate> {
    let pick = farm.next_pick(&block.id, today)?;
    Some(before(pick.earliest(today), u64::from(block.cover_advance_days)))
}

fn tasks_of(farm: &Farm, block: &Block, today: NaiveDate) -> Result<[Task; 2], LeftOut> {
    let pick = earliest(farm, block, today).ok_or(LeftOut::NoPick)?;
    if farm.set_of(&block.id).is_none() {
        return Err(LeftOut::NoSet);
    }
    if before(pick, SHORT_DAYS) < today {
        return Err(LeftOut::TooLate);
    }
    let metres = block.cover();
    let ties = ties_in(block, block.rows.iter().copied());
    let task = |job, from: NaiveDate, by: NaiveDate, due: NaiveDate| Task {
        block: block.id.clone(),
        job,
        from: from.max(today),
        by,
        due: due.max(today),
        metres,
        need_h: crew_hours(farm, job, metres, ties).0,
        machine_h: machine_hours(farm, job, metres),
    };
    // Too late for three weeks: a short one is still worth something.
    let last = before(pick, LEAST_DAYS);
    let last = if last < today { before(pick, SHORT_DAYS) } else { last };
    Ok([
        task(Job::Lay, before(pick, LAY_FROM_DAYS), last, before(pick, AIM_DAYS)),
        task(
            Job::Lift,
            before(pick, LIFT_FROM_DAYS),
            before(pick, 1),
            before(pick, 1),
        ),
    ])
}

fn machine_hours(farm: &Farm, job: Job, metres: Metres) -> f64 {
    fastest(farm, job)
        .filter(|_| farm.crew.people >= 2)
        .map_or(0.0, |rate| metres.0 / rate)
}

/// Hours of the crew's morning and afternoon.
fn half_lengths(farm: &Farm) -> [f64; 2] {
    let crew = &farm.crew;
    let hours = |from: chrono::NaiveTime, to: chrono::NaiveTime| ((to - from).num_minutes() as f64 / 60.0).max(0.0);
    [hours(crew.start, crew.break_start), hours(crew.break_end, crew.end)]
}

/// Half-days of one day on which the crew works, with what is usual in them.
fn halves(farm: &Farm, usual: &Usual, day: NaiveDate) -> Vec<(usize, UsualHalf)> {
    if !farm.crew.workdays.contains(&day.weekday()) {
        return Vec::new();
    }
    let halves = [Half::Morning, Half::Afternoon].map(|half| usual.of(day, half));
    let lengths = half_lengths(farm);
    halves
        .into_iter()
        .enumerate()
        .filter(|(place, _)| lengths.get(*place).is_some_and(|length| *length > 0.0))
        .collect()
}

fn monday(day: NaiveDate) -> NaiveDate {
    before(day, u64::from(day.weekday().num_days_from_monday()))
}

fn weeks(farm: &Farm, usual: &Usual, today: NaiveDate, tasks: &[Task]) -> Vec<Week> {
    let picks = farm.blocks.iter().filter_map(|block| farm.next_pick(&block.id, today));
    let Some(last) = picks.map(|pick| pick.last).max() else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut at = monday(today);
    while at <= last && u64::try_from(found.len()).unwrap_or(MOST_WEEKS) < MOST_WEEKS {
        let days = at.iter_days().take(7).filter(|day| *day >= today);
        let usual: Vec<UsualHalf> = days
            .flat_map(|day| halves(farm, usual, day))
            .map(|(_, half)| half)
            .collect();
        let due = |job: Job| {
            let mut due = Due::default();
            for task in tasks.iter().filter(|task| task.job == job && monday(task.due) == at) {
                due.blocks.push(task.block.clone());
                due.metres = Metres(due.metres.0 + task.metres.0);
                due.crew = Hours(due.crew.0 + task.need_h);
                due.machine = Hours(due.machine.0 + task.machine_h);
            }
            due
        };
        found.push(Week {
            monday: at,
            half_days: u32::try_from(usual.len()).unwrap_or(0),
            lay_usable: usual.iter().map(|half| half.lay).sum(),
            lift_usable: usual.iter().map(|half| half.lift).sum(),
            lay: due(Job::Lay),
            lift: due(Job::Lift),
        });
        at += TimeDelta::days(7);
    }
    found
}

/// Gives each half-day to the open job with the nearest last day; what is left on that day does not fit.
fn late(farm: &Farm, usual: &Usual, today: NaiveDate, mut tasks: Vec<Task>, lengths: [f64; 2]) -> Vec<Late> {
    tasks.sort_by(|a, b| a.by.cmp(&b.by).then_with(|| a.block.cmp(&b.block)));
    let whole: Vec<f64> = tasks.iter().map(|task| task.need_h).collect();
    let Some(last) = tasks.iter().map(|task| task.by).max() else {
        return Vec::new();
    };
    for day in today.iter_days().take_while(|day| *day <= last) {
        for (place, half) in halves(farm, usual, day) {
            let hours = lengths.get(place).copied().unwrap_or(0.0);
            // Shares of this half-day that are left: of all, of its hours for laying, of those for lifting.
            let (mut all, mut lay, mut lift) = (1.0_f64, half.lay, half.lift);
            for task in &mut tasks {
                let share = if task.job == Job::Lay { &mut lay } else { &mut lift };
                let blacked_out = farm.blackouts.iter().any(|blackout| {
                    blackout.forbids(&task.block, task.job)
                        && farm.site.zone.day(blackout.from) <= day
                        && day <= farm.site.zone.day(blackout.to)
                });
                if task.need_h <= 0.0 || day < task.from || day > task.by || blacked_out {
                    continue;
                }
                let taken = (task.need_h / hours).min(all).min(*share);
                task.need_h -= taken * hours;
                all -= taken;
                *share -= taken;
            }
        }
    }
    let left = tasks.iter().zip(whole).filter(|(task, _)| task.need_h > 0.05);
    left.map(|(task, whole)| Late {
        block: task.block.clone(),
        job: task.job,
        by: task.by,
        missing: Hours(task.need_h),
        metres: Metres(task.metres.0 * task.need_h / whole),
        binds: if task.machine_h > 0.0 && whole <= task.machine_h + 1e-9 {
            Binds::Machine
        } else {
            Binds::Crew
        },
    })
    .collect()
}

fn short(farm: &Farm, today: NaiveDate) -> Vec<Short> {
    let mut found = Vec::new();
    for set in &farm.sets {
        let lying = |days: u64| -> Vec<(NaiveDate, NaiveDate, f64)> {
            let served = set.blocks.iter().filter_map(|id| farm.block(id));
            served
                .filter_map(|block| {
                    let pick = earliest(farm, block, today)?;
                    // Lifted the day before picking; free again the day after that.
                    (before(pick, SHORT_DAYS) >= today).then(|| (before(pick, days).max(today), pick, block.cover().0))
                })
                .collect()
        };
        let over = |spans: &[(NaiveDate, NaiveDate, f64)]| -> Vec<(NaiveDate, f64)> {
            let starts = spans.iter().map(|(from, ..)| *from).min();
            let ends = spans.iter().map(|(_, to, _)| *to).max();
            let (Some(first), Some(last)) = (starts, ends) else {
                return Vec::new();
            };
            let out = |day: NaiveDate| {
                let on = spans.iter().filter(|(from, to, _)| *from <= day && day <= *to);
                on.map(|(.., metres)| metres).sum::<f64>()
            };
            let days = first.iter_days().take_while(|day| *day <= last);
            days.map(|day| (day, out(day) - set.length.0))
                .filter(|(_, over)| *over > 0.5)
                .collect()
        };
        let worst = |days: &[(NaiveDate, f64)]| Metres(days.iter().map(|(_, over)| *over).fold(0.0, f64::max));
        let aimed = over(&lying(AIM_DAYS));
        if let (Some((from, _)), Some((to, _))) = (aimed.first(), aimed.last()) {
            found.push(Short {
                set: set.id.clone(),
                from: *from,
                to: *to,
                missing: worst(&aimed),
                missing_at_least: worst(&over(&lying(LEAST_DAYS))),
            });
        }
    }
    found
}
