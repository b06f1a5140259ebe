//! The take-off as text: per block, rolls, what to order, hours, and the cuts in their order.

use std::fmt::Write as _;

use crate::advice::labels::width;
use crate::advice::words::{name, people};
use crate::farm::{Farm, Job};
use crate::plan::effort::fastest;
use crate::plan::takeoff::{Decimetres, OVERLAP, Part, SetTakeoff, Takeoff, WORTH_KEEPING};
use crate::units::{DisplayUnits, Hours, Metres};

/// A rest shorter than this hardly pays its core, ties and walk \[dm\]. Assumed.
const STUB: Decimetres = Decimetres(50);
/// From this weight on the sheet says how to lift a roll \[kg\]. Assumed: common practice.
const HEAVY_KG: f64 = 15.0;

/// The report.
pub(super) fn render(farm: &Farm, counted: &Takeoff) -> String {
    let mut out = String::new();
    let all = &counted.total;
    let _ = writeln!(
        out,
        "{}: take-off of {}, {}",
        name(&farm.site.name),
        many(counted.blocks.len(), "block"),
        many(all.rows, "row")
    );
    let _ = writeln!(
        out,
        "Each row has a piece of its own, as if all of these blocks lay covered at once."
    );
    out.push('\n');
    blocks(&mut out, farm, counted);
    out.push_str("\nRolls\n");
    counted.sets.iter().for_each(|set| rolls(&mut out, farm, set));
    order(&mut out, counted);
    hours(&mut out, farm, counted);
    out.push_str(
        "\nCut list, roll by roll: length of the part, where it is cut from the outer end of the roll, its code\n",
    );
    counted.sets.iter().for_each(|set| cuts(&mut out, farm, set));
    stubs(&mut out, farm, counted);
    care(&mut out, farm, counted);
    out
}

fn blocks(out: &mut String, farm: &Farm, counted: &Takeoff) {
    let units = farm.site.units;
    let wide = |texts: &mut dyn Iterator<Item = usize>, least: usize| texts.max().unwrap_or(0).max(least);
    let block = wide(
        &mut counted.blocks.iter().map(|one| name(&one.block.0).chars().count()),
        5,
    );
    let set = wide(
        &mut counted.blocks.iter().map(|one| name(&one.set.0).chars().count()),
        3,
    );
    let cover = counted.total.cover.said(units).chars().count().max(8);
    let rest = counted.total.to_cut.said(units).chars().count().max(12);
    let _ = writeln!(
        out,
        "{:block$}  {:set$}  Rows  Parts  {:>cover$}  {:>rest$}  {:>5}  Cores  Labels  {:>7}  {:>7}",
        "Block", "Set", "Cover", "Rests to cut", "Ties", "To lay", "To lift"
    );
    let lines = counted
        .blocks
        .iter()
        .map(|one| (name(&one.block.0), name(&one.set.0), &one.quantities));
    let total = (counted.blocks.len() > 1).then(|| ("All".to_owned(), String::new(), &counted.total));
    for (block_name, set_name, of) in lines.chain(total) {
        let _ = writeln!(
            out,
            "{block_name:block$}  {set_name:set$}  {:>4}  {:>5}  {:>cover$}  {:>rest$}  {:>5}  {:>5}  {:>6}  {:>7}  {:>7}",
            of.rows,
            of.parts,
            of.cover.said(units),
            of.to_cut.said(units),
            of.ties,
            of.cores(),
            of.labels(),
            format!("{:.2} h", of.lay.0),
            format!("{:.2} h", of.lift.0),
        );
    }
}

fn rolls(out: &mut String, farm: &Farm, set: &SetTakeoff) {
    let units = farm.site.units;
    let count = set.roll_count();
    let bound = if count == set.least_rolls {
        "fewer cannot do".to_owned()
    } else {
        format!("at least {} are needed however they are cut", set.least_rolls)
    };
    let _ = writeln!(
        out,
        "  {}, {} wide: {} of {}: {} stay whole, {} are cut ({bound}).",
        name(&set.set.0),
        width(set.width, units),
        many(count, "roll"),
        set.roll_length.said(units),
        set.uncut.len(),
        set.rolls.len(),
    );
    let mut alike: Vec<(Decimetres, usize)> = Vec::new();
    for length in set.kept() {
        match alike.last_mut() {
            Some((before, count)) if *before == length => *count += 1,
            _ => alike.push((length, 1)),
        }
    }
    let kept = alike.into_iter().map(|(length, count)| match count {
        1 => length.said(units),
        many => format!("{many} of {}", length.said(units)),
    });
    let kept: Vec<String> = kept.collect();
    let _ = writeln!(
        out,
        "    Offcuts of {} or more, kept as stock: {}. Waste: {}.",
        WORTH_KEEPING.said(units),
        if kept.is_empty() {
            "none".to_owned()
        } else {
            kept.join(", ")
        },
        set.waste().said(units)
    );
    let short = set.cover.0.saturating_sub(set.stock.0);
    if short > 0 {
        let _ = writeln!(
            out,
            "    Stock in farm.toml: {}. All at once take {} more. Covers that move from an early block to a late one are",
            set.stock.said(units),
            Decimetres(short).said(units)
        );
        let _ = writeln!(
            out,
            "    cut once: count the blocks that lie out together, such as --block {}.",
            set_example(farm, set)
        );
    }
}

/// The first block of a set, as it is typed.
fn set_example(farm: &Farm, set: &SetTakeoff) -> String {
    let first = farm.sets.iter().find(|one| one.id == set.set);
    let first = first.and_then(|one| one.blocks.first()).map(|block| name(&block.0));
    let first = first.unwrap_or_default();
    if first.contains(' ') {
        format!("\"{first}\"")
    } else {
        first
    }
}

fn order(out: &mut String, counted: &Takeoff) {
    let all = &counted.total;
    let offcuts: usize = counted.sets.iter().map(|set| set.kept().len()).sum();
    let rolls: usize = counted.sets.iter().map(SetTakeoff::roll_count).sum();
    out.push_str("\nTo order\n");
    let _ = writeln!(out, "  Rolls   {rolls:>6}");
    let _ = writeln!(
        out,
        "  Ties    {:>6}   {} in use and 5 % spare; a cord and two hooks each",
        all.ties_to_order(),
        all.ties
    );
    let _ = writeln!(out, "  Cords   {:>6}", all.ties_to_order());
    let _ = writeln!(out, "  Hooks   {:>6}   {} in use", all.hooks_to_order(), all.hooks());
    let _ = writeln!(out, "  Cores   {:>6}   one for each part", all.cores());
    let extra = if offcuts == 0 {
        String::new()
    } else {
        format!("; {} more for offcuts", offcuts)
    };
    let _ = writeln!(out, "  Labels  {:>6}   one at each end of a part{extra}", all.labels());
}

fn hours(out: &mut String, farm: &Farm, counted: &Takeoff) {
    let (all, crew) = (&counted.total, &farm.crew);
    let length = |from: chrono::NaiveTime, to: chrono::NaiveTime| (to - from).num_minutes() as f64 / 60.0;
    let day = (length(crew.start, crew.break_start) + length(crew.break_end, crew.end)).max(0.5);
    let _ = writeln!(
        out,
        "\nWork of {}, dry and calm hours only; a day has {day} h",
        people(crew.people)
    );
    for (what, job, crew_h, person_h) in [
        ("Laying   ", Job::Lay, all.lay, all.lay_person),
        ("Lifting  ", Job::Lift, all.lift, all.lift_person),
    ] {
        let how = match fastest(farm, job).filter(|_| crew.people >= 2) {
            Some(rate) => format!("machine at {} an hour", rate_said(Metres(rate), farm.site.units)),
            None => "by hand".to_owned(),
        };
        let _ = writeln!(
            out,
            "  {what}  {:.2} h, {}; {how}; {:.2} hours of work, all people together",
            crew_h.0,
            days(crew_h, day),
            person_h.0
        );
    }
    let _ = writeln!(
        out,
        "  Tie check  {:.2} h for one person: a walk past all ties",
        all.round_person.0
    );
}

fn rate_said(rate: Metres, units: DisplayUnits) -> String {
    format!("{:.0} {}", units.length(rate), units.length_sign())
}

/// Days to a tenth, never nothing.
fn days(hours: Hours, day: f64) -> String {
    let days = (hours.0 / day * 10.0 - 1e-9).ceil().max(1.0) / 10.0;
    format!("{days:.1} days")
}

fn cuts(out: &mut String, farm: &Farm, set: &SetTakeoff) {
    let units = farm.site.units;
    let wide = set.roll_length.said(units).chars().count();
    if !set.uncut.is_empty() {
        let _ = writeln!(
            out,
            "  {}, {} to leave whole and label",
            name(&set.set.0),
            many(set.uncut.len(), "roll")
        );
        for line in runs(&set.uncut) {
            let _ = writeln!(out, "    {line}");
        }
    }
    for roll in &set.rolls {
        let left = match roll.kept() {
            Some(left) => format!("{} left: label it {} and keep it", left.said(units), roll.code),
            None if roll.left == Decimetres(0) => "nothing left".to_owned(),
            None => format!("{} waste", roll.left.said(units)),
        };
        let _ = writeln!(out, "  {}, roll {}; {left}", name(&set.set.0), roll.number);
        for cut in &roll.cuts {
            let _ = writeln!(
                out,
                "    {:>wide$}  at {:>wide$}  {}  {}",
                cut.part.length.said(units),
                cut.at.said(units),
                cut.part.code,
                place(&cut.part)
            );
        }
    }
}

fn place(part: &Part) -> String {
    format!(
        "{}, row {}, part {} of {}",
        name(&part.block.0),
        part.row,
        part.part,
        part.of
    )
}

/// "Creek, rows 1-12, part 1" for rows one after the other.
fn runs(parts: &[Part]) -> Vec<String> {
    let mut found: Vec<(&Part, u32)> = Vec::new();
    let mut sorted: Vec<&Part> = parts.iter().collect();
    sorted.sort_by_key(|part| part.part);
    // Blocks keep their order; parts of one number stand together inside of each.
    let mut blocks: Vec<&str> = Vec::new();
    for part in parts {
        if !blocks.contains(&part.block.0.as_str()) {
            blocks.push(&part.block.0);
        }
    }
    for block in blocks {
        for part in sorted.iter().filter(|part| part.block.0 == block) {
            match found.last_mut() {
                Some((first, last))
                    if first.block == part.block && first.part == part.part && *last + 1 == part.row =>
                {
                    *last = part.row;
                }
                _ => found.push((part, part.row)),
            }
        }
    }
    found
        .into_iter()
        .map(|(first, last)| {
            let rows = crate::farm::block::Rows { first: first.row, last };
            format!(
                "{}, {}, part {}",
                name(&first.block.0),
                crate::advice::words::rows(rows),
                first.part
            )
        })
        .collect()
}

/// Rows whose last part is hardly worth its core.
fn stubs(out: &mut String, farm: &Farm, counted: &Takeoff) {
    let units = farm.site.units;
    let parts = counted.blocks.iter().flat_map(|block| &block.parts);
    let stubs: Vec<&Part> = parts.filter(|part| part.part > 1 && part.length < STUB).collect();
    if stubs.is_empty() {
        return;
    }
    out.push_str("\nTo look at\n");
    for part in stubs {
        let _ = writeln!(
            out,
            "  {}, row {}: its last part is only {}. Ends kept {} longer would save a part with its ties.",
            name(&part.block.0),
            part.row,
            part.length.said(units),
            Decimetres((part.length.0.saturating_sub(OVERLAP.0)).div_ceil(2)).said(units)
        );
    }
}

fn care(out: &mut String, farm: &Farm, counted: &Takeoff) {
    let words = crate::advice::words::Words {
        zone: &farm.site.zone,
        units: farm.site.units,
        today: chrono::NaiveDate::MIN,
    };
    out.push_str("\nCare\n");
    for set in counted.sets.iter().filter(|set| set.roll_kg >= HEAVY_KG) {
        let _ = writeln!(
            out,
            "  A roll of {} holds about {} of cloth, and its core comes on top: two people or a lifting aid.",
            name(&set.set.0),
            words.weight(set.roll_kg)
        );
    }
    out.push_str(
        "  Cut away from hands and legs, with gloves. A hot knife only where no fire rule forbids it, water at hand.\n  \
         Elastic cords whip back: eyes protected, face aside.\n  \
         Times are common practice, not your crew's. The makers' instructions and local rules come first.\n",
    );
}

fn many(count: usize, what: &str) -> String {
    if count == 1 {
        format!("1 {what}")
    } else {
        format!("{count} {what}s")
    }
}
