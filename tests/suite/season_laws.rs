//! What must hold for every plan of a season, whatever the case: nothing overbooked, a bound that is one, the same plan
//! on every run and in every order, and a plan that does not jump.

use covercast::plan::season::case::Case;
use covercast::plan::season::{Checked, Entry, Schedule, Solved, score, solve};

use super::invented_season::Season;

/// Enough for small cases, and quick where the program is not optimised.
const TRIES: Option<u64> = Some(400);

fn checked(case: Case) -> Checked {
    case.checked().unwrap_or_else(|faults| panic!("{faults:?}"))
}

fn solved(season: &Season) -> Solved {
    solve(&checked(season.case()), TRIES)
}

#[test]
fn no_plan_of_an_invented_season_overbooks_anything_or_beats_its_bound() {
    for seed in 0..40_usize {
        let case = checked(Season::drawn(seed as u64, 1 + seed % 2, 6 + seed % 20).case());
        let solved = solve(&case, Some(60));
        assert_eq!(solved.violations, [], "seed {seed}");
        assert_eq!(score(&case, &solved.schedule).objective_cents, solved.objective_cents);
        assert!(solved.objective_cents <= solved.bound_cents, "seed {seed}");
        assert_eq!(
            solved.schedule.0.len(),
            case.lots.len(),
            "seed {seed}: a lot is forgotten"
        );
    }
}

/// Every plan of three lots is tried, so the best one is known.
#[test]
fn of_all_plans_of_a_tiny_season_the_best_is_found() {
    let mut covered = 0;
    for seed in 100..112 {
        let case = checked(Season::tiny(seed).case());
        let best = best_of_all(&case);
        let solved = solve(&case, TRIES);
        assert_eq!(solved.objective_cents, best, "seed {seed}");
        assert!(solved.bound_cents >= best, "seed {seed}");
        covered += solved.schedule.covered();
    }
    assert!(
        covered > 8,
        "only {covered} lots were worth covering: the seasons prove nothing"
    );
}

fn best_of_all(case: &Checked) -> i64 {
    use covercast::plan::season::case::Mode::{LayHand, LayMachine};
    let ways = case.lots.iter().map(|lot| {
        let mut ways = vec![None];
        let mut starts: Vec<_> = lot
            .lay_machine
            .iter()
            .map(|lay| (Some(lay.0), Some(LayMachine)))
            .collect();
        starts.extend(lot.lay_hand.iter().map(|lay| (Some(lay.0), Some(LayHand))));
        if lot.already_out.is_some() {
            starts.push((None, None));
        }
        for (lay, mode) in starts {
            ways.extend(lot.lift.iter().map(|lift| {
                Some(Entry {
                    lay,
                    mode,
                    lift: lift.0,
                    kind: lift.1,
                })
            }));
        }
        (lot.id.clone(), ways)
    });
    let ways: Vec<_> = ways.collect();
    let count: usize = ways.iter().map(|(_, ways)| ways.len()).product();
    assert!(count < 200_000, "{count} plans are too many to try");
    let plan_at = |mut number: usize| {
        let pick = |(id, ways): &(String, Vec<Option<Entry>>)| {
            let way = ways[number % ways.len()];
            number /= ways.len();
            (id.clone(), way)
        };
        Schedule(ways.iter().map(pick).collect())
    };
    let sound = (0..count)
        .map(|number| score(case, &plan_at(number)))
        .filter(|scored| scored.violations.is_empty());
    sound.map(|scored| scored.objective_cents).max().unwrap()
}

#[test]
fn the_same_case_gives_the_same_plan() {
    let season = Season::drawn(7, 2, 15);
    assert_eq!(solved(&season), solved(&season));
}

#[test]
fn a_new_order_of_lots_changes_nothing() {
    let mut season = Season::drawn(8, 2, 15);
    let before = solved(&season);
    season.lots_mut().reverse();
    let after = solved(&season);
    assert_eq!(
        (&after.schedule, after.objective_cents, after.bound_cents),
        (&before.schedule, before.objective_cents, before.bound_cents)
    );
}

#[test]
fn new_names_of_lots_change_nothing_but_names() {
    let mut season = Season::drawn(9, 1, 20);
    let before = solved(&season);
    let renamed = |id: &str| format!("z{}", id.chars().rev().collect::<String>());
    for lot in season.lots_mut() {
        lot.id = renamed(&lot.id);
    }
    let after = solved(&season);
    assert_eq!(
        (after.objective_cents, after.bound_cents),
        (before.objective_cents, before.bound_cents)
    );
    for (id, entry) in &before.schedule.0 {
        assert_eq!(after.schedule.0[&renamed(id)], *entry);
    }
}

#[test]
fn more_of_anything_never_makes_the_plan_worse() {
    for seed in 20..28 {
        let season = Season::drawn(seed, 1, 18);
        let least = solved(&season).objective_cents;
        let grow: [fn(&mut Season); 3] = [
            |season| {
                season.pools_mut()[0]
                    .stock_m
                    .values_mut()
                    .for_each(|metres| *metres += 900)
            },
            |season| {
                season.pools_mut()[0]
                    .people_cap_s
                    .iter_mut()
                    .for_each(|seconds| *seconds += *seconds / 4)
            },
            |season| {
                season.pools_mut()[0]
                    .machine_cap_s
                    .iter_mut()
                    .for_each(|seconds| *seconds *= 2)
            },
        ];
        for (what, grow) in ["stock", "people", "machines"].into_iter().zip(grow) {
            // Costs stay those of the season as it was; only the room grows.
            let mut more = season.case();
            let mut grown = season.clone();
            grow(&mut grown);
            more.pools = grown.case().pools;
            let value = solve(&checked(more), TRIES).objective_cents;
            assert!(
                value as f64 >= least as f64 * 0.998,
                "seed {seed}: more {what} gave {value} after {least}"
            );
        }
    }
}

/// Jobs in the next two days.
fn soon(plan: &Schedule) -> Vec<(String, Option<usize>, Option<usize>)> {
    let early = |slot: Option<usize>| slot.filter(|slot| *slot < 4);
    let jobs = plan.0.iter().map(|(id, entry)| {
        (
            id.clone(),
            entry.and_then(|entry| early(entry.lay)),
            entry.and_then(|entry| early(Some(entry.lift))),
        )
    });
    jobs.filter(|job| job.1.is_some() || job.2.is_some()).collect()
}

/// The best plan that keeps what was planned for the next two days, and adds nothing to them.
fn keeping(mut case: Case, planned: &[(String, Option<usize>, Option<usize>)]) -> i64 {
    for lot in &mut case.lots {
        let job = planned.iter().find(|job| job.0 == lot.id);
        let (lay, lift) = job.map_or((None, None), |job| (job.1, job.2));
        let keeps = |slot: usize, planned: Option<usize>| planned.map_or(slot >= 4, |planned| slot == planned);
        lot.lay_machine.retain(|option| keeps(option.0, lay));
        lot.lay_hand.retain(|option| keeps(option.0, lay));
        lot.lift.retain(|option| keeps(option.0, lift));
    }
    solve(&checked(case), TRIES).objective_cents
}

#[test]
fn a_pick_that_moves_by_a_day_changes_the_next_two_days_only_where_that_pays() {
    let (mut kept, mut changed) = (0, 0);
    for seed in 40..52 {
        let mut season = Season::drawn(seed, 1, 16);
        let plan = solved(&season).schedule;
        season.follow(&plan);
        let before = soon(&plan);
        for moved in [0, 5] {
            let mut season = season.clone();
            season.lots_mut()[moved].pick += 2;
            let again = solved(&season);
            if soon(&again.schedule) == before {
                kept += 1;
                continue;
            }
            changed += 1;
            let value = keeping(season.case(), &before);
            assert!(
                again.objective_cents > value,
                "seed {seed}, lot {moved}: {:?} became {:?} for nothing: {} against {value}",
                before,
                soon(&again.schedule),
                again.objective_cents
            );
        }
    }
    println!("{kept} times kept, {changed} times changed");
    assert!(kept > changed, "{kept} kept, {changed} changed");
}

#[test]
fn a_plan_that_is_followed_stays_as_it_is() {
    for seed in 60..66 {
        let mut season = Season::drawn(seed, 1, 16);
        let plan = solved(&season).schedule;
        season.follow(&plan);
        let again = solved(&season);
        assert!(soon(&again.schedule) == soon(&plan), "seed {seed}");
    }
}
