//! The plan to harvest in the letter: table, picture, what moved, and why.

use covercast::advice::{html, season_strip, text};
use covercast::plan::of_farm::Standing;

use crate::charts::boxes;
use crate::small_orchard::{SmallOrchard, today};

fn planned() -> SmallOrchard {
    SmallOrchard::on_a_dry_morning().with_its_season_planned()
}

#[test]
fn every_block_with_a_pick_date_has_its_line_and_set_mates_stand_together() {
    let orchard = planned();
    let season = orchard.letter().season.unwrap();
    for pick in &orchard.farm.picks {
        assert!(
            season.lines.iter().any(|line| line.block == pick.block.0),
            "{}",
            pick.block
        );
    }
    let sets: Vec<&str> = season.lines.iter().map(|line| line.set.as_str()).collect();
    let mut runs = sets.clone();
    runs.dedup();
    let mut once = runs.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(runs.len(), once.len(), "{sets:?}");
}

#[test]
fn text_and_html_say_the_same_plan_and_the_coarse_chances_are_called_so() {
    let letter = planned().letter();
    let (plain, page) = (
        text::render(&letter),
        html::render(&letter, None, Some("season")).unwrap(),
    );
    assert!(plain.contains("PLAN TO HARVEST"));
    let season = letter.season.unwrap();
    let flat = plain.replace('\n', " ");
    for line in &season.lines {
        assert!(flat.contains(&line.cover), "{}", line.cover);
        assert!(flat.contains(&line.pick), "{}", line.pick);
    }
    assert!(flat.contains("coarse figures for anywhere"));
    assert!(page.contains("Plan to harvest") && page.contains("cid:season"));
    assert!(page.contains("<table") && !page.contains("<script"));
}

#[test]
fn a_job_that_moved_since_yesterday_is_told_with_both_days() {
    let season = planned().letter().season.unwrap();
    assert!(!season.changes.is_empty());
    assert!(season.changes.len() <= 5);
    for change in &season.changes {
        assert!(
            change.contains(" moved from ") || change.contains("more jobs"),
            "{change}"
        );
    }
}

#[test]
fn what_lies_out_is_drawn_from_its_laying_and_the_plan_is_worth_no_more_than_its_bound() {
    let orchard = planned();
    let season = orchard.letter().season.unwrap();
    assert!(season.bound >= season.value);
    let out: Vec<_> = season.lines.iter().filter(|line| line.out).collect();
    assert!(!out.is_empty());
    for line in out {
        assert!(line.cover.starts_with("out since") || line.cover == "folded aside");
        assert!(line.from.unwrap() < today());
    }
}

#[test]
fn each_planned_job_says_why_in_sentences_without_percent_or_bare_money() {
    let season = planned().letter().season.unwrap();
    assert!(!season.why.is_empty());
    for line in &season.why {
        assert!(!line.said.is_empty(), "{}", line.block);
        for said in &line.said {
            assert!(said.ends_with('.') && !said.contains('%'), "{said}");
        }
    }
}

#[test]
fn no_label_of_the_strip_leaves_the_picture_or_lies_over_another() {
    let season = planned().letter().season.unwrap();
    let svg = season_strip::svg(&season, today()).unwrap();
    assert!(boxes(&svg, "season strip").len() > 10);
}

#[test]
fn a_season_of_one_block_and_very_long_names_can_be_drawn() {
    let mut orchard = SmallOrchard::on_a_dry_morning().with_long_names();
    orchard.season = true;
    let season = orchard.letter().season.unwrap();
    let svg = season_strip::svg(&season, today()).unwrap();
    boxes(&svg, "long names");
    let mut one = season.clone();
    one.lines.truncate(1);
    one.moves.clear();
    boxes(&season_strip::svg(&one, today()).unwrap(), "one block");
    one.lines.clear();
    assert_eq!(season_strip::svg(&one, today()), None);
}

#[test]
fn lots_of_the_plan_cover_every_row_once() {
    let orchard = planned();
    let ground = covercast::record::Ground::at(&orchard.entries, orchard.now);
    let made = covercast::plan::of_farm::case_of(&covercast::plan::of_farm::Inputs {
        farm: &orchard.farm,
        ground: &ground,
        outlooks: &orchard.outlooks,
        usual: &covercast::plan::of_farm::usual::Usual::default(),
        before: &std::collections::BTreeMap::new(),
        now: orchard.now,
    });
    for block in &orchard.farm.blocks {
        let lots = made.lots.iter().filter(|lot| lot.block == block.id).map(|lot| lot.rows);
        let left = made
            .left_out
            .iter()
            .filter(|left| left.block == block.id)
            .map(|left| left.rows);
        let mut rows: Vec<u32> = lots
            .chain(left)
            .flat_map(covercast::farm::block::Rows::numbers)
            .collect();
        rows.sort_unstable();
        let all: Vec<u32> = block.all_rows().numbers().collect();
        assert_eq!(rows, all, "{}", block.id);
    }
    assert!(made.lots.iter().any(|lot| matches!(lot.standing, Standing::Out { .. })));
}
