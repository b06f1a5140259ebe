//! Letters as a grower reads them: kept whole, and read like prose in review.

use covercast::advice::text;

use crate::small_orchard::SmallOrchard;

fn keep(name: &str, orchard: &SmallOrchard) {
    let letter = orchard.letter();
    let whole = format!("Subject: {}\n\n{}", letter.subject, text::render(&letter));
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(name, whole);
    });
}

#[test]
fn a_dry_afternoon_before_picking_is_a_go() {
    keep("go_morning", &SmallOrchard::on_a_dry_morning());
}

/// Writes mail, picture and chart of the dry morning where `LETTER_FOLDER` says, for looking at them.
#[test]
fn the_dry_morning_can_be_looked_at() {
    use covercast::advice::{chart, html};
    let letter = SmallOrchard::on_a_dry_morning().letter();
    let facts = letter.chart.as_ref().unwrap();
    let narrow = chart::svg(facts, chart::Width::Narrow);
    let picture = chart::png(&narrow).unwrap();
    let page = html::render(&letter, Some("chart"), Some("season")).unwrap();
    assert!(
        page.len() < 60_000 && picture.len() < 60_000,
        "{} and {} bytes",
        page.len(),
        picture.len()
    );
    if let Ok(folder) = std::env::var("LETTER_FOLDER") {
        let folder = std::path::Path::new(&folder);
        std::fs::write(folder.join("chart.png"), &picture).unwrap();
        std::fs::write(folder.join("narrow.svg"), &narrow).unwrap();
        std::fs::write(folder.join("wide.svg"), chart::svg(facts, chart::Width::Wide)).unwrap();
        std::fs::write(folder.join("letter.html"), page.replace("cid:chart", "chart.png")).unwrap();
    }
}

#[test]
fn a_cover_that_stays_wet_is_a_no_with_the_next_chance() {
    keep(
        "no_wet_all_day",
        &SmallOrchard::on_a_dry_morning()
            .with_ties_checked_and_rolls_dry()
            .wet_all_day(),
    );
}

#[test]
fn behind_a_walk_along_the_ties_stands_why_the_lift_waits() {
    keep("ties_first_lift_waits", &SmallOrchard::on_a_dry_morning().wet_all_day());
}

#[test]
fn while_dry_days_are_in_sight_the_lift_can_wait() {
    keep(
        "wait",
        &SmallOrchard::on_a_dry_morning()
            .with_ties_checked_and_rolls_dry()
            .with_two_dry_days_to_come(),
    );
}

#[test]
fn without_any_forecast_nothing_is_judged() {
    keep(
        "unknown_no_forecast",
        &SmallOrchard::on_a_dry_morning().without_a_forecast(),
    );
}

#[test]
fn a_forecast_too_old_is_no_forecast() {
    keep(
        "unknown_too_old",
        &SmallOrchard::on_a_dry_morning().with_a_forecast_too_old(),
    );
}

#[test]
fn an_old_forecast_is_maybe_at_best() {
    keep(
        "maybe_old_forecast",
        &SmallOrchard::on_a_dry_morning().with_an_old_forecast(),
    );
}

#[test]
fn unknown_hours_of_today_stand_in_the_subject() {
    keep(
        "partly_unknown",
        &SmallOrchard::on_a_dry_morning().with_a_hole_today(8.0, 11.0),
    );
}

#[test]
fn unknown_hours_of_the_job_itself_are_unknown() {
    keep(
        "unknown_gust_this_afternoon",
        &SmallOrchard::on_a_dry_morning().with_a_hole_today(12.0, 18.0),
    );
}

#[test]
fn with_everything_in_the_shed_nothing_is_due() {
    keep(
        "nothing_due",
        &SmallOrchard::on_a_dry_morning().with_everything_in_the_shed(),
    );
}

#[test]
fn one_forecast_gives_no_chance() {
    keep(
        "one_forecast_only",
        &SmallOrchard::on_a_dry_morning().one_forecast_only(),
    );
}

#[test]
fn an_estimated_gust_is_said_and_maybe_at_best() {
    keep(
        "estimated_gust",
        &SmallOrchard::on_a_dry_morning().with_an_estimated_gust(),
    );
}

#[test]
fn before_rest_days_the_letter_reaches_to_the_next_workday() {
    keep(
        "before_rest_days",
        &SmallOrchard::on_a_dry_morning().before_two_rest_days(),
    );
}

#[test]
fn a_sprayed_block_has_no_windows() {
    keep(
        "sprayed_block",
        &SmallOrchard::on_a_dry_morning().with_a_sprayed_creek(),
    );
}

#[test]
fn a_farm_in_miles_reads_miles_inches_and_pounds() {
    keep("in_miles", &SmallOrchard::on_a_dry_morning().in_miles());
}
