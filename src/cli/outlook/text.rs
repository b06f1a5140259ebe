//! The season ahead as text: weeks, where it binds, what would pay.

use std::fmt::Write as _;

use super::Season;
use crate::advice::words::{date, date_with_year, money, name, people};
use crate::farm::Farm;
use crate::farm::Job;
use crate::plan::prospect::{Binds, Due, Late, LeftOut, MORE_METRES, More, Pay};
use crate::units::Metres;

/// A gain below this is noise of the plan's search \[cents\]. Assumed.
const NOISE_CENTS: i64 = 2_000;

/// The report.
pub(super) fn render(season: &Season<'_>) -> String {
    let (farm, prospect) = (season.farm, &season.prospect);
    let mut out = format!(
        "{}: the season from {} on, before any forecast\n",
        name(&farm.site.name),
        date_with_year(prospect.today)
    );
    out.push_str(&match season.years {
        Some(years) if !prospect.coarse => format!("Usual weather: climate.csv, {years} {}.\n", if years == 1 { "year" } else { "years" }),
        _ => "Usual weather: coarse numbers for anywhere. Better: covercast outlook --from FILE.csv with hours observed near you.\n".to_owned(),
    });
    if prospect.weeks.is_empty() {
        out.push_str("\nNo picking to come is known, so nothing is due. Put the dates into harvest.csv.\n");
        return out;
    }
    weeks(&mut out, season);
    binds(&mut out, season);
    pays(&mut out, season);
    for (block, why) in &prospect.left_out {
        let why = match why {
            LeftOut::NoPick => "no picking to come is known; put it into harvest.csv",
            LeftOut::NoSet => "no set of covers serves it; name it in a [[set]]",
            LeftOut::TooLate => "fewer than seven days are left before picking: too late to lay",
        };
        let _ = writeln!(out, "\nLeft out: {}: {why}.", name(&block.0));
    }
    out.push_str("\nCounted as if nothing lay out yet. Usual is not a forecast: the morning letter decides.\n");
    out
}

fn weeks(out: &mut String, season: &Season<'_>) {
    let prospect = &season.prospect;
    let _ = writeln!(
        out,
        "\nHalf-days of {:.1} h. \"Lay\" and \"lift\": half-days usually fit for it; \"needs\": what the work due takes.\n",
        prospect.half_day.0
    );
    let _ = writeln!(
        out,
        "{:<11} {:>4} {:>5} {:>5}  {:>5}  {:<34}  {:>5}  To lift",
        "Week of", "Crew", "Lay", "Lift", "Needs", "To lay (28 days before picking)", "Needs"
    );
    for week in &prospect.weeks {
        let needs = |due: &Due| {
            if due.blocks.is_empty() {
                String::new()
            } else {
                format!("{:.1}", (due.crew.0 / prospect.half_day.0.max(0.5)).max(0.1))
            }
        };
        let line = format!(
            "{:<11} {:>4} {:>5.1} {:>5.1}  {:>5}  {:<34}  {:>5}  {}",
            date(week.monday),
            week.half_days,
            week.lay_usable,
            week.lift_usable,
            needs(&week.lay),
            work(season.farm, &week.lay),
            needs(&week.lift),
            work(season.farm, &week.lift)
        );
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

/// "Creek, Gate: 2030 m".
fn work(farm: &Farm, due: &Due) -> String {
    if due.blocks.is_empty() {
        return String::new();
    }
    let names: Vec<String> = due.blocks.iter().map(|block| name(&block.0)).collect();
    format!("{}: {}", names.join(", "), metres(farm, due.metres))
}

fn metres(farm: &Farm, length: Metres) -> String {
    format!(
        "{:.0} {}",
        farm.site.units.length(length),
        farm.site.units.length_sign()
    )
}

fn binds(out: &mut String, season: &Season<'_>) {
    let (farm, prospect) = (season.farm, &season.prospect);
    out.push_str("\nWhere it binds\n");
    if prospect.late.is_empty() && prospect.short.is_empty() {
        out.push_str("  Nowhere: crew, machine and rolls do, as things usually are.\n");
    }
    for short in &prospect.short {
        let least = if short.missing_at_least.0 > 0.5 {
            format!("and still {} with 21", metres(farm, short.missing_at_least))
        } else {
            "with 21 days they do".to_owned()
        };
        let _ = writeln!(
            out,
            "  Rolls: {} lacks {} from {} to {}, with 28 days of cover; {least}.",
            name(&short.set.0),
            metres(farm, short.missing),
            date(short.from),
            date(short.to)
        );
    }
    for late in &prospect.late {
        let _ = writeln!(out, "  {}", late_line(farm, late));
    }
}

fn late_line(farm: &Farm, late: &Late) -> String {
    let (who, cure) = match late.binds {
        Binds::Machine => (
            "Machine",
            format!("{:.1} machine hours more would do it", late.missing.0),
        ),
        Binds::Crew => (
            "Crew",
            format!(
                "{:.0} hours of work more would do it",
                (late.missing.0 * f64::from(farm.crew.people)).ceil()
            ),
        ),
    };
    format!(
        "{who}: {} of {} cannot all be {} by {}: {} are left, {cure}.",
        metres(
            farm,
            farm.block(&late.block).map(|block| block.cover()).unwrap_or_default()
        ),
        name(&late.block.0),
        if late.job == Job::Lay { "laid" } else { "lifted dry" },
        date(late.by),
        metres(farm, late.metres)
    )
}

fn pays(out: &mut String, season: &Season<'_>) {
    out.push_str("\nWhat more of it would bring, by the plan of the next twelve weeks\n");
    let Some(pays) = &season.pays else {
        out.push_str("  No picking within twelve weeks of which a cover could be planned: ask again nearer to it.\n");
        return;
    };
    for pay in pays {
        let _ = writeln!(out, "  {}: {}", more(season.farm, pay), gain(season.farm, pay));
    }
    out.push_str("  Before it is paid for. Values of colour and costs as in farm.toml.\n");
}

fn more(farm: &Farm, pay: &Pay) -> String {
    match &pay.more {
        More::Person => format!("One person more than {}", people(farm.crew.people)),
        More::Machine => "A second machine".to_owned(),
        More::Cover(set) => format!("{} more of {}", metres(farm, MORE_METRES), name(&set.0)),
    }
}

fn gain(farm: &Farm, pay: &Pay) -> String {
    if pay.gain_cents < NOISE_CENTS {
        "nothing to speak of".to_owned()
    } else {
        format!("about {}", money(&farm.costs.currency, pay.gain_cents as f64 / 100.0))
    }
}
