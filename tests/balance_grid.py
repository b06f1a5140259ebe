"""The cover model by a second road: the same equations, written apart, with general libraries.

    balance_grid.py PROGRAM [--seed N]

1. Invented blocks under invented weather, one hour to two days: every column of `PROGRAM trace` and the summary of
   `trace --daily` against this file.
   The heat balance is solved by scipy's brentq, the sun stands where pvlib's solar position algorithm puts it.
2. The same with sub-steps of half the length: the water on top may differ by 0.02 mm, the first dry hour by one.
3. A sheet that is wet all over: evaporation against the Penman-Monteith equation of the pyet library, within 10 %.

Tolerances: water 1e-4 mm, temperature 1e-3 K, wind 1e-4 m/s, pull 0.01 N, light 0.01 W/m2, scores 1e-3. Prints what
was compared and the largest difference of each column; exit 1 if one is too large.
"""

import argparse
import csv
import io
import json
import math
import random
import subprocess
import sys
import tempfile
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pandas
import pyet
from pvlib import spa
from scipy.optimize import brentq

SIGMA, C_P, R_D, EPSILON, GRAVITY = 5.670374e-8, 1010.0, 287.05, 0.622, 9.81
CASES = 120

# Name: default, least and greatest value that is drawn.
BLOCK = {
    "utc_offset_h": (0.0, 0.0, 0.0),
    "lat": (0.0, -66.0, 66.0),
    "lon": (0.0, -180.0, 180.0),
    "alt_m": (0.0, 0.0, 1500.0),
    "row_azimuth_deg": (0.0, 0.0, 180.0),
    "tree_height_m": (3.5, 0.0, 6.0),
    "skirt_m": (0.4, 0.0, 1.0),
    "hedge_width_m": (1.2, 0.4, 2.0),
    "row_spacing_m": (3.5, 2.5, 6.0),
    "porosity": (0.30, 0.0, 1.0),
    "cover_width_m": (2.2, 1.0, 4.0),
    "density": (0.5, 0.0, 1.0),
    "edge_distance_m": (10.0, 0.0, 40.0),
    "tie_height_m": (0.30, 0.0, 1.0),
    "sag_factor": (0.6, 0.2, 1.0),
    "albedo": (0.72, 0.5, 0.8),
    "transmittance": (0.13, 0.02, 0.2),
    "emissivity": (0.85, 0.6, 0.98),
    "c_film_mm": (0.30, 0.1, 1.0),
    "c_under_mm": (0.25, 0.1, 1.0),
    "c_pond_mm": (1.0, 0.0, 4.0),
    "pond_share": (0.20, 0.0, 1.0),
    "pond_area": (0.10, 0.0, 0.6),
    "rain_leak": (0.10, 0.0, 0.5),
    "wet_exp": (0.5, 0.3, 1.2),
    "wet_thr_mm": (0.02, 0.005, 0.1),
    "plate_len_m": (0.5, 0.1, 3.0),
    "g_min": (0.0015, 0.0005, 0.004),
    "g_coef": (0.0045, 0.002, 0.009),
    "le_ratio": (1.08, 0.9, 1.3),
    "g_fabric": (0.0003, 0.0, 0.003),
    "a_par": (0.4, 0.0, 2.0),
    "a_perp": (1.6, 0.0, 3.0),
    "gust_exp": (0.4, 0.0, 1.0),
    "u_floor": (0.10, 0.02, 0.5),
    "ground_albedo": (0.20, 0.05, 0.5),
    "c_ground": (3.0e4, 2.5e4, 1.0e5),
    "k_deep": (2.5, 0.0, 8.0),
    "tau_deep_d": (5.0, 1.0, 20.0),
    "soil_max_mm": (20.0, 5.0, 60.0),
    "soil_wetness0": (0.5, 0.0, 1.0),
    "soil_infil": (0.7, 0.0, 1.0),
    "soil_drydown_mm_d": (1.5, 0.0, 10.0),
    "r_surf_wet": (50.0, 10.0, 200.0),
    "r_surf_range": (1950.0, 100.0, 5000.0),
    "dew_bias_c": (0.0, -2.0, 2.0),
    "tie_spacing_m": (6.0, 2.0, 10.0),
    "cover_mass_kg_m2": (0.12, 0.05, 0.3),
    "tie_angle_deg": (45.0, 20.0, 90.0),
    "tie_allow_n": (150.0, 50.0, 600.0),
    "k_dyn": (1.3, 1.0, 2.0),
    "gust_factor_ref": (1.6, 1.2, 2.2),
}

JOBS = ("lift", "lay", "fold", "check")
# Limits by job: factor, good, bad, least worth.
LIMITS = {
    "lift": [
        ("gust10", 7, 11, 0),
        ("gust_cover", 2.5, 5, 0),
        ("rain", 0, 0.2, 0),
        ("film", 0.01, 0.08, 0),
        ("under", 0.02, 0.10, 0),
        ("pond", 0.1, 0.5, 0.3),
    ],
    "lay": [("gust10", 6, 10, 0), ("gust_cover", 2, 4, 0), ("rain", 0, 0.5, 0), ("film", 0.05, 0.40, 0.4)],
    "fold": [("gust10", 7, 11, 0), ("gust_cover", 2.5, 5, 0), ("rain", 0, 1.0, 0), ("film", 0.05, 0.50, 0.5)],
    "check": [("gust10", 9, 14, 0), ("rain", 0.2, 2.0, 0)],
}
TOLERANCE = {"t_sheet": 1e-3, "t_ground": 1e-3, "tie_load_n": 0.01, "s_cover_wm2": 0.01}


def saturation(t):
    """Over water, kPa (FAO Irrigation and Drainage Paper 56, eq. 11)."""
    return 0.6108 * math.exp(17.27 * t / (t + 237.3))


def kelvin4(t):
    return (t + 273.15) ** 4


def mean(values):
    values = list(values)
    return sum(values) / len(values)


# --- sun and hedges -------------------------------------------------------------------------------------------------


def sun_at(moments, block):
    """Elevation without refraction and azimuth, radians, for each moment."""
    seconds = [moment.timestamp() for moment in moments]
    _, _, _, elevation, azimuth, _ = spa.solar_position_numpy(
        pandas.Series(seconds).to_numpy(), block["lat"], block["lon"], 0.0, 1013.25, 12.0, 69.0, 0.5667, 1
    )
    return [(math.radians(e), math.radians(a)) for e, a in zip(elevation, azimuth)]


def outside_air(moment):
    """Spencer 1971."""
    days = (moment - datetime(moment.year, 1, 1, tzinfo=timezone.utc)).total_seconds() / 86400
    g = 2 * math.pi * days / 365
    return 1361 * (
        1.000110 + 0.034221 * math.cos(g) + 0.001280 * math.sin(g) + 0.000719 * math.cos(2 * g) + 0.000077 * math.sin(2 * g)
    )


def diffuse_share(s, sine, outside):
    """Erbs, Klein and Duffie 1982."""
    if sine <= 0.05:
        return 1.0
    k = min(max(s / (outside * sine), 0.0), 1.0)
    if k <= 0.22:
        return 1 - 0.09 * k
    if k <= 0.80:
        return 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return 0.165


def through_hedges(block, cot, divisor):
    """Mean transmission over the cover; `divisor` turns length over ground into length in foliage."""
    height, skirt, width, spacing = (
        block[k] for k in ("tree_height_m", "skirt_m", "hedge_width_m", "row_spacing_m")
    )
    mu = -math.log(max(block["porosity"], 1e-6)) / width
    alley = spacing - width
    strip = min(block["cover_width_m"], alley)
    last = min(math.ceil(height * cot / spacing) + 1, 50)
    total = 0.0
    for i in range(20):
        x = (alley - strip) / 2 + strip * (i + 0.5) / 20
        ground = sum(
            max(0.0, min(x + k * spacing + width, height * cot) - max(x + k * spacing, skirt * cot))
            for k in range(last + 1)
        )
        total += math.exp(-mu * ground / divisor)
    return total / 20


def direct_share(block, elevation, azimuth):
    if block["tree_height_m"] < 0.5:
        return 1.0
    if math.sin(elevation) <= 0.01:
        return 0.0
    q = max(abs(math.sin(azimuth - math.radians(block["row_azimuth_deg"]))), 1e-3)
    return through_hedges(block, math.cos(elevation) * q / math.sin(elevation), math.cos(elevation) * q)


def sky_view(block):
    if block["tree_height_m"] < 0.5:
        return 1.0
    angles = [math.radians(5 * (m + 0.5)) for m in range(18)]
    seen = sum(math.sin(b) * through_hedges(block, math.cos(b) / math.sin(b), math.cos(b)) for b in angles)
    return seen / sum(math.sin(b) for b in angles)


# --- wind and ties --------------------------------------------------------------------------------------------------


def sin2(block, direction):
    return math.sin(math.radians(direction - block["row_azimuth_deg"])) ** 2


def wind_ratios(block, direction):
    height = block["tree_height_m"]
    z = max(block["tie_height_m"], 0.10)
    r_open = math.log(z / 0.03) / math.log(10 / 0.03)
    if height < 0.5:
        return r_open, r_open
    d, z0 = 0.65 * height, 0.10 * height
    top = math.log(60 / 0.03) / math.log(10 / 0.03) * math.log((height - d) / z0) / math.log((60 - d) / z0)
    a = (block["a_par"] + (block["a_perp"] - block["a_par"]) * sin2(block, direction)) * (0.5 + block["density"])
    inside = top * math.exp(-a * (1 - min(z / height, 1)))
    edge = inside + math.exp(-block["edge_distance_m"] / (3 * height)) * max(0.0, r_open - inside)
    return inside, edge


def gust_at_cover(block, ratio, wind, gust):
    return ratio * wind + (gust - wind) * max(ratio, ratio ** block["gust_exp"])


def tie_pull(block, gust, direction):
    net = 0.2 + 0.6 * min(block["tie_height_m"] / 0.6, 1)
    pressure = 0.5 * 1.2 * net * (0.6 + 0.4 * sin2(block, direction)) * block["k_dyn"] * gust**2
    area = block["tie_spacing_m"] * block["cover_width_m"] / 2
    lift = max(0.0, pressure - GRAVITY * block["cover_mass_kg_m2"]) * area
    return lift / math.sin(math.radians(block["tie_angle_deg"]))


def critical_gust(block):
    """Gust at 10 m at which the pull is what a tie may carry, searched for, least over five directions."""

    def left(gust, direction):
        wind = gust / block["gust_factor_ref"]
        at_edge = gust_at_cover(block, wind_ratios(block, direction)[1], wind, gust)
        return tie_pull(block, at_edge, direction) - block["tie_allow_n"]

    angles = [math.degrees(math.asin(math.sqrt(share))) for share in (0, 0.25, 0.5, 0.75, 1)]
    return min(brentq(left, 0, 2000, args=(block["row_azimuth_deg"] + angle,), xtol=1e-10) for angle in angles)


# --- heat and water -------------------------------------------------------------------------------------------------


class Cover:
    """State and equations of the sheet and the ground below; `steps` sub-steps an hour."""

    def __init__(self, block, hours, steps):
        self.block, self.steps, self.dt = block, steps, 3600 / steps
        self.film = self.pond = self.under = 0.0
        self.ground = self.deep = mean(hour["t2m"] for hour in hours[:24])
        self.soil = block["soil_wetness0"] * block["soil_max_mm"]
        self.view = sky_view(block)
        self.pressure = 101.325 * (1 - 2.25577e-5 * block["alt_m"]) ** 5.25588

    def overflow(self):
        block = self.block
        extra = max(self.film - block["c_film_mm"], 0.0)
        self.film -= extra
        caught = min(block["pond_share"] * extra, max(block["c_pond_mm"] - self.pond, 0.0))
        self.pond += caught
        drip = max(self.under - block["c_under_mm"], 0.0)
        self.under -= drip
        return extra - caught, drip

    def step(self, air, dew, wind, cloud, direction, rain, irrigation, light):
        """One sub-step; answers what passed in it."""
        b = self.block
        dt = self.dt
        self.film += (1 - b["rain_leak"]) * rain
        self.under += b["rain_leak"] * rain
        runoff, drip = self.overflow()

        latent = 2.501e6 - 2361 * air
        rho = 1000 * self.pressure / (R_D * (air + 273.15))
        gamma = C_P * self.pressure / (EPSILON * latent)
        exchange = rho * C_P / gamma
        e_air = saturation(dew)

        speed = max(wind_ratios(b, direction)[0] * wind, b["u_floor"])
        gap = max(0.03, b["sag_factor"] * b["tie_height_m"])
        below = gap / (gap + 0.2) * speed
        g_top = b["g_min"] + b["g_coef"] * math.sqrt(speed / b["plate_len_m"])
        g_below = b["g_min"] + b["g_coef"] * math.sqrt(below / b["plate_len_m"])
        g_out = below * gap / b["cover_width_m"] * (0.3 + 0.7 * math.sqrt(sin2(b, direction))) + b["g_fabric"]
        surface = b["r_surf_wet"] + b["r_surf_range"] * (1 - self.soil / b["soil_max_mm"]) ** 2
        g_soil = 1 / (1 / (b["le_ratio"] * g_below) + surface)

        t_gap0 = (g_below * self.ground + g_out * air) / (g_below + g_out)
        e_gap0 = (g_soil * saturation(self.ground) + g_out * e_air) / (g_soil + g_out)

        moist = 46.5 * 10 * e_air / (air + 273.15)
        clear = 1 - (1 + moist) * math.exp(-math.sqrt(1.2 + 3 * moist))
        sky = (1 - 0.84 * cloud) * clear + 0.84 * cloud
        gained = (1 - b["albedo"] - b["transmittance"]) * light
        gained += b["emissivity"] * SIGMA * kelvin4(air) * (self.view * sky + 1 - self.view)
        if not b["underside_off"]:
            gained += b["emissivity"] * SIGMA * kelvin4(self.ground)
        faces = 1 if b["underside_off"] else 2

        top_share = min(1.0, self.film / b["c_film_mm"]) ** b["wet_exp"]
        under_share = min(1.0, self.under / b["c_under_mm"]) ** b["wet_exp"]
        pond_share = 0.0
        if self.pond > 0:
            top_share *= 1 - b["pond_area"]
            pond_share = b["pond_area"]
        out = g_soil + g_out

        def fluxes(t):
            d = saturation(t) - e_air
            film = min(exchange * b["le_ratio"] * g_top * d * (top_share if d > 0 else 1), latent * self.film / dt)
            pond = min(exchange * b["le_ratio"] * g_top * pond_share * d, latent * self.pond / dt) if d > 0 else 0.0
            heat = under = 0.0
            if not b["underside_off"]:
                heat = rho * C_P * g_below * (g_below + g_out) / (2 * g_below + g_out) * (t - t_gap0)
                d = saturation(t) - e_gap0
                k = b["le_ratio"] * g_below * (under_share if d > 0 else 1)
                under = min(exchange * (k * out / (k + out) if k > 0 else 0) * d, latent * self.under / dt)
            return film, pond, heat, under

        def left(t):
            top_heat = rho * C_P * g_top * (t - air)
            return gained - faces * b["emissivity"] * SIGMA * kelvin4(t) - top_heat - sum(fluxes(t))

        sheet = brentq(
            left, min(air, self.ground) - 60, max(air, self.ground) + 120, xtol=1e-12, rtol=1e-14, maxiter=300
        )
        film, pond, heat, under = fluxes(sheet)

        before = (self.film + self.pond, self.under)
        self.film, self.pond, self.under = (
            store if store >= 1e-12 else 0.0
            for store in (
                self.film - film * dt / latent,
                self.pond - pond * dt / latent,
                self.under - under * dt / latent,
            )
        )
        evaporated = (before[0] - self.film - self.pond, before[1] - self.under)
        more = self.overflow()
        runoff, drip = runoff + more[0], drip + more[1]

        e_gap = e_gap0 + under / (exchange * out)
        t_gap = t_gap0 + heat / (rho * C_P * (g_below + g_out))
        from_soil = exchange * g_soil * (saturation(self.ground) - e_gap)
        warming = (
            b["transmittance"] * light * (1 - b["ground_albedo"])
            + b["emissivity"] * SIGMA * (kelvin4(sheet) - kelvin4(self.ground))
            + rho * C_P * g_below * (t_gap - self.ground)
            - from_soil
            + b["k_deep"] * (self.deep - self.ground)
        )
        soil = self.soil + b["soil_infil"] * runoff + drip + irrigation - from_soil * dt / latent
        soil -= b["soil_drydown_mm_d"] * self.soil / b["soil_max_mm"] * dt / 86400
        self.soil = min(max(soil, 0.0), b["soil_max_mm"])
        self.deep += (air - self.deep) * dt / (b["tau_deep_d"] * 86400)
        self.ground += warming * dt / b["c_ground"]
        return sheet, evaporated, runoff, drip, speed, g_top


def second_road(block, hours, steps=6):
    """All columns of `trace`, as numbers and words."""
    cover, rows = Cover(block, hours, steps), []
    for k, hour in enumerate(hours):
        last = hours[max(k - 1, 0)]
        shares = [(j + 0.5) / steps for j in range(steps)]
        middles = [hour["time"] + timedelta(seconds=3600 * (f - 1)) for f in shares]
        *suns, half_past = sun_at(middles + [hour["time"] - timedelta(seconds=1800)], block)
        sines = [math.sin(elevation) for elevation, _ in suns]
        weights = [max(sine, 0.0) for sine in sines]
        passed = []
        for f, moment, (elevation, azimuth), sine in zip(shares, middles, suns, sines):
            s = hour["shortwave"]
            if sum(weights) > 1e-6:
                s *= steps * max(sine, 0.0) / sum(weights)
            light = 0.0
            if s > 0:
                diffuse = diffuse_share(s, sine, outside_air(moment))
                light = s * ((1 - diffuse) * direct_share(block, elevation, azimuth) + diffuse * cover.view)
            between = {name: last[name] + f * (hour[name] - last[name]) for name in ("t2m", "td2m", "wind10", "cloud")}
            dew = min(between["td2m"] + block["dew_bias_c"], between["t2m"])
            direction = (last if f < 0.5 else hour)["wind_dir"]
            found = cover.step(
                between["t2m"],
                dew,
                between["wind10"],
                between["cloud"],
                direction,
                hour["rain"] / steps,
                hour["irrigation"] / steps,
                light,
            )
            wet = (cover.film >= block["wet_thr_mm"], cover.under >= block["wet_thr_mm"])
            passed.append((*found, light, wet))
        inside, edge = wind_ratios(block, hour["wind_dir"])
        gust = max(hour["gust10"], hour["wind10"])
        at_edge = gust_at_cover(block, edge, hour["wind10"], gust)
        pull = tie_pull(block, at_edge, hour["wind_dir"])
        row = {
            "film_mm": cover.film,
            "pond_mm": cover.pond,
            "under_mm": cover.under,
            "t_sheet": passed[-1][0],
            "t_ground": cover.ground,
            "soil_mm": cover.soil,
            "wet_top_frac": mean(p[7][0] for p in passed),
            "wet_under_frac": mean(p[7][1] for p in passed),
            "evap_top_mm": sum(p[1][0] for p in passed),
            "evap_under_mm": sum(p[1][1] for p in passed),
            "runoff_mm": sum(p[2] for p in passed),
            "drip_mm": sum(p[3] for p in passed),
            "s_cover_wm2": mean(p[6] for p in passed),
            "u_cover": mean(p[4] for p in passed),
            "gust_cover": gust_at_cover(block, inside, hour["wind10"], gust),
            "gust_edge": at_edge,
            "tie_load_n": pull,
            "tie_util": pull / block["tie_allow_n"],
        }
        rows.append(row)
        worst = {name: max(r[name + "_mm"] for r in rows[-2:]) for name in ("film", "under", "pond")}
        seen = worst | {"gust10": gust, "gust_cover": row["gust_cover"], "rain": hour["rain"]}
        up = math.degrees(half_past[0])
        row["worths"] = {job: worths(job, seen, hour, up) for job in JOBS}
        # A single forecast, issued an hour before the first row, for a job of three hours.
        alpha, margin = doubt(k + 1 + 1.5)
        worst = {name: max(r[name + "_mm"] for r in rows[-2 - margin :]) for name in ("film", "under", "pond")}
        seen = worst | {"gust10": gust / alpha, "gust_cover": row["gust_cover"] / alpha, "rain": hour["rain"]}
        row["reduced"] = {job: worths(job, seen, hour, up) for job in JOBS}
    return rows


def worths(job, seen, hour, elevation):
    """Each factor with its worth, in the order in which the first of equals is named."""
    found = [
        ("daylight", 1.0 if elevation >= 0 else 0.3 if elevation >= -6 else 0.0),
        ("lightning", 0.0 if hour["lightning"] > 0 else 1.0),
    ]
    found += [(name, max(floor, ramp(seen[name], good, bad))) for name, good, bad, floor in LIMITS[job]]
    return found + [("cold", ramp(hour["t2m"], 2, -5)), ("heat", ramp(hour["t2m"], 28, 36))]


def doubt(lead):
    """Share of a wind limit that may be used, and rows a face must have been dry longer."""
    alphas = ((12, 0.90), (24, 0.85), (48, 0.80), (72, 0.75), (120, 0.65))
    alpha = next((alpha for most, alpha in alphas if lead <= most), 0.60)
    return alpha, 0 if lead <= 12 else 1 if lead <= 48 else 2


def windows(rows, hours, which, job):
    """Score of each three hours that follow each other, by the start of the first."""
    scores = [min(worth for _, worth in row[which][job]) for row in rows]
    found = {}
    for k in range(len(rows) - 2):
        three = scores[k : k + 3]
        if min(three) > 0:
            start = hours[k]["time"] - timedelta(hours=1)
            found[start.strftime("%Y-%m-%dT%H:%M")] = 100 * (0.6 * min(three) + 0.4 * mean(three))
    return found


def summary(block, hours, rows):
    """What `trace --daily` says, but its windows and left-over."""
    local = [hour["time"] + timedelta(hours=block["utc_offset_h"]) for hour in hours]
    days = []
    for date in sorted({at.date() for at in local}):
        here = [k for k, at in enumerate(local) if at.date() == date]

        def dry_from(*faces):
            dry = [all(row[f"{face}_mm"] < block["wet_thr_mm"] for face in faces) for row in rows] + [True]
            day = [k for k in here if 5 <= local[k].hour + local[k].minute / 60 <= 21]
            first = next((k for k in day if dry[k] and dry[k + 1]), None)
            return None if first is None else local[first].hour + local[first].minute / 60

        days.append(
            {
                "date": date.isoformat(),
                "dry_top": dry_from("film"),
                "dry_under": dry_from("under"),
                "dry_both": dry_from("film", "under"),
                "light_mj": sum(rows[k]["s_cover_wm2"] for k in here) * 3600 / 1e6,
                "max_util": max(rows[k]["tie_util"] for k in here),
                "max_film": max(rows[k]["film_mm"] for k in here),
                "max_under": max(rows[k]["under_mm"] for k in here),
            }
        )
    return {"svf": sky_view(block), "critical_gust_ms": critical_gust(block), "days": days}


def ramp(x, good, bad):
    return min(max((bad - x) / (bad - good), 0.0), 1.0)


# --- invented cases -------------------------------------------------------------------------------------------------


def draw_block(chance):
    block = {name: default for name, (default, _, _) in BLOCK.items()} | {"underside_off": False}
    for name, (_, least, most) in BLOCK.items():
        if name in ("lat", "lon") or chance.random() < 0.5:
            block[name] = round(chance.uniform(least, most), 6)
    block["utc_offset_h"] = float(chance.choice([-8, 0, 2, 9.5, 13]))
    # Ends of the ranges and the two sides of a branch.
    for name, ends in {"tree_height_m": [0.0, 0.4, 0.5], "tie_height_m": [0.0, 0.05], "porosity": [0.0, 1.0]}.items():
        if chance.random() < 0.2:
            block[name] = chance.choice(ends)
    return block


def draw_fair(chance):
    """A shower at breakfast, then a fair day on which film, underside and puddles dry at different hours."""
    block = {name: default for name, (default, _, _) in BLOCK.items()} | {"underside_off": False}
    block |= {"lat": 45.0, "lon": 10.0, "tree_height_m": chance.choice([0.0, 3.5]), "c_film_mm": 0.1}
    block |= {"rain_leak": chance.choice([0.0, 0.2]), "pond_share": chance.random(), "c_pond_mm": 4.0, "pond_area": 0.4}
    wind, air = chance.uniform(0.5, 2.0), chance.uniform(14, 24)
    hours = [
        {
            "time": datetime(2026, 6, 10, 7 + k, tzinfo=timezone.utc),
            "t2m": round(air + 0.5 * k, 3),
            "td2m": round(air - 10, 3),
            "wind10": round(wind, 3),
            "gust10": round(1.8 * wind, 3),
            "wind_dir": 10.0,
            "rain": round(chance.uniform(0.3, 4), 3) if k == 0 else 0.0,
            "shortwave": 650.0,
            "cloud": 0.2,
            "irrigation": 0.0,
            "lightning": 0,
        }
        for k in range(11)
    ]
    return block, hours


def draw_hours(chance, count):
    first = datetime(2026, 1, 1, 1, tzinfo=timezone.utc) + timedelta(hours=chance.randrange(8760))
    air, spread = chance.uniform(-8, 32), chance.choice([0.0, 1.0, 4.0, 12.0])
    hours = []
    for k in range(count):
        air = min(max(air + chance.uniform(-2.5, 2.5), -25), 42)
        wind = chance.choice([0.0, 1.0, 3.0, 9.0]) * chance.random()
        hours.append(
            {
                "time": first + timedelta(hours=k),
                "t2m": air,
                "td2m": air - spread * chance.random() + 0.3 * (spread == 0),
                "wind10": wind,
                "gust10": wind * chance.uniform(0.9, 2.2) + chance.choice([0.0, 4.0]),
                "wind_dir": chance.uniform(0, 360),
                "rain": chance.choice([0.0, 0.0, 0.0, 0.05, 0.6, 12.0]) * chance.random(),
                "shortwave": chance.choice([0.0, 100.0, 400.0, 900.0]) * chance.random(),
                "cloud": chance.choice([0.0, 1.0, chance.random()]),
                "irrigation": chance.choice([0.0, 0.0, 3.0]) * chance.random(),
                "lightning": chance.choice([0, 0, 0, 1]),
            }
        )
    for hour in hours:
        for name, value in hour.items():
            if isinstance(value, float):
                hour[name] = round(value, 4)
    return hours


def trace(program, block, hours, *more):
    with tempfile.TemporaryDirectory() as folder:
        params, weather = Path(folder) / "block.json", Path(folder) / "weather.csv"
        params.write_text(json.dumps(block))
        lines = [",".join(hours[0])]
        for hour in hours:
            lines.append(",".join([hour["time"].strftime("%Y-%m-%dT%H:%M")] + [str(hour[n]) for n in list(hour)[1:]]))
        weather.write_text("\n".join(lines) + "\n")
        command = [program, "trace", "--params", params, "--weather", weather, *more]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    if done.returncode != 0:
        sys.exit(f"trace failed: {done.stderr}")
    return json.loads(done.stdout) if more else list(csv.DictReader(io.StringIO(done.stdout)))


class Differences:
    """Largest difference by column, and what was too large."""

    def __init__(self):
        self.largest, self.count, self.faults = {}, 0, []

    def compare(self, where, column, ours, theirs, most):
        self.count += 1
        off = abs(ours - theirs)
        self.largest[column] = max(self.largest.get(column, 0.0), off)
        if not off <= most:
            self.faults.append(f"{where} {column}: the program says {ours}, the second road {theirs}")

    def want(self, true, sentence):
        self.count += 1
        if not true:
            self.faults.append(sentence)


def compare_rows(differences, where, block, ours, theirs):
    differences.want(len(ours) == len(theirs), f"{where}: {len(ours)} rows, not {len(theirs)}")
    for k, (row, expected) in enumerate(zip(ours, theirs)):
        at = f"{where} row {k}"
        # A store within 1e-4 mm of the threshold may count on either side of it.
        on_edge = any(abs(expected[f"{name}_mm"] - block["wet_thr_mm"]) < 1e-3 for name in ("film", "under"))
        for column, value in expected.items():
            if column in ("worths", "reduced") or column.endswith("_frac") and on_edge:
                continue
            differences.compare(at, column, float(row[column]), value, TOLERANCE.get(column, 1e-4))
        for job, factors in expected["worths"].items():
            least = min(worth for _, worth in factors)
            differences.compare(at, f"score_{job}", float(row[f"score_{job}"]), least, 1e-3)
            may = {name for name, worth in factors if worth < least + 1e-4}
            first = next(name for name, worth in factors if worth == least)
            reason = row[f"reason_{job}"]
            firm = all(worth == least for _, worth in factors if worth < least + 1e-4)
            differences.want(
                reason == first if firm else reason in may, f"{at} reason_{job}: {reason}, but {first} of {may}"
            )


def compare_summary(differences, where, block, hours, ours, rows):
    theirs = summary(block, hours, rows)
    differences.want(ours["max_energy_residual_wm2"] < 1e-3, f"{where}: heat left over {ours['max_energy_residual_wm2']}")
    differences.compare(where, "svf", ours["svf"], theirs["svf"], 1e-5)
    differences.compare(where, "critical_gust_ms", ours["critical_gust_ms"], theirs["critical_gust_ms"], 1e-4)
    on_edge = any(
        abs(row[f"{name}_mm"] - block["wet_thr_mm"]) < 1e-4 for row in rows for name in ("film", "under")
    )
    differences.want(len(ours["days"]) == len(theirs["days"]), f"{where}: {len(ours['days'])} days")
    for day, expected in zip(ours["days"], theirs["days"]):
        for name, value in expected.items():
            if isinstance(value, float) and not name.startswith("dry_"):
                differences.compare(where, name, day[name], value, 1.1e-4)
            elif not on_edge or name == "date":
                differences.want(day[name] == value, f"{where} {name}: {day[name]}, not {value}")
    for job in JOBS:
        for which, name in (("worths", "plain"), ("reduced", "reduced")):
            listed = ours["windows_3h_start_score"][f"{job.upper()}_{name}"]
            found = windows(rows, hours, which, job)
            best = sorted(found.values(), reverse=True)[:5]
            at = f"{where} {job} {name}"
            differences.want(len(listed) == len(best), f"{at}: {len(listed)} windows, not {len(best)}")
            for (start, score), expected in zip(listed, best):
                differences.compare(at, "window score", score, expected, 0.01)
                differences.compare(at, "window score", score, found.get(start, -1.0), 0.01)


def first_dry(films, limit):
    wet = [k for k, film in enumerate(films) if film >= limit]
    return wet[-1] + 1 if wet else 0


def halved(differences, program, chance):
    """Sub-steps of 300 s against the program's 600 s, for ordinary cloth after rain and dew."""
    for case in range(6):
        block = {name: default for name, (default, _, _) in BLOCK.items()} | {"underside_off": False, "lat": 46.5}
        block["tree_height_m"] = chance.choice([0.0, 3.5])
        first = datetime(2026, 10, 1, 13, tzinfo=timezone.utc)
        warm, wind, rain = chance.uniform(4, 18), chance.uniform(0.5, 3), chance.choice([0.0, 0.0, 2.0])
        hours = []
        for k in range(40):
            turn = math.cos((k + 13 - 14) / 24 * 2 * math.pi)
            sun = max(0.0, math.sin((k + 13 - 6) / 24 * 2 * math.pi)) * 500
            hours.append(
                {
                    "time": first + timedelta(hours=k),
                    "t2m": round(warm + 5 * turn, 3),
                    "td2m": round(warm - 3.5, 3),
                    "wind10": round(wind, 3),
                    "gust10": round(1.7 * wind, 3),
                    "wind_dir": 30.0,
                    "rain": rain if k == 4 else 0.0,
                    "shortwave": round(sun, 3),
                    "cloud": 0.1,
                    "irrigation": 0.0,
                    "lightning": 0,
                }
            )
        ours = [float(row["film_mm"]) for row in trace(program, block, hours)]
        finer = [row["film_mm"] for row in second_road(block, hours, steps=12)]
        for k, (coarse, fine) in enumerate(zip(ours, finer)):
            differences.compare(f"half steps, case {case} row {k}", "film_mm, half steps", coarse, fine, 0.02)
        dry = [first_dry(films, block["wet_thr_mm"]) for films in (ours, finer)]
        differences.want(abs(dry[0] - dry[1]) <= 1, f"half steps, case {case}: dry from row {dry[0]} and {dry[1]}")


def penman(differences, program, chance):
    """A sheet wet all over under cloud against pyet's Penman-Monteith, with the sheet's own conductances."""
    wet = 0
    for case in range(40):
        block = {name: default for name, (default, _, _) in BLOCK.items()} | {"underside_off": True}
        block |= {"tree_height_m": 0.0, "pond_share": 0.0, "c_film_mm": 2.0, "wet_exp": 0.0}
        # The sun stands highest in the middle of the hour, which is even then.
        block |= {"lon": -5.6, "alt_m": round(chance.uniform(0, 1200), 1)}
        air = round(chance.uniform(-3, 22), 2)
        # In warm dry air the linear equation itself is further off than a tenth.
        depression = chance.uniform(0.5, 13 if air <= 11 else 8)
        hour = {
            "t2m": air,
            "td2m": round(air - depression, 3),
            "wind10": round(chance.uniform(0, 10), 2),
            "wind_dir": 0.0,
            "rain": 0.0,
            "shortwave": round(chance.uniform(0, 250), 1),
            "cloud": 1.0,
            "irrigation": 0.0,
            "lightning": 0,
        }
        hour["gust10"] = hour["wind10"]
        noon = datetime(2026, 3, 20, 13, tzinfo=timezone.utc)
        hours = [{"time": noon - timedelta(hours=1)} | hour | {"rain": 5.0}, {"time": noon} | hour]
        ours = trace(program, block, hours)[1]
        own = float(ours["evap_top_mm"])
        if own <= 0.005:
            continue
        wet += 1
        speed = float(ours["u_cover"])
        g_top = block["g_min"] + block["g_coef"] * math.sqrt(speed / block["plate_len_m"])
        pressure = 101.325 * (1 - 2.25577e-5 * block["alt_m"]) ** 5.25588
        e_air = saturation(hour["td2m"])
        emitted = block["emissivity"] * SIGMA * kelvin4(air)
        rho_cp = 1000 * pressure / (R_D * (air + 273.15)) * C_P
        g_heat = g_top + 4 * emitted / (air + 273.15) / rho_cp
        moist = 465 * e_air / (air + 273.15)
        clear = 1 - (1 + moist) * math.exp(-math.sqrt(1.2 + 3 * moist))
        net = (1 - block["albedo"] - block["transmittance"]) * float(ours["s_cover_wm2"])
        net += emitted * (0.16 * clear + 0.84 - 1)
        series = {
            name: pandas.Series([value], index=pandas.DatetimeIndex(["2026-03-20"]))
            for name, value in {
                "tmean": air,
                "wind": 208 * g_heat,  # pyet's resistance is 208/wind
                "rn": net * 86400 / 1e6,
                "ea": e_air,
            }.items()
        }
        day = pyet.pm(
            **series,
            pressure=pressure,
            r_s=1 / (block["le_ratio"] * g_top) - 1 / g_heat,
            clip_zero=False,
        )
        library = float(day.iloc[0]) / 24
        differences.compare(f"Penman, case {case}", "evaporation over Penman, share", own / library, 1.0, 0.10)
    differences.want(wet >= 20, f"Penman: only {wet} cases evaporated")


def main():
    parser = argparse.ArgumentParser(description="compares the cover model with a second implementation")
    parser.add_argument("program")
    parser.add_argument("--seed", type=int, default=20260310)
    arguments = parser.parse_args()
    chance = random.Random(arguments.seed)
    differences = Differences()
    rows = 0
    for case in range(CASES):
        if case % 5 == 0:
            block, hours = draw_fair(chance)
        else:
            block, hours = draw_block(chance), draw_hours(chance, chance.choice([1, 2, 4, 6, 6, 24, 48, 132]))
        rows += len(hours)
        theirs = second_road(block, hours)
        compare_rows(differences, f"case {case}", block, trace(arguments.program, block, hours), theirs)
        daily = trace(arguments.program, block, hours, "--daily")
        compare_summary(differences, f"case {case}, daily", block, hours, daily, theirs)
    halved(differences, arguments.program, chance)
    penman(differences, arguments.program, chance)
    print(f"{CASES} cases, {rows} hours, {differences.count} values compared, seed {arguments.seed}")
    for column, off in differences.largest.items():
        print(f"  {column}: at most {off:.2g} apart")
    for fault in differences.faults[:40]:
        print(fault)
    if differences.faults:
        sys.exit(f"{len(differences.faults)} differences are too large")


if __name__ == "__main__":
    main()
