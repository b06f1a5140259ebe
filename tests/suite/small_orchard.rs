//! The farm that the letters start from: invented, small, with one busy autumn morning.
//!
//! Tuesday 10 March 2026, 05:30. Creek is picked on Monday and its covers must come up; Hill is out and a front comes
//! on Wednesday; Mill waits for Creek's rolls; Gate was lifted damp; Top is late. All weather here is made up.

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc, Weekday};
use covercast::advice::letter::{Digest, Inputs, Letter, Promise, compose};
use covercast::alley::Alley;
use covercast::farm::block::{Block, BlockId, Rows};
use covercast::farm::cover::{CoverSet, SetId};
use covercast::farm::crew::{Crew, Machine, Person, Role};
use covercast::farm::harvest::{Blackout, Pick};
use covercast::farm::limits::Limits;
use covercast::farm::site::Site;
use covercast::farm::zone::Zone;
use covercast::farm::{Costs, Farm, FarmId, Job};
use covercast::plan::assign::assign;
use covercast::plan::need::needs;
use covercast::plan::of_farm::usual::Usual;
use covercast::plan::of_farm::{self, SeasonPlan, plan_season};
use covercast::record::{Entry, Ground, entry::Event};
use covercast::units::{Degrees, DisplayUnits, Hours, Megajoules, Metres, MetresPerSecond};
use covercast::weather::forecast::{Issue, IssueBasis, Kind};
use covercast::weather::warning::Notice;
use covercast::weather::{Credit, Freshness, Product, Quantity, Run, Series, Stamps, Timeline};
use covercast::workability::outlook::TieHour;
use covercast::workability::{
    BlockOutlook, Chance, DryDay, Factor, HourView, Margin, Missing, Opening, Reason, Remark, RollClock, Verdict,
    Window,
};

pub(crate) const RUNS: usize = 10;

/// A morning on Larkrise Orchard, to be changed by a test before the letter is written.
pub(crate) struct SmallOrchard {
    pub(crate) farm: Farm,
    pub(crate) entries: Vec<Entry>,
    pub(crate) timeline: Option<Timeline>,
    pub(crate) outlooks: Vec<BlockOutlook>,
    pub(crate) now: DateTime<Utc>,
    pub(crate) yesterday: Option<Digest>,
    pub(crate) warnings: Vec<Notice>,
    /// Whether the season is planned too.
    pub(crate) season: bool,
}

pub(crate) fn zone() -> Zone {
    Zone::named("Pacific/Auckland").unwrap()
}

pub(crate) fn today() -> NaiveDate {
    "2026-03-10".parse().unwrap()
}

/// Local clock time `hour` on the day `more` days after today.
pub(crate) fn at(more: u64, hour: f64) -> DateTime<Utc> {
    zone().day_start(today() + Days::new(more)) + minutes(hour)
}

#[expect(clippy::cast_possible_truncation, reason = "whole minutes of a test")]
fn minutes(hours: f64) -> TimeDelta {
    TimeDelta::minutes((hours * 60.0).round() as i64)
}

pub(crate) fn id(name: &str) -> BlockId {
    BlockId(name.to_owned())
}

fn kmh(speed: f64) -> MetresPerSecond {
    MetresPerSecond(speed / 3.6)
}

impl SmallOrchard {
    pub(crate) fn on_a_dry_morning() -> Self {
        let now = at(0, 5.5);
        Self {
            farm: farm(),
            entries: entries(),
            timeline: Some(timeline(now)),
            outlooks: outlooks(),
            now,
            yesterday: Some(yesterday()),
            warnings: Vec::new(),
            season: false,
        }
    }

    pub(crate) fn letter(&self) -> Letter {
        let ground = Ground::at(&self.entries, self.now);
        let needs = needs(&self.farm, &ground, self.now);
        let before = self
            .yesterday
            .as_ref()
            .map(|before| before.season.clone())
            .unwrap_or_default();
        let season = self.season.then(|| {
            plan_season(&of_farm::Inputs {
                farm: &self.farm,
                ground: &ground,
                outlooks: &self.outlooks,
                usual: &Usual::default(),
                before: &before,
                now: self.now,
            })
            .unwrap()
        });
        let plan = assign(&self.farm, &ground, &needs, &self.outlooks, season, self.now);
        let mut letter = compose(&Inputs {
            farm: &self.farm,
            ground: &ground,
            timeline: self.timeline.as_ref(),
            outlooks: &self.outlooks,
            plan: &plan,
            now: self.now,
            next_letter: at(1, 5.5),
            number: 310,
            yesterday: self.yesterday.as_ref(),
            warnings: &self.warnings,
        });
        letter.digest.season = plan.season.as_ref().map(SeasonPlan::as_before).unwrap_or_default();
        letter
    }

    /// The same morning with its season planned; yesterday's plan had the first lot three days later.
    pub(crate) fn with_its_season_planned(mut self) -> Self {
        self.season = true;
        let mut before = self.letter().digest.season;
        for was in before.values_mut() {
            if let Some(lift) = &mut was.lift {
                lift.day = lift.day + Days::new(3);
            }
        }
        if let Some(yesterday) = &mut self.yesterday {
            yesterday.season = before;
        }
        self
    }

    pub(crate) fn outlook(&mut self, block: &str) -> &mut BlockOutlook {
        self.outlooks
            .iter_mut()
            .find(|outlook| outlook.block.0 == block)
            .unwrap()
    }

    /// Changes every window and opening of every block.
    pub(crate) fn each_window(&mut self, change: impl Fn(&mut Window)) {
        for outlook in &mut self.outlooks {
            outlook.windows.iter_mut().for_each(&change);
            outlook
                .openings
                .iter_mut()
                .for_each(|opening| change(&mut opening.best));
        }
    }

    pub(crate) fn one_forecast_only(mut self) -> Self {
        let timeline = self.timeline.as_mut().unwrap();
        timeline.runs.truncate(1);
        timeline.kind = Kind::Single;
        self.each_window(|window| {
            window.chance = None;
            window.works_in.clear();
            window.remarks.push(Remark::OneForecast);
        });
        for outlook in &mut self.outlooks {
            if let Some(worst) = &mut outlook.worst_hour {
                worst.beaten = None;
                (worst.gust_low, worst.gust_high) = (worst.gust, worst.gust);
            }
        }
        self
    }

    pub(crate) fn with_an_estimated_gust(mut self) -> Self {
        self.timeline.as_mut().unwrap().estimated.insert(Quantity::Gust);
        self.each_window(|window| {
            if window.verdict == Verdict::Go {
                window.verdict = Verdict::Maybe;
            }
            window.remarks.push(Remark::EstimatedGust);
        });
        self
    }

    pub(crate) fn without_a_forecast(mut self) -> Self {
        self.timeline = None;
        self.outlooks.clear();
        self
    }

    /// Issued so long ago that nothing may be judged by it.
    pub(crate) fn with_a_forecast_too_old(mut self) -> Self {
        let timeline = self.timeline.as_mut().unwrap();
        timeline.issue.at = self.now - TimeDelta::hours(35);
        timeline.freshness = Freshness::Unknown;
        self.each_window(|window| {
            window.verdict = Verdict::Unknown;
            window.chance = None;
        });
        self
    }

    pub(crate) fn with_an_old_forecast(mut self) -> Self {
        let timeline = self.timeline.as_mut().unwrap();
        timeline.issue.at = self.now - TimeDelta::hours(18);
        timeline.freshness = Freshness::Old;
        self.each_window(|window| {
            if window.verdict == Verdict::Go {
                window.verdict = Verdict::Maybe;
            }
            window.remarks.push(Remark::OldForecast);
        });
        self
    }

    /// The gust of some hours of today is missing in all runs.
    pub(crate) fn with_a_hole_today(mut self, from: f64, to: f64) -> Self {
        let timeline = self.timeline.as_mut().unwrap();
        let rows = timeline.stamps.first_row_from(at(0, from))..timeline.stamps.first_row_from(at(0, to));
        for run in &mut timeline.runs {
            rows.clone().for_each(|k| run.gust.put(k, None));
        }
        let (from, to) = (at(0, from), at(0, to));
        for outlook in &mut self.outlooks {
            outlook
                .openings
                .retain(|opening| opening.end <= from || opening.start >= to);
            for window in outlook
                .windows
                .iter_mut()
                .filter(|window| window.start < to && from < window.end)
            {
                window.verdict = Verdict::Unknown;
                window.chance = None;
                window.reasons.clear();
                window.remarks = vec![Remark::Missing {
                    missing: Missing::Weather(Quantity::Gust),
                    at: from,
                }];
            }
        }
        self
    }

    /// The cover on Creek does not dry today.
    pub(crate) fn wet_all_day(mut self) -> Self {
        let creek = self.outlook("Creek");
        creek
            .openings
            .retain(|opening| opening.best.job != Job::Lift || opening.start > at(1, 0.0));
        for window in creek
            .windows
            .iter_mut()
            .filter(|window| window.job == Job::Lift && window.start < at(1, 0.0))
        {
            window.verdict = Verdict::No;
            window.chance = Some(Chance { good: 1, of: RUNS });
            window.reasons = vec![stops(Factor::Under, 0, None, None)];
        }
        creek
            .dry
            .iter_mut()
            .filter(|dry| dry.day == today())
            .for_each(|dry| (dry.under, dry.both) = (None, None));
        self
    }

    /// Wednesday and Thursday are as dry as today.
    pub(crate) fn with_two_dry_days_to_come(mut self) -> Self {
        let creek = self.outlook("Creek");
        for (more, good) in [(1, 9), (2, 8)] {
            creek.windows.retain(|window| {
                window.job != Job::Lift || window.start < at(more, 0.0) || window.start > at(more, 24.0)
            });
            let mut hand = Hand {
                windows: Vec::new(),
                openings: Vec::new(),
            };
            hand.open(Job::Lift, more, (13.0, 17.0), (13.5, 15.5), good, &[]);
            creek.windows.append(&mut hand.windows);
            creek.openings.append(&mut hand.openings);
        }
        self
    }

    /// Nothing but the lift is to be done.
    pub(crate) fn with_ties_checked_and_rolls_dry(mut self) -> Self {
        let done = |name: &str, rows: (u32, u32), event| {
            let at = at(0, 0.0) - TimeDelta::hours(10);
            let rows = Rows {
                first: rows.0,
                last: rows.1,
            };
            Entry {
                block: id(name),
                rows,
                event,
                at,
                noted: at,
            }
        };
        self.entries.push(done("Hill", (1, 14), Event::Checked));
        self.entries.push(done("Creek", (1, 12), Event::Checked));
        self.entries.push(done("Gate", (7, 8), Event::Redried));
        self
    }

    /// Names as long as the farm file lets them be.
    pub(crate) fn with_long_names(self) -> Self {
        self.renamed("Creek", "Old Orchard Lower Creek Terrace North")
            .renamed("Hill", "Upper Hillside Windbreak Terrace")
    }

    /// A name that would like to be a header, a tag and a calendar line.
    pub(crate) fn with_a_hostile_name(self) -> Self {
        self.renamed("Creek", "<img src=x>\r\nATTENDEE:x")
    }

    fn renamed(mut self, old: &str, new: &str) -> Self {
        let change = |id: &mut BlockId| {
            if id.0 == old {
                new.clone_into(&mut id.0);
            }
        };
        self.farm.blocks.iter_mut().for_each(|block| change(&mut block.id));
        self.farm.picks.iter_mut().for_each(|pick| change(&mut pick.block));
        self.farm
            .sets
            .iter_mut()
            .flat_map(|set| &mut set.blocks)
            .for_each(change);
        self.entries.iter_mut().for_each(|entry| change(&mut entry.block));
        self.outlooks.iter_mut().for_each(|outlook| change(&mut outlook.block));
        self
    }

    pub(crate) fn in_miles(mut self) -> Self {
        self.farm.site.units = DisplayUnits::Imperial;
        self
    }

    pub(crate) fn with_a_sprayed_creek(mut self) -> Self {
        self.farm.blackouts.push(Blackout {
            from: at(0, 4.0),
            to: at(1, 10.0),
            blocks: vec![id("Creek")],
            jobs: Vec::new(),
            text: "spray re-entry".to_owned(),
        });
        self
    }

    /// Nobody works on Wednesday and Thursday.
    pub(crate) fn before_two_rest_days(mut self) -> Self {
        self.farm
            .crew
            .workdays
            .retain(|day| !matches!(day, Weekday::Wed | Weekday::Thu));
        self
    }

    /// Nothing lies out, nothing is damp, and nothing can be laid yet.
    pub(crate) fn with_everything_in_the_shed(mut self) -> Self {
        self.entries.clear();
        for pick in &mut self.farm.picks {
            (pick.first, pick.last) = (pick.first + Days::new(70), pick.last + Days::new(70));
        }
        self.outlooks.iter_mut().for_each(|outlook| {
            outlook.openings.clear();
            outlook.windows.clear();
        });
        self
    }
}

fn farm() -> Farm {
    let block = |name: &str, variety: &str, rows: usize, edge: Option<&str>| Block {
        id: id(name),
        variety: variety.to_owned(),
        rows: vec![Metres(82.0); rows],
        end_setback: Metres(1.0),
        alley: Alley::default(),
        tie_tested: false,
        exposed_edge: edge.map(str::to_owned),
        irrigation: Vec::new(),
        cover_advance_days: 0,
        check_every_days: 14,
    };
    let pick = |name: &str, first: &str, either_way| Pick {
        block: id(name),
        variety: String::new(),
        first: first.parse().unwrap(),
        last: first.parse::<NaiveDate>().unwrap() + Days::new(7),
        either_way: Some(either_way),
    };
    let set = |name: &str, metres, blocks: &[&str]| CoverSet {
        id: SetId(name.to_owned()),
        width: Metres(2.2),
        length: Metres(metres),
        roll_length: Metres(80.0),
        blocks: blocks.iter().map(|name| id(name)).collect(),
    };
    let clock = |text: &str| text.parse().unwrap();
    Farm {
        id: FarmId("larkrise".to_owned()),
        site: Site {
            name: "Larkrise Orchard".to_owned(),
            latitude: Degrees(-41.3),
            longitude: Degrees(173.1),
            elevation: Metres(40.0),
            zone: zone(),
            units: DisplayUnits::Metric,
        },
        people: vec![Person {
            name: "Wren".to_owned(),
            email: Some("wren@larkrise.example".to_owned()),
            role: Role::Manager,
            letter: true,
        }],
        crew: Crew {
            people: 4,
            workdays: vec![
                Weekday::Mon,
                Weekday::Tue,
                Weekday::Wed,
                Weekday::Thu,
                Weekday::Fri,
                Weekday::Sat,
            ],
            start: clock("07:30:00"),
            end: clock("17:00:00"),
            break_start: clock("12:00:00"),
            break_end: clock("12:30:00"),
        },
        machines: vec![Machine {
            name: "winder".to_owned(),
            lay_per_hour: Some(Metres(700.0)),
            lift_per_hour: Some(Metres(800.0)),
        }],
        sets: vec![
            set("A", 960.0, &["Creek", "Mill"]),
            set("B", 1120.0, &["Hill"]),
            set("C", 640.0, &["Gate"]),
        ],
        limits: Limits::default(),
        costs: Costs::default(),
        blocks: vec![
            block("Creek", "Gala", 12, None),
            block("Mill", "Fuji", 12, None),
            block("Hill", "Braeburn", 14, Some("west edge")),
            block("Gate", "Gala", 8, None),
            block("Top", "Fuji", 6, None),
        ],
        picks: vec![
            pick("Creek", "2026-03-16", 1),
            pick("Mill", "2026-04-18", 4),
            pick("Hill", "2026-03-30", 3),
        ],
        blackouts: Vec::new(),
        hot_cutting: Vec::new(),
        climate: None,
    }
}

fn entries() -> Vec<Entry> {
    let entry = |name: &str, rows: (u32, u32), event, days: i64, hour: f64| {
        let at = zone().day_start(today() - TimeDelta::days(days)) + minutes(hour);
        let rows = Rows {
            first: rows.0,
            last: rows.1,
        };
        Entry {
            block: id(name),
            rows,
            event,
            at,
            noted: at,
        }
    };
    vec![
        entry("Creek", (1, 12), Event::Laid, 29, 4.0),
        entry("Creek", (1, 12), Event::Checked, 6, 9.0),
        entry("Hill", (1, 14), Event::Laid, 14, 4.0),
        entry("Gate", (1, 8), Event::Laid, 34, 4.0),
        entry("Gate", (1, 6), Event::Lifted { wet: false }, 3, 14.0),
        entry("Gate", (7, 8), Event::Lifted { wet: true }, 2, 16.0),
    ]
}

/// Middle gust [km/h] by hours from midnight of the first day: a calm day, a front, three calm ones, a long blow.
const GUSTS: [(f64, f64); 27] = [
    (-120.0, 15.0),
    (0.0, 9.0),
    (6.0, 7.0),
    (12.0, 18.0),
    (18.0, 24.0),
    (21.0, 13.0),
    (27.0, 12.0),
    (30.0, 14.0),
    (34.0, 30.0),
    (38.0, 52.0),
    (41.0, 57.0),
    (42.0, 57.0),
    (46.0, 47.0),
    (54.0, 40.0),
    (64.0, 34.0),
    (74.0, 17.0),
    (80.0, 15.0),
    (86.0, 22.0),
    (94.0, 12.0),
    (100.0, 10.0),
    (112.0, 25.0),
    (120.0, 12.0),
    (136.0, 22.0),
    (160.0, 32.0),
    (184.0, 45.0),
    (210.0, 41.0),
    (240.0, 22.0),
];

fn middle_gust(hour: f64) -> f64 {
    let after = GUSTS
        .iter()
        .position(|(at, _)| *at >= hour)
        .unwrap_or(GUSTS.len() - 1)
        .max(1);
    let ((from, low), (to, high)) = (GUSTS[after - 1], GUSTS[after]);
    low + (high - low) * ((hour - from) / (to - from)).clamp(0.0, 1.0)
}

fn rain(hour: f64) -> f64 {
    match hour {
        h if (42.0..54.0).contains(&h) => (2.4 - (h - 44.0).abs() * 0.25).max(0.2),
        h if (61.0..65.0).contains(&h) => 0.9,
        h if (165.0..176.0).contains(&h) => 0.5,
        h if (176.0..190.0).contains(&h) => 0.7,
        _ => 0.0,
    }
}

/// Five days back, ten days on, ten runs that part with time.
#[expect(clippy::cast_precision_loss, reason = "small counts")]
fn timeline(now: DateTime<Utc>) -> Timeline {
    let start = at(0, 0.0) - TimeDelta::days(5);
    let count = 15 * 24;
    let stamps = Stamps {
        first: start + TimeDelta::hours(1),
        count,
    };
    let hour = |k: usize| k as f64 - 120.0;
    let run = |member: usize| {
        let part = |k: usize| {
            let lead = ((hour(k) - 5.0) / 120.0).clamp(0.0, 1.0);
            1.0 + (member as f64 - 4.5) / 4.5 * (0.04 + 0.3 * lead.max(if hour(k) > 34.0 { 0.75 } else { 0.0 }))
        };
        let series = |value: &dyn Fn(usize) -> f64| Series::new((0..count).map(|k| Some(value(k))));
        let sun = |k: usize| {
            ((hour(k).rem_euclid(24.0) - 13.0) / 6.5 * std::f64::consts::FRAC_PI_2)
                .cos()
                .max(0.0)
        };
        let day = |k: usize| (7.0..20.0).contains(&hour(k).rem_euclid(24.0));
        Run {
            temperature: series(&|k| 11.0 + if day(k) { 9.0 * sun(k) } else { 0.0 }),
            dew_point: series(&|_| 9.0),
            wind: series(&|k| middle_gust(hour(k)) * part(k) / 3.6 / 1.7),
            gust: series(&|k| middle_gust(hour(k)) * part(k) / 3.6),
            wind_direction: series(&|_| 315.0),
            rain: series(&|k| rain(hour(k)) * part(k)),
            shortwave: series(&|k| if day(k) { 800.0 * sun(k) } else { 0.0 }),
            cloud: series(&|k| if rain(hour(k)) > 0.0 { 1.0 } else { 0.3 }),
            thunder: series(&|_| 0.0),
            fog: series(&|_| 0.0),
            snow: series(&|_| 0.0),
            any_direction: false,
        }
    };
    Timeline {
        stamps,
        now_row: stamps.row(now).unwrap(),
        runs: (0..RUNS).map(run).collect(),
        main: None,
        kind: Kind::Members,
        estimated: std::collections::BTreeSet::new(),
        untold: std::collections::BTreeSet::new(),
        coarse_from: None,
        warned: Vec::new(),
        past_hours: 120,
        past: covercast::weather::past::Past::default(),
        issue: Issue {
            at: now - minutes(4.5),
            basis: IssueBasis::Said,
        },
        product: Product::SixHourlyModel,
        freshness: Freshness::Fresh,
        credits: vec![Credit {
            service: "invented".to_owned(),
            line: "Weather: an invented ensemble for tests, no licence needed.".to_owned(),
            link: String::new(),
        }],
        remarks: Vec::new(),
        by: String::new(),
        differ: Vec::new(),
    }
}

/// A factor that stops a job on day `more` from one hour to another.
pub(crate) fn stops(factor: Factor, more: u64, from: Option<f64>, until: Option<f64>) -> Reason {
    Reason {
        factor,
        value: None,
        worth: 0.0,
        from: Some(at(more, from.unwrap_or(7.0))),
        until: until.map(|until| at(more, until)),
    }
}

fn weakens(factor: Factor, worth: f64) -> Reason {
    Reason {
        factor,
        value: None,
        worth,
        from: None,
        until: None,
    }
}

struct Hand {
    windows: Vec<Window>,
    openings: Vec<Opening>,
}

impl Hand {
    fn window(job: Job, more: u64, span: (f64, f64), good: usize, score: f64) -> Window {
        let chance = Chance { good, of: RUNS };
        let lead = Hours((at(more, span.1) - at(0, 5.5)).num_minutes() as f64 / 60.0);
        let firm = lead.0 <= 72.0;
        let verdict = match good {
            0..=2 => Verdict::No,
            6.. if firm => Verdict::Go,
            _ => Verdict::Maybe,
        };
        Window {
            job,
            start: at(more, span.0),
            end: at(more, span.1),
            verdict,
            chance: Some(chance),
            works_in: (0..RUNS).map(|member| member < good).collect(),
            planning_chance: chance.share(),
            threshold: 0.5,
            score,
            lead,
            firm,
            reasons: Vec::new(),
            remarks: Vec::new(),
            margin: Margin {
                wind: None,
                wind_limit: Some(MetresPerSecond(Limits::default().of(job).gust.bad)),
                drying: None,
            },
        }
    }

    /// Usable hours of one day, with the best window inside.
    fn open(&mut self, job: Job, more: u64, span: (f64, f64), best: (f64, f64), good: usize, reasons: &[Reason]) {
        let mut window = Self::window(job, more, best, good, 60.0 + good as f64 * 4.0 - more as f64);
        window.reasons = reasons.to_vec();
        window.margin.wind = Some(kmh(15.4));
        window.margin.drying = (job == Job::Lift).then_some(Hours(0.5));
        self.openings.push(Opening {
            start: at(more, span.0),
            end: at(more, span.1),
            best: window.clone(),
        });
        self.windows.push(window);
    }

    /// A day on which it will not work.
    fn shut(&mut self, job: Job, more: u64, reasons: &[Reason]) {
        let mut window = Self::window(job, more, (13.0, 15.0), 0, 0.0);
        window.reasons = reasons.to_vec();
        self.windows.push(window);
    }
}

fn outlooks() -> Vec<BlockOutlook> {
    ["Creek", "Mill", "Hill", "Gate", "Top"]
        .into_iter()
        .map(outlook)
        .collect()
}

/// Five days from a damp lift in cool weather.
fn damp_roll() -> RollClock {
    let lifted = at(0, 16.0) - TimeDelta::days(2);
    RollClock {
        block: id("Gate"),
        rows: Rows { first: 7, last: 8 },
        lifted,
        wet: false,
        known: true,
        redry_by: lifted + TimeDelta::days(5),
        risk_from: Some(lifted + TimeDelta::days(25)),
    }
}

fn outlook(name: &str) -> BlockOutlook {
    let mut hand = Hand {
        windows: Vec::new(),
        openings: Vec::new(),
    };
    let under = |more, until| stops(Factor::Under, more, None, until);
    hand.open(Job::Lift, 0, (13.0, 17.0), (13.5, 15.5), 9, &[]);
    hand.shut(
        Job::Lift,
        1,
        &[under(1, Some(12.0)), stops(Factor::Gust10, 1, Some(12.0), None)],
    );
    hand.shut(Job::Lift, 2, &[under(2, None), stops(Factor::Film, 2, None, None)]);
    hand.shut(Job::Lift, 3, &[under(3, None)]);
    hand.open(
        Job::Lift,
        4,
        (14.0, 17.0),
        (14.5, 16.5),
        6,
        &[weakens(Factor::Under, 0.6)],
    );
    hand.open(
        Job::Lift,
        5,
        (13.0, 17.0),
        (13.5, 15.5),
        5,
        &[weakens(Factor::Under, 0.5)],
    );
    hand.shut(
        Job::Lift,
        6,
        &[under(6, None), stops(Factor::Rain, 6, Some(13.0), None)],
    );
    hand.open(
        Job::Lift,
        9,
        (15.0, 17.0),
        (15.0, 17.0),
        4,
        &[weakens(Factor::Under, 0.4)],
    );
    hand.open(Job::Lay, 0, (8.0, 15.0), (8.0, 10.0), 9, &[]);
    hand.shut(Job::Lay, 1, &[stops(Factor::Gust10, 1, Some(10.0), None)]);
    hand.open(Job::Lay, 3, (8.0, 12.0), (8.5, 11.5), 7, &[weakens(Factor::Film, 0.5)]);
    hand.open(Job::Lay, 4, (8.0, 12.0), (8.0, 10.0), 6, &[weakens(Factor::Film, 0.5)]);
    hand.open(Job::Check, 0, (7.5, 17.0), (7.5, 8.5), 10, &[]);
    hand.open(Job::Check, 1, (7.5, 11.0), (7.5, 8.5), 9, &[]);
    hand.open(Job::Fold, 0, (9.0, 17.0), (9.0, 11.0), 9, &[]);
    hand.open(Job::Redry, 0, (9.0, 17.0), (9.0, 12.5), 8, &[]);
    let (carry, beaten) = match name {
        "Hill" => (61.0, 2),
        _ => (76.0, 0),
    };
    let dry = |more: u64, top: Option<f64>, under: Option<f64>| DryDay {
        day: today() + Days::new(more),
        top: top.map(|hour| at(more, hour)),
        under: under.map(|hour| at(more, hour)),
        both: top.and(under).map(|hour| at(more, hour)),
    };
    BlockOutlook {
        block: id(name),
        hours: (0..15 * 24).map(hour_view).collect(),
        dry: vec![
            dry(0, Some(10.0), Some(13.0)),
            dry(1, Some(9.0), Some(12.0)),
            dry(2, None, None),
            dry(3, Some(11.0), None),
            dry(4, Some(10.0), Some(14.0)),
            dry(5, Some(10.0), Some(13.0)),
        ],
        dry_offset: None,
        rolls: if name == "Gate" { vec![damp_roll()] } else { Vec::new() },
        windows: hand.windows,
        openings: hand.openings,
        critical_gust: kmh(carry),
        worst_hour: Some(TieHour {
            at: at(1, 18.0),
            gust: kmh(57.0),
            gust_low: kmh(48.0),
            gust_high: kmh(70.0),
            beaten: Some(Chance { good: beaten, of: RUNS }),
        }),
        light: (0..5)
            .map(|day| (today() - Days::new(5 - day), Megajoules(11.0)))
            .collect(),
        slots: Vec::new(),
    }
}

/// Wet by night, wet through the front, dry by day.
#[expect(clippy::cast_precision_loss, reason = "small counts")]
fn hour_view(k: usize) -> HourView {
    let hour = k as f64 - 120.0;
    let (day, clock) = ((hour / 24.0).floor(), hour.rem_euclid(24.0));
    let (mut top, mut under) = (!(10.0..20.0).contains(&clock), !(13.0..21.0).contains(&clock));
    if (1.0..4.0).contains(&day) && hour >= 42.0 {
        (top, under) = (hour < 83.0, true);
    }
    if day >= 7.0 {
        (top, under) = (hour < 208.0, hour < 230.0);
    }
    HourView {
        wet_top: Some(top),
        wet_under: Some(under),
        frost: Some(false),
        ties_beaten: Some(0.0),
    }
}

/// Yesterday's letter thought better of Saturday.
fn yesterday() -> Digest {
    Digest {
        season: std::collections::BTreeMap::new(),
        day: today() - Days::new(1),
        dry_times: Vec::new(),
        promises: vec![Promise {
            block: id("Creek"),
            job: Job::Lift,
            day: today() + Days::new(4),
            verdict: Verdict::Maybe,
            chance: Some(0.8),
            planned: false,
        }],
    }
}
