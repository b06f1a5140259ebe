//! The balance of several covers at once: the same steps as [`run`](crate::physics::run) takes.
//!
//! In:     weather of several runs, light of the block.
//! Out:    each hour of each run.
//!
//! Divisions are dear, so several share one: 1/a and 1/b are b and a over ab.
#![expect(clippy::indexing_slicing, reason = "every loop runs over the places of a buffer")]

use pulp::Simd;

use super::number::{Buffer, MOST, Wide};
use super::saturation::Saturation;
use super::shares::{AtCover, Shares};
use super::{Gust, Passed};
use crate::alley::Alley;
use crate::physics::hour::{CoverHour, Hour, Row, Start};
use crate::physics::sheet::{self, Surroundings, WetPart};
use crate::physics::sunlight::Sunlight;
use crate::physics::{C_P, EPSILON, R_D, SIGMA, SUB_STEPS, vapour};

/// Length of a sub-step \[s\].
const DT_S: f64 = 600.0;
/// Sub-steps in an hour.
const STEPS: f64 = SUB_STEPS as f64;
/// Seconds in a day.
const DAY_S: f64 = 86_400.0;
/// Step of the balance below which its root is taken along the tangents \[K\].
const CLOSE_K: f64 = 1e-5;
/// Longest step of the balance, and the range it looks in \[K\]: whatever needs more is solved by itself.
const STRIDE_K: f64 = 40.0;
/// See `STRIDE_K`.
const RANGE_C: (f64, f64) = (-120.0, 250.0);
/// Steps after which a stubborn run is solved inside its bracket.
const MOST_STEPS: usize = 12;
/// Water below this \[mm\] is none.
const NONE_MM: f64 = 1e-12;

/// Light of one hour, the same for all runs.
pub(super) type LightHour = [LightStep; SUB_STEPS];

/// Light of one sub-step.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct LightStep {
    /// Shortwave over the mean of the hour.
    share: f64,
    /// The mean of the hour times this is the clearness.
    clear: f64,
    /// Share of the beam that reaches the cover.
    beam: f64,
    /// Whether all light counts as diffuse.
    low: bool,
}

/// The light of all hours.
pub(super) fn light(light: &Sunlight) -> Vec<LightHour> {
    let hour = |hour: &crate::physics::sunlight::SunHour| {
        hour.steps.map(|step| {
            let share = hour.shortwave(&step, 1.0);
            let low = step.sin_elevation <= 0.05;
            LightStep {
                share,
                clear: if low {
                    0.0
                } else {
                    share / (step.outside * step.sin_elevation)
                },
                beam: step.beam,
                low,
            }
        })
    };
    light.hours.iter().map(hour).collect()
}

/// Weather of one instant as interpolation needs it.
#[derive(Clone, Copy)]
struct Instant<S: Simd> {
    air: Wide<S>,
    dew: Wide<S>,
    wind: Wide<S>,
    cloud: Wide<S>,
}

/// Sums over an hour.
struct Sums<S: Simd> {
    light: Wide<S>,
    wind: Wide<S>,
    runoff: Wide<S>,
    drip: Wide<S>,
    evap_top: Wide<S>,
    evap_under: Wide<S>,
    residual: Wide<S>,
    wet_top: Wide<S>,
    wet_under: Wide<S>,
}

/// What surrounds the cloth in one sub-step.
struct Around<S: Simd> {
    radiation_in: Wide<S>,
    air: Wide<S>,
    air_kpa: Wide<S>,
    top_heat: Wide<S>,
    under_heat: Wide<S>,
    gap_c: Wide<S>,
    gap_kpa: Wide<S>,
    film: Part<S>,
    pond: Part<S>,
    under: Part<S>,
}

/// One part of the balance that evaporates.
#[derive(Clone, Copy)]
struct Part<S: Simd> {
    drying: Wide<S>,
    dewing: Wide<S>,
    most: Wide<S>,
}

/// The fluxes of the cloth in balance.
struct Fluxes<S: Simd> {
    film: Wide<S>,
    pond: Wide<S>,
    under: Wide<S>,
    under_heat: Wide<S>,
}

/// What stays the same for the block.
struct Block {
    film_mm: f64,
    pond_mm: f64,
    under_mm: f64,
    per_film: f64,
    per_under: f64,
    per_soil: f64,
    gap_wind: f64,
    gap_root: f64,
    gap_length: f64,
    root: f64,
    rho_cp: f64,
    latent: f64,
    emission: f64,
    from_face: f64,
    absorbed: f64,
    to_ground: f64,
    drydown: f64,
    warming: f64,
    settling: f64,
    sky_view: f64,
}

/// The covers of several runs.
pub(super) struct Cover<'a, S: Simd> {
    alley: &'a Alley,
    shares: &'a Shares,
    block: Block,
    film: Wide<S>,
    pond: Wide<S>,
    under: Wide<S>,
    sheet: Wide<S>,
    /// By how much the cloth's temperature changed in the last sub-step: it likely goes on so.
    moved: Wide<S>,
    ground: Wide<S>,
    deep: Wide<S>,
    soil: Wide<S>,
    at_sheet: Saturation<S>,
    at_ground: Saturation<S>,
    at_dew: Saturation<S>,
    before: Option<(Instant<S>, AtCover<S>)>,
    known: [bool; MOST],
    doubtful: bool,
}

impl<'a, S: Simd> Cover<'a, S> {
    #[inline(always)]
    pub(super) fn new(
        simd: S,
        alley: &'a Alley,
        shares: &'a Shares,
        runs: &[(usize, &[Row])],
        start: Start,
        sky_view: f64,
    ) -> Self {
        let mut means = [10.0; MOST];
        for (place, mean) in means.iter_mut().enumerate().take(Wide::<S>::RUNS) {
            let (_, rows) = runs[place.min(runs.len() - 1)];
            let (sum, count) = rows
                .iter()
                .take(24)
                .filter_map(Row::hour)
                .fold((0.0, 0.0), |(sum, count), hour| (sum + hour.air_c, count + 1.0));
            if count > 0.0 {
                *mean = sum / count;
            }
        }
        let mean = Wide::of(simd, &means);
        let about = Saturation::about(simd, mean);
        let full = start == Start::Full;
        let held = |most: f64| Wide::all(simd, if full { most } else { 0.0 });
        let gap_m = (alley.sag_factor * alley.tie_height_m).max(0.03);
        let gap_wind = gap_m / (gap_m + 0.2);
        Self {
            alley,
            shares,
            block: Block {
                film_mm: alley.c_film_mm,
                pond_mm: alley.c_pond_mm,
                under_mm: alley.c_under_mm,
                per_film: 1.0 / alley.c_film_mm,
                per_under: 1.0 / alley.c_under_mm,
                per_soil: 1.0 / alley.soil_max_mm,
                gap_wind,
                gap_root: gap_wind.sqrt() * alley.g_coef,
                gap_length: gap_m / alley.cover_width_m,
                root: 1.0 / alley.plate_len_m,
                rho_cp: C_P * 1000.0 * vapour::pressure_kpa(alley.alt_m) / R_D,
                latent: 1000.0 * EPSILON / R_D,
                emission: sheet::emission(alley.emissivity, 2.0),
                from_face: alley.emissivity * SIGMA,
                absorbed: 1.0 - alley.albedo - alley.transmittance,
                to_ground: alley.transmittance * (1.0 - alley.ground_albedo),
                drydown: alley.soil_drydown_mm_d / alley.soil_max_mm * DT_S / DAY_S,
                warming: DT_S / alley.c_ground,
                settling: DT_S / (alley.tau_deep_d * DAY_S),
                sky_view,
            },
            film: held(alley.c_film_mm),
            pond: held(alley.c_pond_mm),
            under: held(alley.c_under_mm),
            sheet: mean,
            moved: mean * 0.0,
            ground: mean,
            deep: mean,
            soil: Wide::all(simd, alley.soil_wetness0 * alley.soil_max_mm),
            at_sheet: about,
            at_ground: about,
            at_dew: about,
            before: None,
            known: [!full; MOST],
            doubtful: full,
        }
    }

    /// Takes all runs through hour `k`. A short group repeats its last run; what that gives is not told.
    #[inline(always)]
    pub(super) fn hour(
        &mut self,
        simd: S,
        runs: &[(usize, &[Row])],
        k: usize,
        light: &LightHour,
        told: &mut impl FnMut(usize, Passed),
    ) {
        let mut weather = [[0.0; MOST]; 9];
        for place in 0..Wide::<S>::RUNS {
            let (_, rows) = runs[place.min(runs.len() - 1)];
            let Some(Row::Known(hour)) = rows.get(k) else { continue };
            let Hour {
                air_c,
                dew_c,
                wind,
                gust,
                direction_deg,
                rain_mm,
                irrigation_mm,
                shortwave,
                cloud,
            } = *hour;
            let values = [
                air_c,
                dew_c,
                wind,
                gust,
                direction_deg,
                rain_mm,
                irrigation_mm,
                shortwave,
                cloud,
            ];
            for (row, value) in weather.iter_mut().zip(values) {
                row[place] = value;
            }
        }
        let [air, dew, wind, gust, direction, rain, irrigation, shortwave, cloud] =
            weather.map(|values| Wide::of(simd, &values));
        let (rain, irrigation) = (rain * (1.0 / STEPS), irrigation * (1.0 / STEPS));
        let here = Instant { air, dew, wind, cloud };
        let at_cover = self.shares.from(simd, direction);
        let (before, at_before) = self.before.unwrap_or((here, at_cover));
        let nothing = Wide::all(simd, 0.0);
        let mut sums = Sums {
            light: nothing,
            wind: nothing,
            runoff: nothing,
            drip: nothing,
            evap_top: nothing,
            evap_under: nothing,
            residual: nothing,
            wet_top: nothing,
            wet_under: nothing,
        };
        for (number, step) in (0_u32..).zip(light) {
            let f = (f64::from(number) + 0.5) / STEPS;
            let from = if f < 0.5 { &at_before } else { &at_cover };
            let mix = |a: Wide<S>, b: Wide<S>| (b - a).times_plus(Wide::all(simd, f), a);
            let now = Instant {
                air: mix(before.air, here.air),
                dew: mix(before.dew, here.dew),
                wind: mix(before.wind, here.wind).most(nothing),
                cloud: mix(before.cloud, here.cloud).most(nothing).least(Wide::all(simd, 1.0)),
            };
            let light = self.light(simd, step, shortwave);
            self.step(simd, &now, from, light, rain, irrigation, &mut sums);
        }
        self.before = Some((here, at_cover));
        self.tell(runs, wind, gust, &at_cover, &sums, told);
    }

    /// Hands on the hour of each run.
    #[inline(always)]
    fn tell(
        &mut self,
        runs: &[(usize, &[Row])],
        wind: Wide<S>,
        gust: Wide<S>,
        at: &AtCover<S>,
        sums: &Sums<S>,
        told: &mut impl FnMut(usize, Passed),
    ) {
        let calm = wind * 0.0;
        let wind = wind.most(calm);
        let excess = gust.most(wind) - wind;
        let inside = wind.times_plus(at.inside, excess * at.gust_inside).told();
        let edge = wind.times_plus(at.edge, excess * at.gust_edge).told();
        let sin2 = (at.sine * at.sine).told();
        let (film, pond, under) = (self.film.told(), self.pond.told(), self.under.told());
        let (sheet, ground, soil) = (self.sheet.told(), self.ground.told(), self.soil.told());
        let (wet_top, wet_under) = (
            (sums.wet_top * (1.0 / STEPS)).told(),
            (sums.wet_under * (1.0 / STEPS)).told(),
        );
        let (evap_top, evap_under) = (sums.evap_top.told(), sums.evap_under.told());
        let (runoff, drip, residual) = (sums.runoff.told(), sums.drip.told(), sums.residual.told());
        let (light, mean_wind) = ((sums.light * (1.0 / STEPS)).told(), (sums.wind * (1.0 / STEPS)).told());
        let threshold = self.alley.wet_thr_mm;
        for (place, (number, _)) in runs.iter().enumerate() {
            self.known[place] |= film[place] < threshold && under[place] < threshold;
            let cover = CoverHour {
                film_mm: film[place],
                pond_mm: pond[place],
                under_mm: under[place],
                sheet_c: sheet[place],
                ground_c: ground[place],
                soil_mm: soil[place],
                wet_top: wet_top[place],
                wet_under: wet_under[place],
                evap_top_mm: evap_top[place],
                evap_under_mm: evap_under[place],
                runoff_mm: runoff[place],
                drip_mm: drip[place],
                light: light[place],
                wind: mean_wind[place],
                residual: residual[place],
                water_known: self.known[place],
                doubtful: self.doubtful,
            };
            let gust = Some(Gust {
                inside: inside[place],
                edge: edge[place],
                sin2: sin2[place],
            });
            told(*number, Passed { cover, gust });
        }
    }

    /// Light at the cover, as [`SunStep::at_cover`](crate::physics::sunlight::SunStep::at_cover) gives it.
    #[inline(always)]
    fn light(&self, simd: S, step: &LightStep, mean: Wide<S>) -> Wide<S> {
        let nothing = Wide::all(simd, 0.0);
        let level = (mean * step.share).most(nothing);
        if step.low {
            return level * self.block.sky_view;
        }
        let k = (mean * step.clear).most(nothing).least(Wide::all(simd, 1.0));
        let hazy = k.polynomial([0.9511, -0.1604, 4.388, -16.638, 12.336]);
        let high = hazy.where_or(k.up_to(Wide::all(simd, 0.80)), Wide::all(simd, 0.165));
        let diffuse = (k * -0.09 + 1.0).where_or(k.up_to(Wide::all(simd, 0.22)), high);
        level
            * diffuse.times_plus(
                Wide::all(simd, self.block.sky_view - step.beam),
                Wide::all(simd, step.beam),
            )
    }

    /// One sub-step, in the order of the model.
    #[inline(always)]
    #[expect(clippy::too_many_arguments, reason = "the weather of one sub-step")]
    fn step(
        &mut self,
        simd: S,
        now: &Instant<S>,
        at: &AtCover<S>,
        light: Wide<S>,
        rain: Wide<S>,
        irrigation: Wide<S>,
        sums: &mut Sums<S>,
    ) {
        let (alley, block) = (self.alley, &self.block);
        let all = |value: f64| Wide::all(simd, value);
        let nothing = all(0.0);
        self.film = self.film + rain * (1.0 - alley.rain_leak);
        self.under = self.under + rain * alley.rain_leak;
        let mut runoff = nothing;
        let mut drip = nothing;
        if rain.largest() > 0.0 {
            (runoff, drip) = overflow(block, alley, simd, &mut self.film, &mut self.pond, &mut self.under);
        }

        // Air.
        let dew = (now.dew + alley.dew_bias_c).least(now.air);
        self.at_dew.reach(simd, dew);
        self.at_ground.reach(simd, self.ground);
        let air_kpa = self.at_dew.pressure(dew);
        let ground_kpa = self.at_ground.pressure(self.ground);
        let air_k = now.air + 273.15;
        let heat_of_water = now.air * -2361.0 + 2.501e6;
        let shared = all(1.0) / (air_k * heat_of_water);
        let (per_k, per_heat_of_water) = (shared * heat_of_water, shared * air_k);
        let rho_cp = per_k * block.rho_cp;
        let latent = heat_of_water * per_k * block.latent;

        // Conductances.
        let wind = (at.inside * now.wind).most(all(alley.u_floor));
        let root = (wind * block.root).root();
        let g_t = root * alley.g_coef + alley.g_min;
        let g_b = root * block.gap_root + alley.g_min;
        let g_x = wind * block.gap_wind * block.gap_length * (at.sine * 0.7 + 0.3) + alley.g_fabric;
        let dry = all(1.0) - self.soil * block.per_soil;
        let resistance = dry * dry * alley.r_surf_range + alley.r_surf_wet;
        let free = g_b * alley.le_ratio;
        let gap_heat = g_b + g_x;
        let (one, two, three) = (free.times_plus(resistance, all(1.0)), gap_heat, g_b + gap_heat);
        let shared = all(1.0) / (one * two * three);
        let k_g = free * shared * two * three;
        let per_gap_heat = shared * one * three;
        let through_heat = g_b * gap_heat * shared * one * two;
        let gap_vapour = k_g + g_x;
        let under_share = (self.under * block.per_under).least(all(1.0)).root();
        let wet = free * under_share;
        let (one, two, three) = (gap_vapour, wet + gap_vapour, free + gap_vapour);
        let shared = all(1.0) / (one * two * three);
        let per_gap_vapour = shared * two * three;
        let gap_c = (g_b * self.ground + g_x * now.air) * per_gap_heat;
        let gap_kpa = (k_g * ground_kpa + g_x * air_kpa) * per_gap_vapour;
        let through = latent * gap_vapour;

        // Radiation.
        let w = air_kpa * per_k * 465.0;
        let path = (w * 3.0 + 1.2).root();
        let clear = all(1.0) - (w + 1.0) * (path * -1.0).exp();
        let sky = (now.cloud * -0.84 + 1.0) * clear + now.cloud * 0.84;
        let seen = (sky - 1.0) * block.sky_view + 1.0;
        let ground_radiation = fourth(self.ground) * block.from_face;
        let from_air = fourth(now.air) * block.from_face * seen;

        // Wet parts.
        let puddled = self.pond.above(0.0);
        let film_share = (self.film * block.per_film).least(all(1.0)).root();
        let dry_area = all(1.0 - alley.pond_area).where_or(puddled, all(1.0));
        let pond_area = all(alley.pond_area).where_or(puddled, nothing);
        let top = latent * g_t * alley.le_ratio;
        let most = heat_of_water * (1.0 / DT_S);
        let around = Around {
            radiation_in: light * block.absorbed + from_air + ground_radiation,
            air: now.air,
            air_kpa,
            top_heat: rho_cp * g_t,
            under_heat: rho_cp * through_heat,
            gap_c,
            gap_kpa,
            film: Part {
                drying: top * film_share * dry_area,
                dewing: top,
                most: most * self.film,
            },
            pond: Part {
                drying: top * pond_area,
                dewing: nothing,
                most: most * self.pond,
            },
            under: Part {
                drying: through * wet * (shared * one * three),
                dewing: through * free * (shared * one * two),
                most: most * self.under,
            },
        };
        let fluxes = self.balance(simd, &around, sums);

        // Stores.
        let per_watt = per_heat_of_water * DT_S;
        let film = drained(simd, self.film - fluxes.film * per_watt);
        let pond = drained(simd, self.pond - fluxes.pond * per_watt);
        let under = drained(simd, self.under - fluxes.under * per_watt);
        sums.evap_top = sums.evap_top + (self.film + self.pond - film - pond);
        sums.evap_under = sums.evap_under + (self.under - under);
        (self.film, self.pond, self.under) = (film, pond, under);
        let block = &self.block;
        let over = overflow(block, alley, simd, &mut self.film, &mut self.pond, &mut self.under);
        let (runoff, drip) = (runoff + over.0, drip + over.1);

        // Ground.
        let per_latent = per_heat_of_water * air_k * (1.0 / block.latent);
        let per_rho_cp = air_k * (1.0 / block.rho_cp);
        let at_gap_kpa = gap_kpa + fluxes.under * per_latent * per_gap_vapour;
        let at_gap_c = gap_c + fluxes.under_heat * per_rho_cp * per_gap_heat;
        let evaporation = latent * k_g * (ground_kpa - at_gap_kpa);
        let heat = light * block.to_ground + fourth(self.sheet) * block.from_face - ground_radiation
            + rho_cp * g_b * (at_gap_c - self.ground)
            - evaporation
            + (self.deep - self.ground) * alley.k_deep;
        let water = runoff * alley.soil_infil + drip + irrigation;
        let lost = evaporation * per_watt + self.soil * block.drydown;
        self.soil = (self.soil + water - lost).most(nothing).least(all(alley.soil_max_mm));
        self.deep = self.deep + (now.air - self.deep) * block.settling;
        self.ground = self.ground + heat * block.warming;

        let threshold = all(alley.wet_thr_mm);
        sums.runoff = sums.runoff + runoff;
        sums.drip = sums.drip + drip;
        sums.light = sums.light + light;
        sums.wind = sums.wind + wind;
        sums.wet_top = sums.wet_top + all(1.0).where_or(threshold.up_to(self.film), nothing);
        sums.wet_under = sums.wet_under + all(1.0).where_or(threshold.up_to(self.under), nothing);
    }

    /// Finds the temperature of the cloths: Newton's method, all at once, until the last is close.
    #[inline(always)]
    fn balance(&mut self, simd: S, around: &Around<S>, sums: &mut Sums<S>) -> Fluxes<S> {
        let all = |value: f64| Wide::all(simd, value);
        let mut at = self.sheet + self.moved;
        let last = self.sheet;
        let mut tries = 0;
        loop {
            self.at_sheet.reach(simd, at);
            let (saturated, slope) = self.at_sheet.with_slope(at);
            let kelvin = at + 273.15;
            let cube = kelvin * kelvin * kelvin * self.block.emission;
            let deficit = saturated - around.air_kpa;
            let film = flux(simd, &around.film, deficit, slope);
            let pond = flux(simd, &around.pond, deficit, slope);
            let under = flux(simd, &around.under, saturated - around.gap_kpa, slope);
            let under_heat = around.under_heat * (at - around.gap_c);
            let left = around.radiation_in
                - cube * kelvin
                - around.top_heat * (at - around.air)
                - film.0
                - pond.0
                - under.0
                - under_heat;
            let total = cube * 4.0 + around.top_heat + film.1 + pond.1 + under.1 + around.under_heat;
            let step = left / total;
            tries += 1;
            let close = step.size().largest() < CLOSE_K;
            if close || tries >= MOST_STEPS {
                self.sheet = at + step;
                self.moved = self.sheet - last;
                let mut fluxes = Fluxes {
                    film: film.0.along(film.1, step),
                    pond: pond.0.along(pond.1, step),
                    under: under.0.along(under.1, step),
                    under_heat: under_heat.along(around.under_heat, step),
                };
                if !close {
                    self.inside_the_bracket(simd, around, step, &mut fluxes);
                }
                let left = around.radiation_in
                    - fourth(self.sheet) * self.block.emission
                    - around.top_heat * (self.sheet - around.air)
                    - fluxes.film
                    - fluxes.pond
                    - fluxes.under
                    - fluxes.under_heat;
                sums.residual = sums.residual.most(left.size());
                return fluxes;
            }
            at = at + step.most(all(-STRIDE_K)).least(all(STRIDE_K));
            at = at.most(all(RANGE_C.0)).least(all(RANGE_C.1));
        }
    }

    /// Runs that Newton's method alone does not settle, one by one.
    #[cold]
    #[inline(never)]
    fn inside_the_bracket(&mut self, simd: S, around: &Around<S>, step: Wide<S>, fluxes: &mut Fluxes<S>) {
        let step = step.told();
        let part = |part: &Part<S>| (part.drying.told(), part.dewing.told(), part.most.told());
        let (film, pond, under) = (part(&around.film), part(&around.pond), part(&around.under));
        let of = |part: &(Buffer, Buffer, Buffer), i: usize| WetPart {
            drying: part.0[i],
            dewing: part.1[i],
            most: part.2[i],
        };
        let (radiation_in, air, air_kpa) = (around.radiation_in.told(), around.air.told(), around.air_kpa.told());
        let (gap_c, gap_kpa, ground) = (around.gap_c.told(), around.gap_kpa.told(), self.ground.told());
        let (top_heat, under_heat) = (around.top_heat.told(), around.under_heat.told());
        let (mut sheet, mut found) = (
            self.sheet.told(),
            [
                fluxes.film.told(),
                fluxes.pond.told(),
                fluxes.under.told(),
                fluxes.under_heat.told(),
            ],
        );
        for i in 0..Wide::<S>::RUNS {
            if step[i].abs() < CLOSE_K {
                continue;
            }
            let cloth = Surroundings {
                radiation_in: radiation_in[i],
                emission: self.block.emission,
                air_c: air[i],
                air_kpa: air_kpa[i],
                ground_c: ground[i],
                top_heat: top_heat[i],
                under_heat: under_heat[i],
                gap_c: gap_c[i],
                gap_kpa: gap_kpa[i],
                film: of(&film, i),
                pond: of(&pond, i),
                under: of(&under, i),
            };
            let balance = cloth.balance(air[i], &mut vapour::Saturation::about(air[i]));
            sheet[i] = balance.sheet_c;
            found[0][i] = balance.film;
            found[1][i] = balance.pond;
            found[2][i] = balance.under;
            found[3][i] = balance.under_heat;
        }
        self.sheet = Wide::of(simd, &sheet);
        let [film, pond, under, under_heat] = found.map(|values| Wide::of(simd, &values));
        *fluxes = Fluxes {
            film,
            pond,
            under,
            under_heat,
        };
    }
}

/// Lets go what the faces cannot hold: run-off from the top and drip from the underside \[mm\].
#[inline(always)]
fn overflow<S: Simd>(
    block: &Block,
    alley: &Alley,
    simd: S,
    film: &mut Wide<S>,
    pond: &mut Wide<S>,
    under: &mut Wide<S>,
) -> (Wide<S>, Wide<S>) {
    let nothing = Wide::all(simd, 0.0);
    let over = (*film - block.film_mm).most(nothing);
    let room = (Wide::all(simd, block.pond_mm) - *pond).most(nothing);
    let caught = (over * alley.pond_share).least(room);
    let drip = (*under - block.under_mm).most(nothing);
    *film = *film - over;
    *pond = *pond + caught;
    *under = *under - drip;
    (over - caught, drip)
}

/// Latent heat at deficit `d` \[kPa\] and its slope with temperature: dew, drying, or all the water there is.
#[inline(always)]
fn flux<S: Simd>(simd: S, part: &Part<S>, d: Wide<S>, slope: Wide<S>) -> (Wide<S>, Wide<S>) {
    let rate = part.drying.where_or(d.above(0.0), part.dewing);
    let free = rate * d;
    let held = (rate * slope).where_or(free.up_to(part.most), Wide::all(simd, 0.0));
    (free.least(part.most), held)
}

/// Water left, or none.
#[inline(always)]
fn drained<S: Simd>(simd: S, left: Wide<S>) -> Wide<S> {
    left.where_or(Wide::all(simd, NONE_MM).up_to(left), Wide::all(simd, 0.0))
}

/// Fourth power of the absolute temperature \[K⁴\].
#[inline(always)]
fn fourth<S: Simd>(celsius: Wide<S>) -> Wide<S> {
    let kelvin = celsius + 273.15;
    let square = kelvin * kelvin;
    square * square
}
