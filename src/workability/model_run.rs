//! The cover model of one class of blocks under every run of a timeline: computed once, used for all
//! jobs and for all blocks whose numbers are the same.

use chrono::{Datelike, TimeDelta};

use super::rows::rows;
use crate::alley::Alley;
use crate::farm::block::Block;
use crate::farm::zone::Zone;
use crate::physics::lanes::{self, Passed};
use crate::physics::sun::SunTrack;
use crate::physics::tie_load::Ties;
use crate::physics::wind::{Ratios, Shelter};
use crate::physics::{CoverHour, Row, Start, Sunlight};
use crate::weather::{Quantity, Run, Series, Stamps, Timeline};

/// Hours of past below which the cover's state at the start is not known.
const ENOUGH_PAST_H: usize = 48;

/// What is added to the water of a run that met unknown hours: a share, and a depth \[mm\]. Soil and
/// ground still differ a little after both faces were seen dry; less data must not look drier.
const DOUBT: (f64, f64) = (1.10, 0.005);

/// One class of blocks under all runs.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelRun {
    /// The numbers of the class.
    pub alley: Alley,
    /// Irrigation by row \[mm\].
    pub irrigation: Vec<f64>,
    /// Sun and shade.
    pub light: Sunlight,
    /// The runs, in the order of the timeline.
    pub members: Vec<Member>,
    /// The main forecast beside them.
    pub main: Option<Member>,
    /// The 10 m gust at which a tie reaches what it may carry \[m/s\].
    pub critical_gust: f64,
}

/// One run of the weather over the class.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Its hours.
    pub hours: Vec<MemberHour>,
    /// The same as the balance read them.
    pub rows: Vec<Row>,
    /// Rows up to the last with any value.
    pub horizon: usize,
}

/// One hour of one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MemberHour {
    /// Wind, rain and warmth, or what is missing.
    pub weather: Result<Felt, Quantity>,
    /// Water on the cover at the end of the hour.
    pub water: Water,
}

/// What the crew, the cover and the ties feel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Felt {
    /// Gust at 10 m \[m/s\].
    pub gust: f64,
    /// Gust at the cover between the rows \[m/s\].
    pub gust_cover: f64,
    /// Pull on the ties over what they may carry, most exposed row.
    pub utilisation: f64,
    /// Rain \[mm\].
    pub rain: f64,
    /// Air \[°C\].
    pub air: f64,
    /// Thunder about.
    pub thunder: bool,
    /// Snow falls or lies.
    pub snow: bool,
}

/// Water on both faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// On top \[mm\].
    pub film: f64,
    /// In puddles \[mm\].
    pub pond: f64,
    /// On the underside \[mm\].
    pub under: f64,
    /// Whether the top counts as wet.
    pub wet_top: bool,
    /// Whether the underside counts as wet.
    pub wet_under: bool,
    /// Whether it is frost.
    pub frost: bool,
    /// Whether it is known: no hole since both faces were last dry.
    pub known: bool,
    /// Whether an hour before was not fully known.
    pub doubtful: bool,
    /// Mean light at the cover \[W/m²\].
    pub light: f64,
}

impl ModelRun {
    /// Computes a class of blocks over a timeline; `irrigation` has one depth \[mm\] a row.
    pub fn of(alley: &Alley, irrigation: Vec<f64>, timeline: &Timeline) -> Self {
        Self::under(alley, irrigation, timeline, &Sunlight::track(alley, timeline.stamps))
    }

    /// The same under a sun already tracked for the place.
    pub fn under(alley: &Alley, irrigation: Vec<f64>, timeline: &Timeline, track: &SunTrack) -> Self {
        let light = Sunlight::under(alley, timeline.stamps, track);
        let (shelter, ties) = (Shelter::of(alley), Ties::of(alley));
        let start = if timeline.past_hours < ENOUGH_PAST_H {
            Start::Full
        } else {
            Start::Empty
        };
        let runs: Vec<&Run> = timeline.runs.iter().chain(&timeline.main).collect();
        let told: Vec<Told> = runs.iter().map(|run| Told::by(run, timeline.stamps.count)).collect();
        let count = timeline.stamps.count;
        let member = |weather: &&Run| Member {
            hours: Vec::with_capacity(count),
            rows: if weather.any_direction {
                rows(&across(weather, alley, count), count, &irrigation)
            } else {
                rows(weather, count, &irrigation)
            },
            horizon: weather.horizon(),
        };
        let (mut members, rows): (Vec<Member>, Vec<Vec<Row>>) = (runs.iter().map(member))
            .map(|member| {
                (
                    Member {
                        rows: Vec::new(),
                        ..member
                    },
                    member.rows,
                )
            })
            .unzip();
        let slices: Vec<&[Row]> = rows.iter().map(Vec::as_slice).collect();
        lanes::run_all(alley, &light, &slices, start, &mut |number, passed| {
            if let (Some(member), Some(run), Some(told)) = (members.get_mut(number), runs.get(number), told.get(number))
            {
                let k = member.hours.len();
                member.hours.push(MemberHour {
                    weather: felt(run, told, k, &passed, &shelter, &ties),
                    water: Water::of(alley, &passed.cover),
                });
            }
        });
        for (member, rows) in members.iter_mut().zip(rows) {
            member.rows = rows;
        }
        let main = timeline.main.as_ref().and_then(|_| members.pop());
        Self {
            alley: *alley,
            members,
            main,
            critical_gust: ties.critical_gust(&shelter),
            irrigation,
            light,
        }
    }
}

impl Member {
    /// Rows up to the last that is known.
    pub fn known_until(&self) -> usize {
        self.hours
            .iter()
            .rposition(|hour| hour.weather.is_ok())
            .map_or(0, |last| last + 1)
    }
}

impl Water {
    fn of(alley: &Alley, cover: &CoverHour) -> Self {
        let doubted = |depth: f64| {
            if cover.doubtful {
                depth * DOUBT.0 + DOUBT.1
            } else {
                depth
            }
        };
        let (film, under) = (doubted(cover.film_mm), doubted(cover.under_mm));
        Self {
            film,
            pond: doubted(cover.pond_mm),
            under,
            wet_top: film >= alley.wet_thr_mm,
            wet_under: under >= alley.wet_thr_mm,
            frost: cover.is_frost(alley),
            known: cover.water_known,
            doubtful: cover.doubtful,
            light: cover.light,
        }
    }

    /// Whether both faces count as dry.
    pub fn dry(&self) -> bool {
        !self.wet_top && !self.wet_under
    }
}

/// Which optional quantities a run tells at all.
struct Told {
    optional: Vec<Quantity>,
    /// Whether neither what is needed nor any of these has a gap.
    everything: bool,
}

impl Told {
    fn by(run: &Run, count: usize) -> Self {
        let told = |quantity: &Quantity| !run.of(*quantity).is_all_gaps();
        let optional: Vec<Quantity> = Quantity::OPTIONAL.into_iter().filter(told).collect();
        let whole = |quantity: &Quantity| run.of(*quantity).without_gaps(count).is_some();
        Self {
            everything: run
                .needed()
                .chain(optional.iter().copied())
                .all(|quantity| whole(&quantity)),
            optional,
        }
    }
}

/// A run with wind across the rows at every hour: it is the weakest at the cover and dries the least.
fn across(run: &Run, alley: &Alley, count: usize) -> Run {
    let direction = (alley.row_azimuth_deg + 90.0).rem_euclid(360.0);
    Run {
        wind_direction: Series::new(std::iter::repeat_n(Some(direction), count)),
        ..run.clone()
    }
}

/// Steps of the squared sine between wind and row that stand for any direction; loads change smoothly
/// between them.
const ANY_DIRECTION: u8 = 20;

fn felt(run: &Run, told: &Told, k: usize, passed: &Passed, shelter: &Shelter, ties: &Ties) -> Result<Felt, Quantity> {
    let value = |quantity: Quantity| run.of(quantity).get(k).ok_or(quantity);
    if !told.everything {
        for quantity in run.needed().chain(told.optional.iter().copied()) {
            value(quantity)?;
        }
    }
    let wind = value(Quantity::Wind)?;
    let gust = value(Quantity::Gust)?.max(wind);
    let (gust_cover, utilisation) = match passed.gust {
        _ if run.any_direction => (0..=ANY_DIRECTION)
            .map(|step| f64::from(step) / f64::from(ANY_DIRECTION))
            .map(|sin2| load(shelter, ties, shelter.ratios_for(sin2), wind, gust))
            .fold((0.0, 0.0), |worst: (f64, f64), next| {
                (worst.0.max(next.0), worst.1.max(next.1))
            }),
        Some(at_cover) => (at_cover.inside, ties.utilisation(at_cover.edge, at_cover.sin2)),
        None => load(
            shelter,
            ties,
            shelter.ratios(value(Quantity::WindDirection)?),
            wind,
            gust,
        ),
    };
    let is = |quantity: Quantity| run.of(quantity).get(k).is_some_and(|flag| flag > 0.5);
    Ok(Felt {
        gust,
        gust_cover,
        utilisation,
        rain: value(Quantity::Rain)?,
        air: value(Quantity::Temperature)?,
        thunder: is(Quantity::Thunder),
        snow: is(Quantity::Snow),
    })
}

/// Gust at the cover between the rows \[m/s\], and pull on the ties over what they may carry.
fn load(shelter: &Shelter, ties: &Ties, ratios: Ratios, wind: f64, gust: f64) -> (f64, f64) {
    (
        shelter.gust(ratios.inside, wind, gust),
        ties.utilisation(shelter.gust(ratios.edge, wind, gust), ratios.sin2),
    )
}

/// Irrigation of a block by row \[mm\]: each set's depth spread evenly over its hours.
pub fn irrigation(block: &Block, zone: &Zone, stamps: Stamps) -> Vec<f64> {
    let mut depths = vec![0.0; stamps.count];
    if block.irrigation.is_empty() || stamps.count == 0 {
        return depths;
    }
    // A set may have begun the evening before the first row.
    let mut day = zone.day(stamps.start(0)) - TimeDelta::days(1);
    let last = zone.day(stamps.at(stamps.count));
    while day <= last {
        for set in block.irrigation.iter().filter(|set| set.days.contains(&day.weekday())) {
            let begin = (zone.instant(day.and_time(set.from)) - stamps.start(0)).as_seconds_f64() / 3600.0;
            let length = set.length.0.max(1.0 / 60.0);
            let mut at = 0.0;
            for depth in &mut depths {
                let shared = (begin + length).min(at + 1.0) - begin.max(at);
                *depth += set.depth.0 * shared.max(0.0) / length;
                at += 1.0;
            }
        }
        day += TimeDelta::days(1);
    }
    depths
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one_hour(direction: Option<f64>) -> Run {
        let mut run = Run::unknown(1);
        for (quantity, value) in [
            (Quantity::Temperature, 14.0),
            (Quantity::DewPoint, 9.0),
            (Quantity::Wind, 6.0),
            (Quantity::Gust, 13.0),
            (Quantity::Rain, 0.0),
            (Quantity::Shortwave, 300.0),
            (Quantity::Cloud, 0.5),
        ] {
            run.of_mut(quantity).put(0, Some(value));
        }
        run.wind_direction.put(0, direction);
        run.any_direction = direction.is_none();
        run
    }

    #[test]
    fn without_a_direction_the_wind_comes_from_the_side_that_pulls_most() {
        let alley = Alley::default();
        let (shelter, ties) = (Shelter::of(&alley), Ties::of(&alley));
        let feel = |run: &Run| felt(run, &Told::by(run, 1), 0, &Passed::default(), &shelter, &ties).unwrap();
        let any = feel(&one_hour(None));
        for direction in (0..360).step_by(15) {
            let told = feel(&one_hour(Some(f64::from(direction))));
            assert!(any.utilisation * 1.001 >= told.utilisation, "{direction}°");
            assert!(any.gust_cover * 1.001 >= told.gust_cover, "{direction}°");
        }
        let mut hole = one_hour(None);
        hole.any_direction = false;
        assert_eq!(
            felt(&hole, &Told::by(&hole, 1), 0, &Passed::default(), &shelter, &ties),
            Err(Quantity::WindDirection)
        );
    }
}
