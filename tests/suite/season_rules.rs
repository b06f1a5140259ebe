//! The rules by which a season's plan is weighed, one small case for each: where an interval begins and ends, what is
//! booked with a margin, and in which order cents are cut. Plans of large cases do not tell them apart.

use covercast::plan::season::case::{Case, Kind, LaySlot, LiftSlot, Lot, Mode, Out, Pool, SCHEMA, Seconds, Site, Work};
use covercast::plan::season::{Checked, Entry, Schedule, Scored, score, solve};

const SLOTS: usize = 14;

/// One site, one crew with plenty of everything, a straight curve: 1000 milli-days bring a hundredth of the colour.
fn case(lots: Vec<Lot>) -> Case {
    Case {
        schema: SCHEMA.to_owned(),
        name: "by hand".to_owned(),
        scale: String::new(),
        seed: 0,
        slots: SLOTS,
        slot_seconds: 18000,
        slots_per_day: 2,
        forecast_slots: 0,
        lag_roll: 2,
        lag_fold: 5,
        curve: vec![(0, 0), (100_000, 1000)],
        blocks: 0,
        rows: 0,
        sites: vec![Site {
            id: "site".to_owned(),
            p_lay: vec![1000; SLOTS],
            p_lift: vec![1000; SLOTS],
            light_md: vec![1000; SLOTS],
            hold_cents_per_km: vec![0; SLOTS],
            members_lay: Vec::new(),
            members_lift: Vec::new(),
        }],
        pools: vec![Pool {
            id: "crew".to_owned(),
            name: String::new(),
            site: String::new(),
            people: 2,
            machines: 1,
            people_cap_s: vec![1000; SLOTS],
            machine_cap_s: vec![1000; SLOTS],
            stock_m: [("w".to_owned(), 100)].into(),
        }],
        lots,
    }
}

/// A lot of 100 m that takes no time and costs nothing, in any slot.
fn lot(id: &str) -> Lot {
    let none = Seconds {
        people_s: 0,
        machine_s: 0,
    };
    let any = |kind| (0..SLOTS).map(move |slot| LiftSlot(slot, kind, 0));
    Lot {
        id: id.to_owned(),
        block: String::new(),
        variety: String::new(),
        pool: 0,
        site: 0,
        family: "w".to_owned(),
        metres: 100,
        pieces: 1,
        ties: 0,
        hilly: false,
        value_cents: 10_000,
        pick_slot: SLOTS,
        min_exposure_slots: 1,
        check_s: 0,
        work: Work {
            lay_machine: none,
            lay_hand: none,
            lift_machine: none,
            fold: none,
        },
        lay_machine: (0..SLOTS).map(|slot| LaySlot(slot, 0)).collect(),
        lay_hand: (0..SLOTS).map(|slot| LaySlot(slot, 0)).collect(),
        lift: any(Kind::Roll).chain(any(Kind::Fold)).collect(),
        already_out: None,
        drop_cents: 0,
        stranded_cents: 0,
        previous: None,
    }
}

fn lies_out(id: &str, slots_before: usize, light_before_md: i64) -> Lot {
    let out = Some(Out {
        slots_before,
        light_before_md,
    });
    Lot {
        already_out: out,
        lay_machine: Vec::new(),
        lay_hand: Vec::new(),
        stranded_cents: 777,
        ..lot(id)
    }
}

fn laid(lay: usize, lift: usize, kind: Kind) -> Option<Entry> {
    Some(Entry {
        lay: Some(lay),
        mode: Some(Mode::LayMachine),
        lift,
        kind,
    })
}

fn lifted(lift: usize, kind: Kind) -> Option<Entry> {
    Some(Entry {
        lay: None,
        mode: None,
        lift,
        kind,
    })
}

fn checked(case: Case) -> Checked {
    case.checked().unwrap_or_else(|faults| panic!("{faults:?}"))
}

fn weighed(case: &Case, plan: &[(&str, Option<Entry>)]) -> Scored {
    let plan = plan.iter().map(|(id, entry)| ((*id).to_owned(), *entry));
    score(&checked(case.clone()), &Schedule(plan.collect()))
}

fn violations(case: &Case, plan: &[(&str, Option<Entry>)]) -> Vec<String> {
    weighed(case, plan).violations.iter().map(ToString::to_string).collect()
}

#[test]
fn light_counts_from_the_slot_after_laying_to_the_slot_before_lifting() {
    let mut case = case(vec![lot("a")]);
    case.sites[0].light_md = (0..14).map(|slot| 1000 + 100 * slot).collect();
    // Slots 3, 4 and 5: 1300 + 1400 + 1500 milli-days, of 100000 for 100.00.
    assert_eq!(weighed(&case, &[("a", laid(2, 6, Kind::Roll))]).objective_cents, 420);
}

#[test]
fn cents_are_cut_once_after_value_and_share_were_multiplied() {
    let mut case = case(vec![lot("a")]);
    case.curve = vec![(0, 0), (3000, 1000)];
    case.lots[0].value_cents = 1000;
    // Two thirds of 10.00 is 6.66; with the share cut first it would be 6.66 too, but not for 1000000.00.
    case.lots[0].value_cents = 100_000_000;
    assert_eq!(
        weighed(&case, &[("a", laid(2, 5, Kind::Roll))]).objective_cents,
        66_666_666
    );
    // The costs are taken off what was cut: 66666666.67 - 0.34 must not become 66666666.
    case.lots[0].lift[5] = LiftSlot(5, Kind::Roll, 34);
    assert_eq!(
        weighed(&case, &[("a", laid(2, 5, Kind::Roll))]).objective_cents,
        66_666_632
    );
}

#[test]
fn a_rolled_cover_can_be_laid_again_after_the_lag_and_not_a_slot_sooner() {
    let case = case(vec![lot("a"), lot("b")]);
    let plan = |again| [("a", laid(0, 4, Kind::Roll)), ("b", laid(again, 12, Kind::Roll))];
    assert_eq!(violations(&case, &plan(6)), [""; 0]);
    assert_eq!(
        violations(&case, &plan(5)),
        ["cover w of pool crew, slot 5 (day 2 pm): 200 m > 100 m available (lots a, b)"]
    );
}

#[test]
fn a_folded_cover_has_its_own_longer_lag() {
    let case = case(vec![lot("a"), lot("b")]);
    let plan = |again| [("a", laid(0, 4, Kind::Fold)), ("b", laid(again, 12, Kind::Roll))];
    assert_eq!(violations(&case, &plan(9)), [""; 0]);
    assert_eq!(
        violations(&case, &plan(8)),
        ["cover w of pool crew, slot 8 (day 4 am): 200 m > 100 m available (lots a, b)"]
    );
}

#[test]
fn a_cover_is_away_from_the_slot_of_laying_on() {
    let case = case(vec![lies_out("a", 20, 0), lot("b")]);
    assert_eq!(
        violations(&case, &[("a", lifted(1, Kind::Roll)), ("b", laid(3, 12, Kind::Roll))]),
        [""; 0]
    );
    let said = violations(&case, &[("a", lifted(2, Kind::Roll)), ("b", laid(3, 12, Kind::Roll))]);
    assert_eq!(
        said,
        ["cover w of pool crew, slot 3 (day 1 pm): 200 m > 100 m available (lots a, b)"]
    );
}

#[test]
fn ties_are_checked_strictly_between_laying_and_lifting() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].check_s = 1001;
    // Nothing lies strictly between slots 4 and 5.
    assert_eq!(violations(&case, &[("a", laid(4, 5, Kind::Roll))]), [""; 0]);
    let said = violations(&case, &[("a", laid(4, 6, Kind::Roll))]);
    assert_eq!(
        said,
        ["people of pool crew, slot 5 (day 2 pm): 1001 s > 1000 s available"]
    );
}

#[test]
fn ties_are_checked_only_where_people_work() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].check_s = 10;
    case.pools[0].people_cap_s[6] = 0;
    assert_eq!(violations(&case, &[("a", laid(4, 9, Kind::Roll))]), [""; 0]);
    case.pools[0].people_cap_s[7] = 9;
    let said = violations(&case, &[("a", laid(4, 9, Kind::Roll))]);
    assert_eq!(said, ["people of pool crew, slot 7 (day 3 pm): 10 s > 9 s available"]);
}

#[test]
fn checks_and_jobs_add_up_in_a_slot() {
    let mut case = case(vec![lot("a"), lot("b")]);
    case.pools[0].stock_m = [("w".to_owned(), 200)].into();
    case.lots[0].check_s = 400;
    case.lots[1].work.lay_machine.people_s = 601;
    let said = violations(&case, &[("a", laid(2, 9, Kind::Roll)), ("b", laid(5, 12, Kind::Roll))]);
    assert_eq!(
        said,
        ["people of pool crew, slot 5 (day 2 pm): 1001 s > 1000 s available (lots b)"]
    );
}

#[test]
fn what_lies_out_is_checked_and_away_from_the_first_slot_on() {
    let mut case = case(vec![lies_out("a", 20, 0)]);
    case.lots[0].check_s = 1001;
    let said = violations(&case, &[("a", lifted(1, Kind::Roll))]);
    assert_eq!(
        said,
        ["people of pool crew, slot 0 (day 0 am): 1001 s > 1000 s available"]
    );
    assert_eq!(violations(&case, &[("a", lifted(0, Kind::Roll))]), [""; 0]);
}

#[test]
fn the_work_of_an_unlikely_slot_is_booked_in_full_measure_and_rounded_up() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].work.lay_machine = Seconds {
        people_s: 300,
        machine_s: 100,
    };
    case.lots[0].work.lift_machine = Seconds {
        people_s: 300,
        machine_s: 100,
    };
    case.sites[0].p_lay[2] = 300;
    case.sites[0].p_lift[6] = 700;
    let plan = [("a", laid(2, 6, Kind::Roll))];
    // 1000 x 100 / 300 = 333.3 and 1000 x 100 / 700 = 142.9.
    case.pools[0].machine_cap_s[2] = 334;
    case.pools[0].machine_cap_s[6] = 143;
    assert_eq!(violations(&case, &plan), [""; 0]);
    case.pools[0].machine_cap_s[2] = 333;
    case.pools[0].machine_cap_s[6] = 142;
    assert_eq!(
        violations(&case, &plan),
        [
            "machine of pool crew, slot 2 (day 1 am): 334 s > 333 s available (lots a)",
            "machine of pool crew, slot 6 (day 3 am): 143 s > 142 s available (lots a)"
        ]
    );
}

#[test]
fn folding_aside_is_booked_as_it_is_in_any_weather() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].work.fold = Seconds {
        people_s: 1000,
        machine_s: 0,
    };
    case.sites[0].p_lift = vec![0; SLOTS];
    assert_eq!(violations(&case, &[("a", laid(2, 6, Kind::Fold))]), [""; 0]);
    let said = violations(&case, &[("a", laid(2, 6, Kind::Roll))]);
    assert_eq!(said, ["lot a: rolling up is not offered in slot 6 (day 3 am)"]);
}

#[test]
fn laying_by_hand_has_its_own_time_and_the_chance_of_laying() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].work.lay_machine = Seconds {
        people_s: 0,
        machine_s: 1001,
    };
    case.lots[0].work.lay_hand = Seconds {
        people_s: 500,
        machine_s: 0,
    };
    case.sites[0].p_lay[2] = 500;
    let by_hand = Some(Entry {
        lay: Some(2),
        mode: Some(Mode::LayHand),
        lift: 6,
        kind: Kind::Roll,
    });
    assert_eq!(violations(&case, &[("a", by_hand)]), [""; 0]);
    case.sites[0].p_lay[2] = 499;
    let said = violations(&case, &[("a", by_hand)]);
    assert_eq!(
        said,
        ["people of pool crew, slot 2 (day 1 am): 1003 s > 1000 s available (lots a)"]
    );
}

#[test]
fn exposure_is_counted_from_slot_to_slot_and_with_what_was_before() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].min_exposure_slots = 5;
    assert_eq!(violations(&case, &[("a", laid(2, 7, Kind::Roll))]), [""; 0]);
    let said = violations(&case, &[("a", laid(2, 6, Kind::Roll))]);
    assert_eq!(
        said,
        ["lot a: 4 slots between laying and lifting, but at least 5 are needed"]
    );

    let mut case = self::case(vec![lies_out("a", 3, 0)]);
    case.lots[0].min_exposure_slots = 5;
    assert_eq!(violations(&case, &[("a", lifted(2, Kind::Roll))]), [""; 0]);
    let said = violations(&case, &[("a", lifted(1, Kind::Roll))]);
    assert_eq!(
        said,
        ["lot a: 4 slots between laying and lifting, but at least 5 are needed"]
    );
}

#[test]
fn light_before_today_counts_for_what_lies_out() {
    let case = case(vec![lies_out("a", 20, 10_000)]);
    // 10 days before and slots 0 to 2.
    assert_eq!(weighed(&case, &[("a", lifted(3, Kind::Roll))]).objective_cents, 1300);
}

#[test]
fn leaving_a_lot_out_costs_what_yesterday_promised_and_takes_nothing() {
    let mut case = case(vec![lot("a"), lot("b")]);
    case.lots[0].drop_cents = 2000;
    case.lots[0].check_s = 5000;
    let scored = weighed(&case, &[("a", None), ("b", laid(2, 6, Kind::Roll))]);
    assert_eq!((scored.objective_cents, scored.violations.len()), (-2000 + 300, 0));
}

#[test]
fn a_cover_that_is_never_lifted_costs_and_stays_to_the_end() {
    let mut case = case(vec![lies_out("a", 20, 0), lot("b")]);
    case.lots[0].check_s = 400;
    case.lots[0].drop_cents = 5555;
    assert_eq!(weighed(&case, &[("a", None), ("b", None)]).objective_cents, -777);
    case.lots[1].work.lay_machine.people_s = 601;
    let said = violations(&case, &[("a", None), ("b", laid(12, 13, Kind::Roll))]);
    assert_eq!(
        said,
        [
            "people of pool crew, slot 12 (day 6 am): 1001 s > 1000 s available (lots b)",
            "cover w of pool crew, slot 12 (day 6 am): 200 m > 100 m available (lots a, b)",
            "cover w of pool crew, slot 13 (day 6 pm): 200 m > 100 m available (lots a, b)"
        ]
    );
}

#[test]
fn jobs_that_are_not_offered_are_named_and_earn_nothing() {
    let mut case = case(vec![lot("a"), lies_out("b", 20, 0)]);
    case.lots[0].lay_machine.retain(|lay| lay.0 != 2);
    case.pools[0].stock_m = [("w".to_owned(), 200)].into();
    let scored = weighed(
        &case,
        &[
            ("a", laid(2, 6, Kind::Roll)),
            ("b", laid(1, 6, Kind::Roll)),
            ("c", None),
        ],
    );
    let said: Vec<String> = scored.violations.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "lot a: laying by machine is not offered in slot 2 (day 1 am)",
            "lot b: it lies out already and cannot be laid",
            "lot c: the case has no such lot"
        ]
    );
    assert_eq!(
        violations(&case, &[("b", lifted(3, Kind::Roll))]),
        ["lot a: the plan says nothing of it; say null if it is left out"]
    );
    let nowhere = Some(Entry {
        lay: None,
        mode: None,
        lift: 6,
        kind: Kind::Roll,
    });
    assert_eq!(
        violations(&case, &[("a", nowhere), ("b", None)]),
        ["lot a: laying by machine has no slot, but it does not lie out yet"]
    );
}

#[test]
fn a_job_on_a_rest_day_is_overbooked() {
    let mut case = case(vec![lot("a")]);
    case.lots[0].work.lay_machine.people_s = 1;
    case.pools[0].people_cap_s[2] = 0;
    let said = violations(&case, &[("a", laid(2, 6, Kind::Roll))]);
    assert_eq!(
        said,
        ["people of pool crew, slot 2 (day 1 am): 1 s > 0 s available (lots a)"]
    );
}

#[test]
fn pools_share_nothing() {
    let mut case = case(vec![lot("a"), Lot { pool: 1, ..lot("b") }]);
    case.pools.push(Pool {
        id: "other".to_owned(),
        ..case.pools[0].clone()
    });
    let same_time = [("a", laid(2, 9, Kind::Roll)), ("b", laid(2, 9, Kind::Roll))];
    assert_eq!(violations(&case, &same_time), [""; 0]);
    case.lots[1].pool = 0;
    assert_eq!(violations(&case, &same_time).len(), 9, "slots 2 to 10");
}

/// The solver and the scorer know the same rules: on each of the small cases the plan found is sound.
#[test]
fn the_solver_keeps_the_rules_the_scorer_has() {
    let mut tight = case(vec![lies_out("a", 20, 5000), lot("b"), lot("c")]);
    for (lot, seconds) in tight.lots.iter_mut().zip([300, 500, 700]) {
        lot.check_s = 200;
        lot.min_exposure_slots = 3;
        lot.work.lay_machine = Seconds {
            people_s: seconds,
            machine_s: 400,
        };
        lot.work.lay_hand = Seconds {
            people_s: 2 * seconds,
            machine_s: 0,
        };
        lot.work.lift_machine = Seconds {
            people_s: seconds,
            machine_s: 300,
        };
        lot.work.fold = Seconds {
            people_s: 900,
            machine_s: 0,
        };
    }
    tight.sites[0].p_lift = (0..14).map(|slot| if slot % 2 == 0 { 300 } else { 700 }).collect();
    tight.pools[0].people_cap_s[8] = 0;
    for stock in [100, 200, 300] {
        tight.pools[0].stock_m = [("w".to_owned(), stock)].into();
        let solved = solve(&checked(tight.clone()), Some(500));
        assert_eq!(solved.violations, [], "{stock} m");
        assert!(solved.objective_cents > 0 && solved.objective_cents <= solved.bound_cents);
    }
}
