//! `covercast trace`: the cover model hour by hour, from one file of block numbers and one of weather.
//!
//! The run starts with an empty cover at its first row. Local days come from `utc_offset_h`.

mod daily;
mod input;
mod picture;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use chrono::NaiveDateTime;

use super::Failure;
use crate::alley::Alley;
use crate::farm::Job;
use crate::farm::limits::Limits;
use crate::physics::tie_load::Ties;
use crate::physics::wetness_rules::Rules;
use crate::physics::wind::Shelter;
use crate::physics::{CoverHour, Hour, Row, Start, Sunlight, run};
use crate::units::{Celsius, MetresPerSecond, Millimetres};
use crate::weather::Stamps;
use crate::workability::doubt;
use crate::workability::hour::{Setting, Worths};
use crate::workability::verdict::{Conditions, Factor};

/// Arguments of `covercast trace`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Numbers of the block, JSON; what is left out has its default
    #[arg(long, value_name = "FILE")]
    params: PathBuf,
    /// Hourly weather, CSV
    #[arg(long, value_name = "FILE")]
    weather: PathBuf,
    /// Form of the hours
    #[arg(long, value_enum, default_value_t = Format::Csv)]
    format: Format,
    /// Print the summary by local day as JSON instead of the hours
    #[arg(long, conflicts_with = "rules")]
    daily: bool,
    /// Add three simple rules of wetness as last columns, for comparison
    #[arg(long)]
    rules: bool,
    /// Draw the last ten days into this file instead, by its ending as SVG or PNG
    #[arg(long, value_name = "FILE", conflicts_with_all = ["rules", "daily"])]
    picture: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    Csv,
}

/// Reads both files and answers what is to be printed.
///
/// # Errors
/// Code 2 with file, line and cure where a file cannot be read or holds what cannot be; code 1 where a picture cannot
/// be drawn or written.
pub(super) fn trace(arguments: &Arguments) -> Result<String, Failure> {
    let alley = input::alley(&arguments.params, &read(&arguments.params)?)?;
    let weather = input::weather(&arguments.weather, &read(&arguments.weather)?)?;
    let trace = Trace::of(alley, &weather);
    if let Some(file) = &arguments.picture {
        return picture::draw(&trace, &arguments.params, file);
    }
    if arguments.daily {
        return daily::json(&trace);
    }
    match arguments.format {
        Format::Csv => Ok(trace.csv(arguments.rules)),
    }
}

fn read(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure {
        code: 2,
        text: format!(
            "{} cannot be read: {error}. Check the path and that the file is plain text.",
            path.display()
        ),
    })
}

/// The jobs that have score columns, in their order, and the name in the daily summary.
const JOBS: [(Job, &str); 4] = [
    (Job::Lift, "LIFT"),
    (Job::Lay, "LAY"),
    (Job::Fold, "FOLD"),
    (Job::Check, "CHECK"),
];

/// Weather as `trace` reads it.
struct Weather {
    stamps: Stamps,
    hours: Vec<Hour>,
    thunder: Vec<bool>,
}

/// A block under its weather.
struct Trace {
    alley: Alley,
    stamps: Stamps,
    light: Sunlight,
    weather: Vec<Hour>,
    thunder: Vec<bool>,
    cover: Vec<CoverHour>,
    wind: Vec<Wind>,
    critical_gust: f64,
}

/// What the cover and the ties feel of one hour's wind.
#[derive(Clone, Copy)]
struct Wind {
    gust: f64,
    inside: f64,
    edge: f64,
    pull: f64,
    utilisation: f64,
}

impl Trace {
    fn of(alley: Alley, weather: &Weather) -> Self {
        let light = Sunlight::of(&alley, weather.stamps);
        let rows: Vec<Row> = weather.hours.iter().map(|hour| Row::Known(*hour)).collect();
        let (shelter, ties) = (Shelter::of(&alley), Ties::of(&alley));
        let wind = weather
            .hours
            .iter()
            .map(|hour| Wind::of(&shelter, &ties, hour))
            .collect();
        Self {
            cover: run::run(&alley, &light, &rows, Start::Empty),
            critical_gust: ties.critical_gust(&shelter),
            stamps: weather.stamps,
            weather: weather.hours.clone(),
            thunder: weather.thunder.clone(),
            wind,
            light,
            alley,
        }
    }

    /// Worths of row `k` with wind divided by `alpha` and water the worst of `margin` more rows before.
    fn worths(&self, job: Job, limits: &Limits, k: usize, alpha: f64, margin: usize) -> Option<Worths> {
        let (hour, wind) = (self.weather.get(k)?, self.wind.get(k)?);
        let water = self.cover.get(k.saturating_sub(1 + margin)..=k)?;
        let worst = |of: fn(&CoverHour) -> f64| Millimetres(water.iter().map(of).fold(0.0, f64::max));
        let setting = Setting {
            elevation_deg: self.light.hours.get(k)?.elevation_deg,
            thunder: *self.thunder.get(k)?,
            snow: false,
            conditions: Conditions {
                gust: MetresPerSecond(wind.gust / alpha),
                gust_cover: MetresPerSecond(wind.inside / alpha),
                rain: Millimetres(hour.rain_mm),
                film: worst(|hour| hour.film_mm),
                under: worst(|hour| hour.under_mm),
                pond: worst(|hour| hour.pond_mm),
                air: Celsius(hour.air_c),
            },
        };
        Some(Worths::of(job, limits, &setting))
    }

    /// Worth and reason of row `k` with full limits.
    fn plain(&self, job: Job, k: usize) -> (f64, Factor) {
        self.worths(job, &Limits::default(), k, 1.0, 0)
            .map_or((0.0, Factor::Daylight), |worths| worths.weakest())
    }

    /// Worth of row `k` with the limits of a single forecast issued an hour before the first row.
    fn reduced(&self, job: Job, k: usize, job_hours: f64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "row numbers")]
        let lead = k as f64 + 1.0 + 0.5 * job_hours;
        self.worths(job, &Limits::default(), k, doubt::alpha(lead), doubt::dry_margin(lead))
            .map_or(0.0, |worths| worths.weakest().0)
    }

    /// Local time of each row's stamp.
    fn local(&self) -> Vec<NaiveDateTime> {
        #[expect(clippy::cast_possible_truncation, reason = "an offset within 14 h")]
        let offset = chrono::TimeDelta::seconds((self.alley.utc_offset_h * 3600.0).round() as i64);
        (0..self.stamps.count)
            .map(|k| self.stamps.at(k).naive_utc() + offset)
            .collect()
    }

    fn csv(&self, rules: bool) -> String {
        let mut text = String::from(
            "time,film_mm,pond_mm,under_mm,t_sheet,t_ground,soil_mm,wet_top_frac,wet_under_frac,evap_top_mm,evap_under_mm,\
             runoff_mm,drip_mm,s_cover_wm2,u_cover,gust_cover,gust_edge,tie_load_n,tie_util,score_lift,score_lay,score_fold,\
             score_check,reason_lift,reason_lay,reason_fold,reason_check",
        );
        text.push_str(if rules {
            ",rule_rh90,rule_depression2,rule_either_or_rain\n"
        } else {
            "\n"
        });
        for (k, ((cover, wind), hour)) in self.cover.iter().zip(&self.wind).zip(&self.weather).enumerate() {
            text.push_str(&self.stamps.at(k).format("%Y-%m-%dT%H:%M").to_string());
            for value in [
                cover.film_mm,
                cover.pond_mm,
                cover.under_mm,
                cover.sheet_c,
                cover.ground_c,
                cover.soil_mm,
                cover.wet_top,
                cover.wet_under,
                cover.evap_top_mm,
                cover.evap_under_mm,
                cover.runoff_mm,
                cover.drip_mm,
                cover.light,
                cover.wind,
                wind.inside,
                wind.edge,
                wind.pull,
                wind.utilisation,
            ] {
                // Adding zero turns a rounded -0 into 0.
                let _ = write!(text, ",{:.5}", (value * 1e5).round() / 1e5 + 0.0);
            }
            let scores = JOBS.map(|(job, _)| self.plain(job, k));
            for (score, _) in scores {
                let _ = write!(text, ",{score:.4}");
            }
            for (_, factor) in scores {
                let _ = write!(text, ",{}", factor.code());
            }
            if rules {
                let said = Rules::of(hour.air_c, hour.dew_c, hour.rain_mm);
                let wet = [said.humid, said.close, said.either_or_rain];
                for rule in wet {
                    let _ = write!(text, ",{}", u8::from(rule));
                }
            }
            text.push('\n');
        }
        text
    }
}

impl Wind {
    fn of(shelter: &Shelter, ties: &Ties, hour: &Hour) -> Self {
        let gust = hour.gust.max(hour.wind);
        let ratios = shelter.ratios(hour.direction_deg);
        let edge = shelter.gust(ratios.edge, hour.wind, gust);
        Self {
            gust,
            inside: shelter.gust(ratios.inside, hour.wind, gust),
            edge,
            pull: ties.pull(edge, ratios.sin2),
            utilisation: ties.utilisation(edge, ratios.sin2),
        }
    }
}
