//! Everything a morning needs to know about one block.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};

use super::dry::first_dry;
use super::judge::{FOLDED, Judge};
use super::middle::{MiddleHour, median, middle};
use super::model_run::{ModelRun, irrigation};
use super::table::{Lead, Table};
use super::verdict::Verdict;
use super::window::{Chance, Opening, Window};
use crate::alley::Alley;
use crate::farm::block::{Block, BlockId};
use crate::farm::{Farm, Job};
use crate::physics::Sunlight;
use crate::physics::sun::SunTrack;
use crate::record::Ground;
use crate::units::{Hours, Megajoules, MetresPerSecond};
use crate::weather::forecast::Kind;
use crate::weather::{Stamps, Timeline};

/// A job to look for windows for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobRequest {
    /// The job.
    pub job: Job,
    /// How long it takes.
    pub length: Hours,
    /// Chance above which going pays, 0 to 1.
    pub threshold: f64,
}

/// One block over the timeline.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockOutlook {
    /// The block.
    pub block: BlockId,
    /// One view an hour, for charts and sentences, from the first row of the timeline.
    pub hours: Vec<HourView>,
    /// When each face is dry, by local day from today on, in the middle member.
    pub dry: Vec<DryDay>,
    /// For each request every window that lies in daylight and crew hours, in time order.
    pub windows: Vec<Window>,
    /// The same joined into usable hours, best first.
    pub openings: Vec<Opening>,
    /// The 10 m gust at which the estimated tie load reaches what a tie may carry.
    pub critical_gust: MetresPerSecond,
    /// The day on which the ties are in most danger within 48 h, if a load could be computed.
    pub worst_hour: Option<TieHour>,
    /// Light at the cover by local day, middle member; only whole days.
    pub light: Vec<(NaiveDate, Megajoules)>,
}

/// One hour of one block as a chart shows it. Unknown hours have `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HourView {
    /// Whether the top is wet in the middle member.
    pub wet_top: Option<bool>,
    /// Whether the underside is wet in the middle member.
    pub wet_under: Option<bool>,
    /// Whether that water is frost.
    pub frost: Option<bool>,
    /// Share of members in which the tie load passes the allowance.
    pub ties_beaten: Option<f64>,
}

/// When the faces are dry on one local day: the first of two dry hours from 05:00 to 21:00.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DryDay {
    /// The day.
    pub day: NaiveDate,
    /// Top; `None` if not on that day.
    pub top: Option<DateTime<Utc>>,
    /// Underside.
    pub under: Option<DateTime<Utc>>,
    /// Both together.
    pub both: Option<DateTime<Utc>>,
}

/// The hour of highest tie load.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TieHour {
    /// End of the hour.
    pub at: DateTime<Utc>,
    /// Middle gust at 10 m.
    pub gust: MetresPerSecond,
    /// One in ten runs is below.
    pub gust_low: MetresPerSecond,
    /// One in ten runs is above.
    pub gust_high: MetresPerSecond,
    /// Share of members in which the ties are beaten at any hour of the 48; `None` with one forecast.
    pub beaten: Option<Chance>,
}

/// Hours ahead in which the ties are watched.
const TIES_H: usize = 48;

/// Everything a morning needs to know about one block.
pub fn outlook(
    block: &Block,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: &[JobRequest],
    now: DateTime<Utc>,
) -> BlockOutlook {
    let model = ModelRun::of(
        &block.alley,
        irrigation(block, &farm.site.zone, timeline.stamps),
        timeline,
    );
    outlook_of(&model, block, farm, ground, timeline, requests, now)
}

/// The same for every block of the farm, in its order; blocks with equal numbers share the model.
pub fn outlooks(
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: impl Fn(&Block) -> Vec<JobRequest>,
    now: DateTime<Utc>,
) -> Vec<BlockOutlook> {
    let mut models: Vec<ModelRun> = Vec::new();
    let mut tracks: Vec<(Alley, SunTrack)> = Vec::new();
    let mut found = Vec::new();
    for block in &farm.blocks {
        let water = irrigation(block, &farm.site.zone, timeline.stamps);
        let shared = models
            .iter()
            .position(|model| model.alley == block.alley && model.irrigation == water);
        let place = shared.unwrap_or_else(|| {
            let alley = &block.alley;
            let near = |(other, _): &(Alley, SunTrack)| (other.lat, other.lon) == (alley.lat, alley.lon);
            let track = tracks.iter().position(near).unwrap_or_else(|| {
                tracks.push((*alley, Sunlight::track(alley, timeline.stamps)));
                tracks.len() - 1
            });
            if let Some((_, track)) = tracks.get(track) {
                models.push(ModelRun::under(alley, water, timeline, track));
            }
            models.len().saturating_sub(1)
        });
        if let Some(model) = models.get(place) {
            found.push(outlook_of(model, block, farm, ground, timeline, &requests(block), now));
        }
    }
    found
}

/// The outlook of a block whose class has been computed.
pub fn outlook_of(
    model: &ModelRun,
    block: &Block,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: &[JobRequest],
    now: DateTime<Utc>,
) -> BlockOutlook {
    let lying = ground.lying(&block.id);
    let folded = !lying.is_empty() && lying.iter().all(|lying| lying.folded);
    let middle = middle(model, if folded { FOLDED } else { 1.0 });
    let axis = Axis::of(model, farm, timeline, now);
    let mut windows = Vec::new();
    let mut openings = Vec::new();
    for request in requests {
        let found = windows_of(request, model, farm, ground, timeline, &middle, &axis, now);
        openings.extend(join(&found, farm));
        windows.extend(found);
    }
    openings.sort_by(|a, b| {
        (b.best.verdict.cmp(&a.best.verdict))
            .then(b.best.score.total_cmp(&a.best.score))
            .then(a.start.cmp(&b.start))
    });
    BlockOutlook {
        block: block.id.clone(),
        hours: middle.iter().map(|hour| view(hour.as_ref())).collect(),
        dry: dry_days(&axis, timeline.stamps, &middle, farm.site.zone.day(now)),
        windows,
        openings,
        critical_gust: MetresPerSecond(model.critical_gust),
        worst_hour: worst_hour(model, timeline, &middle, if folded { FOLDED } else { 1.0 }),
        light: light(&axis, model),
    }
}

/// Local clock of the rows, and which of them can hold work.
struct Axis {
    /// Local time of each stamp.
    local: Vec<NaiveDateTime>,
    /// Rows of daylight inside crew hours, from now on.
    workable: Vec<bool>,
    /// Rows with the sun up, by local day.
    days: BTreeMap<NaiveDate, Range<usize>>,
    /// Local day on which each hour begins.
    day: Vec<NaiveDate>,
}

impl Axis {
    fn of(model: &ModelRun, farm: &Farm, timeline: &Timeline, now: DateTime<Utc>) -> Self {
        let (stamps, zone, crew) = (timeline.stamps, &farm.site.zone, &farm.crew);
        let local: Vec<NaiveDateTime> = (0..stamps.count).map(|k| zone.local(stamps.at(k))).collect();
        let first = stamps.first_row_from(now);
        let mut days: BTreeMap<NaiveDate, Range<usize>> = BTreeMap::new();
        let (mut workable, mut day) = (Vec::new(), Vec::new());
        for (k, (end, sun)) in local.iter().zip(&model.light.hours).enumerate() {
            let start = zone.local(stamps.start(k));
            let in_light = sun.elevation_deg >= 0.0;
            if in_light {
                days.entry(start.date()).or_insert(k..k).end = k + 1;
            }
            let in_hours = start.date() == end.date() && start.time() >= crew.start && end.time() <= crew.end;
            workable.push(k >= first && in_light && in_hours);
            day.push(start.date());
        }
        Self {
            local,
            workable,
            days,
            day,
        }
    }
}

#[expect(clippy::too_many_arguments, reason = "the parts of one outlook, gathered once above")]
fn windows_of(
    request: &JobRequest,
    model: &ModelRun,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    middle: &[Option<MiddleHour>],
    axis: &Axis,
    now: DateTime<Utc>,
) -> Vec<Window> {
    let count = whole_hours(request.length);
    let lead = Lead {
        first_h: (timeline.stamps.at(0) - timeline.issue.at).as_seconds_f64() / 3600.0,
        half_job_h: request.length.0 / 2.0,
    };
    let Some(first) = axis.workable.iter().position(|workable| *workable) else {
        return Vec::new();
    };
    let last = axis
        .workable
        .iter()
        .rposition(|workable| *workable)
        .map_or(first, |last| last + 1);
    let single = (timeline.kind == Kind::Single).then_some(lead);
    // Reasons look at the whole day's light, so the table starts with the first day's.
    let from = axis
        .day
        .get(first)
        .and_then(|day| axis.days.get(day))
        .map_or(first, |day| day.start.min(first));
    let until = axis.days.values().map(|day| day.end).max().unwrap_or(last).max(last);
    let table = Table::of(request.job, &farm.limits, model, from..until, single);
    let judge = Judge {
        request: *request,
        limits: &farm.limits,
        model,
        timeline,
        table: &table,
        middle,
        lead,
        dry_notes: ground.seen_dry.len(),
        now,
    };
    (first..last)
        .filter(|start| {
            axis.workable
                .get(*start..start + count)
                .is_some_and(|rows| rows.iter().all(|work| *work))
        })
        .filter_map(|start| {
            let day = axis.day.get(start)?;
            let light = axis.days.get(day)?;
            (axis.day.get(start + count - 1)? == day).then(|| judge.window(start..start + count, light))
        })
        .collect()
}

/// Whole hours that hold a job.
fn whole_hours(length: Hours) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 1 and 24"
    )]
    let hours = (length.0 - 1e-9).ceil().clamp(1.0, 24.0) as usize;
    hours
}

/// Joins overlapping windows of one verdict and local day into usable hours.
fn join(windows: &[Window], farm: &Farm) -> Vec<Opening> {
    let mut found: Vec<Opening> = Vec::new();
    for verdict in [Verdict::Go, Verdict::Maybe] {
        let mut open: Option<Opening> = None;
        for window in windows.iter().filter(|window| window.verdict == verdict) {
            let day = farm.site.zone.day(window.start);
            match &mut open {
                Some(last) if window.start <= last.end && farm.site.zone.day(last.start) == day => {
                    last.end = last.end.max(window.end);
                    // Equal after rounding counts as a tie, and the earlier one stays.
                    if window.score > last.best.score + 1e-6 {
                        last.best = window.clone();
                    }
                }
                _ => {
                    found.extend(open.take());
                    open = Some(Opening {
                        start: window.start,
                        end: window.end,
                        best: window.clone(),
                    });
                }
            }
        }
        found.extend(open);
    }
    found
}

fn view(hour: Option<&MiddleHour>) -> HourView {
    let water = hour.and_then(|hour| hour.water);
    HourView {
        wet_top: water.map(|water| water.wet_top),
        wet_under: water.map(|water| water.wet_under),
        frost: water.map(|water| water.frost),
        ties_beaten: hour.map(|hour| hour.beaten),
    }
}

fn dry_days(axis: &Axis, stamps: Stamps, middle: &[Option<MiddleHour>], today: NaiveDate) -> Vec<DryDay> {
    let water = |k: usize| middle.get(k).copied().flatten().and_then(|hour| hour.water);
    let mut days: Vec<NaiveDate> = axis
        .local
        .iter()
        .map(NaiveDateTime::date)
        .filter(|day| *day >= today)
        .collect();
    days.dedup();
    let at = |day, dry: &dyn Fn(usize) -> bool| first_dry(&axis.local, day, dry).map(|k| stamps.at(k));
    days.into_iter()
        .map(|day| DryDay {
            day,
            top: at(day, &|k| water(k).is_some_and(|water| !water.wet_top)),
            under: at(day, &|k| water(k).is_some_and(|water| !water.wet_under)),
            both: at(day, &|k| {
                water(k).is_some_and(|water| !water.wet_top && !water.wet_under)
            }),
        })
        .collect()
}

fn worst_hour(model: &ModelRun, timeline: &Timeline, middle: &[Option<MiddleHour>], allowance: f64) -> Option<TieHour> {
    let rows = timeline.now_row..timeline.now_row + TIES_H;
    let (k, worst) = rows
        .clone()
        .filter_map(|k| Some((k, middle.get(k).copied().flatten()?)))
        .max_by(|a, b| {
            (a.1.beaten, a.1.utilisation, a.1.gust_high)
                .partial_cmp(&(b.1.beaten, b.1.utilisation, b.1.gust_high))
                .unwrap_or(std::cmp::Ordering::Equal)
        })?;
    let beaten = |member: &super::model_run::Member| -> Option<bool> {
        let hours = member.hours.get(rows.clone())?;
        let over = |load: f64| load >= allowance;
        if hours
            .iter()
            .any(|hour| hour.weather.is_ok_and(|felt| over(felt.utilisation)))
        {
            return Some(true);
        }
        hours.iter().all(|hour| hour.weather.is_ok()).then_some(false)
    };
    let counted: Vec<bool> = model.members.iter().filter_map(beaten).collect();
    let chance = Chance {
        good: counted.iter().filter(|beaten| **beaten).count(),
        of: counted.len(),
    };
    Some(TieHour {
        at: timeline.stamps.at(k),
        gust: MetresPerSecond(worst.gust),
        gust_low: MetresPerSecond(worst.gust_low),
        gust_high: MetresPerSecond(worst.gust_high),
        beaten: (timeline.kind == Kind::Members && chance.of > 0).then_some(chance),
    })
}

/// Light of whole days, in the middle of the members' sums.
fn light(axis: &Axis, model: &ModelRun) -> Vec<(NaiveDate, Megajoules)> {
    let mut rows: BTreeMap<NaiveDate, Range<usize>> = BTreeMap::new();
    for (k, at) in axis.local.iter().enumerate() {
        rows.entry(at.date()).or_insert(k..k).end = k + 1;
    }
    // A day of a clock change has 23 or 25 hours; the first and the last may be cut.
    let whole =
        |(_, rows): &(NaiveDate, Range<usize>)| rows.start > 0 && rows.end < axis.local.len() || rows.len() >= 24;
    let sum = |rows: &Range<usize>| -> Option<f64> {
        let of = |member: &super::model_run::Member| {
            let hours = member.hours.get(rows.clone())?;
            let known = hours.iter().all(|hour| hour.weather.is_ok());
            known.then(|| hours.iter().map(|hour| hour.water.light).sum::<f64>() * 3600.0 / 1e6)
        };
        let mut sums: Vec<f64> = model.members.iter().map(of).collect::<Option<_>>()?;
        median(&mut sums)
    };
    rows.into_iter()
        .filter(whole)
        .filter_map(|(day, rows)| Some((day, Megajoules(sum(&rows)?))))
        .collect()
}
