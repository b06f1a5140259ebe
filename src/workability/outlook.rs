//! Everything a morning needs to know about one block.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use super::axis::Axis;
use super::further::FOLDED;
use super::judge::Judge;
use super::learned::{self, DryPair};
use super::middle::{MiddleHour, middle};
use super::model_run::{ModelRun, irrigation};
use super::roll::{self, RollClock};
use super::slots::{Slot, slots};
use super::summary::{dry_days, light, view, worst_hour};
use super::table::{Lead, Table};
use super::verdict::Verdict;
use super::window::{Chance, Opening, Window};
use crate::alley::Alley;
use crate::farm::block::{Block, BlockId};
use crate::farm::zone::Zone;
use crate::farm::{Farm, Job};
use crate::physics::Sunlight;
use crate::physics::sun::SunTrack;
use crate::record::Ground;
use crate::units::{Hours, Megajoules, MetresPerSecond};
use crate::weather::Timeline;
use crate::weather::forecast::Kind;

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
    /// When each face is dry, by local day from today on, in the middle member, `dry_offset` included.
    pub dry: Vec<DryDay>,
    /// Hours by which the grower's own notes moved the times in `dry`, later if positive, within three either way;
    /// `None` without notes to learn from. To be told wherever such a time is told.
    pub dry_offset: Option<Hours>,
    /// Rolls lifted damp from this block, and by when each is to be dried.
    pub rolls: Vec<RollClock>,
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
    /// The half-days that have crew hours left, for the season's plan.
    pub slots: Vec<Slot>,
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
    let notes = notes_of(&model, block, farm, ground, timeline, now);
    let late = learned::offset(&notes);
    outlook_of(&model, block, farm, ground, timeline, requests, late, now)
}

fn notes_of(
    model: &ModelRun,
    block: &Block,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    now: DateTime<Utc>,
) -> Vec<DryPair> {
    let zone = &farm.site.zone;
    learned::pairs(&ground.seen_dry, &block.id, model, timeline.stamps, zone, zone.day(now))
}

/// The same for every block of the farm, in its order; blocks with equal numbers share the model.
pub fn outlooks(
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: impl Fn(&Block) -> Vec<JobRequest>,
    now: DateTime<Utc>,
) -> Vec<BlockOutlook> {
    outlooks_learning(farm, ground, timeline, requests, &[], now).0
}

/// The same with dry times learned on earlier mornings, and what is known of them now: at most ten, to be handed in
/// again on the next morning.
pub fn outlooks_learning(
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: impl Fn(&Block) -> Vec<JobRequest>,
    earlier: &[DryPair],
    now: DateTime<Utc>,
) -> (Vec<BlockOutlook>, Vec<DryPair>) {
    let zone = &farm.site.zone;
    let water: Vec<Vec<f64>> = (farm.blocks.iter())
        .map(|block| irrigation(block, zone, timeline.stamps))
        .collect();
    let mut tracks: Vec<(Alley, SunTrack)> = Vec::new();
    let mut found: Vec<Option<(BlockOutlook, Vec<DryPair>)>> = farm.blocks.iter().map(|_| None).collect();
    // Class by class, so that no more than one model is held at a time.
    for (number, (first, its_water)) in farm.blocks.iter().zip(&water).enumerate() {
        if found.get(number).is_some_and(Option::is_some) {
            continue;
        }
        let alley = &first.alley;
        let near = |(other, _): &(Alley, SunTrack)| (other.lat, other.lon) == (alley.lat, alley.lon);
        let track = tracks.iter().position(near).unwrap_or_else(|| {
            tracks.push((*alley, Sunlight::track(alley, timeline.stamps)));
            tracks.len() - 1
        });
        let Some((_, track)) = tracks.get(track) else { continue };
        let model = ModelRun::under(alley, its_water.clone(), timeline, track);
        for ((block, water), found) in farm.blocks.iter().zip(&water).zip(&mut found) {
            if found.is_none() && block.alley == model.alley && *water == model.irrigation {
                let notes = notes_of(&model, block, farm, ground, timeline, now);
                let outlook = outlook_of(&model, block, farm, ground, timeline, &requests(block), None, now);
                *found = Some((outlook, notes));
            }
        }
    }
    let (mut outlooks, notes): (Vec<BlockOutlook>, Vec<Vec<DryPair>>) = found.into_iter().flatten().unzip();
    let pairs = learned::joined(earlier, notes.into_iter().flatten().collect());
    if let Some(late) = learned::offset(&pairs) {
        outlooks.iter_mut().for_each(|outlook| outlook.shift(late, zone));
    }
    (outlooks, pairs)
}

impl BlockOutlook {
    /// Moves the dry times by what was learned from the grower's notes.
    fn shift(&mut self, late: Hours, zone: &Zone) {
        self.dry_offset = Some(late);
        self.dry
            .iter_mut()
            .for_each(|day| *day = learned::shifted(*day, late, zone));
    }
}

/// The outlook of a block whose class has been computed; `late` is the learned correction of dry times.
#[expect(clippy::too_many_arguments, reason = "the parts of one outlook")]
pub fn outlook_of(
    model: &ModelRun,
    block: &Block,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    requests: &[JobRequest],
    late: Option<Hours>,
    now: DateTime<Utc>,
) -> BlockOutlook {
    let lying = ground.lying(&block.id);
    let folded = !lying.is_empty() && lying.iter().all(|lying| lying.folded);
    let allowance = if folded { FOLDED } else { 1.0 };
    let middle = middle(model, allowance);
    let axis = Axis::of(model, farm, timeline, now);
    let mut windows = Vec::new();
    let mut openings = Vec::new();
    let mut tables: Vec<(Job, Table)> = Vec::new();
    for request in requests {
        let Some(span) = Span::of(request, &axis, timeline) else {
            continue;
        };
        let table = span.table(request, model, farm, timeline);
        let found = windows_of(
            request, &span, &table, model, farm, ground, timeline, &middle, &axis, now,
        );
        openings.extend(join(&found, farm));
        windows.extend(found);
        tables.push((request.job, table));
    }
    openings.sort_by(|a, b| {
        (b.best.verdict.cmp(&a.best.verdict))
            .then(b.best.score.total_cmp(&a.best.score))
            .then(a.start.cmp(&b.start))
    });
    let slots = slots(model, farm, timeline, &axis, &tables, allowance);
    let mut outlook = BlockOutlook {
        block: block.id.clone(),
        hours: middle.iter().map(|hour| view(hour.as_ref())).collect(),
        dry: dry_days(&axis, timeline.stamps, &middle, farm.site.zone.day(now)),
        dry_offset: None,
        rolls: roll::of_block(ground, &block.id, model, timeline),
        windows,
        openings,
        critical_gust: MetresPerSecond(model.critical_gust),
        worst_hour: worst_hour(model, timeline, &middle, allowance),
        light: light(&axis, model),
        slots,
    };
    if let Some(late) = late {
        outlook.shift(late, &farm.site.zone);
    }
    outlook
}

/// The rows in which a job is looked for.
struct Span {
    /// Workable rows, from the first to the last.
    workable: Range<usize>,
    /// Rows whose worth is needed: reasons look at the whole day's light.
    judged: Range<usize>,
    lead: Lead,
}

impl Span {
    /// `None` if no row can hold work.
    fn of(request: &JobRequest, axis: &Axis, timeline: &Timeline) -> Option<Self> {
        let first = axis.workable.iter().position(|workable| *workable)?;
        let last = axis
            .workable
            .iter()
            .rposition(|workable| *workable)
            .map_or(first, |last| last + 1);
        let from = axis
            .day
            .get(first)
            .and_then(|day| axis.days.get(day))
            .map_or(first, |day| day.start.min(first));
        let until = axis.days.values().map(|day| day.end).max().unwrap_or(last).max(last);
        Some(Self {
            workable: first..last,
            judged: from..until,
            lead: Lead {
                first_h: (timeline.stamps.at(0) - timeline.issue.at).as_seconds_f64() / 3600.0,
                half_job_h: request.length.0 / 2.0,
            },
        })
    }

    fn table(&self, request: &JobRequest, model: &ModelRun, farm: &Farm, timeline: &Timeline) -> Table {
        let single = (timeline.kind == Kind::Single).then_some(self.lead);
        Table::of(request.job, &farm.limits, model, self.judged.clone(), single)
    }
}

#[expect(clippy::too_many_arguments, reason = "the parts of one outlook, gathered once above")]
fn windows_of(
    request: &JobRequest,
    span: &Span,
    table: &Table,
    model: &ModelRun,
    farm: &Farm,
    ground: &Ground,
    timeline: &Timeline,
    middle: &[Option<MiddleHour>],
    axis: &Axis,
    now: DateTime<Utc>,
) -> Vec<Window> {
    let count = whole_hours(request.length);
    let judge = Judge {
        request: *request,
        limits: &farm.limits,
        model,
        timeline,
        table,
        middle,
        lead: span.lead,
        dry_notes: ground.seen_dry.len(),
        now,
    };
    span.workable
        .clone()
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Window of n = ceil(job hours) consecutive hours, by the cover model; at least one, at most a day.
    #[test]
    fn a_job_takes_whole_hours_and_never_fewer_than_it_needs() {
        for (length, hours) in [
            (0.0, 1),
            (0.2, 1),
            (1.0, 1),
            (1.01, 2),
            (2.0, 2),
            (2.5, 3),
            (0.1 + 0.2 + 2.7, 3),
            (3.0 + 1e-10, 3),
            (3.0 + 1e-6, 4),
            (24.0, 24),
            (30.0, 24),
        ] {
            assert_eq!(whole_hours(Hours(length)), hours, "{length}");
        }
    }
}
