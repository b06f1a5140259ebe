//! The road from weather to letter, called by the daemon and the one-off commands alike.

use chrono::{DateTime, TimeDelta, Utc};

use crate::advice::chart::{self, ChartError, Width};
use crate::advice::letter::{self, Digest, Inputs, Letter};
use crate::advice::{calendar, html, season_strip, text};
use crate::farm::block::Block;
use crate::farm::site::Site;
use crate::farm::{Farm, Job};
use crate::physics::mast::at_ten_metres;
use crate::physics::sun::SunTrack;
use crate::plan::effort::SPREAD;
use crate::plan::need::{Need, needs};
use crate::plan::of_farm::usual::Usual;
use crate::plan::of_farm::{self, SeasonPlan, plan_season};
use crate::plan::{Plan, assign};
use crate::record::{Entry, Ground};
use crate::weather::gates;
use crate::weather::past::{Archived, Known};
use crate::weather::reading::{Mast, Readings};
use crate::weather::stitch::{Source, stitch_told};
use crate::weather::warning::{Notice, apply};
use crate::weather::{Place, Stamps, Timeline};
use crate::workability::outlook::outlooks_learning;
use crate::workability::{BlockOutlook, DryPair, JobRequest};

/// What a morning needs beside farm, record and weather.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// When the next letter goes out.
    pub next_letter: DateTime<Utc>,
    /// Number of this letter on this farm.
    pub number: u32,
    /// What the letter before said, if there was one.
    pub yesterday: Option<&'a Digest>,
    /// Official warnings that hold for the farm now or will.
    pub warnings: &'a [Notice],
}

/// One morning's advice, as facts.
#[derive(Debug, Clone)]
pub struct Morning {
    /// The letter.
    pub letter: Letter,
    /// What each block's weather allows; empty without a usable forecast.
    pub outlooks: Vec<BlockOutlook>,
    /// The matching behind the letter.
    pub plan: Plan,
}

/// Chance above which going pays, until the plan prices what is at stake: even odds.
const EVEN_ODDS: f64 = 0.5;
/// The sun is needed for the past of a timeline too.
const PAST: TimeDelta = TimeDelta::days(7);
/// What the HTML calls the chart.
pub const CHART_ID: &str = "chart@covercast";
/// What the HTML calls the picture of the plan.
pub const SEASON_ID: &str = "season@covercast";
/// Width of the plan's PNG \[px\]: twice its own.
const SEASON_WIDTH_PX: f32 = 1280.0;

/// Past and future of a site out of its forecasts; `None` if there are none.
pub fn timeline(site: &Site, sources: &[Source<'_>], now: DateTime<Utc>) -> Option<Timeline> {
    timeline_told(site, sources, &Told::default(), now)
}

/// What is remembered of the weather beside what the services say now.
#[derive(Debug, Clone, Default)]
pub struct Told {
    /// Stations with their readings of the last days, in the order of the service file.
    pub stations: Vec<(Mast, Readings)>,
    /// Forecasts of the last days, the first run of each.
    pub archived: Vec<Archived>,
}

impl Told {
    /// Who can tell the past, best first: own stations, near ones from the nearest on, archived forecasts.
    fn tellers(&self, now: DateTime<Utc>) -> Vec<Known> {
        let mut stations: Vec<&(Mast, Readings)> = self.stations.iter().collect();
        stations.sort_by(|(a, _), (b, _)| {
            let metres = |mast: &Mast| mast.distance.map_or(0.0, |distance| distance.0);
            a.owner.cmp(&b.owner).then(metres(a).total_cmp(&metres(b)))
        });
        let known = stations.into_iter().filter_map(|(mast, readings)| {
            let mut checked = gates::check(readings);
            checked.readings = at_ten_metres(&checked.readings, mast.exposure);
            Known::from_station(mast, &checked, now)
        });
        known.chain(Known::from_archive(&self.archived, now)).collect()
    }
}

/// As [`timeline`], with a past told by stations and archived forecasts where they know it.
pub fn timeline_told(site: &Site, sources: &[Source<'_>], told: &Told, now: DateTime<Utc>) -> Option<Timeline> {
    let ends = sources
        .iter()
        .map(|source| source.forecast.stamps)
        .map(|stamps: Stamps| stamps.at(stamps.count))
        .max()?;
    let track = SunTrack::over(site.latitude.0, site.longitude.0, now - PAST, ends.max(now));
    let mut timeline = stitch_told(sources, &told.tellers(now), now, |at| track.at(at).up)?;
    let place = Place {
        latitude: site.latitude,
        longitude: site.longitude,
        elevation: Some(site.elevation),
    };
    let used = sources
        .iter()
        .filter(|source| timeline.credits.contains(&source.forecast.credit));
    let far: Vec<String> = used.filter_map(|source| source.forecast.far_off(&place)).collect();
    timeline.remarks.extend(far);
    Some(timeline)
}

/// One morning's advice. Without a timeline, or with one too old to judge by, it is an UNKNOWN letter.
pub fn morning(
    farm: &Farm,
    entries: &[Entry],
    timeline: Option<&Timeline>,
    now: DateTime<Utc>,
    context: Context<'_>,
) -> Morning {
    let ground = Ground::at(entries, now);
    let needs = needs(farm, &ground, now);
    let learned: &[DryPair] = context.yesterday.map_or(&[], |before| &before.dry_times);
    let warned = timeline
        .filter(|_| !context.warnings.is_empty())
        .map(|timeline| apply(timeline, context.warnings));
    let timeline = warned.as_ref().or(timeline);
    let (outlooks, dry_times) = match timeline {
        Some(timeline) => {
            let wanted = |block: &Block| requests(block, &needs);
            outlooks_learning(farm, &ground, timeline, wanted, learned, now)
        }
        None => (Vec::new(), learned.to_vec()),
    };
    let before = context
        .yesterday
        .map(|before| before.season.clone())
        .unwrap_or_default();
    // A checked farm makes a sound case; should one not, the letter goes out on the windows alone.
    let season = plan_season(&of_farm::Inputs {
        farm,
        ground: &ground,
        outlooks: &outlooks,
        usual: &farm.climate.as_ref().map(Usual::of_climate).unwrap_or_default(),
        before: &before,
        now,
    })
    .ok();
    let plan = assign::assign(farm, &ground, &needs, &outlooks, season, now);
    let mut letter = letter::compose(&Inputs {
        farm,
        ground: &ground,
        timeline,
        outlooks: &outlooks,
        plan: &plan,
        now,
        next_letter: context.next_letter,
        number: context.number,
        yesterday: context.yesterday,
        warnings: context.warnings,
    });
    letter.digest.dry_times = dry_times;
    letter.digest.season = plan.season.as_ref().map(SeasonPlan::as_before).unwrap_or_default();
    Morning { letter, outlooks, plan }
}

/// The jobs a block needs windows for; a cover that lies out can always be folded, as the way out.
fn requests(block: &Block, needs: &[Need]) -> Vec<JobRequest> {
    let request = |need: &Need| JobRequest {
        job: need.job,
        // A wet piece needs hours of drying, its people only minutes.
        length: if need.job == Job::Redry { SPREAD } else { need.length },
        threshold: EVEN_ODDS,
    };
    needs
        .iter()
        .filter(|need| need.block == block.id)
        .map(request)
        .collect()
}

/// A letter in all its forms.
#[derive(Debug)]
pub struct Rendered {
    /// Text part.
    pub text: String,
    /// HTML part; it shows the chart as [`CHART_ID`] and the plan as [`SEASON_ID`], where there are.
    pub html: String,
    /// The narrow chart as SVG, if there is weather to draw.
    pub svg: Option<String>,
    /// The same as PNG, or why it could not be drawn.
    pub png: Option<Result<Vec<u8>, ChartError>>,
    /// The plan to harvest as SVG, if there is one to draw.
    pub season_svg: Option<String>,
    /// The same as PNG, or why it could not be drawn.
    pub season_png: Option<Result<Vec<u8>, ChartError>>,
    /// Calendar of the recommended windows; `None` if there are none.
    pub calendar: Option<String>,
}

impl Rendered {
    /// The pictures of the HTML that could be drawn: Content-ID, file name and PNG.
    pub fn drawn(&self) -> impl Iterator<Item = (&'static str, &'static str, &[u8])> {
        let chart = self.png.as_ref().map(|png| (CHART_ID, "chart.png", png));
        let season = self.season_png.as_ref().map(|png| (SEASON_ID, "season.png", png));
        [chart, season]
            .into_iter()
            .flatten()
            .filter_map(|(id, name, png)| Some((id, name, png.as_ref().ok()?.as_slice())))
    }
}

/// Lays a letter out. `revision` must rise with every letter of the farm.
///
/// # Errors
/// Says that the HTML could not be written; the text never fails.
pub fn render(letter: &Letter, revision: u32) -> Result<Rendered, askama::Error> {
    let svg = letter.chart.as_ref().map(|facts| chart::svg(facts, Width::Narrow));
    let png = svg.as_deref().map(chart::png);
    let season_svg = letter
        .season
        .as_ref()
        .and_then(|season| season_strip::svg(season, letter.digest.day));
    let season_png = season_svg
        .as_deref()
        .map(|svg| chart::png_of_width(svg, SEASON_WIDTH_PX));
    let season_shown = season_png.as_ref().is_some_and(Result::is_ok).then_some(SEASON_ID);
    let shown = png.as_ref().is_some_and(Result::is_ok).then_some(CHART_ID);
    Ok(Rendered {
        text: text::render(letter),
        html: html::render(letter, shown, season_shown)?,
        svg,
        png,
        season_svg,
        season_png,
        calendar: (!letter.jobs.is_empty()).then(|| calendar::ics(letter, revision)),
    })
}
