//! A run of hours: the water on both faces of the cover, its temperature and the ground beneath.
//!
//! In:     hourly weather of one run, the block's light over the same hours.
//! Out:    for each hour the stores at its end and what passed in it.
//!
//! An hour has six sub-steps, each in the order rain, conductances, gap, radiation, wet shares,
//! balance, stores, ground. Hours that are not known are handled so that less data never looks drier.

use super::ground::{Ground, Supply};
use super::hour::{CoverHour, Hour, Row, Start};
use super::sheet::{self, Balance, Surroundings, WetPart};
use super::sunlight::{SunHour, Sunlight};
use super::vapour::Saturation;
use super::wind::Shelter;
use super::{C_P, EPSILON, R_D, SIGMA, SUB_STEPS, kelvin, kelvin4, sky, vapour};
use crate::alley::Alley;

/// Length of an hour \[s\].
const HOUR_S: f64 = 3600.0;

/// Water below this \[mm\] is none.
const NONE_MM: f64 = 1e-12;

/// Most dew that an hour brings on top and on the underside \[mm\]: 0.06 mm/h, 0.07 to 0.09 mm/h with
/// vapour from wet soil (Garratt and Segal 1988, abstract).
const MOST_DEW_MM: (f64, f64) = (0.06, 0.09);

/// Takes a run of the weather through the cover. `rows` and the hours of `light` belong together; the
/// answer has as many hours as both have.
pub fn run(alley: &Alley, light: &Sunlight, rows: &[Row], start: Start) -> Vec<CoverHour> {
    stretch(alley, &light.hours, light.sky_view, rows, start)
}

/// The same for a stretch of hours cut from a [`Sunlight`] and from its rows alike.
pub fn stretch(alley: &Alley, hours: &[SunHour], sky_view: f64, rows: &[Row], start: Start) -> Vec<CoverHour> {
    let mut cover = Cover::new(alley, rows, start);
    rows.iter()
        .zip(hours)
        .map(|(row, sun)| cover.hour(row, sun, sky_view))
        .collect()
}

/// The same with every sub-step cut in `parts`.
#[cfg(test)]
pub(super) fn in_parts(alley: &Alley, light: &Sunlight, rows: &[Row], start: Start, parts: usize) -> Vec<CoverHour> {
    let mut cover = Cover {
        parts,
        ..Cover::new(alley, rows, start)
    };
    rows.iter()
        .zip(&light.hours)
        .map(|(row, sun)| cover.hour(row, sun, light.sky_view))
        .collect()
}

/// What stays the same for a block, and the state of its cover.
struct Cover<'a> {
    alley: &'a Alley,
    shelter: Shelter,
    pressure: f64,
    /// Gap between ground and cloth, and wind in it over wind at the cover.
    gap_m: f64,
    gap_wind: f64,
    root_exponent: bool,
    film: f64,
    pond: f64,
    under: f64,
    sheet_c: f64,
    ground: Ground,
    /// Saturation at the cloth, at the ground and at the dew point.
    saturation: [Saturation; 3],
    before: Option<Before>,
    water_known: bool,
    doubtful: bool,
    /// Parts into which each sub-step is cut: one, but for the test that more change little.
    parts: usize,
}

/// The hour before, as interpolation needs it.
#[derive(Clone, Copy)]
struct Before {
    hour: Hour,
    inside: f64,
    sine: f64,
}

/// Sums over one sub-step.
struct Step {
    light: f64,
    wind: f64,
    runoff: f64,
    drip: f64,
    evap_top: f64,
    evap_under: f64,
    residual: f64,
}

impl<'a> Cover<'a> {
    fn new(alley: &'a Alley, rows: &[Row], start: Start) -> Self {
        let mut sum = (0.0, 0.0);
        for hour in rows.iter().take(24).filter_map(Row::hour) {
            sum = (sum.0 + hour.air_c, sum.1 + 1.0);
        }
        let mean_c = if sum.1 > 0.0 { sum.0 / sum.1 } else { 10.0 };
        let full = start == Start::Full;
        let gap_m = (alley.sag_factor * alley.tie_height_m).max(0.03);
        Self {
            alley,
            shelter: Shelter::of(alley),
            pressure: vapour::pressure_kpa(alley.alt_m),
            gap_m,
            gap_wind: gap_m / (gap_m + 0.2),
            root_exponent: (alley.wet_exp - 0.5).abs() < 1e-12,
            film: if full { alley.c_film_mm } else { 0.0 },
            pond: if full { alley.c_pond_mm } else { 0.0 },
            under: if full { alley.c_under_mm } else { 0.0 },
            sheet_c: mean_c,
            ground: Ground {
                surface_c: mean_c,
                deep_c: mean_c,
                soil_mm: alley.soil_wetness0 * alley.soil_max_mm,
            },
            saturation: [Saturation::about(mean_c); 3],
            before: None,
            water_known: !full,
            doubtful: full,
            parts: 1,
        }
    }

    /// Steps in an hour.
    fn steps(&self) -> f64 {
        (SUB_STEPS * self.parts) as f64
    }

    /// Length of a step \[s\].
    fn dt(&self) -> f64 {
        HOUR_S / self.steps()
    }

    fn hour(&mut self, row: &Row, sun: &SunHour, sky_view: f64) -> CoverHour {
        match row {
            Row::Known(hour) => self.known(hour, sun, sky_view),
            Row::Bridged(hour) => self.bridged(hour, sun, sky_view),
            Row::Hole => self.hole(),
        }
    }

    fn known(&mut self, hour: &Hour, sun: &SunHour, sky_view: f64) -> CoverHour {
        let sine = (hour.direction_deg.to_radians() - self.alley.row_azimuth_deg.to_radians()).sin();
        let here = Before {
            hour: *hour,
            inside: self.shelter.ratios_for(sine * sine).inside,
            sine: sine.abs(),
        };
        let before = self.before.unwrap_or(here);
        let mut out = CoverHour::default();
        let (parts, steps) = (self.parts, self.steps());
        let sun_steps = sun.steps.iter().flat_map(|step| std::iter::repeat_n(step, parts));
        for (sub_step, sun_step) in (0_u32..).zip(sun_steps) {
            let f = (f64::from(sub_step) + 0.5) / steps;
            let from = if f < 0.5 { &before } else { &here };
            let shortwave = sun.shortwave(sun_step, hour.shortwave);
            let now = Now {
                air_c: mix(before.hour.air_c, hour.air_c, f),
                dew_c: mix(before.hour.dew_c, hour.dew_c, f),
                wind: mix(before.hour.wind, hour.wind, f).max(0.0),
                cloud: mix(before.hour.cloud, hour.cloud, f).clamp(0.0, 1.0),
                inside: from.inside,
                sine: from.sine,
                light: sun_step.at_cover(shortwave, sky_view),
                rain: hour.rain_mm / steps,
                irrigation: hour.irrigation_mm / steps,
            };
            let step = self.step(&now, sky_view);
            out.light += step.light / steps;
            out.wind += step.wind / steps;
            out.runoff_mm += step.runoff;
            out.drip_mm += step.drip;
            out.evap_top_mm += step.evap_top;
            out.evap_under_mm += step.evap_under;
            out.residual = out.residual.max(step.residual.abs());
            out.wet_top += f64::from(u8::from(self.film >= self.alley.wet_thr_mm)) / steps;
            out.wet_under += f64::from(u8::from(self.under >= self.alley.wet_thr_mm)) / steps;
        }
        self.before = Some(here);
        self.water_known |= self.film < self.alley.wet_thr_mm && self.under < self.alley.wet_thr_mm;
        self.end(out)
    }

    /// Rain is known and falls, nothing dries, and the most dew comes on top of it.
    fn bridged(&mut self, hour: &Hour, sun: &SunHour, sky_view: f64) -> CoverHour {
        let alley = self.alley;
        let film = self.film + (1.0 - alley.rain_leak) * hour.rain_mm + MOST_DEW_MM.0;
        let under = self.under + alley.rain_leak * hour.rain_mm + MOST_DEW_MM.1;
        let pond = self.pond + alley.pond_share * (film - alley.c_film_mm).max(0.0);
        let known = self.water_known;
        let out = self.known(hour, sun, sky_view);
        self.film = self.film.max(film).min(alley.c_film_mm);
        self.under = self.under.max(under).min(alley.c_under_mm);
        self.pond = self.pond.max(pond).min(alley.c_pond_mm);
        self.water_known = known;
        self.doubtful = true;
        self.end(out)
    }

    /// Nothing is known: the cover may hold all it can, and the soil too.
    fn hole(&mut self) -> CoverHour {
        self.film = self.alley.c_film_mm;
        self.under = self.alley.c_under_mm;
        self.pond = self.alley.c_pond_mm;
        self.ground.soil_mm = self.alley.soil_max_mm;
        self.before = None;
        self.water_known = false;
        self.doubtful = true;
        self.end(CoverHour {
            wet_top: 1.0,
            wet_under: 1.0,
            ..CoverHour::default()
        })
    }

    fn end(&self, out: CoverHour) -> CoverHour {
        CoverHour {
            film_mm: self.film,
            pond_mm: self.pond,
            under_mm: self.under,
            sheet_c: self.sheet_c,
            ground_c: self.ground.surface_c,
            soil_mm: self.ground.soil_mm,
            water_known: self.water_known,
            doubtful: self.doubtful,
            ..out
        }
    }

    /// One sub-step, in the order of the model.
    fn step(&mut self, now: &Now, sky_view: f64) -> Step {
        let alley = self.alley;
        self.film += (1.0 - alley.rain_leak) * now.rain;
        self.under += alley.rain_leak * now.rain;
        let (mut runoff, mut drip) = self.overflow();

        let around = self.around(now, sky_view);
        let [at_cloth, ..] = &mut self.saturation;
        let Balance {
            sheet_c,
            film,
            pond,
            under,
            under_heat,
            residual,
            ..
        } = around.cloth.balance(self.sheet_c, at_cloth);
        self.sheet_c = sheet_c;

        let per_watt = self.dt() / around.latent_heat;
        let before = self.film + self.pond;
        self.film = drained(self.film, film * per_watt);
        self.pond = drained(self.pond, pond * per_watt);
        let evap_top = before - self.film - self.pond;
        let before = self.under;
        self.under = drained(self.under, under * per_watt);
        let evap_under = before - self.under;
        let over = self.overflow();
        runoff += over.0;
        drip += over.1;

        let gap_kpa = around.cloth.gap_kpa + ratio(under, around.latent * around.gap_vapour);
        let gap_c = around.cloth.gap_c + ratio(under_heat, around.rho_cp * around.gap_heat);
        let supply = Supply {
            light: now.light,
            sheet_c,
            gap_heat: around.rho_cp * around.g_b * (gap_c - self.ground.surface_c),
            evaporation: around.latent * around.k_g * (around.ground_kpa - gap_kpa),
            air_c: now.air_c,
            water_mm: alley.soil_infil * runoff + drip + now.irrigation,
            latent_heat: around.latent_heat,
        };
        let dt = self.dt();
        self.ground.step(alley, &supply, dt);
        Step {
            light: now.light,
            wind: around.wind,
            runoff,
            drip,
            evap_top,
            evap_under,
            residual,
        }
    }

    /// Lets go what the faces cannot hold: run-off from the top and drip from the underside \[mm\].
    fn overflow(&mut self) -> (f64, f64) {
        let alley = self.alley;
        let over = (self.film - alley.c_film_mm).max(0.0);
        self.film -= over;
        let caught = (alley.pond_share * over).min((alley.c_pond_mm - self.pond).max(0.0));
        self.pond += caught;
        let drip = (self.under - alley.c_under_mm).max(0.0);
        self.under -= drip;
        (over - caught, drip)
    }

    /// Conductances, gap references, radiation and wet shares.
    fn around(&mut self, now: &Now, sky_view: f64) -> Around {
        let alley = self.alley;
        let dew_c = (now.dew_c + alley.dew_bias_c).min(now.air_c);
        let [_, at_ground, at_dew] = &mut self.saturation;
        let air_kpa = at_dew.near(dew_c).0;
        let air_k = kelvin(now.air_c);
        let latent_heat = vapour::latent_heat(now.air_c);
        let rho_cp = C_P * 1000.0 * self.pressure / (R_D * air_k);
        // Density times heat capacity over the psychrometric constant: the pressure cancels.
        let latent = 1000.0 * EPSILON * latent_heat / (R_D * air_k);

        let wind = (now.inside * now.wind).max(alley.u_floor);
        let root = (wind / alley.plate_len_m).sqrt();
        let gap_wind = self.gap_wind * wind;
        let g_t = alley.g_min + alley.g_coef * root;
        let g_b = alley.g_min + alley.g_coef * (gap_wind / alley.plate_len_m).sqrt();
        let g_x = gap_wind * (self.gap_m / alley.cover_width_m) * (0.3 + 0.7 * now.sine) + alley.g_fabric;
        let k_g = self.ground.conductance(alley, g_b);
        let (gap_heat, gap_vapour) = (g_b + g_x, k_g + g_x);
        let ground_c = self.ground.surface_c;
        let ground_kpa = at_ground.near(ground_c).0;

        let sky = sky::emissivity(air_kpa, now.air_c, now.cloud);
        let from_air = alley.emissivity * SIGMA * kelvin4(now.air_c) * (sky_view * sky + 1.0 - sky_view);
        let from_ground = if alley.underside_off {
            0.0
        } else {
            alley.emissivity * SIGMA * kelvin4(ground_c)
        };
        let sun = (1.0 - alley.albedo - alley.transmittance) * now.light;

        let puddled = self.pond > 0.0;
        let film_share =
            self.wet_share(self.film / alley.c_film_mm) * if puddled { 1.0 - alley.pond_area } else { 1.0 };
        let top = latent * alley.le_ratio * g_t;
        let most = latent_heat / self.dt();
        let pond_area = if puddled { alley.pond_area } else { 0.0 };
        let under_share = self.wet_share(self.under / alley.c_under_mm);
        let through_gap = |share: f64| {
            let k_b = alley.le_ratio * g_b * share;
            latent * ratio(k_b * gap_vapour, k_b + gap_vapour)
        };
        let (under_heat, under) = if alley.underside_off {
            (0.0, WetPart::default())
        } else {
            let heat = rho_cp * ratio(g_b * gap_heat, g_b + gap_heat);
            (
                heat,
                WetPart {
                    drying: through_gap(under_share),
                    dewing: through_gap(1.0),
                    most: most * self.under,
                },
            )
        };
        Around {
            cloth: Surroundings {
                radiation_in: sun + from_air + from_ground,
                emission: sheet::emission(alley.emissivity, if alley.underside_off { 1.0 } else { 2.0 }),
                air_c: now.air_c,
                air_kpa,
                ground_c,
                top_heat: rho_cp * g_t,
                under_heat,
                gap_c: if gap_heat > 0.0 {
                    (g_b * ground_c + g_x * now.air_c) / gap_heat
                } else {
                    now.air_c
                },
                gap_kpa: if gap_vapour > 0.0 {
                    (k_g * ground_kpa + g_x * air_kpa) / gap_vapour
                } else {
                    air_kpa
                },
                film: WetPart {
                    drying: top * film_share,
                    dewing: top,
                    most: most * self.film,
                },
                pond: WetPart {
                    drying: top * pond_area,
                    dewing: 0.0,
                    most: most * self.pond,
                },
                under,
            },
            wind,
            rho_cp,
            latent,
            latent_heat,
            g_b,
            k_g,
            gap_heat,
            gap_vapour,
            ground_kpa,
        }
    }

    /// Share of a face that is wet when it holds `filled` of what it can.
    fn wet_share(&self, filled: f64) -> f64 {
        let filled = filled.min(1.0);
        if self.root_exponent {
            filled.sqrt()
        } else {
            filled.powf(self.alley.wet_exp)
        }
    }
}

/// Weather of one sub-step at the block.
struct Now {
    air_c: f64,
    dew_c: f64,
    wind: f64,
    cloud: f64,
    /// Wind at the cover over wind at 10 m.
    inside: f64,
    /// Sine between wind and row, without sign.
    sine: f64,
    light: f64,
    rain: f64,
    irrigation: f64,
}

/// The cloth's surroundings and what the ground needs of them.
struct Around {
    cloth: Surroundings,
    wind: f64,
    rho_cp: f64,
    /// Heat per m/s and kPa of vapour.
    latent: f64,
    latent_heat: f64,
    g_b: f64,
    k_g: f64,
    gap_heat: f64,
    gap_vapour: f64,
    ground_kpa: f64,
}

/// Value a share `f` of the way from `a` to `b`.
fn mix(a: f64, b: f64, f: f64) -> f64 {
    a + f * (b - a)
}

/// `a / b`, nothing where nothing passes.
fn ratio(a: f64, b: f64) -> f64 {
    if b > 0.0 { a / b } else { 0.0 }
}

/// A store less what evaporated.
fn drained(store: f64, evaporated: f64) -> f64 {
    let left = store - evaporated;
    if left < NONE_MM { 0.0 } else { left }
}
