//! The plan to harvest: block by block when covers go out and come up, whose rolls move where, and what moved.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::morning::Morning;
use crate::advice::{season_words, words};
use crate::farm::block::{BlockId, Rows};
use crate::plan::of_farm::{Before, HalfDay, PlannedLot, SeasonPlan, Standing};
use crate::plan::season::why::JobWhy;

/// Most moved jobs that are told.
const MOST_CHANGES: usize = 4;

/// The plan to harvest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Season {
    /// One line a block, or more where its rows go different ways; blocks that share rolls stand together.
    pub lines: Vec<SeasonLine>,
    /// What moved since the letter before, and why.
    pub changes: Vec<String>,
    /// How much the chances beyond the forecast are worth.
    pub note: Option<String>,
    /// Rolls that move on, for the picture.
    pub moves: Vec<Move>,
    /// What each job is planned for and what else there is, for `explain`.
    pub why: Vec<WhyLine>,
    /// What the plan is worth in the farm's currency.
    pub value: f64,
    /// No plan is worth more.
    pub bound: f64,
}

/// Rows of a block that go the same way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonLine {
    /// The block.
    pub block: String,
    /// What grows there.
    pub variety: String,
    /// Rows, where not the whole block goes the same way.
    pub rows: Option<Rows>,
    /// The set of covers.
    pub set: String,
    /// "out since 11 Feb", "lay 13 Mar with Creek's rolls", "not covered".
    pub cover: String,
    /// "lift 26 Mar, at 30 days", or empty.
    pub lift: String,
    /// "16-21 Mar".
    pub pick: String,
    /// First day under the cover, told or planned.
    pub from: Option<NaiveDate>,
    /// Whether it lies out now.
    pub out: bool,
    /// Day of lifting.
    pub until: Option<NaiveDate>,
    /// Days on which lifting is about as good.
    pub good: Option<(NaiveDate, NaiveDate)>,
    /// First and last day of picking, and days either way.
    pub picks: Option<(NaiveDate, NaiveDate, u32)>,
}

/// Rolls that move from one block to another; places in [`Season::lines`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Move {
    /// From the line at this place.
    pub from: usize,
    /// To the line at this place.
    pub to: usize,
}

/// Why rows are planned as they are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WhyLine {
    /// The block.
    pub block: BlockId,
    /// The rows.
    pub rows: Rows,
    /// Sentences.
    pub said: Vec<String>,
    /// Chance of today's half-day and the chance above which going pays, where a cover that lies out could be lifted
    /// today.
    pub go_today: Option<GoToday>,
}

/// Go today, or wait.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GoToday {
    /// Chance of the half-day, 0 to 1.
    pub chance: f64,
    /// Chance above which going pays; `None` where waiting is never dearer.
    pub threshold: Option<f64>,
    /// Expected loss with the better of both, in the farm's currency.
    pub loss_now: f64,
    /// Expected loss if it is let pass.
    pub loss_waiting: f64,
    /// Whether to go.
    pub go: bool,
}

impl Season {
    /// The picture in words: every line of the plan.
    pub fn alt(&self) -> String {
        let line = |line: &SeasonLine| {
            let lift = if line.lift.is_empty() {
                String::new()
            } else {
                format!(", {}", line.lift)
            };
            format!("{}: {}{lift}, pick {}.", line.block, line.cover, line.pick)
        };
        self.lines.iter().map(line).collect::<Vec<_>>().join(" ")
    }
}

impl<'a> Morning<'a> {
    pub(super) fn season(&self) -> Option<Season> {
        let plan = self.inputs.plan.season.as_ref()?;
        let mut lines: Vec<(SeasonLine, Vec<&PlannedLot>)> = Vec::new();
        for set in self.sets_in_order() {
            for block in self
                .inputs
                .farm
                .blocks
                .iter()
                .filter(|block| self.set_of(&block.id) == set)
            {
                lines.extend(self.lines_of(plan, &block.id));
            }
        }
        if lines.is_empty() {
            return None;
        }
        let moves = moves(&lines);
        let cents = |cents: i64| {
            #[expect(clippy::cast_precision_loss, reason = "cents of one farm")]
            let money = cents as f64 / 100.0;
            money
        };
        Some(Season {
            changes: self.season_changes(plan),
            note: plan.coarse.then(|| {
                "Beyond the forecast the chances are coarse figures for anywhere; a climate table of your own makes \
                 them yours."
                    .to_owned()
            }),
            moves,
            why: self.whys(plan),
            value: cents(plan.value_cents),
            bound: cents(plan.bound_cents),
            lines: lines.into_iter().map(|(line, _)| line).collect(),
        })
    }

    fn set_of(&self, block: &BlockId) -> Option<&'a str> {
        self.inputs.farm.set_of(block).map(|set| set.id.0.as_str())
    }

    /// Sets in the order of their first block, then the blocks without one.
    fn sets_in_order(&self) -> Vec<Option<&'a str>> {
        let mut sets: Vec<Option<&str>> = Vec::new();
        for block in &self.inputs.farm.blocks {
            let set = self.set_of(&block.id);
            if set.is_some() && !sets.contains(&set) {
                sets.push(set);
            }
        }
        sets.push(None);
        sets
    }

    fn lines_of<'p>(&self, plan: &'p SeasonPlan, block: &'a BlockId) -> Vec<(SeasonLine, Vec<&'p PlannedLot>)> {
        let mut groups: Vec<Vec<&PlannedLot>> = Vec::new();
        let alike = |a: &PlannedLot, b: &PlannedLot| {
            let day = |half: Option<HalfDay>| half.map(|half| half.day);
            (day(a.lay), day(a.lift), a.lot.standing, a.fold) == (day(b.lay), day(b.lift), b.lot.standing, b.fold)
        };
        for planned in plan.lots.iter().filter(|planned| planned.lot.block == *block) {
            match groups.last_mut() {
                Some(group) if group.last().is_some_and(|last| alike(last, planned)) => group.push(planned),
                _ => groups.push(vec![planned]),
            }
        }
        let whole = groups.len() == 1 && plan.why_not(block).next().is_none();
        let lines: Vec<(SeasonLine, Vec<&PlannedLot>)> = groups
            .into_iter()
            .filter_map(|group| Some((self.line(plan, block, &group, whole)?, group)))
            .collect();
        if lines.is_empty() {
            return self
                .left_out_line(plan, block)
                .into_iter()
                .map(|line| (line, Vec::new()))
                .collect();
        }
        lines
    }

    fn line(&self, plan: &SeasonPlan, block: &BlockId, group: &[&PlannedLot], whole: bool) -> Option<SeasonLine> {
        let (first, last) = (group.first()?, group.last()?);
        let rows = Rows {
            first: first.lot.rows.first,
            last: last.lot.rows.last,
        };
        let mut from: Vec<String> = Vec::new();
        for block in group.iter().flat_map(|planned| &planned.rolls_from) {
            let name = format!("{}'s", words::name(&block.0));
            if !from.contains(&name) {
                from.push(name);
            }
        }
        let since = first.lot.standing.since().map(|since| self.words.day_of(since));
        let cover = match (first.lot.standing, first.lay) {
            (Standing::Out { .. }, _) => format!("out since {}", since.map_or_else(String::new, words::day_and_month)),
            (Standing::Folded { .. }, _) => "folded aside".to_owned(),
            (Standing::Stored, Some(lay)) if from.is_empty() => format!("lay {}", words::day_and_month(lay.day)),
            (Standing::Stored, Some(lay)) => {
                format!(
                    "lay {} with {} rolls",
                    words::day_and_month(lay.day),
                    words::list(&from)
                )
            }
            (Standing::Stored, None) => "not covered".to_owned(),
        };
        let verb = if first.fold { "fold aside" } else { "lift" };
        let days = first
            .days_at_lift
            .map_or_else(String::new, |days| format!(", at {}", words::days(days)));
        let lift = first.lift.map_or_else(String::new, |lift| {
            format!("{verb} {}{days}", words::day_and_month(lift.day))
        });
        let mut line = self.bare_line(block)?;
        line.rows = (!whole).then_some(rows);
        line.cover = cover;
        line.lift = lift;
        line.from = since.or(first.lay.map(|lay| lay.day));
        line.out = since.is_some();
        line.until = first.lift.map(|lift| lift.day);
        line.good = plan
            .whys
            .get(&first.id)
            .and_then(|why| why.lift.as_ref())
            .and_then(|why| good_days(plan, why));
        Some(line)
    }

    fn left_out_line(&self, plan: &SeasonPlan, block: &BlockId) -> Option<SeasonLine> {
        let left = plan.why_not(block).next()?;
        let mut line = self.bare_line(block)?;
        line.cover = format!("not covered: {}", season_words::why_not(left.why));
        Some(line)
    }

    fn bare_line(&self, block: &BlockId) -> Option<SeasonLine> {
        let of_farm = self.farm_block(block)?;
        let pick = self.inputs.farm.next_pick(block, self.words.today);
        Some(SeasonLine {
            block: words::name(&block.0),
            variety: words::name(&of_farm.variety),
            rows: None,
            set: self.set_of(block).map_or_else(|| "no set".to_owned(), words::name),
            cover: String::new(),
            lift: String::new(),
            pick: pick.map_or_else(
                || "not known".to_owned(),
                |pick| season_words::day_span(pick.first, pick.last),
            ),
            from: None,
            out: false,
            until: None,
            good: None,
            picks: pick.map(|pick| (pick.first, pick.last, pick.either_way_on(self.words.today))),
        })
    }

    /// Jobs of the plan before that stand on another day now, the nearest first.
    fn season_changes(&self, plan: &SeasonPlan) -> Vec<String> {
        let Some(before) = self.inputs.yesterday.map(|yesterday| &yesterday.season) else {
            return Vec::new();
        };
        let today = self.words.today;
        let mut found: Vec<(NaiveDate, String)> = Vec::new();
        for planned in &plan.lots {
            let Some(was) = before.get(&planned.id) else { continue };
            let why = plan.whys.get(&planned.id);
            let Before { lay, lift } = *was;
            let jobs = [
                ("laying", lay, planned.lay, why.and_then(|why| why.lay.as_ref())),
                ("lifting", lift, planned.lift, why.and_then(|why| why.lift.as_ref())),
            ];
            for (job, was, is, why) in jobs {
                let (Some(was), Some(is)) = (was, is) else { continue };
                if was.day == is.day || was.day < today {
                    continue;
                }
                let rows = words::rows(planned.lot.rows);
                let name = words::name(&planned.lot.block.0);
                let reason = season_words::moved_because(plan, why, was)
                    .map_or_else(String::new, |reason| format!(": {reason}"));
                found.push((
                    is.day.min(was.day),
                    format!(
                        "{} {name}, {rows}, moved from {} to {}{reason}.",
                        words::capital(job),
                        words::date(was.day),
                        words::date(is.day),
                    ),
                ));
            }
        }
        found.sort();
        let more = found.len().saturating_sub(MOST_CHANGES);
        let mut said: Vec<String> = found.into_iter().take(MOST_CHANGES).map(|(_, said)| said).collect();
        if more > 0 {
            said.push(format!("{more} more jobs of later days moved."));
        }
        said
    }

    fn whys(&self, plan: &SeasonPlan) -> Vec<WhyLine> {
        let currency = &self.inputs.farm.costs.currency;
        plan.lots
            .iter()
            .filter_map(|planned| {
                let why = plan.whys.get(&planned.id)?;
                let go_today = planned.advice.map(|advice| GoToday {
                    chance: advice.chance,
                    threshold: advice.threshold,
                    loss_now: advice.loss_now_cents / 100.0,
                    loss_waiting: advice.loss_waiting_cents / 100.0,
                    go: advice.go,
                });
                Some(WhyLine {
                    block: planned.lot.block.clone(),
                    rows: planned.lot.rows,
                    said: season_words::why(plan, planned, why, currency),
                    go_today,
                })
            })
            .collect()
    }
}

/// Days around the planned one on which lifting earns at most ten less.
fn good_days(plan: &SeasonPlan, why: &JobWhy) -> Option<(NaiveDate, NaiveDate)> {
    const ABOUT_AS_GOOD_CENTS: i64 = 1_000;
    let chosen = why.ranked.iter().find(|ranked| ranked.slot == why.slot)?;
    let days: Vec<NaiveDate> = why
        .ranked
        .iter()
        .filter(|ranked| ranked.how == chosen.how && chosen.score_cents - ranked.score_cents <= ABOUT_AS_GOOD_CENTS)
        .map(|ranked| plan.case.half_day(ranked.slot).day)
        .collect();
    Some((*days.iter().min()?, *days.iter().max()?))
}

/// Which line's rolls go on to which.
fn moves(lines: &[(SeasonLine, Vec<&PlannedLot>)]) -> Vec<Move> {
    let mut found = Vec::new();
    for (to, (_, group)) in lines.iter().enumerate() {
        for block in group.iter().flat_map(|planned| &planned.rolls_from) {
            // Of several lines of a block the one that is lifted last before gives the rolls.
            let lay = group.first().and_then(|planned| planned.lay);
            let from = (0..lines.len())
                .filter(|from| {
                    lines.get(*from).is_some_and(|(_, others)| {
                        others
                            .first()
                            .is_some_and(|other| other.lot.block == *block && other.lift < lay && other.lift.is_some())
                    })
                })
                .max_by_key(|from| lines.get(*from).and_then(|(line, _)| line.until));
            if let Some(from) = from.filter(|from| *from != to) {
                let moved = Move { from, to };
                if !found.contains(&moved) {
                    found.push(moved);
                }
            }
        }
    }
    found
}
