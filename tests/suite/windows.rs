//! From weather to windows: what a grower may be told, and what not.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use covercast::alley::Alley;
use covercast::farm::block::{Block, BlockId, Irrigation, Rows};
use covercast::farm::crew::Crew;
use covercast::farm::limits::Limits;
use covercast::farm::site::Site;
use covercast::farm::zone::Zone;
use covercast::farm::{Costs, Farm, FarmId, Job};
use covercast::record::{Entry, Event, Face, Ground};
use covercast::units::{Degrees, DisplayUnits, Hours, Metres, Millimetres};
use covercast::weather::forecast::{IssueBasis, Kind};
use covercast::weather::{Freshness, Issue, Product, Quantity, Run, Series, Stamps, Timeline};
use covercast::workability::beside::wet_days;
use covercast::workability::outlook::outlooks_learning;
use covercast::workability::roll::clocks;
use covercast::workability::{BlockOutlook, Factor, JobRequest, Missing, Remark, Verdict, Window, outlook, outlooks};

pub(crate) const PAST: usize = 120;
const AHEAD: usize = 5 * 24;
const COUNT: usize = PAST + AHEAD;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// Half past five in the morning, summer time in Rome.
fn now() -> DateTime<Utc> {
    at("2026-09-10T03:30:00Z")
}

fn stamps() -> Stamps {
    Stamps {
        first: at("2026-09-05T04:00:00Z"),
        count: COUNT,
    }
}

fn block(name: &str) -> Block {
    Block {
        id: BlockId(name.to_owned()),
        variety: "Early red".to_owned(),
        rows: vec![Metres(120.0); 10],
        end_setback: Metres(1.0),
        alley: Alley {
            lat: 46.5,
            lon: 11.3,
            alt_m: 250.0,
            ..Alley::default()
        },
        tie_tested: false,
        exposed_edge: None,
        irrigation: Vec::new(),
        cover_advance_days: 0,
        check_every_days: 10,
    }
}

fn farm() -> Farm {
    let time = |text: &str| text.parse().unwrap();
    Farm {
        id: FarmId("windows".to_owned()),
        site: Site {
            name: "A slope".to_owned(),
            latitude: Degrees(46.5),
            longitude: Degrees(11.3),
            elevation: Metres(250.0),
            zone: Zone::named("Europe/Rome").unwrap(),
            units: DisplayUnits::Metric,
        },
        people: Vec::new(),
        crew: Crew {
            people: 4,
            workdays: Vec::new(),
            start: time("07:00:00"),
            end: time("18:00:00"),
            break_start: time("12:00:00"),
            break_end: time("13:00:00"),
        },
        machines: Vec::new(),
        sets: Vec::new(),
        limits: Limits::default(),
        costs: Costs::default(),
        blocks: vec![block("Creek"), block("Hill")],
        picks: Vec::new(),
        blackouts: Vec::new(),
        hot_cutting: Vec::new(),
        climate: None,
    }
}

/// A calm dewy spell: wet at dawn, dry by noon. `shift` tells members apart.
fn fine_run(shift: f64) -> Run {
    let mut run = Run::unknown(COUNT);
    for k in 0..COUNT {
        let hour = stamps().at(k).hour() as f64 + 1.0;
        let turn = (hour - 14.0) / 24.0 * std::f64::consts::TAU;
        for (quantity, value) in [
            (Quantity::Temperature, 18.0 + shift + 7.0 * turn.cos()),
            (Quantity::DewPoint, 12.5 + 0.3 * shift),
            (Quantity::Wind, 1.8 + 0.1 * shift + 0.8 * turn.cos()),
            (Quantity::Gust, 3.0 + 0.3 * shift + 1.2 * turn.cos()),
            (Quantity::WindDirection, 200.0),
            (Quantity::Rain, 0.0),
            (Quantity::Shortwave, (700.0 * turn.cos() - 60.0).max(0.0)),
            (Quantity::Cloud, 0.1),
            (Quantity::Thunder, 0.0),
            (Quantity::Fog, 0.0),
            (Quantity::Snow, 0.0),
        ] {
            run.of_mut(quantity).put(k, Some(value));
        }
    }
    run
}

fn timeline(kind: Kind, runs: Vec<Run>) -> Timeline {
    Timeline {
        stamps: stamps(),
        now_row: PAST,
        runs,
        main: None,
        kind,
        estimated: BTreeSet::new(),
        untold: BTreeSet::new(),
        coarse_from: None,
        warned: Vec::new(),
        past_hours: PAST,
        past: covercast::weather::past::Past::default(),
        issue: Issue {
            at: at("2026-09-10T00:00:00Z"),
            basis: IssueBasis::Said,
        },
        product: Product::SixHourlyModel,
        freshness: Freshness::Fresh,
        credits: Vec::new(),
        remarks: Vec::new(),
        by: String::new(),
        differ: Vec::new(),
    }
}

pub(crate) fn members() -> Timeline {
    timeline(
        Kind::Members,
        (0..10).map(|member| fine_run(f64::from(member) * 0.2 - 1.0)).collect(),
    )
}

pub(crate) fn single() -> Timeline {
    timeline(Kind::Single, vec![fine_run(0.0)])
}

/// Puts a value into every run from `from` to `to` hours after five in the morning of the first day.
pub(crate) fn put(timeline: &mut Timeline, quantity: Quantity, hours: std::ops::Range<usize>, value: Option<f64>) {
    for run in &mut timeline.runs {
        for hour in hours.clone() {
            run.of_mut(quantity).put(PAST + hour, value);
        }
    }
}

pub(crate) fn request(job: Job, hours: f64) -> JobRequest {
    JobRequest {
        job,
        length: Hours(hours),
        threshold: 0.5,
    }
}

pub(crate) fn look_with(timeline: &Timeline, ground: &Ground, jobs: &[JobRequest]) -> BlockOutlook {
    let farm = farm();
    outlook(&farm.blocks[0], &farm, ground, timeline, jobs, now())
}

fn look(timeline: &Timeline, job: Job) -> BlockOutlook {
    look_with(timeline, &Ground::default(), &[request(job, 3.0)])
}

/// The window that starts at this local hour on this day (0 is today).
fn window(look: &BlockOutlook, day: i64, local_hour: i64) -> &Window {
    let start = at("2026-09-10T00:00:00Z") + TimeDelta::hours(24 * day + local_hour - 2);
    look.windows
        .iter()
        .find(|window| window.start == start)
        .unwrap_or_else(|| panic!("no window at {start}"))
}

#[test]
fn a_calm_dry_afternoon_is_a_go_for_lifting_and_the_dewy_morning_is_not() {
    for timeline in [members(), single()] {
        let look = look(&timeline, Job::Lift);
        assert_eq!(window(&look, 0, 14).verdict, Verdict::Go, "{:?}", window(&look, 0, 14));
        let morning = window(&look, 0, 7);
        assert!(morning.verdict < Verdict::Go, "{morning:?}");
        assert!(
            morning
                .reasons
                .iter()
                .any(|reason| matches!(reason.factor, Factor::Film | Factor::Under))
        );
        let best = &look.openings[0];
        assert_eq!(best.best.verdict, Verdict::Go);
        assert!(best.start <= best.best.start && best.best.end <= best.end);
        let dry = look.dry[0].both.unwrap();
        assert!(dry > now() && dry < at("2026-09-10T13:00:00Z"), "{dry}");
    }
}

#[test]
fn every_window_lies_in_crew_hours_and_daylight_of_one_day() {
    let look = look_with(&members(), &Ground::default(), &Job::ALL.map(|job| request(job, 2.5)));
    let zone = farm().site.zone;
    assert!(look.windows.len() > 100);
    for window in &look.windows {
        assert_eq!(window.end - window.start, TimeDelta::hours(3));
        let (start, end) = (zone.local(window.start), zone.local(window.end));
        assert!(window.start >= now() && start.date() == end.date());
        assert!(start.hour() >= 7 && end.hour() <= 18, "{start}");
    }
}

#[test]
fn with_members_the_chance_is_counted_and_with_one_forecast_none_is_given() {
    let mut some = members();
    for run in some.runs.iter_mut().take(3) {
        for hour in 0..24 {
            run.gust.put(PAST + hour, Some(14.0));
        }
    }
    let counted = look(&some, Job::Check);
    let chance = window(&counted, 0, 10).chance.unwrap();
    assert_eq!((chance.good, chance.of), (7, 10));
    assert_eq!(
        window(&counted, 0, 10).works_in.iter().filter(|works| **works).count(),
        7
    );
    let alone = look(&single(), Job::Check);
    assert_eq!(window(&alone, 0, 10).chance, None);
    assert!(window(&alone, 0, 10).remarks.contains(&Remark::OneForecast));
    assert!((window(&alone, 0, 10).planning_chance - 0.8).abs() < 1e-9);
    assert!((window(&alone, 2, 10).planning_chance - 0.7).abs() < 1e-9);
}

#[test]
fn beyond_three_days_nothing_is_a_go() {
    let look = look(&members(), Job::Check);
    assert_eq!(window(&look, 1, 10).verdict, Verdict::Go);
    let far = window(&look, 4, 10);
    assert_eq!((far.verdict, far.firm), (Verdict::Maybe, false));
}

#[test]
fn an_hour_that_is_missing_in_one_member_makes_its_windows_unknown_and_no_others() {
    let mut timeline = members();
    timeline.runs[4].gust.put(PAST + 6, None);
    let look = look(&timeline, Job::Check);
    let unknown = window(&look, 0, 10);
    assert_eq!((unknown.verdict, unknown.chance), (Verdict::Unknown, None));
    let missing = Missing::Weather(Quantity::Gust);
    assert!(
        unknown.remarks.contains(&Remark::Missing {
            missing,
            at: at("2026-09-10T09:00:00Z")
        }),
        "{:?}",
        unknown.remarks
    );
    assert_eq!(window(&look, 0, 12).verdict, Verdict::Go);
}

#[test]
fn an_old_forecast_is_maybe_at_best_and_one_that_is_too_old_says_nothing() {
    let mut timeline = members();
    timeline.freshness = Freshness::Old;
    let old = look(&timeline, Job::Lift);
    assert_eq!(window(&old, 0, 14).verdict, Verdict::Maybe);
    assert!(window(&old, 0, 14).remarks.contains(&Remark::OldForecast));
    timeline.freshness = Freshness::Unknown;
    let look = look(&timeline, Job::Lift);
    assert!(look.windows.iter().all(|window| window.verdict == Verdict::Unknown));
    assert!(look.openings.is_empty());
}

#[test]
fn what_is_estimated_or_not_told_is_maybe_at_best() {
    for quantity in [Quantity::Gust, Quantity::Shortwave, Quantity::Thunder] {
        let mut timeline = members();
        if quantity == Quantity::Thunder {
            &mut timeline.untold
        } else {
            &mut timeline.estimated
        }
        .insert(quantity);
        let look = look(&timeline, Job::Check);
        assert!(look.windows.iter().all(|window| window.verdict <= Verdict::Maybe));
        let said = if quantity == Quantity::Gust {
            Remark::EstimatedGust
        } else {
            Remark::NotTold { quantity }
        };
        assert!(window(&look, 0, 10).remarks.contains(&said));
    }
}

#[test]
fn what_a_forecast_tells_in_long_steps_only_is_maybe_at_best() {
    let mut timeline = members();
    assert_eq!(window(&look(&timeline, Job::Check), 0, 10).verdict, Verdict::Go);
    timeline.coarse_from = Some(PAST + 24);
    let look = look(&timeline, Job::Check);
    assert_eq!(window(&look, 0, 10).verdict, Verdict::Go);
    assert_eq!(window(&look, 1, 10).verdict, Verdict::Maybe);
    assert!(window(&look, 1, 10).remarks.contains(&Remark::LongSteps));
}

#[test]
fn a_main_forecast_that_fails_lowers_the_chance_and_says_why() {
    let mut timeline = members();
    let mut main = fine_run(0.0);
    for hour in 0..24 {
        main.gust.put(PAST + hour, Some(14.0));
    }
    timeline.main = Some(main);
    let look = look(&timeline, Job::Check);
    let lowered = window(&look, 0, 10);
    assert_eq!(lowered.verdict, Verdict::Maybe);
    assert!((lowered.planning_chance - 0.5).abs() < 1e-9);
    assert!(
        lowered
            .remarks
            .contains(&Remark::MainDisagrees { factor: Factor::Gust10 })
    );
    assert_eq!(window(&look, 1, 10).verdict, Verdict::Go);
}

#[test]
fn no_cover_is_laid_or_folded_before_a_gale() {
    let mut timeline = members();
    put(&mut timeline, Quantity::Gust, 20..26, Some(30.0));
    for job in [Job::Lay, Job::Fold] {
        let look = look(&timeline, job);
        let before = window(&look, 0, 10);
        assert_eq!(before.verdict, Verdict::No, "{job:?}");
        assert!(
            before
                .remarks
                .iter()
                .any(|remark| matches!(remark, Remark::GaleAfter { gust, .. } if gust.0 > 29.0))
        );
    }
    let mut breezy = members();
    put(&mut breezy, Quantity::Gust, 20..26, Some(12.0));
    assert_eq!(
        window(&look(&breezy, Job::Fold), 0, 10).verdict,
        Verdict::No,
        "a folded piece carries a quarter"
    );
    assert_eq!(window(&look(&breezy, Job::Lay), 0, 10).verdict, Verdict::Go);
}

#[test]
fn before_the_end_of_the_forecast_laying_is_unknown_because_a_gale_could_follow() {
    let look = look(&members(), Job::Lay);
    let last = window(&look, 4, 14);
    assert_eq!(last.verdict, Verdict::Unknown);
    assert!(last.remarks.iter().any(|remark| matches!(
        remark,
        Remark::Missing {
            missing: Missing::BeyondForecast,
            ..
        }
    )));
}

#[test]
fn thunder_and_snow_stop_what_they_must_and_fog_wets_the_cover() {
    let mut timeline = members();
    put(&mut timeline, Quantity::Thunder, 0..24, Some(1.0));
    assert!(window(&look(&timeline, Job::Check), 0, 10).reasons[0].factor == Factor::Lightning);
    let mut timeline = members();
    put(&mut timeline, Quantity::Snow, 0..24, Some(1.0));
    assert_eq!(window(&look(&timeline, Job::Lay), 0, 10).verdict, Verdict::No);
    assert_eq!(window(&look(&timeline, Job::Check), 0, 10).verdict, Verdict::Go);
    let mut timeline = members();
    put(&mut timeline, Quantity::Fog, 4..14, Some(1.0));
    put(&mut timeline, Quantity::Shortwave, 4..14, Some(20.0));
    assert_ne!(window(&look(&timeline, Job::Lift), 0, 14).verdict, Verdict::Go);
}

#[test]
fn rain_stops_the_work_and_its_hours_are_named() {
    let mut timeline = members();
    put(&mut timeline, Quantity::Rain, 6..9, Some(3.0));
    let look = look(&timeline, Job::Check);
    let wet = window(&look, 0, 10);
    let rain = wet.reasons.iter().find(|reason| reason.factor == Factor::Rain).unwrap();
    assert_eq!((wet.verdict, rain.value), (Verdict::No, Some(3.0)));
    assert_eq!(
        (rain.from, rain.until),
        (Some(at("2026-09-10T09:00:00Z")), Some(at("2026-09-10T12:00:00Z")))
    );
}

#[test]
fn puddles_alone_are_tipped_off_and_never_forbid_a_lift() {
    // 8 mm in the small hours of today fill the sags; the faces dry by tomorrow noon, the puddles do not.
    let mut wet = members();
    put(&mut wet, Quantity::Rain, 0..2, Some(4.0));
    let look = look(&wet, Job::Lift);
    let tomorrow = window(&look, 1, 13);
    assert_eq!(tomorrow.verdict, Verdict::Maybe, "{tomorrow:?}");
    assert!(tomorrow.remarks.contains(&Remark::TipPuddles));
    assert!(tomorrow.reasons.iter().any(|reason| reason.factor == Factor::Pond));
    let chance = tomorrow.chance.unwrap();
    assert!(chance.share() > 0.5 && tomorrow.works_in.iter().filter(|works| **works).count() == chance.good);
    // While the top is wet too, tipping is no help.
    assert_eq!(window(&look, 0, 8).verdict, Verdict::No);
}

#[test]
fn the_modelled_underside_alone_is_a_reason_to_feel_it_until_five_dry_times_are_noted() {
    let farm = {
        let mut farm = farm();
        // A block in which only the underside stays wet: a soaked soil under a low dense cover.
        farm.blocks[0].alley = Alley {
            c_under_mm: 1.5,
            tie_height_m: 0.05,
            g_fabric: 0.0,
            soil_wetness0: 1.0,
            soil_drydown_mm_d: 0.0,
            ..farm.blocks[0].alley
        };
        farm
    };
    let mut timeline = members();
    for run in &mut timeline.runs {
        run.rain.put(PAST - 12, Some(20.0));
    }
    let look = |ground: &Ground| {
        outlook(
            &farm.blocks[0],
            &farm,
            ground,
            &timeline,
            &[request(Job::Lift, 2.0)],
            now(),
        )
    };
    let first = look(&Ground::default());
    let felt = first.windows.iter().find(|window| {
        window
            .remarks
            .iter()
            .any(|remark| matches!(remark, Remark::FeelUnderside { .. }))
    });
    let felt = felt.expect("a window held back only by the underside");
    assert_eq!(felt.verdict, Verdict::Maybe);
    let noted = now() - TimeDelta::days(1);
    let dry = Entry {
        block: BlockId("Creek".to_owned()),
        rows: Rows { first: 1, last: 10 },
        event: Event::Dry { face: Face::Underside },
        at: noted,
        noted,
    };
    let ground = Ground {
        seen_dry: vec![dry; 5],
        ..Ground::default()
    };
    let later = look(&ground);
    let same = later.windows.iter().find(|window| window.start == felt.start).unwrap();
    assert_eq!(same.verdict, Verdict::No);
}

#[test]
fn a_cover_whose_past_is_not_known_is_not_lifted_until_the_model_has_seen_it_dry() {
    let mut timeline = members();
    timeline.past_hours = 0;
    for run in &mut timeline.runs {
        run.rain = Series::new((0..COUNT).map(|k| (k >= PAST).then_some(0.0)));
    }
    let look = look(&timeline, Job::Lift);
    let morning = window(&look, 0, 8);
    assert_eq!(
        (morning.verdict, morning.remarks.clone()),
        (Verdict::Unknown, vec![Remark::WetnessNotKnown])
    );
    // Once both faces were dry it is judged; the puddles are still taken for full and must be tipped off.
    let next = window(&look, 1, 14);
    assert_eq!((next.verdict, next.reasons[0].factor), (Verdict::Maybe, Factor::Pond));
    assert!(next.remarks.contains(&Remark::TipPuddles));
    assert_eq!(look.hours[PAST].wet_top, None);
}

#[test]
fn a_wet_piece_is_spread_on_a_drying_day_and_not_in_rain() {
    let mut timeline = members();
    let request = [request(Job::Redry, 6.0)];
    let dry = look_with(&timeline, &Ground::default(), &request);
    assert!(
        dry.windows.iter().any(|window| window.verdict == Verdict::Go),
        "{:?}",
        window(&dry, 0, 10)
    );
    put(&mut timeline, Quantity::Rain, 0..72, Some(0.4));
    let wet = look_with(&timeline, &Ground::default(), &request);
    assert!(
        wet.windows
            .iter()
            .filter(|window| window.end < at("2026-09-13T03:00:00Z"))
            .all(|window| window.verdict == Verdict::No)
    );
}

#[test]
fn the_grower_s_own_limits_are_the_ones_that_count() {
    let timeline = members();
    let mut farm = farm();
    farm.limits.check.gust.good = 1.0;
    farm.limits.check.gust.bad = 2.0;
    let look = outlook(
        &farm.blocks[0],
        &farm,
        &Ground::default(),
        &timeline,
        &[request(Job::Check, 2.0)],
        now(),
    );
    assert!(window(&look, 0, 14).verdict == Verdict::No);
    assert!((window(&look, 0, 14).margin.wind_limit.unwrap().0 - 2.0).abs() < 1e-12);
    assert!(window(&look, 0, 14).margin.wind.unwrap().0 < 0.0);
}

#[test]
fn a_chance_equal_to_the_threshold_is_not_enough_to_go() {
    let mut timeline = members();
    for run in timeline.runs.iter_mut().take(3) {
        for hour in 0..24 {
            run.gust.put(PAST + hour, Some(16.0));
        }
    }
    let verdict = |threshold| {
        let request = JobRequest {
            threshold,
            ..request(Job::Check, 3.0)
        };
        window(&look_with(&timeline, &Ground::default(), &[request]), 0, 10).verdict
    };
    assert_eq!((verdict(0.69), verdict(0.7)), (Verdict::Go, Verdict::Maybe));
}

#[test]
fn blocks_with_equal_numbers_share_the_model_and_get_what_each_would_alone() {
    let (farm, timeline) = (farm(), members());
    let request = [request(Job::Lift, 3.0)];
    let shared = outlooks(&farm, &Ground::default(), &timeline, |_| request.to_vec(), now());
    for (block, shared) in farm.blocks.iter().zip(&shared) {
        assert_eq!(
            outlook(block, &farm, &Ground::default(), &timeline, &request, now()),
            *shared
        );
    }
    assert_eq!(shared.len(), 2);
}

#[test]
fn a_member_is_judged_the_same_alone_and_among_others() {
    let weather = restless(3, Kind::Members);
    let request = Job::ALL.map(|job| request(job, 3.0));
    let all = look_with(
        &Timeline {
            main: None,
            ..weather.clone()
        },
        &Ground::default(),
        &request,
    );
    let mut compared = 0;
    for (place, run) in weather.runs.iter().enumerate() {
        let alone = look_with(
            &timeline(Kind::Members, vec![run.clone()]),
            &Ground::default(),
            &request,
        );
        for (alone, among) in alone.windows.iter().zip(&all.windows) {
            // A go counts only members that also stay dry, and tipping puddles lets more of them work, so only like
            // verdicts can be compared.
            let told = !alone.works_in.is_empty() && !among.works_in.is_empty();
            let kind = |window: &Window| {
                (
                    window.verdict == Verdict::Go,
                    window.remarks.contains(&Remark::TipPuddles),
                )
            };
            if told && kind(alone) == kind(among) {
                assert_eq!(
                    alone.works_in.first(),
                    among.works_in.get(place),
                    "{} {:?}",
                    alone.start,
                    alone.job
                );
                compared += 1;
            }
        }
    }
    assert!(compared > 500, "{compared}");
}

#[test]
fn irrigation_wets_the_ground_and_never_dries_the_underside_sooner() {
    let (mut farm, timeline) = (farm(), members());
    let dry = outlook(&farm.blocks[0], &farm, &Ground::default(), &timeline, &[], now());
    farm.blocks[0].irrigation = vec![Irrigation {
        days: vec![chrono::Weekday::Wed, chrono::Weekday::Thu, chrono::Weekday::Fri],
        from: "02:00:00".parse().unwrap(),
        length: Hours(3.0),
        depth: Millimetres(12.0),
    }];
    let wet = outlook(&farm.blocks[0], &farm, &Ground::default(), &timeline, &[], now());
    for (dry, wet) in dry.dry.iter().zip(&wet.dry) {
        assert!(
            wet.under.is_none() || dry.under.is_some_and(|dry| dry <= wet.under.unwrap()),
            "{}",
            dry.day
        );
    }
}

#[test]
fn the_hour_of_most_danger_to_the_ties_is_found_with_its_chance() {
    let mut timeline = members();
    for run in timeline.runs.iter_mut().take(4) {
        run.gust.put(PAST + 30, Some(35.0));
    }
    let worst = look(&timeline, Job::Check).worst_hour.unwrap();
    assert_eq!(worst.at, stamps().at(PAST + 30));
    let beaten = worst.beaten.unwrap();
    assert_eq!((beaten.good, beaten.of), (4, 10));
    assert!(worst.gust_low.0 < worst.gust.0 && worst.gust.0 < worst.gust_high.0);
}

#[test]
fn light_is_told_for_whole_days_only() {
    let look = look(&members(), Job::Check);
    let days: Vec<String> = look.light.iter().map(|(day, _)| day.to_string()).collect();
    assert_eq!(days.first().map(String::as_str), Some("2026-09-06"));
    assert_eq!(days.last().map(String::as_str), Some("2026-09-14"));
    assert!(
        look.light.iter().all(|(_, light)| light.0 > 2.0 && light.0 < 20.0),
        "{:?}",
        look.light
    );
}

/// Verdicts in the order of windows, for comparison.
fn verdicts(look: &BlockOutlook) -> Vec<(DateTime<Utc>, Job, Verdict)> {
    look.windows
        .iter()
        .map(|window| (window.start, window.job, window.verdict))
        .collect()
}

/// Restless weather in which many windows stand near a limit.
fn restless(seed: u64, kind: Kind) -> Timeline {
    let mut chance = fastrand::Rng::with_seed(seed);
    let count = if kind == Kind::Members { 5 } else { 1 };
    let mut runs: Vec<Run> = (0..count).map(|_| fine_run(chance.f64() * 3.0 - 1.5)).collect();
    let past = runs[0].clone();
    for run in &mut runs {
        let (mut gust, mut rain, mut moist) = (1.0, 0.0, 0.0);
        for k in 0..COUNT {
            if k < PAST {
                for quantity in Quantity::ALL {
                    run.of_mut(quantity).put(k, past.of(quantity).get(k));
                }
                continue;
            }
            gust = (gust + chance.f64() * 3.0 - 1.5_f64).clamp(0.0, 9.0);
            rain = if chance.f64() < 0.03 {
                chance.f64() * 1.5
            } else {
                rain * 0.4
            };
            moist = (moist + chance.f64() - 0.5_f64).clamp(-2.0, 4.0);
            run.gust.put(k, run.gust.get(k).map(|value| value + gust));
            run.rain.put(k, Some(if rain < 0.05 { 0.0 } else { rain }));
            run.dew_point.put(k, run.dew_point.get(k).map(|value| value + moist));
            run.cloud.put(k, Some(chance.f64()));
            run.fog.put(k, Some(f64::from(u8::from(chance.f64() < 0.02))));
            run.thunder.put(k, Some(f64::from(u8::from(chance.f64() < 0.02))));
            run.snow.put(k, Some(f64::from(u8::from(chance.f64() < 0.01))));
        }
    }
    let mut found = timeline(kind, runs);
    if kind == Kind::Members && chance.bool() {
        found.main = found.runs.last().cloned();
    }
    found
}

/// Takes hours away: single ones, short and long stretches, in one run or all, ahead and in the past.
fn with_holes(mut timeline: Timeline, chance: &mut fastrand::Rng) -> Timeline {
    for _ in 0..chance.usize(1..8) {
        let quantity = Quantity::ALL[chance.usize(0..Quantity::ALL.len())];
        let from = if chance.u8(0..4) == 0 {
            chance.usize(0..PAST)
        } else {
            PAST + chance.usize(0..AHEAD)
        };
        let length = [1, 1, 2, 3, 4, 9, 30][chance.usize(0..7)];
        let whole = chance.bool() || from < PAST;
        let only = chance.usize(0..timeline.runs.len());
        let main = timeline.main.iter_mut().filter(|_| whole || only == 0);
        let runs = timeline
            .runs
            .iter_mut()
            .enumerate()
            .filter(|(at, _)| whole || *at == only)
            .map(|(_, run)| run);
        for run in runs.chain(main) {
            for k in from..(from + length).min(COUNT) {
                run.of_mut(quantity).put(k, None);
            }
        }
    }
    timeline
}

#[test]
fn taking_data_away_never_makes_a_verdict_better() {
    let jobs = [
        request(Job::Lift, 2.0),
        request(Job::Lay, 2.0),
        request(Job::Fold, 3.0),
        request(Job::Check, 1.0),
        request(Job::Redry, 5.0),
    ];
    let mut seen = BTreeSet::new();
    let mut known = std::collections::BTreeMap::new();
    let mut changed = 0;
    for case in 0..1000_u64 {
        let kind = if case % 4 == 0 { Kind::Single } else { Kind::Members };
        // Ten cases share their weather, so that its verdicts are computed once.
        let seed = case % 4 + 4 * (case / 40);
        let weather = restless(seed, kind);
        let full = known
            .entry(seed)
            .or_insert_with(|| verdicts(&look_with(&weather, &Ground::default(), &jobs)));
        let mut chance = fastrand::Rng::with_seed(case);
        let holed = with_holes(weather, &mut chance);
        let less = verdicts(&look_with(&holed, &Ground::default(), &jobs));
        assert_eq!(full.len(), less.len());
        for (full, less) in full.iter().zip(&less) {
            assert_eq!((full.0, full.1), (less.0, less.1));
            assert!(
                less.2 <= full.2,
                "case {case}: {} {:?} was {:?} and is {:?}",
                full.0,
                full.1,
                full.2,
                less.2
            );
            seen.insert(full.2);
            changed += usize::from(less.2 < full.2);
        }
    }
    assert_eq!(seen.len(), 4, "the weather has every verdict: {seen:?}");
    assert!(changed > 1000, "holes took something away: {changed}");
}

#[test]
fn with_a_whole_series_gone_nothing_is_a_go() {
    for kind in [Kind::Members, Kind::Single] {
        for quantity in Quantity::ALL {
            let mut weather = if kind == Kind::Members { members() } else { single() };
            for run in &mut weather.runs {
                *run.of_mut(quantity) = Series::gaps(COUNT);
            }
            weather.untold.insert(quantity);
            let look = look_with(&weather, &Ground::default(), &Job::ALL.map(|job| request(job, 3.0)));
            assert!(
                look.windows.iter().all(|window| window.verdict != Verdict::Go),
                "{quantity:?}"
            );
            assert!(!look.windows.is_empty());
        }
    }
}

/// Notes of a dry underside on Creek, `late_h` hours after the model had it dry, on each of the last days of the past.
fn notes(late_h: i64) -> Ground {
    let farm = farm();
    let told = look_with(&single(), &Ground::default(), &[]);
    let entries: Vec<Entry> = (1..=4)
        .map(|ago| {
            let model = told.dry[0].under.unwrap() - TimeDelta::days(ago);
            let at = model + TimeDelta::hours(late_h);
            Entry {
                block: farm.blocks[0].id.clone(),
                rows: Rows { first: 1, last: 10 },
                event: Event::Dry { face: Face::Underside },
                at,
                noted: at,
            }
        })
        .collect();
    Ground::at(&entries, now())
}

#[test]
fn a_cover_that_was_noted_dry_two_hours_late_is_told_two_hours_later() {
    // The same weather every day: what the model says of today it says of the days before.
    let before = look_with(&single(), &Ground::default(), &[]);
    assert_eq!(before.dry_offset, None);
    let after = look_with(&single(), &notes(2), &[]);
    let late = after.dry_offset.unwrap().0;
    assert!((late - 2.0).abs() <= 1.0, "within the hour of the model: {late}");
    let moved = after.dry[0].under.unwrap() - before.dry[0].under.unwrap();
    assert!((moved.as_seconds_f64() / 3600.0 - late).abs() < 1e-3, "{moved}");
}

#[test]
fn learned_dry_times_move_what_is_told_and_no_window() {
    let (plain, learned) = (
        look_with(&single(), &Ground::default(), &[request(Job::Lay, 3.0)]),
        look_with(&single(), &notes(3), &[request(Job::Lay, 3.0)]),
    );
    assert!(learned.dry_offset.is_some());
    assert_eq!(plain.windows, learned.windows);
}

#[test]
fn a_note_on_a_day_with_unknown_weather_teaches_nothing() {
    let ground = notes(2);
    let mut timeline = single();
    for run in &mut timeline.runs {
        for k in 0..PAST {
            run.rain.put(k, None);
        }
    }
    assert_eq!(look_with(&timeline, &ground, &[]).dry_offset, None);
}

#[test]
fn dry_times_of_gone_weeks_are_kept_from_letter_to_letter() {
    let farm = farm();
    let (found, pairs) = outlooks_learning(&farm, &notes(2), &single(), |_| Vec::new(), &[], now());
    assert!(pairs.len() >= 3, "{pairs:?}");
    // A week on the notes lie before the timeline, the pairs do not.
    let (later, kept) = outlooks_learning(&farm, &Ground::default(), &single(), |_| Vec::new(), &pairs, now());
    assert_eq!(kept, pairs);
    assert_eq!(later[0].dry_offset, found[0].dry_offset);
    assert_eq!(later[1].dry_offset, found[0].dry_offset, "one cloth, one correction");
}

/// A roll of Creek lifted damp, by the crew's word, `hours` before now.
fn lifted_damp(hours: i64) -> Ground {
    let at = now() - TimeDelta::hours(hours);
    Ground::at(
        &[Entry {
            block: BlockId("Creek".to_owned()),
            rows: Rows { first: 7, last: 8 },
            event: Event::Lifted { wet: true },
            at,
            noted: at,
        }],
        now(),
    )
}

#[test]
fn a_roll_lifted_in_the_rain_is_due_in_two_days_one_lifted_nearly_dry_in_five() {
    let mut soaked = single();
    put_back(&mut soaked, Quantity::Rain, 20..26, 2.0);
    let rained = &look_with(&soaked, &lifted_damp(20), &[]).rolls[0];
    assert!(rained.wet && rained.known);
    assert_eq!(rained.redry_by - rained.lifted, TimeDelta::days(2));
    // Three in the afternoon of a fine day, a little felt: the model has it dry.
    let fine = &look_with(&single(), &lifted_damp(14), &[]).rolls[0];
    assert!(!fine.wet && fine.known);
    assert_eq!(fine.redry_by - fine.lifted, TimeDelta::days(5));
    assert!(fine.risk_from.unwrap() > fine.redry_by);
}

#[test]
fn a_roll_lifted_before_the_weather_on_hand_counts_as_wet() {
    let old = &look_with(&single(), &lifted_damp(24 * 9), &[]).rolls[0];
    assert!(old.wet && !old.known);
    assert_eq!(old.redry_by - old.lifted, TimeDelta::days(2));
    assert_eq!(clocks(&lifted_damp(24 * 9), &[])[0].redry_by, old.redry_by);
}

/// Puts a value into every run from `hours.end` to `hours.start` hours before now.
fn put_back(timeline: &mut Timeline, quantity: Quantity, hours: std::ops::Range<usize>, value: f64) {
    for run in &mut timeline.runs {
        for hour in hours.clone() {
            run.of_mut(quantity).put(PAST - hour, Some(value));
        }
    }
}

#[test]
fn the_simple_rules_stand_beside_the_model_day_by_day() {
    let timeline = members();
    let look = look_with(&timeline, &Ground::default(), &[]);
    let days = wet_days(&timeline, &look, &farm().site.zone, 3);
    assert_eq!(days.len(), 3);
    let tomorrow = days[1];
    assert_eq!(tomorrow.hours, 24);
    // A dewy night without rain: rules and model both see wet hours, and neither calls the whole day wet.
    for wet in [
        tomorrow.model_top,
        tomorrow.humid,
        tomorrow.close,
        tomorrow.either_or_rain,
    ] {
        assert!((1..24).contains(&wet), "{tomorrow:?}");
    }
    assert!(tomorrow.either_or_rain >= tomorrow.humid.max(tomorrow.close));
    let mut holes = timeline;
    put(&mut holes, Quantity::DewPoint, 24..48, None);
    let look = look_with(&holes, &Ground::default(), &[]);
    let known = wet_days(&holes, &look, &farm().site.zone, 3)[1].hours;
    assert!(known < 24, "hours that are not known count for none: {known}");
}
