//! Rolls that went up damp: by when they are to be dry, in the plan, the letter and its subject; and what the grower's
//! own dry times taught.

use chrono::{NaiveDate, TimeDelta};
use covercast::advice::text;
use covercast::farm::Job;
use covercast::plan::assign::assign;
use covercast::plan::need::needs;
use covercast::record::Ground;
use covercast::units::Hours;

use crate::small_orchard::{SmallOrchard, at, today};

/// Only Gate's two damp rolls are left to do.
fn only_rolls() -> SmallOrchard {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    orchard.entries.retain(|entry| entry.block.0 == "Gate");
    orchard.farm.picks.clear();
    orchard
}

fn last_day(orchard: &SmallOrchard) -> Option<NaiveDate> {
    let ground = Ground::at(&orchard.entries, orchard.now);
    let needs = needs(&orchard.farm, &ground, orchard.now);
    let plan = assign(&orchard.farm, &ground, &needs, &orchard.outlooks, None, orchard.now);
    let gate = plan.blocks.iter().find(|block| block.block.0 == "Gate").unwrap();
    gate.jobs.iter().find(|job| job.job == Job::Redry).unwrap().last_day
}

fn day(more: i64) -> NaiveDate {
    today() + TimeDelta::days(more)
}

/// Lifted on Sunday at 16:00: damp has five days, wet two; a date before noon leaves no time to spread on that day.
#[test]
fn damp_rolls_have_a_last_day() {
    let mut orchard = only_rolls();
    assert_eq!(last_day(&orchard), Some(day(3)));
    orchard.outlook("Gate").rolls[0].redry_by = at(3, 12.5);
    assert_eq!(last_day(&orchard), Some(day(3)));
    orchard.outlook("Gate").rolls[0].redry_by = at(3, 12.25);
    assert_eq!(last_day(&orchard), Some(day(2)));
    orchard.outlook("Gate").rolls[0].redry_by = at(0, 1.0);
    assert_eq!(last_day(&orchard), Some(today()), "a date that has passed leaves today");
}

#[test]
fn without_the_model_every_damp_roll_counts_as_wet() {
    let mut orchard = only_rolls();
    orchard.outlooks.clear();
    assert_eq!(last_day(&orchard), Some(today()), "two days from Sunday 16:00");
    orchard.entries.last_mut().unwrap().at += TimeDelta::days(1);
    assert_eq!(last_day(&orchard), Some(day(1)));
}

#[test]
fn a_day_of_drying_only_has_its_date_in_the_subject() {
    let mut orchard = only_rolls();
    assert_eq!(orchard.letter().subject, "DRY BY Fri 13 Mar: rolls Gate 7 and Gate 8");
    orchard.outlook("Gate").rolls[0].redry_by = at(0, 1.0) - TimeDelta::days(1);
    assert_eq!(orchard.letter().subject, "DRY BY Tue 10 Mar: rolls Gate 7 and Gate 8");
}

#[test]
fn one_roll_and_many_rolls_fit_the_subject() {
    let mut orchard = only_rolls();
    for entry in &mut orchard.entries {
        entry.rows.first = 8;
    }
    orchard.outlook("Gate").rolls[0].rows.first = 8;
    assert!(
        orchard.letter().subject.ends_with(": roll Gate 8"),
        "{}",
        orchard.letter().subject
    );

    let mut orchard = only_rolls();
    orchard.entries.last_mut().unwrap().rows.first = 5;
    orchard.outlook("Gate").rolls[0].rows.first = 5;
    assert!(
        orchard.letter().subject.ends_with(": rolls Gate 5-8"),
        "{}",
        orchard.letter().subject
    );
}

/// Two people for half an hour must not take the hours of the lift.
#[test]
fn a_lift_still_leads_before_rolls_that_are_due_earlier() {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    let before = orchard.letter();
    orchard.outlook("Gate").rolls[0].redry_by = at(0, 16.0);
    let letter = orchard.letter();
    assert_eq!(letter.subject, before.subject);
    assert!(letter.subject.starts_with("GO 13:30: lift Creek"), "{}", letter.subject);
}

#[test]
fn rolls_past_their_date_are_to_be_opened_now() {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    assert_eq!(
        orchard.letter().rolls,
        ["Gate 7-8: lifted damp on Sun 8 Mar. To be dry by Fri 13 Mar."]
    );
    orchard.outlook("Gate").rolls[0].redry_by = orchard.now + TimeDelta::seconds(1);
    let told = orchard.letter().rolls;
    assert_eq!(told, ["Gate 7-8: lifted damp on Sun 8 Mar. To be dry by Tue 10 Mar."]);
    orchard.outlook("Gate").rolls[0].redry_by = orchard.now;
    let letter = orchard.letter();
    assert_eq!(
        letter.rolls,
        ["Gate 7-8: lifted damp on Sun 8 Mar. Were to be dry by Tue 10 Mar: open them now."]
    );
    let text = text::render(&letter).replace('\n', " ");
    assert_eq!(
        text.matches("open them now.").count(),
        2,
        "in the day's job too: {text}"
    );
}

/// What the letter says of noted dry times, for a correction of so many hours.
fn taught(late: Option<f64>) -> Option<String> {
    let mut orchard = SmallOrchard::on_a_dry_morning();
    orchard.outlook("Creek").dry_offset = late.map(Hours);
    let text = text::render(&orchard.letter()).replace('\n', " ");
    let from = text.find("By your notes, drying is taken ")?;
    let to = from + text[from..].find("computed")? + "computed".len();
    Some(text[from..to].to_owned())
}

#[test]
fn a_learned_correction_is_told_to_the_half_hour() {
    for (late, said) in [
        (1.0, "1 hour later"),
        (0.5, "half an hour later"),
        (0.25, "half an hour later"),
        (0.74, "half an hour later"),
        (0.76, "1 hour later"),
        (1.24, "1 hour later"),
        (1.26, "1.5 hours later"),
        (3.0, "3 hours later"),
        (-1.0, "1 hour earlier"),
        (-2.5, "2.5 hours earlier"),
    ] {
        let told = taught(Some(late)).unwrap();
        assert_eq!(
            told,
            format!("By your notes, drying is taken {said} than computed"),
            "{late}"
        );
    }
}

#[test]
fn a_correction_below_a_quarter_of_an_hour_is_not_told() {
    assert_eq!(taught(Some(0.24)), None);
    assert_eq!(taught(Some(-0.24)), None);
    assert_eq!(taught(None), None);
}
