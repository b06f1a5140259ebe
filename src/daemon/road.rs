//! The daemon's slow work as it is: the services asked, and the road walked from the last replies to the letter.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::json;

use super::warned::{self, whom};
use super::work::{Decided, Question, Work};
use crate::advice::letter::{Digest, Letter};
use crate::deliver::Picture;
use crate::farm::{Farm, FarmId};
use crate::pipeline::{self, Context, Morning, Rendered, Told};
use crate::sources::cap::Link;
use crate::sources::links::follow;
use crate::sources::round::{Turn, at_hand, round};
use crate::sources::station::observed;
use crate::sources::{Gives, ServiceKind, Settings, cap, prepare_tls};
use crate::store::{Feed, Packed};
use crate::weather::Timeline;
use crate::weather::reading::Readings;
use crate::weather::stitch::Source;
use crate::weather::warning::{Notice, Register, Warned};
use crate::workability::beside::wet_days;

/// Days for which `explain` sets the simple rules beside the model.
const RULE_DAYS: usize = 3;

/// The work of a real daemon.
pub fn work() -> Work {
    prepare_tls();
    let seen = Seen::default();
    Work {
        pull: Arc::new(move |farm, settings, now| Box::pin(pull(farm, settings, seen.clone(), now))),
        decide: Arc::new(|question| decide(&question)),
    }
}

async fn pull(farm: Arc<Farm>, settings: Arc<Settings>, seen: Seen, now: DateTime<Utc>) -> Vec<Feed> {
    let turns = round(&settings, &farm.site, now).await;
    for note in turns.iter().flat_map(|turn| &turn.notes) {
        tracing::warn!(farm = farm.id.0, ?note, "a service has a remark");
    }
    let mut feeds = Vec::new();
    for turn in &turns {
        let mut feed = feed(turn);
        if let Some((mut warned, links)) = warned(turn) {
            let service = settings.services.iter().find(|service| service.name == turn.service);
            if let Some(service) = service.filter(|_| turn.fault.is_none() && !links.is_empty()) {
                let whom = whom(&farm, &warned);
                let place = (farm.id.clone(), service.name.clone());
                let mut known = seen.of(&place);
                let whole = follow(&settings, service, &links, &whom, &mut known, now).await;
                warned.warnings.extend(whole);
                seen.put(place, known);
            }
            feed.warned = Some(warned);
        }
        feeds.push(feed);
    }
    feeds
}

/// Links of indices that were asked, by farm and service. They are lost with the process, and asked once more.
#[derive(Debug, Clone, Default)]
struct Seen(Arc<Mutex<Asked>>);

/// Links by farm and service.
type Asked = BTreeMap<(FarmId, String), BTreeSet<String>>;

impl Seen {
    fn of(&self, place: &(FarmId, String)) -> BTreeSet<String> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(place).cloned().unwrap_or_default()
    }

    fn put(&self, place: (FarmId, String), known: BTreeSet<String>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.insert(place, known);
    }
}

fn feed(turn: &Turn) -> Feed {
    Feed {
        service: turn.service.clone(),
        issued: turn.forecast.as_ref().map(|forecast| forecast.issue.at),
        fetched: turn.forecast.as_ref().map(|forecast| forecast.fetched),
        fault: turn.fault.clone(),
        fault_since: turn.failing_since,
        next_try: turn.next_try,
        packed: turn
            .forecast
            .as_ref()
            .and_then(|forecast| Packed::of(&turn.service, forecast)),
        warned: None,
    }
}

/// Past and future out of what the services said; `None` if none has said anything.
pub fn timeline(farm: &Farm, turns: &[Turn], now: DateTime<Utc>) -> Option<Timeline> {
    timeline_told(farm, turns, &Told::default(), now)
}

/// As [`timeline`], with a past told by stations and earlier forecasts.
pub fn timeline_told(farm: &Farm, turns: &[Turn], told: &Told, now: DateTime<Utc>) -> Option<Timeline> {
    let sources: Vec<Source<'_>> = turns
        .iter()
        .filter_map(|turn| {
            turn.forecast.as_ref().map(|forecast| Source {
                name: &turn.service,
                forecast,
                product: turn.product,
                standing: turn.standing,
            })
        })
        .collect();
    let mut told = told.clone();
    let observations = turns
        .iter()
        .filter(|turn| turn.kind == Some(ServiceKind::NwsObservations));
    for reply in observations.filter_map(|turn| turn.reply.as_ref()) {
        let found = observed(reply, &farm.site).into_iter();
        told.stations
            .extend(found.map(|(mast, readings)| (mast, Readings::gather(readings))));
    }
    let mut timeline = pipeline::timeline_told(&farm.site, &sources, &told, now)?;
    timeline
        .remarks
        .extend(turns.iter().filter_map(|turn| lost(farm, turn)));
    Some(timeline)
}

/// A forecast that is wanted and not there is said, or the letter would be quieter than the weather.
fn lost(farm: &Farm, turn: &Turn) -> Option<String> {
    let forecast = turn.kind.is_none_or(|kind| kind.gives() == Gives::Forecast);
    let since = turn.failing_since.filter(|_| forecast && turn.forecast.is_none())?;
    let since = farm.site.zone.local(since).format("%a %-d %b %H:%M");
    Some(format!("No forecast of {} since {since}.", turn.service))
}

fn decide(question: &Question) -> Decided {
    let turns = at_hand(&question.sources, &question.farm.site, question.now);
    let timeline = timeline_told(&question.farm, &turns, &question.memory.told(), question.now);
    let yesterday = question.yesterday.as_ref().and_then(|letter| digest(&letter.facts));
    let next_letter = question.next_letter.unwrap_or(question.now + TimeDelta::days(1));
    let warnings = warnings(&question.farm, &turns, &question.memory.warnings, question.now);
    let context = Context {
        next_letter,
        number: question.number.0,
        yesterday: yesterday.as_ref(),
        warnings: &warnings,
    };
    let morning = pipeline::morning(
        &question.farm,
        &question.entries,
        timeline.as_ref(),
        question.now,
        context,
    );
    let inputs = inputs(&morning, timeline.as_ref(), &turns, question);
    let mut decided = decided(&morning.letter, question.number.0, inputs);
    decided.forecasts = used(&turns);
    decided
}

/// The forecasts at hand, by service and issue.
fn used(turns: &[Turn]) -> Vec<(String, DateTime<Utc>)> {
    turns
        .iter()
        .filter_map(|turn| Some((turn.service.clone(), turn.forecast.as_ref()?.issue.at)))
        .collect()
}

/// Official warnings that hold for a farm, out of what is remembered and the last replies of its services.
pub fn warnings(farm: &Farm, turns: &[Turn], remembered: &Register, now: DateTime<Utc>) -> Vec<Notice> {
    let mut register = remembered.clone();
    for turn in turns {
        if let Some((warned, _)) = warned(turn) {
            warned::take(&mut register, &turn.service, &warned, farm, now);
        }
    }
    register.active(now).into_iter().cloned().collect()
}

/// What a service that warns has given, now or last, and where more stands.
fn warned(turn: &Turn) -> Option<(Warned, Vec<Link>)> {
    let reply = turn.reply.as_ref()?;
    turn.kind.filter(|kind| kind.gives() == Gives::Warnings)?;
    let feed = match cap::read(&reply.bytes) {
        Ok(feed) => feed,
        Err(refusal) => {
            tracing::warn!(service = ?turn.service, %refusal, "warnings were not read");
            return None;
        }
    };
    let mut codes = turn.codes.clone();
    if turn.kind == Some(ServiceKind::NwsAlerts) {
        // It was asked for one place, so each region it names is one the place lies in.
        let infos = feed.warnings.iter().flat_map(|warning| &warning.infos);
        codes.extend(infos.flat_map(|info| &info.areas).flat_map(|area| area.codes.clone()));
    }
    let warned = Warned {
        warnings: feed.warnings,
        codes,
    };
    Some((warned, feed.links))
}

/// What a letter of the day before said, if it is of a form this version reads.
pub fn digest(facts: &serde_json::Value) -> Option<Digest> {
    serde_json::from_value(facts.get("digest")?.clone()).ok()
}

/// What the letter was decided from, in short.
fn inputs(morning: &Morning, timeline: Option<&Timeline>, turns: &[Turn], question: &Question) -> serde_json::Value {
    let windows: Vec<_> = morning
        .outlooks
        .iter()
        .flat_map(|outlook| {
            outlook
                .openings
                .iter()
                .map(|opening| (outlook.block.0.as_str(), opening))
        })
        .map(|(block, opening)| json!({ "block": block, "opening": opening }))
        .collect();
    let beside: Vec<_> = timeline
        .into_iter()
        .flat_map(|timeline| morning.outlooks.iter().map(move |outlook| (timeline, outlook)))
        .map(|(timeline, outlook)| {
            let days = wet_days(timeline, outlook, &question.farm.site.zone, RULE_DAYS);
            json!({ "block": outlook.block.0, "days": days })
        })
        .collect();
    json!({
        "program": env!("CARGO_PKG_VERSION"),
        "reports": question.entries.len(),
        "services": turns.iter().map(|turn| json!({
            "name": turn.service,
            "issued": turn.forecast.as_ref().map(|forecast| forecast.issue.at),
            "fetched": turn.forecast.as_ref().map(|forecast| forecast.fetched),
            "values_refused": turn.forecast.as_ref().map(|forecast| forecast.rejected),
            "standing": turn.standing,
            "fault": turn.fault,
        })).collect::<Vec<_>>(),
        "decided_by": timeline.map(|timeline| &timeline.by),
        "runs": timeline.map(|timeline| timeline.runs.len()),
        "freshness": timeline.map(|timeline| timeline.freshness),
        "past_hours": timeline.map(|timeline| timeline.past_hours),
        "past_told_by": timeline.map(|timeline| timeline.past.sentences()),
        "station": timeline.and_then(|timeline| timeline.past.station.as_ref()).map(|heard| json!({
            "name": heard.name,
            "last": heard.last,
        })),
        "estimated": timeline.map(|timeline| &timeline.estimated),
        "remarks": timeline.map(|timeline| &timeline.remarks),
        "openings": windows,
        "wet_hours_by_the_model_and_by_simple_rules": beside,
    })
}

/// The pictures that could be drawn; a letter goes out without the others.
fn pictures(rendered: &Rendered) -> Vec<Picture> {
    for error in [&rendered.png, &rendered.season_png]
        .into_iter()
        .flatten()
        .filter_map(|png| png.as_ref().err())
    {
        tracing::warn!(%error, "the letter goes out without one of its pictures");
    }
    rendered.drawn().map(Picture::of).collect()
}

fn decided(letter: &Letter, revision: u32, inputs: serde_json::Value) -> Decided {
    let rendered = pipeline::render(letter, revision);
    if let Err(error) = &rendered {
        tracing::error!(%error, "the letter goes out as text only: its HTML could not be written");
    }
    let rendered = rendered.ok();
    let pictures = rendered.as_ref().map_or_else(Vec::new, pictures);
    Decided {
        subject: letter.subject.clone(),
        text: crate::advice::text::render(letter),
        html: rendered
            .as_ref()
            .map(|rendered| rendered.html.clone())
            .unwrap_or_default(),
        pictures,
        calendar: rendered.and_then(|rendered| rendered.calendar),
        facts: serde_json::to_value(letter).unwrap_or_default(),
        inputs,
        forecasts: Vec::new(),
        issued: letter.issued,
        valid_until: letter.good_until,
    }
}
