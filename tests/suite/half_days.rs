//! Half-days as the season's plan books them.

use covercast::farm::Job;
use covercast::record::Ground;
use covercast::weather::Quantity;
use covercast::workability::{BlockOutlook, Half, Slot};

use crate::windows::{PAST, look_with, members, put, request, single};

fn look(timeline: &covercast::weather::Timeline) -> BlockOutlook {
    let jobs = [request(Job::Lift, 3.0), request(Job::Lay, 2.0)];
    look_with(timeline, &Ground::default(), &jobs)
}

fn slot(look: &BlockOutlook, day: usize, half: Half) -> &Slot {
    look.slots
        .iter()
        .filter(|slot| slot.half == half)
        .nth(day)
        .unwrap_or_else(|| panic!("no half-day {day}"))
}

fn good(slot: &Slot, job: Job) -> Option<usize> {
    slot.of(job).map(|runs| runs.iter().filter(|run| **run).count())
}

#[test]
fn a_wet_morning_holds_no_lift_and_a_dry_afternoon_does_in_every_run() {
    let mut timeline = members();
    put(&mut timeline, Quantity::Rain, 24..30, Some(0.5));
    let look = look(&timeline);
    assert_eq!(look.slots.len(), 10);
    assert_eq!(good(slot(&look, 1, Half::Morning), Job::Lift), Some(0));
    assert_eq!(good(slot(&look, 0, Half::Afternoon), Job::Lift), Some(10));
    // Crew hours 07:00 to 12:00 and 13:00 to 18:00, two hours ahead of UTC.
    assert_eq!(look.slots[0].start.to_rfc3339(), "2026-09-10T05:00:00+00:00");
    assert_eq!(look.slots[0].end.to_rfc3339(), "2026-09-10T10:00:00+00:00");
    assert_eq!(
        slot(&look, 0, Half::Afternoon).start.to_rfc3339(),
        "2026-09-10T11:00:00+00:00"
    );
}

#[test]
fn one_good_hour_alone_does_not_make_a_half_day() {
    let mut timeline = members();
    // Of tomorrow afternoon only the hour from 15:00 stays calm.
    put(&mut timeline, Quantity::Gust, 32..34, Some(25.0));
    put(&mut timeline, Quantity::Gust, 35..38, Some(25.0));
    let look_1 = look(&timeline);
    assert_eq!(good(slot(&look_1, 1, Half::Afternoon), Job::Lay), Some(0));
    put(&mut timeline, Quantity::Gust, 35..36, Some(3.0));
    assert_eq!(good(slot(&look(&timeline), 1, Half::Afternoon), Job::Lay), Some(10));
}

#[test]
fn runs_are_counted_one_by_one() {
    let mut timeline = members();
    for run in timeline.runs.iter_mut().take(4) {
        for hour in 24..48 {
            run.gust.put(PAST + hour, Some(25.0));
        }
    }
    let look = look(&timeline);
    let afternoon = slot(&look, 1, Half::Afternoon).of(Job::Lift).unwrap();
    assert_eq!(
        afternoon,
        [false, false, false, false, true, true, true, true, true, true]
    );
}

#[test]
fn a_half_day_with_an_unknown_crew_hour_is_not_known() {
    let mut timeline = members();
    put(&mut timeline, Quantity::Wind, 33..34, None);
    let look = look(&timeline);
    assert_eq!(slot(&look, 1, Half::Afternoon).of(Job::Lay), None);
    assert_eq!(slot(&look, 1, Half::Afternoon).light, None);
    assert_eq!(slot(&look, 1, Half::Afternoon).beaten, None);
    assert!(slot(&look, 1, Half::Morning).of(Job::Lay).is_some());
    assert!(slot(&look, 1, Half::Morning).of(Job::Check).is_none());
}

#[test]
fn both_halves_together_have_the_light_of_the_day() {
    let look = look(&members());
    let (day, light) = *look
        .light
        .iter()
        .find(|(day, _)| *day == slot(&look, 1, Half::Morning).day)
        .unwrap();
    let halves: f64 = look
        .slots
        .iter()
        .filter(|slot| slot.day == day)
        .map(|slot| slot.light.unwrap().0)
        .sum();
    // Middles of the halves and of the whole differ by the spread of ten runs only.
    assert!((halves / light.0 - 1.0).abs() < 0.02, "{halves} {light:?}");
    assert!(halves > 1.0);
}

#[test]
fn a_storm_in_the_night_counts_for_the_half_in_which_it_blows() {
    let mut timeline = members();
    for run in timeline.runs.iter_mut().take(3) {
        run.gust.put(PAST + 24 - 3, Some(40.0));
    }
    let look = look(&timeline);
    // 04:00 local of the second day.
    assert_eq!(
        slot(&look, 1, Half::Morning)
            .beaten
            .map(|chance| (chance.good, chance.of)),
        Some((3, 10))
    );
    assert_eq!(
        slot(&look, 1, Half::Afternoon).beaten.map(|chance| chance.good),
        Some(0)
    );
}

#[test]
fn with_one_forecast_there_is_one_run_and_further_days_shrink() {
    let mut timeline = single();
    put(&mut timeline, Quantity::Gust, 0..120, Some(9.5));
    let look = look(&timeline);
    let lay: Vec<usize> = (0..5)
        .map(|day| good(slot(&look, day, Half::Afternoon), Job::Lay).unwrap())
        .collect();
    assert!(lay.iter().all(|runs| *runs <= 1));
    assert!(lay[0] >= lay[4], "{lay:?}");
    assert_eq!(slot(&look, 0, Half::Morning).of(Job::Lift).unwrap().len(), 1);
}

/// An hour succeeds from a worth of 0.35 by the cover model; for ties to be checked a gust of 9 m/s is worth 1 and one of
/// 14 m/s nothing, so that 12.25 m/s is worth 0.35.
#[test]
fn a_half_day_counts_hours_from_a_worth_of_0_35() {
    let of = |gust: f64| {
        let mut timeline = members();
        put(&mut timeline, Quantity::Gust, 0..120, Some(gust));
        let look = look_with(&timeline, &Ground::default(), &[request(Job::Check, 1.0)]);
        good(slot(&look, 1, Half::Afternoon), Job::Check)
    };
    assert_eq!(of(12.2), Some(10));
    assert_eq!(of(12.3), Some(0));
}
