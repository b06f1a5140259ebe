//! The loop that owns the state.
//!
//! It wakes at least every half minute and compares the wall clock with what is due, so a clock that jumps or a
//! machine that slept is found soon. What has been done stands in the store, never in the loop.

use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tracing::{info, warn};

use super::clock::{Steadiness, is_believable};
use super::letters::FarmState;
use super::orders::Look;
use super::post::Post;
use super::stations::Ears;
use super::{Clock, Event, Files, Orders, Work, supervisor};
use crate::farm::FarmId;
use crate::store::{Fault, Store};

/// How long messages in hand may still take when the daemon is told to stop.
const LAST_DIALOGUES: Duration = Duration::from_secs(8);
/// Free space below which a warning is due.
const LITTLE_SPACE: u64 = 20 * 1024 * 1024;

/// What wakes the loop from outside.
pub struct Wakes {
    /// When it ends, the daemon stops.
    pub stop: Pin<Box<dyn Future<Output = ()> + Send>>,
    /// Each message asks to read the settings again.
    pub reread: mpsc::Receiver<()>,
}

/// The daemon at work.
pub(super) struct Daemon {
    pub(super) clock: Clock,
    pub(super) store: Store,
    pub(super) orders: Orders,
    pub(super) work: Work,
    pub(super) farms: BTreeMap<FarmId, FarmState>,
    pub(super) hands: JoinSet<Event>,
    pub(super) post: Post,
    ears: Ears,
    files: Files,
    looks: Vec<Option<Look>>,
    steadiness: Steadiness,
    told: BTreeMap<String, Told>,
}

/// A trouble that was told.
struct Told {
    text: String,
    stored: bool,
}

/// Works until `wakes.stop` ends: pulls forecasts, decides letters when they are due, sends what waits.
pub async fn run(clock: Clock, store: Store, orders: Orders, work: Work, files: Files, mut wakes: Wakes) {
    let now = clock.now();
    let looks = files.looks();
    let (post, steadiness) = (Post::default(), Steadiness::at(now));
    // Troubles of the last run are told again if they still stand, and taken back if not.
    let standing = store.troubles().unwrap_or_default();
    let told = standing
        .into_iter()
        .map(|trouble| {
            (
                trouble.thing,
                Told {
                    text: String::new(),
                    stored: true,
                },
            )
        })
        .collect();
    let farms = BTreeMap::new();
    let (ears, mut heard) = Ears::new(clock);
    let mut daemon = Daemon {
        clock,
        store,
        orders,
        work,
        farms,
        hands: JoinSet::new(),
        post,
        ears,
        files,
        looks,
        steadiness,
        told,
    };
    daemon.begin(now);
    supervisor::ready();
    let tick = supervisor::tick();
    let mut next_tick = tokio::time::Instant::now();
    loop {
        let event = tokio::select! {
            biased;
            () = &mut wakes.stop => Event::Stop,
            Some(()) = wakes.reread.recv() => Event::Reread,
            Some(done) = daemon.hands.join_next(), if !daemon.hands.is_empty() => match done {
                Ok(event) => event,
                Err(_) => continue,
            },
            () = tokio::time::sleep_until(next_tick) => {
                next_tick = tokio::time::Instant::now() + tick;
                Event::Tick
            }
            // Last, so that a station that never stops talking keeps nobody waiting.
            Some(news) = heard.recv() => Event::Heard(Box::new(news)),
        };
        supervisor::alive();
        if matches!(event, Event::Stop) {
            break;
        }
        daemon.take(event);
    }
    supervisor::stopping();
    daemon.end().await;
}

impl Daemon {
    /// First things first: messages a crash left in hand, and those whose farm or reader is gone.
    fn begin(&mut self, now: DateTime<Utc>) {
        let wait = (!self.orders.deliver.is_repeatable()).then_some(crate::deliver::due::UNKNOWN_WAIT);
        match self.store.recover(wait) {
            Ok(0) => {}
            Ok(found) => warn!(
                found,
                "messages were in hand when the program last ended; they go again with the same bytes"
            ),
            Err(fault) => self.trouble("store", fault.to_string(), now),
        }
        self.settle_farms(now);
        self.ears.listen_to(&self.orders.stations);
        info!(
            farms = self.orders.farms.len(),
            stations = self.orders.stations.len(),
            "ready"
        );
    }

    /// One event.
    fn take(&mut self, event: Event) {
        let now = self.clock.now();
        match event {
            Event::Tick => self.tick(now),
            Event::Pulled { farm, feeds } => self.pulled(&farm, feeds, now),
            Event::Decided { farm, due, decided } => self.decided(&farm, due, decided, now),
            Event::HandedOver {
                id,
                farm,
                tries,
                outcome,
            } => self.handed_over(id, &farm, tries, &outcome, now),
            Event::Heard(news) => self.heard(&news, now),
            Event::Reread => self.reread(now),
            Event::Stop => {}
        }
        self.send_due(now);
    }

    fn tick(&mut self, now: DateTime<Utc>) {
        if let Some(jump) = self.steadiness.look(now) {
            warn!(
                jump_s = jump.num_seconds(),
                "the clock jumped; what is due is looked up again"
            );
            self.clock_jumped(now);
        }
        if !is_believable(now) {
            let text = format!(
                "the clock shows {}, which cannot be; no letters go out until it is right",
                now.format("%Y-%m-%d")
            );
            self.trouble("clock", text, now);
            return;
        }
        self.fine("clock");
        if self.looks != self.files.looks() {
            self.reread(now);
        }
        self.mind_the_space(now);
        self.ears.listen_to(&self.orders.stations);
        let farms: Vec<FarmId> = self.farms.keys().cloned().collect();
        for farm in farms {
            self.look_after(&farm, now);
        }
    }

    /// What one farm needs now. A fault of one farm never keeps another from its letter.
    pub(super) fn look_after(&mut self, farm: &FarmId, now: DateTime<Utc>) {
        if !is_believable(now) {
            return;
        }
        if let Err(fault) = self.letter_if_due(farm, now) {
            self.trouble(&format!("farm {}", farm.0), fault.to_string(), now);
        }
        self.pull_if_due(farm, now);
    }

    fn clock_jumped(&mut self, now: DateTime<Utc>) {
        for state in self.farms.values_mut() {
            state.clock_jumped(now);
        }
        self.post.clock_jumped(now);
    }

    fn reread(&mut self, now: DateTime<Utc>) {
        // The look is taken first: a file that changes while it is read is read once more.
        self.looks = self.files.looks();
        let found = (self.files.reread)(&self.orders);
        let broken: Vec<String> = found
            .mistakes
            .iter()
            .map(|(path, _)| format!("settings {}", path.display()))
            .collect();
        let over: Vec<String> = self
            .told
            .keys()
            .filter(|thing| thing.starts_with("settings ") && !broken.contains(thing))
            .cloned()
            .collect();
        for thing in over {
            self.fine(&thing);
        }
        for (path, text) in found.mistakes {
            let text = format!("{text}; what was in force before stays in force");
            self.trouble(&format!("settings {}", path.display()), text, now);
        }
        if found.watched != self.files.watched {
            self.files.watched = found.watched;
            self.looks = self.files.looks();
        }
        if found.orders != self.orders {
            self.orders = found.orders;
            info!(farms = self.orders.farms.len(), "new settings are in force");
        }
        self.post.settings_changed();
        self.settle_farms(now);
    }

    /// Brings the farms at work in line with the orders, and drops mail for those who are gone.
    fn settle_farms(&mut self, now: DateTime<Utc>) {
        let orders = &self.orders;
        self.farms.retain(|id, _| orders.farm(id).is_some());
        for farm in &orders.farms {
            self.farms.entry(farm.id.clone()).or_insert_with(|| FarmState::new(now));
        }
        match self.store.drop_strangers(&self.orders.recipients(), now) {
            Ok(dropped) => {
                for parcel in dropped {
                    info!(
                        farm = parcel.farm.0,
                        key = parcel.key,
                        "not sent: its farm or recipient is no longer in the settings"
                    );
                }
            }
            Err(fault) => self.trouble("store", fault.to_string(), now),
        }
    }

    fn mind_the_space(&mut self, now: DateTime<Utc>) {
        let Ok(found) = rustix::fs::statvfs(self.store.folder()) else {
            return;
        };
        let free = found.f_bavail.saturating_mul(found.f_frsize);
        if free < LITTLE_SPACE {
            let place = self.store.folder().display();
            let text = format!("less than 20 MiB are free at {place}; letters wait when it is full; make room");
            self.trouble("space", text, now);
        } else {
            self.fine("space");
        }
    }

    /// Tells of a trouble once, in the log and in the store for `covercast status`.
    pub(super) fn trouble(&mut self, thing: &str, text: String, now: DateTime<Utc>) {
        let before = self.told.get(thing);
        if before.is_none_or(|told| told.text != text) {
            tracing::error!(thing, "{text}");
        } else if before.is_some_and(|told| told.stored) {
            return;
        }
        // A store that cannot take it now is asked again the next time.
        let stored = self.store.raise(thing, &text, now).is_ok();
        self.told.insert(thing.to_owned(), Told { text, stored });
    }

    /// A trouble is over, if there was one.
    pub(super) fn fine(&mut self, thing: &str) {
        if self.told.remove(thing).is_some() && self.store.settle(thing).unwrap_or(false) {
            info!(thing, "in order again");
        }
    }

    /// Finishes the dialogues in hand, as far as time allows; the rest is known as in hand at the next start.
    async fn end(mut self) {
        let last = tokio::time::sleep(LAST_DIALOGUES);
        tokio::pin!(last);
        while self.post.in_hand() > 0 {
            tokio::select! {
                () = &mut last => break,
                done = self.hands.join_next() => match done {
                    Some(Ok(Event::HandedOver { id, farm, tries, outcome })) => {
                        let now = self.clock.now();
                        self.handed_over(id, &farm, tries, &outcome, now);
                    }
                    Some(_) => {}
                    None => break,
                },
            }
        }
        self.hands.abort_all();
        info!(still_in_hand = self.post.in_hand(), "stopped");
    }
}

/// A wait in which a store that refused is not asked again.
pub(super) const STORE_WAIT: TimeDelta = TimeDelta::seconds(30);

/// A fault of the store in words for the log.
pub(super) fn stored(result: Result<(), Fault>) {
    if let Err(fault) = result {
        tracing::error!("{fault}");
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::sync::{Arc, Mutex};

    use chrono::{NaiveTime, Weekday};

    use super::super::{Decided, LetterTime, Question, Reread, Settings};
    use super::*;
    use crate::farm::Farm;
    use crate::farm::crew::{Crew, Person, Role};
    use crate::farm::site::Site;
    use crate::farm::zone::Zone;
    use crate::store::Feed;
    use crate::units::{Degrees, DisplayUnits, Metres};
    use crate::weather::warning::Warned;
    use crate::{deliver, sources};

    fn farm(id: &str, zone: &str, addresses: &[&str]) -> Arc<Farm> {
        let hour = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap();
        let person = |address: &&str| Person {
            name: "Reader".to_owned(),
            email: Some((*address).to_owned()),
            role: Role::Manager,
            letter: true,
        };
        Arc::new(Farm {
            id: FarmId(id.to_owned()),
            site: Site {
                name: "Larkrise Orchard".to_owned(),
                latitude: Degrees(-39.6),
                longitude: Degrees(176.8),
                elevation: Metres(20.0),
                zone: Zone::named(zone).unwrap(),
                units: DisplayUnits::Metric,
            },
            people: addresses.iter().map(person).collect(),
            crew: Crew {
                people: 4,
                workdays: vec![Weekday::Mon],
                start: hour(7),
                end: hour(17),
                break_start: hour(12),
                break_end: hour(13),
            },
            machines: Vec::new(),
            sets: Vec::new(),
            limits: crate::farm::limits::Limits::default(),
            costs: crate::farm::Costs::default(),
            blocks: Vec::new(),
            picks: Vec::new(),
            blackouts: Vec::new(),
            hot_cutting: Vec::new(),
            climate: None,
        })
    }

    fn orders(folder: &Path, farms: Vec<Arc<Farm>>, hour: u32, minute: u32) -> Orders {
        Orders {
            farms,
            sources: Arc::new(sources::Settings {
                contact: String::new(),
                services: Vec::new(),
                cache: folder.join("cache"),
                interval: TimeDelta::zero(),
            }),
            deliver: Arc::new(deliver::Settings {
                from: "Larkrise <letters@farm.example>".to_owned(),
                transport: deliver::Transport::Files {
                    folder: folder.join("mail"),
                },
                daily_limit: 200,
            }),
            stations: Arc::new(Vec::new()),
            daemon: Settings {
                letter: LetterTime::Daily(NaiveTime::from_hms_opt(hour, minute, 0).unwrap()),
                pull_minutes: 120,
            },
        }
    }

    fn decided(question: &Question) -> Decided {
        Decided {
            subject: format!("NO | {}", question.due.date),
            text: "nothing to do".to_owned(),
            html: "<p>nothing to do</p>".to_owned(),
            pictures: Vec::new(),
            calendar: None,
            facts: serde_json::json!({}),
            inputs: serde_json::json!({}),
            forecasts: Vec::new(),
            issued: question.now,
            valid_until: question.now + TimeDelta::hours(20),
        }
    }

    fn work() -> Work {
        Work {
            pull: Arc::new(|_, _, _| Box::pin(async { Vec::new() })),
            decide: Arc::new(|question| decided(&question)),
        }
    }

    fn for_hours(hours: u64) -> Wakes {
        let (_, reread) = mpsc::channel(1);
        Wakes {
            stop: Box::pin(tokio::time::sleep(Duration::from_secs(hours * 3600))),
            reread,
        }
    }

    fn at(text: &str) -> Clock {
        Clock::starting_at(text.parse().unwrap())
    }

    fn mails(folder: &Path) -> Vec<String> {
        let Ok(found) = std::fs::read_dir(folder.join("mail")) else {
            return Vec::new();
        };
        let mut names: Vec<String> = found
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names.iter().map(|name| name[..10].to_owned()).collect()
    }

    async fn run_for(hours: u64, from: &str, folder: &Path, orders: Orders, work: Work) {
        let store = Store::open(&folder.join("state")).unwrap();
        run(at(from), store, orders, work, Files::none(), for_hours(hours)).await;
    }

    #[tokio::test(start_paused = true)]
    async fn one_letter_a_local_date_over_both_clock_changes_and_many_restarts() {
        let folder = tempfile::tempdir().unwrap();
        // Auckland puts its clocks back on 2026-04-05 at 03:00; 02:30 comes twice.
        let orders = orders(
            folder.path(),
            vec![farm("larkrise", "Pacific/Auckland", &["a@farm.example"])],
            2,
            30,
        );
        for start in [
            "2026-04-03T10:00:00Z",
            "2026-04-04T13:29:40Z",
            "2026-04-04T14:00:00Z",
            "2026-04-04T14:29:00Z",
        ] {
            run_for(1, start, folder.path(), orders.clone(), work()).await;
        }
        run_for(48, "2026-04-04T15:29:00Z", folder.path(), orders.clone(), work()).await;
        assert_eq!(mails(folder.path()), ["2026-04-05", "2026-04-06", "2026-04-07"]);
        // And forward on 2026-09-27 at 02:00; 02:30 does not come at all.
        run_for(48, "2026-09-25T23:00:00Z", folder.path(), orders, work()).await;
        assert_eq!(mails(folder.path())[3..], ["2026-09-26", "2026-09-27", "2026-09-28"]);
        let store = Store::open(&folder.path().join("state")).unwrap();
        let jobs = store.jobs_done(&FarmId("larkrise".to_owned()), "morning").unwrap();
        for pair in jobs.windows(2) {
            assert_eq!(
                pair[1].0,
                pair[0].0.succ_opt().unwrap(),
                "the table of job keys has no hole"
            );
        }
        assert_eq!(jobs.iter().filter(|(_, outcome)| outcome == "done").count(), 6);
    }

    fn warned(kind: &str, id: &str, references: &str) -> Feed {
        let message = format!(
            "<alert xmlns=\"urn:oasis:names:tc:emergency:cap:1.2\"><identifier>{id}</identifier><sender>met@example.org</sender>\
             <sent>2026-03-10T03:00:00Z</sent><status>Actual</status><msgType>{kind}</msgType><scope>Public</scope>\
             <references>{references}</references><info><event>Severe gales</event><urgency>Expected</urgency>\
             <severity>Severe</severity><certainty>Likely</certainty><expires>2026-03-12T20:00:00Z</expires>\
             <area><areaDesc>The valley</areaDesc><polygon>-39,176 -39,178 -41,178 -41,176 -39,176</polygon></area></info></alert>"
        );
        Feed {
            service: "met".to_owned(),
            issued: None,
            fetched: None,
            fault: None,
            fault_since: None,
            next_try: None,
            packed: None,
            warned: Some(Warned {
                warnings: sources::cap::read(message.as_bytes()).unwrap().warnings,
                codes: BTreeSet::new(),
            }),
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_warning_that_was_ended_before_it_came_stays_ended_over_a_start() {
        let folder = tempfile::tempdir().unwrap();
        let orders = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            30,
        );
        let telling = |feeds: Vec<Feed>| Work {
            pull: Arc::new(move |_, _, _| {
                let feeds = feeds.clone();
                Box::pin(async { feeds })
            }),
            decide: Arc::new(|question| {
                let held = question.memory.warnings.active(question.now).len();
                assert!(held <= 1, "the letter knows of {held} warnings");
                decided(&question)
            }),
        };
        let cancel = warned("Cancel", "c", "met@example.org,a,2026-03-10T03:00:00Z");
        let id = FarmId("larkrise".to_owned());
        let active = |now: &str| {
            let store = Store::open(&folder.path().join("state")).unwrap();
            let register = store.warnings(&id).unwrap();
            register.active(now.parse().unwrap()).len()
        };
        run_for(
            3,
            "2026-03-10T03:30:00Z",
            folder.path(),
            orders.clone(),
            telling(vec![cancel]),
        )
        .await;
        assert_eq!(active("2026-03-10T07:00:00Z"), 0);
        let late = vec![warned("Alert", "a", ""), warned("Alert", "b", "")];
        run_for(24, "2026-03-10T07:00:00Z", folder.path(), orders.clone(), telling(late)).await;
        assert_eq!(active("2026-03-11T07:00:00Z"), 1, "b holds and a does not");
        run_for(1, "2026-03-11T08:00:00Z", folder.path(), orders, work()).await;
        assert_eq!(
            active("2026-03-11T09:00:00Z"),
            1,
            "a service that falls silent ends nothing"
        );
    }

    #[tokio::test(start_paused = true)]
    async fn after_three_days_off_one_letter_goes_out_and_none_about_past_days() {
        let folder = tempfile::tempdir().unwrap();
        let orders = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            30,
        );
        run_for(2, "2026-03-10T04:00:00Z", folder.path(), orders.clone(), work()).await;
        run_for(1, "2026-03-13T09:00:00Z", folder.path(), orders.clone(), work()).await;
        assert_eq!(mails(folder.path()), ["2026-03-10", "2026-03-13"]);
        // Started in the afternoon: too late for that day.
        run_for(1, "2026-03-14T13:00:00Z", folder.path(), orders, work()).await;
        assert_eq!(mails(folder.path()), ["2026-03-10", "2026-03-13"]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_farm_whose_letter_breaks_off_keeps_no_other_from_theirs() {
        let folder = tempfile::tempdir().unwrap();
        let farms = vec![
            farm("breaks", "Europe/Rome", &["a@farm.example"]),
            farm("larkrise", "Europe/Rome", &["b@farm.example", "c@farm.example"]),
        ];
        let work = Work {
            decide: Arc::new(|question| {
                assert!(question.farm.id.0 != "breaks", "poisoned input");
                decided(&question)
            }),
            ..work()
        };
        run_for(
            2,
            "2026-03-10T04:00:00Z",
            folder.path(),
            orders(folder.path(), farms, 5, 30),
            work,
        )
        .await;
        assert_eq!(mails(folder.path()), ["2026-03-10", "2026-03-10"]);
        let store = Store::open(&folder.path().join("state")).unwrap();
        let troubles = store.troubles().unwrap();
        assert!(
            troubles.iter().any(|trouble| trouble.thing == "farm breaks"),
            "{troubles:?}"
        );
    }

    #[tokio::test(start_paused = true)]
    async fn a_clock_of_1970_sends_nothing_and_the_right_time_does() {
        let folder = tempfile::tempdir().unwrap();
        let orders = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            30,
        );
        run_for(30, "1970-01-01T00:00:00Z", folder.path(), orders.clone(), work()).await;
        run_for(30, "2098-06-01T00:00:00Z", folder.path(), orders.clone(), work()).await;
        assert_eq!(mails(folder.path()), [""; 0]);
        run_for(1, "2026-03-10T04:29:50Z", folder.path(), orders, work()).await;
        assert_eq!(mails(folder.path()), ["2026-03-10"]);
        assert_eq!(
            Store::open(&folder.path().join("state")).unwrap().troubles().unwrap(),
            []
        );
    }

    #[tokio::test(start_paused = true)]
    async fn forecasts_are_pulled_before_the_letter_and_at_their_pace() {
        let folder = tempfile::tempdir().unwrap();
        let orders = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            30,
        );
        let pulls = Arc::new(AtomicUsize::new(0));
        let story = Arc::new(Mutex::new(Vec::new()));
        let (count, told, decides) = (Arc::clone(&pulls), Arc::clone(&story), Arc::clone(&story));
        let work = Work {
            pull: Arc::new(move |_, _, now| {
                count.fetch_add(1, Ordering::Relaxed);
                told.lock().unwrap().push(("pull", now));
                Box::pin(async { Vec::new() })
            }),
            decide: Arc::new(move |question| {
                decides.lock().unwrap().push(("letter", question.now));
                decided(&question)
            }),
        };
        run_for(24, "2026-03-10T00:10:00Z", folder.path(), orders, work).await;
        let story = story.lock().unwrap();
        let letter = story.iter().position(|(what, _)| *what == "letter").unwrap();
        let age = story[letter].1 - story[letter - 1].1;
        assert!(
            age < TimeDelta::minutes(31),
            "the forecast was asked for {age} before the letter"
        );
        let pulls = pulls.load(Ordering::Relaxed);
        assert!((11..=15).contains(&pulls), "{pulls} pulls a day every two hours");
    }

    #[tokio::test(start_paused = true)]
    async fn a_moved_letter_time_gives_no_second_letter_that_day() {
        let folder = tempfile::tempdir().unwrap();
        let early = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            0,
        );
        let late = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            6,
            0,
        );
        let moved = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Lisbon", &["a@farm.example"])],
            5,
            0,
        );
        run_for(1, "2026-03-10T03:55:00Z", folder.path(), early, work()).await;
        run_for(1, "2026-03-10T04:55:00Z", folder.path(), late, work()).await;
        run_for(2, "2026-03-10T04:30:00Z", folder.path(), moved, work()).await;
        assert_eq!(mails(folder.path()), ["2026-03-10"]);
    }

    #[tokio::test(start_paused = true)]
    async fn a_broken_file_keeps_what_was_in_force_and_says_so() {
        let folder = tempfile::tempdir().unwrap();
        let before = orders(
            folder.path(),
            vec![farm("larkrise", "Europe/Rome", &["a@farm.example"])],
            5,
            30,
        );
        let file = folder.path().join("farm.toml");
        std::fs::write(&file, "good").unwrap();
        let watched = vec![file.clone()];
        let reread = move |orders: &Orders| {
            let mistakes = vec![(watched[0].clone(), "line 3: gust".to_owned())];
            Reread {
                orders: orders.clone(),
                watched: watched.clone(),
                mistakes,
            }
        };
        let files = Files {
            watched: vec![file.clone()],
            reread: Box::new(reread),
        };
        let (ask, reread) = mpsc::channel(1);
        ask.send(()).await.unwrap();
        let stop = Box::pin(tokio::time::sleep(Duration::from_secs(2 * 3600)));
        let store = Store::open(&folder.path().join("state")).unwrap();
        run(
            at("2026-03-10T04:00:00Z"),
            store,
            before,
            work(),
            files,
            Wakes { stop, reread },
        )
        .await;
        assert_eq!(mails(folder.path()), ["2026-03-10"]);
        let troubles = Store::open(&folder.path().join("state")).unwrap().troubles().unwrap();
        assert!(
            troubles[0].thing.contains("farm.toml") && troubles[0].text.contains("stays in force"),
            "{troubles:?}"
        );
    }
}
