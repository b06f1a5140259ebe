//! Which job comes next, and which window it takes.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use covercast::alley::Alley;
use covercast::farm::block::{Block, BlockId, Rows};
use covercast::farm::cover::{CoverSet, SetId};
use covercast::farm::crew::{Crew, Machine};
use covercast::farm::harvest::{Blackout, Pick};
use covercast::farm::limits::Limits;
use covercast::farm::site::Site;
use covercast::farm::zone::Zone;
use covercast::farm::{Costs, Farm, FarmId, Job};
use covercast::plan::need::needs;
use covercast::plan::{Held, IfMissed, NextJob, Plan, assign};
use covercast::record::{Entry, Event, Ground};
use covercast::units::{Degrees, DisplayUnits, Hours, Metres, MetresPerSecond};
use covercast::workability::{BlockOutlook, Margin, Opening, Verdict, Window};

/// Tuesday 10 March 2026, 05:30 in Rome.
pub(crate) fn now() -> DateTime<Utc> {
    "2026-03-10T04:30:00Z".parse().unwrap()
}

pub(crate) fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub(crate) fn block(name: &str) -> Block {
    Block {
        id: BlockId(name.to_owned()),
        variety: "Early".to_owned(),
        rows: vec![Metres(102.0); 8],
        end_setback: Metres(1.0),
        alley: Alley {
            lat: 46.0,
            lon: 11.0,
            ..Alley::default()
        },
        tie_tested: false,
        exposed_edge: None,
        irrigation: Vec::new(),
        cover_advance_days: 0,
        check_every_days: 14,
    }
}

pub(crate) fn pick(name: &str, first: &str) -> Pick {
    let first = day(first);
    Pick {
        block: BlockId(name.to_owned()),
        variety: "Early".to_owned(),
        first,
        last: first + TimeDelta::days(7),
        either_way: Some(2),
    }
}

pub(crate) fn farm(picks: Vec<Pick>) -> Farm {
    let hour = |text: &str| text.parse().unwrap();
    Farm {
        id: FarmId("test".to_owned()),
        site: Site {
            name: "Test Orchard".to_owned(),
            latitude: Degrees(46.0),
            longitude: Degrees(11.0),
            elevation: Metres(250.0),
            zone: Zone::named("Europe/Rome").unwrap(),
            units: DisplayUnits::Metric,
        },
        people: Vec::new(),
        crew: Crew {
            people: 4,
            workdays: ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat"]
                .map(|day| day.parse().unwrap())
                .to_vec(),
            start: hour("07:00:00"),
            end: hour("18:00:00"),
            break_start: hour("12:00:00"),
            break_end: hour("13:00:00"),
        },
        machines: vec![Machine {
            name: "winder".to_owned(),
            lay_per_hour: Some(Metres(700.0)),
            lift_per_hour: Some(Metres(800.0)),
        }],
        sets: vec![CoverSet {
            id: SetId("A".to_owned()),
            width: Metres(2.2),
            length: Metres(800.0),
            roll_length: Metres(100.0),
            blocks: vec![BlockId("Creek".to_owned()), BlockId("Mill".to_owned())],
        }],
        limits: Limits::default(),
        costs: Costs::default(),
        blocks: vec![block("Creek"), block("Mill")],
        picks,
        blackouts: Vec::new(),
        hot_cutting: Vec::new(),
        climate: None,
    }
}

pub(crate) fn laid(name: &str, at: &str) -> Entry {
    let at = at.parse().unwrap();
    Entry {
        block: BlockId(name.to_owned()),
        rows: Rows { first: 1, last: 8 },
        event: Event::Laid,
        at,
        noted: at,
    }
}

fn opening(job: Job, start: &str, hours: i64, verdict: Verdict, works_in: &[bool]) -> Opening {
    let start: DateTime<Utc> = start.parse().unwrap();
    let end = start + TimeDelta::hours(hours);
    let best = Window {
        job,
        start,
        end: start + TimeDelta::hours(2),
        verdict,
        chance: None,
        works_in: works_in.to_vec(),
        planning_chance: 0.9,
        threshold: 0.5,
        score: 90.0,
        lead: Hours(10.0),
        firm: true,
        reasons: Vec::new(),
        remarks: Vec::new(),
        margin: Margin::default(),
    };
    Opening { start, end, best }
}

pub(crate) fn outlook(name: &str, openings: Vec<Opening>) -> BlockOutlook {
    BlockOutlook {
        block: BlockId(name.to_owned()),
        hours: Vec::new(),
        dry: Vec::new(),
        dry_offset: None,
        rolls: Vec::new(),
        windows: openings.iter().map(|opening| opening.best.clone()).collect(),
        openings,
        critical_gust: MetresPerSecond(17.0),
        worst_hour: None,
        light: Vec::new(),
        slots: Vec::new(),
    }
}

fn plan(farm: &Farm, entries: &[Entry], outlooks: &[BlockOutlook]) -> Plan {
    let ground = Ground::at(entries, now());
    assign::assign(farm, &ground, &needs(farm, &ground, now()), outlooks, None, now())
}

fn job(plan: &Plan, block: usize, job: Job) -> &NextJob {
    plan.blocks[block].jobs.iter().find(|next| next.job == job).unwrap()
}

#[test]
fn covers_that_lie_out_are_lifted_before_the_earliest_picking_day() {
    let farm = farm(vec![pick("Creek", "2026-03-16")]);
    let plan = plan(&farm, &[laid("Creek", "2026-02-10T08:00:00Z")], &[]);
    let lift = job(&plan, 0, Job::Lift);
    // 16 March, two days either way: the last day that is sure to be before picking is the 13th.
    assert_eq!(lift.last_day, Some(day("2026-03-13")));
    assert_eq!(lift.from, day("2026-03-06"));
    assert_eq!((lift.rows.first, lift.rows.last, lift.rolls), (1, 8, 8));
    assert!(
        matches!(lift.if_missed, IfMissed::FoldAside { day: fold, extra_cost } if fold == day("2026-03-16") && extra_cost > 0.0)
    );
}

#[test]
fn an_uncovered_block_gets_laying_only_and_at_least_three_weeks() {
    let farm = farm(vec![pick("Mill", "2026-04-18")]);
    let plan = plan(&farm, &[], &[]);
    assert_eq!(
        plan.blocks[1].jobs.iter().map(|next| next.job).collect::<Vec<_>>(),
        [Job::Lay]
    );
    assert_eq!(job(&plan, 1, Job::Lay).last_day, Some(day("2026-03-26")));
}

#[test]
fn without_free_rolls_a_block_is_told_who_has_them() {
    let farm = farm(vec![pick("Creek", "2026-03-16"), pick("Mill", "2026-04-18")]);
    let lay = opening(Job::Lay, "2026-03-10T07:00:00Z", 4, Verdict::Go, &[]);
    let plan = plan(
        &farm,
        &[laid("Creek", "2026-02-10T08:00:00Z")],
        &[outlook("Mill", vec![lay])],
    );
    assert_eq!(
        job(&plan, 1, Job::Lay).held,
        Some(Held::NoRolls {
            with: Some(BlockId("Creek".to_owned()))
        })
    );
    assert_eq!(job(&plan, 1, Job::Lay).chosen, None);
}

#[test]
fn todays_dry_afternoon_is_taken_when_no_two_better_days_are_in_sight() {
    let farm = farm(vec![pick("Creek", "2026-03-16")]);
    let today = opening(Job::Lift, "2026-03-10T12:00:00Z", 4, Verdict::Go, &[true, true, false]);
    let tomorrow = opening(Job::Lift, "2026-03-11T12:00:00Z", 4, Verdict::Go, &[true, false, false]);
    let out = [laid("Creek", "2026-02-10T08:00:00Z")];
    let taken = plan(&farm, &out, &[outlook("Creek", vec![today.clone(), tomorrow.clone()])]);
    assert_eq!(taken.tasks.first().map(|task| task.start), Some(today.start));
    assert_eq!(job(&taken, 0, Job::Lift).chances_left, 1);
    let chance = job(&taken, 0, Job::Lift).any_chance.unwrap();
    assert_eq!((chance.good, chance.of), (2, 3), "counted over members, not multiplied");
    let thursday = opening(Job::Lift, "2026-03-12T12:00:00Z", 4, Verdict::Go, &[true; 3]);
    let waits = plan(
        &farm,
        &out,
        &[outlook("Creek", vec![today, tomorrow.clone(), thursday])],
    );
    assert_eq!(waits.tasks.first().map(|task| task.start), Some(tomorrow.start));
}

#[test]
fn a_rest_day_is_a_chance_for_nobody() {
    let farm = farm(vec![pick("Creek", "2026-03-16")]);
    let sunday = opening(Job::Lift, "2026-03-15T12:00:00Z", 4, Verdict::Maybe, &[true]);
    let plan = plan(
        &farm,
        &[laid("Creek", "2026-02-10T08:00:00Z")],
        &[outlook("Creek", vec![sunday])],
    );
    assert_eq!(job(&plan, 0, Job::Lift).held, Some(Held::NoCrew));
    assert_eq!(job(&plan, 0, Job::Lift).chances_left, 0);
}

#[test]
fn a_blacked_out_block_has_no_window_and_says_until_when() {
    let mut farm = farm(vec![pick("Creek", "2026-03-16")]);
    let until: DateTime<Utc> = "2026-03-11T09:00:00Z".parse().unwrap();
    farm.blackouts.push(Blackout {
        from: "2026-03-09T09:00:00Z".parse().unwrap(),
        to: until,
        blocks: vec![BlockId("Creek".to_owned())],
        jobs: Vec::new(),
        text: "spray re-entry".to_owned(),
    });
    let today = opening(Job::Lift, "2026-03-10T12:00:00Z", 4, Verdict::Go, &[true]);
    let plan = plan(
        &farm,
        &[laid("Creek", "2026-02-10T08:00:00Z")],
        &[outlook("Creek", vec![today])],
    );
    assert!(job(&plan, 0, Job::Lift).openings.is_empty());
    assert_eq!(plan.blocks[0].no_entry, Some((until, "spray re-entry".to_owned())));
    assert!(matches!(&job(&plan, 0, Job::Lift).held, Some(Held::NoEntry { until: till, .. }) if *till == until));
    assert!(plan.tasks.is_empty());
}

/// The shut block is wanted first, but the letter must speak of the one that somebody could work in.
#[test]
fn a_shut_block_does_not_hide_that_another_one_is_due() {
    let mut farm = farm(vec![pick("Creek", "2026-03-12"), pick("Mill", "2026-03-14")]);
    farm.blackouts.push(Blackout {
        from: "2026-03-09T09:00:00Z".parse().unwrap(),
        to: "2026-03-11T09:00:00Z".parse().unwrap(),
        blocks: vec![BlockId("Creek".to_owned())],
        jobs: Vec::new(),
        text: "spray re-entry".to_owned(),
    });
    let out = [
        laid("Creek", "2026-02-10T08:00:00Z"),
        laid("Mill", "2026-02-10T08:00:00Z"),
    ];
    let plan = plan(&farm, &out, &[]);
    assert_eq!(plan.headline.map(|head| head.block), Some(1));
}

#[test]
fn two_jobs_never_ask_for_the_same_hands() {
    let mut farm = farm(vec![pick("Creek", "2026-03-16"), pick("Mill", "2026-03-18")]);
    farm.sets[0].length = Metres(2000.0);
    let out = [
        laid("Creek", "2026-02-10T08:00:00Z"),
        laid("Mill", "2026-02-11T08:00:00Z"),
    ];
    let afternoon = || vec![opening(Job::Lift, "2026-03-10T11:00:00Z", 6, Verdict::Go, &[true])];
    let plan = plan(
        &farm,
        &out,
        &[outlook("Creek", afternoon()), outlook("Mill", afternoon())],
    );
    let starts: BTreeSet<_> = plan.tasks.iter().map(|task| task.start).collect();
    assert_eq!(plan.tasks.len(), 2);
    assert_eq!(starts.len(), 2, "{:?}", plan.tasks);
    assert_eq!(plan.headline.map(|headline| headline.block), Some(0));
}

#[test]
fn nobody_walks_the_ties_of_a_cover_that_is_lifted_first() {
    let farm = farm(vec![pick("Creek", "2026-03-16")]);
    let out = [laid("Creek", "2026-02-10T08:00:00Z")];
    let lift = opening(Job::Lift, "2026-03-10T12:00:00Z", 4, Verdict::Go, &[true]);
    let walk = opening(Job::Check, "2026-03-10T07:00:00Z", 4, Verdict::Go, &[true]);
    let both = plan(&farm, &out, &[outlook("Creek", vec![lift, walk.clone()])]);
    assert_eq!(both.tasks.len(), 1);
    assert!(both.blocks[0].jobs.iter().all(|next| next.job != Job::Check));
    let task = &both.tasks[0];
    assert_eq!(both.job(task.block, task.job).map(|next| next.job), Some(Job::Lift));
    let alone = plan(&farm, &out, &[outlook("Creek", vec![walk])]);
    assert_eq!(alone.tasks.len(), 1, "the walk is due when nothing is lifted");
}

#[test]
fn a_block_of_which_only_some_rows_are_folded_aside_still_has_the_others_to_fold() {
    let farm = farm(vec![pick("Creek", "2026-03-16")]);
    let folded = |last: u32| {
        let mut entry = laid("Creek", "2026-02-10T08:00:00Z");
        let mut entries = vec![entry.clone()];
        entry.event = Event::Folded;
        entry.rows.last = last;
        entry.at += TimeDelta::days(20);
        entries.push(entry);
        let ground = Ground::at(&entries, now());
        let out = covercast::plan::need::out_view(&ground, &BlockId("Creek".to_owned()), now()).unwrap();
        assert_eq!((out.rows.first, out.rows.last), (1, 8));
        let folds = needs(&farm, &ground, now()).iter().any(|need| need.job == Job::Fold);
        (out.folded, folds)
    };
    assert_eq!(folded(4), (false, true));
    assert_eq!(folded(7), (false, true));
    assert_eq!(folded(8), (true, false));
}
