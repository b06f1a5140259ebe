//! The season of a farm: what is laid and lifted when, before any forecast and under one.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use covercast::farm::block::{BlockId, Rows};
use covercast::farm::harvest::Blackout;
use covercast::farm::{Farm, Job};
use covercast::plan::of_farm::usual::{Usual, UsualHalf};
use covercast::plan::of_farm::{
    Before, FarmCase, HalfDay, Inputs, SeasonPlan, Standing, WhyNot, case_of, plan_season, slot_of,
};
use covercast::plan::season::case::{Kind, Lot};
use covercast::record::{Entry, Ground};
use covercast::units::{Megajoules, Metres};
use covercast::workability::{BlockOutlook, Chance, Half, Slot};

use crate::planning::{block, day, farm, laid, now, outlook, pick};

fn before() -> BTreeMap<String, Before> {
    BTreeMap::new()
}

fn with<T>(
    farm: &Farm,
    entries: &[Entry],
    outlooks: &[BlockOutlook],
    before: &BTreeMap<String, Before>,
    ask: impl FnOnce(&Inputs<'_>) -> T,
) -> T {
    ask(&Inputs {
        farm,
        ground: &Ground::at(entries, now()),
        outlooks,
        usual: &Usual::default(),
        before,
        now: now(),
    })
}

fn case(farm: &Farm, entries: &[Entry]) -> FarmCase {
    with(farm, entries, &[], &before(), case_of)
}

fn season(farm: &Farm, entries: &[Entry]) -> SeasonPlan {
    with(farm, entries, &[], &before(), |inputs| plan_season(inputs).unwrap())
}

fn lot<'a>(case: &'a FarmCase, id: &str) -> &'a Lot {
    case.case.lots.iter().find(|lot| lot.id == id).unwrap()
}

/// Days from today to a day.
fn ahead(day: NaiveDate) -> i64 {
    (day - crate::planning::day("2026-03-10")).num_days()
}

#[test]
fn a_case_of_the_farm_is_sound_and_counts_its_crew_and_covers() {
    let farm = farm(vec![pick("Creek", "2026-04-20"), pick("Mill", "2026-05-10")]);
    let made = case(&farm, &[]);
    assert!(made.case.clone().checked().is_ok());
    let pool = &made.case.pools[0];
    // Four people from 07:00 to 12:00 and 13:00 to 18:00; Sunday 15 March is a rest day.
    assert_eq!(pool.people_cap_s[..2], [72_000, 72_000]);
    assert_eq!(pool.people_cap_s[10..12], [0, 0]);
    assert_eq!(pool.machine_cap_s[0], 18_000);
    assert_eq!(pool.stock_m["A"], 800);
    let creek = lot(&made, "Creek 1");
    assert_eq!((creek.metres, creek.pieces, creek.ties), (800, 8, 288));
    // 20 April less two days either way is 39 days ahead.
    assert_eq!(creek.pick_slot, 78);
    // 800 m at 700 m/h with two people, and 288 ties of 15 s; by hand nobody is offered more than a half-day holds.
    assert_eq!(creek.work.lay_machine.people_s, 2 * 3600 * 800 / 700 + 288 * 15);
    assert_eq!(creek.work.lift_machine.people_s, 2 * 3600 * 800 / 800 + 288 * 8);
    assert_eq!(creek.work.fold.people_s, 288 / 2 * 8 + 960);
    assert_eq!(creek.check_s, 28);
    assert_eq!(creek.value_cents, 48_000);
    assert_eq!(creek.min_exposure_slots, 14);
}

#[test]
fn laying_is_offered_from_seven_weeks_to_seven_days_before_picking_and_lifting_in_the_last_ten() {
    let farm = farm(vec![pick("Creek", "2026-05-22")]);
    let made = case(&farm, &[]);
    let creek = lot(&made, "Creek 1");
    let pick = creek.pick_slot;
    assert_eq!(pick, 142);
    assert!(
        creek
            .lay_machine
            .iter()
            .all(|lay| (pick - 98..=pick - 14).contains(&lay.0))
    );
    assert!(creek.lay_machine.iter().any(|lay| lay.0 <= pick - 96));
    let rolls: Vec<usize> = creek
        .lift
        .iter()
        .filter(|lift| lift.1 == Kind::Roll)
        .map(|lift| lift.0)
        .collect();
    assert!(rolls.iter().all(|slot| (pick - 20..pick).contains(slot)));
    assert!(!rolls.is_empty());
    let folds: Vec<usize> = creek
        .lift
        .iter()
        .filter(|lift| lift.1 == Kind::Fold)
        .map(|lift| lift.0)
        .collect();
    assert_eq!(folds, [pick - 1, pick]);
    // Sundays hold no work.
    let sunday = slot_of(
        day("2026-03-10"),
        HalfDay {
            day: day("2026-05-17"),
            half: Half::Morning,
        },
    );
    assert!(!rolls.contains(&sunday.unwrap()));
}

/// Backward from picking as planning of the season states it: a failed call-out is charged by a quarter, then comes
/// the next slot or the folding; a dry one carries the damp lifts. Checked by hand for the last afternoon.
#[test]
fn the_risk_of_the_last_afternoon_is_that_of_folding() {
    let farm = farm(vec![pick("Creek", "2026-05-22")]);
    let made = case(&farm, &[]);
    let creek = lot(&made, "Creek 1");
    let cost = |slot: usize, kind: Kind| {
        creek
            .lift
            .iter()
            .find(|lift| lift.0 == slot && lift.1 == kind)
            .unwrap()
            .2
    };
    let last = creek.pick_slot - 1;
    let held: i64 = made.case.sites[0].hold_cents_per_km[..last].iter().sum();
    // Fold: 0.12 a metre, and three times 2112 s of wages at 18 an hour. Call-out: 4 people x 18 / 8.
    let fold = 9_600 + 3 * 2112 / 2;
    let labour = (2 * 3600 + 288 * 8) / 2 + 3600 * 15 / 36;
    let risk = (4 * (900 / 4 + fold) + 6 * 400) / 10;
    let expected = labour + risk + held * 800 / 1000;
    assert!(
        (cost(last, Kind::Roll) - expected).abs() <= 1,
        "{} {expected}",
        cost(last, Kind::Roll)
    );
    assert_eq!(cost(last, Kind::Fold), fold + held * 800 / 1000);
}

#[test]
fn the_plan_lays_and_lifts_in_order_and_moves_the_rolls_on_to_the_later_block() {
    let farm = farm(vec![pick("Creek", "2026-04-14"), pick("Mill", "2026-05-24")]);
    let plan = season(&farm, &[]);
    assert!(plan.bound_cents >= plan.value_cents && plan.value_cents > 0);
    let [creek, mill] = &plan.lots[..] else {
        panic!("{:?}", plan.lots)
    };
    let days = |planned: &covercast::plan::of_farm::PlannedLot| {
        (ahead(planned.lay.unwrap().day), ahead(planned.lift.unwrap().day))
    };
    let ((lay_1, lift_1), (lay_2, lift_2)) = (days(creek), days(mill));
    assert!(lay_1 < lift_1 && lift_1 <= 33 && lift_1 < lay_2 && lay_2 < lift_2 && lift_2 <= 73);
    // The one set of 800 m serves both.
    assert!(creek.rolls_from.is_empty());
    assert_eq!(mill.rolls_from, [BlockId("Creek".to_owned())]);
    assert_eq!(creek.days_at_lift, Some(lift_1 - lay_1));
    assert!(creek.light_at_lift.unwrap().0 > 10.0);
    assert!(plan.coarse);
}

#[test]
fn covers_out_are_counted_from_their_laying_and_lifted_not_laid() {
    let farm = farm(vec![pick("Creek", "2026-04-02")]);
    let plan = season(&farm, &[laid("Creek", "2026-02-20T08:00:00Z")]);
    let creek = &plan.lots[0];
    assert!(matches!(creek.lot.standing, Standing::Out { .. }));
    assert_eq!(creek.lay, None);
    let lift = creek.lift.unwrap();
    assert!(!creek.fold && ahead(lift.day) >= 11 && ahead(lift.day) < 21, "{lift:?}");
    assert_eq!(creek.days_at_lift, Some(18 + ahead(lift.day)));
    let out = lot(&plan.case, "Creek 1").already_out.unwrap();
    assert_eq!(out.slots_before, 36);
    assert!(out.light_before_md > 8_000 && out.light_before_md < 24_000, "{out:?}");
}

#[test]
fn a_block_partly_out_is_planned_in_two_lots() {
    let mut entry = laid("Creek", "2026-02-20T08:00:00Z");
    entry.rows = Rows { first: 3, last: 5 };
    let made = case(&farm(vec![pick("Creek", "2026-04-20")]), &[entry]);
    let rows: Vec<(u32, u32)> = made.lots.iter().map(|lot| (lot.rows.first, lot.rows.last)).collect();
    assert_eq!(rows, [(1, 2), (3, 5), (6, 8)]);
    assert_eq!(lot(&made, "Creek 3").metres, 300);
    assert!(lot(&made, "Creek 3").already_out.is_some() && lot(&made, "Creek 6").already_out.is_none());
}

#[test]
fn a_large_block_is_cut_into_lots_of_about_a_kilometre_that_fit_a_half_day() {
    let mut farm = farm(vec![pick("Creek", "2026-05-20")]);
    farm.blocks[0].rows = vec![Metres(152.0); 21];
    farm.sets[0].length = Metres(4000.0);
    let made = case(&farm, &[]);
    let metres: Vec<i64> = made.case.lots.iter().map(|lot| lot.metres).collect();
    assert_eq!(metres, [1050, 1050, 1050]);
    // Three people by hand hold far less in a half-day.
    farm.machines.clear();
    farm.crew.people = 3;
    let by_hand = case(&farm, &[]);
    assert!(by_hand.case.lots.len() > 5);
    assert!(
        by_hand
            .case
            .lots
            .iter()
            .all(|lot| lot.lay_machine.is_empty() && !lot.lay_hand.is_empty())
    );
    assert_eq!(by_hand.case.lots.iter().map(|lot| lot.metres).sum::<i64>(), 3150);
}

#[test]
fn what_cannot_be_planned_says_why() {
    let why = |farm: &Farm| -> Vec<WhyNot> { case(farm, &[]).left_out.iter().map(|left| left.why).collect() };
    let mut orchard = farm(vec![pick("Creek", "2026-03-16")]);
    orchard.blocks.push(block("Hill"));
    orchard.picks.push(pick("Hill", "2026-04-30"));
    assert_eq!(why(&orchard), [WhyNot::TooLate, WhyNot::NoPick, WhyNot::NoSet]);
    let mut short = farm(vec![pick("Creek", "2026-04-30")]);
    short.blocks.truncate(1);
    short.sets[0].length = Metres(700.0);
    assert_eq!(why(&short), [WhyNot::TooFewMetres]);
    short.sets[0].length = Metres(800.0);
    short.crew.workdays.clear();
    assert_eq!(why(&short), [WhyNot::NoCrew]);
    let mut shut = farm(vec![pick("Creek", "2026-04-30")]);
    shut.blocks.truncate(1);
    shut.blackouts.push(Blackout {
        from: "2026-03-01T00:00:00Z".parse().unwrap(),
        to: "2026-05-01T00:00:00Z".parse().unwrap(),
        blocks: Vec::new(),
        jobs: vec![Job::Lay],
        text: "spraying".to_owned(),
    });
    assert_eq!(why(&shut), [WhyNot::Blackouts]);
    let far = farm(vec![pick("Creek", "2026-09-30"), pick("Mill", "2026-09-30")]);
    assert_eq!(why(&far), [WhyNot::FarAway, WhyNot::FarAway]);
}

/// Half-days of the first `days` days; of the runs, `good` of ten hold work.
pub(crate) fn slots(days: u64, good: usize, beaten: usize) -> Vec<Slot> {
    let runs: Vec<bool> = (0..10).map(|run| run < good).collect();
    (0..days)
        .flat_map(|more| [(more, Half::Morning), (more, Half::Afternoon)])
        .map(|(more, half)| Slot {
            day: day("2026-03-10") + Days::new(more),
            half,
            start: now(),
            end: now(),
            usable: vec![(Job::Lift, Some(runs.clone())), (Job::Lay, Some(runs.clone()))],
            light: Some(Megajoules(3.0)),
            beaten: Some(Chance { good: beaten, of: 10 }),
        })
        .collect()
}

fn forecast(name: &str, slots: Vec<Slot>) -> BlockOutlook {
    BlockOutlook {
        slots,
        ..outlook(name, Vec::new())
    }
}

#[test]
fn a_forecast_decides_the_first_days_and_fades_into_what_is_usual() {
    let farm = farm(vec![pick("Creek", "2026-04-02")]);
    let outlooks = [forecast("Creek", slots(10, 10, 2))];
    let made = with(
        &farm,
        &[laid("Creek", "2026-02-20T08:00:00Z")],
        &outlooks,
        &before(),
        case_of,
    );
    let site = &made.case.sites[0];
    assert_eq!(made.case.forecast_slots, 20);
    assert_eq!(site.p_lift[0], 1000);
    // Eight days ahead the runs count e^-1 = 0.3679, the usual 0.33 of a morning the rest: 0.33 + 0.67 * 0.3679.
    assert_eq!(site.p_lift[16], 576);
    assert_eq!(site.p_lift[20], 330);
    assert_eq!(site.members_lift.len(), 10);
    assert_eq!(site.members_lift[0], "1".repeat(20));
    // Two of ten runs beat the ties: 0.05 a metre over a kilometre is 5000 cents.
    assert_eq!(site.hold_cents_per_km[0], 1000);
    assert_eq!(site.hold_cents_per_km[40], 15);
}

#[test]
fn without_a_forecast_nothing_is_planned_within_two_days() {
    let farm = farm(vec![pick("Creek", "2026-03-20")]);
    let plan = season(&farm, &[laid("Creek", "2026-02-10T08:00:00Z")]);
    assert_eq!(plan.case.case.sites[0].p_lift[..5], [0, 0, 0, 0, 330]);
    assert!(ahead(plan.lots[0].lift.unwrap().day) >= 2);
}

#[test]
fn yesterdays_plan_is_kept_unless_moving_pays() {
    let farm = farm(vec![pick("Creek", "2026-03-20")]);
    let entries = [laid("Creek", "2026-02-10T08:00:00Z")];
    let outlooks = [forecast("Creek", slots(10, 9, 0))];
    let free = with(&farm, &entries, &outlooks, &before(), |inputs| {
        plan_season(inputs).unwrap()
    });
    let chosen = free.lots[0].lift.unwrap();
    let earlier = HalfDay {
        day: chosen.day - Days::new(2),
        half: chosen.half,
    };
    let told = BTreeMap::from([(
        "Creek 1".to_owned(),
        Before {
            lay: None,
            lift: Some(earlier),
        },
    )]);
    let kept = with(&farm, &entries, &outlooks, &told, |inputs| plan_season(inputs).unwrap());
    assert_eq!(kept.lots[0].lift, Some(earlier));
    assert_eq!(kept.as_before()["Creek 1"].lift, Some(earlier));
}

#[test]
fn the_same_morning_gives_the_same_plan() {
    let farm = farm(vec![pick("Creek", "2026-04-14"), pick("Mill", "2026-05-24")]);
    assert_eq!(season(&farm, &[]), season(&farm, &[]));
}

/// Seven weeks and seven days before picking for laying, ten days for lifting: slots are half-days.
#[test]
fn the_first_and_last_half_days_offered_are_seven_weeks_seven_days_and_ten_days_before_picking() {
    let made = case(&farm(vec![pick("Creek", "2026-05-23")]), &[]);
    let creek = lot(&made, "Creek 1");
    // 23 May less two days either way is 72 days ahead; no rest day stands at any of the ends.
    assert_eq!(creek.pick_slot, 144);
    let lays: Vec<usize> = creek.lay_machine.iter().map(|lay| lay.0).collect();
    assert_eq!((lays.first(), lays.last()), (Some(&46), Some(&130)));
    let rolls: Vec<usize> = of_kind(creek, Kind::Roll);
    assert_eq!((rolls.first(), rolls.last()), (Some(&124), Some(&143)));
}

fn of_kind(lot: &Lot, kind: Kind) -> Vec<usize> {
    let lifts = lot.lift.iter().filter(|lift| lift.1 == kind);
    lifts.map(|lift| lift.0).collect()
}

/// Seven days give some colour, fewer none.
#[test]
fn a_block_picked_in_seven_days_may_still_be_laid_today_and_one_picked_in_six_may_not() {
    let lays = |first: &str| {
        let farm = farm(vec![pick("Creek", first)]);
        let outlooks = [forecast("Creek", slots(10, 10, 0))];
        let made = with(&farm, &[], &outlooks, &before(), case_of);
        let lot = made.case.lots.iter().find(|lot| lot.block == "Creek");
        let lays: Option<Vec<usize>> = lot.map(|lot| lot.lay_machine.iter().map(|lay| lay.0).collect());
        lays.ok_or_else(|| made.left_out.iter().find(|left| left.block.0 == "Creek").unwrap().why)
    };
    assert_eq!(lays("2026-03-19"), Ok(vec![0]));
    assert_eq!(lays("2026-03-18"), Err(WhyNot::TooLate));
}

/// Nothing is planned on a chance below one in five.
#[test]
fn half_days_with_a_chance_of_less_than_a_fifth_are_not_offered() {
    let mut farm = farm(vec![pick("Creek", "2026-05-23")]);
    // Small enough to fit a half-day at any chance.
    farm.blocks.truncate(1);
    farm.blocks[0].rows = vec![Metres(102.0); 2];
    let offered = |chance: f64| {
        let half = UsualHalf {
            lay: chance,
            lift: chance,
            beaten: 0.0,
        };
        let made = case_of(&Inputs {
            farm: &farm,
            ground: &Ground::at(&[laid_rows((1, 1))], now()),
            outlooks: &[],
            usual: &Usual::of_weeks(vec![[half; 2]]).unwrap(),
            before: &before(),
            now: now(),
        });
        let laid = made.case.lots.iter().filter(|lot| !lot.lay_machine.is_empty()).count();
        let rolls = of_kind(lot(&made, "Creek 1"), Kind::Roll).len();
        (laid > 0, rolls > 0)
    };
    assert_eq!(offered(0.200), (true, true));
    assert_eq!(offered(0.199), (false, false));
}

fn laid_rows(rows: (u32, u32)) -> Entry {
    let mut entry = laid("Creek", "2026-02-20T08:00:00Z");
    (entry.rows.first, entry.rows.last) = rows;
    entry
}

#[test]
fn where_nobody_works_up_to_picking_the_next_two_working_half_days_are_for_folding() {
    let mut farm = farm(vec![pick("Creek", "2026-03-12")]);
    farm.crew.workdays.retain(|day| *day != chrono::Weekday::Tue);
    let made = case(&farm, &[laid("Creek", "2026-02-10T08:00:00Z")]);
    // Picking may begin today, a Tuesday.
    assert_eq!(lot(&made, "Creek 1").pick_slot, 0);
    assert_eq!(of_kind(lot(&made, "Creek 1"), Kind::Fold), [2, 3]);
}

/// One person has five hours: 65 % of them are 11 700 s. Laying and tying takes 10 980 s for 700 m and 12 548 s for
/// 800 m: two people for every machine hour at 700 m/h, and 36 ties of 15 s a row.
#[test]
fn a_lot_that_fits_a_half_day_only_at_a_better_chance_is_cut() {
    let lots = |rows: usize| {
        let mut farm = farm(vec![pick("Creek", "2026-05-20")]);
        farm.crew.people = 1;
        farm.blocks.truncate(1);
        farm.blocks[0].rows = vec![Metres(102.0); rows];
        let made = case(&farm, &[]);
        made.case.lots.len() + made.left_out.len()
    };
    assert_eq!((lots(7), lots(8)), (1, 2));
}

/// Wait or act, backward from picking, computed apart in Python from the rule: `J` is what is lost if all is missed, 6516
/// cents (folding 12 768, less the lift's 6 252); a failed call-out costs 900; nothing is given up, because colour and
/// ties are worth nothing here. The four days ahead count as forecast, later half-days by the four common bins.
#[test]
fn going_today_is_weighed_against_the_half_days_that_are_left() {
    let mut farm = farm(vec![pick("Creek", "2026-03-20")]);
    (farm.costs.colour_value_per_m, farm.costs.retie_per_m) = (0.0, 0.0);
    let advice = |good: usize| {
        let mut half_days = slots(10, 3, 0);
        for (slot, good) in [(0, good), (1, 0)] {
            let runs: Vec<bool> = (0..10).map(|run| run < good).collect();
            half_days[slot].usable = vec![(Job::Lift, Some(runs))];
        }
        let entries = [laid("Creek", "2026-02-10T08:00:00Z")];
        let outlooks = [forecast("Creek", half_days)];
        let plan = with(&farm, &entries, &outlooks, &before(), |inputs| {
            plan_season(inputs).unwrap()
        });
        plan.lots[0].advice.unwrap()
    };
    for (good, go, close, loss) in [
        (5, false, false, 508.70),
        (6, false, true, 508.70),
        (7, true, false, 422.61),
        (9, true, false, 140.87),
    ] {
        let advice = advice(good);
        assert_eq!((advice.go, advice.close_call), (go, close), "{advice:?}");
        assert!((advice.threshold.unwrap() - 0.6389).abs() < 1e-4, "{advice:?}");
        assert!((advice.loss_waiting_cents - 508.70).abs() < 0.1, "{advice:?}");
        assert!((advice.loss_now_cents - loss).abs() < 0.1, "{advice:?}");
        assert_eq!(
            advice.when,
            HalfDay {
                day: day("2026-03-10"),
                half: Half::Morning
            }
        );
        assert_eq!(advice.chances_left, 12);
    }
}
