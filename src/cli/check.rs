//! `covercast check`: what was understood, or every mistake.

mod remarks;
pub(super) mod report;
mod ties;

use std::io::IsTerminal as _;
use std::path::PathBuf;

use chrono::{DateTime, NaiveDate, Utc};
use clap::Args;

use remarks::{dated_remarks, late_letter, tie_remarks};
use report::{Report, count, days, length};

use super::Failure;
use crate::daemon::{LetterTime, schedule};
use crate::deliver::Transport;
use crate::farm::Farm;
use crate::farm::block::Block;
use crate::farm::cover::CoverSet;
use crate::physics::mast;
use crate::settings::{self, Colour, LoadedFarm, LoadedService, Mistakes, Service};
use crate::sources::station::{Station, Way};
use crate::units::{DisplayUnits, Metres};

/// What to check.
#[derive(Debug, Args)]
pub(super) struct CheckArgs {
    /// Folder with farm.toml and harvest.csv
    #[arg(long, value_name = "DIR")]
    farm: PathBuf,
    /// Service file; without it the service.toml in the farm folder, if there is one
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
    /// Check as if it were this instant (RFC 3339)
    #[arg(long, value_name = "TIME")]
    now: Option<DateTime<Utc>>,
}

/// The report of a good farm; `wall` is the present.
///
/// # Errors
/// Code 2 with every mistake of all files drawn.
pub(super) fn check(args: &CheckArgs, wall: DateTime<Utc>) -> Result<String, Failure> {
    let now = args.now.unwrap_or(wall);
    let colour = |terminal: bool| if terminal { Colour::Terminal } else { Colour::Plain };
    let beside = args.farm.join("service.toml");
    let service_file = args.service.clone().or_else(|| beside.exists().then_some(beside));
    let service = service_file.map(|file| settings::load_service(&file, now)).transpose();
    let (farm, service) = match (settings::load_farm(&args.farm), service) {
        (Ok(farm), Ok(service)) => (farm, service),
        (farm, service) => {
            let all = [farm.err(), service.err()].into_iter().flatten().reduce(Mistakes::and);
            let drawn = all
                .map(|all| all.draw(colour(std::io::stderr().is_terminal())))
                .unwrap_or_default();
            return Err(Failure { code: 2, text: drawn });
        }
    };
    Ok(report(
        &farm,
        service.as_ref(),
        now,
        colour(std::io::stdout().is_terminal()),
    ))
}

/// What was understood, at most 100 columns wide.
fn report(loaded: &LoadedFarm, service: Option<&LoadedService>, now: DateTime<Utc>, colour: Colour) -> String {
    let farm = &loaded.farm;
    let today = farm.site.zone.day(now);
    let rows: usize = farm.blocks.iter().map(|block| block.rows.len()).sum();
    let cover = Metres(farm.blocks.iter().map(|block| block.cover().0).sum());
    let mut out = Report::default();
    out.line(&farm.site.name);
    out.line(&format!(
        "{}, {rows} rows, {} of cover if all lay out.",
        count(farm.blocks.len(), "block"),
        length(farm, cover)
    ));
    out.line(&format!(
        "Clock: {}, {} (zone rules {}).",
        farm.site.zone.name(),
        farm.site.zone.local(now).format("now %a %-d %b %Y %H:%M"),
        loaded.zone_data,
    ));
    out.line("");
    blocks(&mut out, farm, today);
    out.line("");
    people(&mut out, farm);
    out.wrapped(&match &loaded.farm.climate {
        Some(climate) => format!(
            "Climate: {} of {} half-days of the year told in climate.csv, from {}.",
            climate.known(),
            2 * crate::farm::climate::WEEKS,
            count(usize::try_from(climate.years()).unwrap_or_default(), "year")
        ),
        None => "Climate: no climate.csv, so coarse numbers for anywhere stand beyond the forecast.".to_owned(),
    });
    out.line("");
    ties::ties(&mut out, farm);
    out.line("");
    let (letter, default) = match service {
        Some(loaded) => (loaded.service.daemon.letter.clone(), ""),
        None => (
            LetterTime::Daily(settings::LETTER_AT),
            " (no service file yet: the usual time)",
        ),
    };
    let runs = schedule::next_runs(&letter, &farm.site.zone, now, 3);
    let runs: Vec<String> = runs
        .iter()
        .map(|at| farm.site.zone.local(*at).format("%a %-d %b %Y %H:%M").to_string())
        .collect();
    out.line(&format!("Next letters{default}"));
    runs.iter().for_each(|run| out.line(&format!("  {run}")));
    if let Some(loaded) = service {
        out.line("");
        service_lines(&mut out, &loaded.service);
    }
    let late = late_letter(farm, &letter).into_iter().collect();
    let dated = [late, dated_remarks(farm, today), tie_remarks(farm)].concat();
    if !dated.is_empty() {
        out.line("");
        dated.iter().for_each(|remark| out.wrapped(remark));
    }
    let remarks: Vec<_> = loaded
        .remarks
        .iter()
        .chain(service.into_iter().flat_map(|loaded| &loaded.remarks))
        .cloned()
        .collect();
    if !remarks.is_empty() {
        out.line("");
        out.text.push_str(&settings::draw_remarks(&remarks, colour));
    }
    out.line("");
    out.line(&match remarks.len() + dated.len() {
        0 => "Good. No mistakes, no remarks.".to_owned(),
        many => format!("Good. No mistakes; {} to look at.", count(many, "remark")),
    });
    out.text
}

fn blocks(out: &mut Report, farm: &Farm, today: NaiveDate) {
    let wide = |names: &mut dyn Iterator<Item = usize>, head: &str| names.max().unwrap_or(0).max(head.len());
    let block = wide(&mut farm.blocks.iter().map(|block| block.id.0.chars().count()), "Block");
    let variety = wide(
        &mut farm.blocks.iter().map(|block| block.variety.chars().count()),
        "Variety",
    )
    .min(18);
    out.line(&format!(
        "{:block$}  {:variety$}  Rows  {:>9}  Next pick",
        "Block", "Variety", "Cover"
    ));
    for one in &farm.blocks {
        out.line(&format!(
            "{:block$}  {:variety$}  {:>4}  {:>9}  {}",
            one.id.0,
            one.variety.chars().take(variety).collect::<String>(),
            one.rows.len(),
            length(farm, one.cover()),
            next_pick(farm, one, today),
        ));
    }
    out.line("");
    let own = farm
        .sets
        .iter()
        .all(|set| matches!(set.blocks.as_slice(), [only] if only.0 == set.id.0));
    if own {
        out.line("Covers: each block has its own, just long enough.");
    } else {
        farm.sets.iter().for_each(|set| out.wrapped(&set_line(farm, set)));
    }
}

fn next_pick(farm: &Farm, block: &Block, today: NaiveDate) -> String {
    let Some(pick) = farm.next_pick(&block.id, today) else {
        return "not known".to_owned();
    };
    let own = if pick.either_way.is_none() { " (usual)" } else { "" };
    let days = pick.either_way_on(today);
    format!(
        "{} to {}, {} either way{own}",
        pick.first.format("%a %-d %b"),
        pick.last.format("%a %-d %b"),
        count(usize::try_from(days).unwrap_or_default(), "day"),
    )
}

fn set_line(farm: &Farm, set: &CoverSet) -> String {
    let blocks: Vec<&str> = set.blocks.iter().map(|block| block.0.as_str()).collect();
    let width = match farm.site.units {
        DisplayUnits::Metric => format!("{} m", set.width.0),
        DisplayUnits::Imperial => format!("{:.1} ft", farm.site.units.length(set.width)),
    };
    format!(
        "{}: {} of {width} wide cover, rolls of {}, for {}.",
        set.id.0,
        length(farm, set.length),
        length(farm, set.roll_length),
        blocks.join(", then "),
    )
}

fn people(out: &mut Report, farm: &Farm) {
    let crew = &farm.crew;
    let clock = |time: chrono::NaiveTime| time.format("%H:%M").to_string();
    out.wrapped(&format!(
        "Crew: {}, {}, {} to {}, break {} to {}.",
        match crew.people {
            1 => "1 person".to_owned(),
            many => format!("{many} people"),
        },
        days(&crew.workdays),
        clock(crew.start),
        clock(crew.end),
        clock(crew.break_start),
        clock(crew.break_end),
    ));
    for machine in &farm.machines {
        let rate = |what: &str, rate: Option<Metres>| rate.map(|rate| format!("{what} {} an hour", length(farm, rate)));
        let rates: Vec<String> = [rate("lays", machine.lay_per_hour), rate("winds", machine.lift_per_hour)]
            .into_iter()
            .flatten()
            .collect();
        out.line(&format!("Machine: {}, {}.", machine.name, rates.join(", ")));
    }
    let readers: Vec<&str> = farm
        .people
        .iter()
        .filter(|person| person.letter)
        .map(|person| person.name.as_str())
        .collect();
    let contact = farm
        .contact()
        .map(|person| format!(" If none comes: ring {}.", person.name))
        .unwrap_or_default();
    out.wrapped(&format!("Letter to: {}.{contact}", readers.join(", ")));
    if !farm.blackouts.is_empty() {
        out.line(&format!(
            "No entry: {} in blackouts.csv.",
            count(farm.blackouts.len(), "time")
        ));
    }
    for hot in &farm.hot_cutting {
        out.line(&format!(
            "Hot cutting: {} to {}; the letter warns of fire.",
            hot.from, hot.to
        ));
    }
}

/// How a station's readings come, and what becomes of its wind.
fn station_line(station: &Station) -> String {
    let way = match &station.way {
        Way::Csv { drop, .. } => format!("tables in {}", drop.folder.display()),
        Way::Json { drop, .. } => format!("JSON in {}", drop.folder.display()),
        Way::Metar { drop, code } => format!("METAR of {code} in {}", drop.folder.display()),
        Way::Mqtt { broker, .. } => format!("{} from {}, port {}", broker.topic, broker.host, broker.port),
    };
    let wind = match station.exposure {
        None => "its wind is not used: wind_height and terrain are not declared".to_owned(),
        Some(exposure) => match mast::factor(exposure) {
            None => "its wind is not used: the sensor stands too low among what surrounds it".to_owned(),
            Some(factor) => format!("its wind times {factor:.2} is taken as the wind at 10 m in the open"),
        },
    };
    format!(
        "Station {}: {}; {wind}.",
        settings::clean(&station.name),
        settings::clean(&way)
    )
}

fn service_lines(out: &mut Report, service: &Service) {
    let names: Vec<&str> = service
        .sources
        .services
        .iter()
        .map(|service| service.name.as_str())
        .collect();
    out.wrapped(&format!(
        "Weather: {}, looked at every {} minutes.",
        names.join(", then "),
        service.daemon.pull_minutes
    ));
    for station in &service.stations {
        out.wrapped(&station_line(station));
    }
    let way = match &service.deliver.transport {
        Transport::Files { folder } => format!("into files in {}", settings::clean(&folder.display().to_string())),
        Transport::Smtp(smtp) => format!("through {}, port {}", smtp.host, smtp.port),
    };
    out.line(&format!("Mail: {way}."));
    out.wrapped(&format!("Sender: {}.", service.deliver.from));
    out.line(&format!(
        "State: {}.",
        settings::clean(&service.state.display().to_string())
    ));
}
