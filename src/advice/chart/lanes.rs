//! Boxes of usable hours, one lane a job, and the lines across the wind.

use super::facts::{BoxKind, Lane, LaneBox, Limit, LimitKind, LimitStep, Span};
use crate::advice::letter::Inputs;
use crate::advice::spread::thousandth;
use crate::advice::words::{self, Words};
use crate::farm::Job;
use crate::plan::{BlockPlan, NextJob};
use crate::units::MetresPerSecond;
use crate::weather::Timeline;
use crate::weather::forecast::Kind;
use crate::workability::doubt::alpha;
use crate::workability::{Opening, Verdict};

/// Lanes from top to bottom.
const LANES: [(Job, &str, bool); 4] = [
    (Job::Lift, "Lift", false),
    (Job::Lay, "Lay", false),
    (Job::Fold, "Fold", true),
    (Job::Check, "Ties", true),
];

pub(super) fn lanes(inputs: &Inputs<'_>, words: &Words<'_>) -> Vec<Lane> {
    let lead = inputs
        .plan
        .headline
        .and_then(|head| Some((head.block, inputs.plan.job(head.block, head.job)?.job)));
    LANES
        .into_iter()
        .map(|(job, name, wide_only)| {
            let leads = lead.is_some_and(|(_, leading)| leading == job);
            let boxes = boxes(inputs, words, job, lead.filter(|_| leads).map(|(block, _)| block));
            Lane {
                name: name.to_owned(),
                leads,
                wide_only,
                boxes,
            }
        })
        .collect()
}

/// One box a day: the planned one of any block, else the best opening of the leading block.
fn boxes(inputs: &Inputs<'_>, words: &Words<'_>, job: Job, lead: Option<usize>) -> Vec<LaneBox> {
    let open = |block: &&BlockPlan| block.no_entry.is_none();
    let jobs: Vec<(usize, &NextJob)> = inputs
        .plan
        .blocks
        .iter()
        .enumerate()
        .filter(|(_, block)| open(block))
        .flat_map(|(number, block)| block.jobs.iter().map(move |job| (number, job)))
        .filter(|(_, next)| next.job == job)
        .collect();
    // The headline's block, else the one that may do the job first, else the one that would.
    let leading = jobs.iter().find(|(number, _)| Some(*number) == lead);
    let leading = leading.or_else(|| jobs.iter().min_by_key(|(_, next)| (next.held.is_some(), next.from)));
    let mut boxes: Vec<LaneBox> = Vec::new();
    for (_, next) in &jobs {
        boxes.extend(
            next.chosen
                .and_then(|place| next.openings.get(place))
                .map(|open| planned(words, open)),
        );
    }
    boxes.sort_by_key(|one| one.span.start);
    boxes.dedup_by(|later, earlier| overlap(later, earlier));
    if let Some((_, next)) = leading {
        let taken: Vec<_> = boxes.iter().map(|one| words.day_of(one.span.start)).collect();
        let free = next.openings.iter().filter(|open| {
            let day = words.day_of(open.start);
            next.from <= day && !taken.contains(&day)
        });
        boxes.extend(
            free.filter(|open| open.best.verdict >= Verdict::Maybe)
                .map(|open| possible(inputs, words, next, open)),
        );
        boxes.sort_by_key(|one| one.span.start);
        boxes.dedup_by(|later, earlier| words.day_of(later.span.start) == words.day_of(earlier.span.start));
        if_not(&mut boxes, next.job == Job::Lift);
    }
    boxes
}

fn overlap(a: &LaneBox, b: &LaneBox) -> bool {
    a.span.start < b.span.end && b.span.start < a.span.end
}

fn planned(words: &Words<'_>, open: &Opening) -> LaneBox {
    LaneBox {
        span: Span {
            start: open.start,
            end: open.end,
        },
        kind: BoxKind::Planned,
        firm: open.best.firm,
        label: Some(words.span_short(open.start, open.end)),
    }
}

fn possible(inputs: &Inputs<'_>, words: &Words<'_>, next: &NextJob, open: &Opening) -> LaneBox {
    let day = words.day_of(open.start);
    let rest = !inputs.farm.crew.workdays.contains(&chrono::Datelike::weekday(&day));
    let kind = if rest || next.held.is_some() {
        BoxKind::Blocked
    } else {
        BoxKind::Possible
    };
    LaneBox {
        span: Span {
            start: open.start,
            end: open.end,
        },
        kind,
        firm: open.best.firm,
        label: None,
    }
}

/// Marks the first possible box after the planned one as the fall-back.
fn if_not(boxes: &mut [LaneBox], wanted: bool) {
    let Some(at) = boxes
        .iter()
        .position(|one| one.kind == BoxKind::Planned)
        .filter(|_| wanted)
    else {
        return;
    };
    if let Some(next) = boxes.iter_mut().skip(at + 1).find(|one| one.kind == BoxKind::Possible) {
        next.label = Some("if not".to_owned());
    }
}

/// Where lifting and laying stop, and what the weakest ties carry.
///
/// With one forecast only they are drawn lower, the more so the longer the lead.
pub(super) fn limits(inputs: &Inputs<'_>, weather: &Timeline, words: &Words<'_>) -> Vec<Limit> {
    let limits = &inputs.farm.limits;
    let line = |kind, gust_m_s: f64, what: &str, sep: &str| {
        let gust_m_s = thousandth(gust_m_s);
        let steps = steps(inputs, weather, gust_m_s);
        let number = |gust: f64| words.wind_number(MetresPerSecond(gust));
        let said = match (steps.first(), steps.last()) {
            (Some(first), Some(last)) if steps.len() > 1 => {
                format!("{} falling to {}", number(first.gust_m_s), number(last.gust_m_s))
            }
            _ => number(gust_m_s),
        };
        Limit {
            kind,
            gust_m_s,
            steps,
            label: format!("{what} {sep} {said}"),
            short: format!("{what}: {said}"),
        }
    };
    let mut lines = vec![
        line(LimitKind::Lift, limits.lift.gust.bad, "lifting stops", "at"),
        line(LimitKind::Lay, limits.lay.gust.bad, "laying stops", "at"),
    ];
    let out = inputs.plan.blocks.iter().filter(|block| block.out.is_some());
    let ties = out.filter_map(|block| inputs.outlooks.iter().find(|outlook| outlook.block == block.block));
    if let Some(weakest) = ties.min_by(|a, b| a.critical_gust.0.total_cmp(&b.critical_gust.0)) {
        let name = words::name(&weakest.block.0);
        let short: String = name.chars().take(14).collect();
        lines.push(line(
            LimitKind::Ties,
            weakest.critical_gust.0,
            &format!("{short} ties"),
            "carry about",
        ));
    }
    lines
}

/// Days from which a lower limit counts, with one forecast; empty with members.
fn steps(inputs: &Inputs<'_>, weather: &Timeline, gust_m_s: f64) -> Vec<LimitStep> {
    if weather.kind == Kind::Members {
        return Vec::new();
    }
    let mut steps: Vec<LimitStep> = Vec::new();
    for k in weather.now_row..weather.stamps.count {
        let lead = weather.stamps.at(k) - weather.issue.at;
        #[expect(clippy::cast_precision_loss, reason = "hours of ten days")]
        let share = alpha(lead.num_minutes() as f64 / 60.0);
        let lower = thousandth(gust_m_s * share);
        if steps.last().is_none_or(|last| last.gust_m_s > lower + 1e-9) {
            steps.push(LimitStep {
                from: weather.stamps.start(k).max(inputs.now),
                gust_m_s: lower,
            });
        }
    }
    steps
}
